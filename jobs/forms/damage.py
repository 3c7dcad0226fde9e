"""Forms of damage done in the shop. They ask what happened, not whose fault it was."""

from __future__ import annotations

from django import forms

from jobs.models import Damage, DamageTelling, Settled, WorkLine
from vehicles.models import Keeper, Vehicle
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.forms.fields import MomentField
from workshop.models import Person


class DamageForm(ModelActForm):
    made_at = MomentField(required=False, label="Found earlier? When")

    class Meta:
        model = Damage
        fields = ("where", "what", "happened_at", "found_by", "at_the_car")
        formfield_callback = trade_field
        labels = {
            "where": "Where on the car",
            "what": "What happened, and what is to be seen",
            "happened_at": "When it happened, if known",
            "found_by": "Who saw it first",
            "at_the_car": "Who was working there, if known",
        }
        help_texts = {
            "where": "“Left sill, below the driver's door”.",
            "what": "What was being done, how large it is, how deep. Nobody is blamed for writing it down.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in ("found_by", "at_the_car"):
            self.fields[name].queryset = Person.objects.active_staff()
        self.fields["at_the_car"].empty_label = "–"


class CorrectDamageForm(DamageForm, EditForm):
    made_at = None
    reason = forms.CharField(label="Why it is corrected", max_length=300)

    field_order = ("where", "what", "happened_at", "found_by", "at_the_car", "reason")


class TellForm(ModelActForm):
    made_at = MomentField(required=False, label="Told earlier? When")

    class Meta:
        model = DamageTelling
        fields = ("told_to", "channel", "told", "answered", "told_by")
        formfield_callback = trade_field
        labels = {
            "told_to": "Told to",
            "channel": "How",
            "told": "In what words",
            "answered": "What they said",
            "told_by": "Who told them",
        }
        widgets = {"channel": forms.RadioSelect}

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["told_to"].queryset = Keeper.objects.filter(pk__in=vehicle.keepers.values("keeper"))
        self.fields["told_by"].queryset = Person.objects.active_staff()
        self.fields["channel"].choices = [pair for pair in self.fields["channel"].choices if pair[0]]


class SettleForm(ActForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)
    how = forms.ChoiceField(label="How it was settled", choices=Settled.choices, widget=forms.RadioSelect)
    words = forms.CharField(
        label="In words",
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text="What was done or agreed. Where it was there before: what shows it, such as a picture of check-in.",
    )
    line = forms.ModelChoiceField(
        queryset=WorkLine.objects.none(),
        required=False,
        label="Repaired on the work line",
        empty_label="–",
        help_text="Needed where it was repaired: a line that is done.",
    )
    agreed_with = forms.ModelChoiceField(
        queryset=Keeper.objects.none(),
        required=False,
        label="Agreed with",
        empty_label="–",
        help_text="Needed where it was compensated or is left as it is.",
    )
    made_at = MomentField(required=False, label="Settled earlier? When")

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["line"].queryset = WorkLine.objects.filter(job__vehicle=vehicle).select_related("job")
        self.fields["line"].label_from_instance = lambda line: (
            f"{line.job}, line {line.order}: {line.complaint}"
        )
        self.fields["agreed_with"].queryset = Keeper.objects.filter(pk__in=vehicle.keepers.values("keeper"))
