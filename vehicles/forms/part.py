from django import forms
from django.core.exceptions import ValidationError

from vehicles.acts.part import ASSESSED
from vehicles.forms.figures import FigureRows, source_fields
from vehicles.forms.places import PlaceField, position_field
from vehicles.models import Evidence, FittedPart, Place
from vehicles.models.part import (
    Condition,
    Confidence,
    EvidenceKind,
    Provenance,
    SuppliedBy,
    SupplyQuality,
    Whereabouts,
)
from workshop.engineering.items import items_at
from workshop.forms.base import EditForm, ModelActForm, trade_field
from workshop.forms.fields import DayField, MomentField

# The years a car's model year lies in.
OLDEST_YEAR, LAST_YEAR = 1885, 2100
_AS_EVIDENCE = [("", "As sure as the evidence makes it"), *Confidence.choices]
# What one is asked to write beside each kind of evidence.
WHAT = {
    EvidenceKind.PART_NUMBER: "The number or mark, as read",
    EvidenceKind.BUILD_RECORD: "Which record, which code",
    EvidenceKind.MAKER: "Who confirmed what, and when",
    EvidenceKind.COMPARISON: "Compared with what, and how it differs",
    EvidenceKind.INVOICE: "Whose invoice, its number or date",
    EvidenceKind.OWNER_STATEMENT: "What the owner said",
    EvidenceKind.JUDGEMENT: "By what you judge it",
}
_NUMBER_LENGTH = FittedPart._meta.get_field("part_number").max_length


def tiles(choices, **kwargs) -> forms.ChoiceField:
    """A choice of few, each a target for a finger."""
    return forms.ChoiceField(choices=choices, widget=forms.RadioSelect, **kwargs)


class PartForm(FigureRows, ModelActForm):
    """A part found on the car. With `place` the form is about that one place and doesn't ask for it; where parts
    of that place have dimensions, it asks for them too.

    Each kind of evidence is ticked and says beside it what was read, seen or said; further pieces of one kind are
    added on the part's page. The template is `vehicles/_part_fields.html`: few fields first, the rest folded.
    """

    place = PlaceField(label="Place")
    position = position_field(help_text="Where a car has several of it.")
    provenance = tiles(Provenance.choices, label="Where it comes from")
    confidence = tiles(_AS_EVIDENCE, label="How sure", required=False)
    condition = tiles(Condition.choices, label="Condition", initial=Condition.NOT_EXAMINED, required=False)
    supply_quality = tiles(
        SupplyQuality.choices, label="Quality of supply", initial=SupplyQuality.NOT_KNOWN, required=False
    )
    supplied_by = tiles(SuppliedBy.choices, label="Supplied by", initial=SuppliedBy.EARLIER, required=False)
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
            if items := items_at(place.pk):
                self.add_rows(item.code for item in items)
                self.fields |= source_fields()
        for kind in EvidenceKind:
            self.fields[f"saw_{kind}"] = forms.BooleanField(
                label=kind.label,
                required=False,
                widget=forms.CheckboxInput(attrs={"data-supports": kind.supports.value}),
            )
            self.fields[f"what_{kind}"] = forms.CharField(
                label=WHAT[kind],
                max_length=300,
                required=False,
                widget=forms.TextInput(attrs={"placeholder": WHAT[kind], "autocomplete": "off"}),
            )

    def clean(self):
        cleaned = super().clean()
        for kind in EvidenceKind:
            saw, what = cleaned.get(f"saw_{kind}"), cleaned.get(f"what_{kind}", "").strip()
            if saw and not what:
                self.add_error(f"what_{kind}", "Say what was read, seen or said; or untick this evidence.")
            if what and not saw:
                # What was written down is evidence, whether or not the tick was set.
                cleaned[f"saw_{kind}"] = True
        if self.row_keys:
            self.check_rows(cleaned)
            self.check_source_of_rows(cleaned)
        return cleaned

    def act_arguments(self):
        arguments = super().act_arguments()
        evidence = []
        for kind in EvidenceKind:
            saw, what = arguments.pop(f"saw_{kind}"), arguments.pop(f"what_{kind}").strip()
            if saw:
                evidence.append((kind.value, what))
            if saw and kind == EvidenceKind.PART_NUMBER and not arguments["part_number"]:
                # Read once, written once.
                arguments["part_number"] = what if len(what) <= _NUMBER_LENGTH else ""
        for name in ("condition", "supply_quality", "supplied_by"):
            arguments[name] = arguments[name] or self.fields[name].initial
        if self.row_keys:
            arguments |= self.take_figures(arguments)
        return {**arguments, "evidence": evidence}

    @property
    def pieces(self):
        """For the template: each kind of evidence with the field for its words."""
        return [{"saw": self[f"saw_{kind}"], "what": self[f"what_{kind}"]} for kind in EvidenceKind]

    @property
    def first(self):
        """The few fields that are asked before the evidence."""
        return self._shown("place", "position", "positions", "description", "provenance")

    @property
    def then(self):
        """The few that follow it."""
        return self._shown("factory_fits", "follows")

    @property
    def more(self):
        """What is folded away until it is wanted."""
        return self._shown(
            "confidence", "part_number", "condition", "condition_note", "supply_quality", "supplied_by",
            "specification_known", "fitted_at", "note", "made_at",
        )  # fmt: skip

    @property
    def more_is_wrong(self):
        return any(field.errors for field in self.more)

    def _shown(self, *names):
        return [self[name] for name in names if name in self.fields]


class AssessPartForm(EditForm, ModelActForm):
    reason = forms.CharField(label="Why it is assessed again", max_length=300)
    provenance = tiles(Provenance.choices, label="Where it comes from")
    confidence = tiles(Confidence.choices, label="How sure")
    condition = tiles(Condition.choices, label="Condition")

    parts = (
        ("Why", ("reason",)),
        ("What it is", ("description", "part_number", "provenance", "confidence")),
        ("Beside the factory's", ("factory_fits", "follows")),
        ("Condition", ("condition", "condition_note")),
        ("Supply", ("supply_quality", "supplied_by", "specification_known", "fitted_at")),
    )

    class Meta:
        model = FittedPart
        fields = ASSESSED
        formfield_callback = trade_field

    field_order = ("reason", *ASSESSED)


class EvidenceForm(ModelActForm):
    kind = tiles(EvidenceKind.choices, label="What kind of evidence")
    made_at = MomentField(required=False, label="Seen earlier? When")

    class Meta:
        model = Evidence
        fields = ("kind", "what")
        formfield_callback = trade_field


class PartInErrorForm(EditForm):
    reason = forms.CharField(label="Why the record is wrong", max_length=200)


class PartGoneForm(EditForm):
    """A part that came off elsewhere: by whom and where it went is not known here."""

    whereabouts_note = forms.CharField(
        label="How it is known that it is gone",
        max_length=200,
        help_text="What is there now, who said so, what the invoice of the other workshop says.",
    )
    removed_at = MomentField(
        required=False, label="Since when", help_text="Empty: not known, so from now on."
    )


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
