"""Who locks what: a row is never locked so that others can't point at it, and the car comes first."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

import vehicles
from tests.factories.part import PartFactory
from tests.people import by
from vehicles.acts import fault, outstanding, part
from vehicles.models import Place

ROOM = Path(vehicles.__file__).parent


def test_no_lock_stands_in_the_way_of_a_foreign_key():
    """A full lock waits for everybody who inserts a row that names the locked one, and they for us: deadlock."""
    locks = [
        (path.name, node.lineno, {keyword.arg: ast.unparse(keyword.value) for keyword in node.keywords})
        for path in ROOM.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "select_for_update"
    ]
    assert len(locks) > 20
    assert [(name, line) for name, line, given in locks if given.get("no_key") != "True"] == []


@pytest.mark.parametrize("name", ["report_fault", "raise_item", "open_part", "record_part", "end_part"])
def test_what_may_stop_a_handover_locks_the_car_before_it_writes(lead, car, name):
    fitted = PartFactory(person=lead, vehicle=car, place="roof")
    bar = {
        "vehicle": car,
        "place": Place.objects.get(pk="tow-bar"),
        "provenance": "unknown",
        "description": "Bar",
    }
    act, arguments = {
        "report_fault": (fault.report_fault, {"vehicle": car, "kind": "finding", "title": "x", "severity": "dangerous"}),
        "raise_item": (outstanding.raise_item, {"vehicle": car, "title": "x", "severity": "minor", "reason": "parts"}),
        "open_part": (part.open_part, bar),
        "record_part": (part.record_part, bar),
        "end_part": (part.end_part, {"part": fitted}),
    }[name]  # fmt: skip
    with CaptureQueriesContext(connection) as caught:
        act(by=by(lead), **arguments)
    asked = [query["sql"] for query in caught]
    locked = [sql.startswith('SELECT "vehicles_vehicle"."id"') for sql in asked]
    written = [
        sql.startswith(("INSERT", "UPDATE")) and any(
            f'"vehicles_{table}"' in sql[:60] for table in ("fault", "outstandingitem", "fittedpart")
        )
        for sql in asked
    ]  # fmt: skip
    assert True in locked, "the car's row was not locked"
    assert locked.index(True) < written.index(True)
    if connection.features.has_select_for_no_key_update:
        assert asked[locked.index(True)].endswith("FOR NO KEY UPDATE")
