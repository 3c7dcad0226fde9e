"""Waivers: a lead lets a blocker go, with the reason. Printed on the sheet, listed for the shop owner."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from jobs import gate
from jobs.models import Job, Waiver
from jobs.open_job import lock_open
from workshop.acting import By, act, create, note
from workshop.permissions import May


@act(May.WAIVE)
def waive(*, by: By, job: Job, blocker: str, reason: str) -> Waiver:
    """Let one blocker go. `blocker` is the gate's code and subject, "code:subject"."""
    locked = lock_open(job)
    earlier = locked.waivers.filter(blocker=blocker).select_related("made_by").first()
    if earlier is not None:
        raise ValidationError(f"{earlier.made_by} has waived this already: {earlier.reason}")
    found = find_blocker(locked, blocker)
    if found is None:
        raise ValidationError(
            "This no longer blocks: there is nothing to waive. Look at the job's page again."
        )
    if not found.waivable:
        raise ValidationError(f"This can't be waived: {found.text}")
    if not reason.strip():
        raise ValidationError({"reason": "Say why this may be waived. The sheet prints it."})
    row = create(
        Waiver(**by.stamp(), job=locked, blocker=blocker, text=found.text[:300], reason=reason.strip())
    )
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={"blocker": blocker},
        words={"text": row.text, "reason": row.reason},
    )
    return row


def find_blocker(job: Job, key: str):
    """The gate's blocker with this key, or None."""
    return next((each for each in gate.blockers(job) if each.key == key), None)
