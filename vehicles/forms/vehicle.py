from django import forms
from django.utils.html import format_html

from vehicles.models import IdentityReading, Registration, Vehicle
from workshop.forms.base import EditForm, ModelActForm, trade_field

NUMBER_WIDGET_ATTRS = {"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}


class VehicleForm(ModelActForm):
    """What a car is. `number` is optional only when `number_unknown_because` says why."""

    number = forms.CharField(
        label="VIN or chassis number",
        max_length=60,
        required=False,
        help_text="As the car bears it; spaces and lower case don't matter. Needed unless you say why there is none.",
        widget=forms.TextInput(attrs=NUMBER_WIDGET_ATTRS),
    )

    one_of = (("number", "number_unknown_because"),)

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
        labels = {
            "number_unknown_because": "No number, because",
            "as_stamped": "The car bears the number exactly so",
            "high_voltage": "It has a high-voltage system",
        }
        help_texts = {
            "as_stamped": "Tick when the number was questioned and you have looked again at the car.",
            "number_unknown_because": "Needed where no number is given.",
        }
        formfield_callback = trade_field

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        told = self.is_bound and self.data.get(self.add_prefix("as_stamped")) not in (None, "", "False")
        if not told and not self.instance.as_stamped:
            self._tick = self.fields["as_stamped"].widget
            self.fields["as_stamped"].widget = forms.HiddenInput()

    def add_refusal(self, refusal):
        super().add_refusal(refusal)
        for error in self.errors.as_data().get("number", []):
            if error.code == "number_questioned" and self.fields["as_stamped"].widget.is_hidden:
                # Asked for once there is a question, so that nobody ticks it by habit.
                self.fields["as_stamped"].widget = self._tick
            if other := getattr(error, "other", None):
                error.message = format_html(
                    'This number is on record already: <a href="{}">{}</a>. Open that car instead.',
                    other.get_absolute_url(),
                    other,
                )


class TakeOnForm(VehicleForm):
    """A car that is new here, with the plate that it bears now."""

    plate = forms.CharField(
        label="Registration plate",
        max_length=40,
        required=False,
        help_text="As it stands on the car. Earlier plates are written down on the car's page.",
        widget=forms.TextInput(attrs=NUMBER_WIDGET_ATTRS),
    )
    country = forms.CharField(label="Country or region of the plate", max_length=40, required=False)

    field_order = ("number", "as_stamped", "number_unknown_because", "plate", "country")

    class Media:
        js = (forms.Script("js/scan.js", defer=True),)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        # The camera reads them where the browser has a detector (static/js/scan.js).
        self.fields["number"].widget.attrs["data-scan-kind"] = "vin"
        self.fields["plate"].widget.attrs["data-scan-kind"] = "plate"


class CorrectVehicleForm(EditForm, VehicleForm):
    reason = forms.CharField(
        label="Why it is corrected",
        max_length=200,
        help_text="Before and after stay in the log, with this reason.",
    )


class RegistrationForm(ModelActForm):
    end_current = forms.BooleanField(
        label="It takes the place of the plate in force",
        required=False,
        initial=True,
        help_text="Take the tick away where a car bears two plates at once.",
    )

    class Meta:
        model = Registration
        fields = ("plate", "country", "from_on", "until_on")
        labels = {"from_on": "On the car from", "until_on": "Until"}
        help_texts = {
            "plate": "As it stands on the car.",
            "until_on": "Only for an earlier plate: the first day it was no longer on the car.",
        }
        formfield_callback = trade_field


class CorrectRegistrationForm(EditForm, ModelActForm):
    reason = forms.CharField(label="Why it is corrected", max_length=200)

    class Meta(RegistrationForm.Meta):
        help_texts = {"until_on": "The first day it was no longer on the car. Empty: it is in force."}


class IdentityReadingForm(ModelActForm):
    number = forms.CharField(
        label="Number as read",
        max_length=60,
        required=False,
        help_text="As it stands there, even where it looks wrong. Spaces and lower case don't matter. "
        "Needed unless you say why it isn't readable.",
        widget=forms.TextInput(attrs=NUMBER_WIDGET_ATTRS),
    )

    one_of = (("number", "not_readable_because"),)

    class Meta:
        model = IdentityReading
        fields = ("source", "number", "not_readable_because", "place")
        labels = {"source": "Where it was read", "not_readable_because": "Not readable, because"}
        help_texts = {
            "place": "For instance “right side member, behind the front wheel”.",
            "not_readable_because": "Needed where no number is given.",
        }
        formfield_callback = trade_field
