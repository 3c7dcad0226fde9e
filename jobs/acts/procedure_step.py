"""What a draft of a procedure asks for: its steps, their stages and targets."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Max

from jobs.models import ProcedureStage, ProcedureStep, ProcedureVersion, StageTarget
from jobs.specification import build_stage, shape
from jobs.step_questions import question
from jobs.versions import (
    STEP_FIELDS,
    lock_draft,
    refuse_unseen,
    seen_order,
    seen_step_text,
    step_facts,
    step_words,
    version_facts,
)
from workshop.acting import By, act, create
from workshop.acting import note as say
from workshop.permissions import May

# Steps ------------------------------------------------------------------------------------------------------


@act(May.EDIT_PROCEDURE)
def add_step(
    *,
    by: By,
    version: ProcedureVersion,
    title: str,
    fasteners: int,
    pattern: str = "circle",
    rows: int = 1,
    columns: int = 1,
    points: list | None = None,
    sequence: list[int] | None = None,
    groups: dict[str, list[int]] | None = None,
    order_of_work: str = "stage_by_stage",
    critical: bool = False,
    hold_point: bool = False,
    thread: str = "",
    property_class: str = "",
    friction: str = "",
    nut_factor: Decimal | None = None,
    clamped_length: Decimal | None = None,
    reuse: str = "reusable",
    to_yield: bool = False,
    threadlocker: str = "",
    kept_because: str = "",
    note: str = "",
    stages: list[dict[str, Any]] | None = None,
) -> ProcedureStep:
    """Add a step at the end of a draft, with its stages if they are given. Without a sequence the usual
    one is taken.
    """
    version = lock_draft(version)
    step = ProcedureStep(
        version=version,
        order=(version.steps.aggregate(last=Max("order"))["last"] or 0) + 1,
        title=title.strip(),
        fasteners=fasteners,
        pattern=pattern,
        rows=rows,
        columns=columns,
        points=points or [],
        order_of_work=order_of_work,
        critical=critical,
        hold_point=hold_point,
        thread=thread.strip(),
        property_class=property_class.strip(),
        friction=friction.strip(),
        nut_factor=nut_factor,
        clamped_length=clamped_length,
        reuse=reuse,
        to_yield=to_yield,
        threadlocker=threadlocker.strip(),
        kept_because=kept_because.strip(),
        note=note.strip(),
    )
    shape(step, sequence, groups)
    built = [build_stage(step, number, spec) for number, spec in enumerate(stages or [], 1)]
    question(by, step, [target for _, targets in built for target in targets])
    create(step)
    for stage, targets in built:
        _insert(step, stage, targets)
    say(
        step,
        facts={**step_facts(step), "stages": len(stages or [])},
        words={**step_words(step), "stages": stages or []},
    )
    return step


@act(May.EDIT_PROCEDURE)
def change_step(
    *,
    by: By,
    step: ProcedureStep,
    seen: str = "",
    sequence: list[int] | None = None,
    groups: dict[str, list[int]] | None = None,
    **fields: Any,
) -> ProcedureStep:
    """Change a step of a draft. Its stages stay; what was questioned is questioned anew."""
    lock_draft(step.version)
    step = (
        ProcedureStep.objects.select_for_update(no_key=True)
        .select_related("version__procedure")
        .get(pk=step.pk)
    )
    refuse_unseen(seen, seen_step_text(step), step, STEP_FIELDS)
    for name, value in fields.items():
        if name not in STEP_FIELDS:
            raise TypeError(f"a step has no field {name} to write")
        setattr(step, name, value.strip() if isinstance(value, str) else value)
    shape(step, sequence, groups)
    question(by, step, list(StageTarget.objects.filter(stage__step=step).select_related("stage")))
    step.full_clean()
    step.save()
    say(step, facts=step_facts(step), words=step_words(step))
    return step


@act(May.EDIT_PROCEDURE)
def rewrite_step(
    *,
    by: By,
    step: ProcedureStep,
    stages: list[dict[str, Any]],
    seen: str = "",
    sequence: list[int] | None = None,
    groups: dict[str, list[int]] | None = None,
    **fields: Any,
) -> ProcedureStep:
    """Write a step of a draft anew as a whole: what it says, and its stages with their targets
    (`StageSpec`).
    """
    lock_draft(step.version)
    step = _locked(step)
    refuse_unseen(seen, seen_step_text(step), step, STEP_FIELDS)
    for name, value in fields.items():
        if name not in STEP_FIELDS:
            raise TypeError(f"a step has no field {name} to write")
        setattr(step, name, value.strip() if isinstance(value, str) else value)
    shape(step, sequence, groups)
    built = [build_stage(step, number, spec) for number, spec in enumerate(stages, 1)]
    question(by, step, [target for _, targets in built for target in targets])
    step.full_clean()
    step.save()
    StageTarget.objects.filter(stage__step=step).delete()
    step.stages.all().delete()
    for stage, targets in built:
        _insert(step, stage, targets)
    say(
        step,
        facts={**step_facts(step), "stages": len(stages)},
        words={**step_words(step), "stages": stages},
    )
    return step


@act(May.EDIT_PROCEDURE)
def copy_step(*, by: By, step: ProcedureStep) -> ProcedureStep:
    """Put a copy of a step of a draft directly after it, with its stages and targets."""
    version = lock_draft(step.version)
    step = _locked(step)
    for later in version.steps.filter(order__gt=step.order).order_by("-order"):
        later.order += 1
        later.save(update_fields=["order"])
    stages = list(step.stages.prefetch_related("targets").order_by("order"))
    original = step.order
    step.pk, step._state.adding = None, True
    step.order += 1
    step.title = f"{step.title[:113]} (copy)"
    create(step)
    for stage in stages:
        targets = list(stage.targets.all())
        stage.pk, stage._state.adding = None, True
        for target in targets:
            target.pk, target._state.adding = None, True
        _insert(step, stage, targets)
    say(step, facts={**step_facts(step), "copied_step": original}, words=step_words(step))
    return step


def _locked(step: ProcedureStep) -> ProcedureStep:
    return (
        ProcedureStep.objects.select_for_update(no_key=True)
        .select_related("version__procedure")
        .get(pk=step.pk)
    )


@act(May.EDIT_PROCEDURE)
def remove_step(*, by: By, step: ProcedureStep) -> ProcedureVersion:
    """Take a step out of a draft. The ones after it move up."""
    version = lock_draft(step.version)
    step = ProcedureStep.objects.select_for_update(no_key=True).get(pk=step.pk)
    say(version, facts={**step_facts(step), "removed_step": step.order}, words=step_words(step))
    StageTarget.objects.filter(stage__step=step).delete()
    step.stages.all().delete()
    order = step.order
    step.delete()
    for later in version.steps.filter(order__gt=order).order_by("order"):
        later.order -= 1
        later.save(update_fields=["order"])
    return version


@act(May.EDIT_PROCEDURE)
def move_step(*, by: By, step: ProcedureStep, up: bool, seen: str = "") -> ProcedureVersion:
    """Exchange a step of a draft with the one before or after it. `seen` is `seen_order` of what was on
    the screen.
    """
    version = lock_draft(step.version)
    refuse_unseen(seen, seen_order(version), version, ())
    steps = list(version.steps.select_for_update(no_key=True).order_by("order"))
    place = next(index for index, one in enumerate(steps) if one.pk == step.pk)
    other = place - 1 if up else place + 1
    if not 0 <= other < len(steps):
        raise ValidationError("This step is at the end already.")
    first, second = steps[place], steps[other]
    free = steps[-1].order + 1  # the order is unique: one of them steps aside first
    (a, b) = (first.order, second.order)
    for one, order in ((first, free), (second, a), (first, b)):
        one.order = order
        one.save(update_fields=["order"])
    say(
        version,
        facts={**version_facts(version), "moved_step": a, "to": b},
        words={"version": str(version), "step": first.title},
    )
    return version


def _insert(step: ProcedureStep, stage: ProcedureStage, targets: list[StageTarget]) -> None:
    stage.step = step
    create(stage)
    for target in targets:
        target.stage = stage
        create(target)
