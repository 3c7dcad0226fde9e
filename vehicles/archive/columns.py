"""The columns of a table of the archive: what each holds, how it is written, and how it is read again."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Any
from uuid import UUID

from django.db import models
from django.utils.dateparse import parse_date, parse_datetime

from vehicles.archive import declare
from vehicles.archive.declare import Table
from workshop.canonical import plain

HASH = re.compile(r"[0-9a-f]{64}\Z")
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}\Z")
_DECIMAL = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,12})?\Z")
_KEY = re.compile(r"[^\x00-\x1f]{1,200}\Z")
# No text of the records is longer; what is printed and frozen, drawings in it, may be.
LONGEST_TEXT = 8_000_000


@dataclass(frozen=True)
class Column:
    """One column. `lookups`: what is read of the database for it; several are joined with "/" into one key.

    `kind`: key, text, whole, decimal, yes_no, moment, day, json or file (the SHA-256 of bytes in a file of their own).
    """

    name: str
    kind: str
    lookups: tuple[str, ...]
    null: bool = False
    target: str = ""
    longest: int = 0
    choices: tuple[str, ...] = ()
    lowest: int = 0
    highest: int = 0
    digits: int = 0
    places: int = 0
    title: str = ""

    def written(self, values: tuple[Any, ...]) -> Any:
        """What stands in the file for what stands in the database."""
        if self.kind == "key":
            return None if values[0] is None else "/".join(str(value) for value in values)
        value = values[0]
        if value is None or self.kind == "json":
            return value
        if self.kind == "file":
            return value  # whoever writes the file puts its hash here
        if isinstance(value, str) and self.kind == "text":
            return value
        return plain(value)

    def wrong(self, value: Any) -> str:
        """What is wrong with a value that a file holds, in words; empty where it is as it must be."""
        if value is None:
            return "" if self.null else "is empty, and may not be"
        return getattr(self, f"_wrong_{self.kind}")(value)

    def _wrong_key(self, value: Any) -> str:
        if not isinstance(value, str) or not _KEY.match(value):
            return "is no key of a record"
        return "" if self.target or self.longest or _UUID.match(value) else "is no UUID"

    def _wrong_text(self, value: Any) -> str:
        if not isinstance(value, str):
            return "is no text"
        if "\x00" in value:
            return "holds a character that no text holds"
        if len(value) > (self.longest or LONGEST_TEXT):
            return f"is longer than {self.longest or LONGEST_TEXT} characters"
        return (
            "is none of the words that may stand there" if self.choices and value not in self.choices else ""
        )

    def _wrong_whole(self, value: Any) -> str:
        if isinstance(value, bool) or not isinstance(value, int):
            return "is no whole number"
        return "" if self.lowest <= value <= self.highest else f"is not from {self.lowest} to {self.highest}"

    def _wrong_decimal(self, value: Any) -> str:
        if not isinstance(value, str) or not _DECIMAL.match(value):
            return "is no number written as text"
        try:
            number = Decimal(value)
        except InvalidOperation:
            return "is no number written as text"
        whole, _, fraction = value.lstrip("-").partition(".")
        if len(fraction) > self.places or (number and len(whole.lstrip("0")) > self.digits - self.places):
            return f"has more than {self.digits} digits, {self.places} of them after the point"
        return ""

    def _wrong_yes_no(self, value: Any) -> str:
        return "" if isinstance(value, bool) else "is neither true nor false"

    def _wrong_moment(self, value: Any) -> str:
        return (
            "" if _moment(value) is not None else "is no moment in UTC, such as 2026-05-04T08:30:00.000000Z"
        )

    def _wrong_day(self, value: Any) -> str:
        return "" if _day(value) is not None else "is no day, such as 2026-05-04"

    def _wrong_json(self, value: Any) -> str:
        return "" if isinstance(value, (dict, list)) and _depth(value) <= 6 else "is no list and no object"

    def _wrong_file(self, value: Any) -> str:
        return "" if isinstance(value, str) and HASH.match(value) else "is no SHA-256"


def _moment(value: Any) -> datetime | None:
    try:
        found = parse_datetime(value) if isinstance(value, str) and value.endswith("Z") else None
    except ValueError:
        return None
    return found if found is not None and found.tzinfo is not None else None


def _day(value: Any) -> date | None:
    try:
        return parse_date(value) if isinstance(value, str) and len(value) == 10 else None
    except ValueError:
        return None


def _depth(value: Any) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max(map(_depth, inner), default=0) if isinstance(value, (dict, list)) else 0


@cache
def columns_of(table: Table) -> tuple[Column, ...]:
    """In the order of the model; its own key first."""
    fields = [
        field
        for field in table.model._meta.concrete_fields
        if field.name not in table.without and (not table.only_fields or field.name in table.only_fields)
    ]
    found = [_own_key(table)]
    found += [_column(field) for field in fields if not field.primary_key]
    return tuple(found)


def _own_key(table: Table) -> Column:
    key = table.model._meta.pk
    if table.key:
        return Column("id", "key", table.key, longest=200, title="what it is known by")
    if key.is_relation:
        return Column(
            key.name,
            "key",
            (key.attname,),
            target=key.related_model._meta.label_lower,
            title=str(key.verbose_name),
        )
    if isinstance(key, models.UUIDField):
        return Column("id", "key", (key.attname,), title="key")
    return Column(key.name, "key", (key.attname,), longest=200, title=str(key.verbose_name))


def _column(field: models.Field) -> Column:
    title = str(field.verbose_name)
    if field.is_relation:
        target = declare.table_of(field.related_model)
        lookups = (field.attname,)
        if target is not None and target.key:
            lookups = tuple(f"{field.name}__{each}" for each in target.key)
        label = field.related_model._meta.label_lower
        return Column(field.name, "key", lookups, null=field.null, target=label, title=title)
    here = {"name": field.name, "lookups": (field.attname,), "null": field.null, "title": title}
    match field:
        case models.BinaryField():
            return Column(kind="file", **here)
        case models.UUIDField():
            return Column(kind="key", **here)
        case models.BooleanField():
            return Column(kind="yes_no", **here)
        case models.DecimalField():
            return Column(kind="decimal", digits=field.max_digits, places=field.decimal_places, **here)
        case models.DateTimeField():
            return Column(kind="moment", **here)
        case models.DateField():
            return Column(kind="day", **here)
        case models.JSONField():
            return Column(kind="json", **here)
        case models.IntegerField():
            return Column(kind="whole", lowest=_lowest(field), highest=_highest(field), **here)
        case models.CharField() | models.TextField():
            words = tuple(str(value) for value, _ in field.flatchoices)
            if words and field.blank and "" not in words:
                words = ("", *words)
            return Column(kind="text", longest=field.max_length or 0, choices=words, **here)
    raise TypeError(
        f"{field.model._meta.label}.{field.name}: an archive has no form for a {type(field).__name__}"
    )


def _lowest(field: models.Field) -> int:
    return 0 if "Positive" in type(field).__name__ else -_highest(field)


def _highest(field: models.Field) -> int:
    name = type(field).__name__
    return 32_767 if "Small" in name else 2**63 - 1 if "Big" in name else 2**31 - 1


def as_uuid(text: str) -> UUID:
    return UUID(text)
