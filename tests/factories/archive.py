"""A car with a little of everything, and its archive as bytes, as files, and put together anew after tampering."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from typing import Any

from django.apps import apps
from django.db import connection

from tests.people import make_person
from vehicles.acts import archive as acts
from vehicles.archive import making
from vehicles.archive.checking import check
from vehicles.archive.reading import open_archive
from vehicles.models import Vehicle
from workshop import triggers
from workshop.acting import By
from workshop.models import LogHead, Person, Shop
from workshop.permissions import Role


def archive_of(car, reader=None) -> bytes:
    made = making.make(car, reader)
    with made.file as file:
        return file.read()


def files_of(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def rows_of(files: dict[str, bytes], label: str) -> list[dict[str, Any]]:
    return json.loads(files[f"records/{label}.json"])


def packed(files: dict[str, bytes], *, sums: bool = True, write: Callable | None = None) -> bytes:
    """A ZIP of these files; with checksums that fit, as a clever forger would have them."""
    files = dict(files)
    if sums:
        lines = [
            f"{hashlib.sha256(data).hexdigest()}  {name}\n"
            for name, data in sorted(files.items())
            if name != "checksums.txt"
        ]
        files["checksums.txt"] = "".join(lines).encode()
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, data in files.items():
            opened.writestr(name, data)
        if write is not None:
            write(opened)
    return file.getvalue()


def with_rows(files: dict[str, bytes], label: str, rows: list[dict[str, Any]]) -> dict[str, bytes]:
    """The same files with other records of one table, written as ours are, and the count that fits."""
    about = json.loads(files["car.json"])
    about["records"][label] = len(rows)
    lines = ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows)
    text = f"[\n{lines}\n]\n"
    return {**files, f"records/{label}.json": text.encode(), "car.json": json.dumps(about).encode()}


def another_installation(name: str = "Weir Lane Garage") -> Person:
    """As if the database were that of another workshop: nothing of ours is there, and its lead signs in."""
    kept = {"vehicles.place", "contenttypes.contenttype", "auth.permission"}
    with triggers.lifted(), connection.cursor() as cursor:
        for model in apps.get_models(include_auto_created=True):
            if model._meta.label_lower not in kept and model._meta.managed:
                cursor.execute(f'DELETE FROM "{model._meta.db_table}"')
        LogHead.objects.create(pk=1)
        Shop.objects.create(pk=1, name=name)
    return make_person("Wanda Tarn", Role.LEAD)


def taken_in(data: bytes, person: Person) -> Vehicle:
    """The car of an archive, checked and taken in."""
    file = io.BytesIO(data)
    opened = open_archive(file)
    return acts.take_in(
        by=By(person), opened=opened, checked=check(opened), sha256=hashlib.sha256(data).hexdigest()
    )
