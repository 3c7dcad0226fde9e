"""Brake hardware: pressure from the pedal, torque from pistons and discs or drums, efficiency and deceleration.

The functions on quantities are what people ask for. Those that end in a unit work on plain floats in the units
that their docstrings give: the curves of `brake_balance` call them often.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from workshop.engineering.declare import Assumption, Kind, Source
from workshop.engineering.errors import EngineeringError
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.tyre_size import parse_size
from workshop.engineering.tyres import ROLLING_FACTOR

D = Decimal

# One bar in N/mm².
BAR_N_MM2 = 0.1
WHEELS, FACES = 2, 2

PAD_FRICTION = Assumption(
    D("0.38"),
    D("0.30"),
    D("0.45"),
    "usual for road pads, common practice; the pad's own data say better",
)

STATICS = Source(
    "Statics of a decelerating two-axle car",
    "load transfer m·z·h/L, force balance, circle areas",
    Kind.MECHANICS,
)
DISC_TEXTBOOK = Source(
    "Limpert, Brake Design and Safety",
    "disc and drum brake torque, brake factor, proportioning",
    Kind.FROM_MEMORY,
)
CLUTCH_TEXTBOOK = Source(
    "Shigley, Mechanical Engineering Design",
    "axial clutches and brakes: uniform wear and uniform pressure",
    Kind.FROM_MEMORY,
)
ROLLING = Source("ETRTO Standards Manual", "a radial rolls 3.05 of its diameters in a turn", Kind.FROM_MEMORY)
DECELERATION_RULE = Source(
    "Directive 71/320/EEC, Annex II, and UN Regulation No. 13, Annex 4",
    "mean fully developed deceleration from 0.8 v to 0.1 v",
)
R13H_STOP = Source(
    "UN Regulation No. 13-H, Annex 3",
    "type 0, engine disconnected: s ≤ 0.1 v + 0.0060 v², at least 6.43 m/s²",
    Kind.FROM_MEMORY,
)
ROADWORTHINESS = Source(
    "Directive 2014/45/EU, Annex I",
    "1.2.1 imbalance, 1.2.2 efficiency, 1.4.2 parking brake",
    Kind.FROM_MEMORY,
)

CAUTION = (
    "Brakes: the maker's parts and data come first. Work on them is for a qualified person, and is proved on a "
    "brake tester and on the road before the car is handed over."
)


class BrakeError(EngineeringError):
    """Brake parts that can't be as their figures say."""


def circle_mm2(diameter: float) -> float:
    """Area of a circle in mm² from its diameter in mm."""
    return math.pi / 4 * diameter**2


def mean_radius_mm(outer: float, inner: float) -> float:
    """Where the friction of a worn-in pad acts: the middle of its band. Radii in mm."""
    return (outer + inner) / 2


def uniform_pressure_radius_mm(outer: float, inner: float) -> float:
    """Where the friction of a pad acts that presses alike everywhere: ⅔ (ro³ − ri³)/(ro² − ri²). Radii in mm.

    Written without the difference below, so that a very narrow band has its radius too.
    """
    return 2 / 3 * (outer**2 + outer * inner + inner**2) / (outer + inner)


def disc_torque_per_bar(piston_area: float, friction: float, radius: float) -> float:
    """Brake torque of an axle's two disc brakes in N·m for each bar.

    `piston_area` in mm² is that on one side of the disc; the other side presses back as hard, so both faces
    rub. `radius` in mm.
    """
    return WHEELS * FACES * friction * BAR_N_MM2 * piston_area * radius / 1000


def drum_torque_per_bar(factor: float, cylinder_area: float, radius: float) -> float:
    """Brake torque of an axle's two drum brakes in N·m for each bar.

    `factor`: friction force at the drum over the force of one piston of the wheel cylinder. Area in mm², the
    drum's radius in mm.
    """
    return WHEELS * factor * BAR_N_MM2 * cylinder_area * radius / 1000


def pad_area_mm2(height: float, length: float) -> float:
    """Friction area of one pad from its height along the radius and its length in the middle of it, in mm."""
    return height * length


def swept_area_mm2(outer: float, inner: float) -> float:
    """Area that the pads sweep on both faces of a disc. Radii in mm."""
    return FACES * math.pi * (outer**2 - inner**2)


@dataclass(frozen=True)
class Disc:
    """The two disc brakes of an axle; lengths in mm. `pistons` on one side of the disc, the pad flush with its rim."""

    piston: float
    pistons: float
    diameter: float
    pad_height: float
    friction: float

    def __post_init__(self) -> None:
        if self.pad_height >= self.diameter / 2:
            raise BrakeError(
                f"A pad {self.pad_height:.0f} mm high reaches past the middle of a disc of {self.diameter:.0f} mm."
            )

    @property
    def piston_area(self) -> float:
        return self.pistons * circle_mm2(self.piston)

    @property
    def inner(self) -> float:
        """The inner radius of the pads' band."""
        return self.diameter / 2 - self.pad_height

    @property
    def radius(self) -> float:
        """The effective radius: the mean of the band, as for worn-in pads."""
        return mean_radius_mm(self.diameter / 2, self.inner)

    @property
    def torque_per_bar(self) -> float:
        return disc_torque_per_bar(self.piston_area, self.friction, self.radius)


@dataclass(frozen=True)
class Drum:
    """The two drum brakes of an axle; lengths in mm."""

    cylinder: float
    factor: float
    diameter: float

    @property
    def piston_area(self) -> float:
        return circle_mm2(self.cylinder)

    @property
    def torque_per_bar(self) -> float:
        return drum_torque_per_bar(self.factor, self.piston_area, self.diameter / 2)


def rolling_radius_of_size_mm(size: str) -> float:
    """Rolling radius in mm from a tyre's size, with the usual rolling circumference of 3.05 diameters.

    Refuses with `TyreError` what is no size.
    """
    return ROLLING_FACTOR * parse_size(size).diameter / (2 * math.pi)


def line_pressure(pedal_force: Quantity, ratio: Quantity, servo: Quantity, bore: Quantity) -> Quantity:
    """Pressure in the brake line: pedal force × pedal ratio × servo gain over the area of the master cylinder."""
    found: Quantity = pedal_force * ratio * servo / (math.pi / 4 * bore**2)
    return found


def mean_fully_developed_deceleration(
    begin: Quantity, end: Quantity, distance_begin: Quantity, distance_end: Quantity
) -> Quantity:
    """dm = (vb² − ve²)/(2·(se − sb)); with km/h and m this is the regulations' (vb² − ve²)/(25.92·(se − sb))."""
    found: Quantity = (begin**2 - end**2) / (2 * (distance_end - distance_begin))
    return found


def stopping_distance(speed: Quantity, deceleration: Quantity, response: Quantity) -> Quantity:
    """Distance from the first touch of the pedal: v·t + v²/(2·d)."""
    found: Quantity = speed * response + speed**2 / (2 * deceleration)
    return found


def braking_share(forces: list[Quantity], mass: Quantity) -> float:
    """Brake efficiency as a roadworthiness test takes it: the sum of the wheels' forces over the weight."""
    weight = mass * quantity(1, "g0")
    return sum(magnitude(force, "N") for force in forces) / magnitude(weight, "N")


def apart(value: float, limit: float, decimals: int = 1) -> str:
    """A value with as many decimals as it takes to read otherwise than the limit that it misses; at most nine."""
    while decimals < 9 and float(f"{value:.{decimals}f}") == limit:
        decimals += 1
    return f"{value:.{decimals}f}"


def weaker_over_stronger(one: Quantity, other: Quantity) -> float | None:
    """Imbalance of an axle: the weaker wheel's force over the stronger's; None where neither brakes."""
    weaker, stronger = sorted((magnitude(one, "N"), magnitude(other, "N")))
    return weaker / stronger if stronger > 0 else None
