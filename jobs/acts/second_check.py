"""The second check of a critical step, by another person, or alone with its reason and an independent check
to follow.
"""

from __future__ import annotations

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import ProcedureStep, Run, SecondCheck
from jobs.models.torque import CheckMethod
from jobs.open_run import lock_run_for, note_on_run, step_of
from jobs.run_state import RunState, StepState
from jobs.runs import state_of
from vehicles.acts import outstanding
from workshop.acting import By, act, create
from workshop.permissions import May, allowed

# Before a technician who is alone checks their own work again: common practice, no source.
ALONE_AFTER = timedelta(minutes=10)
# An independent re-check after one made alone: common practice, no source.
RECHECK_WITHIN = timedelta(days=7)


@act(May.SECOND_CHECK)
def second_check(
    *,
    by: By,
    run: Run,
    step: ProcedureStep,
    method: str,
    alone_because: str = "",
    note: str = "",
) -> SecondCheck:
    """The check of a critical step by a person who took no reading in it.

    `alone_because`: nobody else is in the building. Then the technician checks again after an interval, or a
    lead gives the reason; an independent re-check is raised as an outstanding item.
    """
    run = lock_run_for(by, run)
    state = state_of(run)
    of = step_of(state, step)
    alone_because = alone_because.strip()
    if not of.step.critical:
        raise ValidationError({"step": f"{step.title} is not critical: it needs no second check."})
    if not of.settled:
        raise ValidationError(
            {"step": f"{step.title} is not through yet: every fastener is judged before the second check."},
            code="not_through",
        )
    _check_method(of, method, alone=bool(alone_because))
    mine = [row for row in state.readings if row.step_id == step.pk and row.made_by_id == by.person.pk]
    if mine and not alone_because:
        raise ValidationError(
            {
                "alone_because": "You took a reading in this step: somebody else does the second check. "
                "If nobody else is in the building, say so here."
            },
            code="by_another",
        )
    if alone_because:
        _check_interval(by, state, step)
    row = create(
        SecondCheck(
            **by.stamp(),
            run=run,
            step=step,
            method=method,
            after_reading=state.last_order,
            alone_because=alone_because,
            note=note.strip(),
        )
    )
    note_on_run(
        row,
        run,
        {
            "step": step.title,
            "method": method,
            "after_reading": row.after_reading,
            "alone_because": alone_because,
            "note": row.note,
        },
    )
    if alone_because:
        _raise_independent_check(by, run, step, alone_because)
    return row


def _check_method(of: StepState, method: str, *, alone: bool) -> None:
    if method not in of.check_methods:
        labels = " or ".join(f"“{m.label.lower()}”" for m in of.check_methods)
        raise ValidationError(
            {
                "method": "This step is tightened by angle or to yield: turning again would harm the "
                f"bolt. Only {labels}."
            }
        )
    if alone and method == CheckMethod.WITNESSED:
        raise ValidationError({"method": "Who is alone can't witness the tightening: choose another method."})


def _check_interval(by: By, state: RunState, step: ProcedureStep) -> None:
    if allowed(by.person, May.DISPOSITION):
        return  # a lead answers for it by the reason
    last = max(row.made_at for row in state.readings if row.step_id == step.pk)
    if by.made_at < last + ALONE_AFTER:
        minutes = int(ALONE_AFTER.total_seconds() // 60)
        when = date_format(timezone.localtime(last + ALONE_AFTER), "H:i")
        raise ValidationError(
            {
                "alone_because": f"Your own re-check comes at least {minutes} minutes after the last "
                "reading: "
                f"from {when} on. Or a lead does it with the reason."
            },
            code="too_soon",
        )


def _raise_independent_check(by: By, run: Run, step: ProcedureStep, because: str) -> None:
    outstanding.raise_item(
        by=by,
        vehicle=run.job.vehicle,
        title=f"Independent check: {run}, {step.title}"[:160],
        detail=f"The second check was made alone ({because}). Somebody else checks this joint.",
        severity="major",
        reason="recheck",
        raised_in=run.job,
        raised_by_line=run.line,
        raised_by_run=run,
        due_on=by.day + RECHECK_WITHIN,
    )
