"""The act beside the pictures taken all round: why one angle has none."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from jobs.models import AngleNotPossible, Job
from jobs.open_job import lock_open
from workshop.acting import By, act, create, note
from workshop.permissions import May


@act(May.ADD_FILES)
def angle_not_possible(*, by: By, job: Job, occasion: str, angle: str, because: str) -> AngleNotPossible:
    """Say why this angle can't be photographed. A picture taken afterwards counts instead."""
    if not because.strip():
        raise ValidationError({"because": "Say why it is not possible."})
    locked = lock_open(job)
    row = create(
        AngleNotPossible(**by.stamp(), job=locked, occasion=occasion, angle=angle, because=because.strip())
    )
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={"occasion": occasion, "angle": angle},
        words={"because": row.because},
    )
    return row
