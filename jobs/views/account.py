"""Visits as others than the shop's people read them: what was asked for, found and done, the papers, what it cost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Prefetch
from django.urls import reverse
from django.utils import timezone

from jobs.models import (
    CheckIn,
    Handover,
    Job,
    LabourEntry,
    Measurement,
    PartChange,
    PartUsed,
    RoadTest,
    SheetRevision,
    WorkLine,
)
from jobs.models.measurement import Phase
from jobs.states import JobState
from jobs.tool_failures import doubted_runs
from vehicles import account
from vehicles.account import Chapter, Paper
from vehicles.account_open import FaultTold, by_job
from vehicles.account_words import Distance, Distances, Pictures, photos_by, pictures
from vehicles.audience import Audience, Shows
from vehicles.models import Vehicle
from workshop.engineering.units import with_label
from workshop.forms.fields import plain_number


@dataclass(frozen=True)
class Measured:
    what: str
    before: str
    after: str


@dataclass(frozen=True)
class WorkTold:
    """A work line that is done, with what was fitted and what was measured before and after."""

    title: str
    cause: str
    correction: str
    parts: tuple[str, ...]
    measured: tuple[Measured, ...]
    tightened: bool
    doubted: bool
    by: str
    amount: Decimal | None


@dataclass(frozen=True)
class Refused:
    """Work that the reader said no to, or put off."""

    title: str
    no: bool


@dataclass(frozen=True)
class VisitTold:
    """One visit. `words`: where an open one stands. `cost` None: there was none, or it is not for this reader."""

    number: str
    state: str
    closed: bool
    booked: bool
    words: str
    title: str
    complaint: str
    booked_for: datetime | None
    promised_at: datetime | None
    waiting_for: str
    done: tuple[WorkTold, ...]
    refused: tuple[Refused, ...]
    going_on: tuple[str, ...]
    agreed: bool
    faults: tuple[FaultTold, ...]
    damage_seen: str
    driven: str
    driven_by: str
    found: str
    told: str
    distance: Distance | None
    pictures: Pictures
    sheets: tuple[Paper, ...]
    earlier_sheets: int
    cost: Decimal | None


def visits(audience: Audience, car: Vehicle) -> Iterator[Chapter]:
    """A chapter for each visit, at the moment when the car was handed over: one query."""
    rows = car.jobs.exclude(state=JobState.CANCELLED).order_by()
    for key, state, made_at, over in rows.values_list("pk", "state", "made_at", "handover__made_at"):
        going_on = not JobState(state).closed
        if audience.reaches(over or made_at) and (audience.now or not going_on):
            yield Chapter(over or made_at, "visit", str(key), first=going_on)


def visits_told(audience: Audience, car: Vehicle, keys: list[str]) -> dict[str, VisitTold]:
    """What these visits tell: the same number of queries for any number of them."""
    sheets = SheetRevision.objects.order_by("revision").defer("technical")
    jobs = list(
        car.jobs.filter(pk__in=keys)
        .select_related("handover", "check_in")
        .prefetch_related(
            Prefetch("lines", _lines(), to_attr="told"),
            Prefetch("sheets", sheets, to_attr="issued"),
            Prefetch("road_tests", RoadTest.objects.select_related("driver").order_by("made_at")),
        )
    )
    ids = [job.pk for job in jobs]
    about = _About(
        audience,
        photos_by(audience, car, "job_id", ids),
        by_job(audience, car, ids),
        Distances(audience, car),
        doubted_runs(car),
    )
    return {str(job.pk): _visit(about, job) for job in jobs}


def _lines():
    changes = PartChange.objects.filter(part_on__isnull=False).select_related("part_on")
    return (
        WorkLine.objects.order_by("order")
        .select_related("technician")
        .prefetch_related(
            Prefetch("part_changes", changes, to_attr="changes"),
            Prefetch("measurements", Measurement.objects.counting().order_by("made_at"), to_attr="measured"),
            Prefetch("labour", LabourEntry.objects.counting().only("line"), to_attr="hours"),
            Prefetch("parts_used", PartUsed.objects.counting().only("line"), to_attr="used"),
            "runs",
        )
    )


@dataclass(frozen=True)
class _About:
    audience: Audience
    photos: dict[UUID, list[Any]]
    faults: dict[UUID, list[FaultTold]]
    distances: Distances
    doubted: set[UUID]


def _visit(about: _About, job: Job) -> VisitTold:
    audience = about.audience
    handover: Handover | None = getattr(job, "handover", None)
    check_in: CheckIn | None = getattr(job, "check_in", None)
    closed, hears = job.is_closed, audience.hears(job.made_at)
    open_lines = [line for line in job.told if line.is_open and line.answer == "yes"]
    drive = next((test for test in job.road_tests.all() if test.driven), None)
    sheets = _sheets(audience, job)
    return VisitTold(
        number=job.number,
        state=job.get_state_display(),
        closed=closed,
        booked=job.state == JobState.BOOKED,
        words=job_words(job),
        title=job.title,
        complaint=job.complaint if hears else "",
        booked_for=job.booked_for if hears else None,
        promised_at=job.promised_at if hears and not closed else None,
        waiting_for=job.get_waiting_for_display().lower() if hears and job.waiting_for else "",
        done=tuple(_work(about, job, line) for line in job.told if line.done_at),
        refused=tuple(
            Refused(line.complaint, line.answer == "no")
            for line in job.told
            if hears and not line.done_at and line.answer in ("no", "later")
        ),
        going_on=tuple(line.complaint for line in open_lines) if not closed else (),
        agreed=hears,
        faults=tuple(about.faults.get(job.pk, ())),
        damage_seen=check_in.damage if check_in and audience.sees(Shows.FAULTS) else "",
        driven=drive.driven if drive else "",
        driven_by=drive.driver.name if drive and audience.sees(Shows.PEOPLE) else "",
        found=drive.found if drive else "",
        told=handover.told if handover and audience.hears(handover.made_at) else "",
        distance=about.distances.at(check_in.odometer_id if check_in else None),
        pictures=pictures(
            audience, [row for row in about.photos.get(job.pk, ()) if not (row.damage_id or row.fault_id)]
        ),
        sheets=sheets,
        earlier_sheets=len(job.issued) if audience.sees(Shows.PAPERS) and not sheets else 0,
        cost=_cost(job) if _sees_cost(audience, job) else None,
    )


def _work(about: _About, job: Job, line: WorkLine) -> WorkTold:
    before = {row.what.casefold(): row for row in line.measured if row.phase == Phase.BEFORE}
    measured = []
    for row in line.measured:
        if row.phase == Phase.AFTER:
            was = before.get(row.what.casefold())
            measured.append(Measured(row.what, _read(was) if was else "", _read(row)))
    runs = list(line.runs.all())
    sees_people = about.audience.sees(Shows.PEOPLE)
    return WorkTold(
        title=line.complaint,
        cause=line.cause,
        correction=line.correction,
        parts=tuple(change.part_on.description for change in line.changes if change.kind != "refitted"),
        measured=tuple(measured),
        tightened=any(run.completed_at is not None for run in runs),
        doubted=any(run.pk in about.doubted for run in runs),
        by=line.technician.name if sees_people and line.technician else "",
        amount=_billed(line) if _sees_cost(about.audience, job) else None,
    )


def _read(row: Measurement) -> str:
    return with_label(str(plain_number(row.value)), row.unit)


def _sees_cost(audience: Audience, job: Job) -> bool:
    """Money is of whoever brought the car: a visit that began in the reader's own time."""
    check_in = getattr(job, "check_in", None)
    return audience.sees(Shows.COSTS) and audience.theirs(check_in.made_at if check_in else job.made_at)


def _billed(line: WorkLine) -> Decimal | None:
    """What a line adds to the bill, as the handover sheet counts it: an estimate of what is not done is no price."""
    if not (line.billable and (line.done_at or line.hours or line.used)):
        return None
    return line.amount if line.done_at else line.cost


def _cost(job: Job) -> Decimal | None:
    amounts = [amount for line in job.told if (amount := _billed(line)) is not None]
    return sum(amounts, Decimal(0)) if amounts else None


def _sheets(audience: Audience, job: Job) -> tuple[Paper, ...]:
    """A sheet and each later revision of it are of whoever had the car at the first one."""
    if not job.issued or not audience.sees(Shows.PAPERS) or not audience.theirs(job.issued[0].made_at):
        return ()
    return tuple(_paper(audience, row, job.number, len(job.issued) > 1) for row in job.issued)


def _paper(audience: Audience, row: SheetRevision, number: str, several: bool) -> Paper:
    revision = f", revision {row.revision}" if several else ""
    return Paper(
        f"{row.get_kind_display()}{revision}",
        f"job {number}",
        timezone.localdate(row.made_at),
        audience.address(reverse("jobs:sheet-pdf", args=[row.pk])),
    )


def papers(audience: Audience, car: Vehicle) -> list[Paper]:
    """Every handover sheet of the reader's own time, newest first: one query."""
    if not audience.sees(Shows.PAPERS):
        return []
    rows = SheetRevision.objects.filter(job__vehicle=car).select_related("job").defer("technical")
    by: dict[UUID, list[SheetRevision]] = {}
    for row in rows.order_by("revision"):
        by.setdefault(row.job_id, []).append(row)
    theirs = [rows for rows in by.values() if audience.theirs(rows[0].made_at)]
    found = [_paper(audience, row, row.job.number, len(rows) > 1) for rows in theirs for row in rows]
    return sorted(found, key=lambda paper: paper.day, reverse=True)


def job_words(job: Job) -> str:
    """Where an open job stands, for who is waiting for the car."""
    return {
        JobState.BOOKED: "is booked",
        JobState.CHECKED_IN: "is with us, work has not begun",
        JobState.IN_WORK: "is with us and in work",
        JobState.FINAL_CHECKS: "is with us, the work is done and is being checked",
        JobState.READY: "is ready to be collected",
    }.get(job.state, "")


account.add_teller("visit", visits, visits_told, "jobs/_account_visit.html")
account.add_papers("sheets", papers)
