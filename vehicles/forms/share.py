from __future__ import annotations

from typing import Any

from django import forms
from django.utils.formats import date_format
from django.utils.html import format_html

from vehicles import shares
from vehicles.audience import ALWAYS, DEFAULT, OF_THEIR_TIME, Shows
from vehicles.forms.keeper import told_apart
from vehicles.models import Keeper, Vehicle
from vehicles.models.share import MOST_DAYS, USUAL_DAYS
from workshop.forms.base import ActForm
from workshop.forms.fields import DayField

# What a tick means for whoever reads the page, in one sentence.
MEANS = {
    Shows.WORK: "Always shown: each visit with what was found and done, tightened and measured.",
    Shows.PARTS: "Its numbers, the parts that are not the factory's, how that is known, and what they change.",
    Shows.PHOTOS: "Pictures of the car and the work. Papers, and pictures taken all round at check-in, only with the keeper's name.",
    Shows.OUTSTANDING: "What is not put right yet, how serious it is and by when; and whether the car may be driven.",
    Shows.FAULTS: "What was complained of or found, and how it ended. Not the words in which somebody complained.",
    Shows.PLOTS: "The odometer over the years, with what does not fit, and what wears.",
    Shows.PEOPLE: "Who of the workshop did the work, by name.",
    Shows.COSTS: "What was paid in the present keeper's time.",
    Shows.PAPERS: "The sheets of the present keeper's time, whole: with names and prices, so these must be ticked too.",
    Shows.KEEPER: "Name and address of who has the car, its plate, and what was said between them and the workshop.",
}
# Ticked with care: off until somebody chooses them.
PERSONAL = tuple(what for what in Shows if what not in DEFAULT)


class ShareForm(ActForm):
    label = forms.CharField(
        label="Who is the link for",
        max_length=80,
        help_text="For your own list, such as “for the buyer”. The reader does not see it.",
        error_messages={"required": "Say who it is for, such as “for the buyer”: you will know it by that."},
    )
    made_for = forms.ModelChoiceField(
        label="Asked for by",
        queryset=Keeper.objects.none(),
        required=False,
        empty_label="Nobody in particular: nothing of a keeper's time is shown",
        help_text="Whoever has the car now. When they no longer have it, the link ends by itself.",
    )
    shows = forms.MultipleChoiceField(
        label="What the reader sees",
        choices=(),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Besides what was done, and when: that is always shown.",
    )
    days = forms.IntegerField(
        label="For how many days it opens",
        min_value=1,
        max_value=MOST_DAYS,
        initial=USUAL_DAYS,
        help_text=f"1 to {MOST_DAYS}. You can end it at any moment before.",
        error_messages={"invalid": f"Give a whole number of days, 1 to {MOST_DAYS}."},
    )
    since = DayField(label="Costs, sheets and the keeper's name only from", required=False)
    until = DayField(
        label="Nothing that happened after",
        required=False,
        help_text="Empty: up to the present, also what is done while the link opens.",
    )

    repeats = True
    parts = (
        ("", ("label", "made_for", "shows", "days")),
        ("Only a part of the time", ("since", "until")),
    )

    def __init__(self, *args: Any, vehicle: Vehicle, own: Keeper | None, **kwargs: Any):
        """`own`: who makes it for their own car; None: the desk does, for one of its holders."""
        super().__init__(*args, **kwargs)
        self.own = own
        holders = [own] if own is not None else shares.holders_of(vehicle)
        chosen = [what for what in Shows if what not in ALWAYS and (holders or what not in OF_THEIR_TIME)]
        self.fields["shows"].choices = [
            (what.value, format_html("<span><strong>{}</strong> {}</span>", what.label, MEANS[what]))
            for what in chosen
        ]
        self.fields["shows"].initial = [what.value for what in Shows if what in DEFAULT]
        self._whose(vehicle, holders)

    def _whose(self, vehicle: Vehicle, holders: list[Keeper]) -> None:
        since = self.fields["since"]
        if self.own is not None or not holders:
            del self.fields["made_for"]
        else:
            who = self.fields["made_for"]
            who.queryset = Keeper.objects.filter(pk__in=[each.pk for each in holders])
            who.label_from_instance = told_apart
            who.initial = holders[0].pk
        if not holders:
            del self.fields["since"]
        elif len(holders) == 1 and (day := shares.held_since(vehicle, holders[0])):
            whose = "yours" if self.own is not None else "theirs"
            since.help_text = f"Empty: from {date_format(day)} on, when the car became {whose}."
        else:
            since.help_text = "Empty: from when the car became theirs."

    @property
    def asks_for_care(self) -> bool:
        """Something of persons or money is ticked."""
        return bool(set(self.cleaned_data.get("shows", [])) & {what.value for what in PERSONAL})


class EndShareForm(ActForm):
    """Nothing to fill in: the link ends."""
