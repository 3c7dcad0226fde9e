"""Filters for the pages of torque runs."""

from __future__ import annotations

from django import template

from jobs import patterns, run_words, runs
from jobs.models import TorqueReading, WorkLine
from jobs.run_state import RunState, StepState

register = template.Library()


@register.filter
def run_states(line: WorkLine) -> list[RunState]:
    """How the runs of a line stand: the queries of `states_of`, and none more where the runs are
    prefetched.
    """
    rows = list(line.runs.all())
    states = runs.states_of(rows)
    return [states[run.pk] for run in rows]


@register.filter
def latest_drawing(step: StepState) -> dict:
    """How far a step of a run is, drawn; no query."""
    return patterns.latest(step)


@register.filter
def said(reading: TorqueReading) -> str:
    return run_words.reading_words(reading)


@register.filter
def why(reading: TorqueReading) -> str:
    return run_words.verdict_sentence(reading)


@register.filter
def check_said(check) -> str:
    return run_words.check_words(check)
