"""How far a car goes until it stands."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import CAUTION, R13H_STOP, STATICS, stopping_distance
from workshop.engineering.declare import Assumption, Calculator, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude

D = Decimal
# The speed of UN R13-H's type 0 test with the engine disconnected: its formula is said for no other.
TYPE_0_KMH, NEAR_KMH = 100, 0.05


def work(speed: Quantity, deceleration: Quantity, response: Quantity) -> Outcome:
    distance = stopping_distance(speed, deceleration, response)
    kmh, metres = magnitude(speed, "km/h"), magnitude(distance, "m")
    verdict = f"From {kmh:.0f} km/h the car stands after {metres:.1f} m."
    if abs(kmh - TYPE_0_KMH) < NEAR_KMH:
        rule = 0.1 * TYPE_0_KMH + 0.0060 * TYPE_0_KMH**2
        verdict += (
            f" A new type of passenger car may take {rule:.1f} m in UN R13-H's type 0 test, from {TYPE_0_KMH} km/h with "
            "the engine disconnected: for comparison only."
        )
    return Outcome({"distance": distance, "braking": distance - speed * response}, verdict)


CALCULATOR = Calculator(
    slug="brake-stopping-distance",
    words=("braking distance",),
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
