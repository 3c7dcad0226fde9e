"""The end of a visit: road test and final check, what was let go, how the car left."""

from __future__ import annotations

from typing import Any

from jobs.models import Job
from jobs.sheets.records import Records
from jobs.sheets.words import in_days, in_minutes


def road_test(job: Job) -> dict[str, Any]:
    tests = [
        {
            "driven": row.driven.rstrip(". "),
            "found": row.found,
            "distance": row.distance_words,
            "driver": str(row.driver or ""),
            "not_done": row.not_done_because,
            "when": in_days(row.made_at),
        }
        for row in job.road_tests.select_related("driver").order_by("made_at")
    ]
    check = job.final_checks.select_related("made_by").order_by("-made_at").first()
    return {
        "tests": tests,
        "check": {
            "new_damage": check.new_damage.rstrip(". "),
            "complete": check.tools_complete and check.parts_complete,
            "note": check.note,
            "by": str(check.made_by),
            "when": in_days(check.made_at),
        }
        if check
        else None,
    }


def waivers(job: Job) -> list[dict[str, Any]]:
    return [
        {"what": row.text, "reason": row.reason, "by": str(row.made_by), "when": in_days(row.made_at)}
        for row in job.waivers.select_related("made_by").order_by("made_at")
    ]


def leaving(of: Records) -> dict[str, Any] | None:
    if of.handover is None:
        return None
    row = of.handover
    check_in = getattr(of.job, "check_in", None)
    return {
        "how": row.get_left_how_display(),
        "when": in_minutes(row.made_at),
        "keys": f"{row.keys_returned} of {check_in.keys} handed in" if check_in else str(row.keys_returned),
        "keys_note": row.keys_note,
        "unfinished_because": row.unfinished_because,
        "by": str(row.made_by),
    }


def signing_lead(of: Records) -> str:
    return str(of.job.lead or (of.handover.made_by if of.handover else ""))
