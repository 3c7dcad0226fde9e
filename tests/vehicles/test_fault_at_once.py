"""Two people at one fault at the same moment, on two connections."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from tests.at_once import at_once
from tests.factories.fault import FaultFactory
from tests.factories.outstanding import ItemFactory
from tests.people import by
from vehicles.acts import fault as acts
from vehicles.acts import outstanding as item_acts
from vehicles.models import Fault
from workshop.models import Event

pytestmark = pytest.mark.django_db(transaction=True)


def test_two_people_report_at_the_same_moment(lead, technician, car):
    found = at_once(
        *[lambda who=who: FaultFactory(person=who, vehicle=car).order for who in (lead, technician)]
    )
    assert sorted(found) == [1, 2]


def test_two_people_at_the_same_moment_close_no_circle(lead, technician, car):
    fault, other = (FaultFactory(person=lead, vehicle=car) for _ in range(2))
    found = at_once(
        lambda: acts.end_same_as(by=by(lead), fault=fault, seen_version=1, same_as=other),
        lambda: acts.end_same_as(by=by(technician), fault=other, seen_version=1, same_as=fault),
    )
    assert sum(isinstance(each, ValidationError) for each in found) == 1
    assert Fault.objects.filter(end="same_as").count() == 1


def test_at_the_same_moment_the_item_ends_or_the_fault_ends_on_it(lead, technician, car):
    fault = FaultFactory(person=lead, vehicle=car, severity="major")
    item = ItemFactory(person=lead, vehicle=car, severity="major")
    item_ended, fault_ended = at_once(
        lambda: item_acts.end_by_finding(
            by=by(technician), item=item, seen_version=1, ended_finding="the fuse was loose"
        ),
        lambda: acts.end_outstanding(by=by(lead), fault=fault, seen_version=1, item=item),
    )
    assert not isinstance(item_ended, Exception), "an item ends whatever leans on it"
    if not isinstance(fault_ended, ValidationError):
        # Only the order in which nothing ended before the fault leaned on it.
        order = list(Event.objects.filter(act__in=[
            "vehicles.fault.end_outstanding", "vehicles.outstanding.end_by_finding"
        ]).order_by("seq").values_list("act", flat=True))  # fmt: skip
        assert order == ["vehicles.fault.end_outstanding", "vehicles.outstanding.end_by_finding"]
