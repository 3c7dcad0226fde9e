"""What is asked about a step that looks wrong: a load above the proof load, a tolerance that no tool here can
prove.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.core.exceptions import ValidationError

from jobs.angle_estimate import aim as _aim
from jobs.angle_estimate import of_targets
from jobs.models import ProcedureStep, StageTarget
from jobs.models.procedure import StageKind
from workshop.acting import By
from workshop.engineering.errors import EngineeringError
from workshop.engineering.fasteners import proof_share, question_units, thread
from workshop.engineering.threads import PropertyClass, Thread, strength_of
from workshop.engineering.units import UNITS, Amount, show
from workshop.engineering.verdict import DecisionRule, Limits, proven_range
from workshop.models import Shop, TorqueTool
from workshop.models.tools import ToolKind


def question(by: By, step: ProcedureStep, targets: list[StageTarget]) -> None:
    """Ask about what looks wrong, with the numbers; kept only with a reason, which stands beside the
    question.
    """
    questions = [*load_questions(step, targets), *proof_questions(by, targets)]
    step.questioned = "\n".join(dict.fromkeys(questions))
    if questions and not step.kept_because:
        raise ValidationError(
            {"kept_because": [*dict.fromkeys(questions), "Put it right, or say here why it is kept."]},
            code="questioned",
        )


def _bolt(step: ProcedureStep) -> tuple[Thread, PropertyClass]:
    """The step's bolt as the tables have it, or an `EngineeringError` in words."""
    bolt = thread(step.thread)
    return bolt, strength_of(bolt, step.property_class)


def _checked_bolt(step: ProcedureStep) -> tuple[Thread, PropertyClass] | tuple[None, None]:
    """The bolt whose load is to be checked; none where the step goes to yield, says too little, or names one that is
    not in the tables: the page says that it was not checked (`load_words`)."""
    if step.to_yield or step.nut_factor is None or not step.thread or not step.property_class:
        return None, None
    try:
        return _bolt(step)
    except EngineeringError:
        return None, None


def load_questions(step: ProcedureStep, targets: list[StageTarget]) -> list[str]:
    """Torques that would put the bolt above its proof load, with the friction that the step states."""
    bolt, strength = _checked_bolt(step)
    if bolt is None:
        return []
    asked = []
    for target in targets:
        value = _aim(target)
        if target.stage.kind != StageKind.TORQUE or value is None:
            continue
        share = proof_share(Amount(value, target.unit).base(), step.nut_factor, bolt, strength.code)
        if share.questioned:
            units = question_units(value, target.unit, bolt, strength.code, step.nut_factor)
            hint = (
                f" In {' or '.join(UNITS[u].label for u in units)} the number would be usual."
                if units
                else ""
            )
            asked.append(share.sentence + hint)
    asked += [
        f"{one.stage.name or 'The angle'}: {one.words} That is above the proof load "
        f"{one.proof / 1000:.1f} kN, and the step does not say that it is tightened to yield."
        for one in of_targets(step, targets)
        if one.above_proof
    ]
    return asked


@dataclass(frozen=True)
class UnitOffer:
    """One tap in the editor that takes a target's number in another unit. `typed_at` is its row there."""

    typed_at: str
    unit: str
    label: str


def unit_offers(step: ProcedureStep, targets: list[StageTarget]) -> list[UnitOffer]:
    """For each torque above the proof load, the units in which its number would be usual."""
    bolt, strength = _checked_bolt(step)
    if bolt is None:
        return []
    return [
        UnitOffer(
            target.typed_at,
            unit,
            f"{target.stage.name or 'The stage'}: it is {show(Amount(value, unit))}",
        )
        for target in targets
        if target.stage.kind == StageKind.TORQUE and (value := _aim(target)) is not None
        for unit in question_units(value, target.unit, bolt, strength.code, step.nut_factor)
    ]


def load_words(step: ProcedureStep, targets: list[StageTarget]) -> str:
    """What the page says of the load: the share of the proof load, or why it was not checked."""
    if not step.thread and not step.property_class:
        return ""
    if step.to_yield:
        return "Tightened to yield, as declared: the proof load is exceeded on purpose."
    if not step.thread or not step.property_class or step.nut_factor is None:
        return "Load not checked: thread, property class and friction are needed for it."
    try:
        bolt, strength = _bolt(step)
    except EngineeringError as error:
        return f"Load not checked: {error}"
    aims = [Amount(_aim(t), t.unit).base() for t in targets if t.stage.kind == StageKind.TORQUE and _aim(t)]
    return proof_share(max(aims), step.nut_factor, bolt, strength.code).sentence if aims else ""


def proof_questions(by: By, targets: list[StageTarget]) -> list[str]:
    """The shop's own tolerance where no tool of the shop could prove a value within it. One query for the
    tools.
    """
    shops = [t for t in targets if t.tolerance_is_shops and t.stage.kind == StageKind.TORQUE]
    if not shops or Shop.current().decision_rule == DecisionRule.PLAIN:
        return []
    tools = [
        tool
        for tool in TorqueTool.objects.exclude(kind=ToolKind.ANGLE).prefetch_related(
            "calibrations", "failures"
        )
        if not tool.unfit_because(None, on=by.day)
    ]
    return [
        f"{target.words}: no torque tool of the shop proves a value within this tolerance on this day, "
        "with its deviation taken off. The maker's own tolerance, a tool with a smaller deviation, or "
        "another range is needed."
        for target in shops
        if tools and not any(_proves(tool, target, by) for tool in tools)
    ]


def _proves(tool: TorqueTool, target: StageTarget, by: By) -> bool:
    proven = proven_range(
        Limits(target.base_low, target.base_high), tool.calibration_on(by.day).deviation_percent
    )
    if proven is None:
        return False
    low, high = tool.working_range(by.day)
    return max(proven.low, low.base()) <= min(proven.high, high.base())
