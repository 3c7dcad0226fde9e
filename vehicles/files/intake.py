"""From an uploaded file to stored bytes: what comes in is looked at, re-encoded and stored before any act begins."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.core.files.base import File

from vehicles.files import documents, pictures, store
from vehicles.files.pictures import Refused
from vehicles.models.photo import JPEG, PDF

MOST_FILES = 24

DISK_FULL = (
    "The server could not write it to its disk. Nothing was lost on your side: tell whoever runs the server "
    "that its disk may be full, then send it again."
)


@dataclass(frozen=True)
class Stored:
    """What an act needs to know of a file that lies on the disk already."""

    file: str
    media_type: str
    size: int
    thumb: str = ""
    width: int | None = None
    height: int | None = None
    taken_at: datetime | None = None


def take_in(upload: File, *, head: File | None = None, pictures_only: bool = False) -> Stored:
    """Read, re-encode and store one upload. Raises `Refused` with a sentence for the person who sent it.

    `head` is the beginning of the original where the browser made the picture smaller: only the camera's time is read
    from it.
    """
    if not upload.size:
        raise Refused("The file is empty: nothing came out of the camera or the folder. Choose it again.")
    is_pdf = documents.looks_like_pdf(upload)
    most = documents.MOST_BYTES if is_pdf else pictures.MOST_BYTES
    if upload.size > most:
        raise Refused(
            f"The file has {_megabytes(upload.size)}; {most // 1024**2} MB are the limit for a "
            f"{'PDF' if is_pdf else 'picture'}. Send a smaller one."
        )
    if is_pdf and pictures_only:
        raise Refused("This is a PDF, not a photo. Add it as a document instead, or photograph the paper.")
    try:
        return _document(upload) if is_pdf else keep_picture(pictures.read_picture(upload), head)
    except OSError as error:
        raise Refused(DISK_FULL) from error


def keep_picture(picture: pictures.Picture, head: File | None = None) -> Stored:
    """Store a re-encoded picture with its thumbnail."""
    taken_at = picture.taken_at or (pictures.taken_at_of_head(head) if head else None)
    return Stored(
        file=store.put(picture.jpeg, "jpg"),
        thumb=store.put(picture.thumb, "jpg"),
        media_type=JPEG,
        size=len(picture.jpeg),
        width=picture.width,
        height=picture.height,
        taken_at=taken_at,
    )


def _document(upload: File) -> Stored:
    data = documents.read_document(upload)
    return Stored(file=store.put(data, "pdf"), media_type=PDF, size=len(data))


def _megabytes(size: int) -> str:
    return f"{size / 1024**2:.0f} MB" if size >= 10 * 1024**2 else f"{size / 1024**2:.1f} MB"
