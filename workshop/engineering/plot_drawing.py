"""How a plot is drawn: ticks, clipped curves, tinted bands, marks and the words beside them, as plain shapes.

Everything lies in a drawing of `WIDTH` units, of which a phone shows about one for each pixel: so words are 13
units high. Lines are told apart by dashes and by their words, never by colour. What lies outside the axes is cut
off at the frame; what lies outside altogether is named, so that nobody looks for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10

from workshop.engineering.plot import Axis, Plot, Point
from workshop.engineering.plot_cutting import clipped, cut, extent, height_at, segment, slanted, written
from workshop.engineering.plot_labels import APART, LEADING, Box, Placed, Room, along, text_width, wrapped

WIDTH, PLOT_HEIGHT, TEXT = 320.0, 180.0, 13.0
# Ticks wanted on an axis; the nice step next to that is taken.
TICKS_ACROSS, TICKS_UP = 5, 5
# No measurement of a car is larger than this, or differs from nothing by less.
LARGEST, SMALLEST = 1e150, 1e-150
TICK, HATCH, DOT = 4.0, 7.0, 3.6
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
# Pen and dashes of each style of a line; an unknown one is drawn as this car's.
STYLES = {"this": (2.6, ""), "factory": (1.9, "8 4"), "limit": (2.2, "0.1 4.4"), "ideal": (1.1, "")}


@dataclass(frozen=True)
class Tick:
    """`at` is along the axis, in units of the drawing."""

    at: float
    label: str


@dataclass(frozen=True)
class Curve:
    """A line in the frame: the pieces that are left of it, as points of a polyline each."""

    style: str
    pieces: tuple[str, ...]
    dots: tuple[Point, ...] = ()

    @property
    def pen(self) -> float:
        return STYLES[self.style][0]

    @property
    def dashes(self) -> str:
        return STYLES[self.style][1]


@dataclass(frozen=True)
class Area:
    """A band in the frame: its outline, and strokes that fill it also where no tint is printed: upright ones, by
    where they stand and between what, and slanted ones from one point to another."""

    outline: str
    strokes: tuple[tuple[float, float, float], ...]
    pattern: str = "upright"
    slants: tuple[tuple[Point, Point], ...] = ()


@dataclass(frozen=True)
class Key:
    """Words for which there was no room in the drawing: `letter` stands there in their stead. Or what a pattern or the
    shape of a mark means."""

    letter: str
    label: str
    curve: Curve | None = None
    pattern: str = ""
    shape: str = ""


@dataclass(frozen=True)
class Sign:
    """A mark of a shape of its own."""

    shape: str
    at: Point


@dataclass(frozen=True)
class Drawn:
    """A plot ready to be written down as SVG. `outside` are the labels of what the axes do not show at all."""

    width: float
    height: float
    frame: Box
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    x_label: tuple[tuple[float, str], ...]
    y_label: tuple[tuple[float, str], ...]
    areas: tuple[Area, ...]
    curves: tuple[Curve, ...]
    dots: tuple[Point, ...]
    words: tuple[Placed, ...]
    keys: tuple[Key, ...]
    outside: tuple[str, ...]
    signs: tuple[Sign, ...] = ()


def drawn(plot: Plot) -> Drawn:
    """The shapes of a plot. Bears everything: an empty axis, no line, points that are no numbers."""
    every = list(_all_points(plot))
    x, y = sound(plot.x, (point[0] for point in every)), sound(plot.y, (point[1] for point in every))
    across, up = ticks(x, TICKS_ACROSS), ticks(y, TICKS_UP)
    y_lines, x_lines = wrapped(plot.y.label, WIDTH, TEXT), wrapped(plot.x.label, WIDTH, TEXT)
    left = max(text_width(label, TEXT) for _, label in up) + TICK + 4
    right = max(8.0, text_width(across[-1][1], TEXT) / 2)
    frame = Box(left, TEXT * (len(y_lines) * LEADING + 0.7), WIDTH - left - right, PLOT_HEIGHT)
    under = frame.bottom + TICK + TEXT * (1 + LEADING)
    scale = Scale(x, y, frame)
    inside = _Inside(scale, Room(frame, TEXT))
    inside.fill(plot)
    return Drawn(
        width=WIDTH,
        height=under + TEXT * (LEADING * len(x_lines) - 0.6),
        frame=frame,
        across=tuple(Tick(scale.across(value), label) for value, label in across),
        up=tuple(Tick(scale.up(value), label) for value, label in up),
        x_label=tuple((under + n * TEXT * LEADING, line) for n, line in enumerate(x_lines)),
        y_label=tuple((TEXT + n * TEXT * LEADING, line) for n, line in enumerate(y_lines)),
        areas=tuple(inside.areas),
        curves=tuple(inside.curves),
        dots=tuple(inside.dots),
        words=tuple(inside.words),
        keys=(*inside.keys, *inside.legend),
        outside=tuple(inside.outside),
        signs=tuple(inside.signs),
    )


# --- axes -----------------------------------------------------------------------------------------------------


def _drawable(value: float) -> bool:
    """A number that an axis can end at; the largest floats leave no room to reckon with."""
    return isfinite(value) and abs(value) <= LARGEST


def sound(axis: Axis, values: Iterable[float]) -> Axis:
    """The axis, or one that can be drawn where its ends are no numbers, the same number or the wrong way round."""
    if _drawable(axis.low) and _drawable(axis.high) and axis.low != axis.high:
        low, high = sorted((axis.low, axis.high))
    else:
        ends = [end for end in (axis.low, axis.high) if _drawable(end)]
        known = ends or [value for value in values if _drawable(value)] or [0.0]
        low, high = min(known), max(known)
    # Two ends that a float can hardly tell apart, from one another or from nothing, have no ticks between them.
    size = max(abs(low), abs(high))
    if high - low <= max(size * 1e-6, SMALLEST):
        room = size * 0.1 if size > SMALLEST else 1.0
        low, high = low - room, high + room
    return Axis(axis.label, low, high, axis.ticks)


def ticks(axis: Axis, wanted: int) -> list[tuple[float, str]]:
    """Values on an axis at a step of 1, 2 or 5 times a power of ten, with their words, two at least; or its own."""
    if given := [(value, label) for value, label in axis.ticks if axis.low <= value <= axis.high]:
        return given
    power = 10.0 ** floor(log10((axis.high - axis.low) / wanted))
    steps = (power / 2, power, 2 * power, 5 * power, 10 * power)
    step = next(step for step in steps if len(_multiples(step, axis)) <= wanted + 1)
    digits = max(0, -floor(log10(step) + 1e-9))
    values = [n * step for n in _multiples(step, axis)]
    if len(values) < 2:
        values = [axis.low, axis.high]
        digits += 1
    return [(min(max(value, axis.low), axis.high), _figure(value, step, digits)) for value in values]


def _multiples(step: float, axis: Axis) -> range:
    return range(ceil(axis.low / step - 1e-9), floor(axis.high / step + 1e-9) + 1)


def _figure(value: float, step: float, digits: int) -> str:
    if abs(value) < step / 1e6:
        return "0"
    if abs(value) >= 1e7 or digits > 8:
        figures = min(max(1, floor(log10(abs(value) / step) + 1e-9) + 1), 12)
        number, _, exponent = f"{value:.{figures - 1}e}".partition("e")
        return f"{number}×10{str(int(exponent)).translate(_RAISED)}".replace("-", "−")
    return f"{value:.{digits}f}".replace("-", "−")


@dataclass(frozen=True)
class Scale:
    """From values on the two axes to places in the drawing."""

    x: Axis
    y: Axis
    frame: Box

    def across(self, value: float) -> float:
        return self.frame.x + _share(value, self.x) * self.frame.width

    def up(self, value: float) -> float:
        return self.frame.bottom - _share(value, self.y) * self.frame.height

    def at(self, point: Point) -> Point | None:
        """Where a point is drawn; None for one that is no number. Far outside the frame it is only about there."""
        x, y = point
        if not (isfinite(x) and isfinite(y)):
            return None
        return self.across(x), self.up(y)


def _share(value: float, axis: Axis) -> float:
    """Where a value lies between the ends: 0 to 1; held within what a float can be reckoned with further."""
    return min(max((value / 2 - axis.low / 2) / (axis.high / 2 - axis.low / 2), -1e4), 1e4)


def _all_points(plot: Plot) -> Iterator[Point]:
    for line in plot.lines:
        yield from line.points
    for band in plot.bands:
        yield from (*band.lower, *band.upper)
    yield from (mark.at for mark in plot.marks)


# --- what lies inside the frame -------------------------------------------------------------------------------


class _Inside:
    """Gathers the shapes. Lines and marks come first, so that words keep off them; words of lines before others."""

    def __init__(self, scale: Scale, room: Room) -> None:
        self.scale, self.room = scale, room
        self.areas: list[Area] = []
        self.curves: list[Curve] = []
        self.dots: list[Point] = []
        self.words: list[Placed] = []
        self.signs: list[Sign] = []
        self.keys: list[Key] = []
        self.legend: list[Key] = []
        self.outside: list[str] = []

    def fill(self, plot: Plot) -> None:
        named_marks: list[tuple[str, Point]] = []
        named_lines: list[tuple[str, list[Point], int]] = []
        for number, line in enumerate(plot.lines):
            pieces = clipped([self.scale.at(point) for point in line.points], self.scale.frame)
            curve = Curve(
                line.style if line.style in STYLES else "this",
                tuple(written(piece) for piece in pieces if len(piece) > 1),
                tuple(piece[0] for piece in pieces if len(piece) == 1),
            )
            self.curves.append(curve)
            for piece in pieces:
                self.room.draw(piece, number)
            if pieces:
                named_lines.append((line.label, along(max(reversed(pieces), key=extent)), number))
            elif line.label:
                self.outside.append(line.label)
        for mark in plot.marks:
            at = self.scale.at(mark.at)
            if at is None or segment(at, at, self.scale.frame) is None:
                self.outside.append(mark.label)
                continue
            if mark.shape:
                self.signs.append(Sign(mark.shape, at))
                self._explain(Key("", mark.means, shape=mark.shape))
            else:
                self.dots.append(at)
            self.room.taken.append(Box(at[0] - DOT - 1, at[1] - DOT - 1, 2 * DOT + 2, 2 * DOT + 2))
            named_marks.append((mark.label, at))
        for label, at in named_marks:
            self._name(label, [at])
        for label, anchors, number in named_lines:
            self._name(label, anchors, number)
        for band in plot.bands:
            middle = self._band(band.lower, band.upper, band.pattern)
            if middle and band.pattern != "upright":
                self._explain(Key("", band.label, pattern=band.pattern))
            elif middle:
                self._name(band.label, middle)
            else:
                self.outside.append(band.label)

    def _name(self, label: str, anchors: list[Point], line: int | None = None) -> None:
        if not label:
            return
        apart = APART if line is not None else DOT + APART
        placed = self.room.place(label, anchors, line=line, apart=apart)
        if placed is None:
            letter = "abcdefghijklmnopqrstuvwxyz"[len(self.keys) % 26]
            placed = self.room.place(letter, anchors, line=line, apart=apart)
            curve = None if line is None else self.curves[line]
            self.keys.append(Key(letter if placed else "", label, curve))
        if placed:
            self.words.append(placed)

    def _explain(self, key: Key) -> None:
        if key.label and key not in self.legend:
            self.legend.append(key)

    def _band(self, lower: Sequence[Point], upper: Sequence[Point], pattern: str) -> list[Point]:
        """Adds the band; answers points in its middle for its words, none where it is outside the frame."""
        frame = self.scale.frame
        low = [at for at in map(self.scale.at, lower) if at]
        high = [at for at in map(self.scale.at, upper) if at]
        outline = cut([*low, *reversed(high)], frame)
        strokes = []
        for n in range(1, ceil(frame.width / HATCH)):
            x = frame.x + n * HATCH
            ends = height_at(x, low), height_at(x, high)
            if ends[0] is not None and ends[1] is not None:
                top, bottom = (min(max(end, frame.y), frame.bottom) for end in sorted((ends[0], ends[1])))
                if bottom - top > 0.5:
                    strokes.append((x, top, bottom))
        if len(outline) > 2:
            leans = {"cross": (1, -1), "slant": (1,)}.get(pattern, ())
            slants = [one for rise in leans for one in slanted(outline, HATCH, rise)]
            upright = tuple(strokes) if pattern == "upright" else ()
            self.areas.append(Area(written(outline), upright, pattern, tuple(slants)))
        middle = [(x, (top + bottom) / 2) for x, top, bottom in strokes] or outline[:1]
        count = len(middle) - 1
        return [middle[round(count * share)] for share in (0.5, 0.3, 0.7, 0.1, 0.9)] if middle else []
