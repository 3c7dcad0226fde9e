"""Thread, strength and friction as the fastener calculators ask for them, and what their answers mean."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from workshop.engineering.declare import Choice, InputErrors, Kind, Number, Source
from workshop.engineering.fasteners import NUT_FACTORS, NutFactor
from workshop.engineering.inch_threads import (
    GRADES,
    INCH_THREADS,
    grade,
    inch_proof_load,
    inch_thread,
)
from workshop.engineering.quantities import Quantity, magnitude, number, pint_unit
from workshop.engineering.threads import (
    PROPERTY_CLASSES,
    THREADS,
    Thread,
    UnknownPropertyClass,
    proof_load,
    strength_of,
    thread,
)
from workshop.engineering.units import units_of

D = Decimal
TYPED = "typed"
# A torque leaves the preload open by 25 to 30 %, however well the surface is known.
SCATTER = D("0.25")

METRIC = tuple((name.replace("×", "x"), name) for name in THREADS)
INCH = tuple((name, f"{name} inch") for name in INCH_THREADS)
CLASSES = tuple((code, code) for code in PROPERTY_CLASSES)
INCH_GRADES = tuple((code, f"SAE {code}") for code in GRADES)

METRIC_THREAD = Choice("thread", "Thread", METRIC, "M10 without a pitch is the coarse thread.", usual="M10")
ANY_THREAD = Choice("thread", "Thread", METRIC + INCH, METRIC_THREAD.help, usual="M10")
METRIC_CLASS = Choice("strength", "Property class", CLASSES, "The mark on the head.", usual="8.8")
ANY_CLASS = Choice(
    "strength",
    "Property class or grade",
    CLASSES + INCH_GRADES,
    "The mark on a metric head; three lines on an inch head are grade 5, six are grade 8.",
    usual="8.8",
)
SURFACE = Choice(
    "surface",
    "Surface of thread and head",
    (
        *((f.code, f"{f.label} (nut factor {f.value:f}, {f.low:f} to {f.high:f})") for f in NUT_FACTORS.values()),
        (TYPED, "another: the nut factor is given below"),
    ),
    usual="dry",
)  # fmt: skip
NUT_FACTOR = Number(
    "nut_factor",
    "Nut factor",
    "count",
    "1",
    D("0.05"),
    D("0.5"),
    help="Only where the surface is “another”.",
    optional=True,
)
MU_RANGE = (D("0.04"), D("0.4"))

FRICTION_SOURCE = Source(
    "Nut factors by surface", "two fastener suppliers' engineering pages; paste and black from memory"
)
SHORT_FORM = Source("T = K·d·F, the short form of the torque equation", kind=Kind.MECHANICS)
PROOF_SOURCE = Source(
    "ISO 898-1:2013",
    "tables 3 to 7, as reproduced by two suppliers; fine thread, above M16 and below class 8.8 from memory",
)
INCH_SOURCE = Source("SAE J429", "grades 5 and 8, as summarised by a university page and two suppliers")
VDI = Source("VDI 2230-1:2003 and 2015", "assembly preload and tightening torque, tables A1 and A3")
MAKER_FIRST = "Tighten to the maker's torque. This only says what such a torque does to a bolt."


@dataclass(frozen=True)
class Bolt:
    """A thread with its strength, metric or inch: lengths in mm, areas in mm², loads in N."""

    name: str
    strength: str
    diameter: Decimal
    proof_load: Decimal
    source: str


def any_bolt(thread_code: str, strength: str) -> Bolt:
    """The bolt of two choices. Refuses a metric class on an inch thread and the other way round."""
    inch = thread_code in INCH_THREADS
    if inch != (strength in GRADES):
        raise InputErrors(
            {
                "strength": f"An inch thread such as {thread_code} has a grade: "
                f"{' or '.join(f'SAE {each}' for each in GRADES)}."
                if inch
                else f"A metric thread has a property class: {', '.join(PROPERTY_CLASSES)}."
            }
        )
    if inch:
        of = inch_thread(thread_code)
        return Bolt(
            f"{of.name} inch",
            f"SAE {grade(strength).code}",
            of.diameter,
            inch_proof_load(of, strength),
            "SAE J429",
        )
    metric = metric_bolt(thread_code, strength)
    return Bolt(
        metric.name,
        f"class {strength_of(metric, strength).code}",
        metric.diameter,
        proof_load(metric, strength),
        "ISO 898-1",
    )


def metric_bolt(thread_code: str, strength: str) -> Thread:
    """The thread of two choices. Refuses at "strength" a class that ends below its diameter."""
    of = thread(thread_code)
    try:
        strength_of(of, strength)
    except UnknownPropertyClass as error:
        raise InputErrors({"strength": str(error)}) from error
    return of


def diameter_of(thread_code: str) -> Decimal:
    """The nominal diameter of a thread, metric or inch, in mm."""
    if thread_code in INCH_THREADS:
        return inch_thread(thread_code).diameter
    return thread(thread_code).diameter


def nut_factor_of(surface: str, typed: Quantity | None) -> NutFactor:
    """The nut factor with its range: of the surface, or the typed one with the scatter of a torque wrench.

    Refuses "another" without a number, and a number beside a named surface: which of the two was meant?
    """
    if surface != TYPED:
        if typed is not None:
            raise InputErrors(
                {"nut_factor": "A surface is chosen above. Leave this empty, or choose “another” there."}
            )
        return NUT_FACTORS[surface]
    if typed is None:
        raise InputErrors({"nut_factor": "Give the nut factor, from 0.05 to 0.5, or choose a surface above."})
    value = number(magnitude(typed, "1"), "1").value
    return NutFactor(TYPED, "as given", value, value, value, "typed in")


def spread_of(factor: NutFactor) -> tuple[Decimal, Decimal]:
    """The least and the greatest nut factor to reckon with: the surface's range, at least ±25 %."""
    return min(factor.low, factor.value * (1 - SCATTER)), max(factor.high, factor.value * (1 + SCATTER))


def decimals(of: Quantity, code: str) -> Decimal:
    """A quantity's number in a unit as a decimal, for the fastener tables, which are in decimals."""
    return number(magnitude(of, code), code).value


def torque_unit(of: Quantity) -> str:
    """The unit's code in which a torque was typed; N·m where it is none of the list."""
    return next((u.code for u in units_of("torque") if of.units == pint_unit(u.code)), "N.m")
