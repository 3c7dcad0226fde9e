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


def test_no_record_of_any_room_is_ever_deleted(db, car, technician):
    """Below every act: the database itself refuses, for each record and for people."""
    from django.apps import apps
    from django.db import DatabaseError, transaction

    from workshop import triggers
    from workshop.models import Record

    guarded = {
        name.removesuffix("_no_delete") for name in triggers.installed() if name.endswith("_no_delete")
    }
    records = {model._meta.db_table for model in apps.get_models() if issubclass(model, Record)}
    assert records <= guarded
    for row in (car, technician):
        with pytest.raises(DatabaseError, match="never deleted"), transaction.atomic():
            type(row).objects.filter(pk=row.pk)._raw_delete("default")


def test_what_was_sent_is_kept_as_a_keyed_hash_only(db, lead, settings):
    """What is erased later can't be confirmed by hashing a guess; a password is not hashed at all."""
    from workshop.acting import _content_hash, _hashable

    content = {"act": "x", "arguments": {"name": "Corin Ashby"}}
    first = _content_hash(content)
    settings.SECRET_KEY = "another key of another installation, long enough to be one"
    assert _content_hash(content) != first
    secrets = {"password": "five bolts in a row", "pin": "395172"}
    assert _hashable({**secrets, "name": "Nell"}) == {"name": "Nell"}


def test_a_busy_database_brings_the_form_back_filled(client, lead, monkeypatch):
    from django.db import OperationalError
    from django.urls import reverse

    def busy(**arguments):
        raise OperationalError("database is locked")

    client.force_login(lead)
    url = reverse("vehicles:vehicle-add")
    key = client.get(url).context["form"]["key"].value()
    monkeypatch.setattr(acts, "add_vehicle", busy)
    response = client.post(url, {**NEW, "key": str(key)})
    assert response.status_code == 422
    assert "The database was busy" in response.text
    assert 'value="1600 GT"' in response.text


@pytest.mark.parametrize("address", ["/vehicles/?q=%00", "/confirm/%00/", "/shop/log/?act=a%00b"])
def test_a_nul_in_the_address_is_answered_in_words(client, shop_owner, address):
    client.force_login(shop_owner)
    response = client.get(address)
    assert response.status_code == 400
    assert "can&#x27;t be read" in response.text
