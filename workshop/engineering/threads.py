"""Metric threads and property classes: geometry, proof loads, strengths.

Sources: geometry ISO 68-1 and ISO 724; coarse and fine pitches ISO 262; stress areas and proof loads
ISO 898-1:2013 tables 4 to 7 (coarse to M16 as reproduced by two fastener suppliers; fine and above M16 from
memory, equal to stress area times proof stress); strengths ISO 898-1:2013 table 3 (classes below 8.8 and 8.8
above 16 mm from memory); bearing face ISO 4014 (smallest washer face), clearance hole ISO 273 medium.
"""

import re
from dataclasses import dataclass
from decimal import Decimal

from workshop.engineering.errors import EngineeringError

D = Decimal
PI = D("3.14159265358979323846264338328")
SQRT3 = D(3).sqrt()


class UnknownThread(EngineeringError):
    """A thread that isn't in the tables here."""


class UnknownPropertyClass(EngineeringError):
    """A property class that isn't in the tables here, or not for this thread."""


@dataclass(frozen=True)
class Thread:
    """A metric thread; all lengths in mm, areas in mm²."""

    name: str
    diameter: Decimal
    pitch: Decimal
    coarse: bool
    stress_area_table: Decimal

    @property
    def pitch_diameter(self) -> Decimal:
        """d2 = d − (3√3/8)·P."""
        return self.diameter - 3 * SQRT3 / 8 * self.pitch

    @property
    def minor_diameter(self) -> Decimal:
        """d3 = d1 − H/6, the core of the bolt."""
        return self.diameter - 17 * SQRT3 / 24 * self.pitch

    @property
    def stress_diameter(self) -> Decimal:
        """d0 = (d2 + d3)/2."""
        return (self.pitch_diameter + self.minor_diameter) / 2

    @property
    def stress_area(self) -> Decimal:
        """As = (π/4)·((d2 + d3)/2)², unrounded; `stress_area_table` is the published figure."""
        return PI / 4 * self.stress_diameter**2

    @property
    def washer_face(self) -> Decimal:
        """Smallest diameter of the face under a hexagon head, dW of ISO 4014."""
        return _HEADS[self.diameter][0]

    @property
    def clearance_hole(self) -> Decimal:
        """Hole dh of ISO 273, medium."""
        return _HEADS[self.diameter][1]

    @property
    def head_bearing_mean(self) -> Decimal:
        """Mean diameter of the face under a hexagon head, (dW + dh)/2 with ISO 4014 and ISO 273 medium."""
        return (self.washer_face + self.clearance_hole) / 2


@dataclass(frozen=True)
class PropertyClass:
    """Strengths in MPa: proof stress, least yield (Rp0.2), least tensile strength."""

    code: str
    proof: Decimal
    yield_: Decimal
    tensile: Decimal


# For d up to 16 mm. The classes below 8.8 are from memory.
PROPERTY_CLASSES: dict[str, PropertyClass] = {
    "4.6": PropertyClass("4.6", D(225), D(240), D(400)),
    "5.6": PropertyClass("5.6", D(280), D(300), D(500)),
    "5.8": PropertyClass("5.8", D(380), D(420), D(520)),
    "6.8": PropertyClass("6.8", D(440), D(480), D(600)),
    "8.8": PropertyClass("8.8", D(580), D(640), D(800)),
    "9.8": PropertyClass("9.8", D(650), D(720), D(900)),
    "10.9": PropertyClass("10.9", D(830), D(940), D(1040)),
    "12.9": PropertyClass("12.9", D(970), D(1100), D(1220)),
}

# Above 16 mm class 8.8 is stronger and 9.8 ends; the others stay the same. From memory.
ABOVE_16: dict[str, PropertyClass] = {"8.8": PropertyClass("8.8", D(600), D(660), D(830))}
ONLY_TO_16 = ("9.8",)
LARGEST_OF_THE_FIRST = D(16)

# d: smallest washer face dW of ISO 4014, hole dh of ISO 273 medium.
_HEADS: dict[Decimal, tuple[Decimal, Decimal]] = {
    D(5): (D("6.88"), D("5.5")),
    D(6): (D("8.88"), D("6.6")),
    D(8): (D("11.63"), D(9)),
    D(10): (D("14.63"), D(11)),
    D(12): (D("16.63"), D("13.5")),
    D(14): (D("19.64"), D("15.5")),
    D(16): (D("22.49"), D("17.5")),
    # From memory.
    D(18): (D("25.34"), D(20)),
    D(20): (D("28.19"), D(22)),
    D(22): (D("31.71"), D(24)),
    D(24): (D("33.61"), D(26)),
}

# d, pitch, coarse, As in mm², proof load in N for 8.8, 10.9, 12.9.
# As data and not As·Sp: the standard's own figures for class 8.8 are not its plain rounding.
_TABLE = (
    ("5", "0.8", True, "14.2", 8230, 11800, 13800),
    ("6", "1", True, "20.1", 11600, 16700, 19500),
    ("8", "1.25", True, "36.6", 21200, 30400, 35500),
    ("10", "1.5", True, "58.0", 33700, 48100, 56300),
    ("12", "1.75", True, "84.3", 48900, 70000, 81800),
    ("14", "2", True, "115", 66700, 95500, 112000),
    ("16", "2", True, "157", 91000, 130000, 152000),
    ("20", "2.5", True, "245", 147000, 203000, 238000),
    ("24", "3", True, "353", 212000, 293000, 342000),
    ("8", "1", False, "39.2", 22700, 32500, 38000),
    ("10", "1", False, "64.5", 37400, 53500, 62700),
    ("10", "1.25", False, "61.2", 35500, 50800, 59400),
    ("12", "1.25", False, "92.1", 53400, 76400, 89300),
    ("12", "1.5", False, "88.1", 51100, 73100, 85500),
    ("14", "1.5", False, "125", 72500, 104000, 121000),
    ("16", "1.5", False, "167", 96900, 139000, 162000),
    ("18", "1.5", False, "216", 130000, 179000, 210000),
    ("20", "1.5", False, "272", 163000, 226000, 264000),
    ("22", "1.5", False, "333", 200000, 276000, 323000),
)


def _name(diameter: str, pitch: str, coarse: bool) -> str:
    return f"M{diameter}" if coarse else f"M{diameter}×{pitch}"


THREADS: dict[str, Thread] = {
    t.name: t for t in (Thread(_name(d, p, c), D(d), D(p), c, D(area)) for d, p, c, area, *_ in _TABLE)
}

_PROOF_LOADS: dict[tuple[str, str], Decimal] = {
    (_name(d, p, c), code): D(load)
    for d, p, c, _, *loads in _TABLE
    for code, load in zip(("8.8", "10.9", "12.9"), loads, strict=True)
}

_WRITTEN = re.compile(r"M\s*([0-9]{1,2})(?:\s*[X×*\-]\s*([0-9](?:[.,][0-9]{1,2})?))?", re.ASCII)


def thread(name: str) -> Thread:
    """The thread of a written name: "M10", "M10x1.5", "m 10 × 1,25". Without a pitch, the coarse one.

    Refuses with `UnknownThread` what can't be read or isn't in the table.
    """
    written = _WRITTEN.fullmatch(name.strip().upper())
    if not written:
        raise UnknownThread(f"“{name.strip()}” is not a metric thread. Write it as M10 or M10×1.25.")
    diameter, pitch = D(written[1]), written[2] and D(written[2].replace(",", "."))
    for known in THREADS.values():
        if known.diameter == diameter and (known.pitch == pitch if pitch else known.coarse):
            return known
    raise UnknownThread(
        f"{name.strip()} is not in the thread table, so its load can't be checked here. "
        f"In the table: {', '.join(THREADS)}."
    )


def property_class(code: str) -> PropertyClass:
    """The property class of a written mark ("8.8", "10,9") up to 16 mm, or `UnknownPropertyClass`."""
    try:
        return PROPERTY_CLASSES[code.strip().replace(",", ".")]
    except KeyError:
        raise UnknownPropertyClass(
            f"“{code.strip()}” is not a property class in the table. "
            f"In the table: {', '.join(PROPERTY_CLASSES)}."
        ) from None


def strength_of(of: Thread, code: str) -> PropertyClass:
    """The strengths of a class for this thread's diameter. Refuses with `UnknownPropertyClass` one that has none."""
    strength = property_class(code)
    if of.diameter <= LARGEST_OF_THE_FIRST:
        return strength
    if strength.code in ONLY_TO_16:
        raise UnknownPropertyClass(
            f"Class {strength.code} goes up to M16 only, not to {of.name}. Look at the mark on the head."
        )
    return ABOVE_16.get(strength.code, strength)


def proof_load(of: Thread, code: str) -> Decimal:
    """Proof load in N: the standard's figure, else As times proof stress (9.8 and the classes below 8.8)."""
    strength = strength_of(of, code)
    return _PROOF_LOADS.get((of.name, strength.code), of.stress_area_table * strength.proof)
