"""The job card: booking, check-in, moves, plan, passing on, cancelling, comebacks."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs.authority import in_money
from jobs.models import (
    CheckIn,
    Job,
    JobMove,
    JobState,
    LabourEntry,
    Measurement,
    PartChange,
    PartUsed,
    Pass,
    Run,
    TorqueReading,
    WorkLine,
)
from jobs.open_job import (
    lock,
    lock_open,
    refuse_before,
    refuse_before_check_in,
    refuse_outside,
    renamed_fields,
)
from jobs.states import IN_THE_BUILDING, INSTEAD, TABLE, why_not
from vehicles import people
from vehicles.acts import odometer as odometer_acts
from vehicles.acts import vehicle as vehicle_acts
from vehicles.acts.moments import refuse_before_built
from vehicles.models import Keeper, Vehicle
from vehicles.models.outstanding import Channel
from workshop.acting import By, act, create, note, save_changes
from workshop.engineering.units import Amount
from workshop.models import Counter, Person, Shop
from workshop.permissions import May, Role, require

UNCHANGED: Any = object()
# What was agreed when booking, and may be agreed anew.
AGREED_FIELDS = ("title", "complaint", "payer", "authoriser", "limit")
CHECK_IN_AGREED_FIELDS = (
    "road_test_consent",
    "plates_legal",
    "old_parts_back",
    "keys",
    "keys_where",
    "belongings",
)
_HANDS = (Role.TECHNICIAN, Role.LEAD, Role.SHOP_OWNER)


@act(May.BOOK)
def book(
    *,
    by: By,
    vehicle: Vehicle,
    title: str,
    complaint: str = "",
    booked_for: datetime | None = None,
    promised_at: datetime | None = None,
    payer: Keeper | None = None,
    authoriser: Keeper | None = None,
    limit: Decimal | int | None = None,
    comeback_of: WorkLine | None = None,
    comeback_run: Run | None = None,
) -> Job:
    """Book a job. `limit` None takes the shop's own. A refused booking gives its number back with the transaction."""
    if comeback_of is None and comeback_run is not None:
        comeback_of = comeback_run.line
    refuse_before_built(by, vehicle, "no job was booked for it")
    _refuse_times(by, booked_for, promised_at)
    _refuse_people(by, vehicle, payer, authoriser)
    _refuse_comeback(vehicle, comeback_of, comeback_run)
    job = Job(
        **by.stamp(),
        vehicle=vehicle,
        title=title.strip(),
        complaint=complaint.strip(),
        booked_for=booked_for,
        promised_at=promised_at,
        payer=payer,
        authoriser=authoriser,
        limit=Shop.current().default_limit if limit is None else Decimal(limit),
        comeback_of=comeback_of,
        comeback_run=comeback_run,
        year=by.day.year,
        serial=0,
    )
    job.serial = Counter.draw(f"job-{job.year}")
    create(job)
    vehicle_acts.refresh_search_text(vehicle)
    note(
        job,
        vehicle=vehicle,
        job=job,
        facts={
            "number": job.number,
            "booked_for": booked_for,
            "promised_at": promised_at,
            "limit": job.limit,
            "comeback_of": comeback_of,
            "comeback_run": comeback_run,
        },
        words={
            "title": job.title,
            "complaint": job.complaint,
            "payer": payer,
            "authoriser": authoriser,
        },
    )
    return job


@act(May.BOOK)
def agree_anew(
    *,
    by: By,
    job: Job,
    seen_version: int,
    reason: str,
    given_by: Keeper | None = None,
    channel: str = "",
    answered_at: datetime | None = None,
    **fields: Any,
) -> Job:
    """Change what was agreed when booking (title, complaint, payer, authoriser, limit), with a reason.

    Once the car is here, raising the limit is an answer of somebody who may authorise work: it is recorded with who
    gave it, how and when, by a person who may record answers. Lowering it needs nobody's word.
    """
    _only(fields, AGREED_FIELDS)
    locked = lock_open(job)
    if not reason.strip():
        raise ValidationError({"reason": "Say why this is changed, and who agreed to it."})
    changed = {name: fields[name] for name in ("payer", "authoriser") if name in fields}
    _refuse_people(
        by,
        locked.vehicle,
        **{
            name: (value if value is not None and value.pk != getattr(locked, f"{name}_id") else None)
            for name, value in {"payer": None, "authoriser": None, **changed}.items()
        },
    )
    answer: dict[str, Any] = {}
    # A plan made on an older version is refused as such below, with both texts.
    if locked.version == seen_version and _raises_the_limit(locked, fields.get("limit", locked.limit)):
        answer = _limit_answer(by, locked, given_by, channel, answered_at)
    elif given_by is not None or channel or answered_at is not None:
        raise ValidationError(
            {
                "given_by": "Only a limit that is raised while the car is here needs an answer. Leave this empty."
            }
        )
    changes = save_changes(job, seen_version=seen_version, **fields, **answer)
    texts = ("title", "complaint", "payer", "authoriser", "limit_given_by")
    personal = {name: changes.pop(name) for name in texts if name in changes}
    note(
        job,
        vehicle=job.vehicle_id,
        job=job,
        facts={"changes": changes, **answer},
        words={"reason": reason, "given_by": str(given_by or ""), **personal},
    )
    return job


def _raises_the_limit(job: Job, limit: Decimal) -> bool:
    return job.state != JobState.BOOKED and limit > job.limit


def _limit_answer(
    by: By, job: Job, given_by: Keeper | None, channel: str, answered_at: datetime | None
) -> dict[str, Any]:
    """Who said yes to the higher limit, how and when, for the job's columns; else refused in words."""
    if not by.person.may(May.RECORD_ANSWER):
        raise ValidationError(
            {
                "limit": f"{in_money(job.limit)} was agreed. The car is here: to raise it is the owner's answer, which "
                "the front desk or a lead records. Lowering it is free."
            },
            code="no_right",
        )
    answered_at = answered_at or by.made_at
    if answered_at > by.received_at:
        raise ValidationError(
            {"answered_at": "The answer can't lie in the future. Give the time at which it was given."}
        )
    refuse_before(answered_at, job.made_at, "The job was booked", "answered_at")
    day = timezone.localtime(answered_at).date()
    problems = {}
    may = people.authorisers_of(job.vehicle, day)
    if given_by is None or not may.filter(pk=given_by.pk).exists():
        names = ", ".join(sorted(str(keeper) for keeper in may)) or "nobody on record"
        who = (
            "Say who agreed to the higher limit" if given_by is None else f"{given_by} may not authorise work"
        )
        problems["given_by"] = f"{who}. These may on {date_format(day, 'j M Y')}: {names}."
    if channel == Channel.ACCOUNT or channel not in Channel.values:
        problems["channel"] = "Say how they agreed: by telephone, in person, in writing."
    if problems:
        raise ValidationError(problems)
    return {"limit_given_by": given_by, "limit_channel": channel, "limit_answered_at": answered_at}


@act(May.CHECK_IN)
def check_in(
    *,
    by: By,
    job: Job,
    fuel: str,
    keys: int,
    damage: str,
    road_test_consent: bool,
    odometer: Amount | None = None,
    odometer_not_readable: str = "",
    lower_because: str = "",
    charge_percent: int | None = None,
    keys_where: str = "",
    belongings: str = "",
    plates_legal: bool = False,
    old_parts_back: bool = False,
    brought_by: Keeper | None = None,
) -> CheckIn:
    """Check the car in, once: what was agreed and what was seen. Moves the job to checked in."""
    locked = lock(job)
    earlier = CheckIn.objects.filter(job=locked).select_related("made_by").first()
    if earlier is not None:
        raise ValidationError(
            f"{locked.number} was checked in already: {earlier.made_by}, "
            f"{date_format(timezone.localtime(earlier.made_at), 'j M Y H:i')}."
        )
    if locked.state != JobState.BOOKED:
        raise ValidationError(why_not(locked.state, JobState.CHECKED_IN))
    refuse_before(by.made_at, locked.made_at, "The job was booked")
    if odometer is None and not odometer_not_readable.strip():
        raise ValidationError(
            {"odometer": "Give the reading, or say below why the odometer is not readable."}
        )
    if odometer is not None and odometer_not_readable.strip():
        raise ValidationError(
            {"odometer_not_readable": "A reading was given above: leave this empty, or take the reading out."}
        )
    if not damage.strip():
        raise ValidationError(
            {"damage": "Describe the damage that is there, or write that none was seen: “none seen”."}
        )
    _refuse_stranger(by, locked.vehicle, "brought_by", brought_by)
    with renamed_fields(amount="odometer", not_readable_because="odometer_not_readable", read_at="made_at"):
        reading = odometer_acts.record_reading(
            by=by,
            vehicle=locked.vehicle,
            amount=odometer,
            not_readable_because=odometer_not_readable.strip(),
            lower_because=lower_because.strip(),
            job=locked,
            read_at=by.made_at,
        )
    row = create(
        CheckIn(
            **by.stamp(),
            job=locked,
            odometer=reading,
            fuel=fuel,
            charge_percent=charge_percent,
            keys=keys,
            keys_where=keys_where.strip(),
            belongings=belongings.strip(),
            damage=damage.strip(),
            road_test_consent=road_test_consent,
            plates_legal=plates_legal,
            old_parts_back=old_parts_back,
            brought_by=brought_by,
        )
    )
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={
            "fuel": fuel,
            "charge_percent": charge_percent,
            "keys": keys,
            "road_test_consent": road_test_consent,
            "plates_legal": plates_legal,
            "old_parts_back": old_parts_back,
        },
        words={
            "damage": row.damage,
            "belongings": belongings,
            "keys_where": keys_where,
            "brought_by": brought_by,
        },
    )
    apply_move(by, locked, JobState.CHECKED_IN)
    _refresh(job)
    return row


@act(May.CHECK_IN)
def change_check_in(*, by: By, check_in: CheckIn, seen_version: int, reason: str, **fields: Any) -> CheckIn:
    """Change what was agreed at check-in (consent, plates, keys, belongings), with a reason. What was seen stays."""
    _only(fields, CHECK_IN_AGREED_FIELDS)
    job = lock_open(check_in.job)
    if not reason.strip():
        raise ValidationError({"reason": "Say why this is changed, and who agreed to it."})
    changes = save_changes(check_in, seen_version=seen_version, **fields)
    personal = {name: changes.pop(name) for name in ("belongings", "keys_where") if name in changes}
    note(
        check_in,
        vehicle=job.vehicle_id,
        job=job,
        facts={"changes": changes},
        words={"reason": reason, **personal},
    )
    return check_in


@act(May.SEE_SHOP)
def move(*, by: By, job: Job, to_state: str, reason: str = "") -> JobMove:
    """Move a job by hand. Each move names in `jobs.states` who may make it."""
    locked = lock(job)
    found = TABLE.get((JobState(locked.state), _state(to_state)))
    if found is None:
        raise ValidationError({"to_state": why_not(locked.state, to_state)})
    if not found.by_hand:
        raise ValidationError({"to_state": INSTEAD[found.to_state]})
    require(by.person, found.may)
    row = apply_move(by, locked, to_state, reason)
    _refresh(job)
    return row


def apply_move(by: By, job: Job, to_state: str, reason: str = "") -> JobMove:
    """Write one move that the table allows, and the job's state. Call inside an act, which checked who may.

    Locks the job's row and judges by the state on record, not by that of the object given.
    """
    locked = lock(job)
    found = TABLE.get((JobState(locked.state), _state(to_state)))
    if found is None:
        raise ValidationError({"to_state": why_not(locked.state, to_state)})
    reason = reason.strip()
    if found.needs_reason and not reason:
        raise ValidationError({"reason": f"Say why: “{found.label}” needs a reason."})
    row = create(
        JobMove(**by.stamp(), job=locked, from_state=locked.state, to_state=found.to_state, reason=reason)
    )
    # Not a new version: whoever plans the job meanwhile changes other fields than this one.
    columns = {"state": found.to_state}
    if found.to_state == JobState.CANCELLED:
        columns["cancelled_because"] = reason
    Job.objects.filter(pk=locked.pk).update(**columns)
    _refresh(job)
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={"from": found.from_state, "to": found.to_state},
        words={"reason": reason},
    )
    return row


def send_back_to_work(by: By, job: Job, reason: str) -> JobMove | None:
    """New work on a car that was called ready sends it back. Call inside every act that makes such work.

    Answers None where the job was not ready.
    """
    if lock(job).state != JobState.READY:
        return None
    # The reason is made up of what somebody typed elsewhere, where it may be longer than a move's.
    return apply_move(by, job, JobState.IN_WORK, reason[:300])


@act(May.BOOK)
def plan(
    *,
    by: By,
    job: Job,
    seen_version: int,
    booked_for: datetime | None = UNCHANGED,
    promised_at: datetime | None = UNCHANGED,
    lead: Person | None = UNCHANGED,
    technician: Person | None = UNCHANGED,
    waiting_for: str = UNCHANGED,
    waiting_note: str = UNCHANGED,
    standing_at: str = UNCHANGED,
) -> Job:
    """Change when it is promised, who has it, what it waits for, where the car stands. What is not given stays."""
    given = {
        "booked_for": booked_for,
        "promised_at": promised_at,
        "lead": lead,
        "technician": technician,
        "waiting_for": waiting_for,
        "waiting_note": waiting_note,
        "standing_at": standing_at,
    }
    fields = {name: value for name, value in given.items() if value is not UNCHANGED}
    locked = lock_open(job)
    promised = fields.get("promised_at", locked.promised_at)
    if promised != locked.promised_at:
        _refuse_times(by, None, promised)
    for name, roles, words in (
        ("lead", (Role.LEAD, Role.SHOP_OWNER), "a lead"),
        ("technician", _HANDS, "a technician"),
    ):
        person = fields.get(name)
        if person is not None and person.pk != getattr(locked, f"{name}_id"):
            _refuse_without_role(name, person, roles, words)
    if (
        "technician" in fields
        and locked.technician_id is not None
        and locked.state in (JobState.IN_WORK, JobState.FINAL_CHECKS)
        and getattr(fields["technician"], "pk", None) != locked.technician_id
        # A plan made on an older version is refused as such below, with both texts.
        and locked.version == seen_version
    ):
        raise ValidationError(
            {
                "technician": f"{locked.technician} has this job in work. Use “Hand on”: what is loose and where the "
                "bolts are is written down there."
            }
        )
    if fields.get("waiting_note") and not fields.get("waiting_for", locked.waiting_for):
        raise ValidationError({"waiting_for": "Choose what it waits for, or take the note out."})
    changes = save_changes(job, seen_version=seen_version, **fields)
    words = {name: changes.pop(name) for name in ("waiting_note", "standing_at") if name in changes}
    note(job, vehicle=job.vehicle_id, job=job, facts={"changes": changes}, words=words)
    return job


@act(May.MOVE_JOB)
def pass_on(*, by: By, job: Job, to_person: Person, loose: str, fasteners: str) -> Pass:
    """Hand a job from the technician who has it to another, with what is loose and where the bolts are."""
    locked = lock(job)
    refuse_outside(locked)
    refuse_before_check_in(by, locked)
    for name, text, ask in (
        ("loose", loose, "Say what is loose or open; write “nothing” where it is so."),
        ("fasteners", fasteners, "Say where the bolts and parts are; write “nothing” where there are none."),
    ):
        if not text.strip():
            raise ValidationError({name: ask})
    _refuse_without_role("to_person", to_person, _HANDS, "a technician")
    row = create(
        Pass(
            **by.stamp(),
            job=locked,
            from_person=locked.technician,
            to_person=to_person,
            loose=loose.strip(),
            fasteners=fasteners.strip(),
        )
    )
    save_changes(locked, technician=to_person)
    _refresh(job)
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={"from": row.from_person_id, "to": row.to_person_id},
        words={"loose": row.loose, "fasteners": row.fasteners},
    )
    return row


@act(May.CANCEL_JOB)
def cancel(*, by: By, job: Job, reason: str) -> Job:
    """Cancel a booking. Only while nothing was done to the car; a car that was checked in leaves by its sheet."""
    locked = lock(job)
    if locked.state in IN_THE_BUILDING:
        raise ValidationError(
            "This car was checked in: it is not cancelled. Hand it over, or write it down as collected unfinished; "
            "either way it leaves with its sheet."
        )
    if locked.state == JobState.BOOKED and (done := _done_to_the_car(locked)):
        raise ValidationError(
            f"Something was done already: {', '.join(done)}. Such a job is not cancelled: check the car in and let "
            "it be collected unfinished, with its sheet."
        )
    apply_move(by, locked, JobState.CANCELLED, reason)
    _refresh(job)
    return job


@act(May.DIAGNOSE)
def judge_comeback(*, by: By, job: Job, judgement: str) -> Job:
    """Say what a comeback turned out to be. Somebody who did not do the old line judges it, once."""
    locked = lock(job)
    if locked.comeback_of_id is None:
        raise ValidationError("This job is no comeback: no earlier work line is named.")
    if locked.comeback_judged_by_id is not None:
        raise ValidationError(f"{locked.comeback_judged_by} has judged this comeback already.")
    if not judgement.strip():
        raise ValidationError({"judgement": "Say what it turned out to be, and on what grounds."})
    if by.person.pk in did_the_line(locked.comeback_of):
        raise ValidationError(
            {
                "judgement": f"You worked on {locked.comeback_of} yourself. Let somebody judge who did not: this form "
                "keeps what you typed until you leave the page."
            }
        )
    save_changes(locked, comeback_judged_by=by.person, comeback_judgement=judgement.strip())
    _refresh(job)
    note(job, vehicle=locked.vehicle_id, job=locked, words={"judgement": judgement})
    return job


def did_the_line(line: WorkLine) -> set:
    """Keys of the people who did a line: who had it, booked labour on it, took a reading in one of its runs."""
    doers = set(line.labour.counting().values_list("person_id", flat=True))
    doers |= set(TorqueReading.objects.filter(run__line=line).values_list("made_by_id", flat=True))
    if line.technician_id:
        doers.add(line.technician_id)
    return doers


def _refresh(job: Job) -> None:
    """The caller's object, which may be older than the row that was locked."""
    job.refresh_from_db()


def _state(value: str) -> JobState:
    try:
        return JobState(value)
    except ValueError:
        raise ValidationError({"to_state": f"“{value}” is no state of a job."}) from None


def _only(fields: dict[str, Any], allowed: tuple[str, ...]) -> None:
    if strange := fields.keys() - set(allowed):
        raise TypeError(f"not among what this act changes: {', '.join(sorted(strange))}")


def _refuse_times(by: By, booked_for: datetime | None, promised_at: datetime | None) -> None:
    if booked_for is not None and timezone.localtime(booked_for).date() < by.day:
        raise ValidationError(
            {"booked_for": f"This day is past. Give {date_format(by.day, 'j M Y')} or later."}
        )
    earliest = max(by.made_at, booked_for) if booked_for else by.made_at
    if promised_at is not None and promised_at < earliest:
        shown = date_format(timezone.localtime(earliest), "j M Y H:i")
        why = "the car is not here before that" if booked_for and earliest == booked_for else "it is past"
        raise ValidationError({"promised_at": f"This can't be kept: {why}. Give a time after {shown}."})


def _refuse_people(
    by: By, vehicle: Vehicle, payer: Keeper | None = None, authoriser: Keeper | None = None
) -> None:
    for name, keeper, chosen_from, part in (
        ("payer", payer, people.payers_of, "a payer"),
        ("authoriser", authoriser, people.authorisers_of, "somebody who may authorise work"),
    ):
        if keeper is not None and not chosen_from(vehicle, by.day).filter(pk=keeper.pk).exists():
            raise ValidationError(
                {
                    name: f"{keeper} is not on record as {part} for this car. Record that on the car's page first."
                }
            )


def _refuse_stranger(by: By, vehicle: Vehicle, field: str, keeper: Keeper | None) -> None:
    if keeper is not None and not people.people_of(vehicle, by.day).filter(pk=keeper.pk).exists():
        raise ValidationError(
            {
                field: f"{keeper} is not on record as one of this car's people. Record that on the car's page first."
            }
        )


def _refuse_comeback(vehicle: Vehicle, line: WorkLine | None, run: Run | None) -> None:
    if line is not None and line.job.vehicle_id != vehicle.pk:
        raise ValidationError({"comeback_of": f"{line} was done on another car."})
    if run is not None and run.line_id != line.pk:
        raise ValidationError({"comeback_run": f"{run} does not belong to {line}."})


def _refuse_without_role(field: str, person: Person, roles: tuple[Role, ...], words: str) -> None:
    if not person.is_active or not person.roles & set(roles):
        raise ValidationError(
            {field: f"{person} is not {words} of this shop now. Choose somebody from the list."}
        )


def _done_to_the_car(job: Job) -> list[str]:
    """What was done on a job, in words: each look is one query, and a booked job seldom has lines at all."""
    looks = {
        "labour": LabourEntry.objects.filter(line__job=job),
        "parts used": PartUsed.objects.filter(line__job=job),
        "parts fitted or removed": PartChange.objects.filter(line__job=job),
        "measurements": Measurement.objects.filter(line__job=job),
        "torque readings": TorqueReading.objects.filter(run__job=job),
        "a work line that is done": job.lines.filter(done_at__isnull=False),
        "an isolation": job.isolations.all(),
        "a road test": job.road_tests.filter(not_done_because=""),
        "something taken off or put on the car": job.things_out.all(),
    }
    return [words for words, found in looks.items() if found.exists()]
