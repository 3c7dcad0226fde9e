"""Acts on work lines: complaint, cause, correction; how a line ends, and what ends by it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import F, Max

from jobs.acts.clock import stop_clocks_on
from jobs.authority import require_authority, why_above_authority
from jobs.lines import (
    Several,
    check_competence,
    check_let_go,
    check_taken_on,
    check_technician,
    checked_in_on,
    lock_job,
    lock_line,
    refuse_closed,
    refuse_nothing_done,
    send_back_if_ready,
)
from jobs.models import Job, WorkLine
from jobs.models.work import LineKind
from jobs.open_job import refuse_before, refuse_before_check_in
from vehicles.acts import fault as fault_acts
from vehicles.acts import outstanding
from vehicles.models import Fault, OutstandingItem
from vehicles.models.fault import Reproduced
from workshop.acting import By, ChangedMeanwhile, act, create, note, save_changes
from workshop.engineering.units import Amount
from workshop.models import Competence, Person
from workshop.permissions import May

UNCHANGED: Any = object()


# --- writing a line ------------------------------------------------------------------------------------------


@act(May.EDIT_LINE)
def add_line(
    *,
    by: By,
    job: Job,
    complaint: str,
    kind: str = LineKind.REPAIR,
    technician: Person | None = None,
    faults: Iterable[Fault] = (),
    items: Iterable[OutstandingItem] = (),
    competence: str = "",
    qualified: Competence | None = None,
    estimate: Decimal | None = None,
) -> WorkLine:
    """A new line on an open job. On a job that was called ready it is new work and sends the job back."""
    job = lock_job(job)
    refuse_closed(job)
    faults, items = list(faults), list(items)
    check_technician(technician)
    check_competence(competence, qualified, by)
    check_taken_on(job, faults, items, had=())
    line = WorkLine(
        **by.stamp(),
        job=job,
        order=(job.lines.aggregate(last=Max("order"))["last"] or 0) + 1,
        kind=kind,
        complaint=complaint.strip(),
        technician=technician,
        competence=competence,
        qualified=qualified,
        estimate=estimate,
    )
    create(line)
    line.faults.set(faults)
    line.items.set(items)
    note(
        line,
        vehicle=job.vehicle_id,
        job=job,
        facts={
            "order": line.order,
            "kind": kind,
            "faults": faults,
            "items": items,
            "competence": competence,
            "qualified": qualified,
            "estimate": estimate,
            "technician": technician,
        },
        words={"complaint": line.complaint},
    )
    send_back_if_ready(job, by, f"New line {line.order}: {line.complaint}"[:300])
    return line


@act(May.EDIT_LINE)
def write_line(
    *,
    by: By,
    line: WorkLine,
    seen_version: int,
    complaint: str = UNCHANGED,
    cause: str = UNCHANGED,
    correction: str = UNCHANGED,
    technician: Person | None = UNCHANGED,
    competence: str = UNCHANGED,
    qualified: Competence | None = UNCHANGED,
    faults: Iterable[Fault] = UNCHANGED,
    items: Iterable[OutstandingItem] = UNCHANGED,
) -> WorkLine:
    """Write a line's texts and what it takes on; what is not given stays as it is."""
    lock_line(line)
    given = {
        name: value
        for name, value in {
            "complaint": complaint,
            "cause": cause,
            "correction": correction,
            "technician": technician,
            "competence": competence,
            "qualified": qualified,
        }.items()
        if value is not UNCHANGED
    }
    taken = {
        name: Several(sorted(value, key=lambda row: row.order))
        for name, value in {"faults": faults, "items": items}.items()
        if value is not UNCHANGED
    }
    before = {name: Several(getattr(line, name).order_by("order")) for name in taken}
    if line.version != seen_version:
        raise ChangedMeanwhile(line, {**{name: getattr(line, name) for name in given}, **before})
    refuse_closed(line.job)
    if not line.is_open:
        raise ValidationError(
            "This line is done or dropped: its text stands. Reopen it with a reason to write in it.",
            code="line_not_open",
        )
    if technician is not UNCHANGED and technician != line.technician:
        check_technician(technician)
    needs = {name: given.get(name, getattr(line, name)) for name in ("competence", "qualified")}
    if needs != {name: getattr(line, name) for name in needs}:
        check_competence(needs["competence"], needs["qualified"], by)
    check_taken_on(
        line.job,
        taken.get("faults", ()),
        taken.get("items", ()),
        had={*before.get("faults", ()), *before.get("items", ())},
    )
    check_let_go(line, before, taken)
    changes = save_changes(line, seen_version=seen_version, **given)
    differing = {name: rows for name, rows in taken.items() if rows != before[name]}
    for name, rows in differing.items():
        getattr(line, name).set(rows)
    if differing and not changes:
        # What a line takes on is part of what others see of it.
        WorkLine.objects.filter(pk=line.pk).update(version=F("version") + 1)
        line.refresh_from_db(fields=["version"])
    texts = {name: pair for name, pair in changes.items() if name in ("complaint", "cause", "correction")}
    note(
        line,
        vehicle=line.job.vehicle_id,
        job=line.job,
        facts={
            "changes": {name: pair for name, pair in changes.items() if name not in texts},
            "taken_on": {name: [before[name], rows] for name, rows in differing.items()},
        },
        words={"texts": texts},
    )
    return line


# --- how a line ends -----------------------------------------------------------------------------------------


@act(May.FINISH_LINE)
def finish_line(*, by: By, line: WorkLine, seen_version: int, correction: str = UNCHANGED) -> WorkLine:
    """Done: with its correction, within what was authorised. `correction` may be written in the same act."""
    lock_line(line)
    if line.version != seen_version:
        raise ChangedMeanwhile(line, {"correction": line.correction})
    refuse_closed(line.job)
    if line.done_at:
        raise ValidationError("This line is done already.", code="line_done")
    checked_in_on(line.job)
    refuse_before_check_in(by, line.job)
    refuse_before(by.made_at, line.made_at, "The line was written")
    require_authority(line, by)
    if why := why_above_authority(line):
        raise ValidationError(why, code="above_authority")
    text = (line.correction if correction is UNCHANGED else correction).strip()
    if not text:
        raise ValidationError({"correction": "Write down what was done before the line is done."})
    stop_clocks_on(by, line)
    changes = save_changes(
        line,
        seen_version=seen_version,
        correction=text,
        done_at=by.made_at,
        technician=line.technician or by.person,
    )
    note(
        line,
        vehicle=line.job.vehicle_id,
        job=line.job,
        facts={"done_at": line.done_at, "technician": line.technician},
        words={"correction": changes.get("correction", text)},
    )
    return line


@act(May.EDIT_LINE)
def drop_line(*, by: By, line: WorkLine, seen_version: int, dropped_because: str) -> WorkLine:
    """Not done, with the reason. A line that changed the car's parts or ended a fault is finished instead."""
    lock_line(line)
    if line.version != seen_version:
        raise ChangedMeanwhile(line, {"dropped_because": line.dropped_because})
    refuse_closed(line.job)
    if not line.is_open:
        raise ValidationError("This line is done or dropped already.", code="line_not_open")
    if not dropped_because.strip():
        raise ValidationError({"dropped_because": "Say why the line is not done."})
    if line.part_changes.exists() or line.faults_fixed.exists() or line.items_ended.exists():
        raise ValidationError(
            "This line changed the car: parts were changed, or a fault or an item was ended by it. Write down what "
            "was done and finish the line instead.",
            code="line_changed_the_car",
        )
    if line.runs.filter(abandoned_at=None).exists():
        raise ValidationError(
            "A tightening procedure was run on this line. Finish the line, or give the run up first.",
            code="line_has_runs",
        )
    refuse_before(by.made_at, line.made_at, "The line was written")
    save_changes(line, seen_version=seen_version, dropped_because=dropped_because.strip())
    note(line, vehicle=line.job.vehicle_id, job=line.job, words={"dropped_because": line.dropped_because})
    return line


@act(May.FINISH_LINE)
def reopen_line(*, by: By, line: WorkLine, reason: str) -> WorkLine:
    """Open a done or dropped line again, with a reason. What it ended stays ended until that is reopened itself."""
    lock_line(line)
    refuse_closed(line.job)
    if line.is_open:
        raise ValidationError("This line is open.", code="line_open")
    if not reason.strip():
        raise ValidationError({"reason": "Say why the line is opened again."})
    if line.done_at:
        refuse_before(by.made_at, line.done_at, "The line was done")
    changes = save_changes(line, done_at=None, dropped_because="")
    note(
        line,
        vehicle=line.job.vehicle_id,
        job=line.job,
        facts={"was_done": "done_at" in changes},
        words={"reason": reason},
    )
    send_back_if_ready(line.job, by, f"Line {line} reopened: {reason}"[:300])
    return line


# --- what a line ends ----------------------------------------------------------------------------------------


@act(May.END_FAULT)
def end_fixed(
    *,
    by: By,
    fault: Fault,
    line: WorkLine,
    check_made: str,
    confirmed: bool = True,
    severity: str = "",
    due_on: date | None = None,
    due_distance: Amount | None = None,
    due_hours: Decimal | None = None,
    due_runs: int | None = None,
    seen_version: int | None = None,
) -> Fault:
    """The fault is fixed by this line, with the check made afterwards.

    A fault that comes and goes, or a repair that is not confirmed, is "repaired, not yet confirmed": the re-check
    is raised as an outstanding item in the same act (`severity`: else the fault's).
    """
    lock_line(line)
    fault = Fault.objects.select_for_update(no_key=True).get(pk=fault.pk)
    if not line.faults.filter(pk=fault.pk).exists():
        raise ValidationError(
            {
                "line": f"{fault} is not on this line. Let the line take it on first, so that the end has its work."
            }
        )
    refuse_nothing_done(line, by)
    due = {"due_on": due_on, "due_distance": due_distance, "due_hours": due_hours, "due_runs": due_runs}
    comes_and_goes = fault.reproduced in (Reproduced.SOMETIMES, Reproduced.NO)
    item = None
    if confirmed and not comes_and_goes:
        if any(value is not None for value in due.values()):
            raise ValidationError(
                {
                    "confirmed": "A re-check is for a repair that is not confirmed. Take the tick away, or empty it."
                }
            )
    else:
        if all(value is None for value in due.values()):
            why = "It comes and goes" if comes_and_goes else "The repair is not confirmed"
            raise ValidationError(
                {"due_on": f"{why}: give a date, a distance, hours or runs by which it is looked at again."}
            )
        item = outstanding.raise_item(
            by=by,
            vehicle=fault.vehicle,
            title=f"Re-check of F{fault.order}: {fault.title}"[:160],
            severity=severity or fault.severity,
            reason="recheck",
            detail=f"Repaired on line {line}, not yet confirmed. Check made then: {check_made.strip()}",
            place=fault.place,
            raised_in=line.job,
            raised_by_line=line,
            **due,
        )
    return fault_acts.end_fixed(
        by=by, fault=fault, line=line, check_made=check_made, recheck_item=item, seen_version=seen_version
    )


@act(May.OUTSTANDING)
def end_item_by_line(
    *, by: By, item: OutstandingItem, line: WorkLine, finding: str = "", seen_version: int | None = None
) -> OutstandingItem:
    """The outstanding item is done by this line, which must have taken it on."""
    lock_line(line)
    if not line.items.filter(pk=item.pk).exists():
        raise ValidationError(
            {
                "line": f"{item} is not on this line. Let the line take it on first, so that the end has its work."
            }
        )
    refuse_nothing_done(line, by)
    return outstanding.end_by_line(by=by, item=item, line=line, finding=finding, seen_version=seen_version)
