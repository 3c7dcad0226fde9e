from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError

from jobs.models import Procedure, ProcedureStep, ProcedureVersion
from jobs.specification import DIMENSIONS
from jobs.versions import seen_order, seen_version_text
from workshop.acting import ChangedMeanwhile
from workshop.engineering.fasteners import NUT_FACTORS
from workshop.engineering.numbers import plain
from workshop.engineering.units import BASE, UNITS, units_of
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.forms.signing import SignedForm
from workshop.models.shop import TorqueUnit
from workshop.permissions import May

FRICTION = [("", "Not stated")] + [
    (one.code, f"{one.label}, K about {plain(one.value)}") for one in NUT_FACTORS.values()
]


class ProcedureForm(ModelActForm):
    class Meta:
        model = Procedure
        fields = ("title", "area", "applies_to")
        formfield_callback = trade_field


class WithdrawForm(EditForm):
    withdrawn_because = forms.CharField(label="Why it is withdrawn", max_length=200)


class VersionForm(ModelActForm):
    class Meta:
        model = ProcedureVersion
        fields = ("source", "change_note", "cautions", "competence", "recheck_km", "recheck_note")
        formfield_callback = trade_field

    def __init__(self, *args, area: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["recheck_km"].unit = "km"
        if area == "wheels":
            self.fields[
                "recheck_km"
            ].help_text = "The maker's distance. Left empty, the shop's own is taken for wheels."


class WriteVersionForm(VersionForm):
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.initial.setdefault("seen", seen_version_text(self.instance))

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        super()._show_what_is_on_record(refusal)
        self.data = self.data.copy()
        self.data["seen"] = seen_version_text(refusal.record)


class NumbersField(forms.CharField):
    """Whole numbers typed in order: "1 3 5 2 4". Answers a list."""

    def to_python(self, value):
        text = super().to_python(value)
        try:
            return [int(word) for word in text.replace(",", " ").replace("-", " ").split()]
        except ValueError as error:
            raise ValidationError(
                "Type whole numbers with spaces between them, such as 1 3 5 2 4.", code="not_numbers"
            ) from error

    def prepare_value(self, value):
        return " ".join(map(str, value)) if isinstance(value, list) else value


class GroupsField(forms.CharField):
    """One group a line: "long: 1 2 3". Answers {name: numbers}."""

    widget = forms.Textarea(attrs={"rows": 3})

    def to_python(self, value):
        found: dict[str, list[int]] = {}
        for line in super().to_python(value).splitlines():
            if not line.strip():
                continue
            name, colon, numbers = line.partition(":")
            words = numbers.replace(",", " ").split()
            if not colon or not name.strip() or not words or not all(word.isdecimal() for word in words):
                raise ValidationError(
                    f"“{line.strip()}” can't be read. Write one group a line, such as “long: 1 2 3”.",
                    code="not_groups",
                )
            if name.strip() in found:
                raise ValidationError(f"“{name.strip()}” stands there twice.", code="twice")
            found[name.strip()] = [int(word) for word in words]
        return found

    def prepare_value(self, value):
        if isinstance(value, dict):
            return "\n".join(f"{name}: {' '.join(map(str, numbers))}" for name, numbers in value.items())
        return value


class PointsField(forms.CharField):
    """One place a line, across and down, from 0 to 1: "0.2 0.5". Answers a list of pairs."""

    widget = forms.Textarea(attrs={"rows": 3})

    def to_python(self, value):
        rows = [
            line.replace(",", ".").split() for line in super().to_python(value).splitlines() if line.strip()
        ]
        try:
            return [[float(x), float(y)] for x, y in rows]
        except ValueError as error:
            raise ValidationError(
                "Write one place a line: across and down, from 0 to 1, such as 0.2 0.5.", code="not_points"
            ) from error

    def prepare_value(self, value):
        if isinstance(value, list):
            return "\n".join(f"{x} {y}" for x, y in value)
        return value


class StepForm(ModelActForm):
    """A step. `groups` of the act is called `fastener_groups` here: `form.groups` are the titled parts."""

    sequence = NumbersField(
        label="Sequence",
        required=False,
        help_text="The maker's, such as 1 3 5 2 4. Left empty: opposite fasteners on a circle, from "
        "the middle on a line or grid (common practice).",
    )
    fastener_groups = GroupsField(
        label="Groups of fasteners",
        required=False,
        help_text="Where bolts are mixed, one group a line: “long: 1 2 3”. Each group then has its "
        "own target.",
    )
    points = PointsField(
        label="Places for a free pattern",
        required=False,
        help_text="One a line, across and down from 0 to 1: “0.2 0.5”. Left empty they are drawn in rows.",
    )
    friction = forms.ChoiceField(label="Friction condition", choices=FRICTION, required=False)

    class Meta:
        model = ProcedureStep
        fields = (
            "title",
            "fasteners",
            "pattern",
            "rows",
            "columns",
            "points",
            "sequence",
            "order_of_work",
            "critical",
            "hold_point",
            "thread",
            "property_class",
            "friction",
            "nut_factor",
            "clamped_length",
            "to_yield",
            "reuse",
            "threadlocker",
            "kept_because",
            "note",
        )
        formfield_callback = trade_field

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            self.initial.setdefault("fastener_groups", self.instance.groups)
        self.fields[
            "thread"
        ].help_text = "Such as M12 or M12x1.25: with class and friction the load is checked."
        self.fields["property_class"].help_text = "As marked on the head, such as 8.8 or 10.9."
        self.fields["nut_factor"].help_text = "Left empty, the usual one of the friction condition is taken."
        self.fields[
            "kept_because"
        ].help_text = "Only where something was questioned and is right all the same."
        for name in ("rows", "columns"):
            self.fields[name].help_text = "For a grid only."
            self.fields[name].required = False

    def clean_rows(self):
        return self.cleaned_data["rows"] or 1

    def clean_columns(self):
        return self.cleaned_data["columns"] or 1

    @property
    def groups(self):
        parts = (
            ("The joint", ("title", "fasteners", "pattern", "rows", "columns", "points", "fastener_groups")),
            ("Order", ("sequence", "order_of_work")),
            ("Checks", ("critical", "hold_point")),
            (
                "Bolt or nut",
                (
                    "thread",
                    "property_class",
                    "friction",
                    "nut_factor",
                    "clamped_length",
                    "to_yield",
                    "reuse",
                    "threadlocker",
                ),
            ),
            ("Remarks", ("note", "kept_because")),
        )
        return [{"title": title, "fields": [self[name] for name in names]} for title, names in parts]

    def act_arguments(self):
        arguments = super().act_arguments()
        arguments["groups"] = arguments.pop("fastener_groups")
        return arguments

    def add_refusal(self, refusal):
        if hasattr(refusal, "error_dict") and "groups" in refusal.error_dict:
            refusal.error_dict["fastener_groups"] = refusal.error_dict.pop("groups")
        super().add_refusal(refusal)


def unit_choices(kinds) -> list[tuple[str, str]]:
    """Units of these kinds of stage: the shop's torque units first, then angle and what a result is
    measured in.
    """
    dimensions = list(dict.fromkeys(name for kind in kinds for name in DIMENSIONS[kind]))
    choices: list[tuple[str, str]] = []
    for dimension in dimensions:
        if dimension == "torque":
            choices += TorqueUnit.choices
        else:
            choices += [(unit.code, unit.label) for unit in units_of(dimension)]
    return choices or [(BASE["torque"], UNITS[BASE["torque"]].label)]


class PlainForm(ActForm):
    """Nothing but the key: an act that is only confirmed."""


class MoveForm(ActForm):
    up = forms.BooleanField(required=False, widget=forms.HiddenInput)
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        version = refusal.record
        order = ", ".join(f"{step.order} {step.title}" for step in version.steps.order_by("order"))
        self.add_error(
            None,
            ValidationError(
                f"Somebody else moved, added or took out a step meanwhile. The order is now: {order}. Move it if that "
                "is still right.",
                code="changed_meanwhile",
            ),
        )
        self.data = self.data.copy()
        self.data["seen"] = seen_order(version)


class ReleaseForm(SignedForm):
    """What changed, said for who knew the version before. The first version has nothing to say here."""

    right = May.EDIT_PROCEDURE
    change_note = forms.CharField(
        label="What changed against the version before",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Such as: final torque 110 instead of 120 N·m, by the maker's edition 4.",
    )

    def __init__(self, *args, version: ProcedureVersion, **kwargs):
        super().__init__(*args, **kwargs)
        self.initial.setdefault("change_note", version.change_note)
        if version.number == 1:
            del self.fields["change_note"]


class WriteProcedureForm(ModelActForm, EditForm):
    class Meta:
        model = Procedure
        fields = ("title", "area", "applies_to")
        formfield_callback = trade_field


class TakeUpForm(EditForm):
    """Nothing but the version that was seen."""
