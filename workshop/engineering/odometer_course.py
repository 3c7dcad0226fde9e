"""The true distance of a vehicle at each reading of its odometers, to be drawn over time.

The same counting as `odometer.true_distance`, reading by reading: the height of the last reading of the last run is that
distance. Runs are apart where the distance between them is not known: a reading that fell and never came back, an
instrument removed or fitted unread. Each run counts from 0; only the first may begin with the new vehicle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, localcontext

from workshop.engineering.odometer import Falsified, InstrumentSpan, Reading
from workshop.engineering.units import WORKING_DIGITS, factor


@dataclass(frozen=True)
class CoursePoint:
    """One place of the course. `span` is the instrument by its place in the list, `reading` the reading by its place
    among the instrument's, None for the day on which the instrument was fitted.

    `km` is the true distance since the beginning of the run. `lower`: the figure is lower than before and came back up,
    so it counts as nothing and stands at the height of what went before. `falsified`: between the point before and this
    one, tyres falsified the odometer, and that part is not counted.
    """

    on: date
    km: Decimal
    span: int
    reading: int | None
    lower: bool = False
    falsified: bool = False


@dataclass(frozen=True)
class Run:
    """What was counted without a gap. `from_new`: it begins at 0 with the vehicle, so that `km` is over its whole life."""

    points: tuple[CoursePoint, ...]
    from_new: bool


@dataclass(frozen=True)
class _Piece:
    """Readings of one instrument that count up to `end`; `start` None: from its first reading."""

    span: int
    readings: tuple[int, ...]
    start: Decimal | None
    end: Decimal


def course(spans: Sequence[InstrumentSpan]) -> tuple[Run, ...]:
    """The runs of one vehicle, oldest first, its instruments given oldest first. Nothing read: no run."""
    runs: list[list[_Piece]] = []
    open_end = True
    for index, span in enumerate(spans):
        pieces = _pieces(span, index, newest=index == len(spans) - 1)
        for number, piece in enumerate(pieces):
            joined = number == 0 and piece.start is not None and index > 0 and not open_end
            if joined:
                runs[-1].append(piece)
            else:
                runs.append([piece])
        # The next instrument goes on only where this one's last reading is known and its count reached it.
        open_end = not pieces or span.last is None or pieces[-1].end != span.last
    return tuple(
        run for number, pieces in enumerate(runs) if (run := _run(spans, pieces, first=number == 0)).points
    )


def _pieces(span: InstrumentSpan, index: int, *, newest: bool) -> list[_Piece]:
    """One instrument in pieces that each count up to their end; the last one to the instrument's last reading."""
    left = list(range(len(span.readings)))
    end = span.last
    if end is None and left:
        end = span.readings[-1].value
    elif end is None and newest:
        end = span.first
    pieces: list[_Piece] = []
    while end is not None:
        ceiling = end
        after = max((n + 1 for n in left if span.readings[n].value > ceiling), default=0)
        if after or (span.first is not None and span.first > ceiling):
            # What is after the fall begins with its own first reading; a last reading below all of them is alone.
            kept, left = left[after:], left[:after]
            if kept:
                pieces.append(_Piece(index, tuple(kept), None, end))
            end = span.readings[left[-1]].value if left else None
        else:
            if left or span.first is not None:
                pieces.append(_Piece(index, tuple(left), span.first, end))
            end = None
    return pieces[::-1]


def _run(spans: Sequence[InstrumentSpan], pieces: list[_Piece], *, first: bool) -> Run:
    points: list[CoursePoint] = []
    base = Decimal(0)
    for piece in pieces:
        span = spans[piece.span]
        start = piece.start if piece.start is not None else span.readings[piece.readings[0]].value
        to_km = factor(span.unit, "km")
        if piece.start is not None and span.fitted_on is not None:
            points.append(CoursePoint(span.fitted_on, base, piece.span, None))
        highest = start
        for number in piece.readings:
            reading: Reading = span.readings[number]
            lower = reading.value < highest
            before, highest = highest, max(highest, reading.value)
            points.append(
                CoursePoint(
                    reading.on,
                    _km(base, highest - start - _wrong(span.falsified, start, highest), to_km),
                    piece.span,
                    number,
                    lower,
                    _wrong(span.falsified, before, highest) > 0,
                )
            )
        base = _km(base, piece.end - start - _wrong(span.falsified, start, piece.end), to_km)
    from_new = first and pieces[0].span == 0 and pieces[0].start is not None
    return Run(tuple(points), from_new)


def _km(base: Decimal, shown: Decimal, to_km: Decimal) -> Decimal:
    with localcontext(prec=WORKING_DIGITS):
        return base + shown * to_km


def _wrong(parts: Sequence[Falsified], start: Decimal, end: Decimal) -> Decimal:
    """How much between two figures of the instrument was shown under tyres that falsify; overlaps count once."""
    wrong, reached = Decimal(0), start
    for part in sorted(parts, key=lambda each: each.since):
        begins = max(part.since, reached)
        ends = end if part.until is None else min(part.until, end)
        if ends > begins:
            wrong += ends - begins
            reached = ends
    return wrong
