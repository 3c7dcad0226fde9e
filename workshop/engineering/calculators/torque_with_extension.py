"""What to set a torque wrench to when an adapter moves the fastener off the square drive."""

from __future__ import annotations

import math
from decimal import Decimal

from workshop.engineering.declare import Calculator, InputErrors, Kind, Number, Outcome, Output, Source
from workshop.engineering.quantities import Quantity, magnitude

D = Decimal


def lever_ratio(length: Quantity, extension: Quantity, angle: Quantity) -> float:
    """Setting over torque at the fastener: L / (L + E·cos α). Refuses an adapter folded back over the hand."""
    arm = magnitude(length, "mm")
    whole = arm + magnitude(extension, "mm") * math.cos(math.radians(magnitude(angle, "deg")))
    if whole < arm / 4:
        raise InputErrors(
            {
                "extension": "Folded back this far, the fastener sits almost under the hand: no wrench can be used so."
            }
        )
    return arm / whole


def work(torque: Quantity, length: Quantity, extension: Quantity, angle: Quantity) -> Outcome:
    ratio = lever_ratio(length, extension, angle)
    return Outcome({"setting": torque * ratio, "ratio": f"{ratio:.4f}"})


CALCULATOR = Calculator(
    slug="torque-with-extension",
    name="Torque wrench with an extension",
    group="Fasteners",
    question="What must the wrench be set to, so that the fastener gets its torque through a crow-foot or an adapter?",
    inputs=(
        Number("torque", "Torque wanted at the fastener", "torque", "N.m", D("0.1"), D(5000)),
        Number("length", "From the middle of the grip to the square drive", "length", "mm", D(50), D(3000)),
        Number(
            "extension", "From the square drive to the middle of the fastener", "length", "mm", D(0), D(1500)
        ),
        Number(
            "angle",
            "Angle between the extension and the wrench",
            "angle",
            "deg",
            D(0),
            D(180),
            help="0° in line with the wrench, away from the hand; 90° square to it; 180° folded back.",
        ),
    ),
    outputs=(
        Output("setting", "Set the wrench to", "N.m", main=True, follows="torque"),
        Output("ratio", "Setting over torque at the fastener"),
    ),
    formula="Tset = T · L / (L + E · cos α)",
    sources=(Source("US Army TM 9-254", "torque wrenches, effective lever with an adapter", Kind.PUBLISHED),),
    work=work,
    cautions=(
        "Only for an adapter that moves the fastener off the axis of the drive: a straight bar along the axis "
        "needs no correction. Pull square to the wrench, at the marked point of the grip.",
    ),
    example={"torque": "80 N.m", "length": "400 mm", "extension": "50 mm", "angle": "0 deg"},
)
