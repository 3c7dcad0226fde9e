"""The preload that an angle stage adds, estimated from what the step says of the bolt and of what it clamps.

An estimate: the step says neither shank nor width of the clamped parts, so the bolt is taken as threaded all through
a sleeve of steel (see `workshop.engineering.torque_angle`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from jobs.models import ProcedureStage, ProcedureStep, StageTarget
from jobs.models.procedure import StageKind
from workshop.engineering.errors import EngineeringError
from workshop.engineering.fasteners import friction_of, preload_from_torque, proof_load, thread
from workshop.engineering.quantities import quantity
from workshop.engineering.threads import property_class
from workshop.engineering.torque_angle import AngleGain, angle_gain, joint
from workshop.engineering.units import Amount

# A stage with its target for one group of fasteners; None where it has none yet.
Rows = Sequence[tuple[ProcedureStage, StageTarget | None]]
NEEDED = (
    ("thread", "thread"),
    ("property_class", "property class"),
    ("nut_factor", "friction"),
    ("clamped_length", "clamped length"),
)


@dataclass(frozen=True)
class Estimate:
    """What is said of one angle stage. `gain` is None where nothing could be worked out."""

    stage: ProcedureStage
    words: str
    gain: AngleGain | None = None
    proof: float = 0.0

    @property
    def above_proof(self) -> bool:
        return self.gain is not None and self.gain.after > self.proof


def aim(target: StageTarget | None) -> Decimal | None:
    """What is tightened to: the target, else the highest that is allowed, else the least."""
    if target is None:
        return None
    return next((value for value in (target.value, target.high, target.low) if value), None)


def estimates(step: ProcedureStep, rows: Rows) -> list[Estimate]:
    """One for each angle stage. Angles after one snug torque add up; loosening begins anew."""
    snug: Amount | None = None
    turned = Decimal(0)
    found = []
    for stage, target in rows:
        value = aim(target)
        if stage.kind == StageKind.LOOSEN:
            snug, turned = None, Decimal(0)
        elif stage.kind == StageKind.TORQUE:
            snug, turned = (Amount(value, target.unit) if value else None), Decimal(0)
        elif stage.kind == StageKind.ANGLE and value:
            turned += Amount(value, target.unit).base()
            found.append(_estimate(step, stage, snug, turned))
    return found


def _estimate(step: ProcedureStep, stage: ProcedureStage, snug: Amount | None, turned: Decimal) -> Estimate:
    if missing := [name for field, name in NEEDED if not getattr(step, field)]:
        return Estimate(stage, f"Preload by the angle not estimated: give {_listed(missing)}.")
    if snug is None:
        return Estimate(stage, "Preload by the angle not estimated: no snug torque comes before it.")
    try:
        bolt, strength = thread(step.thread), property_class(step.property_class)
        preload = preload_from_torque(snug.base(), step.nut_factor, bolt.diameter)
        proof = float(proof_load(bolt, strength.code))
        gain = angle_gain(
            joint(bolt, quantity(step.clamped_length, "mm")),
            strength.code,
            quantity(preload, "N"),
            quantity(turned, "deg"),
            friction_of(step.nut_factor, bolt),
        )
    except EngineeringError as error:
        return Estimate(stage, f"Preload by the angle not estimated: {error}")
    return Estimate(stage, _words(gain, float(turned), proof), gain, proof)


def _words(gain: AngleGain, degrees: float, proof: float) -> str:
    start = f"{degrees:g}° from the snug torque takes the preload from about {gain.snug / 1000:.1f} kN"
    if gain.yields:
        return (
            f"{start} to the bolt's yield, about {gain.after / 1000:.1f} kN, reached after some "
            f"{gain.yield_angle:.0f}°, and already after {gain.twisted_angle:.0f}° while friction twists it (estimated). "
            "A bolt that yielded is used once."
        )
    if gain.may_yield:
        return (
            f"{start} to about {gain.after / 1000:.1f} kN (estimated). The bolt may already yield: while friction "
            f"twists it, it does from about {gain.twisted_load / 1000:.1f} kN. A bolt that yielded is used once."
        )
    return (
        f"{start} to about {gain.after / 1000:.1f} kN, {gain.after / proof * 100:.0f} % of the proof load "
        f"(estimated; the bolt stays elastic)."
    )


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def of_targets(step: ProcedureStep, targets: Iterable[StageTarget]) -> list[Estimate]:
    """Estimates of a step by its targets, each with its stage, in the order of the stages; group by group.

    Loosening has no target and is not seen here: an angle comes after a snug torque of its own.
    """
    rows = list(targets)
    groups = list(dict.fromkeys(target.group for target in rows)) or [""]
    named = [group for group in groups if group] or [""]
    found: dict[tuple[int, str], Estimate] = {}
    for group in named:
        mine = [(target.stage, target) for target in rows if target.group in ("", group)]
        for place, one in enumerate(estimates(step, mine)):
            found.setdefault((place, one.words), one)
    return list(found.values())


def at_stage(step: ProcedureStep, stages: Sequence, here, fastener: int) -> str:
    """What the run says at an angle stage, for the group of this fastener; "" where nothing is estimated.

    `stages` are the run's states of all stages of the step, `here` one of them.
    """
    group = step.group_of(fastener)
    rows = [(each.stage, each.target(group)) for each in stages]
    for one in estimates(step, rows):
        if one.stage.pk == here.stage.pk and one.gain is not None:
            return one.words
    return ""
