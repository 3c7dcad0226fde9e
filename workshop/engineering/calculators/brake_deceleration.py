"""The mean fully developed deceleration of a stop, from two speeds and the distances where they were reached."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import (
    CAUTION,
    DECELERATION_RULE,
    R13H_STOP,
    mean_fully_developed_deceleration,
)
from workshop.engineering.declare import Calculator, InputErrors, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal
# More no tyre of a road car gives (common practice, no source).
MOST_G = 1.6


def work(speed: Quantity, distance_begin: Quantity, distance_end: Quantity) -> Outcome:
    if not distance_end > distance_begin:
        raise InputErrors(
            {
                "distance_end": "The car is slower here than at the first mark, so this distance must be the longer one."
            }
        )
    found = mean_fully_developed_deceleration(0.8 * speed, 0.1 * speed, distance_begin, distance_end)
    in_g = magnitude(found, "g0")
    if in_g > MOST_G:
        raise InputErrors(
            {
                "distance_end": f"That would be {in_g:.1f} g, more than tyres on a road give: look at the distances again."
            }
        )
    return Outcome(
        {"deceleration": found, "in_g": quantity(in_g, "g0")},
        f"From 0.8 to 0.1 of the speed the car slowed down with {magnitude(found, 'm/s2'):.2f} m/s², {in_g:.3f} g.",
        notes=[
            "UN R13-H asks a new type of passenger car for 6.43 m/s² from 100 km/h with the engine disconnected: for "
            "comparison only."
        ],
    )


CALCULATOR = Calculator(
    slug="brake-deceleration",
    words=("braking", "g force"),
    name="Deceleration of a stop",
    group="Brakes",
    question="How hard did the car brake, once the brakes were fully on?",
    inputs=(
        Number("speed", "Speed at which braking began", "speed", "km/h", D(10), D(300)),
        Number("distance_begin", "Distance from there until 0.8 of that speed", "length", "m", D(0), D(1000), units=("m",)),
        Number("distance_end", "Distance from there until 0.1 of that speed", "length", "m", D("0.1"), D(2000), units=("m",)),
    ),
    outputs=(
        Output("deceleration", "Mean fully developed deceleration", "m/s2", main=True),
        Output("in_g", "The same in g", "g0"),
    ),
    formula="dm = (vb² − ve²)/(2·(se − sb)), vb = 0.8·v, ve = 0.1·v; in km/h and m: (vb² − ve²)/(25.92·(se − sb))",
    sources=(DECELERATION_RULE, R13H_STOP),
    work=work,
    cautions=(CAUTION, "Measure on a closed and even road, never in traffic."),
    local_approval=True,
    example={"speed": "100 km/h", "distance_begin": "22 m", "distance_end": "56 m"},
)  # fmt: skip
