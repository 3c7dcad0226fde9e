"""The run screen by touch: a torque through an extension, and a number in the wrong unit put right with one tap."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import TorqueReading
from tests.browser.devices import PHONE, TABLET, new_page, sign_in
from tests.factories.run import RunFactory
from tests.factories.tool import ToolFactory

STEP = {
    "title": "Carrier bolts",
    "fasteners": 2,
    "pattern": "line",
    "stages": [{"name": "Final", "value": "110", "plus": "11", "unit": "N.m"}],
}

LENGTHS = ("Wrench: grip to square drive", "Extension: drive to fastener", "Angle between them")


@pytest.fixture
def run(lead, car):
    ToolFactory(person=lead, label="TW-03")
    return RunFactory(person=lead, vehicle=car, steps=[STEP])


def opened(browser, run, person, live_server, *, scripts, device=TABLET):
    page = new_page(browser, live_server.url, java_script_enabled=scripts, **device)
    sign_in(page, person, live_server.url)
    page.goto(reverse("jobs:run", args=[run.pk]))
    page.get_by_role("link", name=re.compile("TW-03")).tap()
    return page


@pytest.mark.parametrize("scripts", [True, False], ids=["swapped", "without JavaScript"])
def test_set_for_the_extension_and_recorded(browser, live_server, run, technician, scripts):
    page = opened(browser, run, technician, live_server, scripts=scripts)
    page.get_by_text("Through an extension").tap()
    for name, value in (
        ("Wrench: grip to square drive", "450"),
        ("Extension: drive to fastener", "60"),
        ("Angle between them", "30"),
    ):
        page.get_by_label(name, exact=True).fill(value)
    work_out = page.get_by_role("button", name="Work out what to set")
    assert work_out.bounding_box()["height"] >= 48
    work_out.tap()
    number = page.get_by_label("Number", exact=True)
    expect(number).to_have_value("98.6")
    expect(page.get_by_text("Set the wrench to 98.6 N·m")).to_be_visible()
    page.get_by_role("button", name="Record", exact=True).tap()
    expect(page.get_by_text("= 110 N·m at the fastener").first).to_be_visible()
    expect(number).to_have_value("98.6")
    assert TorqueReading.objects.get().setting is not None
    page.context.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["swapped", "without JavaScript"])
def test_the_next_fastener_keeps_number_and_unit_together(browser, live_server, run, technician, scripts):
    page = opened(browser, run, technician, live_server, scripts=scripts)
    page.get_by_label("Unit", exact=True).select_option("lbf.ft")
    page.get_by_label("Number", exact=True).fill("81")
    page.get_by_role("button", name="Record", exact=True).tap()
    expect(page.get_by_text("set 81 lbf·ft, clicked").first).to_be_visible()
    expect(page.get_by_label("Number", exact=True)).to_have_value("81")
    expect(page.get_by_label("Unit", exact=True)).to_have_value("lbf.ft")
    page.get_by_role("button", name="Record", exact=True).tap()
    expect(page.get_by_role("heading", name="Everything is judged")).to_be_visible()
    assert [(row.typed, row.unit, row.verdict) for row in TorqueReading.objects.all()] == [
        (81, "lbf.ft", "within")
    ] * 2
    page.context.close()


def test_what_is_typed_while_it_is_worked_out_is_not_overwritten(browser, live_server, run, technician):
    page = opened(browser, run, technician, live_server, scripts=True)
    page.get_by_text("Through an extension").tap()
    for name, value in zip(LENGTHS, ("450", "60", "30"), strict=True):
        page.get_by_label(name, exact=True).fill(value)
    waiting = []
    page.route("**/readings/add/", lambda route: waiting.append(route))
    work_out = page.get_by_role("button", name="Work out what to set")
    work_out.tap()
    number = page.get_by_label("Number", exact=True)
    expect(page.get_by_role("button", name="Sending…")).to_be_visible()
    number.fill("97")
    page.wait_for_timeout(100)
    waiting[0].continue_()
    expect(page.get_by_text("You went on typing: nothing was changed.")).to_be_visible()
    expect(number).to_have_value("97")
    page.unroute("**/readings/add/")
    work_out.tap()
    expect(number).to_have_value("98.6")
    assert not TorqueReading.objects.exists()
    page.context.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["says it", "without JavaScript"])
def test_on_a_telephone_no_button_sends_a_number_out_of_sight(browser, live_server, run, technician, scripts):
    page = opened(browser, run, technician, live_server, scripts=scripts, device=PHONE)
    record = page.get_by_role("button", name="Record", exact=True)
    number = page.get_by_label("Number", exact=True)
    expect(number).to_be_visible()
    page.evaluate("window.scrollTo(0, 0)")
    expect(number).not_to_be_in_viewport()
    if not scripts:
        expect(record).not_to_be_in_viewport()
        number.scroll_into_view_if_needed()
        page.evaluate("document.querySelector('.entry').scrollIntoView({block: 'center'})")
        expect(number).to_be_in_viewport(ratio=1)
        expect(record).to_be_in_viewport(ratio=1)
        top, below = record.bounding_box()["y"], number.bounding_box()
        assert below["y"] + below["height"] <= top, "the bar does not cover the number"
    else:
        says = page.locator("[data-says]")
        expect(record).to_be_in_viewport(ratio=1)
        expect(says).to_be_in_viewport(ratio=1)
        expect(says).to_have_text("Fastener 1: 110 N·m, clicked")
        page.get_by_label("Unit", exact=True).select_option("lbf.ft")
        expect(says).to_have_text("Fastener 1: 81.1 lbf·ft, clicked")
        page.get_by_role("button", name="9", exact=True).tap()
        expect(says).to_have_text("Fastener 1: 9 lbf·ft, clicked")
        page.get_by_role("button", name="Delete the last digit").tap()
        expect(says).to_have_text("Fastener 1: no number yet, clicked")
    page.context.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["swapped", "without JavaScript"])
def test_the_other_unit_is_one_tap_away(browser, live_server, run, technician, scripts):
    page = opened(browser, run, technician, live_server, scripts=scripts)
    page.get_by_label("Number", exact=True).fill("81")
    page.get_by_role("button", name="Record", exact=True).tap()
    offer = page.get_by_role("button", name="It was 81 lbf·ft")
    expect(offer).to_be_visible()
    assert offer.bounding_box()["height"] >= 48
    offer.tap()
    expect(page.get_by_text("set 81 lbf·ft, clicked").first).to_be_visible()
    row = TorqueReading.objects.get()
    assert (row.typed, row.unit, row.verdict) == (81, "lbf.ft", "within")
    page.context.close()


def test_enter_records_what_is_typed_and_not_the_offer(browser, live_server, run, technician):
    page = opened(browser, run, technician, live_server, scripts=False)
    number = page.get_by_label("Number", exact=True)
    number.fill("81")
    page.get_by_role("button", name="Record", exact=True).tap()
    expect(page.get_by_role("button", name="It was 81 lbf·ft")).to_be_visible()
    page.get_by_label("Typed as meant").check()
    number.press("Enter")
    expect(page.get_by_text("set 81 N·m, clicked").first).to_be_visible()
    assert TorqueReading.objects.get().unit == "N.m"
    page.context.close()
