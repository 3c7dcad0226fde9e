"""Acts on damage done in the shop: written down, corrected, told to the owner, settled."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format

from jobs.damages import needs_telling
from jobs.models import Damage, DamageTelling, Job, JobState, Settled, WorkLine
from jobs.open_job import lock_car, refuse_before
from vehicles import people
from vehicles.models import Keeper
from vehicles.models.outstanding import Channel
from workshop.acting import By, act, create, note, save_changes
from workshop.models import Person
from workshop.permissions import May


@act(May.REPORT_DAMAGE)
def report_damage(
    *,
    by: By,
    job: Job,
    where: str,
    what: str,
    found_by: Person | None = None,
    happened_at: datetime | None = None,
    at_the_car: Person | None = None,
) -> Damage:
    """Write down damage done to a car in the shop. Also on a job that is over: some is seen only afterwards."""
    if job.state in (JobState.BOOKED, JobState.CANCELLED):
        raise ValidationError(
            f"The car of {job.number} was not here (“{job.get_state_display()}”). Damage that it came with is written "
            "down at check-in."
        )
    car = lock_car(job.vehicle_id)
    _refuse_outside_visit(by, job, happened_at)
    last = Damage.objects.filter(vehicle=car).aggregate(last=Max("order"))["last"] or 0
    row = create(
        Damage(
            **by.stamp(),
            job=job,
            vehicle=car,
            order=last + 1,
            where=where.strip(),
            what=what.strip(),
            found_by=found_by or by.person,
            happened_at=happened_at,
            at_the_car=at_the_car,
        )
    )
    note(
        row,
        vehicle=car,
        job=job,
        facts={
            "damage": row.number,
            "found_by": row.found_by,
            "happened_at": happened_at,
            "at_the_car": at_the_car,
        },
        words={"where": row.where, "what": row.what},
    )
    return row


@act(May.REPORT_DAMAGE)
def correct_damage(
    *,
    by: By,
    damage: Damage,
    seen_version: int,
    reason: str,
    where: str,
    what: str,
    found_by: Person,
    happened_at: datetime | None = None,
    at_the_car: Person | None = None,
) -> Damage:
    """Correct what was written of it, with a reason; what stood there stays in the log."""
    lock_car(damage.vehicle_id)
    _refuse_settled(damage)
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is corrected."})
    _refuse_outside_visit(by, damage.job, happened_at)
    changes = save_changes(
        damage,
        seen_version=seen_version,
        where=where.strip(),
        what=what.strip(),
        found_by=found_by,
        happened_at=happened_at,
        at_the_car=at_the_car,
    )
    in_words = {"where", "what"}
    note(
        damage,
        vehicle=damage.vehicle_id,
        job=damage.job_id,
        facts={
            "damage": damage.number,
            "changes": {name: pair for name, pair in changes.items() if name not in in_words},
        },
        words={"reason": reason, **{name: pair for name, pair in changes.items() if name in in_words}},
    )
    return damage


@act(May.TELL_OWNER)
def tell_of_damage(
    *,
    by: By,
    damage: Damage,
    told_to: Keeper,
    channel: str,
    told: str,
    told_by: Person | None = None,
    answered: str = "",
) -> DamageTelling:
    """Record what was told of a damage: to whom, by whom, how, when, in what words. Each time is its own record.

    Only somebody who plays a part for the car that day can be told; `DamageTelling.objects.counting` says who counts.
    """
    car = lock_car(damage.vehicle_id)
    refuse_before(by.made_at, damage.made_at, "The damage was written down")
    if channel not in Channel.values:
        raise ValidationError({"channel": "Say how it was told."})
    if not told.strip():
        raise ValidationError({"told": "Say in what words it was told."})
    if not people.people_of(car, by.day).filter(pk=told_to.pk).exists():
        raise ValidationError(
            {
                "told_to": f"{told_to} plays no part for this car on {date_format(by.day)}. Tell its owner, or write "
                "down first what this person is for the car."
            }
        )
    row = create(
        DamageTelling(
            **by.stamp(),
            damage=damage,
            told_to=told_to,
            told_by=told_by or by.person,
            channel=channel,
            told=told.strip(),
            answered=answered.strip(),
        )
    )
    note(
        row,
        vehicle=damage.vehicle_id,
        job=damage.job_id,
        facts={"damage": damage.number, "told_to": told_to, "told_by": row.told_by, "channel": channel},
        words={"told_to": told_to.name, "told": row.told, "answered": row.answered},
    )
    return row


@act(May.SETTLE_DAMAGE)
def settle_damage(
    *,
    by: By,
    damage: Damage,
    seen_version: int,
    how: str,
    words: str,
    line: WorkLine | None = None,
    agreed_with: Keeper | None = None,
) -> Damage:
    """Say how it was settled. Before that its owner is told, unless the damage was there when the car came in."""
    lock_car(damage.vehicle_id)
    _refuse_settled(damage)
    if how not in Settled.values:
        raise ValidationError({"how": "Say how it was settled."})
    refuse_before(by.made_at, damage.made_at, "The damage was written down")
    if not words.strip():
        raise ValidationError(
            {
                "words": "Say what shows that it was there before: the check-in, a picture."
                if how == Settled.THERE_BEFORE
                else "Say what was done or agreed."
            }
        )
    current = Damage.objects.with_told().get(pk=damage.pk)
    current.settled = how
    if needs_telling(current):
        raise ValidationError(
            {
                "how": "Nobody with a say in the car was told of it yet. Record what was told first, then settle it."
            }
        )
    if how == Settled.REPAIRED:
        _refuse_line(damage, line)
    elif line is not None:
        raise ValidationError({"line": "A work line goes with “repaired” only. Leave it empty."})
    if how in (Settled.COMPENSATED, Settled.ACCEPTED) and agreed_with is None:
        raise ValidationError({"agreed_with": "Say with whom it was agreed."})
    if how in (Settled.REPAIRED, Settled.THERE_BEFORE):
        agreed_with = None
    save_changes(
        damage,
        seen_version=seen_version,
        settled=how,
        settled_words=words.strip(),
        settled_at=by.made_at,
        settled_by=by.person,
        settled_line=line,
        settled_with=agreed_with,
    )
    note(
        damage,
        vehicle=damage.vehicle_id,
        job=damage.job_id,
        facts={"damage": damage.number, "settled": how, "line": line, "agreed_with": agreed_with},
        words={"words": damage.settled_words},
    )
    return damage


def _refuse_line(damage: Damage, line: WorkLine | None) -> None:
    if line is None:
        raise ValidationError({"line": "Choose the work line on which it was repaired."})
    if line.job.vehicle_id != damage.vehicle_id:
        raise ValidationError({"line": f"Line {line} is of another car."})
    if line.done_at is None:
        raise ValidationError(
            {"line": f"Line {line.order} “{line.complaint}” is not done yet. Finish it first."}
        )


def _refuse_settled(damage: Damage) -> None:
    current = Damage.objects.select_for_update(no_key=True).get(pk=damage.pk)
    if current.settled:
        raise ValidationError(
            f"This damage was settled on {date_format(timezone.localtime(current.settled_at), 'j M Y')}: "
            f"{current.get_settled_display().lower()}. It is no longer changed."
        )


def _refuse_outside_visit(by: By, job: Job, happened_at: datetime | None) -> None:
    """It happened while the car was here, and before it was written down."""
    if happened_at is None:
        return
    if happened_at > by.made_at:
        raise ValidationError(
            {"happened_at": "This lies after the time at which it was found. Give an earlier time, or none."}
        )
    check_in = getattr(job, "check_in", None)
    if check_in is not None:
        refuse_before(happened_at, check_in.made_at, "The car came in", "happened_at")
