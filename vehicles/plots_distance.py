"""The true distance of a car over time, as a plot: a sum over its instruments, with what is doubtful in it marked.

What is drawn is `engineering.odometer_course`: the end of its last line is the distance that the sentence says. Where the
distance is not known the line is broken, and what follows counts from 0 again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.utils import timezone

from vehicles import odometer
from vehicles.models import Instrument, OdometerReading, Vehicle
from vehicles.plots import (
    MOST_ROWS,
    PERIOD_WORDS,
    PlotShown,
    day_said,
    nothing_to_draw,
    period_of,
    shown,
)
from workshop.engineering.odometer import InstrumentSpan
from workshop.engineering.odometer_course import CoursePoint, Run, course
from workshop.engineering.plot import Axis, Line, Mark, Plot, Point
from workshop.engineering.plot_days import DayAxis, day_axis

if TYPE_CHECKING:
    from vehicles.audience import Audience

SLUG, TITLE = "distance", "Distance over time"
REPLACED, LOWER, FALSIFIED, UNREAD, UNKNOWN = (
    "instrument replaced",
    "lower than before, not counted",
    "tyres falsify the odometer, not counted",
    "not readable",
    "distance before is not known",
)
# The shape of each mark: in outline they differ, so that grey print tells them apart.
SHAPES = {
    REPLACED: "diamond",
    LOWER: "triangle",
    FALSIFIED: "square",
    UNREAD: "cross",
    UNKNOWN: "bar",
}


@dataclass(frozen=True)
class _Row:
    """One place of the drawing and one row of the table. `km` None: nothing is counted there. `doubts`: what to know."""

    on: date
    figure: str
    km: float | None
    doubts: tuple[str, ...] = ()
    falsified: bool = False
    lower: bool = False
    begins: bool = False
    ends: bool = False


def distance_plot(instruments: list[Instrument]) -> PlotShown:
    """The plot out of a car's instruments as `odometer.instruments_of` reads them. No query."""
    spans = odometer.spans_of(instruments)
    runs = course(spans)
    if not runs:
        return nothing_to_draw(SLUG, TITLE, "no odometer reading with a figure is on record")
    rows = sorted(
        [*_rows(instruments, spans, runs), *_unread(instruments, runs)],
        key=lambda row: row.on,
    )
    rows, each = _fewer(rows)
    days = day_axis(rows[0].on, rows[-1].on)
    highest = max((row.km for row in rows if row.km is not None), default=0.0)
    truth = odometer.truth_of(instruments)
    return shown(
        SLUG,
        Plot(
            slug=SLUG,
            title=TITLE,
            x=days.axis,
            y=Axis(_y_label(runs), 0.0, max(highest * 1.06, 1.0)),
            summary=" ".join(_summary(truth.sentence, rows, instruments, each)),
            lines=tuple(_lines(rows, days)),
            marks=tuple(_marks(rows, days)),
            head=("Day", "Shown", "True distance, km", "What to know"),
            rows=tuple(
                (
                    day_said(row.on),
                    row.figure,
                    "" if row.km is None else f"{row.km:.0f}",
                    "; ".join(row.doubts),
                )
                for row in rows
            ),
        ),
    )


def _rows(
    instruments: list[Instrument], spans: list[InstrumentSpan], runs: tuple[Run, ...]
) -> Iterator[_Row]:
    begun: set[int] = set()
    for run in runs:
        for number, point in enumerate(run.points):
            begins = number == 0
            doubts = []
            if begins and not run.from_new:
                doubts.append(UNKNOWN)
            if point.span > 0 and point.span not in begun:
                doubts.append(REPLACED)
            begun.add(point.span)
            row = _reading(instruments, point)
            if point.lower:
                doubts.append(LOWER)
            if point.falsified or (row is not None and row.falsified_by):
                doubts.append(FALSIFIED)
            yield _Row(
                point.on,
                _figure(instruments[point.span], point, row),
                float(point.km),
                tuple(doubts),
                point.falsified,
                point.lower,
                begins,
                number == len(run.points) - 1,
            )


def _reading(instruments: list[Instrument], point: CoursePoint) -> OdometerReading | None:
    return None if point.reading is None else odometer.counted(instruments[point.span])[point.reading]


def _figure(instrument: Instrument, point: CoursePoint, row: OdometerReading | None) -> str:
    unit = instrument.get_unit_display()
    if row is not None:
        return f"{row.figure} {unit}"
    return f"began at {instrument.first.normalize():f} {unit}"


def _unread(instruments: list[Instrument], runs: tuple[Run, ...]) -> Iterator[_Row]:
    """Readings without a figure, at the height of what was counted before them."""
    points = [point for run in runs for point in run.points]
    for instrument in instruments:
        for row in instrument.shown:
            if row.value is None and not row.misread_because:
                on = timezone.localtime(row.read_at).date()
                before = [float(point.km) for point in points if point.on <= on]
                yield _Row(on, "not readable", before[-1] if before else None, (UNREAD,))


def _fewer(rows: list[_Row]) -> tuple[list[_Row], str]:
    """At most so many rows as a table is read with: what has something to know, the last of each day, and where that is
    too much, of each period. With the word for that; empty where nothing was left out."""
    last_of_day = {row.on: row for row in rows}
    found = [row for row in rows if last_of_day[row.on] is row or row.doubts or row.begins or row.ends]
    each = "day" if len(found) < len(rows) else ""
    for months, words in PERIOD_WORDS.items() if len(found) > MOST_ROWS else ():
        each = words
        last = {period_of(row.on, months): row for row in rows}
        kept = {id(row) for row in last.values()} | {id(rows[0])}
        found = [row for row in rows if id(row) in kept or row.doubts or row.begins or row.ends]
        if len(found) <= MOST_ROWS:
            break
    return found, each


def _y_label(runs: tuple[Run, ...]) -> str:
    if len(runs) > 1:
        return "True distance, km, from 0 after each gap"
    if not runs[0].from_new:
        return f"True distance since {day_said(runs[0].points[0].on)}, km"
    return "True distance, km"


def _lines(rows: list[_Row], days: DayAxis) -> Iterator[Line]:
    """One line of what counts and one of what does not, each broken where the other runs and where nothing is known."""
    counts: list[Point] = []
    not_true: list[Point] = []
    broken = (math.nan, math.nan)
    before: Point | None = None
    for row in rows:
        if row.km is None or row.lower or UNREAD in row.doubts:
            continue
        at = (days.at(row.on), row.km)
        if row.begins:
            before = None
        if row.falsified and before is not None:
            not_true += [broken, before, at]
            counts += [broken, at]
        else:
            counts += [*([] if before is not None else [broken]), at]
        before = at
    yield Line("true distance", tuple(counts), "this")
    if not_true:
        yield Line("not counted", tuple(not_true), "factory")


def _marks(rows: list[_Row], days: DayAxis) -> Iterator[Mark]:
    for row in rows:
        at = (days.at(row.on), row.km or 0.0)
        for doubt in row.doubts:
            yield Mark("", at, SHAPES[doubt], doubt)
        if not row.doubts and len(rows) <= MOST_ROWS // 2:
            yield Mark("", at)


def _summary(sentence: str, rows: list[_Row], instruments: list[Instrument], each: str) -> Iterator[str]:
    yield sentence
    read = sum(len(odometer.counted(one)) for one in instruments)
    first, last = day_said(rows[0].on), day_said(rows[-1].on)
    yield (
        f"{_count(read, 'reading')} from {first} to {last}."
        if first != last
        else f"{_count(read, 'reading')}, on {first}."
    )
    if each:
        yield f"Drawn are the last of each {each} and all that there is something to know of."
    replaced = [row for row in rows if REPLACED in row.doubts]
    if replaced:
        yield f"The instrument was replaced {_times(len(replaced))}, last on {day_said(replaced[-1].on)}."
    lower = sum(LOWER in row.doubts for row in rows)
    if lower:
        yield f"{_count(lower, 'reading')} lower than before."
    unread = sum(UNREAD in row.doubts for row in rows)
    if unread:
        yield f"Not readable {_times(unread)}."


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def gather(vehicle: Vehicle, audience: Audience | None) -> Iterator[PlotShown]:
    instruments = odometer.instruments_of(vehicle)
    if audience is not None and audience.until is not None:
        instruments = odometer.until(instruments, audience.until)
    yield distance_plot(instruments)
