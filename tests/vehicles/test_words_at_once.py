"""Two people write at the same moment, on two connections: the words of both are kept, each once."""

from __future__ import annotations

import pytest
from django.db import connection

from tests.at_once import at_once
from tests.factories.fault import FaultFactory
from tests.people import by
from vehicles import words
from vehicles.acts import fault as acts
from vehicles.models import Fault, Words, WordsDue

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.words]


def test_two_people_write_about_one_fault(lead, technician, car):
    fault = FaultFactory(person=lead, vehicle=car, title="Quokka", severity="minor")
    # Written round the acts: both who come next find it due.
    Fault.objects.filter(pk=fault.pk).update(conditions="in drizzle")
    assert WordsDue.objects.count() == 1
    answers = at_once(
        lambda: acts.set_severity(
            by=by(lead), fault=fault, seen_version=fault.version, severity="major", reason="Worse."
        ),
        lambda: acts.add_step(by=by(technician), fault=fault, tried="wombat pulled", seen="nothing"),
    )
    assert not [answer for answer in answers if isinstance(answer, Exception)]
    assert not WordsDue.objects.exists()
    assert Words.objects.filter(subject_kind="vehicles.fault").count() == 1
    assert Words.objects.get(folded__contains="drizzle").severity == "major"
    assert Words.objects.filter(folded__contains="wombat").count() == 1
    if connection.vendor == "postgresql":
        # The step may have read the fault as it was before: that is all that may differ, and it is found and mended.
        words.rebuild()
    assert list(words.problems()) == []
