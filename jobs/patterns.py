"""Where the fasteners of a step are drawn: what `components/_pattern.html` asks for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from jobs.models import ProcedureStep
from jobs.models.procedure import Pattern
from jobs.models.torque import ReadingVerdict
from jobs.run_state import FastenerState, StageState
from workshop.engineering import patterns


def places(step: ProcedureStep) -> list[tuple[int, float, float]]:
    """(fastener, x, y) of each, from 0 to 1, y downwards."""
    if step.pattern == Pattern.FREE and step.points:
        return [(number, float(x), float(y)) for number, (x, y) in enumerate(step.points, 1)]
    found = patterns.positions(patterns.Pattern(step.pattern), step.fasteners, step.rows, step.columns)
    return [(one.fastener, round(one.x, 4), round(one.y, 4)) for one in found]


def drawing(step: ProcedureStep) -> dict[str, Any]:
    """The pattern of a procedure, in its sequence and without a state."""
    turn = {number: place for place, number in enumerate(step.sequence, 1)}
    return {
        "title": f"{step.title}: {step.fasteners} in this place",
        "aspect": "line" if step.pattern == Pattern.LINE else "",
        "fasteners": [
            {"n": n, "x": x, "y": y, "state": "todo", "label": f"turn {turn.get(n)} of {step.fasteners}"}
            for n, x, y in places(step)
        ],
    }


def run_drawing(
    step: ProcedureStep, stage: StageState, fastener: int | None, url: Callable[[int], str]
) -> dict[str, Any]:
    """The pattern at one stage of a run: what is done, what is next, what needs a decision."""
    return {
        "title": f"{step.title}, {stage.stage.name}",
        "aspect": "line" if step.pattern == Pattern.LINE else "",
        "fasteners": [
            {
                "n": n,
                "x": x,
                "y": y,
                "state": _state(step, stage, n, fastener),
                "label": stage.fasteners[n].words,
                "url": url(n),
            }
            for n, x, y in places(step)
        ],
    }


def unproven(step: ProcedureStep, one: FastenerState) -> bool:
    """Not proven by its tool on a critical step, and nobody has decided about it yet."""
    return (
        step.critical and one.counts and one.verdict == ReadingVerdict.NOT_PROVEN and one.disposition is None
    )


def _state(step: ProcedureStep, stage: StageState, number: int, chosen: int | None) -> str:
    one = stage.fasteners[number]
    if number == chosen:
        return "next"
    if one.flag or unproven(step, one):
        return "flag"
    return "done" if one.reading is not None else "todo"
