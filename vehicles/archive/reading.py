"""Opens an archive that somebody sent, and trusts nothing in it.

What is wrong is one `NotAnArchive` with a sentence. Nothing is unpacked onto the disk; every limit is held on the bytes
that really come out, whatever the file says of itself.
"""

from __future__ import annotations

import hashlib
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any

from vehicles.archive import FORMAT, VERSION, declare, schema

MOST_FILES = 60_000
MOST_DIRECTORY = 16_000_000  # bytes of the list of contents, which is read at once
MOST_SENT = 4_000_000_000
MOST_ROWS = 1_000_000
LONGEST_LINE = 16_000_000
# A table of records packs to a twentieth or so; nothing of ours comes near a hundredth.
MOST_PACKED = 100
_PACKED_FROM = 200_000  # below this a packing that seems too good is no danger
_CHUNK = 262_144

_END = struct.Struct("<4s4H2LH")
_HASH = "[0-9a-f]{64}"
# What may stand in an archive, and how large one such file may be.
_ALONE = {
    "car.json": 1_000_000,
    "schema.json": 4_000_000,
    "README.txt": 1_000_000,
    "checksums.txt": 12_000_000,
}
_NAMED = (
    (re.compile(rf"photos/(small/)?{_HASH}\.jpg\Z"), 60_000_000),
    (re.compile(rf"(documents|prints)/{_HASH}\.pdf\Z"), 200_000_000),
    (re.compile(r"(records|tables)/[a-z]+\.[a-z_]+\.(json|csv)\Z"), 2_000_000_000),
    (re.compile(r"events\.json\Z"), 2_000_000_000),
)
_LINE = re.compile(rf"({_HASH})  (\S+)\Z")


DAMAGED = "This file is damaged: it can't be unpacked to its end. Get it again."
_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    OSError,
    RuntimeError,
    ValueError,
)


class NotAnArchive(Exception):
    """Why a file is not taken, in a sentence for whoever sent it."""


@dataclass(frozen=True)
class Opened:
    """An archive whose list of contents is in order. `about` is its car.json."""

    zip: zipfile.ZipFile
    about: dict[str, Any]
    hashes: dict[str, str]

    def rows(self, name: str) -> Iterator[dict[str, Any]]:
        """The records of one file, one after the other: see `rows_of`."""
        try:
            with self.zip.open(name) as file:
                yield from rows_of(file, name)
        except _DAMAGED as error:
            raise NotAnArchive(DAMAGED) from error

    def has(self, name: str) -> bool:
        return name in self.hashes


def open_archive(file: IO[bytes]) -> Opened:
    """Open one, check its list of contents and its checksums, and read what it says of itself.

    Reads every byte once. Raises `NotAnArchive`.
    """
    _look_at_the_end(file)
    try:
        opened = zipfile.ZipFile(file)
        infos = _contents(opened)
        hashes = _hashes(opened)
        _compare_names(infos, hashes)
        for name, digest in hashes.items():
            if _hash_of(opened, infos[name]) != digest:
                raise NotAnArchive(
                    f"“{name}” was altered: it no longer gives the checksum that the file has for it."
                )
        about = _about(opened)
    except _DAMAGED as error:
        raise NotAnArchive(DAMAGED) from error
    return Opened(opened, about, hashes)


def _look_at_the_end(file: IO[bytes]) -> None:
    """The list of contents before it is read: a ZIP may say that it has millions of entries."""
    size = file.seek(0, 2)
    if size > MOST_SENT:
        raise NotAnArchive(f"This file is too large: an archive has at most {MOST_SENT // 10**9} GB.")
    if size < _END.size:
        raise NotAnArchive("This is no archive of a car: it is no ZIP file.")
    file.seek(size - _END.size)
    mark, disk, disk_of_list, here, entries, length, start, comment = _END.unpack(file.read(_END.size))
    file.seek(0)
    if file.read(4) != b"PK\x03\x04" or mark != b"PK\x05\x06" or comment:
        file.seek(0)
        raise NotAnArchive("This is no archive of a car: it is no ZIP file, or it was cut off.")
    file.seek(0)
    if disk or disk_of_list or here != entries or entries > MOST_FILES or length > MOST_DIRECTORY:
        raise NotAnArchive(f"This file holds too much: an archive has at most {MOST_FILES} files in it.")
    if start + length != size - _END.size:
        raise NotAnArchive("This file is damaged: its list of contents is not where it says.")


def _contents(opened: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """Every entry by name, each one that may be there, with no two in one place."""
    found: dict[str, zipfile.ZipInfo] = {}
    folded: set[str] = set()
    total = 0
    for info in opened.infolist():
        name = info.orig_filename
        most = _most_of(name)
        if most is None:
            raise NotAnArchive(
                f"“{_shown(name)}” has no place in an archive of a car. Nothing was taken from this file."
            )
        if name.casefold() in folded:
            raise NotAnArchive(f"“{name}” is in this file twice.")
        if info.flag_bits & 0x1:
            raise NotAnArchive("This file is locked with a password. Get it without one.")
        kind = info.external_attr >> 28
        if info.is_dir() or kind not in (0, 8):
            raise NotAnArchive(f"“{name}” is a link or a folder, not a file.")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise NotAnArchive(f"“{name}” is packed in a way that an archive of a car is not.")
        if info.file_size > most:
            raise NotAnArchive(f"“{name}” is too large: at most {most // 10**6} MB of it are read.")
        if info.file_size > _PACKED_FROM and info.file_size > info.compress_size * MOST_PACKED:
            raise NotAnArchive(
                f"“{name}” would unpack to far more than such a file is. Nothing was unpacked."
            )
        total += info.file_size
        folded.add(name.casefold())
        found[name] = info
    if total > MOST_SENT:
        raise NotAnArchive(
            f"This file would unpack to more than {MOST_SENT // 10**9} GB. Nothing was unpacked."
        )
    for name in _ALONE:
        if name not in found:
            raise NotAnArchive(f"This is no archive of a car: it has no “{name}”.")
    _refuse_overlaps(opened, list(found.values()))
    return found


def _most_of(name: str) -> int | None:
    if name in _ALONE:
        return _ALONE[name]
    return next((most for pattern, most in _NAMED if pattern.match(name)), None)


def _shown(name: str) -> str:
    """A name from outside, fit for a sentence."""
    return "".join(each if each.isprintable() else "?" for each in name[:80])


def _refuse_overlaps(opened: zipfile.ZipFile, infos: list[zipfile.ZipInfo]) -> None:
    """Two entries that share their bytes unpack to more than is there."""
    ends = 0
    for info in sorted(infos, key=lambda each: each.header_offset):
        if info.header_offset < ends:
            raise NotAnArchive("Two files in it lie over each other. Nothing was unpacked.")
        ends = info.header_offset + 30 + len(info.orig_filename.encode()) + info.compress_size
    if ends > opened.start_dir:
        raise NotAnArchive("Two files in it lie over each other. Nothing was unpacked.")


def _read(opened: zipfile.ZipFile, name: str) -> bytes:
    """One small file, whole."""
    most = _ALONE[name]
    with opened.open(name) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise NotAnArchive(f"“{name}” is too large.")
    return data


def _hash_of(opened: zipfile.ZipFile, info: zipfile.ZipInfo) -> str:
    digest, size = hashlib.sha256(), 0
    with opened.open(info) as file:
        while chunk := file.read(_CHUNK):
            size += len(chunk)
            if size > info.file_size:
                raise NotAnArchive(
                    f"“{info.filename}” is larger than the file says. Nothing more was unpacked."
                )
            digest.update(chunk)
    if size != info.file_size:
        raise NotAnArchive(f"“{info.filename}” is cut off.")
    return digest.hexdigest()


def _hashes(opened: zipfile.ZipFile) -> dict[str, str]:
    try:
        lines = _read(opened, "checksums.txt").decode("utf-8").splitlines()
    except UnicodeDecodeError:
        raise NotAnArchive("Its “checksums.txt” is no text.") from None
    found = {}
    for number, line in enumerate(lines, 1):
        match = _LINE.match(line)
        if match is None or match[2] in found:
            raise NotAnArchive(
                f"Line {number} of its “checksums.txt” is no checksum with a name, or names one twice."
            )
        found[match[2]] = match[1]
    return found


def _compare_names(infos: dict[str, zipfile.ZipInfo], hashes: dict[str, str]) -> None:
    there = set(infos) - {"checksums.txt"}
    if more := sorted(there - set(hashes)):
        raise NotAnArchive(f"“{more[0]}” was put in later: it has no checksum.")
    if less := sorted(set(hashes) - there):
        raise NotAnArchive(f"“{_shown(less[0])}” was taken out: its checksum is there, the file is not.")


def _about(opened: zipfile.ZipFile) -> dict[str, Any]:
    about = loads(_read(opened, "car.json"), "car.json")
    if not isinstance(about, dict) or about.get("format") != FORMAT:
        raise NotAnArchive("This file is of another kind: its “car.json” is not that of an archive of a car.")
    if about.get("version") != VERSION:
        raise NotAnArchive(
            f"This archive is of version {_shown(str(about.get('version')))}, and this installation reads version {VERSION}. "
            "Bring the older of the two installations up to date."
        )
    ours = hashlib.sha256(schema.text().encode()).hexdigest()
    if about.get("schema") != ours or hashlib.sha256(_read(opened, "schema.json")).hexdigest() != ours:
        raise NotAnArchive(
            "This archive was written by another release of the program, whose records have other columns. Bring the "
            "older of the two installations up to date, and have the archive written again."
        )
    _whole_about(about)
    return about


def _whole_about(about: dict[str, Any]) -> None:
    labels = {table.label.lower() for table in declare.tables()} | {"events"}
    counts, vehicle, shop = about.get("records"), about.get("vehicle"), about.get("shop")
    head, missing = about.get("last_event"), about.get("files_missing")
    fine = (
        isinstance(counts, dict)
        and set(counts) == labels
        and all(type(each) is int and 0 <= each <= MOST_ROWS for each in counts.values())
        and isinstance(vehicle, dict)
        and all(isinstance(vehicle.get(name), str) for name in ("id", "number", "name"))
        and isinstance(shop, dict)
        and isinstance(shop.get("name"), str)
        and isinstance(shop.get("currency"), str)
        and about.get("flavour") in ("workshop", "owner")
        and (head is None or (isinstance(head, dict) and {"seq", "hash"} == set(head)))
        and isinstance(missing, list)
        and all(isinstance(each, str) and _most_of(each) for each in missing)
    )
    if not fine:
        raise NotAnArchive("Its “car.json” does not say what the “car.json” of an archive says.")


def loads(data: bytes, name: str) -> Any:
    """JSON without what our own never holds: names given twice, NaN, endless nesting."""
    try:
        return json.loads(data.decode("utf-8"), object_pairs_hook=_once, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise NotAnArchive(f"“{name}” holds text that is no JSON as an archive has it.") from error


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name is given twice")
    return found


def _no_number(text: str) -> None:
    raise ValueError(f"{text} is no number")


def rows_of(file: IO[bytes], name: str) -> Iterator[dict[str, Any]]:
    """Objects of a JSON array that has each on a line of its own: one line in memory at a time."""
    if file.readline(16) != b"[\n":
        raise NotAnArchive(f"“{name}” is not written with one record to a line.")
    count, more = 0, True
    while (line := file.readline(LONGEST_LINE)) != b"]\n":
        if not line.endswith(b"\n"):
            raise NotAnArchive(f"“{name}”, record {count + 1}: it is cut off, or longer than a record is.")
        if line == b"\n" and count == 0:
            continue
        text = line[:-1]
        if not more:
            raise NotAnArchive(f"“{name}” goes on after its last record.")
        more = text.endswith(b",")
        row = loads(text[:-1] if more else text, name)
        count += 1
        if not isinstance(row, dict):
            raise NotAnArchive(f"“{name}”, record {count}: it is no record.")
        if count > MOST_ROWS:
            raise NotAnArchive(f"“{name}” holds more than {MOST_ROWS} records.")
        yield row
    if (count and more) or file.read(1):
        raise NotAnArchive(f"“{name}” does not end where its records do.")
