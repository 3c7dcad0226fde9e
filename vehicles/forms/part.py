from django import forms
from django.core.exceptions import ValidationError

from vehicles.acts.part import ASSESSED
from vehicles.forms.places import PlaceField, position_field
from vehicles.models import Evidence, FittedPart, Place
from vehicles.models.part import Confidence, EvidenceKind, Whereabouts
from workshop.forms.base import EditForm, ModelActForm, trade_field
from workshop.forms.fields import DayField, MomentField

# As many as one has in hand at the car; more are added on the part's page.
PIECES = 3
# The years a car's model year lies in.
OLDEST_YEAR, LAST_YEAR = 1885, 2100
_AS_EVIDENCE = [("", "As sure as the evidence makes it"), *Confidence.choices]


class PartForm(ModelActForm):
    """A part found on the car. With `place` the form is about that one place and doesn't ask for it."""

    place = PlaceField(label="Place")
    position = position_field(help_text="Where a car has several of it.")
    confidence = forms.ChoiceField(label="How sure", choices=_AS_EVIDENCE, required=False)
    made_at = MomentField(required=False, label="Seen earlier? When")

    class Meta:
        model = FittedPart
        fields = (
            "place",
            "position",
            "description",
            "part_number",
            "provenance",
            "confidence",
            "supply_quality",
            "supplied_by",
            "specification_known",
            "condition",
            "condition_note",
            "factory_fits",
            "follows",
            "fitted_at",
        )
        formfield_callback = trade_field

    def __init__(self, *args, place: Place | None = None, **kwargs):
        super().__init__(*args, **kwargs)
        if place is not None:
            del self.fields["place"]
            if place.allowed == ("",):
                del self.fields["position"]
            else:
                self.fields["position"] = position_field(place, required=True)
        for number in range(1, PIECES + 1):
            self.fields[f"evidence_kind_{number}"] = forms.ChoiceField(
                label="Evidence" if number == 1 else f"Evidence {number}",
                choices=[("", "–"), *EvidenceKind.choices],
                required=False,
            )
            self.fields[f"evidence_what_{number}"] = forms.CharField(
                label="What was read, seen or said", max_length=300, required=False
            )

    def clean(self):
        cleaned = super().clean()
        for number in range(1, PIECES + 1):
            kind, what = (cleaned.get(f"evidence_{name}_{number}", "") for name in ("kind", "what"))
            if kind and not what.strip():
                self.add_error(f"evidence_what_{number}", "Say what was read, seen or said.")
            if what.strip() and not kind:
                self.add_error(f"evidence_kind_{number}", "Say what kind of evidence this is.")
        return cleaned

    def act_arguments(self):
        arguments = super().act_arguments()
        pieces = [
            (arguments.pop(f"evidence_kind_{number}"), arguments.pop(f"evidence_what_{number}"))
            for number in range(1, PIECES + 1)
        ]
        return {**arguments, "evidence": [piece for piece in pieces if piece[0]]}

    @property
    def groups(self):
        pieces = [f"evidence_{name}_{number}" for number in range(1, PIECES + 1) for name in ("kind", "what")]
        return [
            self._group("What is there", "place", "position", "description", "part_number"),
            self._group("Where it comes from", "provenance", *pieces, "confidence"),
            self._group("Beside the factory's", "factory_fits", "follows"),
            self._group("Condition", "condition", "condition_note"),
            self._group(
                "Supply", "supply_quality", "supplied_by", "specification_known", "fitted_at", "made_at"
            ),
        ]

    def _group(self, title, *names):
        return {"title": title, "fields": [self[name] for name in names if name in self.fields]}


class AssessPartForm(EditForm, ModelActForm):
    reason = forms.CharField(label="Why it is assessed again", max_length=300)

    class Meta:
        model = FittedPart
        fields = ASSESSED
        formfield_callback = trade_field

    field_order = ("reason", *ASSESSED)


class EvidenceForm(ModelActForm):
    made_at = MomentField(required=False, label="Seen earlier? When")

    class Meta:
        model = Evidence
        fields = ("kind", "what")
        formfield_callback = trade_field


class PartInErrorForm(EditForm):
    reason = forms.CharField(label="Why the record is wrong", max_length=200)


class WhereaboutsForm(EditForm):
    whereabouts = forms.ChoiceField(label="Where it went", choices=[("", "–"), *Whereabouts.choices])
    whereabouts_note = forms.CharField(label="Remark", max_length=200, required=False)


class PlaceForm(ModelActForm):
    class Meta:
        model = Place
        fields = ("zone", "name", "positions", "consumable", "safety")
        formfield_callback = trade_field


class AsOfForm(forms.Form):
    """A question, not an act: what was on the car on a day."""

    on = DayField(label="As of")
    place = PlaceField(label="Place", required=False, empty_label="All places")

    def clean_on(self):
        """A day that a car can have been on: others would leave the calendar when turned into a moment."""
        day = self.cleaned_data["on"]
        if not OLDEST_YEAR <= day.year <= LAST_YEAR:
            raise ValidationError(f"Give a day between the years {OLDEST_YEAR} and {LAST_YEAR}.")
        return day
