from django import forms
from django.utils.html import format_html

from vehicles.models import IdentityReading, Registration, Vehicle
from workshop.forms.base import EditForm, ModelActForm, trade_field


class VehicleForm(ModelActForm):
    """What a car is. `number` is optional only when `number_unknown_because` says why."""

    number = forms.CharField(
        label="VIN or chassis number",
        max_length=40,
        required=False,
        help_text="As the car bears it; spaces and lower case don't matter.",
        widget=forms.TextInput(
            attrs={"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}
        ),
    )

    class Meta:
        model = Vehicle
        fields = (
            "number",
            "as_stamped",
            "number_unknown_because",
            "make",
            "model",
            "variant",
            "year",
            "engine_number",
            "colour",
            "body",
            "high_voltage",
            "notes",
        )
        formfield_callback = trade_field

    def add_refusal(self, refusal):
        super().add_refusal(refusal)
        for error in self.errors.as_data().get("number", []):
            if other := getattr(error, "other", None):
                error.message = format_html(
                    'This number is on record already: <a href="{}">{}</a>. Open that car instead.',
                    other.get_absolute_url(),
                    other,
                )


class CorrectVehicleForm(EditForm, VehicleForm):
    reason = forms.CharField(label="Why it is corrected", max_length=200)


class RegistrationForm(ModelActForm):
    class Meta:
        model = Registration
        fields = ("plate", "country", "from_on", "until_on")
        formfield_callback = trade_field


class IdentityReadingForm(ModelActForm):
    class Meta:
        model = IdentityReading
        fields = ("source", "number", "not_readable_because", "place")
        formfield_callback = trade_field
