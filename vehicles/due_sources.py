"""What of a car comes due: outstanding items, services of its plan, roadworthiness tests; and calibrations of tools."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django.db.models import Min
from django.urls import reverse

from vehicles.due import Due, Ground, Kind, add_due_source, day_words
from vehicles.maintenance_plan import Plan
from vehicles.models import (
    Fault,
    MaintenanceDone,
    MaintenanceInterval,
    OutstandingItem,
    Registration,
    RoadworthinessTest,
    SheetOfVehicle,
)
from workshop.engineering.use import Reckoned, months_after
from workshop.models import Calibration, Competence, TorqueTool
from workshop.permissions import May

_KIND = {"recheck": Kind.RECHECK, "parts": Kind.PARTS}


def items(ground: Ground) -> Iterator[Due]:
    """Open items. What has neither day nor distance is due at an unknown time: it is not forgotten. Two queries.

    One by which a repair is to be confirmed says of which fault.
    """
    rows = ground.of_cars(OutstandingItem.objects.open())
    repaired = dict(
        ground.of_cars(Fault.objects.filter(recheck_item__end="", recheck_item__isnull=False))
        .order_by("order")
        .values_list("recheck_item", "order")
    )
    for row in rows:
        kind = _KIND.get(row.reason, Kind.ITEM)
        unknown = ""
        if row.due_on is None and row.due_km is None:
            by_hand = row.due_hours is not None or row.due_runs is not None
            unknown = f"{row.due_words}: hours and runs are counted by hand" if by_hand else "no day was set"
        driven = ground.way(row.vehicle_id).since(row.from_reading_id) if row.due_km is not None else None
        yield ground.due(
            row.vehicle_id,
            kind=kind,
            title=row.title,
            url=row.get_absolute_url(),
            by_date=row.due_on,
            due_km=None if row.due_km is None else float(row.due_km),
            driven=driven,
            why=_why_item(row, kind, repaired.get(row.pk)),
            severity=row.severity,
            key=f"item:{row.pk}",
            records=row.version,
            stamp=row.received_at,
            unknown=unknown,
        )


def _why_item(row: OutstandingItem, kind: Kind, fault: int | None) -> str:
    """Which of the car's items it is and since when, and why it is outstanding where its kind does not say so."""
    number = f"{row.number} of {day_words(row.raised_on)}"
    if fault is not None:
        return f"F{fault} is repaired, not yet confirmed; {number}"
    return number if kind != Kind.ITEM else f"{row.reason_words}; {number}"


def sheets_now(ground: Ground) -> dict[Any, tuple[Any, datetime]]:
    """Car → the data sheet that holds for it, and when that arrived. One query."""
    rows = ground.of_cars(SheetOfVehicle.objects.order_by("made_at", "received_at"))
    return {
        car: (sheet, arrived)
        for car, sheet, arrived in rows.values_list("vehicle_id", "sheet_id", "received_at")
    }


def last_done(
    ground: Ground,
) -> tuple[dict[tuple[Any, str], MaintenanceDone], dict[Any, datetime]]:
    """(car, line) → when it was last done, those entered in error left out; and when the newest arrived. One query."""
    done: dict[tuple[Any, str], MaintenanceDone] = {}
    newest: dict[Any, datetime] = {}
    for row in ground.of_cars(MaintenanceDone.objects.order_by("done_on", "made_at")):
        newest[row.vehicle_id] = max(newest.get(row.vehicle_id, row.received_at), row.received_at)
        if not row.entered_in_error:
            done[row.vehicle_id, row.line] = row
    return done, newest


def services(ground: Ground) -> Iterator[Due]:
    """Each interval of each car's plan, from when it was last done; never done, from the first that is known of it.

    Five queries; two in a shop without a plan.
    """
    plan = Plan.read()
    if not plan.own:
        return
    done, newest = last_done(ground)
    registered = dict(
        ground.of_cars(Registration.objects.order_by())
        .values("vehicle")
        .annotate(first=Min("from_on"))
        .values_list("vehicle", "first")
    )
    for car, (sheet, chosen) in sheets_now(ground).items():
        if car not in ground.cars:
            continue
        arrived = max(chosen, newest.get(car, chosen))
        for line, interval in plan.of(sheet).items():
            yield _service(ground, car, interval, done.get((car, line)), registered.get(car), arrived)


def _service(
    ground: Ground,
    car: Any,
    interval: MaintenanceInterval,
    last: MaintenanceDone | None,
    registered: date | None,
    stamp: datetime,
) -> Due:
    way = ground.way(car)
    if last is not None:
        start: date | None = last.done_on
        driven = way.since(last.reading_id) if last.reading_id else None
        since = f"last done {day_words(last.done_on)}"
    else:
        start, driven, since = _never_done(ground, car, registered)
    months = interval.every_months
    every_km = None if interval.every_km is None else float(interval.every_km)
    return ground.due(
        car,
        kind=Kind.SERVICE,
        title=interval.title,
        interval=interval,
        url=reverse("vehicles:due-of-car", args=[car]),
        by_date=months_after(start, months) if months and start else None,
        # Done at a distance nobody read: then only the months can say when.
        due_km=every_km,
        driven=driven,
        why=f"{interval.every_words}; {since}",
        key=f"service:{car}:{interval.line}:{last.pk if last else 'first'}",
        records=1,
        stamp=max(interval.received_at, stamp),
        unknown="it is not known from when to count",
    )


def _never_done(ground: Ground, car: Any, registered: date | None) -> tuple[date | None, float | None, str]:
    """From when a service counts that is not on record, the distance since then, and that in words."""
    way = ground.way(car)
    start = registered or way.first
    new = ground.since_new(car)
    driven = way.first_km if new is None else new
    counted = [f"the months from {day_words(start)}" if start else ""]
    if new is not None:
        counted.append("the distance from new")
    elif driven is not None and way.first:
        counted.append(f"the distance from the reading of {day_words(way.first)}")
    words = " and ".join(filter(None, counted))
    return start, driven, f"not on record that it was ever done: look{f'; {words} counted' if words else ''}"


def tests(ground: Ground) -> Iterator[Due]:
    """The next roadworthiness test of each car of which one is on record. One query."""
    rows = ground.of_cars(
        RoadworthinessTest.objects.filter(entered_in_error="").order_by("done_on", "made_at")
    )
    for row in {row.vehicle_id: row for row in rows}.values():
        passed = row.is_passed
        yield ground.due(
            row.vehicle_id,
            kind=Kind.TEST,
            title="Roadworthiness test" if passed else "Roadworthiness test again",
            url=reverse("vehicles:due-of-car", args=[row.vehicle_id]),
            by_date=row.valid_until or row.done_on,
            why=f"{row.get_result_display()}, {day_words(row.done_on)}, {row.by_whom}",
            severity="" if passed else row.result,
            key=f"test:{row.pk}",
            records=1,
            stamp=row.received_at,
        )


def calibrations(ground: Ground) -> Iterator[Due]:
    """The next calibration of each torque tool in use; one never calibrated is due at an unknown time. Two queries."""
    if not ground.whole:
        return
    latest: dict[Any, Calibration] = {}
    for row in Calibration.objects.order_by("calibrated_on", "made_at"):
        latest[row.tool_id] = row
    for tool in TorqueTool.objects.filter(withdrawn_at=None):
        row = latest.get(tool.pk)
        if row is None and tool.kind == "angle":
            continue
        day = row.due_on if row and row.passed else row.calibrated_on if row else None
        yield Due(
            kind=Kind.CALIBRATION,
            title=f"Calibrate {tool}",
            url=tool.get_absolute_url(),
            tool=tool,
            by_date=day,
            reckoned=Reckoned(day, day, day) if day else None,
            words=day_words(day) if day else "never calibrated: readings with it count as nothing",
            why=_why_calibrate(row),
            key=f"calibration:{tool.pk}:{row.pk if row else 'first'}",
            staff_only=True,
            records=tool.version,
            stamp=row.received_at if row else tool.received_at,
        )


def _why_calibrate(row: Calibration | None) -> str:
    if row is None:
        return "no calibration on record"
    if not row.passed:
        return f"failed its calibration of {day_words(row.calibrated_on)}"
    return f"certificate {row.certificate} of {day_words(row.calibrated_on)}"


def competences(ground: Ground) -> Iterator[Due]:
    """What somebody is qualified for until a day: the latest of each kind, of people who still work here. One query."""
    if not ground.whole:
        return
    rows = Competence.objects.filter(withdrawn_on=None, person__is_active=True).select_related("person")
    latest: dict[Any, Competence] = {}
    for row in rows:
        held = latest.get((row.person_id, row.kind))
        if held is None or (row.expires_on or date.max) > (held.expires_on or date.max):
            latest[row.person_id, row.kind] = row
    for row in latest.values():
        if row.expires_on is None:
            continue
        yield Due(
            kind=Kind.COMPETENCE,
            title=f"{row.get_kind_display()}: certificate runs out",
            url=row.person.get_absolute_url(),
            tool=row.person,
            by_date=row.expires_on,
            reckoned=Reckoned(row.expires_on, row.expires_on, row.expires_on),
            words=day_words(row.expires_on),
            why=f"certificate {row.certificate}",
            key=f"competence:{row.pk}",
            staff_only=True,
            may=May.SEE_PEOPLE,
            records=1,
            stamp=row.received_at,
        )


add_due_source("items", items)
add_due_source("services", services)
add_due_source("tests", tests)
add_due_source("calibrations", calibrations)
add_due_source("competences", competences)
