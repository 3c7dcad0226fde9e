from django import forms

from workshop.forms.base import ActForm
from workshop.models import PassWay


class PassForm(ActForm):
    """One button: the way is settled by which one was pressed."""

    # A second one soon after the first is usual: the first ran out, or went to the wrong address.
    repeats = True
    way = forms.ChoiceField(choices=PassWay.choices, widget=forms.HiddenInput)


class EndAccessForm(ActForm):
    reason = forms.CharField(label="Why it ends", max_length=200)
