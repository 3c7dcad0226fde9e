"""Forms of the road test and the final check."""

from __future__ import annotations

from django import forms

from jobs.forms.job import Folded, earlier, one_of_two
from jobs.models import FinalCheck, RoadTest
from workshop.forms.base import ModelActForm, trade_field
from workshop.forms.fields import AmountField
from workshop.forms.signing import SignedForm
from workshop.models import Person
from workshop.permissions import May

# Filled together, or left empty where there was no road test.
DRIVEN = ("driver", "driven", "found")


class RoadTestForm(Folded, ModelActForm):
    distance = AmountField("distance", units=["km", "mi"], low=0, high=2000, required=False, label="Distance")
    made_at = earlier()

    class Meta:
        model = RoadTest
        fields = ("driver", "driven", "found", "licence_and_insurance", "not_done_because")
        formfield_callback = trade_field
        help_texts = {
            "driven": "Which roads, how fast, how long, cold or warm.",
            "found": "Each complaint of the owner: still there, gone, or other than before.",
            "not_done_because": "Instead of all of the above.",
        }

    parts = [
        ("Driven", ("driver", "licence_and_insurance", "driven", "distance", "found", "made_at")),
        ("No road test", ("not_done_because",)),
    ]
    folds = (
        ("Driven", "It was driven earlier than now", ("made_at",)),
        ("No road test", "There was none, because …", ("not_done_because",)),
    )
    narrow = ("driver", "distance")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["driver"].queryset = Person.objects.active_staff()
        self.fields["driver"].label = "Who drove"
        one_of_two(self, *DRIVEN)
        self.fields["licence_and_insurance"].required = False

    def clean(self):
        """The driver is filled in beforehand: where nothing was driven, that is no statement that somebody drove."""
        cleaned = super().clean()
        if cleaned.get("not_done_because") and not any(
            cleaned.get(name) for name in ("driven", "found", "distance")
        ):
            cleaned.update(driver=None, licence_and_insurance=False)
        for name in DRIVEN:
            self.fields[name].required = True  # for their labels alone, see one_of_two
        return cleaned


class FinalCheckForm(Folded, SignedForm, ModelActForm):
    right = May.FINAL_CHECK
    parts = [("", ("new_damage", "tools_complete", "parts_complete", "note", "made_at"))]
    folds = (("", "It was looked over earlier than now", ("made_at",)),)

    made_at = earlier()

    class Meta:
        model = FinalCheck
        fields = ("new_damage", "tools_complete", "parts_complete", "note")
        formfield_callback = trade_field
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        help_texts = {
            "new_damage": "Look at the damage of check-in above. Where nothing is new, write “none”.",
            "note": "What is missing and where it may be; what else was seen.",
        }
