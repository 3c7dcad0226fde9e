"""The vehicle owner's own pages: the account of a car, what is said there of an outstanding item, and its preview.

What is answered to an estimate is answered on the pages of the work lines.
"""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from vehicles import account, shares
from vehicles.account_open import SEVERITY_WORDS, told_words
from vehicles.acts import acknowledge as acts
from vehicles.audience import Audience, NotTheirs
from vehicles.forms.acknowledge import AcknowledgeForm
from vehicles.models import OutstandingItem, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May


@may(May.SEE_OWN_CARS)
def my_cars(request: HttpRequest) -> HttpResponse:
    cars = _own_cars(request).with_state().prefetch_related("registrations").order_by("make", "model", "year")
    return render(request, "vehicles/my_cars.html", {"cars": cars})


@may(May.SEE_OWN_CARS)
def my_car(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """What must be known first, what the workshop asks, what is outstanding and how soon it matters, what was done."""
    car = get_object_or_404(_own_cars(request).prefetch_related("registrations"), pk=vehicle_id)
    try:
        audience = Audience.of_owner(request.user, car)
    except NotTheirs as error:
        raise Http404 from error
    page = account.context(audience, car, page_asked(request))
    return render(request, "vehicles/my_car.html", {**page, "vehicle": car, **shares.few(request.user, car)})


@may(May.SEE_SHOP)
def owner_view(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The account as the car's holder of today sees it, for the counter: nothing can be answered there."""
    car = visible_vehicle(request, vehicle_id)
    context = account.context(Audience.of_holder(car), car, page_asked(request))
    held = VehicleKeeper.objects.now().filter(vehicle=car, part__in=HOLDERS).exists()
    return render(request, "vehicles/owner_view.html", {**context, "vehicle": car, "held": held})


@may(May.ANSWER_OWN)
def own_acknowledge(request: HttpRequest, item_id: UUID) -> HttpResponse:
    """The owner says that they have read what is outstanding."""
    item = get_object_or_404(
        OutstandingItem.objects.open().select_related("vehicle").filter(vehicle__in=_own_cars(request)),
        pk=item_id,
    )
    return act_page(
        request,
        form_class=AcknowledgeForm,
        act=acts.acknowledge_own,
        title="What is outstanding",
        submit="I have read this",
        fixed={"item": item},
        initial={"seen_version": item.version},
        done=f"{reverse('vehicles:my-car', args=[item.vehicle_id])}#outstanding",
        said="Thank you: it is on record that you know of it. It stays outstanding until it is put right.",
        template="vehicles/own_acknowledge.html",
        context={
            "kicker": item.vehicle.name,
            "told": told_words(item),
            "meaning": dict(SEVERITY_WORDS).get(item.get_severity_display(), ""),
        },
    )


def page_asked(request: HttpRequest) -> int:
    """The page of the account that the address names; the first where it names none."""
    asked = request.GET.get("page", "1")
    return int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 6 else 1


def _own_cars(request: HttpRequest):
    """Only cars that are this person's by name, also where the person works in the shop."""
    return Vehicle.objects.filter(
        pk__in=VehicleKeeper.objects.now()
        .filter(keeper__account=request.user, part__in=HOLDERS)
        .values("vehicle")
    )


urlpatterns = [
    path("my-cars/", my_cars, name="my-cars"),
    path("my-cars/<uuid:vehicle_id>/", my_car, name="my-car"),
    path("my-cars/items/<uuid:item_id>/read/", own_acknowledge, name="own-acknowledge"),
    path("vehicles/<uuid:vehicle_id>/as-owner/", owner_view, name="owner-view"),
]
