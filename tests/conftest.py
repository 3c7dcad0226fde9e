"""What every test may use: the fixed cast, a car, and a database whose triggers survive flushing."""

from __future__ import annotations

import pytest
from django.test import TransactionTestCase

from tests.factories.vehicle import the_car
from tests.people import CAST, make_person
from tests.quick_print import QuickPrint
from workshop import sheets

pytest_plugins = ["tests.outside"]

_fixture_teardown = TransactionTestCase._fixture_teardown


def _teardown_without_guards(self):
    """Append-only tables refuse the flush between transactional tests, so the guards are lifted around it.

    The flush also empties what every installation has; `post_migrate` after it brings that back.
    """
    from workshop import triggers

    triggers.remove()
    _fixture_teardown(self)
    triggers.install()


TransactionTestCase._fixture_teardown = _teardown_without_guards


@pytest.fixture(autouse=True)
def _quick_print(request, monkeypatch):
    """The engine takes one to three seconds a sheet, and hundreds of tests hand a car over: those that read the PDF
    are marked `pdf` and print (once, on SQLite), the others fill in the template and leave it at that. What prints on
    every database, asks for `real_print`.
    """
    if not request.node.get_closest_marker("pdf") and "real_print" not in request.fixturenames:
        monkeypatch.setattr(sheets, "_set_on_pages", QuickPrint)


@pytest.fixture
def real_print():
    """Print with the real PDF engine, on every database."""


def _member(key):
    @pytest.fixture(name=key)
    def fixture(db):
        name, role = CAST[key]
        return make_person(name, role)

    return fixture


technician = _member("technician")
other_technician = _member("other_technician")
lead = _member("lead")
front_desk = _member("front_desk")
shop_owner = _member("shop_owner")
car_owner = _member("car_owner")
other_owner = _member("other_owner")


@pytest.fixture
def car(lead):
    return the_car(lead)
