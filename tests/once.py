"""Records that take a while to make and that several tests of a file begin with: made once for the file.

    @once                             # in place of @pytest.fixture, for what may stand before every test of the file
    def job(car, keeper, lead): ...   # takes the cast, the car, and what else is made once there

Each test gets deep copies of them, made together: what was one object to two of them is one in the test too, as if
they had just been made. Or, where tests are to read the record anew:

    world = made_once(build)          # build() answers {name: record}
    lead, car, sheet = each_of("lead", "car", "sheet")     # fixtures: each test reads its own copy of the record

Every test runs in a savepoint of its own within that, so what one writes the next does not see, and all is rolled back
after the file. Tests that need real transactions stand in another file (tests/conftest.py refuses them).
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import pytest
from django.db import connection, transaction

from tests.factories.vehicle import the_car
from tests.factories.work import owner_of
from tests.people import CAST, make_person
from tests.quick_print import QuickPrint
from workshop import sheets

_builders: dict[int, Callable] = {}  # by the fixture that hands the record out


def cast() -> dict[str, Any]:
    """The fixed cast, under the names that their fixtures have."""
    return {key: make_person(*who) for key, who in CAST.items()}


def cast_with_car() -> dict[str, Any]:
    """The cast, and their car with its owner: what a visit begins with."""
    people = cast()
    car = the_car(people["lead"])
    return {**people, "car": car, "keeper": owner_of(car, people["lead"])}


def once(build: Callable) -> Callable:
    """The fixture of a record that is made once for its file."""
    name = build.__name__

    @pytest.fixture(name=name)
    def fixture(copies):
        return copies[name]

    _builders[id(fixture)] = build
    return fixture


def builders_of(module: ModuleType) -> dict[str, Callable]:
    """What a file marks `once`, or takes over from another file, in its order."""
    return {name: _builders[id(each)] for name, each in vars(module).items() if id(each) in _builders}


def named_by_all(items: list[pytest.Item], module: ModuleType) -> list[str]:
    """Who of the cast, and the car, every test of this file on the database begins with: made once, too."""
    tests = [item.fixturenames for item in items if item.module is module and uses_database(item)]
    if not tests or any(really_commits(item) for item in items if item.module is module):
        return []
    return [name for name in (*CAST, "car") if name not in vars(module) and all(name in own for own in tests)]


def uses_database(item: pytest.Item) -> bool:
    return "db" in item.fixturenames or really_commits(item) or bool(item.get_closest_marker("django_db"))


def really_commits(item: pytest.Item) -> bool:
    marker = item.get_closest_marker("django_db")
    asked = {"transactional_db", "live_server"} & set(item.fixturenames)
    return bool(asked or (marker and marker.kwargs.get("transaction")))


def standing(builders: dict[str, Callable], also: list[str], django_db_blocker) -> Iterator[dict[str, Any]]:
    """These records, and what they are made of."""

    def build() -> dict[str, Any]:
        made: dict[str, Any] = {}

        def make(name: str) -> Any:
            if name not in made:
                made[name] = make_anew(name)
            return made[name]

        def make_anew(name: str) -> Any:
            if name in builders:
                return builders[name](*map(make, inspect.signature(builders[name]).parameters))
            if name in CAST:
                return make_person(*CAST[name])
            if name == "car":
                return the_car(make("lead"))
            raise LookupError(f"{name} is neither of the cast nor made once in this file")

        for name in (*also, *builders):
            make(name)
        return made

    yield from _standing(build, django_db_blocker)


def _standing(build, django_db_blocker, *, printed: bool = False) -> Iterator[dict[str, Any]]:
    block = transaction.atomic()
    block._from_testcase = True  # as in a test, acts that must be outermost may run in it
    unblocked = django_db_blocker.unblock
    with unblocked():
        block.__enter__()
    try:
        with unblocked(), pytest.MonkeyPatch.context() as patch:
            if not printed:
                patch.setattr(sheets, "_set_on_pages", QuickPrint)
            made = build()
            # Now, or PostgreSQL would check what was made here after every single test.
            connection.check_constraints()
        yield made
    finally:
        with unblocked():
            transaction.set_rollback(True)
            block.__exit__(None, None, None)
            connection.close()


def made_once(build: Callable[[], dict[str, Any]], *, printed: bool = False) -> Callable:
    """The fixture of a file's records. `printed`: with the real PDF engine."""

    @pytest.fixture(scope="module", name="world")
    def world(django_db_setup, django_db_blocker):
        yield from _standing(build, django_db_blocker, printed=printed)

    return world


def each_of(*names: str) -> list[Callable]:
    return [_copy_of(name) for name in names]


def _copy_of(name: str) -> Callable:
    @pytest.fixture(name=name)
    def fixture(world, db):
        made = world[name]
        return type(made)._default_manager.get(pk=made.pk)

    return fixture
