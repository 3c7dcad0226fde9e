"""True distance of a vehicle whose odometers were replaced, misread, or falsified by its tyres.

True distance is the sum over instruments of last minus first reading, each in its own unit: never
the last reading minus the first of all. 1 mile = 1.609 344 km exactly.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal, localcontext

from workshop.engineering.errors import EngineeringError
from workshop.engineering.numbers import day_words
from workshop.engineering.units import RESULT_DIGITS, UNITS, WORKING_DIGITS, UnitError, factor, rounded


class OdometerError(EngineeringError):
    """Spans that can't be added up as they stand."""


@dataclass(frozen=True)
class Reading:
    """What the instrument showed on a day, in the instrument's unit."""

    on: date
    value: Decimal


@dataclass(frozen=True)
class Falsified:
    """Odometer values, in the instrument's unit, between which tyres falsified it.

    `until` None: such tyres are still fitted.
    """

    since: Decimal
    until: Decimal | None = None


@dataclass(frozen=True)
class InstrumentSpan:
    """One odometer from the day it was fitted to its removal, or to now.

    `first` and `last` are its readings at these ends, None when not known; for the instrument in use
    `last` None means: take the latest of `readings`. `readings` in order of time; leave out those that
    were since corrected as misread, for a reading too high looks like a fall that never came back.
    `fitted_on` None: with the vehicle, or not known.
    """

    unit: str
    first: Decimal | None
    last: Decimal | None
    readings: tuple[Reading, ...] = ()
    fitted_on: date | None = None
    falsified: tuple[Falsified, ...] = ()

    def __post_init__(self) -> None:
        if self.unit not in UNITS or UNITS[self.unit].dimension != "distance":
            raise UnitError("An odometer counts kilometres or miles: choose one of them.")
        values = [self.first, self.last, *(r.value for r in self.readings)]
        if any(v is not None and (not v.is_finite() or v < 0) for v in values):
            raise OdometerError("An odometer reading is zero or more.")
        if any(a.on > b.on for a, b in zip(self.readings, self.readings[1:], strict=False)):
            raise OdometerError("The readings of an odometer must be in order of time.")
        if any(f.until is not None and f.until < f.since for f in self.falsified):
            raise OdometerError("The tyres came off at a lower reading than they went on.")


@dataclass(frozen=True)
class Flag:
    """Something that a reader of the distance must know. `code`: lower_reading, not_counted, falsified."""

    code: str
    message: str
    on: date | None = None


@dataclass(frozen=True)
class TrueDistance:
    """Distances in km.

    `km`: over the vehicle's whole life, None when not known. `since_km`: what was counted, over the
    whole life or, when that isn't known, since `known_since`. Neither holds `falsified_km`, the
    distance that was shown while tyres falsified the odometer. A `known_since` of None with `km`
    None means that not even the day is known.
    """

    km: Decimal | None
    since_km: Decimal
    known_since: date | None
    falsified_km: Decimal
    flags: tuple[Flag, ...]
    sentence: str


@dataclass(frozen=True)
class _Counted:
    """The part of one span that counts, in its unit; `whole` when it reaches back to its fitting."""

    start: Decimal
    end: Decimal
    whole: bool
    since: date | None


def true_distance(spans: list[InstrumentSpan] | tuple[InstrumentSpan, ...]) -> TrueDistance:
    """Add up the instruments of one vehicle, oldest first.

    Counts backwards from the newest and stops at the first gap: an unknown first or last reading, or a
    reading that fell and never came back. Refuses an empty list with `OdometerError`.
    """
    if not spans:
        raise OdometerError("There is no odometer to count.")
    total, falsified = Decimal(0), Decimal(0)
    known_since: date | None = None
    complete = True
    for index in range(len(spans) - 1, -1, -1):
        span, newest = spans[index], index == len(spans) - 1
        counted = _count(span, newest=newest)
        if counted is None:
            # What is known begins with the next instrument, which was counted whole.
            complete, known_since = False, None if newest else _first_day(spans[index + 1])
            break
        shown, wrong = _split(span, counted)
        with localcontext(prec=WORKING_DIGITS):
            total += shown * factor(span.unit, "km")
            falsified += wrong * factor(span.unit, "km")
        if not counted.whole:
            complete, known_since = False, counted.since
            break
    with localcontext(prec=RESULT_DIGITS):
        total, falsified = +total, +falsified
    flags = [flag for span in spans for flag in _lower_readings(span)]
    if not complete:
        flags.append(Flag("not_counted", f"Distance {_before(known_since)} is not counted.", known_since))
    if falsified:
        flags.append(
            Flag(
                "falsified", f"{_km(falsified)} were shown with tyres that falsify the odometer: not counted."
            )
        )
    return TrueDistance(
        km=total if complete else None,
        since_km=total,
        known_since=known_since,
        falsified_km=falsified,
        flags=tuple(flags),
        sentence=_sentence(total, falsified, complete, known_since, len(spans)),
    )


def _first_day(span: InstrumentSpan) -> date | None:
    return span.fitted_on or (span.readings[0].on if span.readings else None)


def _before(day: date | None) -> str:
    return f"before {day_words(day)}" if day else "before the first known reading"


def _km(value: Decimal) -> str:
    return f"{rounded(value, 'km'):f} km"


def _lower_readings(span: InstrumentSpan) -> list[Flag]:
    """One flag for each reading below an earlier one, and one for a last reading below all that is known."""
    label, flags = UNITS[span.unit].label, []
    highest = span.first
    for reading in span.readings:
        if highest is not None and reading.value < highest:
            flags.append(
                Flag(
                    "lower_reading",
                    f"{reading.value:f} {label} on {day_words(reading.on)} is lower than "
                    f"{highest:f} {label} before on the same instrument. The fall is not counted.",
                    reading.on,
                )
            )
        highest = reading.value if highest is None else max(highest, reading.value)
    told = bool(span.readings) and span.readings[-1].value == span.last
    if span.last is not None and highest is not None and span.last < highest and not told:
        flags.append(
            Flag(
                "lower_reading",
                f"The last reading {span.last:f} {label} is lower than {highest:f} {label} before on "
                "the same instrument. The fall is not counted.",
            )
        )
    return flags


def _count(span: InstrumentSpan, *, newest: bool) -> _Counted | None:
    """What of this span can be counted back from its end; None when its end isn't known or fell for good."""
    end = span.last
    if end is None and newest:
        end = span.readings[-1].value if span.readings else span.first
    if end is None:
        return None
    # A misreading comes back up; what ends below its highest was set back, rolled over or is wrong.
    # Only what follows the last such fall can be counted.
    after_fall = 0
    highest = span.first
    for index, reading in enumerate(span.readings):
        if reading.value > end:
            after_fall = index + 1
        highest = reading.value if highest is None else max(highest, reading.value)
    if highest is not None and highest > end:
        if after_fall == len(span.readings):
            return None
        start = span.readings[after_fall]
        return _Counted(start.value, end, whole=False, since=start.on)
    if span.first is not None:
        return _Counted(span.first, end, whole=True, since=span.fitted_on)
    if span.readings:
        start = span.readings[0]
        return _Counted(start.value, end, whole=False, since=start.on)
    return None


def _split(span: InstrumentSpan, counted: _Counted) -> tuple[Decimal, Decimal]:
    """Counted distance apart from that under falsifying tyres, in the span's unit; overlaps count once."""
    wrong, reached = Decimal(0), counted.start
    for part in sorted(span.falsified, key=lambda f: f.since):
        start = max(part.since, reached)
        end = counted.end if part.until is None else min(part.until, counted.end)
        if end > start:
            wrong += end - start
            reached = end
    return counted.end - counted.start - wrong, wrong


def _sentence(total: Decimal, falsified: Decimal, complete: bool, since: date | None, count: int) -> str:
    if complete:
        over = f" over {count} instruments" if count > 1 else ""
        text = f"True distance {_km(total)}{over}."
    else:
        text = f"True distance is not known {_before(since)}; {_km(total)} since then."
    if falsified:
        text += f" Besides, {_km(falsified)} were shown with tyres that falsify the odometer."
    return text
