"""Where the words of a plot go: beside the end of their line, over nothing else; where there is no room, a letter.

Lengths are in units of the drawing, y downwards. The width of a text is estimated, a little too wide rather than
too narrow, since nothing here can measure a font.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import hypot

from workshop.engineering.plot import Point

# Of the type size: the width of an ordinary letter of the app's font, and how far a line of text is from the next.
LETTER, LEADING = 0.56, 1.2
# How far words keep from the line that they name.
APART = 4.0
# The drawing is looked at in squares of this size, to know which of them a line runs through.
SQUARE = 4.0
# The widest words before they are broken over two lines, as a share of the frame; what they may cover at most.
WIDEST, MOST = 0.6, 20.0
# Places along a line that are tried for its words, from its end on.
ALONG = (1.0, 0.9, 0.78, 0.64, 0.5, 0.36, 0.22, 0.1, 0.0)


@dataclass(frozen=True)
class Box:
    """A rectangle: `x`, `y` its upper left corner."""

    x: float
    y: float
    width: float
    height: float

    def meets(self, other: Box) -> bool:
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )

    def holds(self, other: Box) -> bool:
        return (
            self.x <= other.x
            and self.y <= other.y
            and other.x + other.width <= self.x + self.width
            and other.y + other.height <= self.y + self.height
        )

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height


def text_width(text: str, size: float) -> float:
    return len(text) * LETTER * size


def wrapped(text: str, width: float, size: float) -> tuple[str, ...]:
    """A text in lines of at most this width; a word longer than that stands alone in its line."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return tuple(lines)


@dataclass(frozen=True)
class Placed:
    """Words in their place: lines of text from the left edge of `box`, the first baseline at `baseline`."""

    lines: tuple[str, ...]
    box: Box
    size: float

    @property
    def baselines(self) -> list[tuple[float, str]]:
        first = self.box.y + self.size * 0.95
        return [(first + n * self.size * LEADING, line) for n, line in enumerate(self.lines)]


@dataclass
class Room:
    """The frame of a plot, with what is drawn in it and the words that have their place."""

    frame: Box
    size: float
    # By line and row of squares: the squares that it runs through, a bit for each.
    lines: dict[int, dict[int, int]] = field(default_factory=dict)
    taken: list[Box] = field(default_factory=list)

    def draw(self, points: Sequence[Point], line: int) -> None:
        """Line number so-and-so runs through these points: words keep off it, and off others more."""
        rows = self.lines.setdefault(line, {})
        for x, y in steps(points, SQUARE):
            row = int(y // SQUARE)
            rows[row] = rows.get(row, 0) | 1 << int(x // SQUARE)

    def place(
        self, text: str, anchors: Iterable[Point], *, line: int | None = None, apart: float = APART
    ) -> Placed | None:
        """The words beside the first of these points where they cover nothing and lie at no other line; else where
        they do so least; None where they would lie on other words. `line` is the line that they name.
        """
        own = self.lines.get(line, {}) if line is not None else {}
        others: dict[int, int] = {}
        for number, rows in self.lines.items():
            if number != line:
                for row, squares in rows.items():
                    others[row] = others.get(row, 0) | squares
        lines = wrapped(text, self.frame.width * WIDEST, self.size)
        width = max((text_width(line, self.size) for line in lines), default=0.0)
        height = len(lines) * self.size * LEADING
        best: tuple[float, Box] | None = None
        for rank, anchor in enumerate(anchors):
            for box in _around(anchor, width, height, apart):
                if not self.frame.holds(box) or any(box.meets(other) for other in self.taken):
                    continue
                cost = _cost(box, own, others) + rank
                if best is None or cost < best[0]:
                    best = (cost, box)
            if best is not None and best[0] <= rank + 1:
                break
        if best is None or best[0] > MOST:
            return None
        self.taken.append(best[1])
        return Placed(lines, best[1], self.size)


def _cost(box: Box, own: dict[int, int], others: dict[int, int]) -> float:
    """What words in this box would cover of lines, and how near they come to a line that is not theirs."""
    left, right = int(box.x // SQUARE), int(box.right // SQUARE)
    top, bottom = int(box.y // SQUARE), int(box.bottom // SQUARE)
    across = (1 << right + 1) - (1 << left)
    about = (1 << right + 2) - (1 << max(left - 1, 0))
    cost = 0.0
    for row in range(top - 1, bottom + 2):
        near = (others.get(row, 0) & about).bit_count() * 0.5
        if top <= row <= bottom:
            near += (others.get(row, 0) & across).bit_count() + (own.get(row, 0) & across).bit_count()
        cost += near
    return cost


def _around(anchor: Point, width: float, height: float, apart: float) -> Iterator[Box]:
    """Places for words at a point: before it, after it, above and below, the likeliest first."""
    x, y = anchor
    for left in (x - width, x - width / 2, x):
        yield Box(left, y - height - apart, width, height)
        yield Box(left, y + apart, width, height)
    yield Box(x + apart, y - height / 2, width, height)
    yield Box(x - width - apart, y - height / 2, width, height)


def steps(points: Sequence[Point], length: float) -> Iterator[Point]:
    """Points along a line, at most `length` apart, its own points among them."""
    for (x, y), (to_x, to_y) in pairwise(points):
        count = max(1, int(hypot(to_x - x, to_y - y) / length) + 1)
        for n in range(count):
            yield x + (to_x - x) * n / count, y + (to_y - y) * n / count
    if points:
        yield points[-1]


def along(points: Sequence[Point]) -> list[Point]:
    """The points of a line that its words may stand at, from its end on."""
    finely = list(steps(points, SQUARE))
    return [finely[round((len(finely) - 1) * share)] for share in ALONG] if finely else []
