"""Damage done to the car in this shop, as its sheet says it: what is to be seen, when its owner knew, how it ended."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch

from jobs.models import Damage, DamageTelling, Job
from jobs.models.damage import Settled
from jobs.sheets.words import in_days


def damages(job: Job) -> list[dict[str, Any]]:
    """Damages found on this job: two queries. What turned out to be older than the visit is no damage of the shop."""
    rows = (
        Damage.objects.filter(job=job)
        .exclude(settled=Settled.THERE_BEFORE)
        .prefetch_related(Prefetch("tellings", DamageTelling.objects.order_by("made_at")))
        .order_by("order")
    )
    return [_damage(row) for row in rows]


def _damage(row: Damage) -> dict[str, Any]:
    told = next(iter(row.tellings.all()), None)
    return {
        "number": row.number,
        "where": row.where,
        "what": row.what,
        "when": in_days(row.happened_at or row.made_at),
        # To whom, and what was agreed, stands on no part that goes with the car.
        "told": f"The owner was told {in_days(told.made_at)}" if told else "The owner was not told yet",
        "settled": f"{row.get_settled_display()}, {in_days(row.settled_at)}"
        if row.settled
        else "Not settled yet",
    }
