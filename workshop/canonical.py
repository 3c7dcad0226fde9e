"""One text for one content: what is hashed is exactly what is stored, whatever the database would reorder."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal
from enum import Enum
from typing import Any
from uuid import UUID

from django.core.files.base import File
from django.db.models import Model, QuerySet


def plain(value: Any) -> Any:
    """`value` in JSON's own types: decimals and dates as text, UTC with microseconds, models by label and key."""
    match value:
        case None | bool() | int():
            return value
        case Enum():
            return plain(value.value)
        case str():
            return value
        case Decimal():
            return format(value, "f")
        case float():
            return repr(value)
        case datetime():
            return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        case date() | time():
            return value.isoformat()
        case UUID():
            return str(value)
        case Model():
            return f"{value._meta.label_lower}:{value.pk}"
        case File():
            value.seek(0)
            digest = hashlib.sha256(value.read()).hexdigest()
            value.seek(0)
            return f"file:{digest}"
        case dict():
            return {str(key): plain(item) for key, item in value.items()}
        case set() | frozenset():
            return sorted((plain(item) for item in value), key=repr)
        case list() | tuple() | QuerySet():
            return [plain(item) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    raise TypeError(f"{type(value).__name__} has no canonical form")


def canonical(value: Any) -> str:
    return json.dumps(plain(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def sha256(text: str | bytes) -> str:
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()
