"""What to set a torque wrench to when an adapter moves the fastener off the square drive."""

from __future__ import annotations

from workshop.engineering.declare import Calculator, Number, Outcome, Output
from workshop.engineering.extension import (
    ANGLE,
    CAUTION,
    EXTENSION,
    LENGTH,
    TM_9_254,
    D,
    lever_ratio,
    setting_for,
)
from workshop.engineering.quantities import Quantity


def work(torque: Quantity, length: Quantity, extension: Quantity, angle: Quantity) -> Outcome:
    ratio = lever_ratio(length, extension, angle)
    return Outcome({"setting": setting_for(torque, length, extension, angle), "ratio": f"{ratio:.4f}"})


CALCULATOR = Calculator(
    slug="torque-with-extension",
    words=("crowfoot", "crow-foot", "crow foot", "spanner", "adapter"),
    name="Torque wrench with an extension",
    group="Fasteners",
    question="What must the wrench be set to, so that the fastener gets its torque through a crow-foot or an adapter?",
    inputs=(
        Number("torque", "Torque wanted at the fastener", "torque", "N.m", D("0.1"), D(5000)),
        LENGTH,
        EXTENSION,
        ANGLE,
    ),
    outputs=(
        Output("setting", "Set the wrench to", "N.m", main=True, follows="torque"),
        Output("ratio", "Setting over torque at the fastener"),
    ),
    formula="Tset = T · L / (L + E · cos α)",
    sources=(TM_9_254,),
    work=work,
    cautions=(CAUTION,),
    example={"torque": "80 N.m", "length": "400 mm", "extension": "50 mm", "angle": "0 deg"},
)
