"""The owner says in their own account that they have read what is outstanding: once, and as it stood when they read it."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from tests.factories.handover import owner_of
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.once import once
from tests.people import PASSWORD, by
from vehicles.acts import acknowledge as acts
from vehicles.acts import keeper as keepers
from vehicles.acts import outstanding as items
from vehicles.models import Telling, VehicleKeeper


@once
def owner(front_desk, car):
    keeper = owner_of(car, front_desk)
    return keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="ashby", password=PASSWORD)


@once
def item(lead, car):
    return ItemFactory(
        person=lead, vehicle=car, title="Tyres too weak", detail="Index 99 at 1690 kg.", severity="dangerous",
        due_on=by(lead).day + timedelta(days=14),
    )  # fmt: skip


def page(client, car) -> str:
    return client.get(reverse("vehicles:my-car", args=[car.pk])).text


def link(item) -> str:
    return reverse("vehicles:own-acknowledge", args=[item.pk])


def test_read_and_said_in_the_browser(client, owner, item, car):
    client.force_login(owner)
    assert link(item) in page(client, car)
    form = client.get(link(item))
    for word in ("Tyres too weak", "Index 99 at 1690 kg.", "an immediate risk to people on the road"):
        assert word in form.text, word
    answer = client.post(
        link(item), {"key": uuid4(), "seen_version": 1, "words": "I take the train"}, follow=True
    )
    assert "it is on record that you know of it" in answer.text
    told = Telling.objects.get()
    assert (told.channel, told.answer, told.answer_words) == ("account", "acknowledged", "I take the train")
    assert told.told_to.account == owner
    assert told.told.startswith("Dangerous: Tyres too weak. Index 99 at 1690 kg. Due by ")
    text = page(client, car)
    assert link(item) not in text
    assert "Your answer: acknowledged, “I take the train”" in text
    # It stays outstanding.
    assert "Tyres too weak" in text


def test_it_counts_as_told_to_somebody_who_has_a_say(owner, item, car):
    acts.acknowledge_own(by=by(owner), item=item, seen_version=1)
    assert list(Telling.objects.counting(car).values_list("item", flat=True)) == [item.pk]


def test_said_twice_it_is_one_telling(owner, item):
    first = acts.acknowledge_own(by=by(owner), item=item, seen_version=1)
    again = acts.acknowledge_own(by=by(owner), item=item, seen_version=1, words="once more")
    assert again == first
    assert Telling.objects.get().answer_words == ""


def test_what_was_changed_meanwhile_is_read_again_first(client, owner, item, lead, car):
    items.change_due(
        by=by(lead), item=item, seen_version=1, due_on=by(lead).day + timedelta(days=3), reason="axle weighed"
    )
    client.force_login(owner)
    answer = client.post(link(item), {"key": uuid4(), "seen_version": 1})
    assert answer.status_code == 422
    assert "Read it again" in answer.text
    assert not Telling.objects.exists()
    # The page that comes back shows it as it is now, and is sent as it is now.
    assert client.post(link(item), {"key": uuid4(), "seen_version": 2}).status_code == 302


def test_told_otherwise_it_is_asked_for_again(client, owner, item, lead, car):
    acts.acknowledge_own(by=by(owner), item=item, seen_version=1)
    client.force_login(owner)
    assert link(item) not in page(client, car)
    items.change_due(
        by=by(lead), item=item, seen_version=1, due_on=by(lead).day + timedelta(days=3), reason="axle weighed"
    )
    assert link(item) in page(client, car)
    item.refresh_from_db()
    acts.acknowledge_own(by=by(owner), item=item, seen_version=item.version)
    assert Telling.objects.count() == 2


@pytest.mark.parametrize(
    ("answer", "asked"), [("acknowledged", False), ("declined", False), ("no_answer", True)]
)
def test_what_was_answered_at_the_desk_is_not_asked_again(client, owner, item, lead, car, answer, asked):
    items.tell(
        by=by(lead), item=item, told_to=owner.keeper, channel="phone", told="Do not load it.", answer=answer
    )
    client.force_login(owner)
    text = page(client, car)
    assert "Do not load it." in text
    assert (link(item) in text) == asked


def test_nobody_else_can_say_it(client, item, car, owner, other_owner, technician, front_desk):
    stranger = KeeperFactory.create(front_desk, name="Orla Penn")
    driver = keepers.open_account(by=by(front_desk), keeper=stranger, sign_in_name="penn", password=PASSWORD)
    keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=stranger, part="driver")
    for person, status in ((other_owner, 404), (driver, 404), (technician, 403)):
        client.force_login(person)
        assert client.get(link(item)).status_code == status
        assert client.post(link(item), {"key": uuid4(), "seen_version": 1}).status_code == status
    with pytest.raises(PermissionDenied):
        acts.acknowledge_own(by=by(driver), item=item, seen_version=1)
    assert not Telling.objects.exists()


def test_who_sold_the_car_can_say_it_no_longer(client, owner, item, front_desk):
    part = VehicleKeeper.objects.get(keeper=owner.keeper)
    keepers.end_part_for(by=by(front_desk), vehicle_keeper=part, until_on=by(front_desk).day, reason="sold")
    client.force_login(owner)
    assert client.get(link(item)).status_code == 404
    with pytest.raises(PermissionDenied):
        acts.acknowledge_own(by=by(owner), item=item, seen_version=1)


def test_what_is_settled_needs_no_reading(client, owner, item, lead):
    items.end_by_finding(by=by(lead), item=item, seen_version=1, ended_finding="Other tyres fitted")
    with pytest.raises(ValidationError, match="settled already"):
        acts.acknowledge_own(by=by(owner), item=item, seen_version=2)
    client.force_login(owner)
    assert client.get(link(item)).status_code == 404
