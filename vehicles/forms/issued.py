"""Asking for a numbered print: nearly always one tap."""

from __future__ import annotations

from django import forms

from vehicles.models import Keeper, PrintKind, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.forms.base import ActForm


class IssueForm(ActForm):
    """`kind` and what it is of come with the button."""

    repeats = True

    kind = forms.ChoiceField(choices=PrintKind.choices, widget=forms.HiddenInput)
    survey = forms.ModelChoiceField(queryset=None, required=False, widget=forms.HiddenInput)
    run = forms.ModelChoiceField(queryset=None, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["survey"].queryset = vehicle.surveys.select_related("vehicle")
        runs = IssueForm.run_model()._default_manager
        self.fields["run"].queryset = runs.filter(job__vehicle=vehicle)

    @staticmethod
    def run_model():
        """Runs are of the room above: by the name that the print knows them under."""
        from vehicles.models import IssuedPrint

        return IssuedPrint._meta.get_field("run").remote_field.model


class WithCostsForm(IssueForm):
    """A history report that names what was paid, for one keeper of today."""

    made_for = forms.ModelChoiceField(
        queryset=None,
        label="For whom",
        help_text="The owner or registered keeper of today. It names what was paid since the car is theirs.",
        error_messages={
            "invalid_choice": "Choose the owner or registered keeper of today: the costs are theirs alone."
        },
    )

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, vehicle=vehicle, **kwargs)
        holders = VehicleKeeper.objects.now().filter(vehicle=vehicle, part__in=HOLDERS).values("keeper")
        self.fields["made_for"].queryset = Keeper.objects.filter(pk__in=holders).order_by("name")
