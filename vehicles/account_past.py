"""Chapters of the account that no visit tells: past work, roadworthiness tests, services done elsewhere, faults alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.utils import timezone
from django.utils.formats import date_format

from vehicles.account import Chapter, add_teller
from vehicles.account_open import FaultTold, fault_told
from vehicles.account_words import Distance, Distances, photos_by
from vehicles.audience import Audience, Shows
from vehicles.models import Fault, Vehicle
from vehicles.models.due import PASSED, MaintenanceDone, RoadworthinessTest
from vehicles.models.fault import FaultEnd
from vehicles.models.past_work import PastWork


@dataclass(frozen=True)
class PastTold:
    """Something of which there is a line on record. `by` "": who did it is not known, or not for this reader."""

    when: str
    title: str
    text: str = ""
    by: str = ""
    source: str = ""
    distance: Distance | None = None
    amount: Decimal | None = None
    fault: FaultTold | None = None


def _noon(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(12)))


def _days(audience: Audience, kind: str, rows: Any) -> Iterator[Chapter]:
    """A chapter for each row of (key, day): one query."""
    for key, day in rows.values_list("pk", "done_on"):
        if audience.reaches(day):
            yield Chapter(_noon(day), kind, str(key))


# ---------------------------------------------------------------- past work


def past_work(audience: Audience, vehicle: Vehicle) -> Iterator[Chapter]:
    return _days(audience, "past-work", PastWork.objects.filter(vehicle=vehicle, entered_in_error=""))


def past_work_told(audience: Audience, vehicle: Vehicle, keys: list[str]) -> dict[str, PastTold]:
    """Three queries."""
    distances = Distances(audience, vehicle)
    return {
        str(row.pk): PastTold(
            when=row.day_words,
            title=row.title,
            text=row.text,
            by=row.who_did if audience.sees(Shows.PEOPLE) else "",
            source=row.source,
            distance=distances.at(row.odometer_id),
            amount=row.amount if audience.sees(Shows.COSTS) and audience.theirs(row.done_on) else None,
        )
        for row in PastWork.objects.filter(vehicle=vehicle, pk__in=keys)
    }


# ---------------------------------------------------------------- roadworthiness tests, services elsewhere


def tests(audience: Audience, vehicle: Vehicle) -> Iterator[Chapter]:
    return _days(audience, "test", RoadworthinessTest.objects.filter(vehicle=vehicle, entered_in_error=""))


def tests_told(audience: Audience, vehicle: Vehicle, keys: list[str]) -> dict[str, PastTold]:
    """Three queries."""
    distances = Distances(audience, vehicle)
    return {
        str(row.pk): PastTold(
            when=date_format(row.done_on, "j F Y"),
            title=f"Roadworthiness test: {row.get_result_display()[:1].lower()}{row.get_result_display()[1:]}",
            text="\n".join(
                part
                for part in (_valid(row), row.deficiencies if audience.sees(Shows.FAULTS) else "")
                if part
            ),
            by=row.by_whom if audience.sees(Shows.PEOPLE) else "",
            source=row.source_words,
            distance=distances.at(row.reading_id),
        )
        for row in RoadworthinessTest.objects.filter(vehicle=vehicle, pk__in=keys)
    }


def _valid(row: RoadworthinessTest) -> str:
    if row.valid_until is None:
        return ""
    day = date_format(row.valid_until, "j F Y")
    return f"Valid until {day}." if row.result in PASSED else f"To be tested again by {day}."


def services(audience: Audience, vehicle: Vehicle) -> Iterator[Chapter]:
    """Services that another workshop did; ours stand in their visits."""
    rows = MaintenanceDone.objects.filter(vehicle=vehicle, entered_in_error="", work_line=None)
    return _days(audience, "service", rows)


def services_told(audience: Audience, vehicle: Vehicle, keys: list[str]) -> dict[str, PastTold]:
    """Three queries."""
    distances = Distances(audience, vehicle)
    return {
        str(row.pk): PastTold(
            when=date_format(row.done_on, "j F Y"),
            title=row.interval.title,
            by=row.elsewhere if audience.sees(Shows.PEOPLE) else "",
            source=row.source_words,
            distance=distances.at(row.reading_id),
        )
        for row in MaintenanceDone.objects.filter(vehicle=vehicle, pk__in=keys).select_related("interval")
    }


# ---------------------------------------------------------------- faults that no visit tells


def faults(audience: Audience, vehicle: Vehicle) -> Iterator[Chapter]:
    """Faults noticed without a job and ended: those without an end stand above all chapters. One query."""
    if not audience.sees(Shows.FAULTS):
        return
    rows = Fault.objects.filter(vehicle=vehicle, job=None).exclude(end__in=["", FaultEnd.ERROR])
    for key, made_at, ended_at in rows.values_list("pk", "made_at", "ended_at"):
        if audience.reaches(made_at) and audience.reaches(ended_at):
            yield Chapter(ended_at, "fault", str(key))


def faults_told(audience: Audience, vehicle: Vehicle, keys: list[str]) -> dict[str, PastTold]:
    """Two queries."""
    photos = photos_by(audience, vehicle, "fault_id", [UUID(key) for key in keys])
    told = {}
    rows = Fault.objects.filter(vehicle=vehicle, pk__in=keys)
    for row in rows.select_related("place", "same_as", "outstanding_item"):
        fault = fault_told(audience, row, photos[row.pk])
        told[str(row.pk)] = PastTold(date_format(fault.ended_on, "j F Y"), fault.title, fault=fault)
    return told


def register() -> None:
    add_teller("past-work", past_work, past_work_told, "vehicles/_account_past.html")
    add_teller("test", tests, tests_told, "vehicles/_account_past.html")
    add_teller("service", services, services_told, "vehicles/_account_past.html")
    add_teller("fault", faults, faults_told, "vehicles/_account_past.html")
