"""Acts on work lines: complaint, cause, correction; the owner's answer; labour and parts used; how a line ends."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import F, Max, Sum
from django.utils import timezone
from django.utils.formats import date_format

from jobs.authority import (
    require_authority,
    why_above_authority,
    why_competence_refused,
    why_no_authority,
)
from jobs.lines import (
    checked_in_on,
    line_to_work_on,
    lock_job,
    lock_line,
    refuse_closed,
    send_back_if_ready,
)
from jobs.models import Job, LabourEntry, LineAnswer, PartUsed, WorkLine
from jobs.models.work import LineAnswerKind, LineKind, time_words
from vehicles.acts import fault as fault_acts
from vehicles.acts import outstanding
from vehicles.models import Fault, Keeper, OutstandingItem, Vehicle
from vehicles.models.fault import Reproduced
from vehicles.models.outstanding import Channel
from vehicles.people import authorisers_of
from workshop.acting import By, ChangedMeanwhile, act, create, note, save_changes
from workshop.engineering.units import Amount
from workshop.models import Competence, Person
from workshop.permissions import May, allowed

__all__ = ["require_authority"]

UNCHANGED: Any = object()


class Several(list):
    """Several records as one value of a form: compared as a list, read as their names."""

    def __str__(self) -> str:
        return ", ".join(str(item) for item in self) or "(none)"


# --- writing a line ---------------------------------------------------------------------------------------


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
    _check_technician(technician)
    _check_competence(competence, qualified, by)
    _check_taken_on(job, faults, items, had=())
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
        _check_technician(technician)
    needs = {name: given.get(name, getattr(line, name)) for name in ("competence", "qualified")}
    if needs != {name: getattr(line, name) for name in needs}:
        _check_competence(needs["competence"], needs["qualified"], by)
    _check_taken_on(
        line.job,
        taken.get("faults", ()),
        taken.get("items", ()),
        had={*before.get("faults", ()), *before.get("items", ())},
    )
    _check_let_go(line, before, taken)
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


def _check_technician(technician: Person | None) -> None:
    if technician is not None and not allowed(technician, May.LABOUR):
        raise ValidationError(
            {"technician": f"{technician} does no work on cars here. Choose a technician who may sign in."}
        )


def _check_competence(kind: str, qualified: Competence | None, by: By) -> None:
    if qualified is None:
        return
    if not kind:
        raise ValidationError({"competence": "Say which competence the line needs, or take the name away."})
    if why := why_competence_refused(kind, qualified, by):
        raise ValidationError({"qualified": why}, code="not_qualified")


def _check_taken_on(job: Job, faults: Iterable[Fault], items: Iterable[OutstandingItem], had) -> None:
    """Of this car only, and still open, unless the line has them already."""
    for name, rows in (("faults", faults), ("items", items)):
        for row in rows:
            if row.vehicle_id != job.vehicle_id:
                raise ValidationError({name: f"{row} belongs to another car. Choose one of this car."})
            if row.end and row not in had:
                raise ValidationError({name: f"{row} has ended. Reopen it or report it anew first."})


def _check_let_go(line: WorkLine, before: dict[str, Several], taken: dict[str, Several]) -> None:
    """What this line ended stays on it: the end points at the line."""
    for name, ended_by in (("faults", "fixed_by_line_id"), ("items", "ended_by_line_id")):
        for row in before.get(name, ()):
            if row not in taken[name] and getattr(row, ended_by) == line.pk:
                raise ValidationError({name: f"{row} was ended by this line and stays on it."})


# --- authority --------------------------------------------------------------------------------------------


@act(May.ESTIMATE)
def estimate_line(
    *, by: By, line: WorkLine, seen_version: int, estimate: Decimal | None, cost: Decimal | None = None
) -> WorkLine:
    """Price a line. A cost above what was authorised asks again; a done line can't be raised above it."""
    lock_line(line)
    if line.version == seen_version:
        refuse_closed(line.job)
        if line.dropped_because:
            raise ValidationError(
                "This line was dropped. Reopen it with a reason first.", code="line_dropped"
            )
    changes = save_changes(line, seen_version=seen_version, estimate=estimate, cost=cost)
    if line.done_at and (why := why_above_authority(line) or why_no_authority(line)):
        raise ValidationError({"cost": f"The line is done. {why}"})
    note(line, vehicle=line.job.vehicle_id, job=line.job, facts={"changes": changes})
    if line.above_authority:
        send_back_if_ready(line.job, by, f"Line {line} costs more than was authorised")
    return line


@act(May.RECORD_ANSWER)
def record_answer(
    *,
    by: By,
    line: WorkLine,
    answer: str,
    given_by: Keeper,
    right: str = "",
    channel: str,
    answered_at: datetime | None = None,
    amount: Decimal | None = None,
    words: str = "",
    seen_version: int | None = None,
) -> LineAnswer:
    """Yes, no or later, by somebody who may say so for this car on that day.

    Without `amount` a yes is up to the amount of the line as it stands. `right` is taken from the car's people
    when it is not given.
    """
    if channel == Channel.ACCOUNT:
        raise ValidationError({"channel": "Only the owner, signed in, answers in their own account."})
    return _answer(
        by, line, answer, given_by, right, channel, answered_at or by.made_at, amount, words, seen_version
    )


@act(May.ANSWER_OWN)
def answer_own(
    *,
    by: By,
    line: WorkLine,
    seen_version: int,
    answer: str,
    amount: Decimal | None = None,
    words: str = "",
) -> LineAnswer:
    """The owner's answer in their own account, for a car of theirs, to the estimate that they saw."""
    keeper = Keeper.objects.filter(account=by.person).first()
    if keeper is None or not Vehicle.objects.visible_to(by.person).filter(pk=line.job.vehicle_id).exists():
        raise PermissionDenied("You may answer for your own cars only.")
    if line.estimate is None and line.cost is None:
        raise ValidationError(
            "This line is not estimated yet: there is nothing to answer.", code="no_estimate"
        )
    return _answer(by, line, answer, keeper, "", Channel.ACCOUNT, by.made_at, amount, words, seen_version)


def _answer(by, line, answer, keeper, right, channel, answered_at, amount, words, seen_version) -> LineAnswer:
    lock_line(line)
    refuse_closed(line.job)
    if line.dropped_because:
        raise ValidationError("This line was dropped. Reopen it with a reason first.", code="line_dropped")
    if seen_version is not None and line.version != seen_version:
        raise ChangedMeanwhile(line, {"estimate": line.estimate, "amount": line.amount})
    if answered_at > by.received_at:
        raise ValidationError(
            {"answered_at": "The answer can't lie in the future. Give the time at which it was given."}
        )
    vehicle = line.job.vehicle
    day = timezone.localtime(answered_at).date()
    may = authorisers_of(vehicle, day)
    if not may.filter(pk=keeper.pk).exists():
        names = ", ".join(sorted(str(other) for other in may))
        who = (
            f"These may: {names}."
            if names
            else "Nobody is on record who may: write down the car's owner or an authoriser first."
        )
        raise ValidationError(
            {"given_by": f"{keeper} had no right to authorise work on this car on {date_format(day)}. {who}"},
            code="no_right",
        )
    if answer == LineAnswerKind.YES:
        amount = line.amount if amount is None else amount
        if amount is None:
            raise ValidationError(
                {"amount": "Say up to what amount: the line is not estimated, so a yes has none of its own."}
            )
    elif amount is not None:
        raise ValidationError({"amount": "An amount goes with a yes only: leave it empty."})
    row = create(
        LineAnswer(
            **by.stamp(),
            line=line,
            answer=answer,
            by=keeper,
            right=right.strip() or _right_of(keeper, vehicle, day),
            channel=channel,
            answered_at=answered_at,
            amount=amount,
            words=words.strip(),
        )
    )
    # One that was given earlier and written down late does not undo a later one.
    latest = line.answers.order_by("answered_at", "received_at").last()
    if (
        line.done_at
        and latest.answer != LineAnswerKind.YES
        and line.kind in (LineKind.REPAIR, LineKind.SERVICE)
    ):
        raise ValidationError(
            {"answer": "The line is done: it was said yes to. Reopen the line with a reason first."},
            code="line_done",
        )
    changes = save_changes(line, answer=latest.answer, authorised_amount=latest.amount)
    note(
        row,
        vehicle=vehicle,
        job=line.job,
        facts={
            "line": line,
            "answer": answer,
            "amount": amount,
            "channel": channel,
            "answered_at": answered_at,
            "given_by": keeper,
            "changes": changes,
        },
        words={"by": str(keeper), "right": row.right, "words": row.words},
    )
    if latest.answer == LineAnswerKind.YES and line.done_at is None:
        send_back_if_ready(line.job, by, f"Line {line} was authorised")
    return row


def _right_of(keeper: Keeper, vehicle: Vehicle, day: date) -> str:
    """By what right they answer: the parts they play for this car on that day."""
    rows = vehicle.keepers.on(day).filter(
        keeper=keeper, part__in=["owner", "registered_keeper", "authoriser"]
    )
    return ", ".join(row.get_part_display().lower() for row in rows)


@act(May.TELL_OWNER)
def tell_made_safe(
    *,
    by: By,
    line: WorkLine,
    told_to: Keeper,
    channel: str,
    told_at: datetime | None = None,
    told: str,
    late_because: str = "",
) -> WorkLine:
    """Record that the owner was told the same day of what was done to make the car safe without their yes.

    Told on a later day, it is recorded with the reason.
    """
    lock_line(line)
    if line.kind != LineKind.MAKE_SAFE:
        raise ValidationError("Only making safe goes without a yes; other lines wait for the owner's answer.")
    if line.told_owner_at is not None:
        raise ValidationError(f"It is on record that {line.told_owner} was told.", code="told_already")
    told_at = told_at or by.made_at
    if told_at > by.received_at:
        raise ValidationError(
            {"told_at": "This time lies in the future. Give the time at which they were told."}
        )
    day, begun = (timezone.localtime(moment).date() for moment in (told_at, line.made_at))
    may = authorisers_of(line.job.vehicle, day)
    if not may.filter(pk=told_to.pk).exists():
        names = ", ".join(sorted(str(other) for other in may)) or "nobody on record"
        raise ValidationError(
            {"told_to": f"{told_to} decides nothing for this car on {date_format(day)}. Tell: {names}."}
        )
    if day > begun and not late_because.strip():
        raise ValidationError(
            {
                "late_because": f"The car was made safe on {date_format(begun)} and the owner is told the same day. "
                "Say why it was later."
            }
        )
    save_changes(
        line,
        told_owner_at=told_at,
        told_owner=told_to,
        told_owner_channel=channel,
        told_owner_words=told.strip(),
        told_late_because=late_because.strip() if day > begun else "",
    )
    note(
        line,
        vehicle=line.job.vehicle_id,
        job=line.job,
        facts={"told_to": told_to, "told_at": told_at, "channel": channel},
        words={"told": told, "told_to": str(told_to), "late_because": late_because},
    )
    return line


# --- labour and parts used --------------------------------------------------------------------------------


@act(May.LABOUR)
def add_labour(
    *, by: By, line: WorkLine, person: Person, day: date, minutes: int, note: str = ""
) -> LabourEntry:
    """Time of one person on one day: not in the future, not before the car came in, not above 24 hours a day."""
    lock_line(line)
    refuse_closed(line.job)
    if line.done_at is None or day > timezone.localtime(line.done_at).date():
        # Time of a day up to the one on which the line was done may still be written down.
        line_to_work_on(line, by)
    if day > by.day:
        raise ValidationError({"day": f"This day lies in the future. Give {date_format(by.day)} or earlier."})
    came = checked_in_on(line.job)
    if day < came:
        raise ValidationError(
            {"day": f"The car came in on {date_format(came)}. Give that day or a later one."}
        )
    if not allowed(person, May.LABOUR):
        raise ValidationError({"person": f"{person} does no work on cars here. Choose who did the work."})
    Person.objects.select_for_update().get(pk=person.pk)
    on_that_day = (
        LabourEntry.objects.counting().filter(person=person, day=day).aggregate(sum=Sum("minutes"))["sum"]
        or 0
    )
    if minutes >= 1 and on_that_day + minutes > 1440:
        raise ValidationError(
            {
                "minutes": f"With this, {person} would have worked {time_words(on_that_day + minutes)} on "
                f"{date_format(day)}: a day has 24 h, and {time_words(on_that_day)} are written down already."
            }
        )
    row = create(
        LabourEntry(**by.stamp(), line=line, person=person, day=day, minutes=minutes, note=note.strip())
    )
    _note(row, line, {"person": person, "day": day, "minutes": minutes}, {"note": row.note})
    return row


@act(May.FIT_PARTS)
def use_part(
    *,
    by: By,
    line: WorkLine,
    description: str,
    part_number: str = "",
    quantity: Decimal = Decimal(1),
    unit: str = "pc",
    price: Decimal | None = None,
    own_part: bool = False,
) -> PartUsed:
    """A part or material that went into the line. Parts dearer than the line's amount raise its cost."""
    line_to_work_on(line, by)
    if own_part and price is not None:
        raise ValidationError({"price": "The owner's own part is not charged: leave the price empty."})
    row = create(
        PartUsed(
            **by.stamp(),
            line=line,
            description=description.strip(),
            part_number=part_number.strip(),
            quantity=quantity,
            unit=unit.strip(),
            price=price,
            own_part=own_part,
        )
    )
    parts = sum((used.total for used in line.parts_used.counting() if used.total is not None), Decimal(0))
    changes = {}
    if parts and (line.amount is None or parts > line.amount):
        # Known to cost at least this: what was authorised is judged against it.
        changes = save_changes(line, cost=parts)
        if line.done_at and (why := why_above_authority(line) or why_no_authority(line)):
            raise ValidationError({"price": f"The line is done. {why}"})
    _note(
        row,
        line,
        {
            "description": row.description,
            "part_number": row.part_number,
            "quantity": quantity,
            "unit": row.unit,
            "price": price,
            "own_part": own_part,
            "line_changes": changes,
        },
    )
    return row


@act(May.LABOUR)
def strike_labour(*, by: By, entry: LabourEntry, reason: str) -> LabourEntry:
    """Take back a labour entry that was made in error; it stays to be seen and counts as nothing."""
    return _strike(by, entry, reason)


@act(May.FIT_PARTS)
def strike_part_used(*, by: By, used: PartUsed, reason: str) -> PartUsed:
    """Take back a part that was written down as used in error. The line's cost is not lowered by it."""
    return _strike(by, used, reason)


def _strike(by: By, row, reason: str):
    line = lock_line(row.line)
    refuse_closed(line.job)
    row = type(row).objects.select_for_update().get(pk=row.pk)
    if row.entered_in_error:
        raise ValidationError("This was taken back already.", code="struck_already")
    if not reason.strip():
        raise ValidationError({"reason": "Say why this was entered in error."})
    row.entered_in_error = reason.strip()
    row.full_clean()
    row.save(update_fields=["entered_in_error"])
    _note(row, line, {"entered_in_error": True}, {"reason": row.entered_in_error})
    return row


def _note(row, line: WorkLine, facts: dict[str, Any], words: dict[str, Any] | None = None) -> None:
    note(row, vehicle=line.job.vehicle_id, job=line.job, facts={"line": line, **facts}, words=words)


# --- how a line ends --------------------------------------------------------------------------------------


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
    require_authority(line, by)
    if why := why_above_authority(line):
        raise ValidationError(why, code="above_authority")
    text = (line.correction if correction is UNCHANGED else correction).strip()
    if not text:
        raise ValidationError({"correction": "Write down what was done before the line is done."})
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


# --- what a line ends -------------------------------------------------------------------------------------


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
    fault = Fault.objects.select_for_update().get(pk=fault.pk)
    if not line.faults.filter(pk=fault.pk).exists():
        raise ValidationError(
            {
                "line": f"{fault} is not on this line. Let the line take it on first, so that the end has its work."
            }
        )
    _refuse_nothing_done(line, by)
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
    _refuse_nothing_done(line, by)
    return outstanding.end_by_line(by=by, item=item, line=line, finding=finding, seen_version=seen_version)


def _refuse_nothing_done(line: WorkLine, by: By) -> None:
    """Something ends by a line only when the line is done, or being done with its correction written."""
    if line.done_at:
        return
    refuse_closed(line.job)
    require_authority(line, by)
    if not line.correction:
        raise ValidationError(
            "Write down the line's correction first: what was done is what ends this.", code="no_correction"
        )
