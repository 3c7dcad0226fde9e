"""What every test may use: the fixed cast, a car, and a database that is as new after a test that commits."""

from __future__ import annotations

import copy
import gc

import pytest
from django.test import TransactionTestCase

from tests import as_new, once
from tests.factories.vehicle import the_car
from tests.people import CAST, make_person
from tests.quick_print import QuickPrint
from vehicles import words
from workshop import acting, sheets, urls  # noqa: F401  with the pages all doors are hung in, whichever test comes first

pytest_plugins = ["tests.outside"]

# Python looks for rings of forgotten objects after every 700 new ones, through all that is imported: a quarter of the
# tests' time.
gc.set_threshold(50_000, 20, 50)

_fixture_teardown = TransactionTestCase._fixture_teardown


def _teardown_as_new(self):
    as_new.bring_back(lambda: _fixture_teardown(self))


TransactionTestCase._fixture_teardown = _teardown_as_new


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock():
        as_new.keep()
    yield
    as_new.forget()


@pytest.fixture(autouse=True)
def _quick_print(request, monkeypatch):
    """The engine takes one to three seconds a sheet, and hundreds of tests hand a car over: those that read the PDF
    are marked `pdf` and print (once, on SQLite), the others fill in the template and leave it at that. What prints on
    every database, asks for `real_print`.
    """
    if not request.node.get_closest_marker("pdf") and "real_print" not in request.fixturenames:
        monkeypatch.setattr(sheets, "_set_on_pages", QuickPrint)


@pytest.fixture(scope="session", autouse=True)
def _words_wait():
    """At the end of each act its words are copied into the search: a third of a small act's time, in a hundred
    thousand acts. In tests they wait (the triggers note them all the same) but in files marked `words` and in the browser's.
    """
    acting._at_end.remove(words.index_due)


@pytest.fixture(scope="module", autouse=True)
def _words_at_once(request, _words_wait):
    if not request.node.get_closest_marker("words") and "browser" not in request.path.parts:
        yield
        return
    acting.at_end(words.index_due)
    yield
    acting._at_end.remove(words.index_due)


@pytest.fixture
def real_print():
    """Print with the real PDF engine, on every database."""


@pytest.fixture(scope="module")
def world(request, django_db_setup, django_db_blocker, _words_at_once):
    """What the file makes once (tests/once.py); nothing in most files."""
    builders, named = (
        once.builders_of(request.module),
        once.named_by_all(request.session.items, request.module),
    )
    yield from once.standing(builders, named, django_db_blocker) if builders or named else [{}]


@pytest.fixture
def copies(world, db):
    """All of it together for one test, each object as it was when it had been made."""
    return copy.deepcopy(world)


@pytest.hookimpl(tryfirst=True)  # before -m chooses by the mark
def pytest_collection_modifyitems(items):
    """Every test of such a file begins with its records, also one that names none: it must not hang on the order.
    And those of a room's pages are marked as such."""
    for item in items:
        of_a_room = item.path.parts[-2] in ("jobs", "vehicles")
        if "client" in item.fixturenames and of_a_room and not item.get_closest_marker("every_database"):
            item.add_marker(pytest.mark.page)
        if once.builders_of(item.module) or hasattr(item.module, "world"):
            if once.really_commits(item):
                raise pytest.UsageError(
                    f"{item.nodeid} needs real transactions: it stands in a file of its own"
                )
            if once.uses_database(item) and "world" not in item.fixturenames:
                item.fixturenames.insert(0, "world")


def pytest_collection_finish():
    """What was imported and collected lives to the end, so it is not looked through again."""
    gc.collect()
    gc.freeze()


def _member(key):
    @pytest.fixture(name=key)
    def fixture(copies):
        return copies[key] if key in copies else make_person(*CAST[key])

    return fixture


technician = _member("technician")
other_technician = _member("other_technician")
lead = _member("lead")
front_desk = _member("front_desk")
shop_owner = _member("shop_owner")
car_owner = _member("car_owner")
other_owner = _member("other_owner")


@pytest.fixture
def car(copies, lead):
    return copies["car"] if "car" in copies else the_car(lead)
