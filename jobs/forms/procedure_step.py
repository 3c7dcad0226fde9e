"""The editor of a step: what it says and its stages in one form, and what the page shows of it while it
is typed.
"""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from jobs import patterns
from jobs.angle_estimate import of_targets
from jobs.forms.procedure import StepForm, unit_choices
from jobs.models import ProcedureStage, ProcedureStep
from jobs.models.procedure import LimitKind, OrderOfWork, Pattern, StageKind
from jobs.specification import NUMBER_KEYS, build_target, shape
from jobs.step_questions import load_questions, load_words, proof_questions, unit_offers
from jobs.versions import seen_step_text
from workshop.acting import By, ChangedMeanwhile
from workshop.engineering.errors import EngineeringError
from workshop.engineering.numbers import plain
from workshop.engineering.pattern_drawing import drawn
from workshop.engineering.patterns import Pattern as Shape
from workshop.engineering.patterns import check_sequence
from workshop.engineering.units import UNITS
from workshop.forms.base import speak
from workshop.forms.fields import NumberField
from workshop.models import Shop

MOST_STAGES = 20


class TargetRow(forms.Form):
    """The limits of one stage for one group of fasteners; all of it may be empty while a draft is written."""

    limit = forms.ChoiceField(label="Kind of limit", choices=LimitKind.choices, initial=LimitKind.TOLERANCE)
    value = NumberField(label="Target", required=False)
    unit = forms.ChoiceField(label="Unit", required=False)
    tolerance_percent = NumberField(label="± percent", required=False)
    plus = NumberField(label="or plus", required=False)
    minus = NumberField(label="and minus", required=False)
    low = NumberField(label="From, or at least", required=False)
    high = NumberField(label="To, or at most", required=False)
    source = forms.CharField(label="Where it stands", max_length=120, required=False)
    shops_own = forms.BooleanField(label="shop's own value", required=False)

    def __init__(self, *args, group: str = "", units: list[tuple[str, str]], unit: str, **kwargs):
        super().__init__(*args, use_required_attribute=False, **kwargs)
        self.group = group
        self.fields["unit"].choices = units
        self.fields["unit"].initial = unit
        self.fields["source"].widget.attrs["placeholder"] = "p. 40-12, edition 3"
        for name, field in self.fields.items():
            speak(field, field.label or name)

    @property
    def is_empty(self) -> bool:
        """Nothing was typed. A limit of kind “none” is an answer without a number."""
        numbers = any(str(self[name].value() or "").strip() for name in NUMBER_KEYS)
        return not numbers and self["limit"].value() != LimitKind.NONE

    def spec(self) -> dict[str, Any]:
        return {"group": self.group, **self.cleaned_data}


class StageRow(forms.Form):
    """One stage with a target for each group."""

    name = forms.CharField(label="Name of the stage", max_length=80, required=False)
    kind = forms.ChoiceField(label="Kind", choices=StageKind.choices, initial=StageKind.TORQUE)
    note = forms.CharField(label="Note for the technician", max_length=160, required=False)
    add_running_torque = forms.BooleanField(
        label="running torque of each fastener is measured and added", required=False
    )

    def __init__(self, *args, groups: list[str], units: list[tuple[str, str]], unit: str, **kwargs):
        super().__init__(*args, use_required_attribute=False, **kwargs)
        self.fields["name"].widget.attrs["placeholder"] = "Round 1, or Turn 90°"
        self.fields["note"].widget.attrs["placeholder"] = "final at ride height; again when cold"
        given = self.initial.get("targets", {})
        self.targets = [
            TargetRow(
                self.data if self.is_bound else None,
                prefix=f"{self.prefix}-t{number}",
                initial=given.get(group) or given.get(number) or {},
                group=group,
                units=units,
                unit=unit,
            )
            for number, group in enumerate(groups)
        ]
        for name, field in self.fields.items():
            speak(field, field.label or name)

    @property
    def is_empty(self) -> bool:
        return not str(self["name"].value() or "").strip() and all(row.is_empty for row in self.targets)

    def spec(self) -> dict[str, Any]:
        loosens = self.cleaned_data["kind"] == StageKind.LOOSEN
        return {
            **self.cleaned_data,
            "targets": [] if loosens else [row.spec() for row in self.targets if not row.is_empty],
        }


class StepEditor(StepForm):
    """A step with its stages. `stage_rows` are its stages; the act gets them as `stages`."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    stage_count = forms.IntegerField(
        widget=forms.HiddenInput, required=False, min_value=0, max_value=MOST_STAGES
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["pattern"].widget = forms.RadioSelect(choices=Pattern.choices)
        self.fields["fasteners"].widget.attrs.update({"min": 1, "max": 60, "inputmode": "numeric"})
        self._on_record = (
            [_as_typed(row) for row in self.instance.stages.prefetch_related("targets").order_by("order")]
            if self.instance.pk
            else []
        )
        if self.instance.pk:
            self.initial.setdefault("seen", seen_step_text(self.instance))
        shop_unit = Shop.current().torque_unit
        units = unit_choices(StageKind.values)
        count = self._count()
        self.stage_rows = [
            StageRow(
                self.data if self.is_bound else None,
                prefix=f"stage-{number}",
                initial=self._stage_initial(number),
                groups=self.group_choice,
                units=units,
                unit=shop_unit,
            )
            for number in range(count)
        ]

    def _count(self) -> int:
        if not self.is_bound and "stage_count" not in self.initial:
            return max(1, len(self._on_record))
        try:
            return min(max(int(self["stage_count"].value() or 1), 1), MOST_STAGES)
        except ValueError:
            return 1

    @property
    def group_choice(self) -> list[str]:
        """The groups as they are typed now: one target of each stage for each; [""] where all are alike."""
        try:
            return list(self.fields["fastener_groups"].to_python(self._typed_groups())) or [""]
        except ValidationError:
            return [""]

    def _typed_groups(self) -> str:
        value = self["fastener_groups"].value()
        return self.fields["fastener_groups"].prepare_value(value) or "" if value else ""

    def _stage_initial(self, number: int) -> dict[str, Any]:
        if "stages" in self.initial:
            return self.initial["stages"].get(number, {})
        return self._on_record[number] if number < len(self._on_record) else {}

    # --- reading it

    def clean(self):
        data = super().clean()
        fields = {name: value for name, value in data.items() if name in _OF_THE_MODEL}
        step = ProcedureStep(version=self.instance.version if self.instance.pk else None, **fields)
        if {"fasteners", "pattern", "sequence"} <= data.keys() and "fastener_groups" in data:
            try:
                shape(step, data["sequence"] or None, data["fastener_groups"])
            except ValidationError as refusal:
                self.add_refusal(refusal)
        for row in self.stage_rows:
            self._clean_row(row, step)
        data["stages"] = [
            row.spec()
            for row in self.stage_rows
            if not row.is_empty and row.is_valid() and _valid(row.targets)
        ]
        return data

    def _clean_row(self, row: StageRow, step: ProcedureStep) -> None:
        if row.is_empty:
            return
        if not row.is_valid() or not _valid(row.targets):
            self._say_where(row)
        if not row.cleaned_data.get("name"):
            row.add_error("name", "Name the stage, such as “Round 1”.")
        kind = row.cleaned_data.get("kind")
        for target in row.targets if kind and kind != StageKind.LOOSEN else ():
            if target.is_empty or not target.is_valid():
                continue
            try:
                build_target(ProcedureStage(step=step, kind=kind), step, target.spec())
            except ValidationError as refusal:
                for name, errors in refusal.error_dict.items():
                    for error in errors:
                        target.add_error(name if name in target.fields else None, error)
        if row.errors or any(target.errors for target in row.targets):
            self._say_where(row)

    def _say_where(self, row: StageRow) -> None:
        text = f"Stage {self.stage_rows.index(row) + 1}: look at what stands beside its fields."
        if text not in self.non_field_errors():
            self.add_error(None, text)

    def act_arguments(self) -> dict[str, Any]:
        arguments = super().act_arguments()
        arguments.pop("stage_count", None)
        if not self.instance.pk:
            arguments.pop("seen", None)
        return arguments

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        super()._show_what_is_on_record(refusal)
        step = refusal.record
        stages = "; ".join(
            f"{stage.name}: {', '.join(map(str, stage.targets.all())) or stage.get_kind_display().lower()}"
            for stage in step.stages.prefetch_related("targets").order_by("order")
        )
        self.add_error(None, f"Its stages as they stand on record now: {stages or 'none'}.")
        self.data = self.data.copy()
        self.data["seen"] = seen_step_text(step)

    @classmethod
    def typed(cls, data: QueryDict, *, instance: ProcedureStep | None = None, **changes: str) -> StepEditor:
        """The form as it was typed so far, not judged: for a button that only changes the form."""
        initial: dict[str, Any] = {name: data.get(name, "") for name in cls.base_fields}
        for name in ("critical", "hold_point", "to_yield"):
            initial[name] = name in data
        count = min(
            int(data.get("stage_count") or 1) if (data.get("stage_count") or "1").isdigit() else 1,
            MOST_STAGES,
        )
        rows = [_typed_row(data, number) for number in range(count)]
        rows = _in_unit(_with(rows, changes.pop("rows", "")), changes.pop("unit", ""))
        initial |= {"stage_count": len(rows), "stages": dict(enumerate(rows)), **changes}
        return cls(initial=initial, instance=instance)


_OF_THE_MODEL = (
    "title",
    "fasteners",
    "pattern",
    "rows",
    "columns",
    "points",
    "order_of_work",
    "friction",
    "nut_factor",
    "clamped_length",
    "thread",
    "property_class",
    "to_yield",
)


def _valid(rows: list[TargetRow]) -> bool:
    return all(row.is_empty or row.is_valid() for row in rows)


def _as_typed(stage: ProcedureStage) -> dict[str, Any]:
    """A stage on record as its form would have been filled."""
    targets = {}
    for target in stage.targets.all():
        row = {
            "limit": target.limit,
            "unit": target.unit,
            "value": target.value,
            "source": target.source,
            "shops_own": target.shops_own,
        }
        if target.limit == LimitKind.TOLERANCE and not target.tolerance_is_shops:
            row |= {"plus": target.high - target.value, "minus": target.value - target.low}
        elif target.limit != LimitKind.TOLERANCE:
            row |= {"low": target.low, "high": target.high}
        targets[target.group] = row
    return {
        "name": stage.name,
        "kind": stage.kind,
        "note": stage.note,
        "add_running_torque": stage.add_running_torque,
        "targets": targets,
    }


def _typed_row(data: QueryDict, number: int) -> dict[str, Any]:
    prefix = f"stage-{number}-"
    row: dict[str, Any] = {"targets": {}}
    for key, value in data.items():
        if not key.startswith(prefix):
            continue
        name = key.removeprefix(prefix)
        if name.startswith("t") and "-" in name and name[1 : name.index("-")].isdigit():
            place, _, field = name[1:].partition("-")
            row["targets"].setdefault(int(place), {})[field] = value
        else:
            row[name] = value
    return row


def _with(rows: list[dict], change: str) -> list[dict]:
    """Rows after "add", "drop:1", "up:1" or "down:1"; anything else leaves them as they are."""
    what, _, place = change.partition(":")
    at = int(place) if place.isdigit() and int(place) < len(rows) else None
    if what == "add" and len(rows) < MOST_STAGES:
        return [*rows, {}]
    if at is None:
        return rows
    if what == "drop":
        return [row for number, row in enumerate(rows) if number != at] or [{}]
    other = at - 1 if what == "up" else at + 1
    if what in ("up", "down") and 0 <= other < len(rows):
        rows[at], rows[other] = rows[other], rows[at]
    return rows


def _in_unit(rows: list[dict], change: str) -> list[dict]:
    """Rows after "1-0:N.m": the target of the second stage and the first group in this unit, its number as typed."""
    where, _, code = change.partition(":")
    number, _, place = where.partition("-")
    if code in UNITS and number.isdigit() and place.isdigit() and int(number) < len(rows):
        rows[int(number)]["targets"].setdefault(int(place), {})["unit"] = code
    return rows


# What the page shows of it while it is typed --------------------------------------------------------------


def preview_of(form: StepEditor, by: By) -> dict[str, Any]:
    """The drawing of what is typed, and in sentences what does not go together: {drawing, said, proposals, load,
    questions, lacks}. Judges nothing: what can't be read yet is left out.
    """
    said: list[str] = []

    def read(name: str, otherwise: Any) -> Any:
        try:
            found = form.fields[name].clean(form[name].value())
        except ValidationError as error:
            if str(form[name].value() or "").strip():
                said.append(f"{form.fields[name].label}: {' '.join(error.messages)}")
            return otherwise
        return otherwise if found in (None, "", [], {}) else found

    kind = read("pattern", Pattern.CIRCLE)
    step = ProcedureStep(
        title=str(form["title"].value() or "This step"),
        fasteners=read("fasteners", 0),
        pattern=kind if kind in Pattern.values else Pattern.CIRCLE,
        rows=read("rows", 1),
        columns=read("columns", 1),
        points=_as_points(form, read),
        groups=_as_groups(form, read),
        order_of_work=read("order_of_work", OrderOfWork.STAGE_BY_STAGE),
        thread=read("thread", ""),
        property_class=read("property_class", ""),
        friction=read("friction", ""),
        nut_factor=read("nut_factor", None),
        clamped_length=read("clamped_length", None),
        to_yield=bool(form["to_yield"].value()),
    )
    sequence = _as_numbers(form, read)
    said += _shape_said(step, sequence)
    targets = _targets(form, step)
    drawing = _drawing(step, sequence)
    count = len(drawing["fasteners"]) if drawing else 0
    return {
        "drawing": drawing,
        "free": step.pattern == Pattern.FREE,
        "said": list(dict.fromkeys(said)),
        "proposals": _proposals(step) if count and step.fasteners == count else [],
        "sequence": step.sequence,
        "load": load_words(step, targets),
        "questions": [*load_questions(step, targets), *proof_questions(by, targets)],
        "offers": unit_offers(step, targets),
        "estimates": of_targets(step, targets),
        "targets": [
            (target.stage.name, target.group, str(target), target.source_words) for target in targets
        ],
    }


def _as_points(form: StepEditor, read) -> list:
    value = form["points"].value()
    return value if isinstance(value, list) else read("points", [])


def _as_groups(form: StepEditor, read) -> dict:
    value = form["fastener_groups"].value()
    return value if isinstance(value, dict) else read("fastener_groups", {})


def _as_numbers(form: StepEditor, read) -> list[int]:
    value = form["sequence"].value()
    return value if isinstance(value, list) else read("sequence", [])


def _shape_said(step: ProcedureStep, sequence: list[int]) -> list[str]:
    """What does not go together yet; completes the step with its sequence and nut factor where it does."""
    if not step.fasteners:
        return ["Say how many fasteners there are."]
    groups, step.groups = step.groups, {}
    try:
        shape(step, sequence, groups)
    except ValidationError as refusal:
        step.groups = groups
        return [text for texts in refusal.message_dict.values() for text in texts]
    return []


def _drawing(step: ProcedureStep, sequence: list[int]) -> dict[str, Any] | None:
    """What can be drawn of it; None where there is nothing yet."""
    if step.pattern == Pattern.FREE and step.points and len(step.points) != step.fasteners:
        shown = ProcedureStep(
            title=step.title, pattern=step.pattern, fasteners=len(step.points), points=step.points
        )
    elif step.pattern == Pattern.GRID and step.rows * step.columns != step.fasteners:
        shown = ProcedureStep(
            title=step.title,
            pattern=step.pattern,
            fasteners=step.rows * step.columns,
            rows=step.rows,
            columns=step.columns,
        )
    else:
        shown = step
    if not 1 <= shown.fasteners <= 60:
        return None
    try:
        shown.sequence = (
            list(check_sequence(shown.sequence or sequence, shown.fasteners)) if shown is step else []
        )
    except EngineeringError:
        shown.sequence = []
    try:
        return patterns.drawing(shown)
    except (EngineeringError, ValueError, TypeError):
        return None


def _proposals(step: ProcedureStep) -> list[dict[str, Any]]:
    try:
        found = patterns.proposals(step.pattern, step.fasteners, step.rows, step.columns, step.points)
    except EngineeringError:
        return []
    return [
        {
            **row,
            "text": " ".join(map(str, row["sequence"])),
            "shown": "–".join(map(str, row["sequence"])),
            "here": list(row["sequence"]) == step.sequence,
        }
        for row in found
    ]


def _targets(form: StepEditor, step: ProcedureStep) -> list:
    """The targets that can be read already, unsaved, each with its stage."""
    found = []
    for number, row in enumerate(form.stage_rows):
        kind = row["kind"].value()
        stage = ProcedureStage(step=step, name=str(row["name"].value() or ""), kind=kind or StageKind.TORQUE)
        if kind == StageKind.LOOSEN or kind not in StageKind.values:
            continue
        for place, target in enumerate(row.targets):
            if target.is_empty:
                continue
            spec = {name: target[name].value() for name in target.fields}
            spec = {name: plain(v, 3) if hasattr(v, "quantize") else v for name, v in spec.items()}
            try:
                made = build_target(stage, step, {**spec, "group": target.group})
            except ValidationError:
                continue
            made.stage, made.typed_at = stage, f"{number}-{place}"
            found.append(made)
    return found


def pictures() -> list[dict[str, Any]]:
    """Each pattern as a small picture to choose from."""
    samples = {
        Pattern.CIRCLE: drawn(Shape.CIRCLE, 5),
        Pattern.LINE: drawn(Shape.LINE, 4),
        Pattern.GRID: drawn(Shape.GRID, 6, 2, 3),
        Pattern.FREE: drawn(
            Shape.FREE, 5, points=[(0.1, 0.3), (0.55, 0.05), (0.95, 0.4), (0.75, 0.9), (0.2, 0.8)]
        ),
    }
    return [
        {
            "value": kind.value,
            "label": kind.label,
            "box": found.view_box,
            "fasteners": [
                {
                    "n": spot.fastener,
                    "x": spot.x,
                    "y": spot.y,
                    "size": found.size,
                    "state": "todo",
                    "label": "",
                }
                for spot in found.spots
            ],
        }
        for kind, found in samples.items()
    ]
