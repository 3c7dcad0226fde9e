"""The shop's tablet in hands: enrolled, opened by touch, locked by itself with what was typed kept, opened again."""

from __future__ import annotations

import json
import re

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.devices import PHONE, Watch, new_page, sign_in
from tests.people import PASSWORD, by
from workshop.acts import pins as acts
from workshop.models import Device, PinLock

PIN, OTHER_PIN, WRONG = "395172", "806413", "111119"
MINUTES = 60_000
KEEP = """async (many) => {
  const { outbox } = window;
  const keys = [];
  for (let n = 0; n < many; n += 1) keys.push(await outbox.put({ key: outbox.newKey(), url: "/floor/", what: "Labour", fields: [] }));
  return keys;
}"""


@pytest.fixture
def pinned(technician, other_technician):
    acts.set_pin(by=by(technician), pin=PIN)
    acts.set_pin(by=by(other_technician), pin=OTHER_PIN)


def tap_pin(page, pin):
    for digit in pin:
        page.get_by_role("button", name=digit, exact=True).tap()


def enrol(page, lead):
    """By the lead, on the tablet itself: name and password once, then Shop, Devices."""
    page.goto(reverse("workshop:login"))
    page.get_by_label("Name to sign in with").fill(lead.sign_in_name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.locator(".who .name")).to_contain_text(lead.name)
    page.goto(reverse("workshop:devices"))
    page.get_by_role("link", name="Enrol this device").tap()
    page.get_by_label("Name").fill("Tablet, bay one")
    page.get_by_label("Locks itself after").fill("4")
    page.get_by_role("button", name="Enrol it").tap()
    expect(page.get_by_text("“Tablet, bay one” is enrolled.")).to_be_visible()


def sign_out(page):
    page.get_by_role("button", name="Sign out").tap()
    expect(page.get_by_role("heading", name="Who is it?")).to_be_visible()


def enter(page, person, pin=PIN):
    page.get_by_role("link", name=re.compile(person.name)).tap()
    expect(page.get_by_role("heading", name=person.name)).to_be_visible()
    tap_pin(page, pin)


def cover(page):
    return page.get_by_role("dialog", name=re.compile("."))


def session_of(page) -> str:
    name = settings.SESSION_COOKIE_NAME
    return next(each["value"] for each in page.context.cookies() if each["name"] == name)


def test_a_day_at_the_tablet(tablet, live_server, lead, technician, other_technician, car, pinned):
    """Enrol, choose a PIN, enter by touch, lock by itself, go on where one was, hand it to a colleague."""
    watch = Watch(tablet, live_server.url)
    enrol(tablet, lead)
    # The lead has no PIN yet and is asked for one at once.
    tablet.get_by_label("Your password").fill(PASSWORD)
    tablet.get_by_label("New PIN", exact=True).fill("730942")
    tablet.get_by_label("The new PIN once more").fill("730942")
    tablet.get_by_role("button", name="Take this PIN").tap()
    expect(tablet.get_by_text("Your PIN holds from now on")).to_be_visible()
    sign_out(tablet)

    # The door, by touch, back to the page that was asked for.
    form = reverse("vehicles:fault-add", args=[car.pk])
    tablet.goto(form)
    expect(tablet.get_by_role("heading", name="Who is it?")).to_be_visible()
    watch.expected = 422
    enter(tablet, technician, WRONG)
    expect(tablet.get_by_text("Wrong PIN. Four more tries")).to_be_visible()
    watch.complaints.clear()  # the browser writes a line for the 422 of a script
    watch.expected = 200
    tap_pin(tablet, "39")
    expect(tablet.get_by_text("2 of 6")).to_be_attached()
    tablet.keyboard.type("5172")  # the rest on a keyboard
    expect(tablet).to_have_url(f"{live_server.url}{form}")
    session = session_of(tablet)

    # Four minutes without a touch: covered, inert, and what was typed is still there.
    tablet.clock.install()
    tablet.goto(form)
    title = tablet.locator("form.form input[name=title]")
    title.fill("Clunk from the rear left")
    title.focus()
    second = tablet.context.new_page()
    second.goto(reverse("jobs:floor"))
    tablet.clock.run_for(3 * MINUTES)
    expect(cover(tablet)).to_have_count(0)
    tablet.clock.run_for(1 * MINUTES + 1000)
    expect(cover(tablet)).to_be_visible()
    expect(cover(second)).to_be_visible()  # tabs lock together
    assert tablet.title().startswith("Locked")
    assert (
        tablet.locator("main").evaluate("each => each.inert && getComputedStyle(each).visibility") == "hidden"
    )
    assert tablet.locator("main").get_attribute("aria-hidden") == "true"
    expect(tablet.get_by_role("heading", name="Clunk")).to_have_count(0)
    assert "locked" in Session.objects.get(pk=session).get_decoded()
    tap_pin(tablet, PIN)
    expect(cover(tablet)).to_have_count(0)
    expect(title).to_have_value("Clunk from the rear left")
    expect(title).to_be_focused()
    expect(cover(second)).to_have_count(0)
    second.close()
    assert session_of(tablet) == session
    assert not tablet.title().startswith("Locked")

    # Woken after an hour: the touch that wakes it opens nothing.
    tablet.clock.fast_forward(60 * MINUTES)
    expect(cover(tablet)).to_be_visible()
    # The password does as well.
    tablet.get_by_text("With the password instead").tap()
    tablet.get_by_label("Password").fill(PASSWORD)
    tablet.get_by_label("Password").press("Enter")
    expect(cover(tablet)).to_have_count(0)

    # The button locks at once. Somebody else, then the first again: the draft waits for its author alone.
    tablet.get_by_role("button", name="Lock", exact=True).tap()
    expect(cover(tablet)).to_be_visible()
    tablet.get_by_role("button", name="Somebody else").tap()
    expect(tablet.get_by_role("heading", name="Who is it?")).to_be_visible()
    enter(tablet, other_technician, OTHER_PIN)
    expect(tablet.locator(".who .name")).to_contain_text(other_technician.name)
    tablet.goto(form)
    expect(tablet.get_by_role("region", name="Not sent")).to_have_count(0)
    tablet.get_by_role("button", name="Lock", exact=True).tap()
    tablet.get_by_role("button", name="Somebody else").tap()
    enter(tablet, technician)
    expect(tablet.locator(".who .name")).to_contain_text(technician.name)
    tablet.goto(form)
    expect(tablet.get_by_role("region", name="Not sent")).to_contain_text("Clunk from the rear left")
    assert not watch.complaints


def test_without_the_network_the_same_person_opens_the_screen(tablet, lead, technician, pinned):
    enrol(tablet, lead)
    sign_out(tablet)
    enter(tablet, technician)
    expect(tablet.locator(".who .name")).to_contain_text(technician.name)
    kept = f"screen {technician.pk}"
    read = "name => localStorage.getItem(name)"
    verifier = json.loads(tablet.evaluate(read, kept))
    assert verifier["rounds"] >= 200_000
    assert len(verifier["salt"]) == 32
    assert PIN not in json.dumps(verifier)

    tablet.context.set_offline(True)
    keys = tablet.evaluate(KEEP, 3)
    tablet.get_by_role("button", name="Lock", exact=True).tap()
    expect(cover(tablet)).to_contain_text("What you typed is kept. Your page is as you left it.")
    waits = cover(tablet).locator("[data-waits]")
    expect(waits).to_have_text("3 kept on this tablet, sent by themselves when the network is back.")
    tablet.evaluate("keys => Promise.all(keys.slice(1).map((key) => window.outbox.remove(key)))", keys)
    expect(waits).to_have_text("1 kept on this tablet, sent by itself when the network is back.")
    tablet.evaluate("([key]) => window.outbox.remove(key)", keys)
    expect(waits).to_be_hidden()
    tablet.get_by_role("button", name="Somebody else").tap()
    expect(tablet.get_by_text("Others wait until the network is back")).to_be_visible()
    tap_pin(tablet, WRONG)
    expect(tablet.get_by_text("4 more tries without the network")).to_be_visible()
    tap_pin(tablet, PIN)
    expect(cover(tablet)).to_have_count(0)
    expect(tablet.get_by_text("guards this screen, not the records")).to_be_visible()
    # Five wrong ones: then it waits for the network, also for the right one.
    tablet.get_by_role("button", name="Lock", exact=True).tap()
    for left in ("4 more tries", "3 more tries", "2 more tries", "1 more try", "the lock waits until"):
        tap_pin(tablet, WRONG)
        expect(tablet.get_by_text(left)).to_be_visible()
    tap_pin(tablet, PIN)
    expect(tablet.get_by_text("Five wrong PINs without the network")).to_be_visible()
    tablet.context.set_offline(False)
    tap_pin(tablet, PIN)
    expect(cover(tablet)).to_have_count(0)
    assert json.loads(tablet.evaluate(read, kept))["tries"] == 0

    # A page of this tablet where it is not reached by https has no such way, and says so.
    sign_out(tablet)
    expect(tablet.get_by_role("heading", name="Who is it?")).to_be_visible()
    assert tablet.evaluate(read, kept) is None  # signing out takes it away


def test_five_wrong_lock_the_name_and_the_lead_shuts_the_tablet_out(
    tablet, browser, live_server, lead, technician, pinned
):
    enrol(tablet, lead)
    sign_out(tablet)
    tablet.get_by_role("link", name=re.compile(technician.name)).tap()
    phone = new_page(browser, live_server.url, **PHONE)
    sign_in(phone, lead, live_server.url)
    phone.goto(reverse("jobs:floor"))
    for said in ("Four more", "Three more", "Two more", "One more", "is locked on this tablet until"):
        tap_pin(tablet, WRONG)
        expect(tablet.get_by_text(said)).to_be_visible()
    assert PinLock.objects.get().person == technician
    # The lead's floor hears of it by itself, and the tablet is shut out in one tap.
    told = phone.get_by_text(f"Five wrong PINs for {technician.name}")
    expect(told).to_be_visible(timeout=12_000)
    phone.get_by_role("button", name="Tablet lost: revoke it now").tap()
    expect(phone.get_by_text("“Tablet, bay one” is revoked")).to_be_visible()
    assert Device.objects.get(name="Tablet, bay one").revoked_because == "Lost"
    tablet.goto("/")
    expect(tablet.get_by_role("heading", name="This tablet was revoked")).to_be_visible()
    phone.context.close()
