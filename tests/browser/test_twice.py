"""Twice, at once, and without an answer: one record each time, and nothing typed is lost."""

from __future__ import annotations

import re
import time

import pytest
from django.contrib.sessions.models import Session
from django.template.loader import render_to_string
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import TorqueReading, WorkLine
from tests.browser.devices import TABLET, new_page, sign_in
from tests.factories.run import OpenLineFactory, RunFactory
from tests.factories.tool import ToolFactory
from tests.people import PASSWORD

TYPED = "Clunk from the rear left over kerbs,\nnot on the level. Only with two people in the back."


@pytest.fixture
def line(lead, car):
    return OpenLineFactory(person=lead, vehicle=car)


@pytest.fixture
def new_line(line):
    """The address of the form of another line, and how many there are with what is typed there."""
    return reverse("jobs:line-add", args=[line.job_id])


def typed_lines() -> int:
    return WorkLine.objects.filter(complaint=TYPED.replace("\n", "\r\n")).count()


def asked(page):
    return page.get_by_label("What is asked for, or what was found")


def send(page):
    return page.get_by_role("button", name="Add the line")


def open_form(page, url, person, live_server):
    sign_in(page, person, live_server.url)
    page.goto(url)
    asked(page).fill(TYPED)


def middle(button) -> tuple[float, float]:
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def posts(page) -> list[str]:
    sent: list[str] = []
    page.context.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    return sent


def test_a_double_tap_sends_once(tablet, live_server, new_line, lead):
    sent, held = posts(tablet), []
    open_form(tablet, new_line, lead, live_server)
    where = middle(send(tablet))
    tablet.route("**/lines/add/", lambda route: held.append(route))
    tablet.touchscreen.tap(*where)
    tablet.wait_for_timeout(150)
    tablet.touchscreen.tap(*where)
    tablet.wait_for_timeout(150)
    [route] = held
    route.continue_()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    assert len(sent) == 1
    assert typed_lines() == 1


def test_a_double_tap_without_javascript_makes_one_record(browser, live_server, new_line, lead):
    """Both reach the server; it is the key in the form that makes them one."""
    page = new_page(browser, live_server.url, java_script_enabled=False, **TABLET)
    sent, answers = posts(page), []
    open_form(page, new_line, lead, live_server)
    where = middle(send(page))

    def first_answer_is_slow(route):
        if answers:
            route.continue_()
        else:
            answers.append(route.fetch(max_redirects=0))

    page.route("**/lines/add/", first_answer_is_slow)
    page.touchscreen.tap(*where)
    for _ in range(50):
        if not answers:
            page.wait_for_timeout(100)
    assert [answer.status for answer in answers] == [302]
    assert typed_lines() == 1
    page.touchscreen.tap(*where)
    expect(page.get_by_text("Line added.").first).to_be_visible()
    assert len(sent) == 2
    assert typed_lines() == 1
    page.context.close()


@pytest.fixture
def keypad(tablet, live_server, lead, technician, car):
    """The tablet at the first of five wheel nuts, the tool chosen."""
    wheel = {
        "title": "Wheel nuts",
        "fasteners": 5,
        "stages": [{"name": "Final", "value": "120", "tolerance_percent": "15", "unit": "N.m"}],
    }
    tool = ToolFactory(person=lead)
    run = RunFactory(person=lead, vehicle=car, steps=[wheel])
    sign_in(tablet, technician, live_server.url)
    tablet.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")
    return tablet


def clicked(page):
    return page.get_by_role("button", name="Record", exact=True)


def ringed(page, fastener: int) -> None:
    ring = page.locator(".pattern .fastener.next a")
    expect(ring).to_have_attribute("aria-label", re.compile(rf"^{fastener}:"))


def test_a_double_tap_is_one_reading(keypad):
    sent = posts(keypad)
    where = middle(clicked(keypad))
    keypad.touchscreen.tap(*where)
    keypad.touchscreen.tap(*where)
    ringed(keypad, 3)
    keypad.wait_for_timeout(500)
    assert len(sent) == 1
    assert TorqueReading.objects.count() == 1


# The time between the halves of a double tap, for a machine with other work: a second half that comes later than the
# 400 ms of the page would rightly count as a tap of its own.
SLOW_HANDS = """(() => {
  const set = window.setTimeout.bind(window);
  window.setTimeout = (then, wait, ...more) => set(then, wait === 400 ? 5000 : wait, ...more);
})()"""


def test_a_double_tap_that_the_answer_overtook_is_one_reading(keypad):
    """Its second half meets the next fastener's button in the same place: that nut was not tightened."""
    keypad.add_init_script(SLOW_HANDS)
    keypad.reload()
    clicked(
        keypad
    ).tap()  # after the first reading the verdict stands above the button, which stays where it is
    ringed(keypad, 3)
    where = middle(clicked(keypad))
    expect(keypad.locator("form[hx-post] button[inert]")).to_have_count(0)
    keypad.touchscreen.tap(*where)
    ringed(keypad, 5)
    assert middle(clicked(keypad)) == where
    keypad.touchscreen.tap(*where)
    keypad.wait_for_timeout(500)
    ringed(keypad, 5)
    assert TorqueReading.objects.count() == 2
    expect(keypad.locator("form[hx-post] button[inert]")).to_have_count(0)
    keypad.touchscreen.tap(*where)  # a tap of its own counts
    ringed(keypad, 2)
    assert TorqueReading.objects.count() == 3


def test_back_and_send_again_makes_one_record(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    send(tablet).tap()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    there = tablet.url
    tablet.go_back()
    expect(asked(tablet)).to_have_value(TYPED)
    send(tablet).tap()
    tablet.wait_for_url(there)
    assert typed_lines() == 1


def test_back_and_send_other_words_is_refused_and_keeps_them(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    send(tablet).tap()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    tablet.go_back()
    asked(tablet).fill("Something else altogether")
    send(tablet).tap()
    expect(tablet.locator("#form-errors")).to_contain_text("was sent already, with other content")
    expect(asked(tablet)).to_have_value("Something else altogether")
    assert typed_lines() == 1
    assert not WorkLine.objects.filter(complaint="Something else altogether").exists()


def test_two_tablets_at_one_line_lose_nothing(browser, tablet, live_server, line, technician, lead):
    other = new_page(browser, live_server.url, **TABLET)
    url = reverse("jobs:line-write", args=[line.pk])
    first, second = "Nuts hand-tight on two wheels.", "Two studs stretched, one nut seized."
    for page, person in ((tablet, technician), (other, lead)):
        sign_in(page, person, live_server.url)
        page.goto(url)
    tablet.get_by_label("Cause").fill(first)
    other.get_by_label("Cause").fill(second)
    other.get_by_label("Correction").fill("Studs and nuts renewed.")

    tablet.get_by_role("button", name="Save").tap()
    expect(tablet.get_by_text("Written.")).to_be_visible()
    other.get_by_role("button", name="Save").tap()
    expect(other.locator("#form-errors")).to_contain_text(f"{technician} changed this at ")
    expect(other.locator("#id_cause_field .theirs .lines")).to_have_text(first)
    expect(other.get_by_label("Cause")).to_have_value(second)
    expect(other.get_by_label("Correction")).to_have_value("Studs and nuts renewed.")
    line.refresh_from_db()
    assert (line.cause, line.correction) == (first, "")

    # Saved again with both texts in view, it is a decision.
    other.get_by_label("Cause").fill(f"{first} {second}")
    other.get_by_role("button", name="Save").tap()
    expect(other.get_by_text("Written.")).to_be_visible()
    line.refresh_from_db()
    assert (line.cause, line.correction) == (f"{first} {second}", "Studs and nuts renewed.")
    other.context.close()


BUSY = "The database was busy for ten seconds. Nothing was saved: go back and send the form again."


def test_a_busy_server_says_so_and_back_shows_what_was_typed(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    answer = render_to_string("400.html", {"messages_to_show": [BUSY]})
    tablet.route("**/*", lambda route: route.fulfill(status=503, content_type="text/html", body=answer)
                 if route.request.method == "POST" else route.continue_())  # fmt: skip
    send(tablet).tap()
    expect(tablet.get_by_text(BUSY)).to_be_visible()
    tablet.unroute_all()
    tablet.go_back()
    expect(asked(tablet)).to_have_value(TYPED)
    expect(send(tablet)).to_be_enabled()
    assert typed_lines() == 0
    send(tablet).tap()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 1


def on_record_once() -> None:
    """The reading of 118 is there, and no other; what the tablet kept is sent within seconds."""
    until = time.monotonic() + 15
    while not TorqueReading.objects.exists() and time.monotonic() < until:
        time.sleep(0.2)
    assert [row.typed for row in TorqueReading.objects.all()] == [118]


@pytest.mark.parametrize("trouble", ["busy", "no network", "signed out"])
def test_a_reading_that_no_answer_came_to_is_kept_and_counts_once(keypad, technician, trouble):
    """It is never called recorded; the hand goes on to the next fastener, and it is sent without another tap."""
    keypad.get_by_label("Number", exact=True).fill("118")
    if trouble == "busy":
        keypad.route("**/readings/add/", lambda route: route.fulfill(status=503, body="busy"))
    elif trouble == "no network":
        keypad.context.set_offline(True)
    else:
        Session.objects.all().delete()
        keypad.context.clear_cookies(name="device")  # no grant holds without it: it needs its author
    clicked(keypad).tap()
    expect(keypad.locator("[data-kept-key]")).to_have_count(1)
    expect(keypad.locator(".last")).to_contain_text("kept on this tablet")
    assert not TorqueReading.objects.exists()
    keypad.unroute_all()
    keypad.context.set_offline(False)
    if trouble == "signed out":
        window = keypad.context.new_page()
        window.goto(reverse("workshop:login"))
        window.get_by_label("Name").fill(technician.sign_in_name)
        window.get_by_label("Password").fill(PASSWORD)
        window.get_by_role("button", name="Sign in").tap()
        expect(window.get_by_role("heading", level=1)).not_to_have_text("Sign in")
    on_record_once()


def test_an_answer_that_never_comes_gives_the_button_back(tablet, live_server, new_line, lead):
    tablet.clock.install()
    open_form(tablet, new_line, lead, live_server)
    # Status 204 leaves a browser on its page: for the page it is as if no answer had come yet.
    tablet.route("**/lines/add/", lambda route: route.fulfill(status=204)
                 if route.request.method == "POST" else route.continue_())  # fmt: skip
    button = tablet.locator(".actions.stuck .btn.primary")
    button.tap()
    expect(button).to_have_text("Sending…")
    expect(button).to_be_disabled()
    expect(asked(tablet)).to_have_value(TYPED)
    tablet.clock.fast_forward(20_001)
    expect(button).to_have_text("Add the line")
    expect(button).to_be_enabled()
    expect(asked(tablet)).to_have_value(TYPED)
    tablet.unroute_all()
    button.tap()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 1


def test_signed_out_meanwhile_a_form_is_still_there_after_signing_in(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    Session.objects.all().delete()
    send(tablet).tap()
    expect(tablet.get_by_role("heading", name="Sign in")).to_be_visible()
    expect(tablet.get_by_text("You had been signed out, so nothing was saved.")).to_be_visible()
    tablet.get_by_label("Name").fill(lead.sign_in_name)
    tablet.get_by_label("Password").fill(PASSWORD)
    tablet.get_by_role("button", name="Sign in").tap()
    expect(tablet.get_by_role("heading", name="New work line")).to_be_visible()
    tablet.go_back()
    tablet.go_back()
    expect(asked(tablet)).to_have_value(TYPED)
    send(tablet).tap()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 1
