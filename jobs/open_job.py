"""What acts on a job look at first: its row, locked; whether it is over; whether the car is here, and since when.

Order of locks, the same in every act: the car, then the job, then the line (or run), then what hangs on it. The gate
looks at the whole car, so whatever changes what the gate sees holds the car until it ends: a car is not called ready
or handed over while something is still being written down about it. Locks are "no key": a plain one would wait for
the deferred foreign keys of other acts, and they for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import CheckIn, Job, JobState
from jobs.states import IN_THE_BUILDING
from vehicles.models import Vehicle
from workshop.acting import By


def lock_car(vehicle: Vehicle | UUID) -> Vehicle:
    """The car as it stands on record, locked until the act ends. Always the first lock of an act."""
    return Vehicle.objects.select_for_update(no_key=True).get(pk=getattr(vehicle, "pk", vehicle))


def lock(job: Job) -> Job:
    """The job as it stands on record, its car and then itself locked until the act ends."""
    car = lock_car(job.vehicle_id)
    locked = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    locked.vehicle = car
    return locked


def lock_open(job: Job) -> Job:
    """The same, refused when the job is over."""
    locked = lock(job)
    if locked.is_closed:
        raise ValidationError(
            f"{locked.number} is over (“{locked.get_state_display()}”) and no longer changed. "
            "A car that comes back gets a new job."
        )
    return locked


def refuse_outside(job: Job) -> None:
    """Refuse what needs the car in the building."""
    if job.state not in IN_THE_BUILDING:
        todo = (
            "Check it in first." if job.state == JobState.BOOKED else "A car that comes back gets a new job."
        )
        raise ValidationError(
            f"The car of {job.number} is not in the building (“{job.get_state_display()}”). {todo}"
        )


def before(moment: datetime, other: datetime) -> bool:
    """Whether a moment lies before another one. What people type has no seconds: within the minute it does not."""
    return moment < other.replace(second=0, microsecond=0)


def refuse_before(moment: datetime, other: datetime, what: str, field: str = "made_at") -> None:
    """Refuse a moment before another one, with both times. `what` names the other: "The car came in"."""
    if before(moment, other):
        given, since = (date_format(timezone.localtime(at), "j M Y H:i") for at in (moment, other))
        raise ValidationError(
            {field: f"{what} at {since}; {given} is before that. Give {since} or a later time."}
        )


def refuse_before_check_in(by: By, job: Job) -> None:
    """Refuse what was done at the car before the car was here."""
    since = CheckIn.objects.filter(job=job).values_list("made_at", flat=True).first()
    if since is not None:
        refuse_before(by.made_at, since, "The car came in")


@contextmanager
def renamed_fields(**names: str) -> Iterator[None]:
    """Refusals of an act called inside another: their fields get the names that the outer form has."""
    try:
        yield
    except ValidationError as refusal:
        if hasattr(refusal, "error_dict"):
            refusal.error_dict = {names.get(name, name): rows for name, rows in refusal.error_dict.items()}
            rows = [row for listed in refusal.error_dict.values() for row in listed]
        else:
            rows = refusal.error_list
        for row in rows:
            field = str(row.code or "").removeprefix("field:")
            if field != row.code and field in names:
                row.code = f"field:{names[field]}"
        raise
