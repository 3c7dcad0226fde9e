"""Acts on what is outstanding on a car: raised, told and told again, ended in one of three ways."""

from __future__ import annotations

from datetime import date
from decimal import Decimal, localcontext

from django.core.exceptions import ValidationError
from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.acts.moments import refuse_before, refuse_before_built
from vehicles.folding import folded
from vehicles.models import Keeper, OdometerReading, OutstandingItem, Place, Severity, Telling, Vehicle
from vehicles.models.outstanding import Channel, ItemEnd, TellingAnswer
from vehicles.odometer import counting
from vehicles.people import authorisers_of, people_of
from workshop.acting import By, act, create, note, save_changes
from workshop.engineering.units import WORKING_DIGITS, Amount
from workshop.models import Person
from workshop.permissions import May

_SIX_DECIMALS = Decimal("0.000001")
_MOST_KM = Decimal(1_000_000)
# Beyond this a year was mistyped (common practice, no source).
MOST_YEARS_AHEAD = 20


@act(May.OUTSTANDING)
def raise_item(
    *,
    by: By,
    vehicle: Vehicle,
    title: str,
    severity: str,
    reason: str,
    detail: str = "",
    place: Place | None = None,
    raised_in=None,
    raised_by_line=None,
    raised_by_run=None,
    due_on: date | None = None,
    due_distance: Amount | None = None,
    due_hours: Decimal | None = None,
    due_runs: int | None = None,
) -> OutstandingItem:
    """Raise an item on the car. A due distance counts from the latest odometer reading."""
    refuse_before_built(by, vehicle, "nothing was outstanding on it")
    _refuse_other_cars(vehicle, raised_in, raised_by_line, raised_by_run)
    if raised_in is None and raised_by_line is not None:
        raised_in = raised_by_line.job
    if raised_in is None and raised_by_run is not None:
        raised_in = raised_by_run.job
    due_km, due_km_unit = _distance(due_distance)
    # One row to lock per car, so that two people at once draw two numbers.
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    number = (vehicle.outstanding_items.aggregate(last=Max("order"))["last"] or 0) + 1
    item = create(
        OutstandingItem(
            **by.stamp(),
            vehicle=vehicle,
            order=number,
            title=title.strip(),
            search_text=folded(title),
            detail=detail,
            severity=severity,
            reason=reason,
            place=place,
            raised_in=raised_in,
            raised_by_line=raised_by_line,
            raised_by_run=raised_by_run,
            raised_on=by.day,
            due_on=_due_day(due_on, by.day),
            due_km=due_km,
            due_km_unit=due_km_unit,
            from_reading=latest_reading(vehicle, by) if due_km is not None else None,
            due_hours=due_hours,
            due_runs=due_runs,
        )
    )
    note(
        item,
        vehicle=vehicle,
        job=raised_in,
        facts={
            "item": item.number,
            "severity": severity,
            "reason": reason,
            "place": place,
            "due_on": due_on,
            "due_distance": due_distance,
            "due_hours": due_hours,
            "due_runs": due_runs,
        },
        words={"title": item.title, "detail": detail},
    )
    return item


@act(May.OUTSTANDING)
def widen(*, by: By, item: OutstandingItem, title: str) -> OutstandingItem:
    """Let an open item stand for more than when it was raised: its new title names all of it.

    Called by the act that would else raise a second item of the same kind.
    """
    _refuse_ended(OutstandingItem.objects.select_for_update(no_key=True).get(pk=item.pk))
    changes = save_changes(item, title=title.strip(), search_text=folded(title))
    changes.pop("search_text", None)
    note(
        item,
        vehicle=item.vehicle_id,
        job=item.raised_in_id,
        facts={"item": item.number, "changed": sorted(changes)},
        words={"changes": changes},
    )
    return item


@act(May.OUTSTANDING)
def change_due(
    *,
    by: By,
    item: OutstandingItem,
    seen_version: int,
    reason: str,
    due_on: date | None = None,
    due_distance: Amount | None = None,
    due_hours: Decimal | None = None,
    due_runs: int | None = None,
    from_now: bool = False,
) -> OutstandingItem:
    """Set again by when it is due. With `from_now` the distance counts from the latest reading, else as before."""
    _refuse_ended(item)
    _reason(reason, "Say why the due date or distance is changed.")
    due_km, due_km_unit = _distance(due_distance)
    from_reading = item.from_reading
    if due_km is None:
        from_reading = None
    elif from_now or from_reading is None:
        from_reading = latest_reading(item.vehicle, by)
    changes = save_changes(
        item,
        seen_version=seen_version,
        due_on=_due_day(due_on, item.raised_on),
        due_km=due_km,
        due_km_unit=due_km_unit,
        from_reading=from_reading,
        due_hours=due_hours,
        due_runs=due_runs,
    )
    note(
        item,
        vehicle=item.vehicle_id,
        facts={"item": item.number, "changes": changes},
        words={"reason": reason},
    )
    return item


@act(May.OUTSTANDING)
def change_severity(
    *, by: By, item: OutstandingItem, seen_version: int, severity: str, reason: str
) -> OutstandingItem:
    """Assess the item again, with the reason: after an axle weight, a measurement, a second look."""
    _refuse_ended(item)
    _reason(reason, "Say what makes it more or less severe.")
    changes = save_changes(item, seen_version=seen_version, severity=severity)
    note(
        item,
        vehicle=item.vehicle_id,
        facts={"item": item.number, "changes": changes},
        words={"reason": reason},
    )
    return item


@act(May.TELL_OWNER)
def tell(
    *,
    by: By,
    item: OutstandingItem,
    told_to: Keeper,
    channel: str,
    told: str,
    answer: str,
    answer_words: str = "",
    witness: Person | None = None,
    job=None,
) -> Telling:
    """Record what was told to whom and what they answered. An answer never ends an item.

    Only somebody who plays a part for the car on that day is told; `Telling.objects.counting` says whose answer counts.
    """
    _refuse_ended(item)
    refuse_before(by, item, "the item was raised")
    _refuse_other_cars(item.vehicle, job)
    if not told.strip():
        raise ValidationError({"told": "Say what was told."})
    if channel not in Channel.values:
        raise ValidationError({"channel": "Say how it was told."})
    _refuse_stranger(by, item.vehicle, told_to)
    if answer == TellingAnswer.NOT_SIGNED and witness is None:
        raise ValidationError({"witness": "Where somebody declines to sign, name the witness."})
    telling = create(
        Telling(
            **by.stamp(),
            item=item,
            job=job,
            told_to=told_to,
            channel=channel,
            told=told.strip(),
            answer=answer,
            answer_words=answer_words,
            witness=witness,
        )
    )
    note(
        telling,
        vehicle=item.vehicle_id,
        job=job,
        facts={
            "item": item.number,
            "told_to": told_to,
            "channel": channel,
            "answer": answer,
            "witness": witness,
        },
        words={"told_to": told_to.name, "told": telling.told, "answer_words": answer_words},
    )
    return telling


@act(May.OUTSTANDING)
def end_by_line(
    *, by: By, item: OutstandingItem, line, finding: str = "", seen_version: int | None = None
) -> OutstandingItem:
    """The item was done by a work line. Called by the acts on work lines, in the same act."""
    if line.job.vehicle_id != item.vehicle_id:
        raise ValidationError({"line": f"Work line {line} is on another car."})
    return _end(
        by, item, seen_version, ItemEnd.LINE, line.job_id, ended_by_line=line, ended_finding=finding.strip()
    )


@act(May.OUTSTANDING)
def end_by_finding(
    *, by: By, item: OutstandingItem, seen_version: int, ended_finding: str
) -> OutstandingItem:
    """A later finding settled it: what was found stands with it."""
    if not ended_finding.strip():
        raise ValidationError({"ended_finding": "Say what was found that settles it."})
    return _end(by, item, seen_version, ItemEnd.FINDING, ended_finding=ended_finding.strip())


@act(May.OUTSTANDING)
def leave_so(
    *, by: By, item: OutstandingItem, seen_version: int, left_by: Keeper, words: str = ""
) -> OutstandingItem:
    """Left so at the wish of the owner or of somebody who may decide for the car; minor and advice only."""
    current = OutstandingItem.objects.select_for_update(no_key=True).get(pk=item.pk)
    if not Severity(current.severity).owner_may_leave_it:
        raise ValidationError(
            f"This item is {current.severity}: it can't be left so at the owner's wish, because others are put at "
            "risk too. It ends by the work or by a later finding. Record what the owner answered as a telling.",
            code="too_severe",
        )
    if not authorisers_of(item.vehicle, by.day).filter(pk=left_by.pk).exists():
        raise ValidationError(
            {
                "left_by": f"{left_by} is not the owner, the registered keeper or somebody who may authorise work on "
                "this car. Choose one of those, or write that part down first."
            }
        )
    return _end(by, item, seen_version, ItemEnd.LEFT, left_by=left_by, left_words=words.strip())


@act(May.OUTSTANDING)
def reopen_item(*, by: By, item: OutstandingItem, seen_version: int, reason: str) -> OutstandingItem:
    """Take back an end that was wrong, with the reason. The end stands in the log."""
    _reason(reason, "Say why it is outstanding again.")
    if not OutstandingItem.objects.select_for_update(no_key=True).get(pk=item.pk).end:
        raise ValidationError("This item has no end: there is nothing to take back.")
    before = {
        "end": item.end,
        "ended_at": item.ended_at,
        "ended_by_line": item.ended_by_line,
        "left_by": item.left_by,
    }
    words = {"ended_finding": item.ended_finding, "left_words": item.left_words, "reason": reason}
    save_changes(
        item,
        seen_version=seen_version,
        end="",
        ended_at=None,
        ended_by_line=None,
        ended_finding="",
        left_by=None,
        left_words="",
    )
    note(item, vehicle=item.vehicle_id, facts={"item": item.number, "was": before}, words=words)
    return item


def latest_reading(vehicle: Vehicle, by: By) -> OdometerReading | None:
    """The latest figure read on the car at the time of the act; None where there is none."""
    return (
        counting(vehicle.odometer_readings.all())
        .filter(read_at__lte=by.made_at)
        .order_by("-read_at", "-made_at")
        .first()
    )


def _end(
    by: By, item: OutstandingItem, seen_version: int | None, end: ItemEnd, job=None, **fields
) -> OutstandingItem:
    refuse_before(by, item, "the item was raised")
    _refuse_ended(OutstandingItem.objects.select_for_update(no_key=True).get(pk=item.pk))
    save_changes(item, seen_version=seen_version, end=end.value, ended_at=by.made_at, **fields)
    words = {name: fields.pop(name) for name in ("ended_finding", "left_words") if name in fields}
    note(
        item,
        vehicle=item.vehicle_id,
        job=job,
        facts={"item": item.number, "severity": item.severity, "end": end.value, **fields},
        words=words,
    )
    return item


def _refuse_ended(item: OutstandingItem) -> None:
    if item.end:
        when = date_format(timezone.localtime(item.ended_at), "j M Y")
        raise ValidationError(
            f"This item ended on {when}: {item.get_end_display().lower()}. Take that end back first, with a reason.",
            code="ended",
        )


def _reason(reason: str, sentence: str) -> None:
    if not reason.strip():
        raise ValidationError({"reason": sentence})


def _due_day(due_on: date | None, made_on: date) -> date | None:
    if due_on is not None and due_on < made_on:
        raise ValidationError(
            {
                "due_on": f"{date_format(due_on)} lies before the day the item was made. "
                f"Give {date_format(made_on)} or later."
            }
        )
    if due_on is not None and due_on.year > made_on.year + MOST_YEARS_AHEAD:
        raise ValidationError(
            {
                "due_on": f"{date_format(due_on)} is more than {MOST_YEARS_AHEAD} years ahead. Give an earlier day, or a "
                "distance."
            }
        )
    return due_on


def _distance(amount: Amount | None) -> tuple[Decimal | None, str]:
    """Kilometres with six decimals, which hold whole miles exactly, and the unit typed."""
    if amount is None:
        return None, ""
    if amount.dimension != "distance":
        raise ValidationError({"due_distance": "A distance is given in km or miles."})
    km = amount.base()
    if not 0 < km <= _MOST_KM:
        raise ValidationError({"due_distance": f"Give a distance above 0 and up to {_MOST_KM:f} km."})
    with localcontext(prec=WORKING_DIGITS):
        return km.quantize(_SIX_DECIMALS), amount.unit


def _refuse_other_cars(vehicle: Vehicle, job=None, line=None, run=None) -> None:
    for owner in (job, line and line.job, run and run.job):
        if owner is not None and owner.vehicle_id != vehicle.pk:
            raise ValidationError(
                f"Job {owner} is on another car: an item belongs to the car it was found on."
            )


def _refuse_stranger(by: By, vehicle: Vehicle, keeper: Keeper) -> None:
    if people_of(vehicle, by.day).filter(pk=keeper.pk).exists():
        return
    day = date_format(by.day)
    had = f"{keeper} plays a part for this car at other times, but not" if _ever(vehicle, keeper) else ""
    raise ValidationError(
        {
            "told_to": f"{had or f'{keeper} plays no part for this car'} on {day}. Tell its owner or somebody who "
            "may decide for it; or write down first what this person is for the car."
        }
    )


def _ever(vehicle: Vehicle, keeper: Keeper) -> bool:
    return vehicle.keepers.filter(keeper=keeper).exists()
