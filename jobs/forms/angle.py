from django import forms

from workshop.forms.base import ActForm


class NotPossibleForm(ActForm):
    repeats = True  # "too high" is true of the roof on both occasions

    because = forms.CharField(
        label="Not possible, because",
        max_length=200,
        help_text="“Too high”, “locked”, “stands against the wall”.",
    )
