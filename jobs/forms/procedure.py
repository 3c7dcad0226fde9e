from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError

from jobs.models import Procedure, ProcedureStep, ProcedureVersion
from jobs.models.procedure import LimitKind, StageKind
from jobs.specification import DIMENSIONS
from jobs.versions import seen_step_text, seen_version_text
from workshop.engineering.fasteners import NUT_FACTORS
from workshop.engineering.numbers import plain
from workshop.engineering.units import BASE, UNITS, units_of
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.forms.fields import NumberField
from workshop.models import Shop
from workshop.models.shop import TorqueUnit

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
                ("thread", "property_class", "friction", "nut_factor", "to_yield", "reuse", "threadlocker"),
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


class ChangeStepForm(StepForm):
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.initial.setdefault("seen", seen_step_text(self.instance))


class TargetForm(ActForm):
    """The target of one group at one stage. Which numbers are needed follows from the kind of limit."""

    group = forms.ChoiceField(label="For which fasteners", required=False)
    limit = forms.ChoiceField(label="Kind of limit", choices=LimitKind.choices, initial=LimitKind.TOLERANCE)
    unit = forms.ChoiceField(label="Unit")
    value = NumberField(label="Target", required=False)
    tolerance_percent = NumberField(label="Tolerance in percent", required=False)
    plus = NumberField(label="or tolerance upwards, as a size", required=False)
    minus = NumberField(label="and downwards", required=False, help_text="Left empty, the same as upwards.")
    low = NumberField(label="From, or at least", required=False)
    high = NumberField(label="To, or at most", required=False)
    kept_because = forms.CharField(
        label="Kept all the same, because",
        max_length=300,
        required=False,
        help_text="Only where something was questioned and is right all the same.",
    )

    def __init__(self, *args, step: ProcedureStep, kind: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        if step.groups:
            self.fields["group"].choices = [("", "All alike"), *((name, name) for name in step.group_names)]
        else:
            del self.fields["group"]
        kinds = [kind] if kind else StageKind.values
        self.fields["unit"].choices = unit_choices(kinds)
        self.fields["unit"].initial = Shop.current().torque_unit
        default = plain(Shop.current().default_tolerance_percent)
        self.fields["tolerance_percent"].help_text = (
            "As the maker gives it. With no tolerance at all the shop's own "
            f"±{default} % is taken, and shown as such."
        )
        self.initial.setdefault("kept_because", step.kept_because)


class StageForm(TargetForm):
    name = forms.CharField(
        label="Name of the stage", max_length=80, help_text="Such as: Round 1, or Turn 90°."
    )
    kind = forms.ChoiceField(label="Kind of stage", choices=StageKind.choices, initial=StageKind.TORQUE)
    add_running_torque = forms.BooleanField(
        label="The running torque of each fastener is measured and added", required=False
    )
    note = forms.CharField(
        label="Note",
        max_length=160,
        required=False,
        help_text="Such as: final at ride height; again when cold; on to the next hole.",
    )

    field_order = [
        "name",
        "kind",
        "group",
        "limit",
        "unit",
        "value",
        "tolerance_percent",
        "plus",
        "minus",
        "low",
        "high",
        "add_running_torque",
        "note",
        "kept_because",
    ]

    @property
    def groups(self):
        parts = (
            ("The stage", ("name", "kind", "note", "add_running_torque")),
            (
                "Its target",
                ("group", "limit", "unit", "value", "tolerance_percent", "plus", "minus", "low", "high"),
            ),
            ("Remarks", ("kept_because",)),
        )
        return [
            {"title": title, "fields": [self[name] for name in names if name in self.fields]}
            for title, names in parts
        ]


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
