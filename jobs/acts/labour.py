"""The time that went into a line and the parts used on it; taken back where they were entered in error."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Sum
from django.utils import timezone
from django.utils.formats import date_format

from jobs.authority import why_above_authority, why_no_authority
from jobs.lines import checked_in_on, line_to_work_on, lock_line, refuse_closed
from jobs.models import LabourEntry, PartUsed, WorkLine
from jobs.models.work import time_words
from jobs.open_job import refuse_before_check_in
from workshop.acting import By, act, create, note, save_changes
from workshop.models import Person
from workshop.permissions import May, allowed


@act(May.LABOUR)
def add_labour(
    *, by: By, line: WorkLine, person: Person, day: date, minutes: int, note: str = ""
) -> LabourEntry:
    """Time of one person on one day: not in the future, not before the car came in, not above 24 hours a day."""
    lock_line(line)
    if line.done_at is None or day > timezone.localtime(line.done_at).date():
        # Time of a day up to the one on which the line was done may still be written down.
        line_to_work_on(line, by)
    return write_labour(by=by, line=line, person=person, day=day, minutes=minutes, note=note)


def write_labour(
    *, by: By, line: WorkLine, person: Person, day: date, minutes: int, note: str = ""
) -> LabourEntry:
    """Inside an act, for time that began with authority: it is a fact, whatever the line costs by now."""
    refuse_closed(line.job)
    if day > by.day:
        raise ValidationError({"day": f"This day lies in the future. Give {date_format(by.day)} or earlier."})
    came = checked_in_on(line.job)
    refuse_before_check_in(by, line.job)
    if day < came:
        raise ValidationError(
            {"day": f"The car came in on {date_format(came)}. Give that day or a later one."}
        )
    if not allowed(person, May.LABOUR):
        raise ValidationError({"person": f"{person} does no work on cars here. Choose who did the work."})
    Person.objects.select_for_update(no_key=True).get(pk=person.pk)
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
    parts = _parts_total(line)
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
            "quantity": quantity,
            "price": price,
            "own_part": own_part,
            "line_changes": changes,
        },
        {"description": row.description, "part_number": row.part_number, "unit": row.unit},
    )
    return row


@act(May.LABOUR)
def strike_labour(*, by: By, entry: LabourEntry, reason: str) -> LabourEntry:
    """Take back a labour entry that was made in error; it stays to be seen and counts as nothing."""
    return _strike(by, entry, reason)


@act(May.FIT_PARTS)
def strike_part_used(*, by: By, used: PartUsed, reason: str) -> PartUsed:
    """Take back a part that was written down as used in error, and what its price had raised the line's cost to.

    A cost that somebody wrote by hand stays.
    """
    line = lock_line(used.line)
    before = _parts_total(line)
    row = _strike(by, used, reason)
    if line.cost is not None and line.cost == before:
        parts = _parts_total(line)
        above = parts > (line.estimate if line.estimate is not None else Decimal(0))
        changes = save_changes(line, cost=parts if above else None)
        _note(row, line, {"line_changes": changes})
    return row


def _parts_total(line: WorkLine) -> Decimal:
    return sum((used.total for used in line.parts_used.counting() if used.total is not None), Decimal(0))


def _strike(by: By, row, reason: str):
    line = lock_line(row.line)
    refuse_closed(line.job)
    row = type(row).objects.select_for_update(no_key=True).get(pk=row.pk)
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
