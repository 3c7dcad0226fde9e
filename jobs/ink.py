"""Signatures drawn on the screen: lines of points, checked, kept small, and drawn again as an SVG path.

A signature is text of the form `[[x, y, x, y, …], …]`: one list for each line, whole numbers in a field that is
`WIDTH` by `HEIGHT` whatever the size of the screen. The forms of points say nothing of speed or pressure, which
would be more about a person than a signature on paper.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from itertools import pairwise

from django.core.exceptions import ValidationError

WIDTH, HEIGHT = 2000, 700
# A long name with flourishes is some 600 points; what is far beyond that was not written by a hand.
MOST_CHARACTERS = 48_000
MOST_LINES = 200
MOST_POINTS = 5_000
# About a sixth of the field's width drawn, and not all of it on one spot.
LEAST_LENGTH = 300
LEAST_SPREAD = 120
# Around what is drawn, when it is printed; and the least that is shown, so that initials are not blown up.
MARGIN = 30
LEAST_SHOWN = (900, 315)


@dataclass(frozen=True)
class Drawing:
    """What SVG needs: `path` for its d attribute, `box` for its viewBox."""

    path: str
    box: str


def checked(text: str) -> str:
    """The signature in its canonical text. Refuses, in a sentence, what is empty, too little, too much or damaged."""
    if not text.strip():
        raise ValidationError(
            "There is no signature yet. Sign in the field with a finger, a pen or the mouse, or choose another way.",
            code="no_ink",
        )
    if len(text) > MOST_CHARACTERS:
        raise ValidationError(
            f"That is more than a signature: {len(text)} characters of drawing, {MOST_CHARACTERS} at most. Clear the "
            "field and sign again.",
            code="too_much_ink",
        )
    lines = _read(text)
    points = sum(len(line) // 2 for line in lines)
    if len(lines) > MOST_LINES or points > MOST_POINTS:
        raise ValidationError(
            f"That is more than a signature: {len(lines)} lines with {points} points, {MOST_LINES} lines and "
            f"{MOST_POINTS} points at most. Clear the field and sign again.",
            code="too_much_ink",
        )
    if _length(lines) < LEAST_LENGTH or _spread(lines) < LEAST_SPREAD:
        raise ValidationError(
            "That is too little for a signature: a dot or a short line could be a slip of the hand. Clear the field "
            "and sign with your name or your initials.",
            code="too_little_ink",
        )
    return json.dumps(lines, separators=(",", ":"))


def drawing(text: str) -> Drawing:
    """The SVG path of a stored signature, and the part of the field that holds it."""
    lines = _read(text)
    xs = [x for line in lines for x in line[::2]]
    ys = [y for line in lines for y in line[1::2]]
    left, right = _shown(min(xs), max(xs), LEAST_SHOWN[0])
    top, bottom = _shown(min(ys), max(ys), LEAST_SHOWN[1])
    return Drawing(
        path=" ".join(_path(line) for line in lines), box=f"{left} {top} {right - left} {bottom - top}"
    )


def _read(text: str) -> list[list[int]]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, list) or not found or not all(_is_line(line) for line in found):
        raise ValidationError(
            "The signature did not arrive whole. Clear the field and sign again.", code="damaged_ink"
        )
    return found


def _is_line(line: object) -> bool:
    return (
        isinstance(line, list)
        and len(line) >= 2
        and len(line) % 2 == 0
        # By type: True is an int too, and no coordinate.
        and all(type(each) is int for each in line)
        and all(0 <= x <= WIDTH for x in line[::2])
        and all(0 <= y <= HEIGHT for y in line[1::2])
    )


def _pairs(line: list[int]) -> list[tuple[int, int]]:
    return list(zip(line[::2], line[1::2], strict=True))


def _length(lines: list[list[int]]) -> float:
    """How far the pen went, all lines together."""
    return sum(
        math.dist(a, b) for line in lines for a, b in zip(_pairs(line), _pairs(line)[1:], strict=False)
    )


def _spread(lines: list[list[int]]) -> int:
    """The longer side of what is drawn."""
    xs = [x for line in lines for x in line[::2]]
    ys = [y for line in lines for y in line[1::2]]
    return max(max(xs) - min(xs), max(ys) - min(ys))


def _shown(low: int, high: int, least: int) -> tuple[int, int]:
    """The stretch to show of one axis: with a margin, and not less than `least`, around the middle."""
    low, high = low - MARGIN, high + MARGIN
    missing = max(0, least - (high - low))
    return low - missing // 2, high + missing - missing // 2


def _path(line: list[int]) -> str:
    """Through the middles between the points, each point pulling the curve: a hand draws no corners."""
    points = _pairs(line)
    (x, y), *rest = points
    if not rest:
        return f"M{x} {y}h1"
    said = [f"M{x} {y}"]
    for (ax, ay), (bx, by) in pairwise(rest):
        said.append(f"Q{ax} {ay} {_half(ax + bx)} {_half(ay + by)}")
    said.append(f"L{rest[-1][0]} {rest[-1][1]}")
    return "".join(said)


def _half(value: int) -> str:
    return f"{value // 2}.5" if value % 2 else str(value // 2)
