"""Line pressure from the pedal force."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import CAUTION, STATICS, line_pressure
from workshop.engineering.declare import Calculator, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude

D = Decimal
# Above it a hydraulic system of a car is past what it is made for (common practice, no source).
USUAL_MOST_BAR = 160


def work(
    pedal_force: Quantity, pedal_ratio: Quantity, servo_gain: Quantity, master_bore: Quantity
) -> Outcome:
    pressure = line_pressure(pedal_force, pedal_ratio, servo_gain, master_bore)
    rod = pedal_force * pedal_ratio * servo_gain
    bar = magnitude(pressure, "bar")
    odd = bar > USUAL_MOST_BAR
    verdict = (
        f"{bar:.0f} bar is more than a car's brake lines usually see ({USUAL_MOST_BAR} bar, common practice): look at "
        "the ratio, the servo's gain and the bore again."
        if odd
        else f"This pedal force makes {bar:.1f} bar in the line."
    )
    return Outcome({"pressure": pressure, "rod": rod}, verdict, odd)


CALCULATOR = Calculator(
    slug="brake-line-pressure",
    words=("hydraulic", "brake fluid"),
    name="Brake line pressure",
    group="Brakes",
    question="What pressure does a foot make in the brake line?",
    inputs=(
        Number("pedal_force", "Force on the pedal", "force", "N", D(1), D(2000)),
        Number("pedal_ratio", "Pedal ratio", "count", "1", D(1), D(12), item="pedal_ratio"),
        Number(
            "servo_gain",
            "Servo gain",
            "count",
            "1",
            D(1),
            D(12),
            help="1 without a servo.",
            item="servo_gain",
        ),
        Number("master_bore", "Master cylinder bore", "length", "mm", D(8), D(60), item="master_bore"),
    ),
    outputs=(
        Output("pressure", "Line pressure", "bar", main=True),
        Output("rod", "Force on the master cylinder's piston", "N"),
    ),
    formula="p = F · i · g / (π/4 · d²)",
    sources=(STATICS,),
    work=work,
    cautions=(CAUTION, "A servo gives its gain only up to the point where its vacuum is used up."),
    local_approval=True,
    example={"pedal_force": "300 N", "pedal_ratio": "4", "servo_gain": "3", "master_bore": "20.64 mm"},
)
