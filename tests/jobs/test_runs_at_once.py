"""Two people at one run at the same moment, on two connections."""

from __future__ import annotations

import pytest

from jobs.models import TorqueReading
from tests.at_once import at_once
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def clicks(lead, technician, other_technician, car):
    """Both at work: `clicks(1, 3)` answers what their clicks on two fasteners came to."""
    tool, run = ToolFactory(person=lead), RunFactory(person=lead, vehicle=car)

    def hands(*fasteners):
        pairs = zip((technician, other_technician), fasteners, strict=True)
        return at_once(*[lambda who=who, one=one: click(who, run, 1, one, 60, tool) for who, one in pairs])

    return hands


def test_two_people_at_the_same_moment_get_two_orders(clicks, technician, other_technician):
    """The second waits for the first, and both readings are kept."""
    found = clicks(1, 3)
    assert {each.made_by for each in found} == {technician, other_technician}
    assert sorted(TorqueReading.objects.values_list("order", flat=True)) == [1, 2]


def test_the_same_fastener_at_the_same_moment_is_asked_about(clicks):
    recorded, refused = sorted(clicks(1, 1), key=lambda each: not isinstance(each, TorqueReading))
    assert TorqueReading.objects.get() == recorded
    assert list(refused.message_dict) == ["redo_reason"]
