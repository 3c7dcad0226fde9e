"""What of each model is taken along with a car. Every model of the app is declared: a test walks all of them.

A model is left out with a reason; or it is the car's, found by the way from its records to the car; or it is shared by
several cars (a tool, a procedure, a keeper), and those records of it come along that the car's records name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from django.apps import apps
from django.db import models

WHERE = (
    "Say so in vehicles/archive/own.py (jobs/archive.py for a model of the jobs): with its way to the car, or as "
    "shared, or left out with the reason."
)


class Mine(StrEnum):
    """Which records of a table go along when a car's owner takes the archive, not the next workshop."""

    ALL = "all"
    NONE = "none"
    IN_THEIR_TIME = "in their time"  # made since the car is theirs


@dataclass(frozen=True, eq=False)
class Owners:
    """What a car's owner gets of a table.

    `said`: columns with what a keeper said or was told, by the column that names the keeper ("": whoever had the car
    then). They are theirs where it was made since the car is theirs and the keeper is they themselves or nobody.
    `money`: columns with amounts, and what stands there instead where it was before their time.
    `hidden`: columns that are the shop's own business, and what stands there instead.
    """

    rows: Mine = Mine.ALL
    said: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    money: Mapping[str, str | None] = field(default_factory=dict)
    hidden: Mapping[str, str] = field(default_factory=dict)
    only: Callable[[models.QuerySet, object], models.QuerySet] | None = None  # (rows, reader)


@dataclass(frozen=True, eq=False)
class Table:
    """One model whose records are taken along.

    `to_car`: lookups that lead from a record to its car; several where a record may hang on one thing or another.
    `comes_with`: the column naming a shared record with which this one comes along.
    `key`: lookups of what a record is known by outside its database, where that is not its own key.
    `only_fields`: nothing but these columns (else all). `without`: columns left out, with the reason.
    `events`: what the log says of these records comes along, though it names no car.
    """

    label: str
    to_car: tuple[str, ...] = ()
    comes_with: str = ""
    key: tuple[str, ...] = ()
    only_fields: tuple[str, ...] = ()
    without: Mapping[str, str] = field(default_factory=dict)
    owners: Owners = field(default_factory=Owners)
    events: bool = False
    # When it is taken in: columns that are filled in only once other records stand (`take_in` says which), and the
    # column with a name that two workshops may have given, to be told apart by where it comes from.
    settled: tuple[str, ...] = ()
    named: str = ""

    @property
    def shared(self) -> bool:
        return not self.to_car or bool(self.comes_with)

    @property
    def model(self) -> type[models.Model]:
        return apps.get_model(self.label)


_tables: dict[str, Table] = {}
_left_out: dict[str, str] = {}


def take(*tables: Table) -> None:
    """Declare models whose records are taken along."""
    for table in tables:
        _tables[table.label.lower()] = table


def leave_out(reason: str, *labels: str) -> None:
    """Declare models of which nothing is taken along."""
    _left_out.update({label.lower(): reason for label in labels})


def tables() -> list[Table]:
    """All of them, in the order of their names: also the order in which they stand in the file."""
    return [_tables[label] for label in sorted(_tables)]


def table_of(model: type[models.Model]) -> Table | None:
    return _tables.get(model._meta.label_lower)


def undeclared(every: Iterable[type[models.Model]] | None = None) -> list[str]:
    """A sentence for each model that says nothing of itself, and for each that says two things."""
    found = []
    for model in every if every is not None else apps.get_models(include_auto_created=True):
        label = model._meta.label_lower
        if label not in _tables and label not in _left_out:
            found.append(f"{model._meta.label} is not declared for the archive of a car. {WHERE}")
        elif label in _tables and label in _left_out:
            found.append(f"{model._meta.label} is declared twice: as taken along and as left out. {WHERE}")
    return found


def pointing_out() -> list[str]:
    """A sentence for each column of a table taken along that names a record which is left out."""
    from vehicles.archive.columns import columns_of

    return [
        f"{table.label}.{column.name} names a record of {column.target}, which is left out: take it along, or leave "
        f"that column out. {WHERE}"
        for table in tables()
        for column in columns_of(table)
        if column.target and column.target not in _tables
    ]
