"""The form of labels: which, on what, from which free label on, how many of each."""

from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError

from jobs.labels import Offer
from workshop import labels
from workshop.forms.base import speak
from workshop.forms.fields import NumberField
from workshop.models import Shop
from workshop.models.shop import Paper

OWN = "own"


def _stocks() -> list[tuple[str, list[tuple[str, str]]]]:
    groups = (
        ("A4 sheets", "A4: ", labels.SHEETS_A4),
        ("Letter sheets", "Letter: ", labels.SHEETS_LETTER),
        ("Label printer, one label at a time", "one of ", labels.ROLLS),
    )
    rows = [
        (title, [(stock.code, f"{start}{stock.words}") for stock in stocks])
        for title, start, stocks in groups
    ]
    rows[-1][1].append((OWN, "another size, given below"))
    return rows


class LabelForm(forms.Form):
    """Asked by GET: it writes nothing. `offer` says which labels there are."""

    what = forms.MultipleChoiceField(label="Labels", widget=forms.CheckboxSelectMultiple)
    stock = forms.ChoiceField(label="Printed on")
    first = forms.IntegerField(
        label="First free label",
        min_value=1,
        initial=1,
        help_text="On a begun sheet: counted from the top left, along the rows.",
    )
    copies = forms.IntegerField(label="How many of each", min_value=1, max_value=20, initial=1)
    width = NumberField(label="Width", required=False)
    height = NumberField(label="Height", required=False)

    def __init__(self, *args, offer: Offer, **kwargs):
        super().__init__(*args, **kwargs)
        self.offer = offer
        self.fields["what"].choices = [(each.token, each.words) for each in offer.choices]
        self.fields["what"].error_messages["required"] = "Tick at least one label."
        self.fields["what"].error_messages["invalid_choice"] = (
            "One of the chosen labels is no longer offered here. Tick again."
        )
        self.fields["what"].initial = [each.token for each in offer.choices if each.ticked]
        self.fields["stock"].choices = _stocks()
        letter = Shop.current().paper == Paper.LETTER
        self.fields["stock"].initial = (labels.SHEETS_LETTER if letter else labels.SHEETS_A4)[0].code
        for name in ("width", "height"):
            low, high = labels.WIDTHS if name == "width" else labels.HEIGHTS
            self.fields[name].unit = "mm"
            self.fields[name].help_text = f"{low} to {high} mm."
            self.fields[name].widget.attrs.setdefault("inputmode", "decimal")
        for name, field in self.fields.items():
            speak(field, field.label or name)
            field.widget.attrs.setdefault("enterkeyhint", "done")

    @property
    def ticked(self) -> set[str]:
        """The tokens that are ticked as the form stands."""
        return set(self["what"].value() or [])

    def clean(self) -> dict:
        data = super().clean()
        stock = None
        if data.get("stock") == OWN:
            stock = self._own_size(data)
        elif "stock" in data:
            stock = labels.STOCKS[data["stock"]]
        data["on"] = stock
        first = data.get("first")
        if stock and first and stock.is_sheet and first > stock.per_page:
            self.add_error("first", f"This sheet has {stock.per_page} labels: give 1 to {stock.per_page}.")
        count = len(data.get("what", ())) * (data.get("copies") or 0)
        if count > labels.MOST_LABELS:
            self.add_error(
                "copies",
                f"That makes {count} labels; {labels.MOST_LABELS} in one print are the limit. Print them in parts.",
            )
        return data

    def _own_size(self, data: dict) -> labels.Stock | None:
        for name, (low, high) in (("width", labels.WIDTHS), ("height", labels.HEIGHTS)):
            if name in self.errors:
                continue
            value = data.get(name)
            if value is None:
                self.add_error(name, f"Give the {name} of your label in mm, from {low} to {high}.")
            elif not low <= value <= high:
                self.add_error(name, ValidationError(f"Give {low} to {high} mm: {_why(name, value < low)}."))
        if self.errors.keys() & {"width", "height"}:
            return None
        return labels.own_size(float(data["width"]), float(data["height"]))

    def chosen(self) -> list[labels.Label]:
        """The labels that were ticked, in the order of the page."""
        wanted = set(self.cleaned_data["what"])
        return [each.label for each in self.offer.choices if each.token in wanted]


def _why(name: str, small: bool) -> str:
    if not small:
        return "no label printer takes more"
    return (
        "the code needs 15 mm and its white border" if name == "height" else "code and words need that much"
    )
