"""Cutting lines and areas at the frame of a drawing, so that no coordinate lies outside it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import ceil, floor

from workshop.engineering.plot import Point
from workshop.engineering.plot_labels import Box


def clipped(points: Sequence[Point | None], frame: Box) -> list[list[Point]]:
    """What is left of a line inside the frame, in pieces of one point or more; a None breaks the line."""
    pieces: list[list[Point]] = []
    before: Point | None = None
    for point in points:
        if point is not None:
            part = segment(before or point, point, frame)
            if part is not None:
                start, end = part
                if not (before and pieces and pieces[-1][-1] == start):
                    pieces.append([start])
                if end != start:
                    pieces[-1].append(end)
        before = point
    return pieces


def segment(start: Point, end: Point, frame: Box) -> tuple[Point, Point] | None:
    """The part of a straight line inside the frame (the way of Liang and Barsky); None where there is none."""
    (x, y), (dx, dy) = start, (end[0] - start[0], end[1] - start[1])
    enter, leave = 0.0, 1.0
    for run, room in (
        (-dx, x - frame.x),
        (dx, frame.right - x),
        (-dy, y - frame.y),
        (dy, frame.bottom - y),
    ):
        if run == 0:
            if room < 0:
                return None
        elif run < 0:
            enter = max(enter, room / run)
        else:
            leave = min(leave, room / run)
    if enter > leave:
        return None
    first = start if enter == 0 else _held((x + enter * dx, y + enter * dy), frame)
    last = end if leave == 1 else _held((x + leave * dx, y + leave * dy), frame)
    return first, last


def _held(point: Point, frame: Box) -> Point:
    return min(max(point[0], frame.x), frame.right), min(max(point[1], frame.y), frame.bottom)


def height_at(x: float, points: Sequence[Point]) -> float | None:
    """The y of a line at x, its points in order of x; None where it does not reach."""
    for (from_x, from_y), (to_x, to_y) in pairwise(points):
        if from_x <= x <= to_x:
            return from_y if to_x == from_x else from_y + (to_y - from_y) * (x - from_x) / (to_x - from_x)
    return None


def extent(piece: Sequence[Point]) -> float:
    """How much of the drawing a piece of a line takes: its words go to the longest."""
    return sum(abs(b[0] - a[0]) + abs(b[1] - a[1]) for a, b in pairwise(piece))


def cut(corners: Sequence[Point], frame: Box) -> list[Point]:
    """A closed shape cut at the four sides of the frame (the way of Sutherland and Hodgman)."""
    left = list(corners)
    for axis, side, sign in ((0, frame.x, 1), (0, frame.right, -1), (1, frame.y, 1), (1, frame.bottom, -1)):
        found: list[Point] = []
        for n, end in enumerate(left):
            start = left[n - 1]
            from_side, to_side = sign * (start[axis] - side), sign * (end[axis] - side)
            if (from_side < 0) != (to_side < 0):
                share = from_side / (from_side - to_side)
                crossing = [start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share]
                crossing[axis] = side
                found.append((crossing[0], crossing[1]))
            if to_side >= 0:
                found.append(end)
        left = found
    return [_held(corner, frame) for corner in left]


def slanted(outline: Sequence[Point], apart: float, rise: int) -> list[tuple[Point, Point]]:
    """Strokes at 45° that fill a closed shape, this far apart: `rise` 1 or -1 is the way they lean.

    Each is cut at the sides of the shape; a side counts its one end and not the other, so that no stroke runs on.
    """
    if len(outline) < 3:
        return []
    # Along the way x + rise·y is the same: the shape's own extent in it says where strokes are needed.
    across = [x + rise * y for x, y in outline]
    found: list[tuple[Point, Point]] = []
    for n in range(ceil(min(across) / apart), floor(max(across) / apart) + 1):
        place = n * apart
        met: list[float] = []
        for index, (x, y) in enumerate(outline):
            from_x, from_y = outline[index - 1]
            off, off_from = x + rise * y - place, from_x + rise * from_y - place
            if (off < 0) != (off_from < 0):
                met.append(from_x + (x - from_x) * off_from / (off_from - off))
        met.sort()
        found += [
            ((start, rise * (place - start)), (end, rise * (place - end)))
            for start, end in zip(met[::2], met[1::2], strict=True)
            if end > start
        ]
    return found


def written(points: Sequence[Point]) -> str:
    """Points as SVG's polyline and polygon take them."""
    return " ".join(f"{x:.5g},{y:.5g}" for x, y in points)
