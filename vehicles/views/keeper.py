from datetime import date
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone

from vehicles import odometer, panels
from vehicles.acts import keeper as acts
from vehicles.folding import MOST_ASKED, too_long_to_search
from vehicles.forms import keeper as forms
from vehicles.models import Keeper, KeeperPart, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May

PER_PAGE = 25


@may(May.SEE_SHOP)
def keepers(request: HttpRequest) -> HttpResponse:
    asked = request.GET.get("q", "").strip()
    found = (
        Keeper.objects.filter(erased_at=None)
        .search(asked)
        .annotate(cars=Count("vehicles__vehicle", filter=Q(vehicles__until_on=None), distinct=True))
        .order_by("name", "pk")
    )
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "vehicles/keepers.html",
        {
            "page_obj": page,
            "asked": asked,
            "too_long": MOST_ASKED if too_long_to_search(asked) else 0,
        },
    )


@may(May.SEE_SHOP)
def keeper(request: HttpRequest, keeper_id: UUID) -> HttpResponse:
    """One person: how to reach them, and the cars they have or had to do with."""
    person = get_object_or_404(Keeper.objects.select_related("account"), pk=keeper_id)
    parts = person.vehicles.select_related("vehicle").order_by(
        "vehicle__make", "vehicle__model", "part", "-from_on"
    )
    now: dict[Vehicle, list[VehicleKeeper]] = {}
    before: list[VehicleKeeper] = []
    for row in parts:
        if row.until_on is None:
            now.setdefault(row.vehicle, []).append(row)
        else:
            before.append(row)
    return render(request, "vehicles/keeper.html", {"keeper": person, "now": now.items(), "before": before})


@may(May.EDIT_KEEPERS)
def keeper_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.KeeperForm,
        act=acts.add_keeper,
        title="A new person or firm",
        cancel="vehicles:keepers",
        said="Taken down.",
    )


@may(May.EDIT_KEEPERS)
def keeper_correct(request: HttpRequest, keeper_id: UUID) -> HttpResponse:
    person = get_object_or_404(Keeper, pk=keeper_id)
    return act_page(
        request,
        form_class=forms.CorrectKeeperForm,
        act=acts.correct_keeper,
        title="Correct name, address or numbers",
        fixed={"keeper": person},
        form_kwargs={"instance": person},
        initial={"seen_version": person.version},
        done=person,
        said="Corrected.",
        context=_about(person),
    )


@may(May.EDIT_KEEPERS)
def keeper_account(request: HttpRequest, keeper_id: UUID) -> HttpResponse:
    person = get_object_or_404(Keeper, pk=keeper_id)
    return act_page(
        request,
        form_class=forms.AccountForm,
        act=acts.open_account,
        title="Let them sign in",
        intro="They see the history of the cars of which they are owner or registered keeper now, and nothing else.",
        fixed={"keeper": person},
        done=person,
        submit="Open the account",
        said="They can sign in now.",
        context=_about(person),
    )


@may(May.EDIT_KEEPERS)
def part_for_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.PartForForm,
        act=acts.add_parts_for,
        title="Somebody for this car",
        fixed={"vehicle": car},
        done=car,
        said="Recorded who it is.",
        context=_about(car),
    )


@may(May.EDIT_KEEPERS)
def part_for_end(request: HttpRequest, part_for_id: UUID) -> HttpResponse:
    row = get_object_or_404(VehicleKeeper.objects.select_related("vehicle", "keeper"), pk=part_for_id)
    return act_page(
        request,
        form_class=forms.EndPartForm,
        act=acts.end_part_for,
        title=f"{row.keeper}: no longer {row.get_part_display().lower()}",
        fixed={"vehicle_keeper": row},
        initial={"until_on": timezone.localdate()},
        done=row.vehicle,
        submit="End it",
        said="Ended.",
        context=_about(row.vehicle),
    )


def people_panel(request: HttpRequest, car: Vehicle) -> dict:
    """One query."""
    order = list(KeeperPart)
    rows = sorted(car.keepers.select_related("keeper"), key=lambda row: order.index(KeeperPart(row.part)))
    return {
        "people_now": [row for row in rows if row.until_on is None],
        "people_before": sorted(
            (row for row in rows if row.until_on is not None), key=lambda row: row.until_on, reverse=True
        ),
    }


# The vehicle owner's own pages: to read, nothing to write.


@may(May.SEE_OWN_CARS)
def my_cars(request: HttpRequest) -> HttpResponse:
    cars = _own_cars(request).with_state().prefetch_related("registrations").order_by("make", "model", "year")
    return render(request, "vehicles/my_cars.html", {"cars": cars})


@may(May.SEE_OWN_CARS)
def my_car(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """What this car is, what is outstanding, what was done, with the sheets."""
    car = get_object_or_404(_own_cars(request).prefetch_related("registrations"), pk=vehicle_id)
    since = _holder_since(request, car)
    jobs = list(car.jobs.prefetch_related("sheets", "lines").order_by("-year", "-serial"))
    for job in jobs:
        # A sheet, and each later revision of it, has a page with the name, address and prices of whoever had the
        # car when it was handed over.
        sheets = list(job.sheets.all())
        theirs = bool(sheets) and timezone.localdate(min(sheet.made_at for sheet in sheets)) >= since
        job.own_sheets = sheets if theirs else []
        job.earlier_sheets = len(job.sheets.all()) - len(job.own_sheets)
    asked = [
        line
        for job in jobs
        if not job.is_closed
        for line in job.lines.all()
        if line.is_open and line.amount is not None and (not line.answer or line.above_authority)
    ]
    context = {
        "vehicle": car,
        "asked": asked,
        "open_faults": car.faults.without_end().count(),
        "items": car.outstanding_items.open().most_severe_first().select_related("place"),
        "jobs": jobs,
        "truth": odometer.truth(car),
        "latest": odometer.latest_reading(car),
    }
    return render(request, "vehicles/my_car.html", context)


def _own_cars(request: HttpRequest):
    """Only cars that are this person's by name, also where the person works in the shop."""
    return Vehicle.objects.filter(
        pk__in=VehicleKeeper.objects.now()
        .filter(keeper__account=request.user, part__in=HOLDERS)
        .values("vehicle")
    )


def _holder_since(request: HttpRequest, car: Vehicle) -> date:
    """From which day on the car is this person's; where no day is known, from when it was written down."""
    rows = VehicleKeeper.objects.now().filter(vehicle=car, keeper__account=request.user, part__in=HOLDERS)
    days = [row.from_on or timezone.localdate(row.made_at) for row in rows]
    if not days:
        raise Http404
    return min(days)


def _about(subject) -> dict:
    return {"kicker": getattr(subject, "name", str(subject)), "kicker_url": subject.get_absolute_url()}


panels.add_panel(panels.Panel(70, "people", "People around this car", "vehicles/_people.html", people_panel))

urlpatterns = [
    path("keepers/", keepers, name="keepers"),
    path("keepers/add/", keeper_add, name="keeper-add"),
    path("keepers/<uuid:keeper_id>/", keeper, name="keeper"),
    path("keepers/<uuid:keeper_id>/correct/", keeper_correct, name="keeper-correct"),
    path("keepers/<uuid:keeper_id>/account/", keeper_account, name="keeper-account"),
    path("vehicles/<uuid:vehicle_id>/people/add/", part_for_add, name="part-for-add"),
    path("vehicles/people/<uuid:part_for_id>/end/", part_for_end, name="part-for-end"),
    path("my-cars/", my_cars, name="my-cars"),
    path("my-cars/<uuid:vehicle_id>/", my_car, name="my-car"),
]
