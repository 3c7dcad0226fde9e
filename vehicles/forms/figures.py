"""Forms of figures: made from the items, so that a new item is asked for without a line here."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from vehicles.figure_rules import by_group, check_row, field_of, most_sure, number_of
from vehicles.models import Confidence, Figure, FigureSource
from workshop.acting import ChangedMeanwhile
from workshop.engineering.items import ITEMS, KEYS, Item, key_name
from workshop.engineering.units import UNITS, Amount, show
from workshop.forms.base import ActForm, speak
from workshop.forms.fields import AmountField, NumberField
from workshop.forms.typing import guide_typing

_AS_SOURCE = [("", "As sure as its source makes it"), *Confidence.choices]
TEXT_LENGTH = 40


class OneUnitField(NumberField):
    """A number of which there is but one unit: it stands behind the control. Answers an `Amount` or None."""

    def __init__(self, unit: str, **kwargs: Any):
        super().__init__(**kwargs)
        self.code, self.unit = unit, UNITS[unit].label

    def to_python(self, value: Any) -> Amount | None:
        if isinstance(value, Amount):
            return value
        number = super().to_python(value)
        return None if number is None else Amount(number, self.code)

    def prepare_value(self, value: Any) -> Any:
        return super().prepare_value(value.value if isinstance(value, Amount) else value)

    def has_changed(self, initial: Any, data: Any) -> bool:
        return str(self.prepare_value(initial) or "") != str(data or "")


def value_field(item: Item, *, label: str, required: bool = True) -> forms.Field:
    """The control for one item: number and unit, text, or choice."""
    if item.dimension == "choice":
        return forms.ChoiceField(
            label=label, required=required, choices=[("", "choose" if required else "–"), *item.choices],
            error_messages={"invalid_choice": f"Choose one of: {', '.join(word for _, word in item.choices)}."},
        )  # fmt: skip
    if item.dimension == "text":
        return forms.CharField(
            label=label,
            required=required,
            help_text=f"As it stands there, such as {item.example}.",
            # Longer than is kept: what is too long is refused in words, not cut off while typing.
            widget=forms.TextInput(attrs={"autocapitalize": "characters", "spellcheck": "false"}),
        )
    help_text = " ".join(filter(None, [f"{span(item)}.", item.help]))
    codes = number_of(item).unit_codes
    if len(codes) == 1:
        return OneUnitField(codes[0], label=label, required=required, help_text=help_text)
    field = AmountField(
        item.dimension, units=list(codes), label=label, required=required, help_text=help_text
    )
    units = ", ".join(UNITS[code].label for code in codes)
    field.fields[1].error_messages["invalid_choice"] = f"That is no unit for this: choose {units}."
    return field


def span(item: Item) -> str:
    """The plausible range in words, in the usual unit."""
    return f"{show(Amount(item.low, item.unit))} to {show(Amount(item.high, item.unit))}"


def item_of(key: str) -> Item:
    return KEYS.get(key) or ITEMS[key]


def label_of(key: str) -> str:
    return key_name(key) if key in KEYS else ITEMS[key].name


class _Sourced(ActForm):
    source = forms.ChoiceField(label="Where it comes from", choices=[("", "choose"), *FigureSource.choices])
    source_words = forms.CharField(
        label="Which document, where in it; or how it was measured",
        max_length=Figure._meta.get_field("source_words").max_length,
        required=False,
    )
    confidence = forms.ChoiceField(label="How sure", choices=_AS_SOURCE, required=False)

    def _check_source(self, data: dict[str, Any]) -> None:
        if data.get("source") and "source_words" in data:
            try:
                most_sure(data["source"], data["source_words"].strip(), data.get("confidence", ""))
            except ValidationError as refusal:
                self.add_refusal(refusal)


class OneFigureForm(_Sourced):
    """One figure of one item, with the maker's tolerance where there is one."""

    def __init__(self, *args: Any, item: Item, label: str, tolerance: bool = True, **kwargs: Any):
        self.item = item
        super().__init__(*args, **kwargs)
        # A value that is standing is shown in the unit in which it was written.
        self.fields["value"] = value_field(item, label=label)
        if tolerance and item.dimension not in ("text", "choice"):
            self.fields["low"] = NumberField(
                label="Tolerance: lowest", required=False, help_text="In the unit of the value."
            )
            self.fields["high"] = NumberField(label="Tolerance: highest", required=False)
        for name in ("value", "low", "high"):
            if name in self.fields:
                speak(self.fields[name], self.fields[name].label)
                guide_typing(self.fields[name], name)
        self.order_fields(
            [
                *(name for name in ("for", "because") if name in self.fields),
                "value",
                "low",
                "high",
                "holds_for",
            ]
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if data.get("value") not in (None, ""):
            try:
                check_row(self.item, data["value"], data.get("low"), data.get("high"))
            except ValidationError as refusal:
                self.add_refusal(refusal)
        self._check_source(data)
        return data


class GiveFigureForm(OneFigureForm):
    """A figure that was missing, asked for where it was missed. `target`: see `vehicles.missing_figures`."""

    next = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, target: Any, short: bool = False, **kwargs: Any):
        self.target = target
        super().__init__(
            *args,
            item=target.item,
            label="Value" if short else target.label,
            tolerance=not short,
            **kwargs,
        )
        self.fields["for"] = forms.CharField(widget=forms.HiddenInput, initial=target.asked)
        if len(target.owners) > 1:
            self.fields["holds_for"] = forms.ChoiceField(
                label="Holds for",
                choices=[(str(one.pk), str(one)) for one in target.owners],
                initial=str(target.owners[0].pk),
                help_text="The type's own sheet, or the one that it is based on: then also for its other variants.",
            )
            speak(self.fields["holds_for"], "Holds for")
        if short:
            del self.fields["confidence"]
            self.fields["source_words"].label = "Which document, or how measured"

    def act_arguments(self) -> dict[str, Any]:
        arguments = super().act_arguments()
        for name in ("next", "for"):
            arguments.pop(name, None)
        chosen = arguments.pop("holds_for", "")
        owner = next((one for one in self.target.owners if str(one.pk) == chosen), self.target.owners[0])
        return {**arguments, "owner": owner}


class ChangeFigureForm(OneFigureForm):
    """A later value in a figure's stead. `seen` is what the writer saw: changed meanwhile, both are shown."""

    because = forms.CharField(label="Why it is changed", max_length=200)
    seen = forms.UUIDField(widget=forms.HiddenInput)

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        super()._show_what_is_on_record(refusal)
        self._put("seen", refusal.record.pk)


class WithdrawFigureForm(ActForm):
    because = forms.CharField(label="Why it is withdrawn", max_length=200)
    seen = forms.UUIDField(widget=forms.HiddenInput)

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        super()._show_what_is_on_record(refusal)
        self["because"].on_record = refusal.current["value"]
        self._put("seen", refusal.record.pk)


def source_fields() -> dict[str, forms.Field]:
    """Where the dimensions in a form of something else come from."""
    return {
        "figures_source": forms.ChoiceField(
            label="Where these dimensions come from",
            choices=[("", "–"), *FigureSource.choices],
            required=False,
        ),
        "figures_words": forms.CharField(
            label="Which document, or how measured",
            max_length=Figure._meta.get_field("source_words").max_length,
            required=False,
        ),
    }


class FigureRows:
    """Rows of several figures in a form: each a value, and for numbers a tolerance. Mixed into an `ActForm`."""

    row_keys: tuple[str, ...] = ()

    def add_rows(self, keys: Iterable[str]) -> None:
        self.row_keys = tuple(keys)
        for key in self.row_keys:
            item, name, label = item_of(key), field_of(key), label_of(key)
            self.fields[name] = value_field(item, label=label, required=False)
            if item.dimension not in ("text", "choice"):
                for end, word in (("low", "lowest"), ("high", "highest")):
                    self.fields[f"{name}-{end}"] = NumberField(label=f"{label}, {word}", required=False)
            for field in (name, f"{name}-low", f"{name}-high"):
                if field in self.fields:
                    speak(self.fields[field], str(self.fields[field].label))
                    guide_typing(self.fields[field], field)

    def check_rows(self, data: dict[str, Any]) -> None:
        """What the act would refuse, said for all rows at once."""
        for key in self.row_keys:
            name = field_of(key)
            value, low, high = (data.get(field) for field in (name, f"{name}-low", f"{name}-high"))
            if value in (None, ""):
                if (low is not None or high is not None) and name not in self.errors:
                    self.add_error(name, "Give the value too: a tolerance alone says nothing.")
                continue
            try:
                check_row(item_of(key), value, low, high)
            except ValidationError as refusal:
                for field, sentences in refusal.message_dict.items():
                    self.add_error(name if field == "value" else f"{name}-{field}", sentences)

    def take_rows(self, arguments: dict[str, Any]) -> list[dict[str, Any]]:
        """Take the rows out of an act's arguments: those that were filled in."""
        found = []
        for key in self.row_keys:
            name = field_of(key)
            value = arguments.pop(name, None)
            low, high = arguments.pop(f"{name}-low", None), arguments.pop(f"{name}-high", None)
            if value not in (None, ""):
                row: dict[str, Any] = {"key": key, "value": value}
                row |= {end: number for end, number in (("low", low), ("high", high)) if number is not None}
                found.append(row)
        return found

    def check_source_of_rows(self, data: dict[str, Any]) -> None:
        """In a form of something else: where its dimensions come from is needed once one is given."""
        if any(data.get(field_of(key)) not in (None, "") for key in self.row_keys):
            try:
                most_sure(data.get("figures_source") or "", data.get("figures_words", "").strip())
            except ValidationError:
                self.add_error("figures_source", "Say where these dimensions come from.")

    def take_figures(self, arguments: dict[str, Any]) -> dict[str, Any]:
        """In a form of something else: what `record_figures` is called with, as the act's argument `figures`."""
        rows = self.take_rows(arguments)
        source, words = arguments.pop("figures_source"), arguments.pop("figures_words")
        return {"figures": {"figures": rows, "source": source, "source_words": words}} if rows else {}

    @property
    def of_figures(self) -> list[forms.BoundField]:
        return [self[name] for name in ("figures_source", "figures_words")]

    @property
    def figure_rows(self) -> list[dict[str, Any]]:
        """For the template: each row's bound fields, in its group."""
        return [
            {
                "title": group,
                "rows": [
                    {
                        "value": self[field_of(key)],
                        "ends": [
                            self[f"{field_of(key)}-{end}"]
                            for end in ("low", "high")
                            if f"{field_of(key)}-{end}" in self.fields
                        ],
                    }
                    for key in keys
                ],
            }
            for group, keys in by_group(self.row_keys)
        ]

    @property
    def rows_are_wrong(self) -> bool:
        names = {"figures_source", *(field_of(key) for key in self.row_keys)}
        return any(name.removesuffix("-low").removesuffix("-high") in names for name in self.errors)


class FiguresForm(FigureRows, _Sourced):
    """Several figures from one source: only the rows that are filled in are saved, all of them or none."""

    def __init__(self, *args: Any, keys: Iterable[str], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.add_rows(keys)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        self.check_rows(data)
        self._check_source(data)
        if not self.errors and not any(data.get(field_of(key)) not in (None, "") for key in self.row_keys):
            self.add_error(None, "Fill in at least one figure.")
        return data

    def act_arguments(self) -> dict[str, Any]:
        arguments = super().act_arguments()
        return {"figures": self.take_rows(arguments), **arguments}

    @property
    def of_source(self) -> list[forms.BoundField]:
        return [self[name] for name in ("source", "source_words", "confidence")]


def figure_in_form(figure: Figure) -> dict[str, Any]:
    """What a form that changes a figure begins with."""
    return {
        "value": figure.amount or figure.text,
        "low": figure.low,
        "high": figure.high,
        "source": figure.source,
        "source_words": figure.source_words,
        "confidence": "",
        "seen": figure.pk,
    }
