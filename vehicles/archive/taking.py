"""Takes an archive in that was checked: every record under the key that it had, with where it came from.

In one transaction, or not at all. The car must not be here yet; of what cars share (tools, procedures, data sheets,
people), what is here already stays as it is here. The guards of the tables hold for these records as for ours: so some
go in before others, and some are written in two steps.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import models
from django.utils import timezone

from vehicles.archive import declare
from vehicles.archive.columns import Column, columns_of
from vehicles.archive.declare import Table
from vehicles.archive.reading import NotAnArchive, Opened
from vehicles.folding import folded
from vehicles.models import ArchiveImport, ForeignEvent, Keeper, Registration, Vehicle

CHUNK = 200
# Each after what a guard of its table looks for; what no list names goes in first, as nothing looks for it.
_order: list[str] = []
# Records that are written one parent at a time: the parent as a draft, these, then what settles it.
_within: dict[str, tuple[tuple[str, str], ...]] = {}
# Tables whose records are merged by when they arrived: a guard of one looks at the other.
_merged: list[tuple[str, ...]] = []
_filled: dict[str, Callable[[models.Model, Taking], None]] = {}


def in_order(*labels: str) -> None:
    _order.extend(label for label in labels if label not in _order)


def within(parent: str, *children: tuple[str, str]) -> None:
    """`children`: (label, lookup in the row's own columns that leads to the parent's key)."""
    _within[parent] = children


def merged(*labels: str) -> None:
    if labels not in _merged:
        _merged.append(labels)


def fill(label: str, function: Callable[[models.Model, Taking], None]) -> None:
    """What a record of this table gets here that the archive does not say."""
    _filled[label] = function


@dataclass
class Taking:
    """One archive being taken in."""

    opened: Opened
    origin: str
    now: datetime = field(default_factory=timezone.now)
    # Keys here of records that are known by another key outside: (table, key there) to key here.
    keys: dict[tuple[str, str], Any] = field(default_factory=dict)
    count: int = 0

    def all(self) -> None:
        done: set[str] = set()
        children = {label for each in _within.values() for label, _ in each}
        tables = {table.label.lower(): table for table in declare.tables()}
        named = [label for label in tables if label not in _order]
        last = [label for label in named if _names_a_key_of_here(tables[label])]
        for label in [*(label for label in named if label not in last), *_order, *last]:
            if label in children or label in done:
                continue
            together = next((labels for labels in _merged if label in labels), None)
            if together is not None:
                self._merge([tables[each] for each in together])
                done.update(together)
            elif label in _within:
                self._one_by_one(tables[label], [(tables[each], way) for each, way in _within[label]])
            else:
                self._put(tables[label], _elders_first(tables[label], self._rows(tables[label])))
            done.add(label)
        self._settle_the_rest(tables)

    def _rows(self, table: Table) -> Iterator[dict[str, Any]]:
        return self.opened.rows(f"records/{table.label.lower()}.json")

    def _put(self, table: Table, rows: Iterable[dict[str, Any]], *, blank: bool = True) -> None:
        for part in _parts(rows):
            known = self._here_already(table, part) if table.shared else {}
            made = [
                (row, self._record(table, row, blank=blank)) for row in part if row[_key(table)] not in known
            ]
            table.model._base_manager.bulk_create([record for _, record in made])
            self.count += len(made)
            if table.key:
                label = table.label.lower()
                self.keys.update({(label, row["id"]): record.pk for row, record in made})
                self.keys.update({(label, key): pk for key, pk in known.items()})

    def _here_already(self, table: Table, part: list[dict[str, Any]]) -> dict[str, Any]:
        """Shared records that this installation has: they stay as they are here."""
        keys = [row[_key(table)] for row in part]
        if not table.key:
            rows = table.model._base_manager.filter(pk__in=keys).values_list("pk", flat=True)
            return {str(pk): pk for pk in rows}
        lookups, found = table.key, {}
        firsts = {key.partition("/")[0] for key in keys}
        rows = table.model._base_manager.filter(**{f"{lookups[0]}__in": list(firsts)})
        for pk, *values in rows.values_list("pk", *lookups):
            found["/".join(map(str, values))] = pk
        return {key: found[key] for key in keys if key in found}

    def _record(self, table: Table, row: dict[str, Any], *, blank: bool) -> models.Model:
        values = {}
        for column in columns_of(table):
            if table.key and column.name == "id":
                continue
            name, value = self._value(table, column, row[column.name])
            values[name] = value
        if blank:
            for name in table.settled:
                field = table.model._meta.get_field(name)
                values[field.attname] = None if field.null else field.get_default()
        record = table.model(**values)
        if table.named:
            self._tell_apart(table, record)
        if fill_in := _filled.get(table.label.lower()):
            fill_in(record, self)
        return record

    def _value(self, table: Table, column: Column, value: Any) -> tuple[str, Any]:
        field = table.model._meta.get_field(column.name)
        if column.kind == "file":
            return field.attname, None if value is None else self._print(value)
        if value is None or column.kind in ("json", "yes_no", "whole", "text"):
            return field.attname, value
        if column.target:
            target = declare.table_of(field.related_model)
            if target is not None and target.key:
                return field.attname, self.keys[target.label.lower(), value]
            return field.attname, field.related_model._meta.pk.to_python(value)
        return field.attname, field.to_python(value)

    def _print(self, digest: str) -> bytes:
        with self.opened.zip.open(f"prints/{digest}.pdf") as file:
            return file.read()

    def _tell_apart(self, table: Table, record: models.Model) -> None:
        """Two workshops called two things alike: the one from elsewhere says where it is from."""
        field = table.model._meta.get_field(table.named)
        name = getattr(record, table.named)
        if not table.model._base_manager.filter(**{f"{table.named}__iexact": name}).exists():
            return
        for number in itertools.count(1):
            suffix = f" ({self.origin}{'' if number == 1 else f' {number}'})"
            told = (
                name[: field.max_length - len(suffix[: field.max_length - 1])]
                + suffix[: field.max_length - 1]
            )
            if number > 50 or not table.model._base_manager.filter(**{table.named: told}).exists():
                setattr(record, table.named, told)
                return

    def _one_by_one(self, table: Table, children: list[tuple[Table, str]]) -> None:
        """Each parent as a draft, what belongs to it, then what settles it: there may be one draft at a time."""
        belonging: list[dict[str, list[dict[str, Any]]]] = []
        for child, way in children:
            by: dict[str, list[dict[str, Any]]] = {}
            for row in self._rows(child):
                by.setdefault(row[way].partition("/")[0], []).append(row)
            belonging.append(by)
        for row in self._rows(table):
            key = row[_key(table)]
            there = table.shared and self._here_already(table, [row])
            if not there:
                self._put(table, [row])
            for (child, _), by in zip(children, belonging, strict=True):
                self._put(child, _elders_first(child, by.get(key, [])))
            if not there:
                self._settle(table, row)

    def _merge(self, tables: list[Table]) -> None:
        """In the order in which they arrived; a guard looks at what was there then."""
        rows = [
            (row["received_at"], number, row.get("order") or 0, row["id"], table, row)
            for number, table in enumerate(tables)
            for row in self._rows(table)
        ]
        rows.sort(key=lambda each: each[:4])
        for table, together in itertools.groupby(rows, key=lambda each: each[4]):
            self._put(table, [each[5] for each in together])

    def _settle_the_rest(self, tables: dict[str, Table]) -> None:
        for label, table in tables.items():
            if table.settled and label not in _within:
                for row in self._rows(table):
                    self._settle(table, row)

    def _settle(self, table: Table, row: dict[str, Any]) -> None:
        columns = {column.name: column for column in columns_of(table)}
        changes = dict(self._value(table, columns[name], row[name]) for name in table.settled)
        if any(value not in (None, "", False) for value in changes.values()):
            table.model._base_manager.filter(pk=row[_key(table)]).update(**changes)

    def events(self, archive: ArchiveImport) -> int:
        """What the other log said, each event as it was hashed there."""
        count = 0
        for part in _parts(self.opened.rows("events.json")):
            rows = []
            for row in part:
                body = json.loads(row["body"]) if row["body"] else {"act": "", "subject": ["", ""]}
                rows.append(
                    ForeignEvent(
                        archive=archive,
                        seq=row["seq"],
                        act=body["act"],
                        subject_kind=body["subject"][0],
                        subject_id=body["subject"][1],
                        body=row["body"] or "",
                        previous_hash=row["previous_hash"],
                        hash=row["hash"],
                    )
                )
            ForeignEvent.objects.bulk_create(rows)
            count += len(rows)
        return count


def refuse_what_is_here(opened: Opened) -> None:
    """The car must not be here yet, under any of the ways in which it is known. Raises `NotAnArchive`."""
    car = opened.about["vehicle"]["id"]
    (row,) = opened.rows("records/vehicles.vehicle.json")
    here = Vehicle.objects.filter(pk=car) | Vehicle.objects.filter(identity_key=row["identity_key"] or "-")
    if (found := here.first()) is not None:
        raise NotAnArchive(
            f"This car is here already: {found}, {found.number or 'without a number'}. An archive is taken in where the car is "
            "not on record yet, so that nothing stands there twice."
        )
    for registration in opened.rows("records/vehicles.registration.json"):
        if registration["until_on"] is None:
            plate = (
                Registration.objects.filter(
                    plate_key=registration["plate_key"], country=registration["country"], until_on=None
                )
                .select_related("vehicle")
                .first()
            )
            if plate is not None:
                raise NotAnArchive(
                    f"The plate {plate.plate} is in force on {plate.vehicle} here. End it there first, then take this in."
                )
    for part in _parts(opened.rows("records/vehicles.keeper.json")):
        standing = [row["id"] for row in part if row["erased_at"] is None]
        if Keeper.objects.filter(pk__in=standing).exclude(erased_at=None).exists():
            raise NotAnArchive(
                "Somebody in this archive was erased here since it was written, and would come back with it. Ask the other "
                "workshop to erase them too and to write the archive anew."
            )


def _names_a_key_of_here(table: Table) -> bool:
    """It points at records that have another key here than there: those must have theirs first."""
    targets = (
        declare.table_of(field.related_model)
        for field in table.model._meta.concrete_fields
        if field.is_relation
    )
    return any(target is not None and target.key for target in targets)


def _elders_first(table: Table, rows: Iterable[dict[str, Any]]) -> Iterable[dict[str, Any]]:
    """Records that name one of their own kind come after it, where there are such: what is replaced before what
    replaces it.
    """
    own = table.label.lower()
    names = [column.name for column in columns_of(table) if column.target == own]
    if not names:
        return rows
    waiting = {row[_key(table)]: row for row in rows}
    ordered: list[dict[str, Any]] = []
    done: set[str] = set()
    while waiting:
        free = [
            key for key, row in waiting.items() if all(row[name] is None or row[name] in done or row[name] == key
                                                       or row[name] not in waiting for name in names)
        ]  # fmt: skip
        # Records that name each other in a circle are for the database to refuse.
        for key in free or list(waiting):
            ordered.append(waiting.pop(key))
            done.add(key)
    return ordered


def _key(table: Table) -> str:
    return columns_of(table)[0].name


def _parts(rows: Iterable[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    rows = iter(rows)
    while part := list(itertools.islice(rows, CHUNK)):
        yield part


# ----------------------------------------------------------------------------------- what records of this room get here


def _person(record: Any, taking: Taking) -> None:
    """A name on what they did elsewhere: nobody signs in with it."""
    record.sign_in_name = f"elsewhere-{record.pk}"
    record.is_active = False
    record.set_unusable_password()


def _device(record: Any, taking: Taking) -> None:
    record.revoked_at = taking.now
    record.revoked_because = f"A device of {taking.origin}, known from an archive."


def _keeper(record: Any, taking: Taking) -> None:
    if record.erased_at is None:
        record.search_text = Keeper.text_to_find(record.name, record.address, record.phone, record.email)


def _titled(record: Any, taking: Taking) -> None:
    record.search_text = folded(record.title)


def from_there(record: Any, taking: Taking) -> None:
    """A number of another workshop says whose it is."""
    record.origin = record.origin or taking.origin


def register() -> None:
    fill("workshop.person", _person)
    fill("workshop.device", _device)
    fill("vehicles.keeper", _keeper)
    fill("vehicles.fault", _titled)
    fill("vehicles.outstandingitem", _titled)
    fill("vehicles.issuedprint", from_there)
    within("vehicles.draintest", ("vehicles.drainstep", "test"))
