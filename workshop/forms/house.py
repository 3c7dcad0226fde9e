"""Forms of the house: signing in, people, settings."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator

from workshop import signin
from workshop.acts import people
from workshop.acts.shop import check_currency
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.forms.fields import DayField
from workshop.models import Competence, Person, Shop
from workshop.permissions import Role


class SignInForm(AuthenticationForm):
    """Name and password. After five wrong tries the name waits, on this device only."""

    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": "Name and password don't go together. Look at both; capitals count in the password.",
        "revoked": "This device was revoked, and nobody signs in on it. A lead or the shop owner can let it in again, "
        "on the Devices page of another device.",
        "locked": "Too many wrong tries with this name on this device. Wait a quarter of an hour, or ask the lead.",
    }

    def clean(self):
        name, device = self.cleaned_data.get("username") or "", self.request.device
        device = device if device and device.pk else None
        if device is not None and device.revoked_at is not None:
            raise ValidationError(self.error_messages["revoked"], code="revoked")
        if signin.is_locked(name, device):
            raise ValidationError(self.error_messages["locked"], code="locked")
        try:
            cleaned = super().clean()
        except ValidationError:
            signin.count_wrong_try(name, device)
            raise
        signin.forget_tries(name, device)
        return cleaned


def _roles_field() -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        choices=Role.choices,
        widget=forms.CheckboxSelectMultiple,
        help_text="One person may hold several: in a small shop one is owner, lead and technician.",
    )


def _password_field(label: str = "Password") -> forms.CharField:
    return forms.CharField(
        label=label,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters; a few words together are easy to keep in mind.",
    )


class PersonForm(ModelActForm):
    password = _password_field("First password")
    roles = _roles_field()
    parts = (
        ("Who it is", ("name", "email")),
        ("How they sign in", ("sign_in_name", "password")),
        ("What they do", ("roles",)),
    )

    class Meta:
        model = Person
        fields = ("name", "sign_in_name", "email")
        formfield_callback = trade_field
        help_texts = {
            "name": "As it is printed beside what they sign and measure.",
            "sign_in_name": "Short, without spaces; small and capital letters are the same here.",
        }

    def clean(self):
        """What the act would refuse, said together with what is missing."""
        data = super().clean()
        name, password = data.get("sign_in_name"), data.get("password")
        person = Person(name=data.get("name") or "", sign_in_name=(name or "").strip().casefold())
        for given, check in ((name, people.check_sign_in_name), (password, people.check_password)):
            if given:
                try:
                    check(given) if given is name else check(given, person)
                except ValidationError as refusal:
                    self.add_refusal(refusal)
        if name and Person.objects.filter(sign_in_name=person.sign_in_name).exists():
            self.add_error("sign_in_name", person.unique_error_message(Person, ("sign_in_name",)))
        return data


class ChangePersonForm(EditForm, ModelActForm):
    roles = _roles_field()
    parts = (("Who it is", ("name", "email")), ("What they do", ("roles",)), ("Access", ("is_active",)))

    class Meta:
        model = Person
        fields = ("name", "email", "is_active")
        formfield_callback = trade_field
        help_texts = {
            "is_active": "Without the tick they are signed out at once and can't sign in. Their name stays on all they did."
        }


class PasswordForm(ActForm):
    password = _password_field("New password")


class CompetenceForm(ModelActForm):
    class Meta:
        model = Competence
        fields = ("kind", "certificate", "valid_from", "expires_on")
        formfield_callback = trade_field
        labels = {"kind": "Qualified for", "expires_on": "Valid until"}
        help_texts = {
            "certificate": "Its number and who issued it.",
            "expires_on": "The last day on which it counts. Empty where the certificate has no end.",
        }


class WithdrawCompetenceForm(ActForm):
    from_on = DayField(
        label="No longer valid from", help_text="The first day on which it does not count. Not in the future."
    )
    reason = forms.CharField(label="Why it is withdrawn", max_length=200)


class ReasonForm(ActForm):
    reason = forms.CharField(label="Why", max_length=200)


class DeviceNameForm(ActForm):
    name = forms.CharField(
        label="Name", max_length=80, help_text="Such as “tablet, bay two” or “office desk”."
    )


class ShopForm(EditForm, ModelActForm):
    early = ("default_tolerance_percent", "default_limit")
    parts = (
        ("On every sheet", ("name", "address", "phone", "email", "paper")),
        ("Money", ("currency", "tax_note", "default_limit")),
        ("Units", ("torque_unit", "distance_unit")),
        ("How tightening is judged", ("default_tolerance_percent", "decision_rule", "recheck_km")),
    )

    class Meta:
        model = Shop
        fields = (
            "name",
            "address",
            "phone",
            "email",
            "paper",
            "currency",
            "tax_note",
            "default_limit",
            "torque_unit",
            "distance_unit",
            "default_tolerance_percent",
            "decision_rule",
            "recheck_km",
        )
        formfield_callback = trade_field
        labels = {
            "phone": "Telephone",
            "paper": "Paper in the printer",
            "decision_rule": "How a reading near a limit is judged",
        }
        help_texts = {
            "default_limit": "Offered at check-in as what may be spent on diagnosis and strip-down without asking. "
            "Each job can have its own.",
            "torque_unit": "Shown beside the unit of the tool and of the maker. What was typed stays as it was typed.",
            "distance_unit": "Shown beside the unit of the car's own instrument.",
            "decision_rule": "The first takes the tool's permissible deviation off both limits, so that what is called "
            "within is within even if the tool is at the edge of its own. The sheet says which rule was used.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["default_limit"].unit = self.instance.currency
        self.fields["default_tolerance_percent"].unit = "% each way"
        self.fields["default_tolerance_percent"].help_text = "Shown as the shop's own, never as the maker's."
        self.fields["recheck_km"].unit = "km"
        self.fields["recheck_km"].label = "Wheel nuts checked again after"
        currency = self.fields["currency"]
        # The act says what a currency is: "euros" is answered with that, not with a count of letters.
        currency.max_length = None
        currency.validators = [
            each for each in currency.validators if not isinstance(each, MaxLengthValidator)
        ]

    def clean_currency(self):
        check_currency(self.cleaned_data["currency"])
        return self.cleaned_data["currency"]


class EraseWordsForm(ActForm):
    reason = forms.CharField(max_length=200, help_text="It is kept in the log: name nobody.")
