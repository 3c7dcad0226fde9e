"""Tightening patterns: in which order, where to draw them, what comes next.

The maker's sequence goes first; the ones here are defaults (common practice, no source: opposite
fasteners on a circle, from the middle outwards on a line or grid). Fasteners are numbered from 1: round
the circle, along the line, or row by row from the top left.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum

from workshop.engineering.errors import EngineeringError

MOST_FASTENERS = 200


class PatternError(EngineeringError):
    """A sequence that isn't a permutation, or a pattern that can't be drawn."""


class Pattern(StrEnum):
    CIRCLE = "circle"
    LINE = "line"
    GRID = "grid"
    FREE = "free"


@dataclass(frozen=True)
class Position:
    """Where a fastener is drawn: x to the right, y downwards, both from 0 to 1."""

    fastener: int
    x: float
    y: float


def _count(n: int) -> int:
    if not 1 <= n <= MOST_FASTENERS:
        raise PatternError(f"A pattern has 1 to {MOST_FASTENERS} fasteners.")
    return n


def _shape(n: int, rows: int | None, cols: int | None) -> tuple[int, int]:
    """Rows and columns that hold n fasteners; the missing one is worked out."""
    if rows is None and cols is None:
        raise PatternError("Give the rows and columns of the grid.")
    if (rows is not None and rows < 1) or (cols is not None and cols < 1):
        raise PatternError("A grid has at least one row and one column.")
    rows = rows or math.ceil(n / (cols or 1))
    cols = cols or math.ceil(n / rows)
    if rows * cols != n:
        raise PatternError(f"{rows} rows of {cols} make {rows * cols} fasteners, not {n}.")
    return rows, cols


def star_sequence(n: int) -> tuple[int, ...]:
    """Opposite fasteners one after the other: 4 → 1-3-2-4, 5 → 1-3-5-2-4, 6 → 1-4-2-5-3-6."""
    _count(n)
    if n <= 2:
        return tuple(range(1, n + 1))
    if n % 2:
        # Nearly half round each time; (n-1)/2 and n have no common factor, so it meets all of them.
        step = (n - 1) // 2
        return tuple(i * step % n + 1 for i in range(n))
    half = n // 2
    return tuple(f for first in star_sequence(half) for f in (first, first + half))


def cross_sequence(points: Sequence[Sequence[float]]) -> tuple[int, ...]:
    """Opposite fasteners one after the other where they stand anywhere: round their middle, then as on a
    circle.
    """
    n = _count(len(points))
    x, y = (sum(point[axis] for point in points) / n for axis in (0, 1))

    def angle(i: int) -> float:
        """From the top and clockwise, as a circle is numbered; rounded, so that the top is not a whole
        turn.
        """
        return round(math.atan2(points[i][0] - x, y - points[i][1]), 9) % math.tau

    round_it = sorted(range(n), key=angle)
    return tuple(round_it[place - 1] + 1 for place in star_sequence(n))


def _line_sequence(n: int) -> tuple[int, ...]:
    middle = (n + 1) / 2
    return tuple(sorted(range(1, n + 1), key=lambda f: (abs(f - middle), f)))


def _grid_sequence(rows: int, cols: int) -> tuple[int, ...]:
    """Rings about the middle, each gone round clockwise from its top left."""

    def place(fastener: int) -> tuple[int, float]:
        row, col = divmod(fastener - 1, cols)
        # Doubled, so that the middle of an even number is a whole number and rings compare exactly.
        x, y = 2 * col - (cols - 1), 2 * row - (rows - 1)
        return x * x + y * y, math.atan2(y, x)

    return tuple(sorted(range(1, rows * cols + 1), key=place))


def default_sequence(
    pattern: Pattern, n: int, rows: int | None = None, cols: int | None = None
) -> tuple[int, ...]:
    """The order used where the maker gives none; `FREE` keeps the numbers' own order."""
    _count(n)
    match pattern:
        case Pattern.CIRCLE:
            return star_sequence(n)
        case Pattern.LINE:
            return _line_sequence(n)
        case Pattern.GRID:
            return _grid_sequence(*_shape(n, rows, cols))
        case _:
            return tuple(range(1, n + 1))


def positions(
    pattern: Pattern, n: int, rows: int | None = None, cols: int | None = None
) -> tuple[Position, ...]:
    """Where each fastener is drawn in a unit square, with a margin for its mark.

    A circle starts at the top and goes clockwise; `FREE` fills rows of a near-square in order.
    """
    _count(n)
    if pattern is Pattern.CIRCLE:
        return tuple(
            Position(
                f, 0.5 + 0.4 * math.sin(math.tau * (f - 1) / n), 0.5 - 0.4 * math.cos(math.tau * (f - 1) / n)
            )
            for f in range(1, n + 1)
        )
    if pattern is Pattern.GRID:
        rows, cols = _shape(n, rows, cols)
    elif pattern is Pattern.LINE:
        rows, cols = 1, n
    else:
        cols = math.ceil(math.sqrt(n))
        rows = math.ceil(n / cols)
    return tuple(
        Position(f, ((f - 1) % cols + 0.5) / cols, ((f - 1) // cols + 0.5) / rows) for f in range(1, n + 1)
    )


def check_sequence(sequence: Sequence[int], n: int | None = None) -> tuple[int, ...]:
    """The sequence as a tuple, if it names each fastener from 1 on exactly once; else `PatternError`."""
    n = _count(len(sequence) if n is None else n)
    if missing := sorted(set(range(1, n + 1)) - set(sequence)):
        raise PatternError(f"The sequence leaves out {', '.join(map(str, missing))}.")
    if extra := sorted(set(sequence) - set(range(1, n + 1))):
        raise PatternError(f"The sequence names {', '.join(map(str, extra))}, but there are {n} fasteners.")
    if twice := sorted({f for f in sequence if list(sequence).count(f) > 1}):
        raise PatternError(f"The sequence names {', '.join(map(str, twice))} more than once.")
    return tuple(sequence)


def next_fastener(sequence: Sequence[int], done: Collection[int]) -> int | None:
    """The first fastener of the sequence that isn't done in this stage; None when all are."""
    order = check_sequence(sequence)
    return next((f for f in order if f not in done), None)


def out_of_sequence(sequence: Sequence[int], done: Collection[int], fastener: int) -> bool:
    """Whether this fastener comes before its turn in this stage. One that is done already is a repeat."""
    if fastener not in check_sequence(sequence):
        raise PatternError(f"There is no fastener {fastener} in this pattern.")
    return fastener not in done and fastener != next_fastener(sequence, done)
