"""Reads every stored file again, and names those that are missing or no longer what was stored."""

from __future__ import annotations

from collections.abc import Iterator

from vehicles.files import store
from vehicles.models import Attachment

CHUNK = 200


def problems() -> Iterator[str]:
    """One sentence for each record whose file is missing, altered or unreadable, or should be gone and is not.

    A file without a record is no problem: a power cut between the two leaves it, and it is taken up again when the
    same picture is sent again.
    """
    rows = Attachment.objects.select_related("vehicle").order_by("made_at", "pk")
    for row in rows.filter(erased_at=None).iterator(chunk_size=CHUNK):
        for digest, size in ((row.file, row.size), (row.thumb, None)):
            if digest and (found := store.problem(digest, row.suffix, size)):
                yield f"{row.get_kind_display().lower()} {row.pk} of {row.vehicle.name}: {found}"
    needed = Attachment.objects.filter(erased_at=None)
    for row in rows.exclude(erased_at=None).iterator(chunk_size=CHUNK):
        for digest in filter(None, (row.file, row.thumb)):
            still_needed = needed.filter(file=digest).exists() or needed.filter(thumb=digest).exists()
            if not still_needed and store.holds(digest, row.suffix):
                yield (
                    f"{row.get_kind_display().lower()} {row.pk} of {row.vehicle.name} was erased, but its file "
                    f"{digest[:2]}/{digest}.{row.suffix} is still on the disk: remove that file"
                )
