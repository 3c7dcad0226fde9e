from django import forms

from workshop.forms.base import ActForm


class AcknowledgeForm(ActForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)
    words = forms.CharField(
        max_length=300,
        required=False,
        label="Anything to say to the workshop",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
