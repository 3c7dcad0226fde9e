"""Writes the archive of a car: row by row into a file, so that a long history needs no more memory than a short one.

The same state of the records gives the same bytes: nothing in it says when it was written, and the events of taking it
along stay out of it. It is gathered in one snapshot of the database without holding up anybody who writes, and no
transaction is open while it is packed and noted (see `acts.archive`).
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import IO, Any

from django.db import connection, transaction
from django.db.models import Q, QuerySet

from vehicles.archive import FORMAT, VERSION, declare, schema, words
from vehicles.archive.columns import Column, columns_of
from vehicles.archive.declare import Table
from vehicles.archive.picking import Shared, own_rows
from vehicles.archive.redacting import Reader
from vehicles.files import store
from vehicles.models import Attachment, Vehicle
from vehicles.spreadsheet.giving import plain_cell
from workshop.models import Event, Shop

# Acts of this very thing: an archive does not tell of archives, or two in a row would differ.
OWN_ACTS = "vehicles.archive."
_EARLIEST = (1980, 1, 1, 0, 0, 0)  # the first moment that a ZIP can name
_SPOOLED = 2_000_000
# The old form of ZIP ends there, and every program reads that one.
MOST_BYTES = 4_000_000_000


class TooLarge(Exception):
    """More than one file of this form holds."""


@dataclass
class Packed:
    """A ZIP being written: each entry's hash is taken on its way."""

    zip: zipfile.ZipFile
    hashes: dict[str, str] = field(default_factory=dict)
    size: int = 0

    @contextmanager
    def entry(self, name: str, *, packed: bool = True) -> Iterator[IO[bytes]]:
        info = zipfile.ZipInfo(name, _EARLIEST)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.create_system, info.external_attr = 3, 0o644 << 16
        with self.zip.open(info, "w") as file:
            hashed = _Hashed(file)
            yield hashed
        self.size += hashed.size
        if self.size > MOST_BYTES:
            raise TooLarge
        self.hashes[name] = hashed.digest.hexdigest()

    def put(self, name: str, data: bytes, *, packed: bool = True) -> None:
        with self.entry(name, packed=packed) as file:
            file.write(data)


class _Hashed:
    def __init__(self, file: IO[bytes]):
        self.file, self.digest, self.size = file, hashlib.sha256(), 0

    def write(self, data: bytes) -> int:
        self.digest.update(data)
        self.size += len(data)
        return self.file.write(data)


@dataclass(frozen=True)
class Made:
    """The file, at its beginning, with its SHA-256."""

    file: IO[bytes]
    sha256: str
    size: int
    counts: dict[str, int]

    @property
    def records(self) -> int:
        return sum(count for name, count in self.counts.items() if name != "events")


def make(vehicle: Vehicle, reader: Reader | None = None) -> Made:
    """The archive of a car in a file that is gone when it is closed. With a reader, as that owner gets it.

    Raises `TooLarge`, and `OSError` where the disk is full.
    """
    file = tempfile.TemporaryFile(prefix="archive-")  # noqa: SIM115  closed by whoever sends it
    try:
        with zipfile.ZipFile(file, "w", allowZip64=False) as opened:
            counts = _fill(Packed(opened), vehicle, reader)
    except zipfile.LargeZipFile as error:
        file.close()
        raise TooLarge from error
    except BaseException:
        file.close()
        raise
    size = file.tell()
    file.seek(0)
    digest = hashlib.file_digest(file, "sha256").hexdigest()
    file.seek(0)
    return Made(file, digest, size, counts)


@contextmanager
def snapshot() -> Iterator[None]:
    """Everything read within is of one moment; nobody who writes waits for it."""
    if connection.in_atomic_block:
        yield  # whoever opened that transaction reads one moment already, or wants to read their own
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        # The app's own transactions begin by locking for writing. This one only reads, beside whoever writes.
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("ROLLBACK")


def _fill(packed: Packed, vehicle: Vehicle, reader: Reader | None) -> dict[str, int]:
    with snapshot():
        shared = Shared()
        own = {table.label: own_rows(table, vehicle, reader) for table in declare.tables() if table.to_car}
        for table in declare.tables():
            if table.to_car and not table.comes_with:
                shared.named_by(table, own[table.label])
            elif table.to_car:
                shared.add(table.label.lower(), own[table.label].values_list("pk", flat=True))
        if reader is not None:
            reader.learn(_everybody(vehicle))
        shared.close()
        counts = {}
        for table in declare.tables():
            parts = shared.rows(table) if table.shared else [own[table.label]]
            counts[table.label.lower()] = _table(packed, table, parts, reader)
        counts["events"], head = _events(packed, vehicle, shared, reader)
        missing = _files(packed, own["vehicles.Attachment"])
        shop = Shop.current()
    about = {
        "format": FORMAT,
        "version": VERSION,
        "schema": hashlib.sha256(schema.text().encode()).hexdigest(),
        "flavour": "owner" if reader else "workshop",
        "shop": {"name": shop.name, "currency": shop.currency, "distance_unit": shop.distance_unit},
        "vehicle": {"id": str(vehicle.pk), "number": vehicle.number, "name": str(vehicle)},
        "since": reader.since.isoformat() if reader else None,
        "records": counts,
        "last_event": head,
        "files_missing": missing,
    }
    packed.put("car.json", (json.dumps(about, indent=1, ensure_ascii=False) + "\n").encode())
    packed.put("schema.json", schema.text().encode())
    packed.put("README.txt", words.readme(vehicle, shop, reader, counts, missing).encode())
    lines = [f"{digest}  {name}\n" for name, digest in sorted(packed.hashes.items())]
    packed.put("checksums.txt", "".join(lines).encode())
    return counts


def _everybody(vehicle: Vehicle) -> set[Any]:
    """Every keeper whom any record of the car names, also one that this reader does not get."""
    found = Shared()
    for table in declare.tables():
        if table.to_car and not table.comes_with:
            found.named_by(table, own_rows(table, vehicle, None))
    return found.keys("vehicles.keeper")


def _table(
    packed: Packed, table: Table, parts: Iterator[QuerySet] | list[QuerySet], reader: Reader | None
) -> int:
    """One table, as JSON with a row to a line and as CSV beside it; and the bytes that its rows hold, as files."""
    columns, name, count = columns_of(table), table.label.lower(), 0
    prints: list[str] = []
    with tempfile.SpooledTemporaryFile(_SPOOLED, "w+b") as cells:
        text = io.TextIOWrapper(cells, "utf-8", newline="", write_through=True)
        sheet = csv.writer(text)
        sheet.writerow([column.name for column in columns])
        with packed.entry(f"records/{name}.json") as file:
            file.write(b"[")
            for row in _rows(table, columns, parts, reader, prints):
                line = json.dumps(row, ensure_ascii=False, separators=(",", ":"))
                file.write((b",\n" if count else b"\n") + line.encode())
                sheet.writerow([_cell(row[column.name]) for column in columns])
                count += 1
            file.write(b"\n]\n")
        text.flush()
        cells.seek(0)
        with packed.entry(f"tables/{name}.csv") as file:
            while chunk := cells.read(65_536):
                file.write(chunk)
        text.detach()
    _prints(packed, table, columns, prints)
    return count


def _rows(
    table: Table,
    columns: tuple[Column, ...],
    parts: Iterator[QuerySet] | list[QuerySet],
    reader: Reader | None,
    prints: list[str],
) -> Iterator[dict[str, Any]]:
    lookups = [lookup for column in columns for lookup in column.lookups]
    for rows in parts:
        few = 20 if any(column.kind == "file" for column in columns) else 500
        for values in rows.values_list(*lookups).iterator(chunk_size=few):
            row, at = {}, 0
            for column in columns:
                own = values[at : at + len(column.lookups)]
                at += len(column.lookups)
                if column.kind == "file" and own[0] is not None:
                    data = bytes(own[0])
                    own = (hashlib.sha256(data).hexdigest(),)
                    prints.append(own[0])
                row[column.name] = column.written(own)
            yield reader.changed(table, columns, row) if reader is not None else row


def _prints(packed: Packed, table: Table, columns: tuple[Column, ...], hashes: list[str]) -> None:
    """The PDFs that these rows hold, each once, under the name of its hash. One at a time: they can be large."""
    for column in columns:
        if column.kind != "file" or not hashes:
            continue
        wanted = set(hashes)
        rows = table.model._base_manager.exclude(**{column.name: None})
        keys = _keys_of(table, column)
        for digest in sorted(wanted):
            name = f"prints/{digest}.pdf"
            if name in packed.hashes:
                continue
            data = rows.filter(**{keys: digest}).values_list(column.name, flat=True).first()
            packed.put(name, bytes(data), packed=False)


def _keys_of(table: Table, column: Column) -> str:
    """Where the hash of the bytes stands: with the record that they belong to."""
    return f"{table.model._meta.pk.name}__{column.name}_hash"


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (dict, list)):
        value = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return plain_cell(str(value))


def _events(
    packed: Packed, vehicle: Vehicle, shared: Shared, reader: Reader | None
) -> tuple[int, dict[str, Any] | None]:
    """What the log says of the car, each event as it was hashed; and where the last one stands."""
    about = Q(vehicle_ref=str(vehicle.pk))
    keys = [
        (table.label.lower(), sorted(map(str, shared.keys(table.label.lower()))))
        for table in declare.tables()
        if table.events
    ]
    for label, of_these in keys:
        about |= Q(subject_kind=label, subject_id__in=of_these)
    rows = Event.objects.filter(about).exclude(act__startswith=OWN_ACTS).order_by("seq")
    count, head = 0, None
    with packed.entry("events.json") as file:
        file.write(b"[")
        for event in rows.only("seq", "previous_hash", "hash", "body", "made_at").iterator(chunk_size=500):
            body = event.body if reader is None else reader.event(event.made_at, event.body)
            line = {"seq": event.seq, "previous_hash": event.previous_hash, "hash": event.hash, "body": body}
            text = json.dumps(line, ensure_ascii=False, separators=(",", ":"))
            file.write((b",\n" if count else b"\n") + text.encode())
            head = {"seq": event.seq, "hash": event.hash}
            count += 1
        file.write(b"\n]\n")
    return count, head


def _files(packed: Packed, rows: QuerySet[Attachment]) -> list[str]:
    """Photos and documents, each once; answers what is not on the disk any more or was altered there."""
    missing = []
    for row in rows.filter(erased_at=None).only("file", "thumb", "media_type").iterator(chunk_size=500):
        for digest, folder in ((row.file, _folder(row)), (row.thumb, "photos/small")):
            name = f"{folder}/{digest}.{row.suffix}"
            if not digest or name in packed.hashes or name in missing:
                continue
            if store.problem(digest, row.suffix):
                missing.append(name)
                continue
            with (
                store.path_of(digest, row.suffix).open("rb") as source,
                packed.entry(name, packed=False) as file,
            ):
                while chunk := source.read(262_144):
                    file.write(chunk)
    return sorted(missing)


def _folder(row: Attachment) -> str:
    return "photos" if row.suffix == "jpg" else "documents"
