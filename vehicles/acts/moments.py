"""When something can have happened: not before what it belongs to, not before there was a car."""

from __future__ import annotations

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.models import Vehicle
from workshop.acting import By
from workshop.models import Record

# A time is typed in whole minutes: what follows in the same minute may seem to come first.
_SLACK = timedelta(minutes=1)


def refuse_before(by: By, record: Record, what: str) -> None:
    """Refuse an act made before the record it belongs to; `what` names that with its verb: "the survey was begun"."""
    if by.made_at < record.made_at - _SLACK:
        since = date_format(timezone.localtime(record.made_at), "j M Y H:i")
        raise ValidationError(
            {"made_at": f"{what[:1].upper()}{what[1:]} on {since}. Give that time or a later one."}
        )


def refuse_before_built(by: By, vehicle: Vehicle, what: str) -> None:
    """Refuse what was made before the car can have been; a model year begins in the calendar year before."""
    if by.day.year < vehicle.year - 1:
        raise ValidationError(
            {
                "made_at": f"The car is of model year {vehicle.year}: {what} in {by.day.year}. "
                f"Give a day in {vehicle.year - 1} or later."
            }
        )
