"""Form fields of the trade: a number and its unit are two controls, and what is typed never reaches Pint."""

from __future__ import annotations

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator

from workshop.engineering.numbers import NumberError, parse_number
from workshop.engineering.units import UNITS, Amount, units_of


class NumberField(forms.CharField):
    """A decimal typed with point or comma. Answers `Decimal` or None."""

    def __init__(self, *, low: Decimal | int | None = None, high: Decimal | int | None = None, **kwargs):
        self.low, self.high = low, high
        kwargs.setdefault("max_length", 24)
        super().__init__(**kwargs)
        # Measured on the text below: a validator would be given the number.
        self.validators = [each for each in self.validators if not isinstance(each, MaxLengthValidator)]
        self.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})

    def to_python(self, value):
        if isinstance(value, Decimal):
            return value
        text = super().to_python(value)
        if self.max_length and len(text) > self.max_length:
            raise ValidationError(
                f"Give at most {self.max_length} characters: this is no number of the trade."
            )
        if text in self.empty_values:
            return None
        return number(text, self.low, self.high)

    def prepare_value(self, value):
        return plain_number(value)


class MoneyField(NumberField):
    """An amount of money with at most two decimals, not negative."""

    def __init__(self, **kwargs):
        kwargs.setdefault("low", 0)
        kwargs.setdefault("high", 99_999_999)
        super().__init__(**kwargs)

    def to_python(self, value):
        amount = super().to_python(value)
        if amount is not None and amount != amount.quantize(Decimal("0.01")):
            raise ValidationError("Give at most two decimals.")
        return amount


def number(text: str, low=None, high=None) -> Decimal:
    try:
        value = parse_number(text)
    except NumberError as error:
        raise ValidationError(str(error), code="not_a_number") from error
    if low is not None and value < low:
        raise ValidationError(f"Give {low} or more: {plain_number(value)} is below that.", code="too_low")
    if high is not None and value > high:
        raise ValidationError(f"Give {high} or less: {plain_number(value)} is above that.", code="too_high")
    return value


def plain_number(value):
    """Digits as typed, without the zeros that the database adds."""
    if isinstance(value, Decimal):
        text = format(value, "f")
        return text.rstrip("0").rstrip(".") if "." in text else text
    return value


class AmountWidget(forms.MultiWidget):
    def __init__(self, choices, attrs=None):
        super().__init__(
            {
                "value": forms.TextInput(
                    attrs={
                        "inputmode": "decimal",
                        "autocomplete": "off",
                        "maxlength": 24,
                        "aria-label": "Number",
                    }
                ),
                "unit": forms.Select(choices=choices, attrs={"aria-label": "Unit"}),
            },
            attrs,
        )

    def decompress(self, value):
        if isinstance(value, Amount):
            return [plain_number(value.value), value.unit]
        return list(value) if value else [None, None]


class AmountField(forms.MultiValueField):
    """A number and a unit out of a closed list. Answers an `Amount` or None.

    `low` and `high` are limits in the base unit of the dimension; the refusal says them in the unit typed.
    """

    def __init__(self, dimension: str, *, units: list[str] | None = None, low=None, high=None, **kwargs):
        codes = units or [unit.code for unit in units_of(dimension)]
        choices = [(code, UNITS[code].label or "–") for code in codes]
        self.low, self.high = low, high
        self.codes = codes
        fields = (
            forms.CharField(required=False, max_length=24),
            forms.ChoiceField(choices=choices, required=False),
        )
        super().__init__(fields, require_all_fields=False, widget=AmountWidget(choices), **kwargs)

    def prepare_value(self, value):
        return value

    def compress(self, data_list):
        text, unit = [*data_list, "", ""][:2] if data_list else ("", "")
        if not (text or "").strip():
            return None
        value = number(text)
        if not unit:
            raise ValidationError("Choose a unit: a number without one can't be kept.", code="no_unit")
        amount = Amount(value, unit)
        for limit, wrong, word in (
            (self.low, lambda x: amount.base() < x, "or more"),
            (self.high, lambda x: amount.base() > x, "or less"),
        ):
            if limit is not None and wrong(Decimal(limit)):
                from workshop.engineering.units import BASE, show

                shown = show(Amount(Decimal(limit), BASE[UNITS[unit].dimension]).to(unit))
                raise ValidationError(f"Give {shown} {word}: {show(amount)} was typed.", code="out_of_bounds")
        return amount

    def clean(self, value):
        amount = super().clean(value)
        if amount is None and self.required:
            raise ValidationError(self.error_messages["required"], code="required")
        return amount


class DayField(forms.DateField):
    """A day, by the browser's own date control."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class MomentField(forms.DateTimeField):
    """A day and time, by the browser's own control; read in the shop's time zone."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def to_python(self, value):
        moment = super().to_python(value)
        # A moment at the edge of the calendar overflows when it is turned to UTC.
        if moment is not None and not 1885 <= moment.year <= 2100:
            raise ValidationError("Give a year between 1885 and 2100.", code="year")
        return moment
