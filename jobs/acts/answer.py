"""What the owner is asked and told about a line: its price, their answer, and that their car was made safe."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs.authority import why_above_authority, why_no_authority
from jobs.lines import lock_line, refuse_closed, send_back_if_ready
from jobs.models import LineAnswer, WorkLine
from jobs.models.work import LineAnswerKind, LineKind
from jobs.open_job import refuse_before
from vehicles.models import Keeper, Vehicle
from vehicles.models.outstanding import Channel
from vehicles.people import authorisers_of
from workshop.acting import By, ChangedMeanwhile, act, create, note, save_changes
from workshop.permissions import May


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
    refuse_before(answered_at, line.job.made_at, "The job was booked", "answered_at")
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
    refuse_before(told_at, line.job.made_at, "The job was booked", "told_at")
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
