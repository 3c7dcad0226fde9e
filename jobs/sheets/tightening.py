"""Tightening as the sheet says it: what stands for each stage, by whom, with which tool, checked by whom."""

from __future__ import annotations

from collections import Counter
from typing import Any

from jobs import run_words
from jobs.models import Run, TorqueReading
from jobs.models.torque import DispositionKind, ReadingVerdict
from jobs.run_state import AGAIN, RunState, StageState, StepState
from jobs.sheets.words import in_days, in_minutes, lower_first
from workshop.engineering.units import Amount, show
from workshop.engineering.verdict import DecisionRule


def tightening(runs: list[Run]) -> list[dict[str, Any]]:
    """Blocks of runs. Runs of one procedure version with the same targets, tools, people and verdicts are one block:
    `where` each was, when it was completed and how it was checked stand in `each`.
    """
    blocks: list[tuple[dict[str, Any], list[Run], list[dict[str, Any]]]] = []
    for run in runs:
        alike, own = _alike(run), _own(run)
        block = next(
            (
                found
                for found in blocks
                if found[0] == alike and run.where and all(one.where != run.where for one in found[1])
            ),
            None,
        )
        if block is not None and all(one.where for one in block[1]):
            block[1].append(run)
            block[2].append(own)
        else:
            blocks.append((alike, [run], [own]))
    return [
        {
            **alike,
            "title": ", ".join(text for text in (alike["title"], *(run.where for run in members)) if text),
            "lines": sorted({run.line.order for run in members}),
            "each": each,
        }
        for alike, members, each in blocks
    ]


def tools(runs: list[Run]) -> list[str]:
    return list(dict.fromkeys(text for run in runs for text in run.state.tool_words))


def rules(runs: list[Run]) -> list[str]:
    return sorted(
        {
            DecisionRule(row.rule).label
            for run in runs
            for row in run.state.readings
            if row.limit_low is not None or row.limit_high is not None
        }
    )


def _alike(run: Run) -> dict[str, Any]:
    """What runs have in common that are printed together."""
    state: RunState = run.state
    return {
        "title": run.version_used.procedure.title,
        "version": state.version.number,
        "source": state.source_words,
        "applies": state.applies_words,
        "supervised": state.supervised,
        "complete": run.completed_at is not None,
        "open": [problem.text for problem in state.problems],
        "together": any(row.entered_together for row in state.readings),
        "late": any(row.written_down_late and not row.corrects_id for row in state.readings),
        "tools": state.tool_words,
        "steps": [_step(step, state) for step in state.steps],
    }


def _own(run: Run) -> dict[str, Any]:
    """What is said of one run alone."""
    state: RunState = run.state
    if run.abandoned_at:
        said = f"Given up {in_days(run.abandoned_at)}: {run.abandoned_because}"
    elif run.completed_at:
        said = f"Completed {in_minutes(run.completed_at)}"
    else:
        said = "Not completed"
    return {
        "where": run.where,
        "state": said,
        "steps": [_own_step(step, state) for step in state.steps],
    }


def _readings(of: StepState, state: RunState) -> list[TorqueReading]:
    return [row for row in state.readings if row.step_id == of.step.pk]


def _step(of: StepState, state: RunState) -> dict[str, Any]:
    mine = _readings(of, state)
    return {
        "title": of.step.title,
        "fasteners": of.step.fasteners,
        "critical": of.step.critical,
        "stages": [_stage(stage) for stage in of.stages],
        "by": sorted({str(row.made_by) for row in mine if not row.corrects_id}),
        "with": sorted({row.tool.label for row in mine if row.tool and row.stands_for_work}),
        "corrected": [_correction(row) for row in mine if row.corrects_id],
        "decided": [
            _disposition(made, of) for made in state.dispositions if made.reading.step_id == of.step.pk
        ],
    }


def _own_step(of: StepState, state: RunState) -> dict[str, Any]:
    critical = of.step.critical
    # What failed stays on the sheet beside the check that is in order now.
    stands = of.valid_check or (of.checks[-1] if of.checks else None)
    shown = [row for row in of.checks if row.failed or row == stands]
    return {
        "title": of.step.title,
        "new": [row.what for row in of.new_fitted],
        "out_of_sequence": sorted({row.fastener for row in _readings(of, state) if row.out_of_sequence}),
        "checks": [_check(row) for row in shown] if critical else [],
        # What the second check lacks, where it lacks something.
        "lacking": of.check_words if critical and not of.valid_check else "",
    }


def _stage(of: StageState) -> dict[str, Any]:
    """What stands for a stage: of each fastener the reading that was not undone, the same ones together."""
    words: dict[str, list[int]] = {}
    counts: Counter[str] = Counter()
    for fastener, one in sorted(of.fasteners.items()):
        if one.reading is None:
            counts["open"] += 1
            continue
        words.setdefault(_reading_words(one.reading), []).append(fastener)
        if not one.counts:
            counts[f"not counting ({one.reading.counts_not_because.rstrip('.')})"] += 1
        else:
            accepted = ", accepted by the lead" if one.disposition else ""
            counts[f"{lower_first(one.verdict_label)}{accepted}"] += 1
    alike = len(of.fasteners) > 1
    return {
        "name": of.stage.name,
        "note": of.stage.note,
        "targets": [f"{group}: {text}" if group else text for group, text in of.target_words.items()],
        "recorded": [f"{text} ({_numbers(numbers)})" if alike else text for text, numbers in words.items()],
        "verdicts": [f"{number} {word}" for word, number in counts.items()],
        "fine": of.settled and set(counts) <= {"within", "recorded"},
    }


def _reading_words(row: TorqueReading) -> str:
    """A click is never printed as a measurement, and no digit is added to what was typed."""
    text = run_words.reading_words(row)
    if row.running_torque:
        text += f", with a running torque of {show(Amount(row.running_torque, 'N.m'))}"
    return text


def _numbers(numbers: list[int]) -> str:
    """1, 2, 3, 5 as "no. 1 to 3, 5"."""
    parts: list[list[int]] = []
    for number in sorted(numbers):
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    said = [str(part[0]) if len(part) == 1 else f"{part[0]} to {part[-1]}" for part in parts]
    return f"no. {', '.join(said)}"


def _check(row) -> dict[str, Any]:
    return {
        "method": lower_first(row.get_method_display()),
        "with": row.tool.label if row.tool_id else "",
        "found": row.found,
        "by": str(row.made_by),
        "when": in_minutes(row.made_at),
        "alone": row.alone_because,
        "note": row.note,
    }


def _correction(row: TorqueReading) -> str:
    """What was written down wrong and what stands in its place; both stay on record."""
    wrong = row.corrects
    where = "" if row.fastener == wrong.fastener else f"no. {row.fastener}, "
    return (
        f"No. {wrong.fastener} was written down wrong ({_reading_words(wrong)}): {row.redo_reason.rstrip('. ')}. "
        f"It stands as {where}{_reading_words(row)}. {row.made_by}, {in_days(row.received_at)}"
    )


def _disposition(made, of: StepState) -> str:
    """What was decided about one fastener, as a car's owner would want it told."""
    number, reading = made.reading.fastener, _reading_words(made.reading)
    above = made.reading.verdict == ReadingVerdict.ABOVE
    first = f"No. {number} was {'above its limit' if above else 'not proven by its tool'} ({reading})"
    if made.kind in AGAIN:
        done = "loosened" if made.kind == DispositionKind.REDONE else "replaced by a new one"
        said = f"{first}, was {done} and tightened again from the first stage"
        if all(stage.fasteners[number].settled for stage in of.stages):
            said += "; it is in order now"
    else:
        source = f" ({made.source})" if made.source else ""
        said = f"{first} and was {lower_first(DispositionKind(made.kind).label)}{source}"
    return f"{said}. {made.reason.rstrip('. ')}. {made.made_by}, {in_days(made.made_at)}"
