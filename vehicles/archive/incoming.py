"""A file that was looked at and waits to be taken in, for a day at most."""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from django.conf import settings

from vehicles.archive.columns import HASH

KEPT_SECONDS = 24 * 3600


class Gone(Exception):
    """The file does not wait any more, in a sentence."""


def _folder() -> Path:
    return Path(settings.WORKSHOP_DATA) / "incoming"


def keep(file: IO[bytes]) -> str:
    """Keep a copy under its SHA-256, which is answered; what has waited for longer than a day goes."""
    folder = _folder()
    folder.mkdir(mode=0o750, exist_ok=True)
    _throw_away_old(folder)
    file.seek(0)
    digest = hashlib.sha256()
    handle, name = tempfile.mkstemp(prefix=".new-", dir=folder)
    try:
        with os.fdopen(handle, "wb") as copy:
            while chunk := file.read(262_144):
                digest.update(chunk)
                copy.write(chunk)
        Path(name).replace(folder / f"{digest.hexdigest()}.zip")
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
    return digest.hexdigest()


@contextmanager
def opened(sha256: str) -> Iterator[IO[bytes]]:
    """The file of that hash, if it is still what it was."""
    path = _folder() / f"{sha256}.zip"
    if not HASH.match(sha256) or not path.is_file():
        raise Gone("This file does not wait here any more. Choose it again.")
    with path.open("rb") as file:
        if hashlib.file_digest(file, "sha256").hexdigest() != sha256:
            raise Gone("This file was altered while it waited. Choose it again.")
        file.seek(0)
        yield file


def throw_away(sha256: str) -> None:
    if HASH.match(sha256):
        (_folder() / f"{sha256}.zip").unlink(missing_ok=True)


def _throw_away_old(folder: Path) -> None:
    for path in folder.iterdir():
        with suppress(OSError):
            if path.stat().st_mtime < time.time() - KEPT_SECONDS:
                path.unlink()
