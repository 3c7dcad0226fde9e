"""What a fault's page tells: the possibilities with what was found of each, and what is to be done next."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse

from vehicles.models import DiagnosisStep, Fault, Possibility
from vehicles.models.fault import PossibilityEnd, Reproduced
from workshop.engineering.units import with_label
from workshop.forms.fields import plain_number
from workshop.permissions import May


@dataclass(frozen=True)
class NextStep:
    """What is to be done next on an open fault; `may` is what one needs for the page behind `url`."""

    words: str
    url: str
    link: str
    may: May = May.DIAGNOSE


def with_reading(step: DiagnosisStep) -> str:
    """What was read, with its unit; empty where nothing was."""
    return "" if step.value is None else with_label(str(plain_number(step.value)), step.unit)


def possibilities_of(fault: Fault) -> list[Possibility]:
    """Each with `found`, all that was found of it, the latest first, and `state`, the code of what counts: two queries."""
    rows = list(fault.possibilities.select_related("made_by", "device").prefetch_related("findings__made_by"))
    for row in rows:
        row.found = sorted(row.findings.all(), key=lambda each: each.order, reverse=True)
        row.state = row.found[0].finding if row.found else ""
        if row.state == PossibilityEnd.OPEN_AGAIN:
            row.state = ""
        elif row.state == PossibilityEnd.CONFIRMED and row.found[0].root_cause_id != fault.root_cause_id:
            # Its cause was withdrawn, or another one named since: it proves nothing any more.
            row.state = "was_confirmed"
    # What is still possible is what one works on.
    return sorted(rows, key=lambda row: bool(row.state))


def next_step(fault: Fault, *, steps: int, possible: int, lines: list, open_jobs: list) -> NextStep | None:
    """What is to be done next; None once it has ended. No query: lines with their job, the car's open jobs."""
    if fault.end:
        return None
    mending = [line for line in lines if not line.dropped_because and line.kind != "diagnosis"]
    if (done := next((line for line in mending if line.done_at), None)) is not None:
        return NextStep(
            f"Work line {done} is done: make the check afterwards, then end the fault with it.",
            reverse("jobs:fault-fix", args=[done.pk, fault.pk]),
            "Fixed: say which check was made",
            May.END_FAULT,
        )
    to_mend = next((line for line in mending if not line.job.is_closed), None)
    if to_mend is not None and (fault.root_cause_id or not possible):
        return NextStep(
            f"It is to be mended on work line {to_mend}.",
            reverse("jobs:line", args=[to_mend.pk]),
            "Open the work line",
            May.SEE_SHOP,
        )
    if fault.root_cause_id is None:
        return _next_of_search(fault, steps, possible)
    if open_jobs:
        asked = urlencode({"faults": fault.pk, "complaint": fault.title, "kind": "repair"})
        return NextStep(
            "The cause is named. Write the work line that mends it.",
            f"{reverse('jobs:line-add', args=[open_jobs[0].pk])}?{asked}",
            f"Work line on job {open_jobs[0]}",
            May.EDIT_LINE,
        )
    return NextStep(
        "The cause is named, and no job is open on this car: book one, or let it stay outstanding.",
        reverse("jobs:job-book", args=[fault.vehicle_id]),
        "Book a job",
        May.BOOK,
    )


def _next_of_search(fault: Fault, steps: int, possible: int) -> NextStep:
    if not steps and fault.reproduced == Reproduced.NOT_TRIED:
        return NextStep(
            "See whether it shows itself here.",
            reverse("vehicles:fault-reproduced", args=[fault.pk]),
            "It does, it does not",
        )
    if not steps:
        return NextStep("Try something, and write down what was seen.", "#try", "First step")
    if possible:
        words = "One possibility is" if possible == 1 else f"{possible} possibilities are"
        return NextStep(f"{words} open: prove it or rule it out.", "#possible", "What it could be")
    return NextStep("Go on testing, or name the cause.", "#cause", "Name the cause")
