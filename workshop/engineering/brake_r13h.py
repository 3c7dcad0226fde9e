"""A brake balance beside the two rules of UN R13-H, Annex 5: the efficiency line and the lock order.

They are approval rules for new types of passenger cars, shown as a comparison and nothing more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workshop.engineering.brake_balance import Balance, Span
from workshop.engineering.declare import Choice, Kind, Source

LOCK_ORDER = Source(
    "UN Regulation No. 13-H, Annex 5",
    "the front's curve above the rear's for decelerations from 0.15 g to 0.8 g",
    Kind.FROM_MEMORY,
)
FOR_COMPARISON = (
    "UN R13-H is an approval rule for new types of passenger cars without anti-lock brakes, unladen and laden. It is "
    "shown for comparison only, for this one load. Anti-lock brakes hold the order themselves as long as they work."
)


@dataclass(frozen=True)
class Line:
    """The efficiency line z ≥ 0.1 + slope·(k − 0.2), for adhesions k from 0.2 to 0.8."""

    slope: float
    name: str
    source: Source

    low, high = 0.2, 0.8

    def deceleration(self, adhesion: float) -> float:
        """The least deceleration, over g, at this adhesion."""
        return 0.1 + self.slope * (adhesion - 0.2)

    def adhesion(self, z: float) -> float:
        """The most adhesion that may be used at this deceleration: the same line read the other way."""
        return 0.2 + (z - 0.1) / self.slope


# The older and stricter one is followed unless the other is asked for: the text of R13-H was not seen.
LINES = {
    "0.85": Line(
        0.85,
        "z ≥ 0.1 + 0.85·(k − 0.2)",
        Source(
            "Directive 71/320/EEC, Annex II, Appendix, 3.1",
            "k from 0.2 to 0.8; the line as public calculations to UN Regulation No. 13 quote it",
        ),
    ),
    "0.7": Line(
        0.7,
        "z ≥ 0.1 + 0.7·(k − 0.2)",
        Source("UN Regulation No. 13-H, Annex 5", "passenger cars, slope 0.7", Kind.FROM_MEMORY),
    ),
}
STRICTER = LINES["0.85"]
ORDER_FROM, ORDER_TO = 0.15, 0.8

LINE_CHOICE = Choice(
    "efficiency_line",
    "Efficiency line to compare with",
    (("0.85", "slope 0.85, the stricter"), ("0.7", "slope 0.7, for passenger cars")),
    help="An approval rule for new types, for comparison.",
    usual="0.85",
)


@dataclass(frozen=True)
class Comparison:
    """A balance beside UN R13-H: the adhesion at which it comes nearest to the line, how far above the line it is
    there (negative: below it), and where in 0.15–0.8 g the rear locks first."""

    adhesion: float
    margin: float
    rear_first: tuple[Span, ...]

    @property
    def line_held(self) -> bool:
        # Exactly on the line is on the right side of it: rounding must not decide.
        return self.margin >= -1e-9

    @property
    def order_held(self) -> bool:
        return not self.rear_first


def compare(balance: Balance, line: Line = STRICTER) -> Comparison:
    """The two rules; see `FOR_COMPARISON`."""
    margin, adhesion = min(
        (_reached(balance, adhesion) - line.deceleration(adhesion), adhesion)
        for adhesion in _turning_points(balance, line)
    )
    spans = ((max(low, ORDER_FROM), min(high, ORDER_TO)) for low, high in balance.rear_first)
    return Comparison(adhesion, margin, tuple((low, high) for low, high in spans if high - low > 1e-9))


def _reached(balance: Balance, adhesion: float) -> float:
    reached = balance.lock(adhesion).reached
    # Where nothing locks, the car slows down until its rear wheels lift.
    return balance.load.lift if reached is None else reached


def _turning_points(balance: Balance, line: Line) -> list[float]:
    """The adhesions at which the margin over the line can be least.

    The ends; where another axle locks first; the valve's knee; and where the front's own curve, which bends
    upwards, runs alongside the line. The rear's bends downwards: its least lies at an end.
    """
    load, split = balance.load, balance.split
    found = [balance.front_adhesion(z) for span in balance.rear_first for z in span if z < load.lift]
    if split.knee < load.lift:
        found += [balance.front_adhesion(split.knee), balance.rear_adhesion(split.knee)]
    for _, alpha, beta in split.pieces():
        slowing = (load.front * (1 - beta) + load.chi * alpha) / line.slope
        found.append(((1 - beta) - math.sqrt(slowing)) / load.chi)
    return [line.low, *(each for each in found if line.low < each < line.high), line.high]
