"""Forms of the odometer: a reading, and what is said of readings and instruments."""

from django import forms

from vehicles.models import Instrument, Vehicle
from vehicles.odometer import current_instrument
from workshop.forms.base import ActForm
from workshop.forms.fields import AmountField, DayField, MomentField
from workshop.models import Shop


class AsksWhyLower(ActForm):
    """Why a reading doesn't go with the others is asked for once there is a doubt, and stays in sight from then on."""

    lower_because = forms.CharField(
        label="It doesn't go with the other readings, because",
        max_length=200,
        required=False,
        widget=forms.HiddenInput,
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.is_bound and self.data.get(self.add_prefix("lower_because")):
            self._ask_why()

    def _ask_why(self) -> None:
        self.fields["lower_because"].widget = forms.TextInput(attrs={"maxlength": "200"})

    def add_refusal(self, refusal) -> None:
        super().add_refusal(refusal)
        if "lower_because" in self.errors:
            self._ask_why()


class ReadingForm(AsksWhyLower):
    """A reading, in the instrument's unit; asks for what only some cars need where the car needs it."""

    amount = AmountField(
        "distance",
        label="What the odometer shows",
        required=False,
        help_text="Needed unless you say why it is not readable.",
    )
    not_readable_because = forms.CharField(
        label="Not readable, because",
        max_length=200,
        required=False,
        help_text="Needed where no reading is given, for instance “display dark”.",
    )
    falsified_by = forms.CharField(
        label="The distance shown is not true, because",
        max_length=200,
        required=False,
        help_text="For instance oversize tyres or another final drive. What was shown with them is never summed as true.",
    )
    since_new = forms.BooleanField(
        label="This odometer has counted from 0 since the car was new",
        required=False,
        help_text="Tick only where that is known. Without it the true distance is known from this reading on.",
    )
    read_at = MomentField(label="Read earlier? When", required=False)
    instrument = forms.ModelChoiceField(
        label="Read on",
        queryset=Instrument.objects.none(),
        required=False,
        empty_label="The one in the car at that time",
        help_text="Choose only for a reading on the day of a replacement.",
    )

    field_order = ("amount", "not_readable_because", "lower_because")

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        instruments = list(Instrument.objects.filter(vehicle=vehicle).order_by("order"))
        latest = instruments[-1] if instruments else None
        unit = latest.unit if latest else Shop.current().distance_unit
        self.fields["amount"].initial = [None, unit]
        if len(instruments) > 1:
            self.fields["instrument"].queryset = Instrument.objects.filter(vehicle=vehicle)
            self.fields["instrument"].label_from_instance = _instrument_label
        else:
            del self.fields["instrument"]
        if latest is not None and (len(instruments) > 1 or latest.first is not None or latest.fitted_on):
            del self.fields["since_new"]


class SetAsideForm(ActForm):
    reason = forms.CharField(label="What was misread, and how you know", max_length=200)


class FalsifiedForm(ActForm):
    falsified_by = forms.CharField(
        label="What falsifies it",
        max_length=200,
        help_text="For instance the tyre size that was found fitted.",
    )


class FirstForm(ActForm):
    first = AmountField("distance", label="What it showed when it was fitted")
    estimate_note = forms.CharField(
        label="How this is known", max_length=200, help_text="Papers, an invoice, the owner's word."
    )

    def __init__(self, *args, instrument: Instrument, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["first"].initial = [None, instrument.unit]


class ReplacementForm(ActForm):
    old_instrument = forms.ModelChoiceField(
        queryset=Instrument.objects.none(), required=False, widget=forms.HiddenInput
    )
    replaced_on = DayField(label="Replaced on")
    old_last = AmountField(
        "distance",
        label="Last reading of the old one",
        required=False,
        help_text="Leave empty when not known.",
    )
    new_first = AmountField("distance", label="First reading of the new one")
    replaced_because = forms.CharField(label="Why it was replaced", max_length=200)
    estimate_note = forms.CharField(
        label="How a figure was estimated",
        max_length=200,
        required=False,
        help_text="Where one was not read off.",
    )
    notice = forms.CharField(
        label="Notice left in the car, where",
        max_length=200,
        required=False,
        help_text="Some countries ask for a notice beside the door; local rules decide.",
    )

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        # Also those removed meanwhile: the act says in words that somebody was quicker.
        self.fields["old_instrument"].queryset = Instrument.objects.filter(vehicle=vehicle)
        now = current_instrument(vehicle)
        unit = now.unit if now else Shop.current().distance_unit
        self.fields["old_instrument"].initial = now.pk if now else None
        self.fields["old_last"].initial = [None, unit]
        self.fields["new_first"].initial = [None, unit]


def _instrument_label(instrument: Instrument) -> str:
    return f"Instrument {instrument.order}, counts in {instrument.get_unit_display()}"
