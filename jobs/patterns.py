"""Where the fasteners of a step are drawn, and in which order: what `components/_pattern.html` asks for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from jobs.models import ProcedureStep
from jobs.models.procedure import Pattern
from jobs.models.torque import ReadingVerdict
from jobs.run_state import FastenerState, StageState, StepState
from workshop.engineering import patterns
from workshop.engineering.numbers import ordinal
from workshop.engineering.pattern_drawing import Drawing, drawn

# How a fastener that needs another hand is marked in its drawing, besides its shape.
MARKS = {"below": "below", "above": "above"}


def layout(step: ProcedureStep) -> Drawing:
    """Raises `PatternError` where the shape and the number of fasteners do not go together (a draft being
    typed).
    """
    return drawn(
        patterns.Pattern(step.pattern),
        step.fasteners,
        step.rows,
        step.columns,
        points=step.points,
        sequence=step.sequence,
    )


def proposals(
    pattern: str, n: int, rows: int = 1, columns: int = 1, points: list | None = None
) -> list[dict[str, Any]]:
    """Sequences to choose from, where the maker gives none: [{name, sequence}]. Common practice, no
    source.
    """
    in_turn = {"name": "One after the other", "sequence": tuple(range(1, n + 1))}
    kind = patterns.Pattern(pattern)
    if n < 3:
        return [in_turn]
    if kind is patterns.Pattern.CIRCLE:
        return [{"name": "Crosswise", "sequence": patterns.star_sequence(n)}, in_turn]
    if kind is patterns.Pattern.FREE:
        cross = patterns.cross_sequence(points) if points and len(points) == n else ()
        return [*([{"name": "Crosswise", "sequence": cross}] if cross else []), in_turn]
    middle = patterns.default_sequence(kind, n, rows, columns)
    return [{"name": "From the middle outwards", "sequence": middle}, in_turn]


def drawing(step: ProcedureStep) -> dict[str, Any]:
    """The pattern of a procedure, in its sequence and without a state."""
    return _picture(
        step,
        f"{step.title}: {step.fasteners} in this place",
        lambda spot: {
            "state": "todo",
            "label": f"{ordinal(spot.turn)} of {step.fasteners}" if spot.turn else "no turn",
        },
    )


def run_drawing(
    step: ProcedureStep,
    stage: StageState,
    fastener: int | None,
    url: Callable[[int], str] | None = None,
) -> dict[str, Any]:
    """The pattern at one stage of a run: what is done, what is next, what needs a decision."""

    def look(spot) -> dict[str, Any]:
        one = stage.fasteners[spot.fastener]
        turn = f"{ordinal(spot.turn)} of {step.fasteners}, " if spot.turn else ""
        return {
            "state": _state(step, one),
            "next": spot.fastener == fastener,
            "mark": _mark(step, one),
            "label": f"{turn}{one.words}",
            "url": url(spot.fastener) if url else "",
        }

    return _picture(step, f"{step.title}, {stage.stage.name}", look)


def latest(of: StepState) -> dict[str, Any]:
    """The pattern at the last stage of a step that was begun: how far a run is, at a glance."""
    begun = [stage for stage in of.stages if any(one.reading for one in stage.fasteners.values())]
    return run_drawing(of.step, begun[-1] if begun else of.stages[0], None)


def _picture(step: ProcedureStep, title: str, look: Callable) -> dict[str, Any]:
    found = layout(step)
    fasteners = [
        {"n": spot.fastener, "x": spot.x, "y": spot.y, "turn": spot.turn, **look(spot)}
        for spot in found.spots
    ]
    for each in fasteners:
        each["size"] = found.next_size if each.get("next") else found.size
    return {
        "title": title,
        "box": found.view_box,
        "way": found.way,
        "aspect": "single" if step.fasteners == 1 else "line" if found.height < found.width / 2 else "",
        "seen": "Numbered clockwise from the top"
        if step.pattern == Pattern.CIRCLE and step.fasteners > 2
        else "",
        # The one that is next is drawn over the others.
        "fasteners": sorted(fasteners, key=lambda each: bool(each.get("next"))),
    }


def unproven(step: ProcedureStep, one: FastenerState) -> bool:
    """Not proven by its tool on a critical step, and nobody has decided about it yet."""
    return (
        step.critical and one.counts and one.verdict == ReadingVerdict.NOT_PROVEN and one.disposition is None
    )


def _state(step: ProcedureStep, one: FastenerState) -> str:
    if one.flag or unproven(step, one):
        return "flag"
    return "done" if one.reading is not None else "todo"


def _mark(step: ProcedureStep, one: FastenerState) -> str:
    if not (one.flag or unproven(step, one)):
        return ""
    return MARKS.get(one.flag, "again" if one.flag == "moved" else "doubt")
