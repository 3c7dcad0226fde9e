"""The owner's account: what must be known first, what was done in plain words, and nothing of former owners."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from tests.factories.handover import HandedOverFactory, authorised, done_line, finish, in_work, owner_of
from tests.factories.job import JobFactory, TagFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.work import MeasurementFactory
from tests.once import once
from tests.people import PASSWORD, by
from vehicles.acts import keeper as keepers
from vehicles.models import VehicleKeeper


@once
def owned(front_desk, car):
    keeper = owner_of(car, front_desk)
    person = keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="ashby", password=PASSWORD)
    return keeper, person


@pytest.fixture
def read(client, car, owned):
    client.force_login(owned[1])

    def opened() -> str:
        answer = client.get(reverse("vehicles:my-car", args=[car.pk]))
        assert answer.status_code == 200
        return answer.text

    return opened


def test_tags_and_dangers_are_said_first_in_plain_words(read, lead, car):
    ItemFactory(person=lead, vehicle=car, title="Wiper blades", severity="advice")
    assert "First of all" not in read()
    TagFactory(person=lead, vehicle=car, kind="no_road", because="no brake fluid")
    ItemFactory(person=lead, vehicle=car, title="Tyres too weak", severity="dangerous")
    text = read()
    first = text[text.index("First of all") : text.index('id="outstanding-title"')]
    assert "Do not drive it on the road" in first
    assert "no brake fluid" in first
    assert "Tyres too weak" in first
    assert "Wiper blades" not in first
    for forbidden in ("may drive", "safe to drive", "complies", "illegal"):
        assert forbidden not in text.casefold()


def test_how_soon_an_item_matters_is_said(read, lead, car):
    item = ItemFactory(person=lead, vehicle=car, title="Hose", due_on=by(lead).day + timedelta(days=42))
    assert "in 42 days" in read()
    assert item.title in read()


def test_a_visit_is_told_with_what_was_asked_found_done_and_measured(read, lead, car, owned):
    keeper, _ = owned
    job = in_work(car, keeper, lead, title="Brakes", complaint="It squeals in the morning.")
    line = done_line(job, keeper, lead)
    MeasurementFactory(person=lead, line=line, what="Pad thickness", phase="after")
    finish(line, lead)
    text = read()
    assert "You told us: “It squeals in the morning.”" in text
    assert "Pads worn to the plate." in text
    assert "Front pads renewed" in text
    assert "Pad thickness" in text
    assert "is with us and in work" in text


def test_what_was_agreed_and_what_was_put_off_is_told(read, lead, car, owned):
    keeper, _ = owned
    job = in_work(car, keeper, lead)
    from jobs.acts import answer, work

    yes = work.add_line(by=by(lead), job=job, complaint="New pads")
    authorised(yes, keeper, lead)
    later = work.add_line(by=by(lead), job=job, complaint="New hoses")
    answer.estimate_line(by=by(lead), line=later, seen_version=1, estimate=100, cost=None)
    answer.record_answer(
        by=by(lead), line=later, answer="later", given_by=keeper, right="owner", channel="phone"
    )
    text = read()
    assert "Agreed and still to be done: New pads" in text
    assert "You put off: New hoses" in text


def test_nothing_that_a_former_owner_said_is_shown(client, front_desk, lead, car):
    """The work of an earlier visit stays readable; words, answers and papers of who had the car then do not."""
    before = owner_of(car, lead, name="Quill Marden")
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=before)
    part = VehicleKeeper.objects.get(keeper=before)
    keepers.end_part_for(by=by(front_desk), vehicle_keeper=part, until_on=by(front_desk).day, reason="sold")
    new = owner_of(car, front_desk, name="Orla Penn")
    # The new owner's part begins the day after the visit.
    VehicleKeeper.objects.filter(keeper=new).update(from_on=by(front_desk).day + timedelta(days=1))
    person = keepers.open_account(by=by(front_desk), keeper=new, sign_in_name="penn", password=PASSWORD)
    client.force_login(person)
    text = client.get(reverse("vehicles:my-car", args=[car.pk])).text
    assert "Front pads renewed" in text
    for word in (
        "It squeals when I brake",
        "Quill",
        "Marden",
        "You told us",
        reverse("jobs:sheet-pdf", args=[sheet.pk]),
    ):
        assert word not in text, word
    assert "1 sheet from before the car was yours" in text


def test_a_booking_is_told_and_a_cancelled_one_is_not(read, lead, car, owned):
    JobFactory(person=lead, vehicle=car, title="Service to come")
    from jobs.acts import job as acts

    gone = JobFactory(person=lead, vehicle=car, title="Called off")
    acts.cancel(by=by(lead), job=gone, reason="owner is away")
    text = read()
    assert "Service to come" in text
    assert "Called off" not in text
