from django import forms
from django.core.exceptions import ValidationError

from vehicles.models import Keeper, KeeperPart, VehicleKeeper
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.forms.fields import DayField


def told_apart(keeper: Keeper) -> str:
    """Two people of one name are told apart by what else is known of them."""
    more = keeper.phone or keeper.email or " ".join(keeper.address.split())
    return f"{keeper.name} ({more})" if more else keeper.name


class KeeperForm(ModelActForm):
    class Meta:
        model = Keeper
        fields = ("name", "address", "phone", "email")
        labels = {"name": "Name of the person or firm"}
        formfield_callback = trade_field


class CorrectKeeperForm(EditForm, KeeperForm):
    reason = forms.CharField(label="Why it is corrected", max_length=200)


class PartForForm(ModelActForm):
    """What one person is for one car, all of it at once: somebody known, or somebody new in the same step."""

    part = forms.MultipleChoiceField(
        label="What they are for this car",
        choices=KeeperPart.choices,
        widget=forms.CheckboxSelectMultiple,
        help_text="As many as hold. Owner and registered keeper may authorise and collect without being named for it.",
        error_messages={"required": "Tick what this person is for the car: one or several."},
    )
    keeper = forms.ModelChoiceField(
        label="Who",
        queryset=Keeper.objects.none(),
        required=False,
        empty_label="Somebody new: fill in below",
        help_text="Needed unless the name of somebody new is given.",
    )
    name = forms.CharField(
        label="Name of somebody new",
        max_length=120,
        required=False,
        help_text="Needed unless somebody is chosen from the list.",
    )
    phone = forms.CharField(label="Phone", max_length=40, required=False)
    end_current = forms.BooleanField(
        label="Takes the place of the owner or keeper so far",
        required=False,
        initial=True,
        help_text="Counts for owner and registered keeper only. Take the tick away for owners in common.",
    )

    one_of = (("keeper", "name"),)

    class Meta:
        model = VehicleKeeper
        fields = ("from_on", "until_on")
        labels = {"from_on": "From", "until_on": "Until"}
        help_texts = {"until_on": "Only when it is over already: the first day on which it no longer held."}
        formfield_callback = trade_field

    field_order = ("key", "part", "keeper", "name", "phone", "from_on", "until_on", "end_current")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["keeper"].queryset = Keeper.objects.filter(erased_at=None)
        self.fields["keeper"].label_from_instance = told_apart

    def clean(self):
        cleaned = super().clean()
        name = " ".join((cleaned.get("name") or "").split())
        if "keeper" in cleaned and bool(cleaned["keeper"]) == bool(name):
            self.add_error(
                "name" if name else "keeper",
                ValidationError(
                    "Choose somebody from the list or give the name of somebody new: one of the two."
                ),
            )
        return cleaned

    def act_arguments(self):
        arguments = super().act_arguments()
        arguments["parts"] = arguments.pop("part")
        return arguments


class EndPartForm(ActForm):
    until_on = DayField(label="Until", help_text="The first day on which it no longer holds.")
    reason = forms.CharField(label="Why it ends", max_length=200)


class AccountForm(ActForm):
    sign_in_name = forms.CharField(
        label="Name to sign in with",
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
    )
    password = forms.CharField(
        label="First password",
        help_text="Ten characters or more. Hand it over in person; it is not shown again.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
    )
