"""A torque wrench with an adapter that moves the fastener off the square drive: setting and torque at the fastener.

Source: US Army TM 9-254, torque wrench chapter, effective lever L + E·cos α. Holds where the hand pulls square to
the wrench at the marked point of the grip. A straight bar along the axis of the drive changes nothing.
"""

from __future__ import annotations

import math
from decimal import Decimal
from functools import lru_cache

from workshop.engineering.declare import InputErrors, Kind, Number, Source
from workshop.engineering.quantities import FIGURES, Quantity, magnitude, quantity

D = Decimal
LENGTH = Number("length", "From the middle of the grip to the square drive", "length", "mm", D(50), D(3000))
EXTENSION = Number(
    "extension", "From the square drive to the middle of the fastener", "length", "mm", D(0), D(1500)
)
ANGLE = Number(
    "angle",
    "Angle between the extension and the wrench",
    "angle",
    "deg",
    D(0),
    D(180),
    help="0° in line with the wrench, away from the hand; 90° square to it; 180° folded back.",
)
TM_9_254 = Source("US Army TM 9-254", "torque wrenches, effective lever with an adapter", Kind.PUBLISHED)
CAUTION = (
    "Only for an adapter that moves the fastener off the axis of the drive: a straight bar along the axis "
    "needs no correction. Pull square to the wrench, at the marked point of the grip."
)

# Folded back until the arm is a quarter of the wrench, the hand pushes next to the fastener. No source.
LEAST_SHARE = 0.25
FOLDED_BACK = "Folded back this far, the fastener sits almost under the hand: no wrench can be used so."


def lever_ratio(length: Quantity, extension: Quantity, angle: Quantity) -> float:
    """Setting over torque at the fastener: L / (L + E·cos α).

    `length` from the middle of the grip to the square drive, `extension` from there to the middle of the
    fastener, `angle` between the two: 0° in line, away from the hand; 180° folded back. Refuses with
    `InputErrors` (at "length" or "extension") a wrench without length and an adapter folded back over the hand.
    """
    arm = magnitude(length, "mm")
    if not arm > 0:
        raise InputErrors(
            {"length": "Measure from the middle of the grip to the square drive: it is above 0 mm."}
        )
    whole = arm + magnitude(extension, "mm") * math.cos(math.radians(magnitude(angle, "deg")))
    if whole < arm * LEAST_SHARE:
        raise InputErrors({"extension": FOLDED_BACK})
    return arm / whole


def setting_for(torque: Quantity, length: Quantity, extension: Quantity, angle: Quantity) -> Quantity:
    """What to set the wrench to, so that the fastener gets `torque`."""
    setting: Quantity = torque * lever_ratio(length, extension, angle)
    return setting


def torque_at_fastener(setting: Quantity, length: Quantity, extension: Quantity, angle: Quantity) -> Quantity:
    """What the fastener gets when the wrench is set to, or shows, `setting`."""
    torque: Quantity = setting / lever_ratio(length, extension, angle)
    return torque


@lru_cache(maxsize=256)
def decimal_ratio(length_mm: Decimal, extension_mm: Decimal, angle_deg: Decimal) -> Decimal:
    """Torque at the fastener over the setting, to `FIGURES` figures: for a reading that is kept in decimals."""
    ratio = lever_ratio(quantity(length_mm, "mm"), quantity(extension_mm, "mm"), quantity(angle_deg, "deg"))
    return Decimal(f"{1 / ratio:.{FIGURES}g}")
