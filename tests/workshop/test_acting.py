"""Acts: once each, by somebody who may, at a time that has been, and never without a trace."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone

from tests.people import by
from vehicles.acts import vehicle as acts
from vehicles.models import Vehicle
from workshop.acting import AlreadySent, ChangedMeanwhile
from workshop.models import Event, Submission

NEW = {"number": "FRAME778", "make": "Ostra", "model": "1600 GT", "year": 1975}


def test_one_key_is_one_record(db, lead):
    key = uuid4()
    first = acts.add_vehicle(by=by(lead, key=key), **NEW)
    again = acts.add_vehicle(by=by(lead, key=key), **NEW)
    assert first == again
    assert Vehicle.objects.count() == 1
    assert Event.objects.count() == 1


def test_the_same_key_with_other_content_is_refused(db, lead):
    key = uuid4()
    acts.add_vehicle(by=by(lead, key=key), **NEW)
    with pytest.raises(AlreadySent):
        acts.add_vehicle(by=by(lead, key=key), **{**NEW, "model": "1600"})
    assert Vehicle.objects.get().model == "1600 GT"


def test_a_refused_act_gives_its_key_back(db, lead):
    key = uuid4()
    with pytest.raises(ValidationError):
        acts.add_vehicle(by=by(lead, key=key), **{**NEW, "year": 2090})
    assert not Submission.objects.exists()
    assert acts.add_vehicle(by=by(lead, key=key), **NEW).pk


def test_who_may_not_is_told_who_may(db, car_owner):
    with pytest.raises(
        PermissionDenied, match=r"You may not write down what a car is\. These roles may: front desk"
    ):
        acts.add_vehicle(by=by(car_owner), **NEW)
    assert not Event.objects.exists()


def test_nobody_acts_in_the_future(db, lead):
    with pytest.raises(ValidationError, match="lies in the future"):
        acts.add_vehicle(by=by(lead, made_at=timezone.now() + timedelta(hours=1)), **NEW)


def test_work_written_down_late_keeps_both_times(db, lead):
    earlier = timezone.now() - timedelta(hours=3)
    car = acts.add_vehicle(by=by(lead, made_at=earlier), **NEW)
    assert car.made_at == earlier
    assert car.received_at > earlier
    assert car.written_down_late


def test_a_save_on_an_older_version_is_refused_with_what_stands_there(db, lead, front_desk, car):
    acts.correct_vehicle(by=by(lead), vehicle=car, seen_version=1, number=car.number, as_stamped=True,
                         reason="seen on the plate", colour="sand")  # fmt: skip
    with pytest.raises(ChangedMeanwhile) as refusal:
        acts.correct_vehicle(by=by(front_desk), vehicle=car, seen_version=1, number=car.number, as_stamped=True,
                             reason="told by the owner", colour="grey")  # fmt: skip
    assert refusal.value.current["colour"] == "sand"
    car.refresh_from_db()
    assert car.colour == "sand"
