"""A car's owner at the telephone: signs in, reads the account, says that a danger was read, answers an estimate."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from playwright.sync_api import expect

from jobs.acts import answer as answers
from jobs.acts import work
from jobs.models import LineAnswer
from tests.browser.devices import PHONE, Watch
from tests.browser.sweep import BUTTON, LEAST, MEASURE, REACH, SIDEWAYS, WCAG, measured, violations
from tests.factories.handover import in_work, owner_of
from tests.factories.outstanding import ItemFactory
from tests.people import PASSWORD, by
from vehicles.acts import keeper as keepers
from vehicles.acts import part as parts
from vehicles.models import Place, Telling

NARROW_SCREEN = {SIDEWAYS: PHONE["viewport"]["width"], MEASURE: [LEAST, BUTTON], REACH: None}


@pytest.fixture
def owned(lead, front_desk, car):
    keeper = owner_of(car, front_desk)
    keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="corin", password=PASSWORD)
    parts.record_part(
        by=by(lead), vehicle=car, place=Place.objects.get(pk="tow-bar"), description="Tow bar TB-6640",
        provenance="aftermarket", factory_fits="no tow bar", evidence=[("part_number", "TB-6640 on the plate")],
    )  # fmt: skip
    ItemFactory(
        person=lead,
        vehicle=car,
        title="Tyres too weak",
        severity="dangerous",
        due_on=by(lead).day + timedelta(days=9),
    )
    job = in_work(car, keeper, lead, title="Brakes")
    line = work.add_line(by=by(lead), job=job, complaint="New front pads")
    answers.estimate_line(by=by(lead), line=line, seen_version=1, estimate=Decimal("186.50"), cost=None)
    return car


def test_an_owner_reads_acknowledges_and_answers_on_the_telephone(phone, owned, live_server):
    watch = Watch(phone, live_server.url)
    phone.goto("/sign-in/")
    phone.locator("[name=username]").fill("corin")
    phone.locator("[name=password]").fill(PASSWORD)
    phone.get_by_role("button", name="Sign in", exact=True).tap()
    phone.get_by_role("link", name=re.compile("Drayman")).tap()
    # What is dangerous stands on the first screen, before anything else.
    expect(phone.get_by_role("heading", name="First of all")).to_be_in_viewport()
    expect(phone.locator(".first-words").get_by_text("Tyres too weak")).to_be_in_viewport()
    for colours in ("light", "dark"):
        phone.emulate_media(color_scheme=colours)
        phone.reload()  # colours fade into each other: looked at when they stand
        assert violations(phone, WCAG) == []
    assert measured(phone, NARROW_SCREEN) == []
    phone.emulate_media(color_scheme="light")
    phone.get_by_role("link", name="What is not factory on it").tap()
    expect(phone.get_by_role("heading", name="Tow bar TB-6640")).to_be_in_viewport()

    phone.get_by_role("link", name=re.compile("I have read this.*Tyres too weak")).tap()
    expect(phone.get_by_text("agrees to no work and to no cost")).to_be_visible()
    assert violations(phone, WCAG) + measured(phone, NARROW_SCREEN) == []
    phone.get_by_role("button", name="I have read this").tap()
    expect(phone.get_by_text("it is on record that you know of it")).to_be_visible()
    expect(phone.get_by_role("link", name=re.compile("I have read this"))).to_have_count(0)
    expect(phone.get_by_text("Your answer: acknowledged")).to_be_visible()

    phone.get_by_role("link", name=re.compile("Answer.*New front pads")).tap()
    phone.get_by_label("Yes, please do it").check()
    phone.get_by_role("button", name="Send the answer").tap()
    expect(phone.get_by_text("Agreed and still to be done: New front pads")).to_be_visible()
    assert Telling.objects.get().channel == "account"
    assert LineAnswer.objects.get().channel == "account"
    assert watch.complaints == []
