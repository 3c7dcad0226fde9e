from datetime import date
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone
from django.utils.formats import date_format

from vehicles import panels
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
    order = list(KeeperPart)
    now: dict[Vehicle, list[VehicleKeeper]] = {}
    before: list[VehicleKeeper] = []
    for row in sorted(parts, key=lambda row: order.index(KeeperPart(row.part))):
        if row.until_on is None:
            now.setdefault(row.vehicle, []).append(row)
        else:
            before.append(row)
    context = {
        "keeper": person,
        "now": [(car, parts_in_words(rows)) for car, rows in now.items()],
        "before": before,
    }
    return render(request, "vehicles/keeper.html", context)


def parts_in_words(rows: list[VehicleKeeper]) -> list[str]:
    """Parts that began on one day in one sentence: "Registered keeper, owner from 26 Oct 2026"."""
    found: dict[date | None, list[str]] = {}
    for row in rows:
        found.setdefault(row.from_on, []).append(row.get_part_display())
    return [
        ", ".join((labels[0], *(label.lower() for label in labels[1:])))
        + (f" from {date_format(day, 'j M Y')}" if day else "")
        for day, labels in found.items()
    ]


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
    people_now = [row for row in rows if row.until_on is None]
    by_person: dict[Keeper, list[VehicleKeeper]] = {}
    for row in people_now:
        by_person.setdefault(row.keeper, []).append(row)
    for person, parts in by_person.items():
        person.holds_it = any(row.part in HOLDERS for row in parts)
    return {
        "people_now": people_now,
        "by_person": list(by_person.items()),
        "people_before": sorted(
            (row for row in rows if row.until_on is not None), key=lambda row: row.until_on, reverse=True
        ),
    }


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
]
