"""Acts on past work: writing down what a service book or an invoice says, and saying that a line is wrong."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.acts.odometer import record_reading
from vehicles.acts.striking import strike
from vehicles.models import DayKnown, PastWork, Vehicle
from workshop.acting import By, act, create, note
from workshop.engineering.units import Amount
from workshop.permissions import May


@act(May.EDIT_VEHICLE)
def add_past_work(
    *,
    by: By,
    vehicle: Vehicle,
    done_on: date,
    title: str,
    source: str,
    day_known: str = DayKnown.DAY,
    who_did: str = "",
    text: str = "",
    amount: Decimal | None = None,
    odometer: Amount | None = None,
    lower_because: str = "",
) -> PastWork:
    """Write down one piece of past work, with the odometer reading beside it where there is one."""
    refuse_bad_day(by, vehicle, done_on)
    if odometer is not None and day_known != DayKnown.DAY:
        raise ValidationError(
            {"odometer": "A reading needs its day: give the day, or leave the reading out."}
        )
    reading = None
    if odometer is not None:
        try:
            reading = record_reading(
                by=by,
                vehicle=vehicle,
                amount=odometer,
                lower_because=lower_because,
                read_at=noon(done_on, by),
            )
        except ValidationError as refusal:
            raise _beside(refusal) from refusal
    row = create(
        PastWork(
            **by.stamp(),
            vehicle=vehicle,
            done_on=first_day(done_on, day_known),
            day_known=day_known,
            who_did=" ".join(who_did.split()),
            title=" ".join(title.split()),
            text=text.strip(),
            amount=amount,
            odometer=reading,
            source=" ".join(source.split()),
        )
    )
    words = {name: getattr(row, name) for name in ("title", "text", "who_did", "source")}
    note(row, vehicle=vehicle, facts={"done_on": row.done_on, "known": day_known}, words=words)
    return row


@act(May.EDIT_VEHICLE)
def set_past_work_aside(*, by: By, past_work: PastWork, reason: str) -> PastWork:
    """Say that a line was entered in error: it stays in sight and counts as nothing."""
    return strike(past_work, reason)


def first_day(day: date, known: str) -> date:
    """What the column holds: the first day of the month or year that is known."""
    if known == DayKnown.YEAR:
        return day.replace(month=1, day=1)
    return day.replace(day=1) if known == DayKnown.MONTH else day


def refuse_bad_day(by: By, vehicle: Vehicle, day: date) -> None:
    if day > by.day:
        raise ValidationError(
            {"done_on": f"{date_format(day)} lies in the future. Give today or an earlier day."}
        )
    # A model year begins in the calendar year before.
    if day.year < vehicle.year - 1:
        raise ValidationError(
            {"done_on": f"The car is of model year {vehicle.year}: give {vehicle.year - 1} or later."}
        )


def noon(day: date, by: By) -> datetime:
    """When a reading of that day was taken, as nobody wrote down the hour; not later than now."""
    return min(timezone.make_aware(datetime.combine(day, time(12))), by.made_at)


def _beside(refusal: ValidationError) -> ValidationError:
    """The reading's refusals, beside the fields of this form."""
    if not hasattr(refusal, "error_dict"):
        return ValidationError({"odometer": refusal.error_list})
    names = {"amount": "odometer", "read_at": "done_on", "instrument": "odometer"}
    return ValidationError({names.get(name, name): rows for name, rows in refusal.error_dict.items()})
