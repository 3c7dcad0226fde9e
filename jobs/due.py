"""What of the jobs comes due: those that wait for parts. By when is what the customer was promised."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils import timezone

from jobs.models import Job
from vehicles.due import Due, Ground, Kind, add_due_source, day_words


def parts_awaited(ground: Ground) -> Iterator[Due]:
    """Open jobs that wait for parts. One query."""
    for job in ground.of_cars(Job.objects.open().filter(waiting_for="parts")):
        day = timezone.localtime(job.promised_at).date() if job.promised_at else None
        yield ground.due(
            job.vehicle_id,
            kind=Kind.PARTS,
            title=f"Parts awaited: {job.title}",
            url=job.get_absolute_url(),
            by_date=day,
            why=f"Job {job.number}" + (f", promised for {day_words(day)}" if day else ""),
            key=f"parts:{job.pk}",
            staff_only=True,
            records=job.version,
            stamp=job.received_at,
            unknown="the car was promised for no day",
        )


def register() -> None:
    add_due_source("parts awaited", parts_awaited)
