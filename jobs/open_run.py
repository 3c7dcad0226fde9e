"""What every act on a run asks first: the run as it stands, locked with its job, not ended, and not later than
the act.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs import open_job
from jobs.lines import lock_job, refuse_closed, send_back_if_ready
from jobs.models import ProcedureStep, Run
from jobs.run_state import RunState, StepState
from workshop.acting import By, note
from workshop.models import TorqueTool


def _lock_run(run: Run) -> Run:
    """The run as it stands on record, locked with its job, so that readings wait for each other."""
    job = lock_job(run.job)
    run = (
        Run.objects.select_for_update(of=("self",), no_key=True)
        .select_related("version_used__procedure", "line")
        .get(pk=run.pk)
    )
    run.job = job
    return run


def lock_open_run(by: By, run: Run) -> Run:
    run = _lock_run(run)
    _refuse_ended(run, None)
    refuse_closed(run.job)
    refuse_before(by, run.made_at, "The run was started")
    return run


def lock_run_for(by: By, run: Run, *, done: datetime | None = None) -> Run:
    """The locked run for something that was done on it: also when it ended meanwhile, if this was done
    before. `done` is when, where that is another time than the act's own (a correction).
    """
    run = _lock_run(run)
    done = done or by.made_at
    _refuse_ended(run, done)
    open_job.refuse_before(done, run.made_at, "The run was started")
    if not run.job.is_closed:
        send_back_if_ready(run.job, by, f"Tightening on {run}")
    elif done >= run.job.moves.latest("made_at").made_at:
        refuse_closed(run.job)
    return run


def lock_tool(tool: TorqueTool | None) -> None:
    """Reported as dropped at the same moment, one of the two waits and sees the other.

    Call it before the run is locked: who reports a drop has the tool first, and then the cars.
    """
    if tool is not None:
        TorqueTool.objects.select_for_update(no_key=True).get(pk=tool.pk)


def refuse_before(by: By, moment: datetime, what: str) -> None:
    """Nothing is done on a record before it was there. `what` names it: "The run was started"."""
    open_job.refuse_before(by.made_at, moment, what)


def clock(moment: datetime) -> str:
    """A moment in the shop's time, with its seconds where it has some."""
    local = timezone.localtime(moment)
    return date_format(local, "j M Y H:i:s" if local.second else "j M Y H:i")


def _refuse_ended(run: Run, done: datetime | None) -> None:
    for ended, word in ((run.completed_at, "complete"), (run.abandoned_at, "stopped")):
        if ended and (done is None or done >= ended):
            when = date_format(timezone.localtime(ended), "j M Y H:i")
            raise ValidationError(
                f"This run is {word} since {when}. Start a new run for work after that"
                + ("." if done is None else "; for what was done before, give the earlier time."),
                code="run_ended",
            )


def step_of(state: RunState, step: ProcedureStep) -> StepState:
    found = next((one for one in state.steps if one.step.pk == step.pk), None)
    if found is None:
        raise ValidationError(
            {"step": f"{step.title} is not a step of {state.version}, which this run works by."}
        )
    return found


def note_on_run(
    record, run: Run, facts: dict[str, Any] | None = None, words: dict[str, Any] | None = None
) -> None:
    """What an act did to a run, in the log of its car and job. What somebody typed stands in `words`."""
    note(
        record,
        vehicle=run.job.vehicle_id,
        job=run.job,
        facts={"run": str(run.pk), **(facts or {})},
        words={"run": str(run), **(words or {})},
    )
