from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path

from vehicles import panels
from vehicles.acts import vehicle as acts
from vehicles.folding import MOST_ASKED, too_long_to_search
from vehicles.forms import vehicle as forms
from vehicles.models import Keeper, Registration, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.copies import keeps_copy
from workshop.engineering import identity
from workshop.pages import act_page, may
from workshop.permissions import May

PER_PAGE = 25
# What needs attention and is seen without scrolling; the panels below have the rest.
NEEDS_SHOWN = 6
# On the way about the page, where a panel's own heading is a sentence.
SHORT = {
    "identity": "Identity",
    "parts": "Parts",
    "photos": "Photos",
    "people": "People",
    "effects": "Effects",
}


def visible_vehicle(request: HttpRequest, vehicle_id: UUID) -> Vehicle:
    """The car, when this person may see it; else 404: a stranger does not learn that it exists."""
    return get_object_or_404(Vehicle.objects.visible_to(request.user), pk=vehicle_id)


@may(May.SEE_SHOP)
def vehicles(request: HttpRequest) -> HttpResponse:
    """All cars, or those in which every word of the search occurs. A script asks for the list alone."""
    asked = request.GET.get("q", "").strip()
    holders = VehicleKeeper.objects.now().filter(part__in=HOLDERS).select_related("keeper")
    cars = (
        Vehicle.objects.visible_to(request.user)
        .search(asked)
        .with_state()
        .prefetch_related("registrations", Prefetch("keepers", queryset=holders, to_attr="holders"))
        .order_by("make", "model", "year", "pk")
    )
    page = Paginator(cars, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page_obj": page,
        "asked": asked,
        "too_long": MOST_ASKED if too_long_to_search(asked) else 0,
        "any_car": page.paginator.count > 0 or Vehicle.objects.exists(),
        "booking": request.GET.get("for") == "booking" and request.user.may(May.BOOK),
    }
    template = "vehicles/_found.html" if request.htmx else "vehicles/vehicles.html"
    return render(request, template, context)


@may(May.SEE_SHOP)
@keeps_copy
def vehicle(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """One page: what is this car, what is wrong with it, what did we do."""
    car = get_object_or_404(
        Vehicle.objects.visible_to(request.user).prefetch_related("registrations"), pk=vehicle_id
    )
    gathered = panels.gather(request, car)
    needs = panels.needs(request, car, gathered)
    context = {
        "vehicle": car,
        "plate": car.current_plate(),
        "people": holders_in_short(gathered.get("people", {}).get("people_now", [])),
        "odometer": gathered.get("odometer", {}),
        "head_notes": panels.head_notes(request, car),
        "actions": panels.actions_for(request, car),
        "needs": needs[:NEEDS_SHOWN],
        "more_needs": len(needs) - NEEDS_SHOWN,
        # Where the parts fill their column, there is room for the visits under what needs attention.
        "visits_left": len(needs) < 4 and gathered.get("parts", {}).get("odd", 0) > 1,
        "glances": panels.glances(request, car, gathered),
        "panels": panels.draw(request, car, gathered),
        "sections": [(panel.slug, SHORT.get(panel.slug, panel.title)) for panel in panels.in_order()],
    }
    return render(request, "vehicles/vehicle.html", context)


def holders_in_short(rows: list[VehicleKeeper]) -> list[dict]:
    """Who the car belongs to, each person once with all the parts that tell so; where nobody is, whoever is on record."""
    held = [row for row in rows if row.part in HOLDERS] or rows
    found: dict[Keeper, list[str]] = {}
    for row in held:
        found.setdefault(row.keeper, []).append(row.get_part_display().lower())
    return [{"keeper": person, "parts": ", ".join(parts)} for person, parts in found.items()]


def identity_panel(request: HttpRequest, car: Vehicle) -> dict:
    """Two queries: plates and readings of the number."""
    rows = [
        {"reading": row, "differs": bool(row.number and car.number and row.number != car.number)}
        for row in car.identity_readings.select_related("made_by")
    ]
    return {
        "registrations": list(car.registrations.all()),
        "identity_readings": rows,
        "differing": sum(row["differs"] for row in rows),
        "number_words": number_words(car),
    }


def number_words(car: Vehicle) -> list[str]:
    """What the number itself says: check digit and model year, as far as they apply."""
    if not identity.is_full_vin(car.number):
        return []
    words = []
    if identity.check_digit_state(car.number) is identity.CheckDigit.PASSES:
        words.append("The check digit passes, which proves no identity.")
    # The code comes back every thirty years: years that have not begun are left out.
    years = identity.model_years(car.number, latest=max(car.year, car.made_at.year + 1))
    if years.candidates:
        words.append(years.sentence)
    return words


@may(May.EDIT_VEHICLE)
def vehicle_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.TakeOnForm,
        act=acts.take_on,
        title="A new car",
        submit="Take it on",
        cancel="vehicles:vehicles",
        said="The car is on record.",
    )


@may(May.EDIT_VEHICLE)
def vehicle_correct(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.CorrectVehicleForm,
        act=acts.correct_vehicle,
        title="Correct what is written of the car",
        fixed={"vehicle": car},
        form_kwargs={"instance": car},
        initial={"seen_version": car.version, "number": car.number},
        done=car,
        said="Corrected.",
        context=_about(car),
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
        said="Registration recorded.",
        context=_about(car),
    )


@may(May.EDIT_VEHICLE)
def registration_correct(request: HttpRequest, registration_id: UUID) -> HttpResponse:
    row = get_object_or_404(
        Registration.objects.filter(vehicle__in=Vehicle.objects.visible_to(request.user)).select_related(
            "vehicle"
        ),
        pk=registration_id,
    )
    return act_page(
        request,
        form_class=forms.CorrectRegistrationForm,
        act=acts.correct_registration,
        title="Correct or end a registration",
        fixed={"registration": row},
        form_kwargs={"instance": row},
        initial={"seen_version": row.version},
        done=row.vehicle,
        said="Registration corrected.",
        context=_about(row.vehicle),
    )


@may(May.EDIT_VEHICLE)
def identity_read(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.IdentityReadingForm,
        act=acts.read_identity,
        title="Number as read on the car",
        intro="Plate, stamping and control unit are read one by one. A number that differs is reported as a fault.",
        fixed={"vehicle": car},
        done=car,
        said="Reading of the number recorded.",
        context=_about(car),
    )


def _about(car: Vehicle) -> dict:
    return {"kicker": car.name, "kicker_url": car.get_absolute_url()}


panels.add_panel(panels.Panel(10, "identity", "What this car is", "vehicles/_identity.html", identity_panel))

urlpatterns = [
    path("vehicles/", vehicles, name="vehicles"),
    path("vehicles/add/", vehicle_add, name="vehicle-add"),
    path("vehicles/<uuid:vehicle_id>/", vehicle, name="vehicle"),
    path("vehicles/<uuid:vehicle_id>/correct/", vehicle_correct, name="vehicle-correct"),
    path("vehicles/<uuid:vehicle_id>/registrations/add/", registration_add, name="registration-add"),
    path("registrations/<uuid:registration_id>/correct/", registration_correct, name="registration-correct"),
    path("vehicles/<uuid:vehicle_id>/identity/add/", identity_read, name="identity-read"),
]
