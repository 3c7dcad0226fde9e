"""Numbered prints by two people at once, and one that is made in a thread of its own. Real transactions."""

from __future__ import annotations

import time
from uuid import uuid4

import pytest
from django.db import OperationalError

from tests.at_once import at_once
from tests.factories.part import PartFactory
from tests.people import by
from vehicles import long_prints
from vehicles.acts import issued as acts
from vehicles.models import IssuedPrint
from workshop.acting import is_busy

pytestmark = pytest.mark.django_db(transaction=True)


def test_two_at_once_make_one_print_and_then_one_revision(lead, technician, car):
    def ask(person):
        def issue():
            while True:
                try:
                    return acts.issue(by=by(person), kind="build", vehicle=car).pk
                except OperationalError as error:
                    # A busy machine: the page says so, and it is asked for again.
                    if not is_busy(error):
                        raise

        return issue

    first = at_once(ask(lead), ask(technician))
    assert len(set(first)) == 1, first
    PartFactory(person=lead, vehicle=car)
    second = at_once(ask(lead), ask(technician))
    assert len(set(second)) == 1, second
    assert [row.revision for row in IssuedPrint.objects.order_by("revision")] == [1, 2]
    assert len({row.number for row in IssuedPrint.objects.all()}) == 1


def test_what_takes_longer_is_made_while_the_page_answers(lead, car, monkeypatch, settings, tmp_path):
    settings.WORKSHOP_DATA = tmp_path
    monkeypatch.setattr(long_prints, "PATIENCE", 0.0)
    key = uuid4()

    def slowly():
        time.sleep(0.3)
        return acts.issue(by=by(lead, key=key), kind="build", vehicle=car)

    assert long_prints.start(key, slowly).state == "making"
    # The same tap once more starts no second one.
    assert long_prints.start(key, slowly).state == "making"
    until = time.monotonic() + 30
    while (became := long_prints.state_of(key)).state == "making" and time.monotonic() < until:
        time.sleep(0.05)
    assert became.state == "done"
    assert IssuedPrint.objects.get().pk.hex == became.print.replace("-", "")
