"""A version of a procedure as a record: what it says, by which hash, what it lacks, and whether it may still
be changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError

from jobs.models import Procedure, ProcedureStep, ProcedureVersion
from jobs.models.procedure import StageKind
from workshop.acting import ChangedMeanwhile
from workshop.canonical import canonical, sha256

STEP_FIELDS = (
    "title",
    "fasteners",
    "pattern",
    "rows",
    "columns",
    "points",
    "sequence",
    "groups",
    "order_of_work",
    "critical",
    "hold_point",
    "thread",
    "property_class",
    "friction",
    "nut_factor",
    "clamped_length",
    "reuse",
    "to_yield",
    "threadlocker",
    "kept_because",
    "note",
)
VERSION_FIELDS = ("source", "change_note", "cautions", "competence", "recheck_km", "recheck_note")

# What somebody typed: it stands beside the log's facts, not in them.
VERSION_WORDS = ("source", "change_note", "cautions", "recheck_note")
STEP_WORDS = ("title", "groups", "threadlocker", "kept_because", "note")


def lock_draft(version: ProcedureVersion) -> ProcedureVersion:
    Procedure.objects.select_for_update(no_key=True).get(pk=version.procedure_id)
    version = ProcedureVersion.objects.select_related("procedure").get(pk=version.pk)
    if version.released_at:
        raise ValidationError(
            f"{version} is released and never changes: start a new version, which begins as a copy of it.",
            code="released",
        )
    return version


def refuse_unseen(seen: str, now: str, record, fields: tuple[str, ...]) -> None:
    """Refuse a save on what somebody changed meanwhile, with what stands on record now."""
    if seen and seen != now:
        raise ChangedMeanwhile(record, {name: getattr(record, name) for name in fields})


def seen_version_text(version: ProcedureVersion) -> str:
    return sha256(canonical({name: getattr(version, name) for name in VERSION_FIELDS}))[:16]


def seen_step_text(step: ProcedureStep) -> str:
    """Names the state of a draft's step and its stages, so that a save on what somebody changed meanwhile is refused.

    Two queries.
    """
    said = {name: getattr(step, name) for name in STEP_FIELDS}
    stages = step.stages.prefetch_related("targets").order_by("order")
    return sha256(canonical({**said, "stages": [_stage_says(stage) for stage in stages]}))[:16]


def seen_order(version: ProcedureVersion) -> str:
    """Names the steps of a draft in their order, for a move."""
    return "-".join(str(key) for key in version.steps.order_by("order").values_list("pk", flat=True))


def _stage_says(stage) -> dict[str, Any]:
    return {
        "name": stage.name,
        "kind": stage.kind,
        "add_running_torque": stage.add_running_torque,
        "note": stage.note,
        "targets": [
            [t.group, t.limit, t.value, t.low, t.high, t.unit, t.tolerance_is_shops, t.source, t.shops_own]
            for t in sorted(stage.targets.all(), key=lambda target: target.group)
        ],
    }


def version_facts(version: ProcedureVersion) -> dict[str, Any]:
    return {"procedure": str(version.procedure_id), "version": version.number}


def step_facts(step: ProcedureStep) -> dict[str, Any]:
    """What a step says in numbers and chosen words, for the log."""
    said = {name: getattr(step, name) for name in STEP_FIELDS if name not in STEP_WORDS}
    return {**version_facts(step.version), "step": step.order, **said}


def step_words(step: ProcedureStep) -> dict[str, Any]:
    """What a step says in words of somebody's own, for the log."""
    said = {name: getattr(step, name) for name in STEP_WORDS}
    return {"version": str(step.version), **said, "questioned": step.questioned}


@dataclass(frozen=True)
class Lack:
    """One thing that a draft lacks before it can be released; `step` is where it is mended, None: the
    version.
    """

    text: str
    step: ProcedureStep | None = None


def lacks_of_step(step: ProcedureStep) -> list[Lack]:
    """What a step lacks before its version can be released. Reads stages and targets."""
    stages = list(step.stages.all())
    found = []
    if not any(stage.kind != StageKind.LOOSEN for stage in stages):
        found.append(f"Step {step.order}, {step.title}, tightens nothing yet: add a stage with its target.")
    for stage in stages:
        groups = {target.group for target in stage.targets.all()}
        if stage.kind == StageKind.LOOSEN or "" in groups:
            continue
        if missing := [name for name in step.groups if name not in groups] or ([] if groups else ["all"]):
            found.append(f"Step {step.order}, stage {stage.name}: no target for {', '.join(missing)}.")
    return [Lack(text, step) for text in found]


def why_not_whole(step: ProcedureStep) -> str:
    """The first thing that a step lacks before its version can be released; empty when it is whole."""
    return next((lack.text for lack in lacks_of_step(step)), "")


def lacks_of(version: ProcedureVersion, steps: list[ProcedureStep]) -> list[Lack]:
    """All that a draft lacks. `steps` are its steps, stages and targets prefetched."""
    if not steps:
        return [Lack("A version without steps can't be released: add its first step.")]
    return [lack for step in steps for lack in lacks_of_step(step)]


def content_hash(version: ProcedureVersion) -> str:
    """SHA-256 of all that a version says, so that a print can name exactly what was worked by."""
    return sha256(
        canonical(
            {
                "procedure": version.procedure.title,
                "version": version.number,
                **{name: getattr(version, name) for name in VERSION_FIELDS},
                "steps": [
                    {
                        **_step_says(step),
                        "stages": [
                            {
                                "name": stage.name,
                                "kind": stage.kind,
                                "add_running_torque": stage.add_running_torque,
                                "note": stage.note,
                                "targets": [
                                    [t.group, t.limit, t.base_value, t.base_low, t.base_high, *_source_of(t)]
                                    for t in stage.targets.order_by("group")
                                ],
                            }
                            for stage in step.stages.order_by("order")
                        ],
                    }
                    for step in version.steps.order_by("order")
                ],
            }
        )
    )


def _step_says(step: ProcedureStep) -> dict[str, Any]:
    """What was released before there was a clamped length keeps its hash."""
    said = {name: getattr(step, name) for name in STEP_FIELDS}
    return {name: value for name, value in said.items() if name != "clamped_length" or value is not None}


def _source_of(target) -> list[Any]:
    """Only where it is said: what was released before there was a source of one value keeps its hash."""
    return [target.source, target.shops_own] if target.source or target.shops_own else []
