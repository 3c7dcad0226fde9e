from __future__ import annotations

from typing import Any

from django import forms

from vehicles.forms.odometer import AsksWhyLower
from vehicles.models import DayKnown, Instrument, Vehicle
from workshop.forms.base import ActForm
from workshop.forms.fields import AmountField, DayField, MoneyField
from workshop.models import Shop


class PastWorkForm(AsksWhyLower):
    """One line of a service book, an invoice or a list."""

    title = forms.CharField(
        label="What was done", max_length=200, help_text="As it is written there, for instance “timing belt”."
    )
    done_on = DayField(label="When")
    day_known = forms.ChoiceField(
        label="What is known of that day",
        choices=DayKnown.choices,
        initial=DayKnown.DAY,
        help_text="Where only the month or the year is known, give any day in it.",
    )
    odometer = AmountField(
        "distance", label="What the odometer showed", required=False, help_text="Only with an exact day."
    )
    who_did = forms.CharField(
        label="Which workshop did it", max_length=120, required=False, help_text="Empty where nobody knows."
    )
    amount = MoneyField(label="What it cost", required=False)
    text = forms.CharField(
        label="More about it", required=False, widget=forms.Textarea(attrs={"rows": 3}), max_length=4000
    )
    source = forms.CharField(
        label="Where this is written", max_length=200, help_text="Service book, invoice, the owner's list."
    )

    field_order = ("title", "done_on", "day_known", "odometer", "lower_because")

    def __init__(self, *args: Any, vehicle: Vehicle, **kwargs: Any):
        super().__init__(*args, **kwargs)
        shop = Shop.current()
        latest = Instrument.objects.filter(vehicle=vehicle).order_by("-order").first()
        self.fields["odometer"].initial = [None, latest.unit if latest else shop.distance_unit]
        self.fields["amount"].label = f"What it cost ({shop.currency})"


class PastWorkAsideForm(ActForm):
    reason = forms.CharField(label="What is wrong with it, and how you know", max_length=200)
