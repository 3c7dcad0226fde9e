"""The second check of a critical step, by another person, or alone with its reason and an independent check
to follow.
"""

from __future__ import annotations

from datetime import timedelta

from django.core.exceptions import ValidationError

from jobs.models import ProcedureStep, Run, SecondCheck
from jobs.models.torque import CheckMethod, CheckResult
from jobs.open_run import clock, lock_run_for, lock_tool, note_on_run, refuse_before, step_of
from jobs.run_state import StepState
from jobs.runs import state_of
from vehicles.acts import outstanding
from workshop.acting import By, act, create
from workshop.models import TorqueTool
from workshop.models.tools import ToolKind
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
    result: str = "in_order",
    found: str = "",
    tool: TorqueTool | None = None,
    alone_because: str = "",
    note: str = "",
) -> SecondCheck:
    """The check of a critical step by a person who took no reading in it; in order or not, with what was found.

    `tool`: what it was applied or measured with. `alone_because`: nobody else is in the building. Then the
    technician checks again after an interval, or a lead gives the reason; an independent re-check is raised as
    an outstanding item.
    """
    lock_tool(tool)
    run = lock_run_for(by, run)
    state = state_of(run)
    of = step_of(state, step)
    alone_because, found = alone_because.strip(), found.strip()
    if not of.step.critical:
        raise ValidationError({"step": f"{step.title} is not critical: it needs no second check."})
    if not of.settled:
        raise ValidationError(
            {"step": f"{step.title} is not through yet: every fastener is judged before the second check."},
            code="not_through",
        )
    refuse_before(by, max(row.made_at for row in of.readings), "The last reading of this step was taken")
    _check_method(of, method, alone=bool(alone_because))
    tool = _tool_for(method, tool, by)
    failed = _not_in_order(of, result, found)
    _check_person(by, of, alone_because, failed=failed)
    row = create(
        SecondCheck(
            **by.stamp(),
            run=run,
            step=step,
            method=method,
            result=result,
            found=found,
            tool=tool,
            after_reading=state.last_order,
            alone_because=alone_because,
            note=note.strip(),
        )
    )
    note_on_run(
        row,
        run,
        {
            "step": step.order,
            "method": method,
            "result": result,
            "tool": tool.label if tool else "",
            "after_reading": row.after_reading,
            "alone": bool(alone_because),
        },
        {"step": step.title, "found": found, "alone_because": alone_because, "note": row.note},
    )
    if alone_because and not failed:
        _raise_independent_check(by, run, step, alone_because)
    return row


def _not_in_order(of: StepState, result: str, found: str) -> bool:
    if result not in CheckResult.values:
        raise ValidationError({"result": "Say whether the joint is in order."})
    if result == CheckResult.NOT_IN_ORDER:
        if not found:
            raise ValidationError({"found": "Say what was found that is not in order."})
        return True
    if found:
        raise ValidationError(
            {"found": "This is for what is not in order: choose “Not in order”, or write it as a note."}
        )
    if of.check == "failed":
        raise ValidationError(
            {
                "result": f"{of.failed_check.made_by} found it not in order ({of.failed_check.found.rstrip('.')}), "
                "and no reading was recorded since. Work on the joint again and record it first."
            },
            code="check_failed",
        )
    return False


def _tool_for(method: str, tool: TorqueTool | None, by: By) -> TorqueTool | None:
    """The tool of a check that applies or measures something, fit for it on that day; none for one by sight."""
    if not CheckMethod(method).takes_a_tool:
        return None
    if tool is None:
        raise ValidationError({"tool": "Choose the tool that it was checked with."})
    if tool.kind == ToolKind.ANGLE:
        raise ValidationError({"tool": f"{tool} measures angles. Choose the torque tool."})
    tool = TorqueTool.objects.prefetch_related("calibrations", "failures").get(pk=tool.pk)
    if why := tool.unfit_because(None, on=by.day):
        raise ValidationError({"tool": f"{why} It proves nothing: choose another tool."})
    return tool


def _check_person(by: By, of: StepState, alone_because: str, *, failed: bool) -> None:
    mine = any(row.made_by_id == by.person.pk for row in of.readings)
    # On another's session "you" would be the wrong one.
    who, are = ("You", "you are") if by.session_person is None else (str(by.person), "that is")
    if mine and not alone_because:
        raise ValidationError(
            {
                "alone_because": f"{who} took a reading in this step: somebody else does the second check. "
                "If nobody else is in the building, say so here."
            },
            code="by_another",
        )
    if alone_because and not mine:
        raise ValidationError(
            f"{who} took no reading in this step: {are} the other person who checks it. Leave out that nobody else "
            "is in the building.",
            code="not_alone",
        )
    if alone_because and not failed:
        _check_interval(by, of)


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


def _check_interval(by: By, of: StepState) -> None:
    """By when it was done and by when it was written down: a time typed afterwards makes no interval."""
    if allowed(by.person, May.DISPOSITION):
        return  # a lead answers for it by the reason
    done = max(row.made_at for row in of.readings) + ALONE_AFTER
    written = max(row.received_at for row in of.readings) + ALONE_AFTER
    if by.made_at < done or by.received_at < written:
        minutes = int(ALONE_AFTER.total_seconds() // 60)
        raise ValidationError(
            {
                "alone_because": f"Your own re-check comes at least {minutes} minutes after the last "
                f"reading was taken and written down: from {clock(max(done, written))} on. Or a lead does it "
                "with the reason."
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
