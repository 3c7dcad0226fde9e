"""The run screen by touch: a torque through an extension, and a number in the wrong unit put right with one tap."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import TorqueReading
from tests.browser.devices import TABLET, new_page, sign_in
from tests.factories.run import RunFactory
from tests.factories.tool import ToolFactory

STEP = {
    "title": "Carrier bolts",
    "fasteners": 2,
    "pattern": "line",
    "stages": [{"name": "Final", "value": "110", "plus": "11", "unit": "N.m"}],
}


@pytest.fixture
def run(lead, car):
    ToolFactory(person=lead, label="TW-03")
    return RunFactory(person=lead, vehicle=car, steps=[STEP])


def opened(browser, run, person, live_server, *, scripts):
    page = new_page(browser, live_server.url, java_script_enabled=scripts, **TABLET)
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
