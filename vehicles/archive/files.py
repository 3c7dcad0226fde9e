"""Photos and documents of an archive, on their way to the disk: there before any record names them."""

from __future__ import annotations

from vehicles.archive.reading import Opened
from vehicles.files import store
from vehicles.models import Attachment

Put = list[tuple[str, str]]


def put_all(opened: Opened) -> Put:
    """Store every photo and document; answers those that were not here yet. One at a time in memory."""
    new: Put = []
    try:
        for name in opened.hashes:
            if not name.startswith(("photos/", "documents/")):
                continue
            suffix = name.rpartition(".")[2]
            digest = name.rpartition("/")[2].partition(".")[0]
            was_there = store.holds(digest, suffix)
            with opened.zip.open(name) as file:
                store.put(file.read(), suffix)
            if not was_there:
                new.append((digest, suffix))
    except BaseException:
        take_away(new)
        raise
    return new


def take_away(files: Put) -> None:
    """Take off again what nothing came of, unless a record needs it meanwhile."""
    for digest, suffix in files:
        needed = Attachment.objects.filter(erased_at=None)
        if not (needed.filter(file=digest) | needed.filter(thumb=digest)).exists():
            store.remove(digest, suffix)
