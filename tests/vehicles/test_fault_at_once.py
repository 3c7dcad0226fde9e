"""Two people at one fault at the same moment, on two connections."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from tests.factories.fault import FaultFactory
from tests.factories.outstanding import ItemFactory
from tests.people import by
from vehicles.acts import fault as acts
from vehicles.acts import outstanding as item_acts
from workshop.models import Event

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def fault(lead, car):
    return FaultFactory(person=lead, vehicle=car, title="Battery flat", severity="major")


@pytest.fixture
def other(lead, car, fault):
    return FaultFactory(person=lead, vehicle=car, title="Fridge cuts out", severity="minor")


def test_two_people_report_at_the_same_moment(lead, technician, car):
    both = Barrier(2)

    def report(person):
        try:
            both.wait(timeout=10)
            return FaultFactory(person=person, vehicle=car).order
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(report, [lead, technician])) == [1, 2]


def test_two_people_at_the_same_moment_close_no_circle(lead, technician, fault, other):
    both = Barrier(2)

    def end(person, one, same_as):
        try:
            both.wait(timeout=10)
            acts.end_same_as(by=by(person), fault=one, seen_version=1, same_as=same_as)
            return True
        except ValidationError:
            return False
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(end, [lead, technician], [fault, other], [other, fault]))
    assert sorted(done) == [False, True]


def test_at_the_same_moment_the_item_ends_or_the_fault_ends_on_it(lead, technician, car, fault):
    item = ItemFactory(person=lead, vehicle=car, severity="major")
    both = Barrier(2)

    def at_once(call):
        try:
            both.wait(timeout=10)
            call()
        except ValidationError:
            return False
        finally:
            connection.close()
        return True

    def end_item():
        item_acts.end_by_finding(
            by=by(technician), item=item, seen_version=1, ended_finding="the fuse was loose"
        )

    def end_fault():
        acts.end_outstanding(by=by(lead), fault=fault, seen_version=1, item=item)

    with ThreadPoolExecutor(2) as pool:
        item_ended, fault_ended = pool.map(at_once, [end_item, end_fault])
    assert item_ended, "an item ends whatever leans on it"
    if fault_ended:
        # Only the order in which nothing ended before the fault leaned on it.
        order = list(Event.objects.filter(act__in=[
            "vehicles.fault.end_outstanding", "vehicles.outstanding.end_by_finding"
        ]).order_by("seq").values_list("act", flat=True))  # fmt: skip
        assert order == ["vehicles.fault.end_outstanding", "vehicles.outstanding.end_by_finding"]
