"""What is next on one work line: one step, in words, with the way to it and who may take it. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse

from jobs.floor import waits_for_check
from jobs.lines import item_form
from jobs.models.work import LineAnswerKind
from workshop.permissions import May

if TYPE_CHECKING:
    from jobs.shown import Shown


@dataclass(frozen=True)
class Step:
    """`hand`: it is waited for now. `who` says whose it is where it is not everybody's. `in_place`: its form is one
    of the line's own, which the job page can open under the line.
    """

    label: str
    url: str
    may: May
    hand: bool = False
    who: str = ""
    in_place: bool = False

    @property
    def right(self) -> str:
        """Name of the right, for `{% if user|may:step.right %}`."""
        return self.may.name


_DESK = "the front desk or a lead"


def next_on(shown: Shown) -> Step | None:
    """The next step of a line as it stands; None where nothing is left to do on it. No query: the line comes with
    everything, and its runs' states are in `shown`.
    """
    line, job = shown.line, shown.line.job
    if line.dropped_because or job.is_closed:
        return None
    here = [line.pk]
    match shown.asks:
        case "tell":
            url = reverse("jobs:line-tell", args=here)
            return Step("The owner was told", url, May.TELL_OWNER, hand=True, in_place=True)
        case "estimate":
            url = reverse("jobs:line-estimate", args=here)
            return Step("Estimate it", url, May.ESTIMATE, hand=True, in_place=True)
        case "answer":
            url = reverse("jobs:line-answer", args=here)
            return Step("Record the answer", url, May.RECORD_ANSWER, hand=True, who=_DESK, in_place=True)
    if shown.nowhere:
        part = shown.nowhere[0].part_off
        url = reverse("vehicles:part-whereabouts", args=[part.pk])
        return Step(f"Say where the old part went: {part.description}", url, May.FIT_PARTS, hand=True)
    if line.done_at or shown.may_work:
        return _run(shown) or _work(shown)
    return _left(shown)


def _left(shown: Shown) -> Step | None:
    """The owner said no or later: what stays with the car ends as outstanding."""
    line = shown.line
    if line.answer not in (LineAnswerKind.NO, LineAnswerKind.LATER):
        return None
    for fault in line.faults.all():
        if not fault.end:
            url = reverse("vehicles:fault-outstanding", args=[fault.pk])
            return Step(f"{fault.number} stays: end it as outstanding", url, May.END_FAULT, hand=True)
    # Only the job page's lines come with it.
    if line.needs_item and not getattr(line, "followed_up", True):
        return Step("Put it on the outstanding list", item_form(line), May.OUTSTANDING, hand=True)
    return None


def _run(shown: Shown) -> Step | None:
    for state in shown.runs:
        run = state.run
        if state.ended and not state.problems:
            continue
        if waits_for_check(state):
            who = "somebody else than who tightened it"
            return Step(f"Second check: {run}", run.get_absolute_url(), May.SECOND_CHECK, hand=True, who=who)
        if not state.ended and not state.problems:
            return Step(f"Say that it is complete: {run}", run.get_absolute_url(), May.RUN_PROCEDURE)
        if not state.ended or run.abandoned_at is None:
            return Step(f"Go on with {run}", run.get_absolute_url(), May.RUN_PROCEDURE)
        if not shown.line.done_at:
            url = reverse("jobs:run-start", args=[shown.line.pk])
            return Step(f"Tighten it by a new run: {run}", url, May.RUN_PROCEDURE)
    return None


def _work(shown: Shown) -> Step | None:
    line, here = shown.line, [shown.line.pk]
    if shown.on_trial:
        part = shown.on_trial[0].part_on
        return Step(f"It stays, or comes off: {part.description}", line.get_absolute_url(), May.FIT_PARTS)
    if line.is_open:
        if line.competence and line.qualified_id is None:
            url = reverse("jobs:line-write", args=here)
            return Step("Name who is qualified", url, May.EDIT_LINE, in_place=True)
        if not line.correction:
            label = "Write the correction" if line.cause else "Write cause and correction"
            return Step(label, reverse("jobs:line-write", args=here), May.EDIT_LINE, in_place=True)
        if again := next((row for row in shown.all_measurements if row.again), None):
            url = f"{reverse('jobs:measure', args=here)}?{again.again}"
            return Step(f"Measure again after: {again.what}", url, May.MEASURE, in_place=True)
    for fault in line.faults.all():
        if not fault.end:
            url = reverse("jobs:fault-fix", args=[line.pk, fault.pk])
            return Step(f"{fault.number}: say how it was checked", url, May.END_FAULT, in_place=True)
    for item in line.items.all():
        if not item.end:
            url = reverse("jobs:item-done", args=[line.pk, item.pk])
            return Step(f"{item.number}: done by this line?", url, May.OUTSTANDING, in_place=True)
    if line.is_open:
        url = reverse("jobs:line-finish", args=here)
        return Step("Finish the line", url, May.FINISH_LINE, in_place=True)
    return None
