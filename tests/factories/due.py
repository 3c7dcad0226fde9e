"""Cars with a way behind them, maintenance plans and tests, made through their acts. All invented."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from django.utils import timezone

from tests.people import by
from vehicles.acts import due, odometer
from vehicles.models import MaintenanceInterval, Vehicle
from workshop.engineering.units import Amount


def at(day: date, hour: int = 9) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(hour)))


def drive(person, car: Vehicle, *seen: tuple[date, float], unit: str = "km", **kwargs: Any) -> list:
    """Readings on these days; the first makes the car's instrument."""
    return [
        odometer.record_reading(
            by=by(person), vehicle=car, amount=Amount(Decimal(str(value)), unit), read_at=at(day), **kwargs
        )
        for day, value in seen
    ]


def interval(
    person, sheet, title="Engine oil and filter", km=None, months=None, **kwargs
) -> MaintenanceInterval:
    return due.add_interval(
        by=by(person),
        sheet=sheet,
        title=title,
        every_distance=None if km is None else km if isinstance(km, Amount) else Amount(Decimal(km), "km"),
        every_months=months,
        **{"source": "maker", "source_words": "service book, page 14", **kwargs},
    )


def done(person, car, interval, day: date, km=None, **kwargs):
    return due.record_done(
        by=by(person),
        vehicle=car,
        interval=interval,
        done_on=day,
        odometer=None if km is None else Amount(Decimal(km), "km"),
        **{"elsewhere": "Millbrook Garage", "source_words": "service book", **kwargs},
    )


def roadworthy(person, car, day: date, **kwargs):
    return due.record_test(
        by=by(person),
        vehicle=car,
        done_on=day,
        **{
            "result": "passed",
            "by_whom": "Tarnshire testing station",
            "source_words": "certificate seen",
            **kwargs,
        },
    )
