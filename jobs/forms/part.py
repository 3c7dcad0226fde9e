"""Forms by which a work line changes the parts of the car."""

from __future__ import annotations

from itertools import groupby

from django import forms
from django.forms.models import ModelChoiceIterator
from django.utils.html import format_html

from jobs.forms.job import Folded, earlier
from vehicles.models import FittedPart, Place, Zone
from vehicles.models.part import Condition, Position, Provenance, SuppliedBy, SupplyQuality, Whereabouts
from workshop.forms.base import ActForm

WENT = [
    ("", "not decided yet: asked again before the car leaves"),
    *(choice for choice in Whereabouts.choices if choice[0] != Whereabouts.ON_THE_CAR),
]


class _ByZone(ModelChoiceIterator):
    def __iter__(self):
        if self.field.empty_label is not None:
            yield ("", self.field.empty_label)
        for zone, places in groupby(self.queryset, key=lambda place: place.zone):
            yield (Zone(zone).label, [self.choice(place) for place in places])


class PlaceField(forms.ModelChoiceField):
    """A place, under the zones in the order of a walk round the car."""

    iterator = _ByZone

    def __init__(self, **kwargs):
        kwargs.setdefault("label", "Place")
        kwargs.setdefault("empty_label", "choose")
        super().__init__(Place.objects.order_by("order", "name"), **kwargs)


def position_field() -> forms.ChoiceField:
    return forms.ChoiceField(
        choices=[("", "there is one only"), *Position.choices],
        required=False,
        label="Position",
        help_text="Left and right as seen by the driver.",
    )


class _WhereItWent(ActForm):
    whereabouts = forms.ChoiceField(
        choices=WENT,
        required=False,
        label="Where the old part went",
        help_text="A core goes back to the supplier to be reconditioned, against its deposit.",
    )
    whereabouts_note = forms.CharField(max_length=200, required=False, label="Note on it")


class _New(Folded, ActForm):
    """What a part that goes on is, and by what that is known."""

    description = forms.CharField(max_length=200, label="What is fitted")
    part_number = forms.CharField(
        max_length=60, required=False, label="Part number or casting mark", help_text="As read off the part."
    )
    invoice = forms.CharField(
        max_length=200,
        required=False,
        label="Invoice or delivery note",
        help_text="Number and supplier. A part that the shop supplies has a part number or an invoice.",
    )
    provenance = forms.ChoiceField(choices=[("", "choose"), *Provenance.choices], label="Where it comes from")
    supplied_by = forms.ChoiceField(
        choices=[choice for choice in SuppliedBy.choices if choice[0] != SuppliedBy.EARLIER],
        initial=SuppliedBy.SHOP,
        label="Who supplied it",
        widget=forms.RadioSelect,
        help_text="On the owner's own part the shop gives no parts warranty.",
    )
    supply_quality = forms.ChoiceField(
        choices=SupplyQuality.choices, initial=SupplyQuality.NOT_KNOWN, label="Quality of supply"
    )
    specification_known = forms.BooleanField(required=False, label="Its specification is known")
    condition = forms.ChoiceField(choices=Condition.choices, initial=Condition.GOOD, label="Condition")
    factory_fits = forms.CharField(max_length=200, required=False, label="What the factory fits there")
    follows = forms.CharField(
        required=False,
        label="What follows from the difference",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For a part that is not the factory's.",
    )
    on_trial = forms.BooleanField(
        required=False,
        label="A known-good part, on trial only",
        help_text="To find a fault. It is decided later whether it stays.",
    )
    note = forms.CharField(max_length=200, required=False, label="Note")
    made_at = earlier()

    parts = [
        ("In which place", ("place", "position")),
        ("The new part", ("description", "part_number", "invoice", "provenance", "supplied_by")),
        ("More about it", ("supply_quality", "specification_known", "condition", "factory_fits", "follows")),
        ("The old part", ("old_description", "whereabouts", "whereabouts_note")),
        ("How and when", ("on_trial", "note", "made_at")),
    ]
    folds = (
        (
            "More about it",
            "Quality, condition, what the factory fits",
            ("supply_quality", "specification_known", "condition", "factory_fits", "follows"),
        ),
        ("How and when", "Note, or done earlier than now", ("note", "made_at")),
    )
    narrow = ("place", "position", "part_number", "invoice", "whereabouts", "whereabouts_note")


class FitForm(_New, _WhereItWent):
    """Where nothing is on record. Where something is, the refusal leads to replacing it."""

    place = PlaceField()
    position = position_field()
    old_description = forms.CharField(
        max_length=200,
        required=False,
        label="What came off (not on record until now)",
        help_text="Leave empty where the place was empty.",
    )

    def __init__(self, *args, replace_url=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.replace_url = replace_url

    def add_refusal(self, refusal):
        super().add_refusal(refusal)
        for error in self.errors.as_data().get("place", []):
            if (part := getattr(error, "part", None)) is not None and self.replace_url:
                error.message = format_html(
                    "{} is in this place. "
                    '<a href="{}">Replace it</a>, so that it is on record where the old one went.',
                    part.description,
                    self.replace_url(part),
                )


class ReplaceForm(_New, _WhereItWent):
    pass


class RemoveForm(_WhereItWent):
    note = forms.CharField(max_length=200, required=False, label="Note")
    made_at = earlier()


class RefitForm(ActForm):
    note = forms.CharField(max_length=200, required=False, label="Note")
    made_at = earlier()


class SwapForm(ActForm):
    other = forms.ModelChoiceField(
        FittedPart.objects.none(), label="Swapped with", empty_label="choose", help_text="A part of this car."
    )
    note = forms.CharField(max_length=200, required=False, label="Note")
    made_at = earlier()

    def __init__(self, *args, part: FittedPart, **kwargs):
        super().__init__(*args, **kwargs)
        on_the_car = FittedPart.objects.filter(vehicle=part.vehicle_id).fitted_now().exclude(pk=part.pk)
        self.fields["other"].queryset = on_the_car.select_related("place")


class PutBackForm(_WhereItWent):
    note = forms.CharField(max_length=200, required=False, label="Note")
    made_at = earlier()

    def __init__(self, *args, in_place: FittedPart | None, **kwargs):
        super().__init__(*args, **kwargs)
        if in_place is None:
            del self.fields["whereabouts"], self.fields["whereabouts_note"]
        else:
            self.fields["whereabouts"].label = f"Where {in_place.description} goes"


class KeepTrialForm(_WhereItWent):
    part_number = forms.CharField(max_length=60, required=False, label="Part number or casting mark")
    invoice = forms.CharField(max_length=200, required=False, label="Invoice or delivery note")
    note = forms.CharField(max_length=200, required=False, label="Note")
    made_at = earlier()

    field_order = ("part_number", "invoice", "whereabouts", "whereabouts_note", "note", "made_at")
