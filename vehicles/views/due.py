"""The due list of the shop and of a car; services and roadworthiness tests written down; the car page's panel."""

from __future__ import annotations

from collections import Counter
from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone

from vehicles import (
    due_sources,  # noqa: F401  the sources hang themselves on the due list
    due_timeline,  # noqa: F401  and what was done into the history
    odometer,
)
from vehicles.acts import due as acts
from vehicles.due import Due, Kind, Period, by_period, due_list
from vehicles.forms import due as forms
from vehicles.maintenance_plan import Plan, sheet_of
from vehicles.models import MaintenanceDone, RoadworthinessTest, Vehicle
from vehicles.panels import Panel, add_panel
from vehicles.views.part import about
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May

PER_PAGE = 50
IN_PANEL = 5
# Code in the address, label, days ahead (None: all, what nobody knows when included).
HORIZONS = (("overdue", "Overdue", 0), ("30", "30 days", 30), ("90", "90 days", 90), ("365", "A year", 365),
            ("all", "All", None))  # fmt: skip
USUAL = "90"


def _within(due: Due, within: str, today) -> bool:
    if within == "all":
        return True
    period = due.period(today)
    if within == "overdue" or period in (Period.OVERDUE, Period.UNKNOWN):
        return period == Period.OVERDUE
    return (due.reckoned.day - today).days <= int(within)


@may(May.SEE_SHOP)
def due(request: HttpRequest) -> HttpResponse:
    """What comes due on any car, tool or certificate: in groups, whichever first, by kind and horizon."""
    today = timezone.localdate()
    within = request.GET.get("within", USUAL)
    within = within if within in {code for code, _, _ in HORIZONS} else USUAL
    kind = request.GET.get("kind", "")
    kind = kind if kind in Kind.values else ""
    rows = [row for row in due_list() if request.user.may(row.may)]
    near = [row for row in rows if _within(row, within, today)]
    shown = [row for row in near if not kind or row.kind == kind]
    # The groups follow each other, and what nobody knows when comes last: so a page is a slice of them.
    order = [row for _, group in by_period(shown, today) for row in group]
    page = Paginator(order, PER_PAGE).get_page(request.GET.get("page"))
    counts = Counter(row.kind for row in near)
    totals = Counter(row.period(today) for row in shown)
    groups = [(period, dues, totals[period]) for period, dues in by_period(page.object_list, today)]
    return render(
        request,
        "vehicles/due.html",
        {
            "groups": groups,
            "today": today,
            "page_obj": page,
            "count": len(shown),
            "total": len(near),
            "hidden": len(rows) - len(near),
            "within": within,
            "horizons": HORIZONS,
            "usual": USUAL,
            "kind": kind,
            "kinds": [(one.value, one.label, counts[one]) for one in Kind if counts[one] or one == kind],
        },
    )


@may(May.SEE_SHOP)
def due_of_car(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """All that comes due on one car, its services as they were done, and its roadworthiness tests."""
    car = visible_vehicle(request, vehicle_id)
    today = timezone.localdate()
    rows = due_list(car)
    sheet = sheet_of(car)
    done = car.maintenance_done.select_related("interval", "work_line__job", "reading__instrument", "made_by")
    tests = car.roadworthiness_tests.select_related("reading__instrument", "made_by")
    context = {
        "groups": [(period, dues, len(dues)) for period, dues in by_period(rows, today)],
        "one_car": True,
        "today": today,
        "sheet": sheet,
        "has_plan": any(row.kind == Kind.SERVICE for row in rows),
        "done": done[:60],
        "tests": tests[:40],
        "truth": odometer.truth(car),
    }
    return render(request, "vehicles/due_of_car.html", {"vehicle": car, **context})


@may(May.RECORD_DUE)
def maintenance_done(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Write down that a work of the car's plan was done; ?interval= and ?work_line= choose it."""
    car = visible_vehicle(request, vehicle_id)
    plan = Plan.read().of(sheet_of(car)).values()
    return act_page(
        request,
        form_class=forms.DoneForm,
        act=acts.record_done,
        title="A service that was done",
        intro="It counts from the day and the reading on which it was done: both make the next one.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car, "plan": plan},
        initial={"done_on": timezone.localdate()},
        done=reverse("vehicles:due-of-car", args=[car.pk]),
        said="Written down. The next one is reckoned from it.",
        context=about(car),
    )


@may(May.RECORD_DUE)
def roadworthiness_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.RoadworthinessForm,
        act=acts.record_test,
        title="A roadworthiness test",
        intro="As its certificate says it. What the shop itself finds is written down as a fault or an outstanding item.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        done=reverse("vehicles:due-of-car", args=[car.pk]),
        said="Written down.",
        context=about(car),
    )


@may(May.RECORD_DUE)
def maintenance_strike(request: HttpRequest, done_id: UUID) -> HttpResponse:
    cars = Vehicle.objects.visible_to(request.user)
    rows = MaintenanceDone.objects.select_related("vehicle", "interval").filter(vehicle__in=cars)
    row = get_object_or_404(rows, pk=done_id)
    return _strike(request, row, acts.strike_done, {"done": row})


@may(May.RECORD_DUE)
def roadworthiness_strike(request: HttpRequest, roadworthiness_id: UUID) -> HttpResponse:
    cars = Vehicle.objects.visible_to(request.user)
    rows = RoadworthinessTest.objects.select_related("vehicle").filter(vehicle__in=cars)
    row = get_object_or_404(rows, pk=roadworthiness_id)
    return _strike(request, row, acts.strike_test, {"test": row})


def _strike(request: HttpRequest, row: Any, act: Any, fixed: dict[str, Any]) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.StrikeForm,
        act=act,
        title=f"Entered in error: {row}",
        intro="It stays in sight, struck out, with what you say here. The one before it counts again.",
        fixed=fixed,
        done=reverse("vehicles:due-of-car", args=[row.vehicle_id]),
        submit="Strike it",
        said="Struck.",
        context=about(row.vehicle),
    )


def _panel(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """What comes first of what is due; items that nobody knows when stand in their own panel."""
    rows = [row for row in due_list(car) if row.reckoned is not None]
    return {"rows": rows[:IN_PANEL], "count": len(rows), "today": timezone.localdate()}


add_panel(Panel(22, "due", "Due", "vehicles/_due_panel.html", _panel))

urlpatterns = [
    path("due/", due, name="due"),
    path("vehicles/<uuid:vehicle_id>/due/", due_of_car, name="due-of-car"),
    path("vehicles/<uuid:vehicle_id>/due/done/", maintenance_done, name="maintenance-done"),
    path("vehicles/<uuid:vehicle_id>/due/tested/", roadworthiness_add, name="roadworthiness-add"),
    path("maintenance-done/<uuid:done_id>/strike/", maintenance_strike, name="maintenance-strike"),
    path(
        "roadworthiness-tests/<uuid:roadworthiness_id>/strike/",
        roadworthiness_strike,
        name="roadworthiness-strike",
    ),
]
