"""The calendar's private address: whose it is, what it holds, what asking every hour costs, and when it holds no more."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import icalendar
import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.tool import ToolFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles.acts import due as acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import outstanding
from vehicles.models import FeedAddress
from workshop.models import Event, EventDetail
from workshop.tokens import new_token, token_hash

TODAY = timezone.localdate()


@once
def car(lead):
    return VehicleFactory(person=lead, make="Veldt", model="2.4")


@once
def item(lead, car):
    return ItemFactory(
        person=lead, vehicle=car, title="Hose weeps, left; look", due_on=TODAY + timedelta(days=40)
    )


@pytest.fixture
def owned(lead, car, item, car_owner):
    keeper = KeeperFactory(person=lead, name="Corin Ashby")
    keeper.account = car_owner
    keeper.save(update_fields=["account"])
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part="owner")
    return car


def feed_for(person) -> str:
    token = new_token()
    acts.open_feed(by=by(person), token_hash=token_hash(token))
    return reverse("vehicles:due-feed", args=[token])


def events(answer) -> dict[str, icalendar.Event]:
    found = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    return {str(row["summary"]): row for row in found}


# --- what it holds -----------------------------------------------------------------------------------------------


@pytest.mark.outside("icalendar (Python library), parsing")
def test_staff_get_the_shops_list(lead, car, item, settings, published):
    settings.SITE_URL = "https://shop.example"
    answer = Client().get(feed_for(lead))
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    ((summary, row),) = events(answer).items()
    published.same(summary, f"Hose weeps, left; look · {car.name}")
    published.same(row.decoded("dtstart"), TODAY + timedelta(days=40))
    published.same(str(row["url"]), f"https://shop.example{item.get_absolute_url()}")


def test_an_owner_gets_their_own_cars_alone(lead, car_owner, owned, settings):
    settings.SITE_URL = "https://shop.example"
    ItemFactory(person=lead, vehicle=VehicleFactory(person=lead), title="Not theirs", due_on=TODAY)
    ToolFactory(person=lead)
    rows = events(Client().get(feed_for(car_owner)))
    assert list(rows) == [f"Hose weeps, left; look · {owned.name}"]
    (row,) = rows.values()
    assert str(row["url"]) == f"https://shop.example{reverse('vehicles:my-car', args=[owned.pk])}"


def test_a_car_that_was_sold_is_in_no_feed_of_who_sold_it(lead, car_owner, owned):
    url = feed_for(car_owner)
    assert events(Client().get(url))
    part = owned.keepers.get()
    keeper_acts.end_part_for(by=by(lead), vehicle_keeper=part, until_on=TODAY, reason="car sold")
    assert not events(Client().get(url))


def test_what_has_no_day_is_in_no_calendar(lead, car):
    ItemFactory(person=lead, vehicle=car, title="Rattle")
    assert "Rattle" not in " ".join(events(Client().get(feed_for(lead))))


def test_it_stays_the_same_event_and_its_number_rises(lead, car, item):
    url = feed_for(lead)
    (before,) = events(Client().get(url)).values()
    outstanding.change_due(
        by=by(lead), item=item, seen_version=item.version, due_on=TODAY + timedelta(days=90), reason="part is late"
    )  # fmt: skip
    (after,) = events(Client().get(url)).values()
    assert before["uid"] == after["uid"]
    assert int(after["sequence"]) > int(before["sequence"])
    assert after.decoded("dtstart") == TODAY + timedelta(days=90)


# --- asked for every hour ----------------------------------------------------------------------------------------


def test_an_unchanged_calendar_costs_two_queries(lead, car, item):
    url, program = feed_for(lead), Client()
    first = program.get(url)
    with CaptureQueriesContext(connection) as queries:
        again = program.get(url, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again["ETag"] == first["ETag"]
    assert len(queries) <= 2


def test_a_weak_tag_of_a_proxy_that_compresses_holds_too(lead, item):
    """RFC 9110, 13.1.2: If-None-Match compares weakly."""
    url, program = feed_for(lead), Client()
    tag = program.get(url)["ETag"]
    assert program.get(url, headers={"If-None-Match": f'"x", W/{tag}'}).status_code == 304


def test_something_written_elsewhere_sends_nothing_again(lead, car, item):
    url, program = feed_for(lead), Client()
    first = program.get(url)
    KeeperFactory(person=lead)
    again = program.get(url, headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304
    # The newer tag makes the next poll cheap again.
    with CaptureQueriesContext(connection) as queries:
        assert program.get(url, headers={"If-None-Match": again["ETag"]}).status_code == 304
    assert len(queries) <= 2


def test_something_due_sends_it_anew(lead, car, item):
    url, program = feed_for(lead), Client()
    first = program.get(url)
    ItemFactory(person=lead, vehicle=car, title="Another", due_on=TODAY)
    again = program.get(url, headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 200
    assert len(events(again)) == 2


def test_it_does_not_change_with_the_day_on_which_it_is_asked_for(lead, item, time_machine):
    url = feed_for(lead)
    first = Client().get(url)
    time_machine.move_to(timezone.now() + timedelta(days=3), tick=False)
    assert Client().get(url).content == first.content


def test_much_costs_as_many_queries_as_little(lead, car, item):
    url = feed_for(lead)
    with CaptureQueriesContext(connection) as few:
        Client().get(url)
    for number in range(8):
        ItemFactory(person=lead, vehicle=VehicleFactory(person=lead), due_on=TODAY, title=f"No. {number}")
    with CaptureQueriesContext(connection) as many:
        assert len(events(Client().get(url))) == 9
    assert len(many) == len(few) <= 20


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_it_is_only_read(lead, method):
    assert getattr(Client(), method)(feed_for(lead)).status_code == 405


# --- when it holds no more ---------------------------------------------------------------------------------------


def test_unknown_replaced_and_taken_back_all_get_the_same_page(lead, technician):
    replaced = feed_for(lead)
    revoked = feed_for(lead)
    acts.revoke_feed(by=by(lead))
    gone = feed_for(technician)
    technician.is_active = False
    technician.save(update_fields=["is_active"])
    pages = set()
    for url in (replaced, revoked, gone, reverse("vehicles:due-feed", args=[new_token()]),
                reverse("vehicles:due-feed", args=["x"]), reverse("vehicles:due-feed", args=["x" * 5000])):  # fmt: skip
        answer = Client().get(url)
        assert answer.status_code == 404
        assert answer["Cache-Control"] == "no-store"
        pages.add(answer.content)
    assert len(pages) == 1
    assert b"There is no calendar at this address" in pages.pop()


def test_it_tells_no_referrer_and_no_search_engine(lead, item):
    for url in (feed_for(lead), reverse("vehicles:due-feed", args=["nothing"])):
        answer = Client().get(url)
        assert answer["Referrer-Policy"] == "no-referrer"
        assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert "private" in Client().get(feed_for(lead))["Cache-Control"]


# --- made, shown once, replaced, taken back ----------------------------------------------------------------------


def made_by(client, person) -> tuple[dict, object]:
    client.force_login(person)
    url = reverse("vehicles:due-mine")
    sent = {name: client.get(url).context["key_form"][name].value() for name in ("key",)}
    return sent, client.post(reverse("vehicles:due-feed-open"), sent)


def test_the_address_is_shown_once_with_its_code_and_only_its_hash_is_kept(client, technician, settings):
    settings.SITE_URL = "https://shop.example"
    _, answer = made_by(client, technician)
    address = answer.context["address"]
    assert answer.status_code == 200
    assert address in answer.content.decode()
    assert "<svg" in answer.context["code"]
    assert answer["Cache-Control"] == "no-store"
    token = address.removeprefix("https://shop.example/due/").removesuffix(".ics")
    row = FeedAddress.objects.get(person=technician)
    assert row.token_hash == token_hash(token)
    assert len(token) >= 22
    for event in Event.objects.all():
        assert token not in event.body
        assert row.token_hash not in event.body
    assert not EventDetail.objects.filter(words__contains=token).exists()
    # Shown once: the page itself doesn't have it.
    assert token not in client.get(reverse("vehicles:due-mine")).content.decode()
    assert Client().get(address.removeprefix("https://shop.example")).status_code == 200


def test_the_form_sent_twice_makes_no_second_address(client, technician):
    sent, _ = made_by(client, technician)
    again = client.post(reverse("vehicles:due-feed-open"), sent)
    assert again.status_code == 422
    assert "address" not in again.context
    assert FeedAddress.objects.count() == 1


def test_a_new_address_ends_the_old_one(lead):
    old, new = feed_for(lead), feed_for(lead)
    assert Client().get(old).status_code == 404
    assert Client().get(new).status_code == 200


def test_taken_back_by_the_page(client, lead):
    url = feed_for(lead)
    client.force_login(lead)
    page = reverse("vehicles:due-feed-revoke")
    assert client.post(page, form_of(client, page)).status_code == 302
    assert Client().get(url).status_code == 404
    with pytest.raises(ValidationError, match="no calendar address"):
        acts.revoke_feed(by=by(lead))


def test_the_database_keeps_one_address_a_person(lead):
    feed_for(lead)
    with pytest.raises(IntegrityError), transaction.atomic():
        FeedAddress.objects.create(
            **by(lead, key=uuid4()).stamp(), person=lead, token_hash=token_hash("another")
        )


def test_a_car_owner_finds_the_page(client, car_owner):
    client.force_login(car_owner)
    text = client.get(reverse("vehicles:due-mine")).content.decode()
    assert "What is due on your own cars." in text
