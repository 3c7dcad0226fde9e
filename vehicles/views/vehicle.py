from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path

from vehicles import panels
from vehicles.acts import vehicle as acts
from vehicles.forms import vehicle as forms
from vehicles.models import Vehicle
from workshop.pages import act_page, may
from workshop.permissions import May


def visible_vehicle(request: HttpRequest, vehicle_id: UUID) -> Vehicle:
    """The car, when this person may see it; else 404: a stranger does not learn that it exists."""
    return get_object_or_404(Vehicle.objects.visible_to(request.user), pk=vehicle_id)


@may(May.SEE_SHOP)
def vehicle(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """One page: what is this car, what is wrong with it, what did we do."""
    car = visible_vehicle(request, vehicle_id)
    return render(
        request, "vehicles/vehicle.html", {"vehicle": car, "panels": panels.for_vehicle(request, car)}
    )


@may(May.EDIT_VEHICLE)
def vehicle_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.VehicleForm,
        act=acts.add_vehicle,
        title="A new car",
        submit="Take it on",
        cancel="vehicles:vehicles",
    )


@may(May.EDIT_VEHICLE)
def vehicle_correct(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.CorrectVehicleForm,
        act=acts.correct_vehicle,
        title=f"Correct {car.name}",
        fixed={"vehicle": car},
        form_kwargs={"instance": car},
        initial={"seen_version": car.version, "number": car.number},
        done=car,
    )


@may(May.EDIT_VEHICLE)
def registration_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.RegistrationForm,
        act=acts.add_registration,
        title="New registration",
        fixed={"vehicle": car},
        done=car,
    )


@may(May.EDIT_VEHICLE)
def identity_read(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.IdentityReadingForm,
        act=acts.read_identity,
        title="Number as read on the car",
        fixed={"vehicle": car},
        done=car,
    )


urlpatterns = [
    path("vehicles/add/", vehicle_add, name="vehicle-add"),
    path("vehicles/<uuid:vehicle_id>/", vehicle, name="vehicle"),
    path("vehicles/<uuid:vehicle_id>/correct/", vehicle_correct, name="vehicle-correct"),
    path("vehicles/<uuid:vehicle_id>/registrations/add/", registration_add, name="registration-add"),
    path("vehicles/<uuid:vehicle_id>/identity/add/", identity_read, name="identity-read"),
]
