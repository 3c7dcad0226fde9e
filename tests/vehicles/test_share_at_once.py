"""A link that two people end, or two readers open for the first time, at the same moment."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.test import RequestFactory

from tests.at_once import at_once
from tests.people import by
from vehicles import shares
from vehicles.acts import share as acts
from vehicles.models import Opened, Share, ShareOpening
from workshop.models import Event

pytestmark = pytest.mark.django_db(transaction=True)


def test_two_people_end_a_link_and_it_is_ended_once(lead, front_desk, car):
    share = acts.make_share(by=by(lead), vehicle=car, label="for the buyer", shows=[])
    found = at_once(*[lambda who=who: acts.end_share(by=by(who), share=share) for who in (lead, front_desk)])
    assert sum(isinstance(each, Share) for each in found) == 1
    assert sum(isinstance(each, ValidationError) for each in found) == 1
    assert Event.objects.filter(act="vehicles.share.end_share").count() == 1


def test_no_opening_is_lost_where_several_come_in_the_same_moment(lead, car):
    share = acts.make_share(by=by(lead), vehicle=car, label="for the buyer", shows=[])
    request = RequestFactory().get("/", headers={"User-Agent": "Mozilla/5.0 (X11; Linux)"})
    found = at_once(*[lambda: shares.count_opening(share, request, Opened.ACCOUNT)] * 4)
    assert found == [None] * 4
    assert sum(row.count for row in ShareOpening.objects.all()) == 4
    assert ShareOpening.objects.count() == 1
