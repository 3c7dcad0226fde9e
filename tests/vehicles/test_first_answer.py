"""The vehicle page's first answer: what it is, what needs attention and in what order, what is not factory, the visits."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from tests.factories.fault import FaultFactory
from tests.factories.handover import HandedOverFactory, in_work, owner_of
from tests.factories.job import TagFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.part import PartFactory
from tests.factories.vehicle import ReadingFactory
from tests.people import by
from vehicles.acts import outstanding as item_acts
from vehicles.acts import vehicle as acts
from vehicles.models import Place


@pytest.fixture
def page(client, technician, car):
    client.force_login(technician)

    def opened():
        answer = client.get(car.get_absolute_url())
        assert answer.status_code == 200
        return answer

    return opened


def needs(page) -> list[str]:
    return [need.title for need in page().context["needs"]]


def test_an_empty_car_says_so(page):
    answer = page()
    assert "Nothing is open on this car." in answer.text
    assert "No part is on record yet." in answer.text
    assert "The car was not here yet." in answer.text
    assert "nobody on record" in answer.text
    assert "no reading on record" in answer.text


def test_the_head_says_plate_number_keeper_and_the_truth_of_the_odometer(page, lead, car):
    acts.add_registration(by=by(lead), vehicle=car, plate="QL 06 AB")
    owner_of(car, lead, phone="00 555 0177")
    ReadingFactory.create(lead, vehicle=car, km=148210)
    text = page().text
    head = text[text.index("car-head") : text.index('id="needs"')]
    for word in ("QL 06 AB", car.number, "Corin Ashby", "00 555 0177", "148210 km", "True distance"):
        assert word in head, word


def test_what_needs_a_hand_comes_first(page, lead, car):
    minor = ItemFactory(person=lead, vehicle=car, severity="minor")
    major = ItemFactory(person=lead, vehicle=car, severity="major")
    dangerous = ItemFactory(person=lead, vehicle=car, severity="dangerous")
    fault = FaultFactory(person=lead, vehicle=car, severity="minor")
    job = in_work(car, owner_of(car, lead), lead)
    titles = needs(page)
    assert titles[1:4] == [str(dangerous), str(major), str(fault)]
    assert titles[4] == "1 more outstanding: minor, or advice"
    first = page().context["needs"][0]
    assert first.title == "Look at the car and write the first work line"
    assert job.number in first.text
    assert str(minor) not in titles
    item_acts.end_by_finding(by=by(lead), item=dangerous, seen_version=1, ended_finding="was not so")
    assert str(dangerous) not in needs(page)


def test_an_item_that_is_due_is_listed_by_itself(page, lead, car):
    long_ago = timezone.now() - timedelta(days=40)
    item = ItemFactory(
        person=lead,
        vehicle=car,
        severity="advice",
        made_at=long_ago,
        due_on=(long_ago + timedelta(days=9)).date(),
    )
    [need] = page().context["needs"]
    assert (need.title, need.state, need.hand) == (str(item), "Due now", True)


def test_a_booking_waits_below_what_is_dangerous(page, lead, car):
    from tests.factories.job import JobFactory

    JobFactory(person=lead, vehicle=car)
    item = ItemFactory(person=lead, vehicle=car, severity="dangerous")
    assert needs(page)[0] == str(item)
    assert not page().context["needs"][1].hand


def test_a_tag_stands_above_all(page, lead, car):
    TagFactory(person=lead, vehicle=car, kind="no_road", because="no brake fluid")
    text = page().text
    assert text.index("no brake fluid") < text.index('id="needs"')


def test_of_the_parts_the_ones_that_matter_are_named(page, lead, car):
    plain = PartFactory(
        person=lead, vehicle=car, place=Place.objects.get(pk="glass"), provenance="aftermarket"
    )
    grave = PartFactory(
        person=lead,
        vehicle=car,
        place=Place.objects.get(pk="tow-bar"),
        provenance="unknown",
        condition="defective",
    )
    PartFactory(person=lead, vehicle=car, place=Place.objects.get(pk="roof"), provenance="factory_standard")
    text = page().text
    glance = text[text.index('id="glance-not-factory"') : text.index('id="glance-visits"')]
    assert 'class="count">2<' in glance
    assert glance.index(grave.description) < glance.index(plain.description)


def test_the_last_visits_name_what_was_done_and_lead_to_the_sheet(page, lead, car):
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))
    text = page().text
    glance = text[text.index('id="glance-visits"') : text.index('class="within"')]
    assert "Squeals when braking" in glance
    assert f"/sheets/{sheet.pk}/" in glance


def test_the_page_asks_as_often_for_a_little_as_for_much(
    client, lead, car, technician, django_assert_max_num_queries
):
    client.force_login(technician)
    keeper = owner_of(car, lead)
    places = list(Place.objects.filter(positions="")[:28])

    def more(times):
        for _ in range(times):
            FaultFactory(person=lead, vehicle=car)
            ItemFactory(person=lead, vehicle=car, severity="major")
            PartFactory(person=lead, vehicle=car, place=places.pop(), provenance="aftermarket")
            acts.read_identity(by=by(lead), vehicle=car, source="plate", number=car.number)

    def count():
        with django_assert_max_num_queries(60) as captured:
            assert client.get(car.get_absolute_url()).status_code == 200
        return len(captured)

    HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    more(2)
    few = count()
    more(24)
    assert count() == few


def test_the_sections_of_the_page_are_led_to(page):
    text = page().text
    for slug in ("identity", "outstanding", "parts", "faults", "jobs", "odometer", "people"):
        assert f'href="#{slug}"' in text
        assert f'id="{slug}"' in text
