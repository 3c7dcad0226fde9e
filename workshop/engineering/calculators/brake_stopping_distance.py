"""How far a car goes until it stands."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import CAUTION, R13H_STOP, STATICS, stopping_distance
from workshop.engineering.declare import Assumption, Calculator, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude

D = Decimal


def work(speed: Quantity, deceleration: Quantity, response: Quantity) -> Outcome:
    distance = stopping_distance(speed, deceleration, response)
    kmh, metres = magnitude(speed, "km/h"), magnitude(distance, "m")
    rule = 0.1 * kmh + 0.0060 * kmh**2
    return Outcome(
        {"distance": distance, "braking": distance - speed * response},
        f"From {kmh:.0f} km/h the car stands after {metres:.1f} m. For a new type of passenger car UN R13-H's formula "
        f"gives {rule:.1f} m at most: for comparison only.",
    )


CALCULATOR = Calculator(
    slug="brake-stopping-distance",
    name="Stopping distance",
    group="Brakes",
    question="How far does the car go from the touch of the pedal until it stands?",
    inputs=(
        Number("speed", "Speed", "speed", "km/h", D(5), D(300)),
        Number("deceleration", "Deceleration", "deceleration", "m/s2", D("0.5"), D(15)),
        Number(
            "response",
            "Time until the brakes are fully on",
            "time",
            "s",
            D(0),
            D(3),
            help="The brakes' own time. A driver's reaction comes before it.",
            units=("s",),
            assumed=Assumption(
                D("0.36"), D("0.1"), D("0.6"), "the 0.1·v of the regulation's formula is 0.36 s"
            ),
        ),
    ),
    outputs=(
        Output("distance", "Stopping distance", "m", main=True),
        Output("braking", "Of it while the brakes are fully on", "m"),
    ),
    formula="s = v·t + v²/(2·d)",
    sources=(STATICS, R13H_STOP),
    work=work,
    cautions=(CAUTION,),
    local_approval=True,
    example={"speed": "100 km/h", "deceleration": "6.43 m/s2"},
)
