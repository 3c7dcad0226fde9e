"""Visits as the history report of a car tells them: newest first, without persons, with prices where they may be seen.

Some twenty queries for any number of visits.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Prefetch
from django.utils import timezone

from jobs.models import Job, LabourEntry, Measurement, PartChange, PartUsed, Run, SheetRevision, WorkLine
from jobs.models.part import ChangeKind
from jobs.run_state import RunState
from jobs.runs import states_of
from jobs.sheets.words import in_days, money
from jobs.sheets.work import measured
from jobs.states import JobState
from jobs.tool_failures import doubted_runs
from vehicles.audience import Audience, Shows
from vehicles.models import Attachment, AttachmentKind, Fault, FaultEnd, Vehicle
from vehicles.papers.history import PHOTOS_ALL, Told, add_teller
from vehicles.papers.words import day, named
from workshop.models import Shop
from workshop.sheets import in_groups


def register() -> None:
    add_teller("visits", visits)


def visits(car: Vehicle, audience: Audience) -> Told:
    jobs = _jobs(car)
    runs = Run.objects.filter(job__vehicle=car).select_related("version_used__procedure")
    states = states_of(runs)
    doubted = doubted_runs(car)
    faults = _faults(car) if audience.sees(Shows.FAULTS) else {}
    photos = _photos(car) if audience.sees(Shows.PHOTOS) else {}
    currency = Shop.current().currency
    rows = []
    for job in jobs:
        tightened = {run.line_id: [] for run in job.runs.all()}
        for run in job.runs.all():
            tightened[run.line_id].append(_run(states[run.pk], run.pk in doubted))
        theirs = audience.sees(Shows.COSTS) and audience.theirs(
            job.issued[0].made_at if job.issued else job.made_at
        )
        rows.append(_visit(job, tightened, faults.get(job.pk, []), photos.get(job.pk, []), theirs, currency))
    rows.sort(key=lambda row: row.pop("_at"), reverse=True)
    counts = {
        "visit": len(rows),
        "piece of work|pieces of work": sum(len(row["lines"]) for row in rows),
        "measurement": sum(len(line["measured"]) for row in rows for line in row["lines"]),
        "tightening": sum(len(line["tightened"]) for row in rows for line in row["lines"]),
    }
    return Told(rows, counts)


def _jobs(car: Vehicle) -> list[Job]:
    changes = PartChange.objects.select_related("part_on__place", "part_off__place").order_by("made_at")
    lines = WorkLine.objects.order_by("order").prefetch_related(
        Prefetch("part_changes", changes, to_attr="changes"),
        Prefetch(
            "measurements",
            Measurement.objects.counting().select_related("place").order_by("made_at"),
            to_attr="told",
        ),
        Prefetch("parts_used", PartUsed.objects.counting(), to_attr="used"),
        Prefetch("labour", LabourEntry.objects.counting(), to_attr="worked"),
    )
    return list(
        car.jobs.exclude(state=JobState.CANCELLED)
        .select_related("handover__odometer__instrument", "check_in__odometer__instrument")
        .prefetch_related(
            Prefetch("lines", lines, to_attr="told"),
            Prefetch(
                "sheets", SheetRevision.objects.order_by("revision").defer("technical"), to_attr="issued"
            ),
            "road_tests",
            "runs",
        )
    )


def _visit(
    job: Job, tightened: dict[UUID, list], faults: list, photos: list, theirs: bool, currency: str
) -> dict[str, Any]:
    handover = getattr(job, "handover", None)
    check_in = getattr(job, "check_in", None)
    at = handover.made_at if handover else job.made_at
    total = Decimal(0)
    lines = []
    for line in job.told:
        row, amount = _line(line, tightened.get(line.pk, []), theirs)
        total += amount
        if row is not None:
            lines.append(row)
    return {
        "_at": at,
        "number": job.number,
        "title": job.title,
        "year": timezone.localtime(at).year,
        "day": day(at),
        "open": not job.is_closed,
        "state": "" if job.is_closed else job.get_state_display(),
        "unfinished": handover.unfinished_because if handover else "",
        "came": _read(check_in),
        "left": _read(handover),
        "lines": lines,
        "faults": faults,
        "road": [str(test) + (f": {test.found}" if test.found else "") for test in job.road_tests.all()],
        "sheets": [
            {
                "title": row.get_kind_display(),
                "revision": row.revision,
                "on": in_days(row.made_at),
                "hash": " ".join(in_groups(row.technical_hash)[:4]),
            }
            for row in job.issued
        ],
        "cost": f"{money(total)} {currency}" if theirs else "",
        "pictures": named(photos),
    }


def _read(of: Any) -> str:
    return str(of.odometer) if of is not None else ""


def _line(line: WorkLine, tightened: list, theirs: bool) -> tuple[dict[str, Any] | None, Decimal]:
    """What was done by one work line (None where nothing was), and what it cost. As on the handover sheet: an estimate
    is no price, and making safe is not charged without a yes."""
    begun = bool(line.done_at or line.used or line.worked)
    amount = Decimal(0)
    if begun and line.billable:
        amount = (line.amount if line.done_at else line.cost) or Decimal(0)
    if not begun and not line.correction and not line.cause:
        return None, amount
    return {
        "order": line.order,
        "complaint": line.complaint,
        "cause": line.cause,
        "correction": line.correction,
        "state": "" if line.done_at else "not done" if line.dropped_because else "not finished",
        "because": line.dropped_because,
        "parts": [_part(change) for change in line.changes],
        "measured": [
            {
                key: row[key]
                for key in (
                    "what",
                    "where",
                    "before",
                    "after",
                    "limits",
                    "source",
                    "verdict",
                    "verdict_label",
                )
            }
            for row in measured(line.told)
        ],
        "tightened": tightened,
        "cost": money(amount) if theirs and begun else "",
    }, amount


def _part(change: PartChange) -> str:
    on, off = change.part_on, change.part_off
    where = (on or off).where
    if change.kind == ChangeKind.REFITTED:
        return f"{where}: {on.description} removed and refitted"
    said = []
    if on is not None:
        number = f", no. {on.part_number}" if on.part_number else ""
        said.append(f"{on.description}{number} ({on.get_provenance_display().lower()}) fitted")
    if off is not None:
        said.append(f"{off.description} removed")
    trial = ", on trial" if change.kind == ChangeKind.ON_TRIAL else ""
    return f"{where}: {', '.join(said)}{trial}"


def _run(state: RunState, doubted: bool) -> dict[str, Any]:
    """A tightening in short: how it ended, how many readings stand and with which verdicts. Who checked stands in the
    torque record."""
    run = state.run
    if run.abandoned_at:
        said = f"stopped {in_days(run.abandoned_at)}: {run.abandoned_because}"
    elif run.completed_at:
        said = f"completed {in_days(run.completed_at)}"
    else:
        said = "not completed"
    standing = [
        one
        for of in state.steps
        for stage in of.stages
        for one in stage.fasteners.values()
        if one.reading is not None
    ]
    verdicts: dict[str, int] = {}
    for one in standing:
        label = one.verdict_label.lower() if one.counts else "not counting"
        verdicts[label] = verdicts.get(label, 0) + 1
    critical = [of for of in state.steps if of.step.critical]
    checked = sum(of.valid_check is not None for of in critical)
    return {
        "title": str(run),
        "said": said,
        "proven": bool(run.completed_at) and not state.problems and not doubted,
        "readings": len(standing),
        "verdicts": ", ".join(f"{count} {label}" for label, count in verdicts.items()),
        "checks": f"{checked} of {len(critical)} critical joint{'s' if len(critical) != 1 else ''} checked a second time"
        if critical
        else "",
        "open": [problem.text.removeprefix(f"{run}, ") for problem in state.problems],
        "doubted": doubted,
    }


def _faults(car: Vehicle) -> dict[UUID, list[dict[str, Any]]]:
    """By visit; without the owner's own words. One query."""
    found: dict[UUID, list[dict[str, Any]]] = {}
    rows = car.faults.filter(job__isnull=False).exclude(end=FaultEnd.ERROR)
    for row in rows.select_related("place", "root_cause").order_by("order"):
        found.setdefault(row.job_id, []).append(_fault(row))
    return found


def _fault(row: Fault) -> dict[str, Any]:
    return {
        "number": row.number,
        "title": row.title,
        "kind": row.get_kind_display(),
        "severity": row.severity,
        "where": row.where,
        "end": row.end_words,
        "on": day(row.ended_at),
        "open": not row.end,
        "cause": row.root_cause.description if row.root_cause else "",
        "check": row.check_made,
    }


def _photos(car: Vehicle) -> dict[UUID, list[Attachment]]:
    """Pictures of the work of the latest visits, by visit; none taken all round, which can show belongings. One query."""
    rows = (
        Attachment.objects.shown()
        .filter(vehicle=car, kind=AttachmentKind.PHOTO, occasion="", job__isnull=False)
        .order_by("-made_at", "-pk")[:PHOTOS_ALL]
    )
    found: dict[UUID, list[Attachment]] = {}
    for row in reversed(rows):
        found.setdefault(row.job_id, []).append(row)
    return found
