"""Special tools on the car, parts of the car taken off, locks and their keys: out, and back."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from jobs.acts.job import send_back_to_work
from jobs.models import Job, JobState, ThingOut
from jobs.open_job import lock, lock_open, refuse_before, refuse_before_check_in
from workshop.acting import By, act, create, note, save_changes
from workshop.permissions import May


@act(May.FIT_PARTS)
def put_out(*, by: By, job: Job, kind: str, what: str, where: str) -> ThingOut:
    """Write down what is on the car and not of it, or of the car and not on it. A ready car goes back to work."""
    locked = lock_open(job)
    if locked.state == JobState.BOOKED:
        raise ValidationError(f"The car of {locked.number} is not here yet. Check it in first.")
    refuse_before_check_in(by, locked)
    for name, value in (("what", what), ("where", where)):
        if not value.strip():
            raise ValidationError({name: "Say what it is." if name == "what" else "Say where it is now."})
    row = create(ThingOut(**by.stamp(), job=locked, kind=kind, what=what.strip(), where=where.strip()))
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={"kind": kind},
        words={"what": row.what, "where": row.where},
    )
    send_back_to_work(by, job, f"{row.get_kind_display()}: {row.what}")
    return row


@act(May.FIT_PARTS)
def bring_back(*, by: By, thing: ThingOut) -> ThingOut:
    """It is back in its place: the tool in its cupboard, the part on the car, the lock off."""
    lock(thing.job)
    locked = (
        ThingOut.objects.select_for_update(of=("self",), no_key=True)
        .select_related("back_by")
        .get(pk=thing.pk)
    )
    if locked.back_at is not None:
        raise ValidationError(f"{locked.what} is back already: {locked.back_by}.")
    refuse_before(by.made_at, locked.made_at, "It was put out")
    save_changes(locked, back_at=by.made_at, back_by=by.person)
    thing.refresh_from_db()
    note(
        thing,
        vehicle=thing.job.vehicle_id,
        job=thing.job,
        facts={"kind": thing.kind},
        words={"what": thing.what},
    )
    return thing
