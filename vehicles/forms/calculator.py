"""The form of a calculator, made from its declaration alone; it is read from an address, so that a result is a link."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from vehicles.calculations import Known, Value, alike, given_of, units_offered
from workshop.engineering.calculate import calculate, refusal
from workshop.engineering.declare import RESERVED, Calculator, Choice, Input, InputErrors, Number, Numbers
from workshop.engineering.effect import Figure
from workshop.engineering.result import Result
from workshop.engineering.units import Amount, show
from workshop.forms.base import speak
from workshop.forms.fields import AmountField, AmountWidget, number
from workshop.forms.typing import guide_typing

# So many cells of a row are shown at first where fewer are needed, and so many come with "More".
CELLS = 4
RADIOS = 6
LONGEST_NUMBER = 24
PLAIN = "1"
_TOO_LONG = f"Give at most {LONGEST_NUMBER} characters: this is no number of the trade."


class InputField(AmountField):
    """A number with one of its units. Its range is refused by the calculator, in the calculator's words."""

    def __init__(self, of: Number, **kwargs: Any) -> None:
        codes = list(of.unit_codes)
        super().__init__(of.dimension, units=codes, **kwargs)
        choices = units_offered(codes)
        self.widget = AmountWidget(choices)
        self.widget.is_required = False
        # A plain number has no unit to choose.
        self.plain = codes == [PLAIN]
        if self.plain:
            self.widget.widgets[1] = forms.HiddenInput()
        for field in self.fields:
            field.error_messages["max_length"] = _TOO_LONG
        self.fields[1].choices = choices
        self.fields[1].error_messages["invalid_choice"] = (
            f"Choose one of these units: {', '.join(label for _, label in choices)}."
        )

    def compress(self, data_list: list) -> Amount | None:
        if self.plain and data_list and not data_list[1]:
            data_list = [data_list[0], PLAIN]
        return super().compress(data_list)


class RowWidget(forms.Widget):
    """Cells `name_1`, `name_2`, … and one `name_unit`. Drawn by `_calculator_field.html`, cell by cell."""

    use_fieldset = True

    def __init__(self, of: Numbers) -> None:
        super().__init__()
        self.of = of
        self.cells = min(max(of.at_least, CELLS), of.at_most)
        self.choices = units_offered(of.unit_codes)

    def value_from_datadict(self, data: Mapping, files: Any, name: str) -> tuple[list[str], str]:
        cells = [str(data.get(f"{name}_{place}", "")).strip() for place in range(1, self.of.at_most + 1)]
        while cells and not cells[-1]:
            cells.pop()
        return cells, str(data.get(f"{name}_unit", "") or self.of.unit)

    def value_omitted_from_data(self, data: Mapping, files: Any, name: str) -> bool:
        return not any(str(key).startswith(f"{name}_") for key in data)

    def id_for_label(self, id_: str) -> str:
        return f"{id_}_1"


class RowField(forms.Field):
    """A row of readings in one unit. Answers a tuple of amounts or None."""

    widget: RowWidget

    def __init__(self, of: Numbers, **kwargs: Any) -> None:
        self.of = of
        super().__init__(widget=RowWidget(of), **kwargs)

    def clean(self, value: tuple[list[str], str]) -> tuple[Amount, ...] | None:
        cells, code = value
        if code not in self.of.unit_codes:
            labels = ", ".join(label for _, label in self.widget.choices)
            raise ValidationError(f"Choose one of these units: {labels}.")
        if not cells:
            if self.required:
                raise ValidationError(self.error_messages["required"])
            return None
        amounts, errors = [], []
        for place, text in enumerate(cells, 1):
            which = f"{self.of.each} {place}"
            if not text:
                errors.append(f"{which} is empty: give it, or move up those after it.")
            elif len(text) > LONGEST_NUMBER:
                errors.append(f"{which}: {_TOO_LONG}")
            else:
                try:
                    amounts.append(Amount(number(text), code))
                except ValidationError as error:
                    errors.append(f"{which}: {error.message}")
        if errors:
            raise ValidationError(errors)
        return tuple(amounts)


class CalculatorForm(forms.Form):
    """`known` is what is on record of the car. Bound and valid, it holds `inputs` and the `result`."""

    result: Result

    def __init__(self, calculator: Calculator, data: QueryDict | None = None, *, known: Known | None = None):
        self.calculator = calculator
        self.known = (known or Known()).of(calculator)
        asked = data is not None and _is_asked(calculator, data)
        super().__init__(data if asked else None, auto_id="in-%s")
        for each in calculator.inputs:
            field = self.fields[each.name] = _field(each)
            if each.name in self.known:
                self.initial[each.name] = self.known[each.name].value
            _say_what_is_taken(field, each, refusal(each, None))
            speak(field, each.label)
            guide_typing(field, each.name)
        if data is not None:
            self._make_room(data, asked)

    def add_prefix(self, field_name: str) -> str:
        return name_in_address(field_name)

    def _make_room(self, data: QueryDict, asked: bool) -> None:
        """As many cells as were filled in; with "More" also some empty ones, and then nothing is worked out yet."""
        for each in self.calculator.inputs:
            if not isinstance(each, Numbers):
                continue
            field = self.fields[each.name]
            name = name_in_address(each.name)
            cells, _ = field.widget.value_from_datadict(data, {}, name)
            more = CELLS if f"{name}_more" in data else 0
            field.widget.cells = min(max(field.widget.cells, len(cells)) + more, each.at_most)
        if not asked:
            # What was typed beside a tap on "More" comes back.
            for name, field in self.fields.items():
                there = name_in_address(name)
                typed = None
                if not field.widget.value_omitted_from_data(data, {}, there):
                    typed = field.widget.value_from_datadict(data, {}, there)
                if typed and (isinstance(typed, str) or typed[0]):
                    self.initial[name] = typed

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        self.inputs: dict[str, Value] = {
            name: value for name, value in data.items() if value not in (None, "", ())
        }
        given = given_of(self.inputs, self.known)
        if self.errors:
            # What can't be read is said beside its field; what else is wrong is said too.
            for each in self.calculator.inputs:
                if each.name in given and each.name not in self.errors:
                    self._refuse({each.name: refusal(each, given[each.name])})
            return data
        try:
            self.result = calculate(self.calculator, given)
        except InputErrors as refused:
            self._refuse(refused.errors)
        return data

    def _refuse(self, errors: Mapping[str, str]) -> None:
        for name, sentence in errors.items():
            if sentence:
                self.add_error(name if name in self.fields else None, sentence)

    @property
    def rows(self) -> list[dict[str, Any]]:
        """Each field with where its value comes from, for the template."""
        return [
            {
                "field": self[each.name],
                "is_row": isinstance(each, Numbers),
                "origin": self._origin(each),
                "cells": self._cells(each) if isinstance(each, Numbers) else [],
            }
            for each in self.calculator.inputs
        ]

    @property
    def not_on_record(self) -> list[Input]:
        """Inputs that a car's record could fill and does not: those that are needed or assumed first."""
        found = [
            each
            for each in self.calculator.inputs
            if not isinstance(each, Numbers) and each.item and each.name not in self.known
        ]
        return sorted(found, key=lambda each: each.optional)

    @property
    def from_record(self) -> int:
        """How many fields the car's record filled."""
        return len(self.known)

    def _origin(self, of: Input) -> dict[str, Any] | None:
        figure = self.known.get(of.name)
        if figure is None:
            return None
        typed = getattr(self, "inputs", {}).get(of.name) if self.is_bound else figure.value
        return {
            "figure": figure,
            "shown": _figure_words(of, figure),
            "own": typed is not None and alike(typed, figure.value),
        }

    def _cells(self, of: Numbers) -> list[dict[str, Any]]:
        value = self[of.name].value()
        cells, unit = value if value else ([], of.unit)
        wide = self.fields[of.name].widget.cells
        self.fields[of.name].chosen_unit = unit
        return [
            {
                "number": place,
                "label": f"{of.each} {place}",
                "value": cells[place - 1] if place <= len(cells) else "",
            }
            for place in range(1, wide + 1)
        ]


def query_of(inputs: Mapping[str, Value]) -> dict[str, str]:
    """The query string's parts that fill a calculator's form with these inputs."""
    found: dict[str, str] = {}
    for each, value in inputs.items():
        name = name_in_address(each)
        if isinstance(value, Amount):
            found |= {f"{name}_value": f"{value.value:f}", f"{name}_unit": value.unit}
        elif isinstance(value, tuple):
            found |= {f"{name}_{place}": f"{one.value:f}" for place, one in enumerate(value, 1)}
            found[f"{name}_unit"] = value[0].unit
        else:
            found[name] = value
    return found


def name_in_address(name: str) -> str:
    """What an input is called in the address: its own name, unless the page needs that one itself."""
    return f"in_{name}" if name in RESERVED else name


def inputs_in(record: Mapping[str, Any]) -> dict[str, Value]:
    """The inputs of a kept record that somebody gave: what was assumed is assumed again."""
    found: dict[str, Value] = {}
    for each in record["inputs"]:
        if each["origin"] == "assumed":
            continue
        value, unit = each["value"], each["unit"]
        if isinstance(value, list):
            found[each["name"]] = tuple(Amount(number(one), unit) for one in value)
        else:
            found[each["name"]] = Amount(number(value), unit) if unit else value
    return found


def _is_asked(calculator: Calculator, data: Mapping) -> bool:
    """Whether the address holds inputs to be worked out, and not only a car's thing or a wish for more cells."""
    names = [name_in_address(each.name) for each in calculator.inputs]
    if "fill" in data or any(f"{name}_more" in data for name in names):
        return False
    return any(key == name or key.startswith(f"{name}_") for name in names for key in data)


def _field(of: Input) -> forms.Field:
    match of:
        case Number():
            needed = not of.optional and of.assumed is None
            return InputField(of, required=needed, label=of.label, help_text=of.help)
        case Numbers():
            return RowField(of, label=of.label, help_text=of.help)
        case Choice():
            options = [*([("", "not said")] if of.optional else []), *of.options]
            radios = len(options) <= RADIOS
            if not radios and not of.optional and not of.usual:
                options = [("", "choose"), *options]
            return forms.ChoiceField(
                choices=options,
                required=not of.optional,
                label=of.label,
                help_text=of.help,
                initial=of.usual,
                widget=forms.RadioSelect if radios else forms.Select,
                error_messages={"invalid_choice": f"Choose one of: {', '.join(dict(of.options).values())}."},
            )
    field = forms.CharField(
        max_length=of.max_length,
        required=not of.optional,
        label=of.label,
        help_text=f"{of.help} Such as {of.example}.".strip(),
        error_messages={"max_length": f"That is too long: at most {of.max_length} characters."},
    )
    field.widget.attrs |= {"autocapitalize": "characters", "autocorrect": "off", "spellcheck": "false"}
    return field


def _say_what_is_taken(field: forms.Field, of: Input, missing: str) -> None:
    if field.required:
        field.error_messages["required"] = missing
    if isinstance(of, Number | Numbers):
        field.range_words = f"{show(Amount(of.low, of.unit))} to {show(Amount(of.high, of.unit))}"
    if isinstance(of, Number) and of.assumed is not None:
        taken, low, high = (
            show(Amount(each, of.unit)) for each in (of.assumed.value, of.assumed.low, of.assumed.high)
        )
        field.either = "assumed where left empty"
        field.assumed_words = (
            f"Left empty, {taken} is assumed: {of.assumed.because}. It may lie anywhere from {low} to {high}, and the "
            "result says what that does."
        )


def _figure_words(of: Input, figure: Figure) -> str:
    """ "2500 mm from the data sheet: workshop manual, p. 12 (likely)"."""
    value = figure.shown
    if isinstance(of, Choice) and isinstance(figure.value, str):
        value = dict(of.options).get(figure.value, figure.value)
    elif isinstance(figure.value, Amount):
        value = show(figure.value)
    words = f": {figure.words}" if figure.words else ""
    return f"{value}, {figure.origin.label}{words} ({'an open question' if figure.sure == 'open' else figure.sure})"
