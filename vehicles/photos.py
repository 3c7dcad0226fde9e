"""Reads over photos and documents, for the pages that show some of them."""

from __future__ import annotations

from collections import defaultdict
from typing import Any
from uuid import UUID

from vehicles.models import Attachment, AttachmentKind, Moment, Vehicle


def photos_of(vehicle: Vehicle | UUID, **links: Any) -> list[Attachment]:
    """What is shown of this car's photos and documents, oldest first: one query.

    `links` narrow it down by what it belongs to: `line=line`, `fault_id=…`, `job=job, occasion=""`.
    """
    return list(_rows(vehicle).filter(**links))


def photos_by(vehicle: Vehicle | UUID, column: str, **filters: Any) -> dict[Any, list[Attachment]]:
    """The same for a page with many subjects: `photos_by(car, "line_id", job=job)` → {line's key: its photos}.

    One query. What does not belong to any subject of that kind is left out; a subject without photos answers [].
    """
    found: dict[Any, list[Attachment]] = defaultdict(list)
    for row in _rows(vehicle).filter(**filters).exclude(**{column: "" if column == "position" else None}):
        found[getattr(row, column)].append(row)
    return found


def own_photos(person, vehicle: Vehicle, **links: Any) -> list[Attachment]:
    """What a car's owner may see of their car, newest first: one query."""
    rows = Attachment.objects.visible_to(person).filter(vehicle=vehicle, **links)
    return list(rows.order_by("-made_at", "-pk"))


def pairs(photos: list[Attachment]) -> list[tuple[Attachment | None, Attachment | None]]:
    """Before and after beside each other: the first before with the first after, and so on. No query."""
    before = [row for row in photos if row.moment == Moment.BEFORE]
    after = [row for row in photos if row.moment == Moment.AFTER]
    if not before or not after:
        return []
    rows = max(len(before), len(after))
    return list(zip(_padded(before, rows), _padded(after, rows), strict=True))


def documents_of(vehicle: Vehicle) -> list[Attachment]:
    """Documents and signed papers, newest first: one query."""
    return list(_rows(vehicle).exclude(kind=AttachmentKind.PHOTO).order_by("-made_at"))


def _padded(rows: list[Attachment], length: int) -> list[Attachment | None]:
    return [*rows, *[None] * (length - len(rows))]


def _rows(vehicle: Vehicle | UUID):
    return (
        Attachment.objects.shown().filter(vehicle=getattr(vehicle, "pk", vehicle)).select_related("made_by")
    )
