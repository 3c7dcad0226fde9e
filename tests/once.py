"""Records that take a while to make and that several tests of a file begin with: made once for the file.

    world = made_once(build)          # build() answers {name: record}; all of it is rolled back after the file
    lead, car, sheet = each_of("lead", "car", "sheet")     # fixtures: each test reads its own copy of the record

Every test runs in a savepoint of its own within that, so what one writes the next does not see. Tests that need real
transactions stand in another file.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction

from tests.factories.vehicle import the_car
from tests.factories.work import owner_of
from tests.people import CAST, make_person
from tests.quick_print import QuickPrint
from workshop import sheets


def cast() -> dict[str, Any]:
    """The fixed cast, under the names that their fixtures have."""
    return {key: make_person(*who) for key, who in CAST.items()}


def cast_with_car() -> dict[str, Any]:
    """The cast, and their car with its owner: what a visit begins with."""
    people = cast()
    car = the_car(people["lead"])
    return {**people, "car": car, "keeper": owner_of(car, people["lead"])}


def made_once(build: Callable[[], dict[str, Any]], *, printed: bool = False) -> Callable:
    """The fixture of a file's records. `printed`: with the real PDF engine."""

    @pytest.fixture(scope="module", name="world")
    def world(django_db_setup, django_db_blocker):
        with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patch:
            if not printed:
                patch.setattr(sheets, "_set_on_pages", QuickPrint)
            made = build()
            patch.undo()
            yield made
            transaction.set_rollback(True)
        connection.close()

    return world


def each_of(*names: str) -> list[Callable]:
    return [_copy_of(name) for name in names]


def _copy_of(name: str) -> Callable:
    @pytest.fixture(name=name)
    def fixture(world, db):
        made = world[name]
        return type(made)._default_manager.get(pk=made.pk)

    return fixture
