"""A version of a procedure as a record: what it says, by which hash, what it lacks, and whether it may still
be changed.
"""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from jobs.models import Procedure, ProcedureStep, ProcedureVersion
from jobs.models.procedure import StageKind
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


def refuse_unseen(seen: str, now: str) -> None:
    if seen and seen != now:
        raise ValidationError(
            "Somebody else changed this while you were writing. Nothing of yours is lost: open the "
            "page again in "
            "another window, compare, and write it there.",
            code="changed_meanwhile",
        )


def seen_version_text(version: ProcedureVersion) -> str:
    return sha256(canonical({name: getattr(version, name) for name in VERSION_FIELDS}))[:16]


def seen_step_text(step: ProcedureStep) -> str:
    """Names the state of a draft's step, so that a save on what somebody changed meanwhile is refused."""
    return sha256(canonical({name: getattr(step, name) for name in STEP_FIELDS}))[:16]


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


def why_not_whole(step: ProcedureStep) -> str:
    """What a step lacks before its version can be released; empty when it is whole. Reads stages and
    targets.
    """
    stages = list(step.stages.all())
    if not any(stage.kind != StageKind.LOOSEN for stage in stages):
        return f"Step {step.order}, {step.title}, tightens nothing yet: add a stage with its target."
    for stage in stages:
        groups = {target.group for target in stage.targets.all()}
        if stage.kind == StageKind.LOOSEN or "" in groups:
            continue
        if missing := [name for name in step.groups if name not in groups] or ([] if groups else ["all"]):
            return f"Step {step.order}, stage {stage.name}: no target for {', '.join(missing)}."
    return ""


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
                        **{name: getattr(step, name) for name in STEP_FIELDS},
                        "stages": [
                            {
                                "name": stage.name,
                                "kind": stage.kind,
                                "add_running_torque": stage.add_running_torque,
                                "note": stage.note,
                                "targets": [
                                    [t.group, t.limit, t.base_value, t.base_low, t.base_high]
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
