"""What the run screen shows: the place that is worked at, the target in the tool's unit, the tools to
choose from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from jobs import patterns
from jobs.models import StageTarget, TorqueReading
from jobs.models.procedure import LimitKind, StageKind
from jobs.models.torque import ReadingKind, ReadingVerdict
from jobs.run_state import FastenerState, RunState, StageState, StepState
from workshop.engineering.units import UNITS, Amount, rounded, show
from workshop.models import Person, TorqueTool
from workshop.models.tools import ToolKind

SET_KINDS = (ReadingKind.CLICKED, ReadingKind.DID_NOT_MOVE)


@dataclass(frozen=True)
class Place:
    """Where the hand is: a step, a stage and a fastener of it."""

    step: StepState
    stage: StageState
    fastener: int

    @property
    def one(self) -> FastenerState:
        return self.stage.fasteners[self.fastener]

    @property
    def target(self) -> StageTarget | None:
        return self.stage.target(self.step.step.group_of(self.fastener))

    @property
    def needs_new(self) -> bool:
        return self.fastener in self.step.new_needed


def place_of(state: RunState, asked: Mapping[str, Any]) -> Place:
    """The place that was asked for (`step`, `stage`, `fastener`), else the next one, else the first step."""
    step = _chosen(state.steps, asked.get("step"), lambda one: one.step.pk)
    stage_state = fastener = None
    if step is None and (wanted := asked.get("stage")):
        step = next((s for s in state.steps if _chosen(s.stages, wanted, lambda one: one.stage.pk)), None)
    if step is None and state.next:
        step = state.step(state.next[0])
        stage_state, fastener = step.stage(state.next[1]), state.next[2]
    if step is None:
        step = next((s for s in state.steps if not s.settled), state.steps[0])
    stage_state = _chosen(step.stages, asked.get("stage"), lambda one: one.stage.pk) or stage_state
    number = _whole(asked.get("fastener"))
    if number in step.stages[0].fasteners:
        fastener = number
    if stage_state is None:
        stage_state = _open_stage(step, fastener)
    if fastener is None:
        fastener = next((n for s, n in step.places() if s is stage_state and n in stage_state.todo), None)
    return Place(step, stage_state, fastener or step.step.sequence[0])


def _open_stage(step: StepState, fastener: int | None) -> StageState:
    for stage, number in step.places():
        if (fastener in (None, number)) and number in stage.todo and not step.too_early(stage.stage, number):
            return stage
    return step.stages[-1]


def _chosen(rows, wanted, key):
    number = _whole(wanted)
    return next((row for row in rows if key(row) == number), None)


def _whole(text: Any) -> int | None:
    try:
        return int(text)
    except (TypeError, ValueError):
        return None


def url_of(state: RunState, place: Place, **changes: Any) -> str:
    values = {
        "step": place.step.step.pk,
        "stage": place.stage.stage.pk,
        "fastener": place.fastener,
        **changes,
    }
    query = urlencode({name: value for name, value in values.items() if value is not None})
    return f"{reverse('jobs:run', args=[state.run.pk])}?{query}"


# The target
# --------------------------------------------------------------------------------------------------


def aim_of(target: StageTarget | None) -> Amount | None:
    """What a tool is set to: the target, the middle of a range, the least or the most."""
    if target is None:
        return None
    value = target.value
    if value is None and target.low is not None and target.high is not None:
        value = (target.low + target.high) / 2
    if value is None:
        value = target.low if target.low is not None else target.high
    return None if value is None else Amount(value, target.unit)


def target_figure(target: StageTarget | None, unit: str = "") -> dict[str, str] | None:
    """The target as the big figure, in the tool's unit where there is one: {before, figure, unit, limits,
    source}.
    """
    if target is None or target.limit == LimitKind.NONE:
        return None
    unit = unit if unit and UNITS[unit].dimension == UNITS[target.unit].dimension else target.unit

    def figure(value: Decimal) -> str:
        return f"{rounded(Amount(value, target.unit).to(unit).value, unit):f}"

    label = UNITS[unit].label
    base = {"before": "", "unit": label, "limits": "", "source": "" if unit == target.unit else target.words}
    match target.limit:
        case LimitKind.TOLERANCE:
            shops = ", the shop's own tolerance" if target.tolerance_is_shops else ""
            limits = f"{figure(target.low)} to {figure(target.high)} {label}{shops}"
            return {**base, "figure": figure(target.value), "limits": limits}
        case LimitKind.RANGE:
            return {**base, "figure": f"{figure(target.low)}–{figure(target.high)}"}
        case LimitKind.MINIMUM:
            return {**base, "before": "at least", "figure": figure(target.low)}
    return {**base, "before": "at most", "figure": figure(target.high)}


def to_set(state: RunState, place: Place, tool: TorqueTool | None) -> Amount | None:
    """What the number field begins with: what the tool was last set to here, else the target in its unit.

    Nothing for a tool that shows a value: it is read off, never guessed.
    """
    kind = place.stage.stage.kind
    if kind == StageKind.RESULT or kind == StageKind.LOOSEN:
        return None
    if kind == StageKind.TORQUE:
        if tool is None or tool.kind != ToolKind.SETTING:
            return None
        target = place.target
        for row in reversed(state.readings):
            same = row.stage_id == place.stage.stage.pk and row.tool_id == tool.pk
            # What was set wrong is not offered again.
            if (
                same
                and row.verdict == ReadingVerdict.WITHIN
                and place.stage.target(place.step.step.group_of(row.fastener)) is target
            ):
                return Amount(row.typed, row.unit)
    aim = aim_of(place.target)
    unit = tool.unit if kind == StageKind.TORQUE and tool else "deg"
    if aim is None or UNITS[aim.unit].dimension != UNITS[unit].dimension:
        return None
    found = aim.to(unit)
    return Amount(rounded(found.value, unit), unit)


def to_set_anew(state: RunState, place: Place, tool: TorqueTool | None, said: Any) -> Amount | None:
    """What the wrench is set to before this place, where the last reading had another target.

    None where nothing is to be set: at the first stage of a run, with a tool that shows a value, or when `said`
    names this target: somebody has said that it is set.
    """
    target = place.target
    if place.stage.stage.kind != StageKind.TORQUE or tool is None or tool.kind != ToolKind.SETTING:
        return None
    if target is None or _whole(said) == target.pk or (aim := aim_of(target)) is None:
        return None
    last = next((row for row in reversed(state.readings) if row.kind in SET_KINDS), None)
    if last is None:
        return None
    of = next(step for step in state.steps if step.step.pk == last.step_id)
    before = of.stage(last.stage).target(of.step.group_of(last.fastener))
    if before is None or _aimed(before) == _aimed(target):
        return None
    found = aim.to(tool.unit)
    return Amount(rounded(found.value, tool.unit), tool.unit)


def _aimed(target: StageTarget) -> Decimal | None:
    aim = aim_of(target)
    return None if aim is None else aim.base()


# Tools
# -------------------------------------------------------------------------------------------------------


def tools_for(place: Place, day: date) -> list[dict[str, Any]]:
    """Tools of the right kind, those that are fit for this target first, each with why not: three queries."""
    kind = place.stage.stage.kind
    if kind not in (StageKind.TORQUE, StageKind.ANGLE):
        return []
    rows = TorqueTool.objects.prefetch_related("calibrations", "failures")
    rows = rows.filter(kind=ToolKind.ANGLE) if kind == StageKind.ANGLE else rows.exclude(kind=ToolKind.ANGLE)
    aim = aim_of(place.target) if kind == StageKind.TORQUE else None
    found = []
    for tool in rows:
        low_high = tool.working_range(day) if tool.scale_high is not None else None
        calibration = tool.calibration_on(day)
        found.append(
            {
                "tool": tool,
                "unfit": tool.unfit_because(aim, on=day),
                "range": f"{show(low_high[0])} to {show(low_high[1])}" if low_high else "",
                "deviation": calibration.deviation_percent if calibration else None,
            }
        )
    return sorted(found, key=lambda row: (bool(row["unfit"]), row["tool"].label))


def buttons_of(place: Place, tool: TorqueTool | None) -> list[dict[str, str]]:
    """The answers that this stage takes with this tool; the first is the usual one."""
    match place.stage.stage.kind:
        case StageKind.LOOSEN:
            return [{"kind": ReadingKind.LOOSENED.value, "label": "Loosened"}]
        case StageKind.ANGLE:
            return [{"kind": ReadingKind.ANGLE.value, "label": "Turned by this angle"}]
        case StageKind.RESULT:
            return [{"kind": ReadingKind.RESULT.value, "label": "Record what was measured"}]
    still = ReadingKind.DID_NOT_MOVE.value
    if tool is not None and tool.kind == ToolKind.INDICATING:
        return [
            {"kind": ReadingKind.READ.value, "label": "Record what it shows"},
            {"kind": still, "label": "Did not move at this value"},
        ]
    return [
        {"kind": ReadingKind.CLICKED.value, "label": "Clicked at the set value"},
        {"kind": still, "label": "Clicked at once, did not move"},
    ]


# What else waits
# ---------------------------------------------------------------------------------------------


def decisions(state: RunState) -> list[dict[str, Any]]:
    """Readings that wait for a decision: above, and not proven on critical steps."""
    found = []
    for step in state.steps:
        for stage in step.stages:
            for number, one in stage.fasteners.items():
                if one.flag == "above" or patterns.unproven(step.step, one):
                    found.append(
                        {"reading": one.reading, "step": step.step, "stage": stage.stage, "fastener": number}
                    )
    return found


def may_check(step: StepState, person: Person, readings: list[TorqueReading]) -> bool:
    """Took no reading in the step: may do its second check."""
    return not any(row.step_id == step.step.pk and row.made_by_id == person.pk for row in readings)


def stage_rows(state: RunState, place: Place) -> list[dict[str, Any]]:
    """The stages of the step at hand with how far they are."""
    return [
        {
            "state": stage,
            "url": url_of(state, place, stage=stage.stage.pk, fastener=None),
            "here": stage is place.stage,
            "done": len(stage.fasteners) - len(stage.todo),
            "count": len(stage.fasteners),
        }
        for stage in place.step.stages
    ]


def drawing(state: RunState, place: Place, *, ended: bool, said_set: int | None) -> dict[str, Any]:
    return patterns.run_drawing(
        place.step.step,
        place.stage,
        None if ended else place.fastener,
        lambda number: url_of(state, place, fastener=number, set=said_set),
    )
