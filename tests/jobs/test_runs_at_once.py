"""Two people at one run at the same moment, on two connections."""

from __future__ import annotations

import threading

from django.core.exceptions import ValidationError
from django.db import connections

from jobs.models import TorqueReading
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory
from tests.people import CAST, by, make_person
from vehicles.acts import vehicle


def test_two_people_at_the_same_moment_get_two_orders(transactional_db):
    """Two threads, two connections: the second waits for the first, and both readings are kept."""
    lead, one, two = (make_person(*CAST[name]) for name in ("lead", "technician", "other_technician"))
    car = vehicle.add_vehicle(by=by(lead), number="FRAME778", make="Ostra", model="1600 GT", year=1975)
    tool = ToolFactory(person=lead)
    run = RunFactory(person=lead, vehicle=car)
    together, failures = threading.Barrier(2), []

    def hand(person, fastener):
        try:
            together.wait(timeout=20)
            click(person, run, 1, fastener, 60, tool)
        except Exception as error:  # a thread's exception is seen by nobody else
            failures.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=hand, args=pair) for pair in ((one, 1), (two, 3))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert failures == []
    assert sorted(TorqueReading.objects.values_list("order", flat=True)) == [1, 2]
    assert set(TorqueReading.objects.values_list("made_by", flat=True)) == {one.pk, two.pk}


def test_the_same_fastener_at_the_same_moment_is_asked_about(transactional_db):
    lead, one, two = (make_person(*CAST[name]) for name in ("lead", "technician", "other_technician"))
    car = vehicle.add_vehicle(by=by(lead), number="FRAME779", make="Ostra", model="1600 GT", year=1975)
    tool = ToolFactory(person=lead)
    run = RunFactory(person=lead, vehicle=car)
    together, outcome = threading.Barrier(2), []

    def hand(person):
        try:
            together.wait(timeout=20)
            click(person, run, 1, 1, 60, tool)
            outcome.append("recorded")
        except ValidationError as error:
            outcome.append(list(error.message_dict))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=hand, args=(person,)) for person in (one, two)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(outcome, key=str) == [["redo_reason"], "recorded"]
    assert TorqueReading.objects.count() == 1
