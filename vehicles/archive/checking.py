"""Reads all of an opened archive: each value, each key, each hash. Nothing is written anywhere."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from PIL import Image

from vehicles.archive import declare
from vehicles.archive.columns import HASH, columns_of
from vehicles.archive.declare import Table
from vehicles.archive.reading import NotAnArchive, Opened
from workshop import log
from workshop.canonical import sha256

_Key = tuple[str, str]
_Place = tuple[str, str]
# Where the hash of a text or of a file stands: with the record itself, or with the one whose key it shares.
_hashed: dict[_Place, _Place] = {}


def add_hashed(text: str, hashed: str) -> None:
    """Both as "room.model.column". Upper rooms add theirs at start."""
    (label, _, column), (of_label, _, of_column) = text.rpartition("."), hashed.rpartition(".")
    _hashed[label.lower(), column] = of_label.lower(), of_column


@dataclass
class Checked:
    """An archive that holds what it says. `counts` by table."""

    about: dict[str, Any]
    counts: dict[str, int] = field(default_factory=dict)
    photos: int = 0
    papers: int = 0
    events: int = 0
    withheld: int = 0

    @property
    def records(self) -> int:
        return sum(self.counts.values())

    @property
    def of_owner(self) -> bool:
        return self.about["flavour"] == "owner"


def check(opened: Opened) -> Checked:
    """Raises `NotAnArchive` at the first thing that is wrong, with where it stands."""
    checked = Checked(opened.about)
    keys: dict[str, set[str]] = {}
    named: dict[_Key, dict[str, str]] = {}
    files: set[str] = set()
    borne: dict[_Place, dict[str, str | None]] = {}
    for table in declare.tables():
        _table(opened, table, checked, keys, named, files, borne)
    for (table, column), targets in named.items():
        target, missing = next(
            ((label, key) for key, label in targets.items() if key not in keys[label]), (None, None)
        )
        if target is not None:
            raise NotAnArchive(
                f"“{table}” names in “{column}” a record of {target} that is not in the file ({missing})."
            )
    _compare_hashes(borne)
    _the_car(opened, keys)
    _events(opened, checked)
    _files(opened, checked, files)
    return checked


def _table(
    opened: Opened,
    table: Table,
    checked: Checked,
    keys: dict[str, set[str]],
    named: dict[_Key, dict[str, str]],
    files: set[str],
    borne: dict[_Place, dict[str, str | None]],
) -> None:
    label, columns = table.label.lower(), columns_of(table)
    name, names = f"records/{label}.json", {column.name for column in columns_of(table)}
    own = keys.setdefault(label, set())
    for beside in (name, f"tables/{label}.csv"):
        if not opened.has(beside):
            raise NotAnArchive(f"“{beside}” is not in the file.")
    for number, row in enumerate(opened.rows(name), 1):
        where = f"“{name}”, record {number}"
        if set(row) != names:
            odd = sorted(set(row) ^ names)[0]
            raise NotAnArchive(f"{where}: “{odd[:60]}” is missing, or no column of it.")
        for column in columns:
            if problem := column.wrong(row[column.name]):
                raise NotAnArchive(f"{where}: “{column.name}” {problem}.")
            if column.target and row[column.name] is not None:
                named.setdefault((label, column.name), {})[row[column.name]] = column.target
            if column.kind == "file" and row[column.name] is not None:
                files.add(f"prints/{row[column.name]}.pdf")
        key = row[columns[0].name]
        if key in own:
            raise NotAnArchive(f"{where}: there is a record with this key already ({key}).")
        own.add(key)
        _take_hashes(label, key, row, borne)
        if label == "vehicles.attachment" and row["erased_at"] is None:
            wanted = list(_files_of(row))
            files.update(wanted)
            if opened.has(wanted[0]) and opened.zip.getinfo(wanted[0]).file_size != row["size"]:
                raise NotAnArchive(f"{where}: “size” is not the size of its file.")
    if len(own) != checked.about["records"][label]:
        raise NotAnArchive(
            f"“{name}” holds {len(own)} records; its “car.json” says {checked.about['records'][label]}."
        )
    checked.counts[label] = len(own)


def _take_hashes(
    label: str, key: str, row: dict[str, Any], borne: dict[_Place, dict[str, str | None]]
) -> None:
    """The hash that each such text gives, and each that a record bears of one."""
    for (table, column), (of_table, of_column) in _hashed.items():
        if table == label:
            value = row[column]
            is_file = column == "pdf"
            borne.setdefault((table, column), {})[key] = (
                value if is_file else sha256(value) if value else None
            )
        if of_table == label:
            borne.setdefault((of_table, of_column), {})[key] = row[of_column]


def _compare_hashes(borne: dict[_Place, dict[str, str | None]]) -> None:
    for (table, column), of in _hashed.items():
        hashes = borne.get(of, {})
        for key, found in borne.get((table, column), {}).items():
            # What was erased gives no hash any more.
            if found is not None and found != hashes.get(key):
                raise NotAnArchive(
                    f"“{table}”: “{column}” of {key} was altered: it no longer gives its hash."
                )


def _files_of(row: dict[str, Any]) -> Iterator[str]:
    if not HASH.match(row["file"]) or (row["thumb"] and not HASH.match(row["thumb"])):
        raise NotAnArchive("A photo or document in it has no name of a stored file.")
    picture = row["media_type"] == "image/jpeg"
    yield f"photos/{row['file']}.jpg" if picture else f"documents/{row['file']}.pdf"
    if row["thumb"]:
        yield f"photos/small/{row['thumb']}.jpg"


def _the_car(opened: Opened, keys: dict[str, set[str]]) -> None:
    """One car, the one that the file says, and no record of another one."""
    car = opened.about["vehicle"]["id"]
    if keys["vehicles.vehicle"] != {car}:
        raise NotAnArchive("The file holds no car, several cars, or another one than it says.")


def _events(opened: Opened, checked: Checked) -> None:
    """Each event gives its hash from its text and the hash before it; they are in their order."""
    if not opened.has("events.json"):
        raise NotAnArchive("“events.json” is not in the file.")
    before, last = 0, None
    for number, row in enumerate(opened.rows("events.json"), 1):
        where = f"“events.json”, event {number}"
        if set(row) != {"seq", "previous_hash", "hash", "body"} or type(row["seq"]) is not int:
            raise NotAnArchive(f"{where}: it is not written as an event is.")
        if row["seq"] <= before:
            raise NotAnArchive(f"{where}: it does not come after the one before it.")
        if not all(
            isinstance(row[name], str) and HASH.match(row[name]) for name in ("previous_hash", "hash")
        ):
            raise NotAnArchive(f"{where}: its hash is none.")
        _body(row, where, checked)
        before, last = row["seq"], {"seq": row["seq"], "hash": row["hash"]}
        checked.events += 1
    if last != checked.about["last_event"] or checked.events != checked.about["records"]["events"]:
        raise NotAnArchive("The events do not end where its “car.json” says: some were taken out or added.")


def _body(row: dict[str, Any], where: str, checked: Checked) -> None:
    body = row["body"]
    if body is None:
        if not checked.of_owner:
            raise NotAnArchive(f"{where}: it does not say what was done.")
        checked.withheld += 1
    elif not isinstance(body, str) or log.link(row["previous_hash"], body) != row["hash"]:
        raise NotAnArchive(f"{where}: it was altered: its text does not give its hash.")
    elif json.loads(body).get("seq") != row["seq"]:
        raise NotAnArchive(f"{where}: its text is that of another event.")


def _files(opened: Opened, checked: Checked, wanted: set[str]) -> None:
    """Every photo, document and print that a record names, and none that no record names; each is what it is called."""
    there = {name for name in opened.hashes if name.startswith(("photos/", "documents/", "prints/"))}
    missing = set(opened.about["files_missing"])
    if less := sorted(wanted - there - missing):
        raise NotAnArchive(f"“{less[0]}” is named by a record and is not in the file.")
    if more := sorted(there - wanted):
        raise NotAnArchive(f"“{more[0]}” is named by no record.")
    for name in sorted(there):
        digest = name.rpartition("/")[2].partition(".")[0]
        if opened.hashes[name] != digest:
            raise NotAnArchive(f"“{name}” is not what it is called: its bytes give another hash.")
        _is_what_it_ends_with(opened, name)
        checked.papers += name.endswith(".pdf")
        checked.photos += name.startswith("photos/") and not name.startswith("photos/small/")


def _is_what_it_ends_with(opened: Opened, name: str) -> None:
    with opened.zip.open(name) as file:
        head = file.read(1_000_000) if name.endswith(".jpg") else file.read(5)
    if name.endswith(".pdf"):
        if head != b"%PDF-":
            raise NotAnArchive(f"“{name}” is no PDF.")
        return
    try:
        with Image.open(io.BytesIO(head), formats=["JPEG"]) as picture:
            size = picture.size
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        size = (0, 0)
    if not 0 < size[0] * size[1] <= 200_000_000:
        raise NotAnArchive(f"“{name}” is no JPEG picture.")


def digest_of(file: Any) -> str:
    """SHA-256 of a whole file, read from its beginning and left there."""
    file.seek(0)
    digest = hashlib.file_digest(file, "sha256").hexdigest()
    file.seek(0)
    return digest
