"""Numbers with units: a closed list of units, conversion by Pint in decimals, and display.

A number and its unit are two inputs. The number goes through `parse_number`, the unit is chosen
from `UNITS`; a person's text never reaches Pint, which reads "1,5 bar" as 15 bar and "110 Nm" as
a yarn count.

Sources of the factors: BIPM SI Brochure; NIST SP 811 (2008), Appendix B.8. Pint carries the
definitions (inch, pound, standard gravity) as exact decimals.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, localcontext
from functools import cache

import pint

from workshop.engineering.errors import EngineeringError
from workshop.engineering.numbers import parse_number

# More digits than anyone types (18), so that going there and back returns what was typed.
WORKING_DIGITS = 50
RESULT_DIGITS = 28


class UnitError(EngineeringError):
    """A unit that is missing, unknown, or of another dimension than the value it meets."""


@dataclass(frozen=True)
class Unit:
    """One unit a person may choose.

    `code` is what the database stores, `label` what a person reads, `pint` Pint's own name.
    `decimals` is how many decimals a screen shows of a value from 1 on; from `whole_from` on it shows none.
    """

    code: str
    label: str
    dimension: str
    pint: str
    decimals: int = 0
    whole_from: Decimal | None = None


_100 = Decimal(100)
_1000 = Decimal(1000)
# Below 1 a value keeps so many figures, whatever its unit's decimals: 15.7 W are 0.016 kW and not 0 kW.
LEAST_FIGURES = 2
# Decimals beyond these are the tail that floats leave of a difference of nothing.
MOST_DECIMALS = 9

_LIST = (
    # N·m and J have the same dimension, and lb is a mass: torque is kept apart by name.
    Unit("N.m", "N·m", "torque", "newton * meter", 1, _100),
    Unit("lbf.ft", "lbf·ft", "torque", "pound_force * foot", 1, _100),
    Unit("lbf.in", "lbf·in", "torque", "pound_force * inch", 1, _100),
    Unit("kgf.m", "kgf·m", "torque", "kilogram_force * meter", 2),
    Unit("kgf.cm", "kgf·cm", "torque", "kilogram_force * centimeter", 1, _100),
    # Tightening angles are whole degrees; camber and caster are small and need their decimals.
    Unit("deg", "°", "angle", "degree", 2, Decimal(30)),
    Unit("arcmin", "′", "angle", "arcminute", 1, _100),
    Unit("km", "km", "distance", "kilometer"),
    Unit("mi", "mi", "distance", "mile"),
    Unit("mm", "mm", "length", "millimeter", 3, _1000),
    Unit("m", "m", "length", "meter", 3, _100),
    Unit("in", "in", "length", "inch", 4, _100),
    Unit("kPa", "kPa", "pressure", "kilopascal", 1, _1000),
    Unit("bar", "bar", "pressure", "bar", 2, _100),
    Unit("psi", "psi", "pressure", "pound_force_per_square_inch", 1, _100),
    Unit("V", "V", "voltage", "volt", 2),
    Unit("mV", "mV", "voltage", "millivolt", 1, _100),
    Unit("A", "A", "current", "ampere", 2, _100),
    Unit("mA", "mA", "current", "milliampere", 1, _100),
    Unit("ohm", "Ω", "resistance", "ohm", 3, _100),
    Unit("mohm", "mΩ", "resistance", "milliohm", 2, _100),
    Unit("kg", "kg", "mass", "kilogram", 2, _100),
    Unit("g", "g", "mass", "gram", 1, _100),
    Unit("lb", "lb", "mass", "pound", 2, _100),
    Unit("N", "N", "force", "newton", 1, _100),
    Unit("kN", "kN", "force", "kilonewton", 2, _100),
    Unit("lbf", "lbf", "force", "pound_force", 1, _100),
    Unit("degC", "°C", "temperature", "degree_Celsius", 1, _100),
    Unit("km/h", "km/h", "speed", "kilometer / hour", 1, Decimal(10)),
    Unit("mph", "mph", "speed", "mile / hour", 1, Decimal(10)),
    Unit("l", "l", "volume", "liter", 2, _100),
    Unit("ml", "ml", "volume", "milliliter", 1, Decimal(10)),
    Unit("h", "h", "time", "hour", 2, _100),
    Unit("min", "min", "time", "minute", 1, _100),
    Unit("s", "s", "time", "second", 1, _100),
    Unit("W", "W", "power", "watt", 1, _100),
    Unit("kW", "kW", "power", "kilowatt", 1),
    Unit("PS", "PS", "power", "metric_horsepower", 1),
    Unit("hp", "hp", "power", "horsepower", 1),
    Unit("rpm", "min⁻¹", "rotation", "rpm"),
    Unit("Ah", "Ah", "charge", "ampere_hour", 1),
    Unit("mm2", "mm²", "area", "millimeter ** 2", 2, _100),
    Unit("cm2", "cm²", "area", "centimeter ** 2", 2, _100),
    Unit("in2", "in²", "area", "inch ** 2", 3, _100),
    Unit("cm3", "cm³", "displacement", "centimeter ** 3", 1, _100),
    Unit("d", "days", "duration", "day", 1, _100),
    Unit("hours", "hours", "duration", "hour", 1, _100),
    Unit("N/mm", "N/mm", "stiffness", "newton / millimeter", 1, _100),
    Unit("kN/mm", "kN/mm", "stiffness", "kilonewton / millimeter", 3, _100),
    Unit("mohm/m", "mΩ/m", "resistance per length", "milliohm / meter", 3, _100),
    Unit("l/min", "l/min", "flow", "liter / minute", 1, _100),
    Unit("l/h", "l/h", "flow", "liter / hour", 1, _100),
    # A difference of temperatures: never shifted by 273, unlike a temperature.
    Unit("K", "K", "temperature difference", "kelvin", 1, _100),
    Unit("m/s2", "m/s²", "deceleration", "meter / second ** 2", 2),
    Unit("g0", "g", "deceleration", "standard_gravity", 3),
    Unit("kg/m3", "kg/m³", "density", "kilogram / meter ** 3", 3, _100),
    Unit(
        "kmh/krpm",
        "km/h per 1000 min⁻¹",
        "gearing",
        "meter / hour / rpm",
        2,
        _100,
    ),
    # Pint takes no numbers in a unit: 1 mm in 10 000 km is one part in 10¹⁰.
    Unit("mm/10Mm", "mm per 10 000 km", "wear", "angstrom / meter", 3, _100),
    Unit("%", "%", "ratio", "percent", 1),
    # Also what has no dimension: a friction of 0.38, a ratio of 4.0625.
    Unit("1", "", "count", "dimensionless", 4),
)

UNITS: dict[str, Unit] = {unit.code: unit for unit in _LIST}

BASE: dict[str, str] = {
    "torque": "N.m", "angle": "deg", "distance": "km", "length": "mm", "pressure": "kPa",
    "voltage": "V", "current": "A", "resistance": "ohm", "mass": "kg", "force": "N",
    "temperature": "degC", "speed": "km/h", "volume": "l", "time": "h", "power": "kW",
    "rotation": "rpm", "charge": "Ah", "area": "mm2", "displacement": "cm3", "duration": "d",
    "stiffness": "N/mm", "resistance per length": "mohm/m", "flow": "l/min", "temperature difference": "K",
    "deceleration": "m/s2", "density": "kg/m3", "gearing": "kmh/krpm", "wear": "mm/10Mm",
    "ratio": "%", "count": "1",
}  # fmt: skip


def unit(code: str) -> Unit:
    """The unit with this code, or `UnitError`. An empty code is refused: no value without a unit."""
    if not code:
        raise UnitError("Choose a unit: a number without one can't be kept.")
    try:
        return UNITS[code]
    except KeyError:
        raise UnitError(f"“{code}” is not a unit this application knows. Choose one from the list.") from None


def units_of(dimension: str) -> list[Unit]:
    """The units of one dimension, the base unit first. An unknown dimension is refused."""
    if dimension not in BASE:
        raise UnitError(f"“{dimension}” is not a kind of quantity this application knows.")
    # The sort is stable: False, the base unit, before True, the others in their order.
    return sorted((u for u in _LIST if u.dimension == dimension), key=lambda u: u.code != BASE[dimension])


@cache
def registry() -> pint.UnitRegistry[Decimal]:
    """Pint's registry in decimals; built once per process, at the first conversion."""
    return pint.UnitRegistry(non_int_type=Decimal)


@cache
def factor(from_code: str, to_code: str) -> Decimal:
    """How many `to_code` make one `from_code`. Refuses units of different dimension."""
    start, goal = unit(from_code), unit(to_code)
    if start.dimension != goal.dimension:
        raise UnitError(
            f"{start.label or 'A plain number'} is a unit of {start.dimension}, "
            f"{goal.label or 'a plain number'} one of {goal.dimension}: one can't be turned into the other."
        )
    if start == goal:
        return Decimal(1)
    with localcontext(prec=WORKING_DIGITS + 10):
        found = registry().Quantity(Decimal(1), start.pint).to(goal.pint).magnitude
    # Pint goes through seconds and metres, so 1 mph ends in …3999: round off the division's tail.
    with localcontext(prec=WORKING_DIGITS):
        return +Decimal(found)


@dataclass(frozen=True)
class Amount:
    """A number with its unit's code. The value keeps the digits that were typed."""

    value: Decimal
    unit: str

    def __post_init__(self) -> None:
        unit(self.unit)
        if not isinstance(self.value, Decimal):
            raise TypeError(f"an amount holds a Decimal, not {type(self.value).__name__}")
        if not self.value.is_finite():
            raise UnitError("An amount must be an ordinary number.")

    @classmethod
    def typed(cls, text: str, code: str) -> "Amount":
        """What a person typed and chose. Raises `NumberError` for the text, `UnitError` for the unit."""
        return cls(parse_number(text), unit(code).code)

    @property
    def dimension(self) -> str:
        return UNITS[self.unit].dimension

    def to(self, code: str) -> "Amount":
        """The same amount in another unit of its dimension, or `UnitError`."""
        if code == self.unit:
            return self
        ratio = factor(self.unit, code)
        with localcontext(prec=RESULT_DIGITS):
            return Amount(_tidy(self.value * ratio), code)

    def base(self) -> Decimal:
        """The value in the base unit of the dimension (see `BASE`): what the database stores."""
        return self.to(BASE[self.dimension]).value

    def __str__(self) -> str:
        return with_label(f"{self.value:f}", self.unit)


def _tidy(value: Decimal) -> Decimal:
    """Without the zeros that a division or a database column hangs on: 120.000000 is 120."""
    if value == value.to_integral_value():
        return value.quantize(Decimal(1)) if value.adjusted() < RESULT_DIGITS - 1 else value
    return value.normalize()


def with_label(number: str, code: str) -> str:
    """A number's text with its unit: degrees and minutes of arc stand close, others after a space."""
    label = unit(code).label
    return f"{number}{label}" if label in {"°", "′", ""} else f"{number} {label}"


def rounded(value: Decimal, code: str) -> Decimal:
    """A value for display, with as many decimals as its unit deserves; below 1 with two figures at least.

    Never adds a digit: what was set at 120 is not shown as a measured 120.0. What is not zero is not shown as 0,
    down to half of the ninth decimal.
    """
    chosen = unit(code)
    whole = chosen.whole_from is not None and abs(value) >= chosen.whole_from
    decimals = 0 if whole else chosen.decimals
    if 0 < abs(value) < 1:
        decimals = max(decimals, min(LEAST_FIGURES - 1 - value.adjusted(), MOST_DECIMALS))
    step = Decimal(1).scaleb(-decimals)
    with localcontext(prec=WORKING_DIGITS):
        return _tidy(value.quantize(step, rounding=ROUND_HALF_UP)) + 0


def show(amount: Amount, code: str | None = None) -> str:
    """An amount as a person reads it, rounded, in its own unit or in another of its dimension."""
    wanted = amount.to(code) if code else amount
    return with_label(f"{rounded(wanted.value, wanted.unit):f}", wanted.unit)


__all__ = [
    "BASE", "UNITS", "Amount", "Unit", "UnitError", "factor", "parse_number", "registry", "rounded", "show",
    "unit", "units_of", "with_label",
]  # fmt: skip
