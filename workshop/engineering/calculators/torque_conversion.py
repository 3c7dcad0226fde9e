"""A torque in every unit that a tool or a manual may speak, and what the same number would mean in each."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.bolt_inputs import D, decimals, torque_unit
from workshop.engineering.declare import Calculator, Choice, Number, Outcome, Output, Source, Table
from workshop.engineering.numbers import plain
from workshop.engineering.quantities import Quantity
from workshop.engineering.units import UNITS, Amount, units_of, with_label

CODES = tuple(each.code for each in units_of("torque"))


def figures(value: Decimal, code: str) -> str:
    """Five figures, for a converted torque is set on a scale that may be finer than the screens' rounding."""
    places = max(0, 4 - value.adjusted())
    return with_label(plain(value, places), code)


def work(torque: Quantity, wanted: str) -> Outcome:
    typed = torque_unit(torque)
    number = decimals(torque, typed)
    rows = tuple(
        (
            UNITS[code].label,
            figures(decimals(torque, code), code),
            figures(Amount(number, code).base(), "N.m"),
        )
        for code in CODES
    )
    return Outcome(
        {"converted": figures(decimals(torque, wanted), wanted), "newton_metres": torque},
        tables=[
            Table("In every unit", ("Unit", "This torque", f"If {number:f} was meant in this unit"), rows)
        ],
    )


CALCULATOR = Calculator(
    slug="torque-conversion",
    words=("newton metre", "foot pound", "ft-lb", "nm", "kgm"),
    name="Torque in another unit",
    group="Fasteners",
    question="What is this torque in the unit of the wrench?",
    inputs=(
        Number("torque", "Torque", "torque", "N.m", D("0.01"), D(10000)),
        Choice("wanted", "Wanted in", tuple((code, UNITS[code].label) for code in CODES), usual="N.m"),
    ),
    outputs=(
        Output("converted", "In the wanted unit", main=True),
        Output("newton_metres", "In N·m, rounded", "N.m"),
    ),
    formula="1 lbf·ft = 1.355 817 948 331 400 4 N·m; 1 kgf·m = 9.806 65 N·m; 12 lbf·in = 1 lbf·ft",
    sources=(
        Source("NIST SP 811 (2008)", "appendix B.8"),
        Source("BIPM SI Brochure", "standard gravity 9.806 65 m/s²"),
    ),
    work=work,
    example={"torque": "75 lbf.ft", "wanted": "N.m"},
)
