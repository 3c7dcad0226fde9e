"""Which records go along: the car's own, and the shared ones that they name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from django.db import models
from django.db.models import Q, QuerySet

from vehicles.archive import declare
from vehicles.archive.columns import columns_of
from vehicles.archive.declare import Mine, Table
from vehicles.archive.redacting import Reader
from vehicles.models import Vehicle

# SQLite takes so many values in one query.
CHUNK = 500


def own_rows(table: Table, vehicle: Vehicle, reader: Reader | None) -> QuerySet:
    """The car's own records of a table, those that the reader gets, in a fixed order."""
    found = Q(pk__in=[])
    for way in table.to_car:
        found |= Q(**{way: vehicle.pk})
    rows = table.model._base_manager.all()
    if hasattr(table.model, "objects"):
        rows = table.model.objects.all()
    rows = rows.filter(found)
    if reader is not None:
        if table.owners.rows == Mine.NONE:
            return rows.none()
        if table.owners.rows == Mine.IN_THEIR_TIME:
            rows = rows.filter(made_at__gte=reader.begins)
        if table.owners.only is not None:
            rows = table.owners.only(rows, reader)
    return in_order(table, rows)


def in_order(table: Table, rows: QuerySet) -> QuerySet:
    """As they were made; what was made in one moment by its key. No two databases order it otherwise."""
    names = {field.name for field in table.model._meta.concrete_fields}
    if table.key:
        return rows.order_by(*table.key)
    return rows.order_by("made_at", "pk") if "made_at" in names else rows.order_by("pk")


class Shared:
    """Keys of the shared records that are named, by their table: found while the car's own are read, then closed."""

    def __init__(self) -> None:
        self._keys: dict[str, set[Any]] = {
            table.label.lower(): set() for table in declare.tables() if table.shared
        }
        self._names = {table.label.lower(): _naming(table, self._keys) for table in declare.tables()}

    def add(self, label: str, keys: Iterable[Any]) -> None:
        self._keys[label].update(key for key in keys if key is not None)

    def named_by(self, table: Table, rows: QuerySet) -> None:
        """Take up what these records name."""
        names = self._names[table.label.lower()]
        if not names:
            return
        attributes = [attribute for attribute, _ in names]
        for values in rows.order_by().values_list(*attributes).distinct().iterator(chunk_size=2000):
            for value, (_, label) in zip(values, names, strict=True):
                if value is not None:
                    self._keys[label].add(value)

    def close(self) -> None:
        """Until nothing more is named: what comes with a record, and what that names in its turn."""
        done: dict[str, set[Any]] = {label: set() for label in self._keys}
        while True:
            moved = False
            for table in (each for each in declare.tables() if each.shared):
                label = table.label.lower()
                if table.comes_with:
                    self._come_with(table)
                new = self._keys[label] - done[label]
                if new:
                    moved = True
                    done[label] |= new
                    for part in _chunks(new):
                        self.named_by(table, table.model._base_manager.filter(pk__in=part))
            if not moved:
                return

    def _come_with(self, table: Table) -> None:
        parent = table.model._meta.get_field(table.comes_with).related_model._meta.label_lower
        for part in _chunks(self._keys[parent]):
            rows = table.model._base_manager.filter(**{f"{table.comes_with}__in": part})
            self._keys[table.label.lower()].update(rows.order_by().values_list("pk", flat=True))

    def keys(self, label: str) -> set[Any]:
        return self._keys[label]

    def rows(self, table: Table) -> Iterator[QuerySet]:
        """Parts of these records whose order together is fixed."""
        for part in _chunks(self._keys[table.label.lower()]):
            yield table.model._base_manager.filter(pk__in=part).order_by("pk")


def _naming(table: Table, shared: dict[str, set[Any]]) -> list[tuple[str, str]]:
    """Columns of a table that name shared records, with what they name. An own key that names one does too."""
    kept = {column.name for column in columns_of(table)}
    return [
        (field.attname, field.related_model._meta.label_lower)
        for field in table.model._meta.concrete_fields
        if isinstance(field, models.ForeignKey)
        and field.related_model._meta.label_lower in shared
        and (field.name in kept or field.name == table.comes_with)
    ]


def _chunks(keys: set[Any]) -> Iterator[list[Any]]:
    ordered = sorted(keys, key=str)
    for start in range(0, len(ordered), CHUNK):
        yield ordered[start : start + CHUNK]
