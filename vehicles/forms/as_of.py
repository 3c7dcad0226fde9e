"""The day, or the two days, of which a car is asked how it was."""

from __future__ import annotations

from django import forms

from workshop.forms.fields import DayField


class DaysForm(forms.Form):
    """Stands in the page's address. `other` empty: one day alone."""

    day = DayField(label="On which day")
    other = DayField(label="Beside another day", required=False)
