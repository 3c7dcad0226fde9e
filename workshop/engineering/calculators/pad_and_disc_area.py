"""How large pads are, and how much of the disc they sweep."""

from __future__ import annotations

import math
from decimal import Decimal

from workshop.engineering.brakes import CAUTION, FACES, STATICS, WHEELS, pad_area_mm2, swept_area_mm2
from workshop.engineering.calculators.brake_effective_radius import DISC_AND_PAD, band
from workshop.engineering.declare import Calculator, InputErrors, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal


def work(
    disc_diameter: Quantity, pad_height: Quantity, gap: Quantity | None, pad_length: Quantity
) -> Outcome:
    outer, inner = band(disc_diameter, pad_height, gap)
    length = magnitude(pad_length, "mm")
    round_ = math.pi * (outer + inner)
    if length > round_ / 2:
        raise InputErrors(
            {
                "pad_length": f"This pad goes more than half round the disc: at most {round_ / 2:.0f} mm is plausible."
            }
        )
    pad, swept = pad_area_mm2(outer - inner, length), swept_area_mm2(outer, inner)
    return Outcome(
        {
            "pad": quantity(pad, "mm2"),
            "axle_pads": quantity(WHEELS * FACES * pad, "mm2"),
            "swept": quantity(swept, "mm2"),
            "axle_swept": quantity(WHEELS * swept, "mm2"),
            "covered": quantity(100 * FACES * pad / swept, "%"),
        },
        f"The pads cover {100 * FACES * pad / swept:.0f} % of the band that they sweep; the rest cools meanwhile.",
        notes=[
            "The pad is taken as its height times its length in the middle. Its area changes heat and wear, not the "
            "brake force."
        ],
    )


CALCULATOR = Calculator(
    slug="pad-and-disc-area",
    words=("rotor", "brake pads"),
    name="Pad and disc area",
    group="Brakes",
    question="How large are the pads, and how much disc do they sweep?",
    inputs=(
        *DISC_AND_PAD,
        Number("pad_length", "Pad length", "length", "mm", D(20), D(300), "Across the radius."),
    ),
    outputs=(
        Output("pad", "One pad", "cm2"),
        Output("axle_pads", "All pads of the axle", "cm2", main=True),
        Output("swept", "Swept on both faces of one disc", "cm2"),
        Output("axle_swept", "Swept on both discs of the axle", "cm2"),
        Output("covered", "Covered by the pads at a time", "%"),
    ),
    formula="pad = h·l; swept = 2·π·(ro² − ri²); covered = 2·pad/swept",
    sources=(STATICS,),
    work=work,
    cautions=(CAUTION,),
    local_approval=True,
    example={"disc_diameter": "256 mm", "pad_height": "45 mm", "pad_length": "110 mm"},
)
