"""The published schema of the archive (JSON Schema, draft 2020-12), made from the declaration.

It lies beside this file as `schema.json`, and in each archive. `manage.py archive_schema` writes it anew; a test
compares.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from vehicles.archive import FORMAT, VERSION, declare
from vehicles.archive.columns import LONGEST_TEXT, Column, columns_of
from vehicles.archive.declare import Table

PUBLISHED = Path(__file__).with_name("schema.json")
_HASH = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
_UUID = {"type": "string", "format": "uuid"}
_COUNT = {"type": "integer", "minimum": 0}


@cache
def text() -> str:
    """As it is published. Made once: the models don't change while the app runs."""
    return json.dumps(make(), indent=1, ensure_ascii=False) + "\n"


def make() -> dict[str, Any]:
    tables = declare.tables()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:{FORMAT}:{VERSION}",
        "title": "Archive of one vehicle",
        "description": "car.json is an instance of this schema; events.json of $defs/events; records/NAME.json of $defs/NAME.",
        **_car([table.label.lower() for table in tables]),
        "$defs": {"events": _events(), **{table.label.lower(): _rows(table) for table in tables}},
    }


def _object(properties: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
        **more,
    }


def _car(labels: list[str]) -> dict[str, Any]:
    words = {"type": "string"}
    return _object(
        {
            "format": {"const": FORMAT},
            "version": {"const": VERSION},
            "schema": _HASH | {"description": "SHA-256 of schema.json"},
            "flavour": {"enum": ["workshop", "owner"]},
            "shop": _object({"name": words, "currency": words, "distance_unit": {"enum": ["km", "mi"]}}),
            "vehicle": _object({"id": _UUID, "number": words, "name": words}),
            "since": {"type": ["string", "null"], "format": "date"},
            "records": _object({**dict.fromkeys(labels, _COUNT), "events": _COUNT}),
            "last_event": {"anyOf": [_object({"seq": _COUNT, "hash": _HASH}), {"type": "null"}]},
            "files_missing": {"type": "array", "items": words},
        }
    )


def _events() -> dict[str, Any]:
    body = {
        "type": ["string", "null"],
        "description": "hash is the SHA-256 of previous_hash, a line feed and body, in UTF-8; null where it is withheld",
    }
    return {
        "type": "array",
        "items": _object({"seq": _COUNT, "previous_hash": _HASH, "hash": _HASH, "body": body}),
    }


def _rows(table: Table) -> dict[str, Any]:
    properties = {column.name: _value(column) for column in columns_of(table)}
    return {
        "type": "array",
        "title": str(table.model._meta.verbose_name_plural),
        "items": _object(properties),
    }


def _value(column: Column) -> dict[str, Any]:
    found = _kind(column)
    if column.null:
        found = {"anyOf": [found, {"type": "null"}]}
    found["title"] = column.title
    if column.target:
        found["description"] = f"key of a record of {column.target}"
    return found


def _kind(column: Column) -> dict[str, Any]:
    match column.kind:
        case "key" if column.target or column.longest:
            return {"type": "string", "minLength": 1, "maxLength": 200}
        case "key":
            return dict(_UUID)
        case "text" if column.choices:
            return {"enum": list(column.choices)}
        case "text":
            return {"type": "string", "maxLength": column.longest or LONGEST_TEXT}
        case "whole":
            return {"type": "integer", "minimum": column.lowest, "maximum": column.highest}
        case "decimal":
            return {"type": "string", "pattern": f"^-?[0-9]+(\\.[0-9]{{1,{max(column.places, 1)}}})?$"}
        case "yes_no":
            return {"type": "boolean"}
        case "moment":
            return {"type": "string", "format": "date-time"}
        case "day":
            return {"type": "string", "format": "date"}
        case "json":
            return {"type": ["array", "object"]}
    return dict(_HASH) | {"description": "SHA-256 of a file in prints/"}
