"""Working a calculator out: its inputs checked, each refusal by its input, the assumptions worked out at both ends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from workshop.engineering.declare import (
    Calculator,
    Choice,
    Input,
    InputErrors,
    Number,
    Numbers,
    Outcome,
    Output,
    Text,
)
from workshop.engineering.errors import EngineeringError
from workshop.engineering.quantities import amount, quantity
from workshop.engineering.result import Given, Origin, Result, Spread, shown_value
from workshop.engineering.units import UNITS, Amount, show

# A number with more digits before or after its sign than this is no measurement, and too long to be written out.
MOST_DIGITS = 25

# What the function answered, and its values as amounts.
Worked = tuple[Outcome, dict[str, Amount | str]]


def calculate(calculator: Calculator, given: Mapping[str, Given]) -> Result:
    """The result for these inputs. What is missing and has an assumption is assumed, and said so.

    Refuses with `InputErrors`: a sentence for each input that is missing, out of its plausible range or of
    another dimension, or one for all where the figures together give no answer.
    """
    used = {name: one for name, one in given.items() if one.value not in ("", ())}
    if unknown := set(used) - {each.name for each in calculator.inputs}:
        raise TypeError(f"{calculator.slug} has no input {', '.join(sorted(unknown))}")
    for each in calculator.inputs:
        if each.name not in used and isinstance(each, Number) and each.assumed is not None:
            used[each.name] = Given(
                Amount(each.assumed.value, each.unit), Origin.ASSUMED, each.assumed.because
            )
    if errors := {
        each.name: sentence for each in calculator.inputs if (sentence := refusal(each, used.get(each.name)))
    }:
        raise InputErrors(errors)
    outcome, values = _work(calculator, used)
    return Result(calculator, used, values, outcome, tuple(_spreads(calculator, used, (outcome, values))))


def refusal(of: Input, given: Given | None) -> str:
    """Why this value can't be taken for this input; empty when it can. Names the plausible range."""
    if given is None:
        if isinstance(of, Number | Choice | Text) and of.optional:
            return ""
        return f"{_missing(of)}"
    value = given.value
    if isinstance(of, Choice):
        codes = dict(of.options)
        return "" if value in codes else f"Choose one of: {', '.join(codes.values())}."
    if isinstance(of, Text):
        if not isinstance(value, str):
            return f"Write it as it stands there, such as {of.example}."
        return "" if len(value) <= of.max_length else f"That is too long: at most {of.max_length} characters."
    if isinstance(of, Number):
        if not isinstance(value, Amount):
            return "Give a number with its unit."
        if of.whole and value.value != value.value.to_integral_value():
            return "Give a whole number."
        return _out_of_range(of, value)
    if not isinstance(value, tuple):
        return "Give a row of numbers with their unit."
    if not of.at_least <= len(value) <= of.at_most:
        return f"Give {of.at_least} to {of.at_most} readings: {len(value)} were given."
    for place, each in enumerate(value, 1):
        if sentence := _out_of_range(of, each):
            return f"{of.each} {place}: {sentence}"
    return ""


def _missing(of: Input) -> str:
    if isinstance(of, Number):
        return f"Give this, with its unit: from {_span(of)}."
    if isinstance(of, Numbers):
        return f"Give {of.at_least} or more readings, each from {_span(of)}."
    return "Choose one." if isinstance(of, Choice) else f"Write it as it stands there, such as {of.example}."


def _span(of: Number | Numbers, code: str = "") -> str:
    """The range in the declared unit; in another one too, where that was typed (there it is rounded)."""
    low, high = Amount(of.low, of.unit), Amount(of.high, of.unit)
    text = f"{show(low)} to {show(high)}"
    return text if code in ("", of.unit) else f"{text} ({show(low.to(code))} to {show(high.to(code))})"


def _out_of_range(of: Number | Numbers, value: Amount) -> str:
    if value.dimension != of.dimension:
        wanted = ", ".join(UNITS[code].label or "a plain number" for code in of.unit_codes)
        return f"{UNITS[value.unit].label or 'A plain number'} is a unit of {value.dimension}; here it is {wanted}."
    if abs(value.value.adjusted()) > MOST_DIGITS and value.value:
        return f"{value.value:.3e} is not plausible here: give {_span(of, value.unit)}."
    there = value.to(of.unit).value
    if of.low <= there <= of.high:
        return ""
    return f"{show(value)} is not plausible here: give {_span(of, value.unit)}."


def _work(calculator: Calculator, given: Mapping[str, Given]) -> Worked:
    arguments: dict[str, Any] = {}
    for each in calculator.inputs:
        one = given.get(each.name)
        if one is None:
            arguments[each.name] = None
        elif isinstance(one.value, Amount):
            arguments[each.name] = quantity(one.value)
        elif isinstance(one.value, tuple):
            arguments[each.name] = [quantity(value) for value in one.value]
        else:
            arguments[each.name] = one.value.strip()
    try:
        outcome = calculator.work(**arguments)
        values: dict[str, Amount | str] = {}
        for output in calculator.outputs:
            if output.name not in outcome.values:
                continue
            value = outcome.values[output.name]
            if isinstance(value, str | Amount):
                values[output.name] = value
            else:
                values[output.name] = amount(value, _unit_of(output, given))
    except InputErrors:
        raise
    except EngineeringError as error:
        raise InputErrors({"": str(error)}) from error
    except (ZeroDivisionError, OverflowError) as error:
        raise InputErrors(
            {"": "These figures together give no answer. Look at them again, one by one."}
        ) from error
    return outcome, values


def _unit_of(output: Output, given: Mapping[str, Given]) -> str:
    followed = given[output.follows].value if output.follows in given else None
    return followed.unit if isinstance(followed, Amount) else output.unit or "1"


def _spreads(calculator: Calculator, given: Mapping[str, Given], found: Worked) -> list[Spread]:
    """Each assumption at both ends of its range. One that changes nothing at all was not used, and is left out."""
    main = next(each for each in calculator.outputs if each.main)
    spreads = []
    for each in calculator.inputs:
        if not isinstance(each, Number) or each.assumed is None or given[each.name].origin != Origin.ASSUMED:
            continue
        ends: list[Worked | None] = []
        for end in (each.assumed.low, each.assumed.high):
            changed = replace(given[each.name], value=Amount(end, each.unit))
            try:
                ends.append(_work(calculator, {**given, each.name: changed}))
            except InputErrors:
                ends.append(None)
        if all(end is not None and _alike(end, found) for end in ends):
            continue
        values = [None if one is None else one[1].get(main.name) for one in (ends[0], found, ends[1])]
        shown = ["no answer" if value is None else shown_value(value) for value in values]
        spreads.append(
            Spread(
                each.label,
                _shown(each.assumed.value, each.unit),
                _shown(each.assumed.low, each.unit),
                _shown(each.assumed.high, each.unit),
                each.assumed.because,
                main.label,
                shown[0],
                shown[2],
                _between(values),
            )
        )
    return spreads


def _alike(one: Worked, other: Worked) -> bool:
    """Whether two answers say the same in everything that they show."""

    def said(of: Outcome) -> tuple[Any, ...]:
        return of.verdict, of.odd, of.notes, of.tables, of.plots

    return one[1] == other[1] and said(one[0]) == said(other[0])


def _between(values: Sequence[Amount | str | None]) -> tuple[str, str] | None:
    """The least and the greatest of these amounts; None where one of them is none."""
    amounts = sorted((each for each in values if isinstance(each, Amount)), key=lambda each: each.value)
    return (show(amounts[0]), show(amounts[-1])) if len(amounts) == len(values) else None


def _shown(value: Decimal, code: str) -> str:
    return show(Amount(value, code))
