"""What a fastener got from a wrench that was set, or read, through an adapter off the square drive."""

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
    torque_at_fastener,
)
from workshop.engineering.quantities import Quantity


def work(setting: Quantity, length: Quantity, extension: Quantity, angle: Quantity) -> Outcome:
    ratio = 1 / lever_ratio(length, extension, angle)
    return Outcome(
        {"torque": torque_at_fastener(setting, length, extension, angle), "ratio": f"{ratio:.4f}"},
        notes=["The wrench's own deviation, in percent, stays the same at the fastener."],
    )


CALCULATOR = Calculator(
    slug="torque-at-the-fastener",
    words=("crowfoot", "crow-foot", "crow foot", "spanner", "adapter"),
    name="Torque at the fastener through an extension",
    group="Fasteners",
    question="The wrench was set to this and clicked through a crow-foot or an adapter: what did the fastener get?",
    inputs=(
        Number("setting", "What the wrench was set to, or showed", "torque", "N.m", D("0.1"), D(5000)),
        LENGTH,
        EXTENSION,
        ANGLE,
    ),
    outputs=(
        Output("torque", "Torque at the fastener", "N.m", main=True, follows="setting"),
        Output("ratio", "Torque at the fastener over the setting"),
    ),
    formula="T = Tset · (L + E · cos α) / L",
    sources=(TM_9_254,),
    work=work,
    cautions=(CAUTION,),
    example={"setting": "98.6 N.m", "length": "450 mm", "extension": "60 mm", "angle": "30 deg"},
)
