"""The archive as a car's owner gets it: the car's history whole, and of persons and money what is their own.

Nothing is erased on record: each row is changed on its way into the file, as the erasure of a person would change it.
Keepers other than the reader become "Erased person", under a key that is made of the car's and theirs, so that two
archives of one car agree and neither leads back to the person.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cached_property
from typing import Any
from uuid import UUID, uuid5

from django.utils import timezone

from vehicles import erasure
from vehicles.archive.columns import Column
from vehicles.archive.declare import Table
from vehicles.models import Keeper, Vehicle
from workshop import triggers
from workshop.canonical import plain
from workshop.erasing import INSTEAD

_KEEPER, _PERSON = "vehicles.keeper", "workshop.person"
# Of somebody erased, no more is kept than when: of these, not even that is told.
_ERASED_AT = datetime(2000, 1, 1, tzinfo=timezone.get_fixed_timezone(0))


@dataclass
class Reader:
    """The owner or registered keeper of today, and from which day on the car is theirs."""

    vehicle: Vehicle
    keeper: Keeper
    since: date
    _others: set[Any] = field(default_factory=set)

    @cached_property
    def begins(self) -> datetime:
        return timezone.make_aware(datetime.combine(self.since, time()))

    def learn(self, keepers: set[Any]) -> None:
        """Who else is named in the car's records. Call before any row is changed."""
        self._others = {key for key in keepers if key != self.keeper.pk}
        people = Keeper.objects.filter(pk__in=self._others).select_related("account").order_by("pk")
        others = list(people)
        needles = {needle for each in others for needle in erasure.needles(each)}
        # What the reader is called themselves may stand: two of one family share an address.
        own = {needle.casefold() for needle in erasure.needles(self.keeper)}
        needles = {
            needle
            for needle in needles
            if needle.casefold() not in own and needle != erasure.NAME_OF_THE_ERASED
        }
        self._accounts = {
            each.account_id for each in others if each.account_id and not each.account.is_staff_member
        }
        longest_first = sorted(needles, key=lambda each: (-len(each), each))
        self._pattern = (
            re.compile("|".join(map(re.escape, longest_first)), re.IGNORECASE) if needles else None
        )

    def key_of(self, label: str, key: Any) -> Any:
        """Under which key a keeper, or the account of one, stands in this file."""
        others = self._others if label == _KEEPER else self._accounts if label == _PERSON else ()
        return str(uuid5(self.vehicle.pk, f"{label}:{key}")) if _uuid(key) in others else key

    def changed(self, table: Table, columns: tuple[Column, ...], row: dict[str, Any]) -> dict[str, Any]:
        """One row as this reader gets it."""
        label = table.label.lower()
        whose = _uuid(row.get("id"))
        if label == _KEEPER and whose in self._others:
            row |= {"name": erasure.NAME_OF_THE_ERASED, "address": "", "phone": "", "email": ""}
            row["erased_at"] = row["erased_at"] or plain(_ERASED_AT)
        if label == _PERSON and whose in self._accounts:
            row |= {"name": erasure.NAME_OF_THE_ERASED, "initials": ""}
        theirs = (made := row.get("made_at")) is None or made >= plain(self.begins)
        self._said(table, row, theirs)
        if not theirs or self._past_before(row):
            for name, instead in table.owners.money.items():
                row[name] = instead if row[name] is not None else None
        for name, instead in table.owners.hidden.items():
            row[name] = instead if row[name] else row[name]
        for column in columns:
            if column.kind == "text" and not column.choices and row[column.name]:
                row[column.name] = self._without_names(table, column, row[column.name])
            elif column.target in (_KEEPER, _PERSON) and row[column.name]:
                row[column.name] = self.key_of(column.target, row[column.name])
        if label in (_KEEPER, _PERSON):
            row["id"] = self.key_of(label, row["id"])
        return row

    def _past_before(self, row: dict[str, Any]) -> bool:
        """Work of an earlier day that was written down in the reader's time is not of their time."""
        return (day := row.get("done_on")) is not None and day < self.since.isoformat()

    def _said(self, table: Table, row: dict[str, Any], theirs: bool) -> None:
        for names, columns in table.owners.said.items():
            by = row.get(names) if names else None
            if theirs and (by is None or _uuid(by) == self.keeper.pk):
                continue
            for name in columns:
                row[name] = INSTEAD if row[name] else row[name]

    def _without_names(self, table: Table, column: Column, text: str) -> str:
        if self._pattern is None or triggers.is_frozen(table.model._meta.db_table):
            return text
        if triggers.is_frozen(table.model._meta.db_table, column.name):
            return text
        return self._pattern.sub(INSTEAD, text)

    def event(self, made_at: datetime, body: str) -> str | None:
        """What an event says; of those before their time its place in the chain alone."""
        if made_at < self.begins or (self._pattern is not None and self._pattern.search(body)):
            return None
        return body


def _uuid(key: Any) -> UUID | None:
    if isinstance(key, UUID):
        return key
    try:
        return UUID(key) if key else None
    except (TypeError, ValueError):
        return None


Changer = Callable[[Table, tuple[Column, ...], dict[str, Any]], dict[str, Any]]
