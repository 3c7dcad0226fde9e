"""What is still outstanding on the car, what each item comes from, and what is good to know."""

from __future__ import annotations

from typing import Any

from jobs.models import Job
from jobs.sheets.records import Records
from jobs.sheets.words import in_days, lower_first
from vehicles.models import Fault, OutstandingItem, Severity
from workshop.engineering.units import Amount, show


def outstanding(of: Records) -> list[dict[str, Any]]:
    return [_item(item, of.job, of.behind(item)) for item in of.items]


def _item(item: OutstandingItem, job: Job, faults: list[Fault]) -> dict[str, Any]:
    told = [row for row in item.tellings.all() if row.job_id == job.pk]
    last = max(told, key=lambda row: row.made_at, default=None)
    return {
        "title": item.title,
        "severity": item.severity,
        "severity_label": item.severity_word,
        "detail": item.detail,
        # A fault whose words the item took over says nothing more.
        "from": [fault.title for fault in faults if fault.title.casefold() != item.title.casefold()],
        "causes": list(dict.fromkeys(str(fault.root_cause) for fault in faults if fault.root_cause)),
        "why": item.reason_words,
        "due": item.due_words,
        "told": (
            f"Told {in_days(last.made_at)}, {lower_first(last.get_channel_display())}. "
            f"Answer: {lower_first(last.get_answer_display())}"
            + (f" (witness: {last.witness})" if last.witness else "")
            + "."
            if last
            else ""
        ),
    }


def advice(of: Records) -> list[str]:
    said = []
    raised = {item.raised_by_run_id for item in of.items}
    # Several runs of one version may have raised their re-check together, as one item.
    asked = {run.version_used_id for run in of.runs if run.pk in raised}
    for run in of.runs:
        version = run.version_used
        if run.completed_at and version.recheck_km and version.pk not in asked:
            what = version.recheck_note or f"{run}: tightness"
            said.append(f"Have checked again after {show(Amount(version.recheck_km, 'km'))}: {what}.")
    if any(item.severity == Severity.DANGEROUS for item in of.items):
        said.append(
            "Dangerous means: an immediate risk to people on the road. Have it put right before the car is used."
        )
    # Two runs of one procedure ask for the same thing.
    return list(dict.fromkeys(said))
