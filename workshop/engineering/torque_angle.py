"""What an angle adds to a bolt's preload after the snug torque, while bolt and joint are elastic.

ΔF = (θ/360°)·P / (δS + δP). The bolt's compliance δS sums head, shank, free thread, engaged thread and nut; the
joint's δP is that of a sleeve round the bolt. Source: VDI 2230-1, from memory. The gain in the car is lower, for
the faces settle; it ends where the bolt yields: at As·Rp0.2 in pure tension, and earlier while the friction in
the thread twists it (`fasteners.yield_preload`, VDI 2230-1). Between the two it may yield.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from workshop.engineering.declare import InputErrors
from workshop.engineering.fasteners import yield_preload
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.threads import Thread, strength_of

# Young's moduli in MPa: textbook values.
STEEL = 205_000.0
MODULI: dict[str, tuple[str, float]] = {
    "steel": ("steel", STEEL),
    "iron": ("cast iron", 110_000.0),
    "aluminium": ("aluminium", 70_000.0),
}
HELD_BY: dict[str, str] = {"nut": "a nut", "tapped": "a tapped hole"}
# A joint that nobody measured is taken as a sleeve as wide as the head's face and a tenth of the clamped length:
# common practice, no source.
SLEEVE_GROWS = 0.1


@dataclass(frozen=True)
class Joint:
    """A bolt with what it clamps. Lengths in mm; `material` of `MODULI`, `held_by` of `HELD_BY`.

    `shank` is the plain part within the grip, `sleeve` the outer diameter of the clamped parts round the bolt.
    """

    thread: Thread
    grip: float
    shank: float
    sleeve: float
    material: str = "steel"
    held_by: str = "nut"

    @property
    def bolt_compliance(self) -> float:
        """δS in mm/N."""
        d = float(self.thread.diameter)
        plain = math.pi / 4 * d**2
        core = math.pi / 4 * float(self.thread.minor_diameter) ** 2
        free = self.grip - self.shank
        bolt = 0.5 * d / plain + self.shank / plain + free / core + 0.5 * d / core
        # VDI 2230-1, from memory: 0.4·d for a nut, of the bolt's steel; 0.33·d for the part that it is screwed into.
        if self.held_by == "nut":
            return (bolt + 0.4 * d / plain) / STEEL
        return bolt / STEEL + 0.33 * d / plain / MODULI[self.material][1]

    @property
    def joint_compliance(self) -> float:
        """δP in mm/N: a sleeve from the clearance hole of ISO 273 to `sleeve`."""
        area = math.pi / 4 * (self.sleeve**2 - float(self.thread.clearance_hole) ** 2)
        return self.grip / (MODULI[self.material][1] * area)

    @property
    def per_degree(self) -> float:
        """Preload gained for each degree, in N."""
        return float(self.thread.pitch) / 360 / (self.bolt_compliance + self.joint_compliance)


def joint(
    thread: Thread,
    grip: Quantity,
    shank: Quantity | None = None,
    sleeve: Quantity | None = None,
    material: str = "steel",
    held_by: str = "nut",
) -> Joint:
    """A joint from lengths. Without a shank the bolt is threaded all through the grip; without a sleeve it is
    taken as wide as the head's face and a tenth of the grip.

    Refuses with `InputErrors` a grip of nothing, a shank longer than the grip, and a sleeve that is all hole.
    """
    length = magnitude(grip, "mm")
    if not length > 0:
        raise InputErrors(
            {"grip": "Give the length of what is clamped, from under the head to the nut, above 0 mm."}
        )
    plain = 0.0 if shank is None else magnitude(shank, "mm")
    if not 0 <= plain <= length:
        raise InputErrors({"shank": f"The plain shank lies within the grip: 0 to {length:g} mm."})
    hole = float(thread.clearance_hole)
    wide = float(thread.washer_face) + SLEEVE_GROWS * length if sleeve is None else magnitude(sleeve, "mm")
    if not wide > hole:
        raise InputErrors(
            {"sleeve": f"The clamped part is wider than the bolt's hole, which is {hole:g} mm across."}
        )
    return Joint(thread, length, plain, wide, material, held_by)


@dataclass(frozen=True)
class AngleGain:
    """Preloads in N: at the snug torque, as a spring would go on, at yield, and `after`, at most that at yield.

    `yield_load` is the bolt's yield in pure tension, `twisted_load` the lower one while friction twists it.
    `yield_angle` and `twisted_angle` are how many degrees from snug it takes to reach them.
    """

    snug: float
    elastic: float
    yield_load: float
    twisted_load: float
    per_degree: float

    @property
    def yield_angle(self) -> float:
        return (self.yield_load - self.snug) / self.per_degree

    @property
    def twisted_angle(self) -> float:
        return max((self.twisted_load - self.snug) / self.per_degree, 0.0)

    @property
    def after(self) -> float:
        return min(self.elastic, self.yield_load)

    @property
    def yields(self) -> bool:
        return self.elastic > self.yield_load

    @property
    def may_yield(self) -> bool:
        """Above the yield of the twisted bolt, not above that of the bolt in pure tension."""
        return self.twisted_load < self.elastic <= self.yield_load


def angle_gain(
    of: Joint, class_code: str, snug: Quantity, angle: Quantity, friction: float | Decimal
) -> AngleGain:
    """The preload after `angle` from the snug preload `snug`, for a bolt of a property class.

    `friction` is µ in the thread (see `fasteners.friction_of`). Refuses with `InputErrors` (at "torque") a snug
    preload at which the bolt has yielded already.
    """
    start, degrees = magnitude(snug, "N"), magnitude(angle, "deg")
    at_yield = float(of.thread.stress_area * strength_of(of.thread, class_code).yield_)
    if start >= at_yield:
        raise InputErrors(
            {
                "torque": f"The snug torque alone puts {start / 1000:.1f} kN into the bolt; it yields at "
                f"{at_yield / 1000:.1f} kN. Look at the torque, its unit and the friction."
            }
        )
    twisted = float(yield_preload(of.thread, class_code, Decimal(friction), Decimal(1)))
    return AngleGain(start, start + degrees * of.per_degree, at_yield, twisted, of.per_degree)


def stiffness(of: Joint) -> tuple[Quantity, Quantity]:
    """Stiffness of the bolt and of what it clamps."""
    return quantity(1 / of.bolt_compliance, "N/mm"), quantity(1 / of.joint_compliance, "N/mm")
