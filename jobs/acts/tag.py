"""Not-to-be-moved tags: do not start, do not move, not on the road."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from jobs.models import Isolation, Job, Run, Tag
from jobs.open_job import lock_car, refuse_before
from vehicles.models import Vehicle
from workshop.acting import By, act, create, note, save_changes
from workshop.permissions import May


@act(May.TAG)
def set_tag(
    *,
    by: By,
    vehicle: Vehicle,
    kind: str,
    because: str,
    job: Job | None = None,
    run: Run | None = None,
    isolation: Isolation | None = None,
) -> Tag:
    """Set a tag on the car: by hand, or by an open run or isolation, which lifts it when it ends."""
    if job is not None and job.vehicle_id != vehicle.pk:
        raise ValidationError({"job": f"{job} is a job of another car."})
    if not because.strip():
        raise ValidationError({"because": "Say why the tag is set."})
    lock_car(vehicle)
    if job is not None and (now := Job.objects.get(pk=job.pk)).is_closed:
        raise ValidationError(
            {
                "job": f"{now} is over (“{now.get_state_display()}”). If the car stands here all the same, set the "
                "tag without a job."
            }
        )
    row = create(
        Tag(
            **by.stamp(),
            vehicle=vehicle,
            kind=kind,
            because=because.strip(),
            job=job,
            run=run,
            isolation=isolation,
        )
    )
    note(
        row,
        vehicle=vehicle,
        job=job,
        facts={"kind": kind, "run": run, "isolation": isolation},
        words={"because": row.because},
    )
    return row


@act(May.LIFT_TAG)
def lift_tag(*, by: By, tag: Tag, lifted_because: str) -> Tag:
    """Lift a tag, by whom and why. One that an open run or isolation set stays until that has ended.

    The acts that end a run or an isolation write its end first, then call this.
    """
    lock_car(tag.vehicle_id)
    locked = (
        Tag.objects.select_for_update(of=("self",), no_key=True)
        .select_related("run__version_used__procedure", "isolation", "lifted_by")
        .get(pk=tag.pk)
    )
    if locked.lifted_at is not None:
        raise ValidationError(f"This tag was lifted already, by {locked.lifted_by}: {locked.lifted_because}.")
    if sentence := why_it_stays(locked):
        raise ValidationError({"lifted_because": sentence})
    if not lifted_because.strip():
        raise ValidationError({"lifted_because": "Say why the tag may be lifted."})
    refuse_before(by.made_at, locked.made_at, "The tag was set")
    save_changes(locked, lifted_at=by.made_at, lifted_by=by.person, lifted_because=lifted_because.strip())
    tag.refresh_from_db()
    note(
        tag,
        vehicle=tag.vehicle_id,
        job=tag.job_id,
        facts={"kind": tag.kind},
        words={"lifted_because": tag.lifted_because},
    )
    return tag


def why_it_stays(tag: Tag) -> str:
    """Why a tag can't be lifted by hand, and what to do; empty where it can. Reads `run` and `isolation`."""
    if tag.run_id and tag.run.completed_at is None and tag.run.abandoned_at is None:
        return f"“{tag.run}” is open: complete that run, or give it up with its reason, and the tag can go."
    if tag.isolation_id and tag.isolation.re_energised_at is None:
        return "The high-voltage system is isolated: the tag goes when a qualified person re-energises it."
    return ""
