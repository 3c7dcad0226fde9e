"""Pint quantities in floats, for formulas with roots, powers and angles; made from amounts and turned back.

A person's number stays an `Amount` with its typed digits (see `units`). A formula takes quantities, so that Pint
proves its dimensions. Making one costs some 0.1 ms: long loops (the points of a curve) run on plain floats in
SI units, in a function that says so.
"""

from __future__ import annotations

import math
from decimal import Decimal
from functools import cache
from typing import TypeAlias

import pint

from workshop.engineering.errors import EngineeringError
from workshop.engineering.units import UNITS, Amount, unit

# Figures kept of a computed value: more than any input deserves, few enough to be alike on every machine.
FIGURES = 9

Quantity: TypeAlias = "pint.Quantity[float]"


@cache
def registry() -> pint.UnitRegistry[float]:
    """Pint's registry in floats; built once per process, at the first formula."""
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@cache
def pint_unit(code: str) -> pint.Unit:
    """Pint's unit for a unit's code; parsed once per process. Refuses an unknown code with `UnitError`."""
    return registry().Unit(unit(code).pint)


def quantity(value: float | Decimal | Amount, code: str = "") -> Quantity:
    """A quantity from an amount, or from a number and a unit's code."""
    if isinstance(value, Amount):
        return registry().Quantity(float(value.value), pint_unit(value.unit))
    return registry().Quantity(float(value), pint_unit(code))


def magnitude(of: Quantity, code: str) -> float:
    """The number of a quantity in a unit. Another dimension is a programming error (`pint.DimensionalityError`)."""
    return float(of.to(pint_unit(code)).magnitude)


def amount(of: Quantity, code: str) -> Amount:
    """A quantity as an amount in a unit, with at most `FIGURES` significant figures.

    Refuses with `EngineeringError` what is no ordinary number: an infinity is never shown.
    """
    return number(magnitude(of, code), code)


def number(value: float, code: str) -> Amount:
    """A plain float, already in the unit `code`, as an amount of at most `FIGURES` figures."""
    if not math.isfinite(value):
        raise EngineeringError("These figures together give no answer. Look at them again, one by one.")
    rounded = Decimal(f"{value:.{FIGURES}g}")
    if rounded == 0:
        return Amount(Decimal(0), code)
    # Plain digits, also for 6E+3, and no tail of zeros.
    return Amount(Decimal(f"{rounded.normalize():f}"), code)


def has_dimension(of: Quantity, dimension: str) -> bool:
    """Whether a quantity is of a dimension of `units.BASE`; torque and energy count as one for Pint."""
    return any(of.check(pint_unit(u.code).dimensionality) for u in UNITS.values() if u.dimension == dimension)
