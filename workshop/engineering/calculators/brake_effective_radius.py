"""Where on the disc the friction of a pad acts."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import (
    CAUTION,
    CLUTCH_TEXTBOOK,
    mean_radius_mm,
    uniform_pressure_radius_mm,
)
from workshop.engineering.declare import Calculator, InputErrors, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal


def band(disc_diameter: Quantity, pad_height: Quantity, gap: Quantity | None) -> tuple[float, float]:
    """Outer and inner radius of the pad's band in mm. Refuses a pad that reaches past the disc's middle."""
    outer = magnitude(disc_diameter, "mm") / 2 - (magnitude(gap, "mm") if gap is not None else 0)
    inner = outer - magnitude(pad_height, "mm")
    if inner < 0:
        raise InputErrors(
            {"pad_height": f"This pad reaches past the middle of the disc: at most {outer:.0f} mm has room."}
        )
    return outer, inner


def work(disc_diameter: Quantity, pad_height: Quantity, gap: Quantity | None) -> Outcome:
    outer, inner = band(disc_diameter, pad_height, gap)
    mean, uniform = mean_radius_mm(outer, inner), uniform_pressure_radius_mm(outer, inner)
    apart = f"{uniform / mean - 1:.1%}".replace("%", " %")
    return Outcome(
        {
            "mean": quantity(mean, "mm"),
            "uniform": quantity(uniform, "mm"),
            "inner": quantity(inner * 2, "mm"),
        },
        f"The friction acts at {mean:.1f} mm when the pads have worn in, at {uniform:.1f} mm while a new pad presses "
        f"alike everywhere: {apart} more.",
    )


DISC_AND_PAD = (
    Number("disc_diameter", "Disc diameter", "length", "mm", D(100), D(500)),
    Number(
        "pad_height", "Pad height on the disc", "length", "mm", D(15), D(120), "The friction material along the radius."
    ),
    Number(
        "gap", "From the disc's rim to the pad", "length", "mm", D(0), D(40), "Empty: the pad ends at the rim.", optional=True
    ),
)  # fmt: skip

CALCULATOR = Calculator(
    slug="brake-effective-radius",
    words=("rotor", "caliper"),
    name="Effective radius of a disc brake",
    group="Brakes",
    question="At what radius does the friction of the pads act on the disc?",
    inputs=DISC_AND_PAD,
    outputs=(
        Output("mean", "Mean radius, pads worn in", "mm", main=True),
        Output("uniform", "Radius with the same pressure everywhere", "mm"),
        Output("inner", "Inner diameter of the pads' band", "mm"),
    ),
    formula="rm = (ro + ri)/2; ru = ⅔·(ro³ − ri³)/(ro² − ri²)",
    sources=(CLUTCH_TEXTBOOK,),
    work=work,
    cautions=(CAUTION,),
    local_approval=True,
    example={"disc_diameter": "256 mm", "pad_height": "45 mm"},
)
