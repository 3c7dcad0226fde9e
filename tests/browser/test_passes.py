"""A car's owner gets in without a password: the code at the counter is scanned, or typed, on a telephone."""

from __future__ import annotations

import io
import re

import pytest
from django.urls import reverse
from PIL import Image
from playwright.sync_api import expect

from tests.browser.devices import PHONE, Watch, new_page, sign_in
from tests.browser.sweep import looked_at
from tests.factories.keeper import KeeperFactory
from tests.people import by
from tests.qr_reader import read
from vehicles.acts import keeper as keepers
from workshop.models import OneTimePass

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def counter(tablet, live_server, settings, front_desk, car):
    """The desk's tablet, on the page of the car's owner."""
    settings.SITE_URL = live_server.url
    keeper = KeeperFactory.create(front_desk, name="Corin Ashby")
    keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part="owner")
    watch = Watch(tablet, live_server.url)
    sign_in(tablet, front_desk, live_server.url)
    tablet.goto(reverse("vehicles:keeper", args=[keeper.pk]))
    tablet.get_by_role("link", name="Let them see their car").click()
    tablet.get_by_role("button", name="Show it at the counter").click()
    expect(tablet.locator(".pass-code")).to_be_visible()
    yield tablet
    assert watch.complaints == []


def scanned(page) -> str:
    return read(Image.open(io.BytesIO(page.locator(".pass-qr svg").screenshot()))).text


def test_scanned_read_and_signed_out(counter, phone, live_server, car):
    watch = Watch(phone, live_server.url)
    link = scanned(counter)
    for page in (counter, phone):  # a colour on its way would be measured as it is then
        page.emulate_media(reduced_motion="reduce")
    assert looked_at(counter) == []
    phone.goto(link)
    assert phone.url == f"{live_server.url}/enter/go/", "the address bar holds no token"
    assert looked_at(phone) == []
    phone.set_viewport_size(PHONE["viewport"])
    button = phone.get_by_role("button", name="Go to my car")
    assert button.bounding_box()["height"] >= 48
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
    button.click()
    expect(phone.get_by_role("heading", name="My cars")).to_be_visible()
    expect(counter.get_by_role("heading", name=re.compile(r"Used at \d\d:\d\d"))).to_be_visible()
    expect(counter.locator("#live-said")).to_have_text(re.compile(r"Used at \d\d:\d\d"))
    expect(counter.locator(".pass-code")).to_have_count(0)
    phone.get_by_role("link", name=car.name).click()
    expect(phone.get_by_role("heading", level=1)).to_contain_text(car.make)
    phone.get_by_role("button", name="Sign out").click()
    expect(phone.get_by_role("link", name="I own a car")).to_be_visible()
    phone.goto(reverse("vehicles:my-cars"))
    expect(phone.get_by_label("Password")).to_be_visible()
    assert watch.complaints == []
    watch.expected = 410
    phone.goto(link)
    expect(phone.get_by_role("heading", name="opens nothing any more")).to_be_visible()
    assert watch.complaints == []


def test_typed_on_a_borrowed_device(counter, browser, phone, live_server):
    code = counter.locator(".pass-code").inner_text()
    watch = Watch(phone, live_server.url, expected=422)
    phone.goto("/enter/")
    field = phone.get_by_label("Code", exact=True)
    field.fill("AAAA AAAA")
    phone.get_by_role("button", name="Go to my car").click()
    expect(phone.get_by_role("alert").filter(has_text="You have 4 more tries")).to_be_visible()
    field.fill(f" {code.lower()} ")
    phone.get_by_label("This is not my own device").check()
    phone.get_by_role("button", name="Go to my car").click()
    expect(phone.get_by_role("heading", name="My cars")).to_be_visible()
    session = next(each for each in phone.context.cookies() if each["name"] == "sessionid")
    assert session["expires"] == -1, "it goes with the browser"
    assert watch.complaints == []
    late = new_page(browser, live_server.url, **PHONE)
    late.goto("/enter/")
    late.get_by_label("Code", exact=True).fill(code)
    late.get_by_role("button", name="Go to my car").click()
    expect(late.get_by_role("alert").filter(has_text="used already")).to_be_visible()
    late.context.close()
    assert OneTimePass.objects.exclude(used_at=None).count() == 1
