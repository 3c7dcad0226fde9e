"""A plot as plain data: axes, lines, bands and limits, with the table of the same for those who can't see it.

How it is drawn is `plot_drawing`: SVG made on the server, alike on the screen and on paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Point = tuple[float, float]


@dataclass(frozen=True)
class Axis:
    """`label` with the unit: "Deceleration, g". `low` and `high` in that unit.

    `ticks`: values with their words, where round figures would say nothing (years); empty: they are worked out.
    """

    label: str
    low: float
    high: float
    ticks: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class Line:
    """A curve. `style`: "this" (this car, strong), "factory" (dashed), "limit" (dotted), "ideal" (thin).

    A point that is no number breaks it: a gap is drawn as a gap.
    """

    label: str
    points: tuple[Point, ...]
    style: str = "this"


@dataclass(frozen=True)
class Band:
    """An area between two curves over the same x values.

    With the pattern "upright" it is what is allowed or wanted. The others fill an amount, a column or a stack ("solid",
    "cross", "slant", "plain"): they have an edge, and are named once below the drawing.
    """

    label: str
    lower: tuple[Point, ...]
    upper: tuple[Point, ...]
    pattern: str = "upright"


@dataclass(frozen=True)
class Mark:
    """One point with a word: a measured reading, where two curves cross.

    `shape` in place of the dot: "diamond", "triangle", "square", "cross", "bar". What it `means` is said once below.
    """

    label: str
    at: Point
    shape: str = ""
    means: str = ""


@dataclass(frozen=True)
class Plot:
    """`summary` says in a sentence what one sees: it is the text for those who can't, and the caption."""

    slug: str
    title: str
    x: Axis
    y: Axis
    summary: str
    lines: tuple[Line, ...] = ()
    bands: tuple[Band, ...] = ()
    marks: tuple[Mark, ...] = ()
    # A few rows of the same, as texts: the table beside the drawing.
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()

    def record(self) -> dict[str, Any]:
        """The plot as plain data, its points to five figures: kept with a result and drawn again from it."""

        def points(of: tuple[Point, ...]) -> list[list[str]]:
            return [[f"{x:.5g}", f"{y:.5g}"] for x, y in of]

        return {
            "slug": self.slug,
            "title": self.title,
            "x": _axis(self.x),
            "y": _axis(self.y),
            "summary": self.summary,
            "lines": [
                {"label": one.label, "style": one.style, "points": points(one.points)} for one in self.lines
            ],
            "bands": [
                {"label": one.label, "lower": points(one.lower), "upper": points(one.upper)}
                | ({"pattern": one.pattern} if one.pattern != "upright" else {})
                for one in self.bands
            ],
            "marks": [
                {"label": one.label, "at": points((one.at,))[0]}
                | ({"shape": one.shape, "means": one.means} if one.shape else {})
                for one in self.marks
            ],
            "head": list(self.head),
            "rows": [list(row) for row in self.rows],
        }

    @classmethod
    def from_record(cls, data: dict[str, Any]) -> Plot:
        def points(rows: list[list[str]]) -> tuple[Point, ...]:
            return tuple((float(x), float(y)) for x, y in rows)

        return cls(
            slug=data["slug"],
            title=data["title"],
            x=_axis_of(data["x"]),
            y=_axis_of(data["y"]),
            summary=data["summary"],
            lines=tuple(Line(one["label"], points(one["points"]), one["style"]) for one in data["lines"]),
            bands=tuple(
                Band(
                    one["label"],
                    points(one["lower"]),
                    points(one["upper"]),
                    one.get("pattern", "upright"),
                )
                for one in data["bands"]
            ),
            marks=tuple(
                Mark(one["label"], points([one["at"]])[0], one.get("shape", ""), one.get("means", ""))
                for one in data["marks"]
            ),
            head=tuple(data["head"]),
            rows=tuple(tuple(row) for row in data["rows"]),
        )


def _axis(axis: Axis) -> dict[str, Any]:
    said: dict[str, Any] = {"label": axis.label, "low": f"{axis.low:.5g}", "high": f"{axis.high:.5g}"}
    return said | ({"ticks": [[f"{at:.5g}", words] for at, words in axis.ticks]} if axis.ticks else {})


def _axis_of(data: dict[str, Any]) -> Axis:
    given = tuple((float(at), words) for at, words in data.get("ticks", ()))
    return Axis(data["label"], float(data["low"]), float(data["high"]), given)
