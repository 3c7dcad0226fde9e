"""Forms of the door for car owners: a code typed, a link asked for, the one button behind a link."""

from __future__ import annotations

from django import forms

from workshop import passes
from workshop.forms.base import speak
from workshop.forms.typing import guide_typing


class _Form(forms.Form):
    """No form of an act: nobody is signed in yet, and who acts is known only when the pass is found."""

    required_css_class = "required"

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            speak(field, field.label or name)
            guide_typing(field, name)


class PressForm(_Form):
    """The button behind a link."""

    borrowed = forms.BooleanField(
        label="This is not my own device: sign me out when the browser is closed", required=False
    )


class CodeForm(PressForm):
    code = forms.CharField(
        label="Code",
        # Spaces and strokes between the groups are forgiven, so there is room for some.
        max_length=40,
        help_text="Eight letters and digits, as the workshop shows or says them. Small letters and spaces do not matter.",
        widget=forms.TextInput(
            attrs={
                "class": "code-typed",
                "autocomplete": "one-time-code",
                "autocapitalize": "characters",
                "autocorrect": "off",
                "spellcheck": "false",
                "size": 10,
            }
        ),
    )
    field_order = ("code", "borrowed")

    def clean_code(self) -> str:
        return passes.tidy(self.cleaned_data["code"])


class AskForm(_Form):
    email = forms.EmailField(
        label="E-mail",
        help_text="The address that the workshop has on record for you.",
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
