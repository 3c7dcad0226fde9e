"""What the run screen needs to go on where no answer comes: the places of the step in the order of work, what is to
do there, and each target in every unit. The script reads it (`static/js/run-plan.js`); nothing is judged from it.
"""

from __future__ import annotations

import json
from typing import Any

from django.urls import reverse
from django.utils import timezone

from jobs import run_screen as screen
from jobs.forms.torque import units_for
from jobs.models import TorqueReading
from jobs.models.procedure import StageKind
from jobs.run_screen import Place
from jobs.run_state import FastenerState, RunState, StageState, StepState
from jobs.through import Through
from workshop.engineering.units import show
from workshop.models import TorqueTool
from workshop.models.shop import TorqueUnit
from workshop.models.tools import ToolKind

# What is given as the reason where the reading that stands says it by itself.
WHY_BY_FLAG = {"below": "Was below its limit", "not_counting": "The reading before does not count"}


def plan_of(state: RunState, place: Place, tool: TorqueTool | None, taken: Through | None, page: str) -> str:
    """JSON: {run, add, step, title, sequence, stages, places, waits, targets, sets, tool, range}.

    `places`: [[stage, fastener, target or 0, why it is done again], …] that may be recorded, in the order of work.
    `waits`: [[stage, [fasteners], why], …] that the server would refuse now. `stages`: {key: {name, alike, url,
    count}}; only a stage that is `alike` the one at hand is gone on with in the same form. `targets`: {key: {group,
    units: [[code, figure, limits, set, setting, low, high], …]}}. `sets`: the tool is set to its target, so another
    one is said before. `range`: {unit: [low, high, words]} of `tool`.
    """
    of, here = place.step, place.stage.stage
    stages, targets, places = {}, {}, []
    for stage in of.stages:
        stages[str(stage.stage.pk)] = {
            "name": stage.stage.name,
            "alike": stage.stage.kind == here.kind
            and stage.stage.add_running_torque == here.add_running_torque
            and not stage.stage.note,
            "url": screen.url_of(page, place, stage=stage.stage.pk, fastener=None),
            "count": len(stage.fasteners),
        }
    waits = waiting(of)
    shut = {(key, fastener) for key, fasteners, _ in waits for fastener in fasteners}
    for stage, fastener in of.places():
        one = stage.fasteners[fastener]
        if one.settled or (stage.stage.pk, fastener) in shut:
            continue
        at = Place(of, stage, fastener)
        target = at.target
        key = target.pk if target is not None else 0
        places.append([stage.stage.pk, fastener, key, WHY_BY_FLAG.get(one.flag, "")])
        if target is not None and str(key) not in targets and stage.stage.kind == here.kind:
            takes = taken if stage.stage.kind == StageKind.TORQUE else None
            rows = screen.units_of_entry(at, units_for(stage), tool, takes)
            targets[str(key)] = {
                "group": target.group,
                "units": [
                    [row[n] for n in ("code", "figure", "limits", "set", "setting", "low", "high")]
                    for row in rows
                ],
            }
    return json.dumps(
        {
            "run": str(state.run.pk),
            "add": reverse("jobs:reading-add", args=[state.run.pk]),
            "step": of.step.pk,
            "title": of.step.title,
            "sequence": of.step.sequence,
            "stages": stages,
            "places": places,
            "waits": waits,
            "targets": targets,
            "sets": tool is not None and tool.kind == ToolKind.SETTING,
            "tool": tool.label if tool is not None else "",
            "range": _range_of(tool) if here.kind == StageKind.TORQUE else {},
        },
        separators=(",", ":"),
    )


def waiting(of: StepState) -> list[list[Any]]:
    """What may not be recorded now however much else is: [[stage key, [fasteners], why in words], …].

    Above and undecided, used once only with no new one named, behind a hold point, and whatever waits for these.
    """
    if of.held_by is not None:
        why = f"“{of.step.title}” waits for the second check of “{of.held_by.title}”"
        return [[stage.stage.pk, stage.todo, why] for stage in of.stages if stage.todo]
    found = []
    for stage in of.stages:
        above = [n for n in stage.todo if stage.fasteners[n].flag == "above"]
        found += [[stage.stage.pk, [n], f"Fastener {n} waits for a decision"] for n in above]
        if new := [n for n in stage.todo if n in of.new_needed and n not in above]:
            found.append([stage.stage.pk, new, f"{_named(new)} until it is said which new ones were fitted"])
    then = _all_else_done(of, {(key, n) for key, fasteners, _ in found for n in fasteners})
    for stage in of.stages:
        behind: dict[str, list[int]] = {}
        known = {n for key, fasteners, _ in found if key == stage.stage.pk for n in fasteners}
        for fastener in stage.todo:
            if fastener not in known and (early := then.too_early(stage.stage, fastener)):
                before, open_ones = early
                numbers = f"fastener{'s' if len(open_ones) > 1 else ''} {', '.join(map(str, open_ones))}"
                behind.setdefault(f"{before.stage.name} of {numbers}", []).append(fastener)
        found += [
            [stage.stage.pk, numbers, f"{stage.stage.name} waits for {what}"]
            for what, numbers in behind.items()
        ]
    return found


def _named(fasteners: list[int]) -> str:
    if len(fasteners) == 1:
        return f"Fastener {fasteners[0]} waits"
    return f"Fasteners {', '.join(map(str, fasteners))} wait"


def _all_else_done(of: StepState, shut: set[tuple[int, int]]) -> StepState:
    """The step as it will stand when all was recorded that may be: the order of work is asked of that."""

    def then(stage: StageState, one: FastenerState) -> FastenerState:
        if one.settled or (stage.stage.pk, one.fastener) in shut:
            return one
        return FastenerState(one.fastener, TorqueReading(), counts=True)

    stages = [
        StageState(stage.stage, stage.targets, {n: then(stage, one) for n, one in stage.fasteners.items()})
        for stage in of.stages
    ]
    return StepState(of.step, stages)


def _range_of(tool: TorqueTool | None) -> dict[str, list[str]]:
    """{unit: [low, high, words]} of what the tool may be used for today; empty where it has no range."""
    if tool is None or tool.scale_high is None:
        return {}
    found = {}
    for code in TorqueUnit.values:
        low, high = (end.to(code) for end in tool.working_range(timezone.localdate()))
        found[code] = [f"{low.value:f}", f"{high.value:f}", f"{show(low)} to {show(high)}"]
    return found
