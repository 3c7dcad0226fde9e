"""Wear of a car's parts over its true distance, out of the measurements of its jobs.

Readings of one thing (what was measured, place, position, kind of unit) make a series. Only distances that are
truly known between two readings count: where an odometer was replaced unread, fell, or ran under tyres that
falsify it, what lies before is left out, and said so.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from jobs.models import Measurement
from jobs.wear_distance import Known, distances, known
from jobs.wear_limits import Limit, SheetLimits, limit_of, sheet_limits
from vehicles import odometer
from vehicles.models import OdometerReading, Vehicle
from workshop.engineering.numbers import plain
from workshop.engineering.plot import Plot
from workshop.engineering.trends import (
    LEAST_READINGS,
    Fit,
    Forecast,
    Reading,
    TrendError,
    fit,
    forecast,
    forecast_words,
    kilometres,
    parts_of,
    plot_of,
    step_of,
    wear_words,
)
from workshop.engineering.units import UNITS, Amount, with_label


@dataclass(frozen=True)
class Measured:
    """One measurement of a series. `km` is its true distance since `known`; None where that is not known."""

    row: Measurement
    value: float
    km: float | None = None
    left_out: str = ""


@dataclass(frozen=True)
class Series:
    """What is known of one thing's wear. `measured` newest last; `part` are the readings of the part now fitted.

    `line` and `ahead` are None where they can't be worked out; `sentence` says what can be said, or why not.
    `driven` is the distance since the last reading, `renewed` how often a new part begins.
    """

    what: str
    where: str
    unit: str
    measured: tuple[Measured, ...]
    part: tuple[Reading, ...]
    earlier: tuple[Reading, ...]
    limit: Limit | None
    line: Fit | None
    ahead: Forecast | None
    sentence: str
    driven: float | None
    renewed: int

    @property
    def name(self) -> str:
        return f"{self.what}, {self.where}" if self.where else self.what

    @property
    def latest(self) -> Measurement:
        return self.measured[-1].row

    @property
    def left_out(self) -> int:
        return sum(bool(one.left_out) for one in self.measured)

    @property
    def needs_hand(self) -> bool:
        """At its limit, or driven there since by the rate of its readings."""
        if self.ahead is None:
            return False
        near = self.ahead.left is not None and self.driven is not None and self.driven >= self.ahead.left
        return self.ahead.reached or near

    @property
    def rate(self) -> str:
        """The wear over distance in words; empty without a line."""
        return wear_words(self.line, UNITS[self.unit].label) if self.line is not None else ""

    @property
    def limit_words(self) -> str:
        if self.limit is None:
            return ""
        value = with_label(plain(Decimal(f"{self.limit.value:.6g}"), 4), self.unit)
        return f"at {'least' if self.limit.falling else 'most'} {value}"

    @property
    def driven_words(self) -> str:
        return f"{kilometres(self.driven)} driven since that reading." if self.driven else ""

    @property
    def _seen(self) -> str:
        """What the curve shows, for those who can't see it; what follows from it stands beside it already."""
        first, last = (with_label(f"{each.value:.4g}", self.unit) for each in (self.part[0], self.part[-1]))
        said = f"{len(self.part)} readings of the part now fitted, from {first} to {last}"
        if self.ahead is not None and self.ahead.left:
            return f"{said}; the line through them meets the limit at {self.part[-1].at + self.ahead.left:.0f} km."
        return f"{said}, with the line through them." if self.line is not None else f"{said}."

    @property
    def plot(self) -> Plot | None:
        """The readings with line, band and limit; None for fewer than two of the part."""
        if len(self.part) < 2:
            return None
        return plot_of(
            self.part,
            self.line,
            self.limit.value if self.limit else None,
            self.ahead,
            title=self.name,
            unit=UNITS[self.unit].label,
            summary=self._seen,
            earlier=self.earlier,
        )


def series_of(vehicle: Vehicle, *, until: date | None = None) -> list[Series]:
    """Every series of a car, what needs a hand first, then what is nearest to its limit. `until`: nothing measured or
    read later than that day.

    One query without a measurement; with some, three, and three more where the data sheet may have a limit.
    """
    groups = _groups(vehicle, until)
    if not groups:
        return []
    instruments = odometer.instruments_of(vehicle)
    if until is not None:
        instruments = odometer.until(instruments, until)
    readings = [reading for rows in groups.values() for row in rows if (reading := _reading(row)) is not None]
    found_at = distances(instruments, readings)
    today = known(odometer.truth(vehicle, instruments))
    sheet = sheet_limits(vehicle, groups.values())
    found = [_series(rows, found_at, today, sheet) for rows in groups.values()]
    return sorted(found, key=_urgency)


def _urgency(one: Series) -> tuple[bool, float, str]:
    left = one.ahead.left if one.ahead is not None and one.ahead.left is not None else float("inf")
    return not one.needs_hand, left - (one.driven or 0.0), one.name


def _groups(vehicle: Vehicle, until: date | None) -> dict[tuple, list[Measurement]]:
    """The measurements that count, by what they are of, in the order in which they were made."""
    rows = (
        Measurement.objects.counting()
        .filter(line__job__vehicle=vehicle)
        .select_related("line__job__check_in__odometer", "place")
        .order_by("made_at", "received_at")
    )
    if until is not None:
        rows = rows.filter(made_at__lt=timezone.make_aware(datetime.combine(until + timedelta(1), time.min)))
    groups: dict[tuple, list[Measurement]] = defaultdict(list)
    for row in rows:
        key = (" ".join(row.what.casefold().split()), row.place_id, row.position, UNITS[row.unit].dimension)
        groups[key].append(row)
    return groups


def _reading(row: Measurement) -> OdometerReading | None:
    check_in = getattr(row.line.job, "check_in", None)
    return check_in.odometer if check_in is not None else None


def _series(
    rows: list[Measurement], found_at: dict[Any, Known | None], now: Known | None, sheet: SheetLimits
) -> Series:
    last = rows[-1]
    unit = last.unit
    at = [found_at.get(reading.pk) if (reading := _reading(row)) is not None else None for row in rows]
    origin = next((one.origin for one in reversed(at) if one is not None), None)
    measured = tuple(_measured(row, one, unit, origin) for row, one in zip(rows, at, strict=True))
    # In order of distance: what was written down late stands where it belongs.
    readings = sorted(
        (Reading(one.km, one.value) for one in measured if one.km is not None), key=lambda each: each.at
    )
    limit = limit_of(rows, unit, sheet)
    falling = limit.falling if limit else readings[-1].value <= readings[0].value if readings else True
    step = step_of([reading.value for reading in readings])
    parts = parts_of(readings, falling=falling, step=step)
    part = parts[-1] if parts else []
    line, ahead, sentence = _said(part, limit, step, renewed=len(parts) > 1)
    driven = None
    if part and now is not None and now.origin == origin and now.km >= part[-1].at:
        driven = now.km - part[-1].at
    return Series(
        last.what,
        _where(last),
        unit,
        measured,
        tuple(part),
        tuple(reading for earlier in parts[:-1] for reading in earlier),
        limit,
        line,
        ahead,
        sentence,
        driven,
        max(0, len(parts) - 1),
    )


def _measured(row: Measurement, at: Known | None, unit: str, origin: tuple | None) -> Measured:
    value = float(Amount(row.value, row.unit).to(unit).value)
    if at is None:
        return Measured(row, value, None, "no odometer reading with it")
    if at.origin != origin:
        return Measured(row, value, None, "the distance since is not truly known")
    return Measured(row, value, at.km)


def _said(
    part: list[Reading], limit: Limit | None, step: float, *, renewed: bool
) -> tuple[Fit | None, Forecast | None, str]:
    of = "since it was renewed" if renewed else "at a known distance"
    if len(part) < LEAST_READINGS:
        return None, None, (
            f"Nothing can be said of its wear yet: that takes {LEAST_READINGS} readings, and there "
            f"{'is' if len(part) == 1 else 'are'} {len(part) or 'none'} {of}."
        )  # fmt: skip
    try:
        line = fit(part, step)
    except TrendError as error:
        return None, None, str(error)
    if limit is None:
        return line, None, "No limit is on record: give one with the next measurement, or on the data sheet."
    ahead = forecast(line, part[-1], limit.value, falling=limit.falling)
    return line, ahead, forecast_words(ahead, falling=limit.falling)


def _where(row: Measurement) -> str:
    return row.place.with_position(row.position) if row.place_id else ""
