"""What a car's owner sees when signed in: their own cars, to read, and nobody else's."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from tests.factories.keeper import KeeperFactory
from tests.once import once
from tests.people import PASSWORD, by
from vehicles.acts import keeper as keepers
from vehicles.acts import odometer, outstanding
from vehicles.acts import vehicle as vehicles
from workshop.engineering.units import Amount


@once
def owned(front_desk, car):
    """The car, its owner's part, and the owner's account."""
    keeper = KeeperFactory.create(front_desk, name="Corin Ashby")
    part = keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part="owner")
    person = keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="ashby", password=PASSWORD)
    return car, part, person


def item(person, car, severity, title):
    return outstanding.raise_item(
        by=by(person), vehicle=car, severity=severity, title=title, reason="deferred"
    )


def test_the_owner_reads_what_the_car_is_and_what_is_outstanding(client, owned, lead, technician):
    car, _, person = owned
    vehicles.correct_vehicle(by=by(lead), vehicle=car, seen_version=1, reason="seen", notes="pays late")
    vehicles.add_registration(by=by(lead), vehicle=car, plate="QL 06 AB")
    odometer.record_reading(
        by=by(technician), vehicle=car, amount=Amount(Decimal(148210), "km"), since_new=True
    )
    item(lead, car, "advice", "Wiper blades")
    item(lead, car, "dangerous", "Tyres below the load")
    gone = item(lead, car, "major", "Gone")
    outstanding.end_by_finding(by=by(lead), item=gone, seen_version=1, ended_finding="was tight")
    client.force_login(person)
    text = client.get(reverse("vehicles:my-cars")).content.decode()
    assert "2 outstanding" in text
    assert reverse("vehicles:my-car", args=[car.pk]) in text
    text = client.get(reverse("vehicles:my-car", args=[car.pk])).content.decode()
    assert text.index("Tyres below the load") < text.index("Wiper blades")
    assert "Gone" not in text
    assert "QL 06 AB" in text
    assert car.number in text
    assert "True distance 148210 km." in text
    # What the shop notes for itself is not the owner's account.
    assert "pays late" not in text
    assert "No job on this car yet" in text


def test_nobody_elses_car(client, owned, other_owner):
    car, _, _ = owned
    client.force_login(other_owner)
    assert client.get(reverse("vehicles:my-car", args=[car.pk])).status_code == 404
    assert client.get(reverse("vehicles:my-car", args=[uuid4()])).status_code == 404
    assert "No car is on record as yours" in client.get(reverse("vehicles:my-cars")).content.decode()


def test_a_former_keeper_sees_it_no_longer(client, owned, front_desk):
    car, part, person = owned
    keepers.end_part_for(by=by(front_desk), vehicle_keeper=part, until_on=by(front_desk).day, reason="sold")
    client.force_login(person)
    assert client.get(reverse("vehicles:my-car", args=[car.pk])).status_code == 404
    assert str(car) not in client.get(reverse("vehicles:my-cars")).content.decode()


@pytest.mark.parametrize("part", ["driver", "payer", "authoriser", "collector"])
def test_a_part_other_than_owner_or_keeper_shows_nothing(client, owned, front_desk, other_owner, part):
    car, _, _ = owned
    keeper = KeeperFactory.create(front_desk)
    keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part=part)
    person = keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="other", password=PASSWORD)
    client.force_login(person)
    assert client.get(reverse("vehicles:my-car", args=[car.pk])).status_code == 404


def test_an_owner_opens_no_page_of_the_shop_and_staff_no_page_of_an_owner(client, owned, technician):
    car, _, person = owned
    client.force_login(person)
    assert client.get(car.get_absolute_url()).status_code == 403
    client.force_login(technician)
    assert client.get(reverse("vehicles:my-cars")).status_code == 403


def test_the_owner_writes_nothing(client, owned):
    car, _, person = owned
    client.force_login(person)
    for name in ("odometer-add", "vehicle-correct", "registration-add", "part-for-add", "instrument-replace"):
        assert (
            client.post(reverse(f"vehicles:{name}", args=[car.pk]), {"key": str(uuid4())}).status_code == 403
        )


def _job(car, person, serial, **fields):
    """A job as a row: how one comes about is not this test's subject."""
    values = {"year": 2026, "serial": serial, "title": f"Service {serial}", "state": "handed_over", **fields}
    return car.jobs.create(**by(person).stamp(), **values)


def _sheet(job, person, made_at):
    return job.sheets.create(
        **{**by(person, made_at=made_at).stamp()},
        kind="handover",
        revision=1,
        token=uuid4().hex,
        paper="A4",
        technical="{}",
        technical_hash="0" * 64,
        personal_hash="0" * 64,
        pdf_hash="0" * 64,
        pages=1,
        log_seq=0,
        log_hash="0" * 64,
    )


def test_jobs_and_sheets_are_read_but_no_page_with_an_earlier_owners_name(client, owned, lead):
    car, _, person = owned
    earlier = _sheet(_job(car, lead, 1), lead, timezone.now() - timedelta(days=400))
    own = _sheet(_job(car, lead, 2), lead, timezone.now())
    client.force_login(person)
    text = client.get(reverse("vehicles:my-car", args=[car.pk])).content.decode()
    assert text.index("Service 2") < text.index("Service 1")
    assert "Handed over" in text
    assert reverse("jobs:sheet-pdf", args=[own.pk]) in text
    assert reverse("jobs:sheet-pdf", args=[earlier.pk]) not in text
    assert "1 sheet from before the car was yours" in text


def test_the_owners_pages_ask_as_often_for_two_jobs_as_for_thirty(
    client, owned, lead, django_assert_max_num_queries
):
    car, _, person = owned
    client.force_login(person)

    def count():
        with django_assert_max_num_queries(50) as captured:
            for address in (reverse("vehicles:my-cars"), reverse("vehicles:my-car", args=[car.pk])):
                assert client.get(address).status_code == 200
        return len(captured)

    def more(first, last):
        for serial in range(first, last):
            _sheet(_job(car, lead, serial), lead, timezone.now())
            item(lead, car, "minor", f"Thing {serial}")

    more(1, 3)
    few = count()
    more(3, 31)
    assert count() == few
