"""A calculator's answer with all that it came from, and the plain record of it that is kept and printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from workshop.engineering.declare import Calculator, Choice, Input, Outcome
from workshop.engineering.units import Amount, show


class Origin(StrEnum):
    """Where an input came from."""

    TYPED = "typed"
    DATA_SHEET = "data_sheet"
    CAR = "car"
    PART = "part"
    ASSUMED = "assumed"

    @property
    def label(self) -> str:
        return {
            "typed": "typed in",
            "data_sheet": "data sheet",
            "car": "measured on this car",
            "part": "fitted part",
            "assumed": "assumed",
        }[self]


@dataclass(frozen=True)
class Given:
    """An input's value and where it came from. `words` say it closer: the source on the data sheet, the part."""

    value: Amount | tuple[Amount, ...] | str
    origin: Origin = Origin.TYPED
    words: str = ""

    @property
    def shown(self) -> str:
        if isinstance(self.value, tuple):
            return "  ".join(show(each) for each in self.value)
        return show(self.value) if isinstance(self.value, Amount) else self.value


@dataclass(frozen=True)
class Spread:
    """What an assumption does to a result: the input, its range, and the main value at both ends.

    `between`: the least and the greatest that the main value was found to be, where it is a number throughout.
    """

    label: str
    value: str
    low: str
    high: str
    because: str
    output: str
    at_low: str
    at_high: str
    between: tuple[str, str] | None = None

    @property
    def sentence(self) -> str:
        assumed = f"{self.label} is assumed to be {self.value} ({self.because})."
        output = f"{self.output[:1].lower()}{self.output[1:]}"
        if self.between is None:
            return f"{assumed} {output[:1].upper()}{output[1:]} at {self.low}: {self.at_low}; at {self.high}: {self.at_high}."
        least, greatest = self.between
        if least == greatest:
            return f"{assumed} Anywhere from {self.low} to {self.high}, {output} stays {least}."
        return f"{assumed} Anywhere from {self.low} to {self.high}, {output} lies between {least} and {greatest}."


@dataclass(frozen=True)
class Result:
    """A calculator's answer with all that it came from. `record()` is what is kept and printed."""

    calculator: Calculator
    given: Mapping[str, Given]
    values: Mapping[str, Amount | str]
    outcome: Outcome
    spreads: tuple[Spread, ...] = ()

    def record(self) -> dict[str, Any]:
        """The whole answer as plain data (texts, lists, dicts), readable without this program.

        A kept record is never worked out again: it prints from this alone.
        """
        calculator, outcome = self.calculator, self.outcome
        return {
            "format": 1,
            "calculator": calculator.slug,
            "version": calculator.version,
            "name": calculator.name,
            "group": calculator.group,
            "inputs": [
                {
                    "name": each.name,
                    "label": each.label,
                    "shown": _choice_words(each, self.given[each.name]),
                    "origin": self.given[each.name].origin.label,
                    "words": self.given[each.name].words,
                    **_plain(self.given[each.name].value),
                }
                for each in calculator.inputs
                if each.name in self.given
            ],
            "outputs": [
                {
                    "name": each.name,
                    "label": each.label,
                    "main": each.main,
                    "shown": shown_value(self.values[each.name]),
                    **_plain(self.values[each.name]),
                }
                for each in calculator.outputs
                if each.name in self.values
            ],
            "verdict": outcome.verdict,
            "odd": outcome.odd,
            "notes": list(outcome.notes),
            "tables": [
                {"title": table.title, "head": list(table.head), "rows": [list(row) for row in table.rows]}
                for table in outcome.tables
            ],
            "plots": [plot.record() for plot in outcome.plots],
            "assumptions": [spread.sentence for spread in self.spreads],
            "formula": calculator.formula,
            "sources": [str(source) for source in calculator.sources],
            "cautions": list(calculator.cautions),
            "local_approval": calculator.local_approval,
        }


def shown_value(value: Amount | str) -> str:
    return show(value) if isinstance(value, Amount) else value


def _choice_words(of: Input, given: Given) -> str:
    if isinstance(of, Choice) and isinstance(given.value, str):
        return dict(of.options).get(given.value, given.value)
    return given.shown


def _plain(value: Amount | tuple[Amount, ...] | str) -> dict[str, Any]:
    if isinstance(value, Amount):
        return {"value": f"{value.value:f}", "unit": value.unit}
    if isinstance(value, tuple):
        return {"value": [f"{each.value:f}" for each in value], "unit": value[0].unit}
    return {"value": value, "unit": ""}
