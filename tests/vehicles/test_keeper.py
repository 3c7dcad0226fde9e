"""The people around a car: who they are, what part they play, from when until when, and who may sign in."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from tests.factories.keeper import KeeperFactory
from tests.people import PASSWORD, by
from vehicles import people
from vehicles.acts import keeper as acts
from vehicles.models import Keeper, VehicleKeeper
from workshop.acting import ChangedMeanwhile
from workshop.models import Event, EventDetail, Person
from workshop.permissions import Role


def refusal(field, call, *args, **kwargs) -> str:
    with pytest.raises(ValidationError) as refused:
        call(*args, **kwargs)
    return " ".join(refused.value.message_dict[field])


def names(found) -> set[str]:
    return {keeper.name for keeper in found}


@pytest.fixture
def ashby(front_desk):
    return KeeperFactory.create(front_desk, name="Corin Ashby")


@pytest.fixture
def penn(front_desk):
    return KeeperFactory.create(front_desk, name="Orla Penn")


@pytest.fixture
def plays(front_desk, car):
    def plays(keeper, part, **kwargs):
        return acts.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part=part, **kwargs)

    return plays


def test_what_is_known_of_a_person_stands_beside_the_chain(front_desk):
    keeper = acts.add_keeper(
        by=by(front_desk),
        name=" Corin  Ashby ",
        address="Mill Lane 4",
        phone="0000 17",
        email="c@shop.example",
    )
    assert keeper.name == "Corin Ashby"
    event = Event.objects.get(subject_id=str(keeper.pk))
    assert "Ashby" not in event.body
    assert "Mill Lane 4" in EventDetail.objects.get(event=event).words


def test_the_same_key_twice_is_one_person(front_desk):
    key = uuid4()
    first = acts.add_keeper(by=by(front_desk, key=key), name="Corin Ashby")
    assert acts.add_keeper(by=by(front_desk, key=key), name="Corin Ashby") == first
    assert Keeper.objects.count() == 1


def test_who_may_not(technician, ashby, car):
    with pytest.raises(PermissionDenied):
        acts.add_keeper(by=by(technician), name="X")
    with pytest.raises(PermissionDenied):
        acts.add_part_for(by=by(technician), vehicle=car, keeper=ashby, part="owner")


def test_a_new_owner_ends_the_earlier_one_the_same_day(plays, ashby, penn):
    first = plays(ashby, "owner", from_on=date(2010, 3, 1))
    plays(penn, "owner", from_on=date(2020, 3, 1))
    first.refresh_from_db()
    assert first.until_on == date(2020, 3, 1)


def test_owners_in_common_and_parts_that_many_may_play(plays, ashby, penn, car):
    plays(ashby, "owner")
    plays(penn, "owner", end_current=False)
    for keeper in (ashby, penn):
        plays(keeper, "driver")
    assert car.keepers.now().count() == 4


def test_there_is_one_registered_keeper(plays, ashby, penn, car, front_desk):
    plays(ashby, "registered_keeper")
    with pytest.raises(ValidationError, match="has a registered keeper"):
        plays(penn, "registered_keeper", end_current=False)
    with pytest.raises(IntegrityError), transaction.atomic():
        VehicleKeeper(**by(front_desk).stamp(), vehicle=car, keeper=penn, part="registered_keeper").save()


def test_a_part_is_played_once(plays, ashby):
    plays(ashby, "owner")
    with pytest.raises(ValidationError, match="plays that part for this car already"):
        plays(ashby, "owner")


def test_an_earlier_owner_says_until_when(plays, ashby, penn, car):
    plays(ashby, "owner", from_on=date(2020, 3, 1))
    assert "say until when it was" in refusal("from_on", plays, penn, "owner", from_on=date(2010, 1, 1))
    plays(penn, "owner", from_on=date(2010, 1, 1), until_on=date(2020, 3, 1))
    assert names(people.people_of(car, date(2015, 1, 1))) == {"Orla Penn"}
    assert [row.keeper.name for row in car.keepers.now()] == ["Corin Ashby"]


def test_days_that_cannot_be(plays, ashby, front_desk):
    tomorrow = by(front_desk).day + timedelta(days=1)
    assert "lies in the future" in refusal("from_on", plays, ashby, "owner", from_on=tomorrow)
    assert "model year 2006" in refusal("from_on", plays, ashby, "owner", from_on=date(2000, 1, 1))
    with pytest.raises(ValidationError, match="can't end before it begins"):
        plays(ashby, "owner", from_on=date(2010, 1, 2), until_on=date(2010, 1, 1))


def test_a_part_ends_once_with_its_reason(plays, ashby, front_desk, lead):
    row = plays(ashby, "owner", from_on=date(2010, 1, 1))
    today = by(front_desk).day

    def end(**kwargs):
        return acts.end_part_for(
            by=by(lead), **{"vehicle_keeper": row, "until_on": today, "reason": "sold", **kwargs}
        )

    assert "Say why it ends" in refusal("reason", end, reason=" ")
    assert "lies in the future" in refusal("until_on", end, until_on=today + timedelta(days=1))
    assert "can't end before" in refusal("__all__", end, until_on=date(2009, 1, 1))
    assert end().until_on == today
    # The second of two people at once is told what the first one wrote.
    with pytest.raises(ValidationError, match="Somebody ended this already: Corin Ashby was owner until"):
        end()


def test_who_may_authorise_collect_and_pay_on_a_day(plays, ashby, penn, front_desk, car):
    bruno = KeeperFactory.create(front_desk, name="Bruno Vale")
    plays(ashby, "owner", from_on=date(2010, 1, 1))
    plays(penn, "registered_keeper", from_on=date(2012, 1, 1))
    plays(bruno, "authoriser", from_on=date(2015, 1, 1), until_on=date(2016, 1, 1))
    assert names(people.authorisers_of(car, date(2011, 1, 1))) == {"Corin Ashby"}
    assert names(people.authorisers_of(car, date(2015, 6, 1))) == {"Corin Ashby", "Orla Penn", "Bruno Vale"}
    # The day it ends is the first on which it no longer holds.
    assert names(people.authorisers_of(car, date(2016, 1, 1))) == {"Corin Ashby", "Orla Penn"}
    assert names(people.collectors_of(car, date(2015, 6, 1))) == {"Corin Ashby", "Orla Penn"}
    assert names(people.payers_of(car, date(2015, 6, 1))) == {"Corin Ashby", "Orla Penn"}
    plays(bruno, "payer", from_on=date(2017, 1, 1))
    assert names(people.payers_of(car, date(2018, 1, 1))) == {"Bruno Vale"}


def test_a_correction_is_on_the_version_seen(ashby, front_desk, lead):
    fields = {"keeper": ashby, "seen_version": 1, "reason": "moved house"}
    assert "Say why" in refusal("reason", acts.correct_keeper, by=by(lead), **{**fields, "reason": ""})
    acts.correct_keeper(by=by(lead), **fields, address="Mill Lane 4")
    with pytest.raises(ChangedMeanwhile) as refused:
        acts.correct_keeper(by=by(front_desk), **fields, address="Mill Lane 5")
    assert refused.value.current["address"] == "Mill Lane 4"
    event = Event.objects.order_by("-seq").first()
    assert "Mill Lane" not in event.body


def test_an_account_is_opened_once_and_sees_own_cars_only(ashby, front_desk):
    with pytest.raises(ValidationError) as weak:
        acts.open_account(by=by(front_desk), keeper=ashby, sign_in_name="Ashby", password="short")
    assert "password" in weak.value.message_dict
    person = acts.open_account(by=by(front_desk), keeper=ashby, sign_in_name="Ashby", password=PASSWORD)
    assert person.roles == {Role.VEHICLE_OWNER}
    ashby.refresh_from_db()
    assert ashby.account == person
    assert person.check_password(PASSWORD)
    with pytest.raises(ValidationError, match="can sign in already"):
        acts.open_account(by=by(front_desk), keeper=ashby, sign_in_name="ashby2", password=PASSWORD)
    assert Person.objects.filter(sign_in_name__startswith="ashby").count() == 1
    assert PASSWORD not in "".join(Event.objects.values_list("body", flat=True))
    assert PASSWORD not in "".join(EventDetail.objects.values_list("words", flat=True))


# Screens


def test_the_form_takes_somebody_known_or_somebody_new(client, front_desk, car, ashby):
    client.force_login(front_desk)
    address = reverse("vehicles:part-for-add", args=[car.pk])
    sent = {
        "key": str(uuid4()),
        "part": "owner",
        "end_current": "on",
        "name": "Bruno Vale",
        "phone": "0000 99",
    }
    both = client.post(address, {**sent, "keeper": str(ashby.pk)})
    assert both.status_code == 422
    assert "one of the two" in both.content.decode()
    assert 'value="Bruno Vale"' in both.content.decode()
    assert client.post(address, sent).status_code == 302
    assert client.post(address, sent).status_code == 302
    assert Keeper.objects.filter(name="Bruno Vale").count() == 1
    known = {"key": str(uuid4()), "part": "driver", "keeper": str(ashby.pk)}
    assert client.post(address, known).status_code == 302
    text = client.get(car.get_absolute_url()).content.decode()
    assert "Bruno Vale" in text
    assert "Corin Ashby" in text


def test_nobody_yet_leads_to_the_form(client, front_desk, car):
    client.force_login(front_desk)
    text = client.get(car.get_absolute_url()).content.decode()
    assert "Nobody is on record for this car" in text
    assert reverse("vehicles:part-for-add", args=[car.pk]) in text


def test_a_keepers_page_lists_their_cars_now_and_before(client, front_desk, plays, ashby, penn, car):
    plays(ashby, "owner", from_on=date(2010, 3, 1))
    plays(ashby, "driver", from_on=date(2010, 3, 1))
    plays(penn, "owner", from_on=date(2020, 3, 1))
    client.force_login(front_desk)
    text = client.get(ashby.get_absolute_url()).content.decode()
    assert "Driver from 1 Mar 2010" in text
    assert "Owner from 1 Mar 2010 until 1 Mar 2020" in text


def test_a_refused_end_comes_back_filled(client, front_desk, plays, ashby):
    row = plays(ashby, "owner", from_on=date(2010, 3, 1))
    client.force_login(front_desk)
    address = reverse("vehicles:part-for-end", args=[row.pk])
    page = client.post(address, {"key": str(uuid4()), "until_on": "2009-01-01", "reason": "sold"})
    text = page.content.decode()
    assert page.status_code == 422
    assert 'id="id_until_on_error"' in text
    assert "end before it begins" in text
    assert 'value="sold"' in text
    assert client.post(
        address, {"key": str(uuid4()), "until_on": "2012-01-01", "reason": "sold"}
    ).status_code == 302  # fmt: skip


def test_a_conflict_shows_both_addresses(client, front_desk, lead, ashby):
    acts.correct_keeper(by=by(lead), keeper=ashby, seen_version=1, reason="moved", address="Mill Lane 4")
    client.force_login(front_desk)
    sent = {
        "key": str(uuid4()),
        "seen_version": "1",
        "name": ashby.name,
        "phone": ashby.phone,
        "address": "Mill Lane 5",
        "reason": "told",
    }
    page = client.post(reverse("vehicles:keeper-correct", args=[ashby.pk]), sent)
    assert page.status_code == 422
    assert '<p class="lines">Mill Lane 4</p>' in page.content.decode()
    assert "Mill Lane 5" in page.content.decode()


def test_pages_by_role(client, technician, front_desk, car_owner, ashby):
    seen = [reverse("vehicles:keepers"), ashby.get_absolute_url()]
    written = [reverse(f"vehicles:{name}", args=[ashby.pk]) for name in ("keeper-correct", "keeper-account")]
    for person, statuses in ((technician, (200, 403)), (front_desk, (200, 200)), (car_owner, (403, 403))):
        client.force_login(person)
        assert {client.get(address).status_code for address in seen} == {statuses[0]}
        assert {client.get(address).status_code for address in written} == {statuses[1]}


def test_an_account_is_opened_through_its_form(client, front_desk, ashby):
    client.force_login(front_desk)
    address = reverse("vehicles:keeper-account", args=[ashby.pk])
    refused = client.post(address, {"key": str(uuid4()), "sign_in_name": "ashby", "password": "short"})
    assert refused.status_code == 422
    sent = {"key": str(uuid4()), "sign_in_name": "ashby", "password": PASSWORD}
    assert client.post(address, sent).headers["Location"] == ashby.get_absolute_url()
    assert client.login(username="ashby", password=PASSWORD)


def test_the_keepers_ask_as_often_for_three_as_for_thirty(client, front_desk, django_assert_max_num_queries):
    client.force_login(front_desk)

    def count():
        with django_assert_max_num_queries(50) as captured:
            assert client.get(reverse("vehicles:keepers")).status_code == 200
        return len(captured)

    for _ in range(3):
        KeeperFactory.create(front_desk)
    few = count()
    for _ in range(20):
        KeeperFactory.create(front_desk)
    assert count() == few


def test_one_person_is_several_things_at_once(client, front_desk, car):
    client.force_login(front_desk)
    address = reverse("vehicles:part-for-add", args=[car.pk])
    sent = {"key": str(uuid4()), "part": ["owner", "authoriser", "collector"], "name": "Bruno Vale"}
    for _ in range(2):
        assert client.post(address, sent).status_code == 302
    bruno = Keeper.objects.get()
    assert sorted(bruno.vehicles.values_list("part", flat=True)) == ["authoriser", "collector", "owner"]
    nothing = client.post(address, {"key": str(uuid4()), "keeper": str(bruno.pk)})
    assert "Tick what this person is for the car" in nothing.context["form"].errors["part"][0]


@pytest.mark.every_database
def test_all_the_parts_or_none(client, front_desk, car):
    client.force_login(front_desk)
    address = reverse("vehicles:part-for-add", args=[car.pk])
    sent = {"key": str(uuid4()), "part": ["driver"], "name": "Bruno Vale"}
    assert client.post(address, sent).status_code == 302
    bruno = Keeper.objects.get()
    again = {"key": str(uuid4()), "part": ["payer", "driver"], "keeper": str(bruno.pk)}
    answer = client.post(address, again)
    assert answer.status_code == 422
    assert "plays that part for this car already" in answer.context["form"].errors["keeper"][0]
    assert [row.part for row in bruno.vehicles.all()] == ["driver"]
