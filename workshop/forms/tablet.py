"""Forms of a tablet that passes from hand to hand: enrolling it, the PIN at its door, choosing a PIN."""

from __future__ import annotations

from django import forms
from django.contrib.auth import authenticate
from django.core.exceptions import ValidationError

from workshop import pins, signin
from workshop.forms.base import ActForm
from workshop.models import Device, Person


def minutes_field() -> forms.IntegerField:
    field = forms.IntegerField(
        label="Locks itself after",
        min_value=1,
        max_value=60,
        initial=5,
        help_text="1 to 60 minutes without a touch. What was typed stays, and its PIN opens it again.",
    )
    field.unit = "minutes"
    return field


def pin_field(label: str, **options) -> forms.CharField:
    return forms.CharField(
        label=label,
        strip=True,
        max_length=6,
        widget=forms.PasswordInput(
            # Not a password to be kept by the browser: the next one at this tablet is somebody else.
            attrs={"inputmode": "numeric", "autocomplete": "one-time-code", "maxlength": 6, "class": "digits"}
        ),
        **options,
    )


class EnrolForm(ActForm):
    name = forms.CharField(label="Name", max_length=80, help_text="Such as “tablet, bay two”.")
    lock_minutes = minutes_field()


class LockMinutesForm(ActForm):
    lock_minutes = minutes_field()


class NothingForm(ActForm):
    """An act that needs no more than the tap."""


class EnterForm(forms.Form):
    """The PIN of the one whose name was tapped."""

    pin = pin_field("PIN")


def person_by_password(request, name: str, password: str, device: Device | None) -> Person:
    """Who this is by name and password, counted as at the sign-in page. Refuses in words."""
    if signin.is_locked(name, device):
        raise ValidationError(
            "Too many wrong passwords for this name here. Wait a quarter of an hour, or ask the lead."
        )
    person = authenticate(request, username=name, password=password)
    if person is None:
        signin.count_wrong_try(name, device)
        raise ValidationError(
            "Name and password don't go together. Look at both; capitals count in the password."
        )
    signin.forget_tries(name, device)
    return person


class NewPin(ActForm):
    # Two PINs look the same to the look for what was sent before: they are no part of its hash.
    repeats = True
    pin = pin_field("New PIN", help_text="Six digits. Not six times the same, and none that run up or down.")
    again = pin_field("The new PIN once more")

    def __init__(self, *args, device: Device | None = None, request=None, **kwargs):
        self.device, self.request = device, request
        super().__init__(*args, **kwargs)

    def clean_pin(self) -> str:
        pins.refuse_weak(self.cleaned_data["pin"])
        return pins.tidy(self.cleaned_data["pin"])

    def clean(self):
        data = super().clean()
        again = pins.tidy(data.get("again") or "")
        if data.get("pin") and again and again != data["pin"]:
            self.add_error("again", "The two are not the same. Type the new PIN once more in both.")
        if not self.errors:
            # Last: a slip in the new PIN must not cost a try at the old one.
            self.look_who()
        return data

    def look_who(self) -> None:
        raise NotImplementedError

    def act_arguments(self):
        return {"pin": self.cleaned_data["pin"]}


class FirstPinForm(NewPin):
    """At the tablet's door: who one is by name and password, and the PIN from now on."""

    field_order = ("username", "password", "pin", "again")
    username = forms.CharField(
        label="Name to sign in with",
        max_length=60,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    password = forms.CharField(
        label="Password", strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "off"})
    )
    parts = (("Who you are", ("username", "password")), ("Your PIN on this shop's tablets", ("pin", "again")))
    person: Person | None = None

    def look_who(self) -> None:
        try:
            person = person_by_password(
                self.request, self.cleaned_data["username"], self.cleaned_data["password"], self.device
            )
        except ValidationError as refusal:
            self.add_error("password", refusal)
            return
        if not person.is_staff_member:
            self.add_error("username", "PINs are for those who work here.")
            return
        self.person = person


class OwnPinForm(NewPin):
    """Signed in: who one is by the password, or by the PIN that is to be replaced."""

    field_order = ("password", "old_pin", "pin", "again")
    password = forms.CharField(
        label="Your password",
        strip=False,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    old_pin = pin_field("Your PIN now", required=False)
    one_of = (("old_pin", "password"),)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if not pins.has_pin(self.request.user):
            del self.fields["old_pin"]
            self.fields["password"].required = True

    def look_who(self) -> None:
        person = self.request.user
        try:
            if self.cleaned_data.get("old_pin"):
                pins.check(person, self.cleaned_data["old_pin"], self.device)
            else:
                person_by_password(
                    self.request, person.sign_in_name, self.cleaned_data["password"], self.device
                )
        except ValidationError as refusal:
            self.add_error("old_pin" if self.cleaned_data.get("old_pin") else "password", refusal)
