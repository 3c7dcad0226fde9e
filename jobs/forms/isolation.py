"""Forms of the high-voltage isolation. People who hold no valid competence are not offered; the act refuses them."""

from __future__ import annotations

from django import forms

from jobs.forms.job import HANDS, earlier
from jobs.models import Isolation
from workshop.forms.base import ActForm, ModelActForm, trade_field
from workshop.models import Person


class IsolationForm(ModelActForm):
    made_at = earlier()

    class Meta:
        model = Isolation
        fields = ("isolated_by", "method", "proved_dead", "locked_with")
        formfield_callback = trade_field
        help_texts = {
            "method": "What was switched off or taken out, in the maker's order.",
            "proved_dead": "With which tester, at which points; the tester proved before and after.",
            "locked_with": "Padlock, box or bag; who carries the key.",
        }

    def __init__(self, *args, holders: list[str], **kwargs):
        super().__init__(*args, **kwargs)
        _offer(self.fields["isolated_by"], holders)


class ReEnergiseForm(ActForm):
    re_energised_by = forms.ModelChoiceField(Person.objects.none(), label="Who re-energises")
    note = forms.CharField(
        label="What was checked before",
        max_length=200,
        help_text="Nobody at the car, covers and plugs on, tools out, lock off.",
    )
    made_at = earlier()

    def __init__(self, *args, holders: list[str], **kwargs):
        super().__init__(*args, **kwargs)
        _offer(self.fields["re_energised_by"], holders)


def _offer(field: forms.ModelChoiceField, holders: list[str]) -> None:
    """Everybody with hands on cars may be chosen: the refusal then says who is qualified on that day."""
    field.queryset = Person.objects.holding(*HANDS)
    field.help_text = (
        "Qualified today: " + ", ".join(holders) + "."
        if holders
        else "Nobody in the shop is qualified today."
    )
