"""Forms of measurements."""

from __future__ import annotations

from django import forms

from jobs.forms.job import Folded, earlier
from jobs.forms.part import PlaceField, position_field
from jobs.forms.work import StrikeForm
from jobs.models import Measurement
from jobs.models.measurement import Phase
from workshop.engineering.units import BASE, units_of
from workshop.forms.base import ActForm
from workshop.forms.fields import AmountField, NumberField

# What a workshop measures on a car, the commonest first; torque has its own procedures.
DIMENSIONS = (
    "length", "voltage", "current", "resistance", "pressure", "force", "mass", "temperature", "angle", "volume",
    "time", "speed", "rotation", "power", "charge", "ratio", "count",
)  # fmt: skip


class ReadingField(AmountField):
    """A number with a unit of any dimension that is measured on a car, grouped by dimension."""

    def __init__(self, **kwargs):
        codes = [unit.code for dimension in DIMENSIONS for unit in units_of(dimension)]
        super().__init__("length", units=codes, **kwargs)
        self.widget.widgets[1].choices = [
            ("", "unit"),
            *(
                (dimension, [(unit.code, unit.label or "plain number") for unit in units_of(dimension)])
                for dimension in DIMENSIONS
                if dimension in BASE
            ),
        ]


class MeasureForm(Folded, ActForm):
    what = forms.CharField(max_length=120, label="What was measured")
    phase = forms.ChoiceField(
        choices=Phase.choices, label="Before or after the work", widget=forms.RadioSelect
    )
    reading = ReadingField(label="Reading")
    low = NumberField(required=False, label="Lowest allowed", help_text="In the unit of the reading.")
    high = NumberField(required=False, label="Highest allowed", help_text="In the unit of the reading.")
    limit_source = forms.CharField(
        max_length=160,
        required=False,
        label="Where the limit comes from",
        help_text="The maker's data with its page, a plate on the car, a standard.",
    )
    place = PlaceField(required=False, empty_label="no place named")
    position = position_field()
    instrument = forms.CharField(max_length=120, required=False, label="Measured with")
    note = forms.CharField(max_length=200, required=False, label="Note")
    made_at = earlier()

    parts = [
        ("The reading", ("what", "phase", "reading")),
        ("Its limits", ("low", "high", "limit_source")),
        ("Where and with what", ("instrument", "place", "position", "note", "made_at")),
    ]
    folds = (
        ("Where and with what", "Place on the car, note", ("place", "position", "note")),
        ("Where and with what", "It was measured earlier than now", ("made_at",)),
    )
    narrow = ("low", "high")


class StrikeMeasurementForm(StrikeForm):
    taken_back = "measurement"
    measurement = forms.ModelChoiceField(
        Measurement.objects.none(), label="Which measurement", empty_label="choose"
    )
