"""Wear over distance: the line through the readings, and when it reaches a limit, with how sure that is.

Ordinary least squares; the interval is the inverse prediction of a straight line (the distances at which a single
reading may lie on the limit, 95 %), with Student's t. Loops over points run on plain floats: distances in km,
values in the reading's own unit, as the caller says. Sources: NIST/SEMATECH e-Handbook of Statistical Methods,
4.1.4.1 and 4.5 (from memory); the uncertainty of a scale's steps JCGM 100:2008, 4.3.7 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from workshop.engineering.errors import EngineeringError
from workshop.engineering.plot import Axis, Band, Line, Mark, Plot, Point
from workshop.engineering.quantities import Quantity, quantity

CONFIDENCE = 0.95
LEAST_READINGS = 3
# A value that comes back by more than this share of the largest one is a new part (common practice, no source).
RENEWAL_SHARE = 0.05


class TrendError(EngineeringError):
    """Readings that no line can be laid through."""


@dataclass(frozen=True)
class Reading:
    """`at` in km, `value` in the trend's unit."""

    at: float
    value: float


@dataclass(frozen=True)
class Fit:
    """value = `start` + `rate` · km. `scatter` is the residual standard deviation, at least that of the steps read.

    `middle` and `spread` are the mean and the sum of squares of the distances about it.
    """

    start: float
    rate: float
    scatter: float
    readings: int
    middle: float
    spread: float

    def at(self, km: float) -> float:
        return self.start + self.rate * km

    @property
    def t(self) -> float:
        """Student's t for a two-sided 95 % with n − 2 degrees of freedom."""
        return t_quantile((1 + CONFIDENCE) / 2, self.readings - 2)

    def margin(self, km: float) -> float:
        """Half the width of the 95 % prediction band at a distance: where a single reading is expected."""
        wide = 1 + 1 / self.readings + (km - self.middle) ** 2 / self.spread
        return self.t * self.scatter * math.sqrt(wide)

    @property
    def rate_margin(self) -> float:
        """Half the width of the 95 % interval of the rate."""
        return self.t * self.scatter / math.sqrt(self.spread)


def fit(readings: Sequence[Reading], step: float = 0.0) -> Fit:
    """The least-squares line. `step` is the smallest step of the readings: three that lie on a line by chance are
    still no more exact than that. Refuses fewer than three, or all at one distance, with `TrendError`."""
    n = len(readings)
    if n < LEAST_READINGS:
        raise TrendError(f"A trend needs {LEAST_READINGS} readings of one part; there {_are(n)}.")
    middle = math.fsum(r.at for r in readings) / n
    mean = math.fsum(r.value for r in readings) / n
    spread = math.fsum((r.at - middle) ** 2 for r in readings)
    if spread <= 0:
        raise TrendError("All readings were taken at one distance: there is no trend in them.")
    rate = math.fsum((r.at - middle) * (r.value - mean) for r in readings) / spread
    start = mean - rate * middle
    left = math.fsum((r.value - mean - rate * (r.at - middle)) ** 2 for r in readings)
    scatter = max(math.sqrt(left / (n - 2)), step / math.sqrt(12))
    return Fit(start, rate, scatter, n, middle, spread)


def _are(n: int) -> str:
    return "is none" if n == 0 else "is one" if n == 1 else f"are {n}"


@dataclass(frozen=True)
class Forecast:
    """Where the line meets the limit, km from the last reading; None: it never does so going this way.

    `earliest` and `latest` are the 95 % interval, never below zero; `latest` None: no end to it can be given.
    `reached`: the last reading is at the limit or past it.
    """

    left: float | None
    earliest: float | None
    latest: float | None
    reached: bool


def forecast(line: Fit, last: Reading, limit: float, *, falling: bool) -> Forecast:
    """When the readings reach a limit. `falling`: the part wears down to it; otherwise play or run-out grows to it."""
    reached = last.value <= limit if falling else last.value >= limit
    if reached:
        return Forecast(0.0, 0.0, 0.0, True)
    if line.rate == 0 or (line.rate < 0) != falling:
        return Forecast(None, None, None, False)
    left = (limit - line.start) / line.rate - last.at
    earliest, latest = _inverse(line, limit)
    return Forecast(
        max(0.0, left),
        max(0.0, (earliest - last.at)) if earliest is not None else 0.0,
        max(0.0, (latest - last.at)) if latest is not None else None,
        False,
    )


def _inverse(line: Fit, limit: float) -> tuple[float | None, float | None]:
    """The distances between which a reading may lie on the limit: the roots of (limit − line)² = margin².

    (None, None) where the rate can't be told from none: then every distance is possible.
    """
    ts = (line.t * line.scatter) ** 2
    off = limit - line.at(line.middle)
    a = line.rate**2 - ts / line.spread
    if a <= 0:
        return None, None
    c = off**2 - ts * (1 + 1 / line.readings)
    # With a > 0 the two branches of the band cross the limit once each, so there are always two roots.
    root = math.sqrt(max(0.0, (line.rate * off) ** 2 - a * c))
    ends = sorted(((line.rate * off - root) / a, (line.rate * off + root) / a))
    return line.middle + ends[0], line.middle + ends[1]


def parts_of(readings: Sequence[Reading], *, falling: bool, step: float = 0.0) -> list[list[Reading]]:
    """The readings part by part, oldest first: a value that comes back by more than 5 % of the largest one, and by
    more than three steps of the scale, is a new part's. `readings` in order of distance."""
    largest = max((abs(r.value) for r in readings), default=0.0)
    jump = max(RENEWAL_SHARE * largest, 3 * step) * (1 + 1e-9)
    found: list[list[Reading]] = []
    for reading in readings:
        back = 0.0
        if found:
            before = found[-1][-1].value
            back = reading.value - before if falling else before - reading.value
        if not found or back > jump:
            found.append([])
        found[-1].append(reading)
    return found


def step_of(values: Sequence[float]) -> float:
    """The smallest decimal step in which these values were read: 12, 11.4 and 10.9 were read in tenths."""
    for decimals in range(4):
        if all(abs(value - round(value, decimals)) < 1e-9 * max(1.0, abs(value)) for value in values):
            return 10.0**-decimals
    return 1e-4


def wear_rate(line: Fit, value_unit: str) -> Quantity:
    """The rate of a line of lengths as wear over distance, positive either way."""
    found: Quantity = quantity(abs(line.rate), value_unit) / quantity(1, "km")
    return found


def kilometres(km: float, *, downwards: bool = False) -> str:
    """A distance ahead as people say it: two figures, for it is no more exact than that.

    `downwards`: what is left is never said to be more than was worked out.
    """
    if km < 1:
        return "0 km"
    digits = 1 - math.floor(math.log10(km))
    if downwards:
        # A hair for what floats leave of a round number.
        step = 10.0**-digits if digits < 0 else 1.0
        return f"{math.floor(km / step * (1 + 1e-9)) * step:.0f} km"
    return f"{round(km, digits):.0f} km"


def forecast_words(ahead: Forecast, *, falling: bool) -> str:
    """One sentence: how far to the limit, and between what."""
    if ahead.reached:
        return "The last reading is at the limit or past it."
    if ahead.left is None:
        way = "wear down" if falling else "grow"
        return f"These readings do not {way}: they say nothing of when the limit is reached."
    text = f"At this rate the limit is reached in about {kilometres(ahead.left, downwards=True)}"
    if ahead.latest is None:
        return f"{text}, but the readings scatter so much that it may be any time. Measure again."
    low, high = kilometres(ahead.earliest or 0.0, downwards=True), kilometres(ahead.latest)
    return f"{text}; by the scatter of the readings between {low} and {high} (95 %)."


def wear_words(line: Fit, unit: str) -> str:
    """The rate over 10 000 km with its 95 % interval. `unit` is a label."""
    rate, margin = abs(line.rate) * 1e4, line.rate_margin * 1e4
    return f"{rate:.3g} {unit} per 10 000 km, give or take {margin:.2g} (95 %)"


@cache
def t_quantile(p: float, freedom: int) -> float:
    """Student's t: the value below which a share `p` (above one half) lies, with whole degrees of freedom.

    Halves an interval over the cumulative distribution in its finite series (Abramowitz and Stegun 26.7.3 and
    26.7.4, from memory), to about 1e-12.
    """
    if not 0.5 < p < 1 or freedom < 1:
        raise TrendError("There are too few readings to say how sure this is.")
    low, high = 0.0, 1.0
    while _t_share(high, freedom) < p:
        high *= 2
    for _ in range(120):
        middle = (low + high) / 2
        low, high = (middle, high) if _t_share(middle, freedom) < p else (low, middle)
    return (low + high) / 2


def _t_share(t: float, freedom: int) -> float:
    """The share below t ≥ 0."""
    angle = math.atan(t / math.sqrt(freedom))
    cos2 = math.cos(angle) ** 2
    odd = freedom % 2 == 1
    term = total = math.cos(angle) if odd and freedom > 1 else 0.0 if odd else 1.0
    for k in range(2 if odd else 1, freedom - 2, 2):
        term *= cos2 * k / (k + 1)
        total += term
    inside = 2 / math.pi * (angle + math.sin(angle) * total) if odd else math.sin(angle) * total
    return (1 + inside) / 2


def plot_of(
    readings: Sequence[Reading],
    line: Fit | None,
    limit: float | None,
    ahead: Forecast | None,
    *,
    title: str,
    unit: str,
    summary: str,
    earlier: Sequence[Reading] = (),
) -> Plot:
    """Readings of this part (and of `earlier` ones), the line, its 95 % band and the limit. `unit` is a label."""
    first = min(r.at for r in (*earlier, *readings))
    last = readings[-1].at
    end = last + max(_reach(ahead, last - readings[0].at), (last - first) * 0.05, 1.0)
    values = [r.value for r in (*earlier, *readings)] + ([limit] if limit is not None else [])
    if line is not None:
        values.append(line.at(end))
    low, high = min(values), max(values)
    room = (high - low) * 0.12 or abs(high) * 0.1 or 1.0
    lines: list[Line] = []
    bands: tuple[Band, ...] = ()
    if line is not None:
        # The band is clipped to the picture: with three readings it may be far wider than what was measured.
        floor, roof = low - room, high + room
        at = [readings[0].at + (end - readings[0].at) * k / 20 for k in range(21)]
        lower: tuple[Point, ...] = tuple((x, min(roof, max(floor, line.at(x) - line.margin(x)))) for x in at)
        upper: tuple[Point, ...] = tuple((x, min(roof, max(floor, line.at(x) + line.margin(x)))) for x in at)
        bands = (Band("95 % of readings", lower, upper),)
        lines.append(Line("trend", ((at[0], line.at(at[0])), (end, line.at(end))), "this"))
    if limit is not None:
        lines.append(Line("limit", ((first, limit), (end, limit)), "limit"))
    return Plot(
        slug="wear-trend",
        title=title,
        x=Axis("True distance, km", first, end),
        y=Axis(f"Reading, {unit}" if unit else "Reading", low - room, high + room),
        summary=summary,
        lines=tuple(lines),
        bands=bands,
        marks=tuple(Mark("", (r.at, r.value)) for r in (*earlier, *readings)),
        head=("True distance, km", f"Reading, {unit}" if unit else "Reading"),
        rows=tuple((f"{r.at:.0f}", f"{r.value:g}") for r in readings[-8:]),
    )


def _reach(ahead: Forecast | None, measured: float) -> float:
    """How far past the last reading is drawn: to the limit, but not more than four times what was measured."""
    if ahead is None or ahead.left is None:
        return measured * 0.3
    return min(ahead.left * 1.15, measured * 4)
