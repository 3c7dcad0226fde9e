"""What the run screen needs to go on where no answer comes: the places of the step in the order of work, what is to
do there, and each target in every unit. The script reads it (`static/js/run-kept.js`); nothing is judged from it.
"""

from __future__ import annotations

import json

from django.urls import reverse

from jobs import run_screen as screen
from jobs.forms.torque import units_for
from jobs.models.procedure import StageKind
from jobs.run_screen import Place
from jobs.run_state import RunState
from jobs.through import Through
from workshop.models import TorqueTool
from workshop.models.tools import ToolKind


def plan_of(state: RunState, place: Place, tool: TorqueTool | None, taken: Through | None, page: str) -> str:
    """JSON: {run, add, step, title, sequence, stages, places, targets, sets}.

    `places`: [[stage, fastener, target or 0], …] that are to do, in the order of work. `stages`: {key: {name, alike,
    url, count}}; only a stage that is `alike` the one at hand is gone on with in the same form. `targets`: {key: {group, units: [[code, figure,
    limits, set, setting], …]}}. `sets`: the tool is set to its target, so another one is said before.
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
    for stage, fastener in of.places():
        if stage.fasteners[fastener].settled:
            continue
        at = Place(of, stage, fastener)
        target = at.target
        key = target.pk if target is not None else 0
        places.append([stage.stage.pk, fastener, key])
        if target is not None and str(key) not in targets and stage.stage.kind == here.kind:
            takes = taken if stage.stage.kind == StageKind.TORQUE else None
            rows = screen.units_of_entry(at, units_for(stage), tool, takes)
            targets[str(key)] = {
                "group": target.group,
                "units": [[row[n] for n in ("code", "figure", "limits", "set", "setting")] for row in rows],
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
            "targets": targets,
            "sets": tool is not None and tool.kind == ToolKind.SETTING,
        },
        separators=(",", ":"),
    )
