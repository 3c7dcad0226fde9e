"""How a pattern is drawn: a box, a place and a size for each fastener, and the way that the sequence takes.

Lengths are in the units of the drawing, in which the long side of the pattern is 100. A fastener of size 1
is a
hexagon 15.6 high with room for a ring and its number in the sequence; `SPACING` is what it then needs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import hypot

from workshop.engineering.patterns import Pattern, Position, positions

LONG = 100.0
SPACING = 22.0
LARGEST, SMALLEST = 1.3, 0.32
NEXT_AT_LEAST = 0.8
# More than these and the way through them is a tangle: the numbers of the sequence say it alone.
MOST_ON_THE_WAY = 16
MOST_CELL = 34.0
MARGIN = 14.0


@dataclass(frozen=True)
class Spot:
    """One fastener: where it is drawn, and its turn in the sequence (0: it has none)."""

    fastener: int
    x: float
    y: float
    turn: int


@dataclass(frozen=True)
class Drawing:
    """`size` scales a fastener, `next_size` the one that is next, which is to be seen from a metre away."""

    width: float
    height: float
    size: float
    spots: tuple[Spot, ...]
    sequence: tuple[int, ...]

    @property
    def next_size(self) -> float:
        return round(max(self.size * 1.15, min(NEXT_AT_LEAST, self.size * 1.6)), 3)

    @property
    def view_box(self) -> str:
        margin = MARGIN * max(self.size, 0.55)
        box = (-margin, -margin, self.width + 2 * margin, self.height + 2 * margin)
        return " ".join(f"{value:.4g}" for value in box)

    @property
    def way(self) -> str:
        """Points of a line through the fasteners in their sequence; empty for too few or too many of them."""
        if not 3 <= len(self.sequence) <= MOST_ON_THE_WAY:
            return ""
        at = {spot.fastener: spot for spot in self.spots}
        return " ".join(f"{at[n].x:.4g},{at[n].y:.4g}" for n in self.sequence if n in at)


def drawn(
    pattern: Pattern,
    n: int,
    rows: int | None = None,
    cols: int | None = None,
    *,
    points: Sequence[Sequence[float]] = (),
    sequence: Sequence[int] = (),
) -> Drawing:
    """The drawing of a pattern. `points` are free positions from 0 to 1, y downwards; without them `FREE` is drawn
    in rows. Raises `PatternError` where the shape does not hold n fasteners.
    """
    if pattern is Pattern.FREE and len(points) == n:
        found = tuple(Position(number, float(x), float(y)) for number, (x, y) in enumerate(points, 1))
        width = height = LONG
    elif n == 1:
        found, width, height = (Position(1, 0.5, 0.5),), MOST_CELL, MOST_CELL
    else:
        found = positions(pattern, n, rows, cols)
        width, height = (LONG, LONG) if pattern is Pattern.CIRCLE else _extent(found)
    turn = {fastener: place for place, fastener in enumerate(sequence, 1)}
    spots = tuple(
        Spot(one.fastener, one.x * width, one.y * height, turn.get(one.fastener, 0)) for one in found
    )
    return Drawing(width, height, _size(spots), spots, tuple(sequence))


def _extent(found: tuple[Position, ...]) -> tuple[float, float]:
    """Of rows and columns: as much room across as along."""
    across, down = len({one.x for one in found}), len({one.y for one in found})
    cell = min(LONG / max(across, down), MOST_CELL)
    return cell * across, cell * down


def _size(spots: tuple[Spot, ...]) -> float:
    nearest = min((hypot(a.x - b.x, a.y - b.y) for a, b in combinations(spots, 2)), default=SPACING * LARGEST)
    return round(min(max(nearest / SPACING, SMALLEST), LARGEST), 3)
