"""Reads over damage done in the shop: for the floor, the job page, the gate, the sheet and the car's owner."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from jobs.models import Damage, DamageTelling, Job
from jobs.models.damage import Settled
from vehicles.models import Attachment, Vehicle


def rows() -> QuerySet[Damage]:
    """Damages with their tellings and photos: three queries for any number."""
    return (
        Damage.objects.with_told()
        .select_related(
            "job",
            "vehicle",
            "made_by",
            "found_by",
            "at_the_car",
            "settled_by",
            "settled_line",
            "settled_with",
        )
        .prefetch_related(
            Prefetch(
                "tellings",
                DamageTelling.objects.select_related("told_to", "told_by", "made_by").order_by("made_at"),
            ),
            Prefetch("attachments", Attachment.objects.shown(), to_attr="photos"),
        )
    )


def of_job(job: Job) -> list[Damage]:
    """Those found on this job, and open or untold ones of the car's earlier visits; open ones first."""
    found = rows().filter(vehicle=job.vehicle_id).order_by("-order")
    mine = [row for row in found if row.job_id == job.pk or not row.settled or needs_telling(row)]
    return sorted(mine, key=lambda row: (bool(row.settled), -row.order))


def untold(vehicle: Vehicle | UUID) -> list[Damage]:
    """What still keeps the car here, because its owner does not know of it: one query."""
    return list(
        Damage.objects.untold()
        .filter(vehicle=getattr(vehicle, "pk", vehicle))
        .select_related("job")
        .order_by("order")
    )


def needs_telling(row: Damage) -> bool:
    """Whether the owner is still to be told; `row` comes from `with_told`."""
    return not row.is_told and row.settled != Settled.THERE_BEFORE


def open_by_vehicle(vehicles: Iterable[UUID]) -> dict[UUID, list[Damage]]:
    """For a list of cars (the floor): {car's key: its open damages}. One query."""
    found: dict[UUID, list[Damage]] = {}
    for row in Damage.objects.open().with_told().filter(vehicle__in=list(vehicles)).order_by("order"):
        found.setdefault(row.vehicle_id, []).append(row)
    return found
