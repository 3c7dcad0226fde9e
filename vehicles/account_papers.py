"""The numbered prints among the papers of the account: the latest revision of each."""

from __future__ import annotations

from django.urls import reverse
from django.utils import timezone

from vehicles.account import Paper, add_papers
from vehicles.audience import Audience, Shows
from vehicles.models import IssuedPrint, Vehicle


def prints(audience: Audience, vehicle: Vehicle) -> list[Paper]:
    """What names no money goes with the car; what does, to the keeper for whom it was made. One query."""
    if not audience.sees(Shows.PAPERS):
        return []
    rows = IssuedPrint.objects.filter(vehicle=vehicle, text__erased_at=None).select_related("made_for")
    latest: dict[tuple, IssuedPrint] = {}
    for row in rows.order_by("revision", "made_at"):
        if audience.reaches(row.made_at) and _is_theirs(audience, row):
            latest[row.kind, row.subject, row.made_for_id] = row
    papers = [
        Paper(
            row.title,
            f"{row.number}, revision {row.revision}",
            timezone.localdate(row.made_at),
            audience.address(reverse("vehicles:issued", args=[row.pk])),
        )
        for row in latest.values()
    ]
    return sorted(papers, key=lambda paper: paper.day, reverse=True)


def _is_theirs(audience: Audience, row: IssuedPrint) -> bool:
    if row.made_for is None:
        return True
    if audience.reader is not None:
        return row.made_for.account_id == audience.reader.pk
    # For the counter's look at what the holder of today sees; never behind a link.
    return audience.link is None and audience.sees(Shows.COSTS) and audience.theirs(row.costs_from)


def register() -> None:
    add_papers("prints", prints)
