"""Bytes on the disk, under the name of their own SHA-256, in the folder of the default storage.

A file is written beside its place, flushed to the disk, then renamed: after a power cut it is there whole or not at
all. The row that names it is written afterwards, so what a power cut can leave is a file without a row, never a row
without its file.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import tempfile
from pathlib import Path

from django.core.files.storage import default_storage

_NAME = re.compile(r"[0-9a-f]{64}\Z")


def path_of(digest: str, suffix: str) -> Path:
    """Where the file of that hash lies. Refuses what is no SHA-256, so no name can lead out of the folder."""
    if not _NAME.match(digest) or suffix not in ("jpg", "pdf"):
        raise ValueError(f"{digest!r}.{suffix} is no name of a stored file")
    return Path(default_storage.path(f"{digest[:2]}/{digest}.{suffix}"))


def put(data: bytes, suffix: str) -> str:
    """Store bytes and answer their SHA-256. What lies there already is left alone. Raises `OSError` on a full disk."""
    digest = hashlib.sha256(data).hexdigest()
    path = path_of(digest, suffix)
    if _hash_of(path) == digest:
        return digest
    _make_folder(path.parent)
    handle, name = tempfile.mkstemp(prefix=".new-", dir=path.parent)
    draft = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.chmod(0o640)
        # Same name, same bytes: replacing can only mend what was damaged on the disk.
        draft.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            draft.unlink()
        raise
    _flush_folder(path.parent)
    return digest


def holds(digest: str, suffix: str) -> bool:
    return path_of(digest, suffix).is_file()


def problem(digest: str, suffix: str, size: int | None = None) -> str:
    """What is wrong with a stored file, in words: missing, altered, unreadable; empty where it is as it was stored."""
    path = path_of(digest, suffix)
    try:
        if not path.is_file():
            return f"its file {path.parent.name}/{path.name} is missing"
        if (size is not None and path.stat().st_size != size) or _hash_of(path) != digest:
            return f"its file {path.parent.name}/{path.name} was altered: it no longer gives its hash"
    except OSError as error:
        return f"its file {path.parent.name}/{path.name} can't be read ({error.strerror})"
    return ""


def remove(digest: str, suffix: str) -> None:
    """Take the bytes off the disk. The caller has seen that no record needs them."""
    path = path_of(digest, suffix)
    path.unlink(missing_ok=True)
    if path.parent.is_dir():
        _flush_folder(path.parent)


def _hash_of(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        return ""


def _make_folder(folder: Path) -> None:
    """The folder and those above it, each made known to the disk in the one that holds it."""
    missing = []
    while not folder.is_dir():
        missing.append(folder)
        folder = folder.parent
    for each in reversed(missing):
        each.mkdir(mode=0o750, exist_ok=True)
        _flush_folder(each.parent)


def _flush_folder(folder: Path) -> None:
    """A rename is only safe once its folder is on the disk too."""
    handle = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
