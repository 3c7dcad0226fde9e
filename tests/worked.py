"""Short ways for the tests of calculators and effects: inputs as typed texts, cars as a few figures."""

from decimal import Decimal

import pytest

from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import calculators
from workshop.engineering.command import read_inputs
from workshop.engineering.declare import InputErrors, Number, Numbers
from workshop.engineering.effect import CarFigures, Figure, Part
from workshop.engineering.result import Given, Origin, Result
from workshop.engineering.units import UNITS, Amount


def worked(slug, **typed):
    """The result for "80 N.m", "12.4 12.1 bar", a code or a text; a plain number without a unit is a count."""
    calculator = calculators()[slug]
    given = {}
    for name, text in typed.items():
        of = calculator.input(name)
        *values, last = text.split()
        if isinstance(of, Number):
            given[name] = Given(amount(text))
        elif isinstance(of, Numbers):
            given[name] = Given(tuple(Amount(Decimal(value), last) for value in values))
        else:
            given[name] = Given(text)
    return calculate(calculator, given)


def run(slug: str, **typed: str | None) -> Result:
    """A calculator's result from its example, with some inputs typed otherwise; None leaves one empty."""
    calculator = calculators()[slug]
    texts = {**calculator.example, **typed}
    return calculate(
        calculator, read_inputs(calculator, [(name, text) for name, text in texts.items() if text])
    )


def refused(slug: str, **typed: str | None) -> dict[str, str]:
    """The sentences with which its example is refused when some inputs are typed otherwise."""
    with pytest.raises(InputErrors) as caught:
        run(slug, **typed)
    return caught.value.errors


def answer(result: Result, name: str) -> float:
    """A value of a result as a float in the unit that it has, also of one that is a text."""
    value = result.values[name]
    return float(value) if isinstance(value, str) else float(value.value)


def number(result, name, unit):
    """A value of a result as a float in a unit."""
    return float(result.values[name].to(unit).value)


def amount(text):
    value, _, unit = text.partition(" ")
    return Amount(Decimal(value), unit or "1")


def figures(**known):
    """Figures by key: front__track="1500 mm"; a text that is no number stays one."""
    return {key.replace("__", "."): figure(text) for key, text in known.items()}


def figure(text, origin=Origin.DATA_SHEET):
    value, _, unit = text.partition(" ")
    is_number = value.replace(".", "", 1).replace("-", "", 1).isdigit() and (unit or "1") in UNITS
    return Figure(amount(text) if is_number else text, origin)


def part(id, place, position, **known):
    return Part(
        id,
        f"part {id}",
        place,
        place,
        position,
        {code: figure(text, Origin.PART) for code, text in known.items()},
    )


def car(factory=None, *parts, **own):
    return CarFigures(figures(**(factory or {})), tuple(parts), figures(**own))
