"""A link opened on two devices at the same moment lets one of them in."""

import pytest

from tests.at_once import at_once
from tests.people import by
from workshop.acts import passes as acts
from workshop.models import OneTimePass


@pytest.mark.django_db(transaction=True)
def test_two_devices_one_gets_in(front_desk, car_owner):
    one = acts.issue_pass(by=by(front_desk), person=car_owner, way="mail")
    got = at_once(*[lambda: acts.use_pass(by=by(car_owner), one=one)] * 2)
    assert sorted(type(each).__name__ for each in got) == ["OneTimePass", "ValidationError"]
    assert OneTimePass.objects.exclude(used_at=None).count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_desks_the_later_ones_code_holds(front_desk, lead, car_owner):
    got = at_once(
        *(
            lambda who=who: acts.issue_pass(by=by(who), person=car_owner, way="counter")
            for who in (front_desk, lead)
        )
    )
    assert [type(each).__name__ for each in got] == ["OneTimePass"] * 2
    assert [each.state for each in OneTimePass.objects.order_by("received_at")].count("open") == 1
