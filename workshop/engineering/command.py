"""Calculators in plain text: typed inputs read against their declaration, and answers, lists and helps as lines.

A unit is looked up in the closed list by its code or its label; no typed text reaches Pint.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from textwrap import wrap
from typing import Any

from workshop.engineering.calculate import refusal
from workshop.engineering.declare import (
    INFORMS,
    LOCAL_APPROVAL,
    Calculator,
    Choice,
    Input,
    InputErrors,
    Number,
    Numbers,
    Text,
)
from workshop.engineering.errors import EngineeringError
from workshop.engineering.numbers import parse_number
from workshop.engineering.result import Given
from workshop.engineering.units import UNITS, Amount, Unit, show

WIDTH = 100
# A number at the head of a text, as much of it as may belong to one; what follows is the unit.
_NUMBER = re.compile(r"[-+\u2212]?[0-9.,'\u00a0\u2009\u202f ]*")
# Signs that a keyboard lacks, and what is typed for them.
_PLAIN = str.maketrans(
    {"·": "", ".": "", " ": "", "²": "2", "³": "3", "⁻": "-", "¹": "1", "Ω": "ohm", "*": ""}
)
MOST_TYPED = 4000


def read_inputs(calculator: Calculator, typed: Iterable[tuple[str, str]]) -> dict[str, Given]:
    """Inputs from (name, text) pairs: "80 N.m", a choice's code, "12.4 12.1 11.9 bar" for a row.

    Refuses with `InputErrors`: one sentence for each text that can't be read, each name that is unknown or
    given twice. What is missing or out of range is for `calculate` to refuse.
    """
    by_name = {each.name: each for each in calculator.inputs}
    given: dict[str, Given] = {}
    errors: dict[str, str] = {}
    for name, text in typed:
        if name not in by_name:
            errors[name] = f"There is no such input. These are: {', '.join(by_name)}."
        elif name in given or name in errors:
            errors[name] = "This is given twice: give it once."
        else:
            try:
                given[name] = Given(read(by_name[name], text))
            except EngineeringError as error:
                errors[name] = str(error)
    if errors:
        # What else is wrong is said too: nobody should have to run it once for each mistake.
        for each in calculator.inputs:
            if each.name not in errors and (sentence := _refused(each, given.get(each.name))):
                errors[each.name] = sentence
        raise InputErrors(errors)
    return given


def _refused(of: Input, given: Given | None) -> str:
    if given is None and isinstance(of, Number) and of.assumed is not None:
        return ""
    return refusal(of, given)


def read(of: Input, text: str) -> Amount | tuple[Amount, ...] | str:
    """One typed text as this input's value. Refuses with `EngineeringError` what has no number or no unit."""
    if len(text) > MOST_TYPED:
        raise EngineeringError(f"That is too long: give at most {MOST_TYPED} characters.")
    text = text.strip()
    if isinstance(of, Number):
        number, code = _split(text, of.unit_codes)
        if code == "1":
            # "0.38 1": the unit of a plain number by its code.
            number = re.sub(r"\s1$", "", number)
        return Amount(parse_number(number), code)
    if isinstance(of, Numbers):
        number, code = _split(text, of.unit_codes)
        return tuple(Amount(parse_number(each), code) for each in number.split())
    return text


def _split(text: str, codes: tuple[str, ...]) -> tuple[str, str]:
    found = _NUMBER.match(text)
    number = found.group().strip() if found else ""
    # "12.4 12.1 -0.2 bar": what begins like a number belongs to the row.
    rest = text[len(found.group()) if found else 0 :]
    while (
        rest[:1] in ("-", "+", "\u2212") and (more := _NUMBER.match(rest)) and more.group().strip("-+\u2212 ")
    ):
        number, rest = f"{number} {more.group().strip()}", rest[len(more.group()) :]
    if not number:
        raise EngineeringError(
            f"“{_short(text)}” does not begin with a number. Write it like {_like(codes)}."
        )
    return number, unit_named(rest.strip(), codes)


def unit_named(text: str, codes: tuple[str, ...]) -> str:
    """The code of the unit that `text` names by its code or its label; `codes` are those that are expected.

    A unit of another dimension is answered too: the refusal then says what it is. Refuses what is no unit.
    """
    for how in (_exactly, _plainly, _in_any_case):
        expected = [code for code in codes if how(text, UNITS[code])]
        others = [code for code, unit in UNITS.items() if code not in codes and how(text, unit)]
        if text and len(expected) == 1:
            return expected[0]
        if text and not expected and len(others) == 1:
            return others[0]
    if not text and "1" in codes:
        return "1"
    known = ", ".join(code for code in codes if code != "1") or "none: a plain number"
    if not text:
        raise EngineeringError(f"Give the unit too: a number without one can't be used. Units here: {known}.")
    raise EngineeringError(f"“{_short(text)}” is no unit that is known here. Units here: {known}.")


def _exactly(text: str, unit: Unit) -> bool:
    return text in (unit.code, unit.label)


def _plainly(text: str, unit: Unit) -> bool:
    """As it can be typed: "Nm" for N·m, "mm2" for mm²."""
    return text.translate(_PLAIN) in (unit.code.translate(_PLAIN), unit.label.translate(_PLAIN))


def _in_any_case(text: str, unit: Unit) -> bool:
    plain = text.translate(_PLAIN).casefold()
    return plain in (unit.code.translate(_PLAIN).casefold(), unit.label.translate(_PLAIN).casefold())


def _like(codes: tuple[str, ...]) -> str:
    return f"12.5 {codes[0]}" if codes[0] != "1" else "12.5"


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:39]}…"


# ------------------------------------------------------------------------------------------------- lines to print


def list_lines(calculators: Iterable[Calculator]) -> list[str]:
    """Every calculator with the question that it answers, by group."""
    lines: list[str] = []
    group = ""
    for each in calculators:
        if each.group != group:
            group = each.group
            lines += ["", group] if lines else [group]
        lines += [f"  {each.slug}", *_folded(each.question, "      ")]
    return lines


def listed(calculators: Iterable[Calculator]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "slug": each.slug,
            "name": each.name,
            "group": each.group,
            "question": each.question,
            "version": each.version,
            "inputs": [told(one) for one in each.inputs],
            "example": dict(each.example),
        }
        for each in calculators
    ]


def told(of: Input) -> dict[str, Any]:
    """What one input takes, as plain data."""
    data: dict[str, Any] = {"name": of.name, "label": of.label, "needed": is_needed(of), "help": of.help}
    if isinstance(of, Number | Numbers):
        data |= {
            "units": list(of.unit_codes),
            "low": f"{of.low:f}",
            "high": f"{of.high:f}",
            "range_in": of.unit,
        }
    if isinstance(of, Number) and of.assumed is not None:
        data |= {"assumed": f"{of.assumed.value:f}", "because": of.assumed.because}
    if isinstance(of, Numbers):
        data |= {"at_least": of.at_least, "at_most": of.at_most}
    if isinstance(of, Choice):
        data |= {"options": [{"code": code, "label": label} for code, label in of.options]}
    if isinstance(of, Text):
        data |= {"like": of.example, "max_length": of.max_length}
    return data


def is_needed(of: Input) -> bool:
    """Whether it can't be left out: it is neither optional nor assumed where it is missing."""
    if isinstance(of, Numbers):
        return True
    return not of.optional and not (isinstance(of, Number) and of.assumed is not None)


def help_lines(calculator: Calculator) -> list[str]:
    """What a calculator takes, with ranges, units, codes, and an example that can be typed as it stands."""
    lines = [f"{calculator.name} (version {calculator.version})", *_folded(calculator.question), "", "Inputs"]
    for each in calculator.inputs:
        needed = "" if is_needed(each) else "  (may be left out)"
        lines += [f"  {each.name}{needed}", *_folded(f"{each.label}. {each.help}".strip(), "      ")]
        lines += _folded(f"{_takes(each)}.", "      ")
    example = " ".join(f'{name}="{text}"' for name, text in calculator.example.items())
    return [*lines, "", "Example", f"  calculate {calculator.slug} {example}"]


def _takes(of: Input) -> str:
    if isinstance(of, Number | Numbers):
        span = f"{show(Amount(of.low, of.unit))} to {show(Amount(of.high, of.unit))}"
        units = ", ".join(code for code in of.unit_codes if code != "1")
        words = f"{span}; units: {units}" if units else f"{span}, a plain number"
        if isinstance(of, Numbers):
            return f"{of.at_least} to {of.at_most} of them, each {words}"
        if of.assumed is not None:
            words += (
                f"; left out, {show(Amount(of.assumed.value, of.unit))} is assumed ({of.assumed.because})"
            )
        return words
    if isinstance(of, Choice):
        return "one of " + ", ".join(f"{code} ({label})" for code, label in of.options)
    return f"as it is written on the thing, such as {of.example}"


def result_lines(record: Mapping[str, Any]) -> list[str]:
    """A result's record (`Result.record()`) as lines: the main value first, then all that it came from."""
    main = [each for each in record["outputs"] if each["main"]]
    rest = [each for each in record["outputs"] if not each["main"]]
    lines = [f"{record['name']} (version {record['version']})", ""]
    lines += [f"{each['label']}: {each['shown']}" for each in (*main, *rest)]
    lines += _part("", [record["verdict"]] if record["verdict"] else [])
    lines += _part("", record["notes"])
    for table in record["tables"]:
        lines += ["", table["title"], *_columns([table["head"], *table["rows"]])]
    for plot in record["plots"]:
        lines += ["", plot["title"], *_folded(plot["summary"], "  ")]
        lines += _columns([plot["head"], *plot["rows"]]) if plot["rows"] else []
    inputs = [
        f"{each['label']}: {each['shown']} ({': '.join(filter(None, (each['origin'], each['words'])))})"
        for each in record["inputs"]
    ]
    lines += _part("From", inputs) + _part("Assumed", record["assumptions"])
    lines += _part("Formula", record["formula"].splitlines()) + _part("Sources", record["sources"])
    lines += _part("With care", record["cautions"])
    lines += _part("", [LOCAL_APPROVAL] if record["local_approval"] else [])
    return [*lines, "", *_folded(INFORMS)]


def _part(title: str, sentences: Iterable[str]) -> list[str]:
    rows = [line for sentence in sentences for line in _folded(sentence, "  " if title else "")]
    return ["", *([title] if title else []), *rows] if rows else []


def _columns(rows: Iterable[Iterable[str]]) -> list[str]:
    table = [list(row) for row in rows]
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    return [
        ("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))).rstrip()
        for row in table
    ]


def _folded(text: str, indent: str = "") -> list[str]:
    return wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)
