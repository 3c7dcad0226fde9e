"""Inch threads (unified, coarse and fine) and the grades of SAE J429: stress areas and proof loads.

Sources: stress area As = (π/4)·(D − 0.9743/n)² and the strengths of grades 5 and 8, SAE J429 as summarised by two
fastener suppliers and a university page; the list of sizes is the unified series of ASME B1.1, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from workshop.engineering.errors import EngineeringError
from workshop.engineering.threads import PI

D = Decimal
MM_PER_INCH = D("25.4")
# 1 lbf/in² in MPa, exact to the figures that matter: 4.4482216152605 N over 645.16 mm².
MPA_PER_PSI = D("4.4482216152605") / D("645.16")


class UnknownInchThread(EngineeringError):
    """An inch thread or a grade that isn't in the tables here."""


@dataclass(frozen=True)
class InchThread:
    """A unified thread: "1/2-13". `diameter` in mm, `stress_area` in mm²."""

    name: str
    size: str
    per_inch: int

    @property
    def diameter_in(self) -> Decimal:
        size = Fraction(self.size)
        return D(size.numerator) / size.denominator

    @property
    def diameter(self) -> Decimal:
        return self.diameter_in * MM_PER_INCH

    @property
    def stress_area(self) -> Decimal:
        return PI / 4 * (self.diameter_in - D("0.9743") / self.per_inch) ** 2 * MM_PER_INCH**2


@dataclass(frozen=True)
class Grade:
    """Strengths of one grade in thousands of psi, as the standard gives them, up to 1 inch."""

    code: str
    proof_ksi: Decimal
    yield_ksi: Decimal
    tensile_ksi: Decimal

    @property
    def proof(self) -> Decimal:
        """Proof stress in MPa."""
        return self.proof_ksi * 1000 * MPA_PER_PSI


GRADES: dict[str, Grade] = {
    "grade 5": Grade("grade 5", D(85), D(92), D(120)),
    "grade 8": Grade("grade 8", D(120), D(130), D(150)),
}

_SERIES = (
    ("1/4", 20, 28),
    ("5/16", 18, 24),
    ("3/8", 16, 24),
    ("7/16", 14, 20),
    ("1/2", 13, 20),
    ("9/16", 12, 18),
    ("5/8", 11, 18),
    ("3/4", 10, 16),
)
INCH_THREADS: dict[str, InchThread] = {
    f"{size}-{per_inch}": InchThread(f"{size}-{per_inch}", size, per_inch)
    for size, *pair in _SERIES
    for per_inch in pair
}


def inch_thread(name: str) -> InchThread:
    """The thread of a written name ("1/2-13"), or `UnknownInchThread`."""
    try:
        return INCH_THREADS["".join(name.split())]
    except KeyError:
        raise UnknownInchThread(
            f"“{name.strip()}” is not an inch thread of the table. In the table: {', '.join(INCH_THREADS)}."
        ) from None


def grade(code: str) -> Grade:
    """The grade of a written mark ("grade 5"), or `UnknownInchThread`."""
    try:
        return GRADES[code.strip().lower()]
    except KeyError:
        raise UnknownInchThread(
            f"“{code.strip()}” is not a grade of the table. In the table: {', '.join(GRADES)}."
        ) from None


def inch_proof_load(of: InchThread, code: str) -> Decimal:
    """Proof load in N: stress area times proof stress."""
    return of.stress_area * grade(code).proof
