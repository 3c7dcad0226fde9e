"""The torque record of one run, as a print says it: each joint drawn, every reading with its verdict, the
tools with their calibration, the second checks. Pure reads of a `RunState`, in plain data.

It says how the run stands; issued with a number, it is kept as it stood.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from jobs import patterns, run_words
from jobs.models import Run, TorqueReading
from jobs.models.torque import ReadingKind
from jobs.run_state import RunState, StageState, StepState
from jobs.runs import state_of
from jobs.sheets.words import in_days, in_minutes, lower_first
from vehicles.issuing import Asked, Gathered, Kind, add_kind
from vehicles.models import PrintKind
from vehicles.papers import words
from workshop.engineering.numbers import ordinal
from workshop.engineering.units import Amount, show
from workshop.engineering.verdict import DecisionRule

TEMPLATE = "sheets/torque_record.html"


def register() -> None:
    add_kind(Kind(PrintKind.TORQUE, TEMPLATE, gather, about="run"))


def gather(asked: Asked) -> Gathered:
    """The record of one run as a numbered print. Two dozen queries, however many readings there are."""
    run = Run.objects.select_related(
        "job__vehicle", "line", "version_used__procedure", "made_by", "qualified__person"
    ).get(pk=asked.about.pk)
    state = state_of(run)
    record = record_of(state)
    version = state.version
    body = {
        "car": words.identity(run.job.vehicle),
        "run": {
            "title": str(run),
            "job": run.job.number,
            "line": run.line.order,
            "complaint": run.line.complaint,
            "procedure": f"{version.procedure}, version {version.number}",
            "released": in_days(version.released_at) if version.released_at else "",
            "released_by": str(version.released_by or ""),
            "source": version.source,
            "applies": state.applies_words,
        },
        "record": record,
        "as_it_stood": in_minutes(record["last_at"]),
    }
    rows = [row for step in record["steps"] for stage in step["stages"] for row in stage["rows"]]
    counts = {
        "reading": sum(not row.get("open") for row in rows),
        "second check": sum(len(step["checks"]) for step in record["steps"]),
        "open point": len(record["open"]),
    }
    return Gathered(body, counts)


def record_of(state: RunState) -> dict[str, Any]:
    """What `templates/sheets/torque_record.html` reads of a run: {state, steps, tools, rules, open, last_at}."""
    run = state.run
    if run.abandoned_at:
        said = f"Stopped {in_minutes(run.abandoned_at)}: {run.abandoned_because}"
    elif run.completed_at:
        said = f"Completed {in_minutes(run.completed_at)}"
    else:
        said = "Not completed"
    return {
        "state": said,
        "complete": run.completed_at is not None and not state.problems,
        "steps": [_step(of, state) for of in state.steps],
        "tools": list(state.tool_words),
        "rules": sorted(
            {
                DecisionRule(row.rule).label
                for row in state.readings
                if row.limit_low is not None or row.limit_high is not None
            }
        ),
        "open": [problem.text.removeprefix(f"{run}, ") for problem in state.problems],
        "last_at": last_change(state),
    }


def last_change(state: RunState) -> datetime:
    """When the run was last written to: what a print of it gives as its time, so that two prints are
    alike.
    """
    run = state.run
    moments = [run.received_at, run.completed_at, run.abandoned_at]
    moments += [row.received_at for row in (*state.readings, *state.dispositions)]
    for of in state.steps:
        moments += [row.received_at for row in (*of.checks, *of.new_fitted)]
    return max(moment for moment in moments if moment is not None)


def _step(of: StepState, state: RunState) -> dict[str, Any]:
    step = of.step
    decided: dict[Any, list] = {}
    for made in state.dispositions:
        decided.setdefault(made.reading_id, []).append(made)
    return {
        "step": {
            "order": step.order,
            "title": step.title,
            "critical": step.critical,
            "fasteners": step.fasteners,
            "thread": step.thread,
            "property_class": step.property_class,
            "order_of_work": step.get_order_of_work_display(),
            "reuse": step.get_reuse_display(),
            "threadlocker": step.threadlocker,
        },
        "drawing": patterns.latest(of),
        "sequence": "–".join(map(str, step.sequence)),
        "stages": [_stage(stage, of, decided) for stage in of.stages],
        "checks": [
            {
                "words": run_words.check_words(row),
                "note": row.note,
                "stands": row == of.valid_check,
                "failed": row.failed,
            }
            for row in of.checks
        ],
        "lacking": of.check_words if step.critical and of.valid_check is None else "",
        "new": [f"{row.what} ({row.made_by}, {in_minutes(row.made_at)})" for row in of.new_fitted],
    }


def _stage(at: StageState, of: StepState, decided: dict) -> dict[str, Any]:
    rows = []
    turn = {number: place for place, number in enumerate(of.step.sequence, 1)}
    standing = {one.reading.pk: one for one in at.fasteners.values() if one.reading is not None}
    mine = [row for row in of.readings if row.stage_id == at.stage.pk]
    for number in of.step.sequence:
        here = [row for row in mine if row.fastener == number]
        for row in here:
            rows.append(_reading(row, standing.get(row.pk), turn[number], decided.get(row.pk, [])))
        if at.fasteners[number].reading is None:
            rows.append({"fastener": number, "turn": ordinal(turn[number]), "open": True})
    return {
        "name": at.stage.name,
        "kind": at.stage.get_kind_display(),
        "note": at.stage.note,
        "targets": [_target_words(group, target) for group, target in at.targets.items()],
        "rows": rows,
        "begun": any(not row.get("open") for row in rows),
    }


def _target_words(group: str, target) -> str:
    said = f"{target}, {target.source_words}" if target.source_words else str(target)
    return f"{group}: {said}" if group else said


def _reading(row: TorqueReading, one, turn: int, decided: list) -> dict[str, Any]:
    notes = []
    if row.corrects_id:
        notes.append(f"puts right what was written down: {row.redo_reason} ({in_minutes(row.received_at)})")
    elif row.redo_reason:
        notes.append(f"done again: {row.redo_reason}")
    if row.put_right_by is not None:
        notes.append("written down wrong, put right below")
    elif one is None and row.kind != ReadingKind.NOT_DONE:
        notes.append("no longer stands")
    if row.counts_not_because:
        notes.append(f"does not count: {row.counts_not_because}")
    if row.out_of_sequence:
        notes.append("out of sequence")
    if row.entered_together:
        notes.append("entered together with others")
    if row.written_down_late and not row.corrects_id:
        notes.append(f"written down {in_minutes(row.received_at)}")
    if row.supervised:
        notes.append(f"supervised by {row.qualified.person}")
    for made in decided:
        source = f" ({made.source})" if made.source else ""
        notes.append(f"{lower_first(str(made))}{source}: {made.reason} ({made.made_by})")
    said = run_words.reading_words(row)
    if row.running_torque:
        said += f", running torque {show(Amount(row.running_torque, 'N.m'))}"
    verdict = one.verdict if one is not None else row.verdict
    return {
        "fastener": row.fastener,
        "turn": ordinal(turn),
        "said": said,
        "struck": not row.stands_for_work and row.kind != ReadingKind.NOT_DONE,
        "stands": one is not None,
        "fine": one is not None and one.settled and verdict in ("within", "no_limit"),
        "verdict": verdict,
        "label": row.not_counting_words or _label(row, one),
        "limits": run_words.limits_words(row) if row.unit else "",
        "tool": str(row.tool.label) if row.tool else row.get_angle_by_display(),
        "by": str(row.made_by),
        "when": in_minutes(row.made_at),
        "notes": notes,
    }


def _label(row: TorqueReading, one) -> str:
    if row.kind == ReadingKind.NOT_DONE:
        return "open again"
    return one.verdict_label if one is not None else row.get_verdict_display()
