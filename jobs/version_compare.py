"""Two versions of a procedure, field by field, in words: what came, what went, what changed."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from jobs import patterns
from jobs.models import ProcedureStage, ProcedureStep, ProcedureVersion
from jobs.versions import STEP_FIELDS, VERSION_FIELDS
from workshop.engineering.numbers import plain

# What is drawn: where one of these differs, both drawings are shown.
DRAWN = frozenset({"fasteners", "pattern", "rows", "columns", "points", "sequence"})


@dataclass(frozen=True)
class Difference:
    what: str
    before: str
    after: str


@dataclass
class StepChange:
    """One step in both versions (`before`, `after`; None: it came or went). `moved`: its place changed."""

    before: ProcedureStep | None
    after: ProcedureStep | None
    differences: list[Difference] = field(default_factory=list)
    drawings: tuple[dict[str, Any], dict[str, Any]] | None = None

    @property
    def step(self) -> ProcedureStep:
        return self.after or self.before

    @property
    def came(self) -> bool:
        return self.before is None

    @property
    def went(self) -> bool:
        return self.after is None

    @property
    def moved(self) -> bool:
        return bool(self.before and self.after and self.before.order != self.after.order)

    @property
    def same(self) -> bool:
        return bool(self.before and self.after) and not self.differences and not self.moved


@dataclass
class Comparison:
    version: list[Difference]
    steps: list[StepChange]

    @property
    def count(self) -> int:
        return len(self.version) + sum(
            1 if each.came or each.went else len(each.differences) + each.moved for each in self.steps
        )


def compare(before: ProcedureVersion, after: ProcedureVersion) -> Comparison:
    """Three queries for each version."""
    return Comparison(
        [
            row
            for name in VERSION_FIELDS
            if name != "change_note" and (row := _difference(before, after, name)) is not None
        ],
        [_step_change(*pair) for pair in _pairs(_steps(before), _steps(after))],
    )


def _steps(version: ProcedureVersion) -> list[ProcedureStep]:
    return list(version.steps.prefetch_related("stages__targets").order_by("order"))


def _pairs(before: list, after: list) -> list[tuple]:
    """Rows that belong together: by title, then what is left by its place; in the order of `after`."""

    def key(row):
        return row.title if isinstance(row, ProcedureStep) else row.name

    left, found = list(before), {}
    for row in after:
        if (match := next((one for one in left if key(one) == key(row)), None)) is not None:
            found[row.pk] = match
            left.remove(match)
    for row in after:
        if row.pk not in found and (match := next((one for one in left if one.order == row.order), None)):
            found[row.pk] = match
            left.remove(match)
    pairs = [(found.get(row.pk), row) for row in after]
    for gone in left:
        place = next((n for n, (old, _) in enumerate(pairs) if old and old.order > gone.order), len(pairs))
        pairs.insert(place, (gone, None))
    return pairs


def _step_change(before: ProcedureStep | None, after: ProcedureStep | None) -> StepChange:
    if before is None or after is None:
        return StepChange(before, after)
    rows = [row for name in STEP_FIELDS if (row := _difference(before, after, name)) is not None]
    drawn = any(getattr(before, name) != getattr(after, name) for name in DRAWN)
    return StepChange(
        before,
        after,
        [*rows, *_stage_differences(before, after)],
        (patterns.drawing(before), patterns.drawing(after)) if drawn else None,
    )


def _stage_differences(before: ProcedureStep, after: ProcedureStep) -> list[Difference]:
    def stages(step):
        return sorted(step.stages.all(), key=lambda stage: stage.order)

    found = []
    for old, new in _pairs(stages(before), stages(after)):
        if old is None or new is None:
            found.append(Difference(_stage_label(new or old), _stage_words(old), _stage_words(new)))
        else:
            found += _one_stage(old, new)
    return found


def _one_stage(old: ProcedureStage, new: ProcedureStage) -> list[Difference]:
    rows = [
        ("name", old.name, new.name),
        ("place", str(old.order), str(new.order)),
        ("kind", old.get_kind_display(), new.get_kind_display()),
        ("running torque added", _words(old.add_running_torque), _words(new.add_running_torque)),
        ("note", old.note, new.note),
    ]
    before, after = _targets(old), _targets(new)
    for group in dict.fromkeys([*before, *after]):
        label = f"target of {group}" if group else "target"
        rows.append((label, before.get(group, ""), after.get(group, "")))
    return [
        Difference(f"{_stage_label(new)}, {what}", a or "(none)", b or "(none)")
        for what, a, b in rows
        if a != b
    ]


def _stage_label(stage: ProcedureStage) -> str:
    return stage.name if stage.name.casefold().startswith("stage") else f"Stage {stage.name}"


def _targets(stage: ProcedureStage) -> dict[str, str]:
    return {
        target.group: f"{target}{', ' + target.source_words if target.source_words else ''}"
        for target in sorted(stage.targets.all(), key=lambda each: each.group)
    }


def _stage_words(stage: ProcedureStage | None) -> str:
    if stage is None:
        return "(not there)"
    targets = "; ".join(f"{group}: {text}" if group else text for group, text in _targets(stage).items())
    return targets or stage.get_kind_display()


def _difference(before, after, name: str) -> Difference | None:
    a, b = getattr(before, name), getattr(after, name)
    if a == b:
        return None
    label = str(before._meta.get_field(name).verbose_name)
    return Difference(label[:1].upper() + label[1:], _shown(before, name, a), _shown(after, name, b))


def _shown(record, name: str, value: Any) -> str:
    display = getattr(record, f"get_{name}_display", None)
    return _words(display() if display is not None and value else value)


def _words(value: Any) -> str:
    if value is True or value is False:
        return "yes" if value else "no"
    if value in (None, "", [], {}):
        return "(none)"
    if isinstance(value, Decimal):
        return plain(value, 3)
    if isinstance(value, dict):
        return "; ".join(f"{name}: {', '.join(map(str, numbers))}" for name, numbers in sorted(value.items()))
    if isinstance(value, list):
        if value and isinstance(value[0], list):
            return "; ".join(f"{number}: {x} {y}" for number, (x, y) in enumerate(value, 1))
        return "–".join(map(str, value))
    return str(value)
