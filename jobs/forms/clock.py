"""Forms of the labour clock."""

from __future__ import annotations

from django import forms

from workshop.forms.base import ActForm
from workshop.forms.fields import MomentField


class StartClockForm(ActForm):
    """Nothing to fill in: one tap."""

    repeats = True


class StopClockForm(ActForm):
    repeats = True
    made_at = MomentField(
        required=False, label="Stopped earlier? When", help_text="Leave empty when work ends now."
    )
    not_counted_because = forms.CharField(
        max_length=200,
        required=False,
        label="Not counted, because",
        help_text="For a clock that was started by mistake: no labour is written down.",
    )
