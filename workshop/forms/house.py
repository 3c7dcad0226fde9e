"""Forms of the house: signing in, people, settings."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError

from workshop import signin
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.models import Competence, Person, Shop
from workshop.permissions import Role


class SignInForm(AuthenticationForm):
    """Name and password. After five wrong tries the name waits, on this device only."""

    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": "Name and password don't go together. Look at both; capitals count in the password.",
        "locked": "Too many wrong tries with this name on this device. Wait a quarter of an hour, or ask the lead.",
    }

    def clean(self):
        name, device = self.cleaned_data.get("username") or "", self.request.device
        device = device if device and device.pk else None
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

    class Meta:
        model = Person
        fields = ("name", "sign_in_name", "email")
        formfield_callback = trade_field


class ChangePersonForm(EditForm, ModelActForm):
    roles = _roles_field()

    class Meta:
        model = Person
        fields = ("name", "email", "is_active")
        formfield_callback = trade_field


class PasswordForm(ActForm):
    password = _password_field("New password")


class CompetenceForm(ModelActForm):
    class Meta:
        model = Competence
        fields = ("kind", "certificate", "valid_from", "expires_on")
        formfield_callback = trade_field


class ShopForm(EditForm, ModelActForm):
    class Meta:
        model = Shop
        fields = (
            "name",
            "address",
            "phone",
            "email",
            "currency",
            "paper",
            "torque_unit",
            "distance_unit",
            "default_tolerance_percent",
            "decision_rule",
            "default_limit",
            "recheck_km",
        )
        formfield_callback = trade_field


class EraseWordsForm(ActForm):
    reason = forms.CharField(max_length=200)
