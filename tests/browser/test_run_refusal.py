"""The run screen when a reading is refused, when the wrench is to be set anew, and on a telephone."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.devices import TABLET, Watch, new_page, sign_in
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory


@pytest.fixture
def tool(lead):
    return ToolFactory(person=lead, label="TW-03")


@pytest.fixture
def run(lead, car):
    return RunFactory(person=lead, vehicle=car)


def opened(page, run, person, live_server):
    sign_in(page, person, live_server.url)
    page.goto(reverse("jobs:run", args=[run.pk]))
    page.get_by_role("link", name=re.compile("TW-03")).tap()


@pytest.mark.parametrize("scripts", [True, False], ids=["swapped", "without JavaScript"])
def test_the_reason_is_in_view_above_the_button(browser, live_server, run, tool, technician, scripts):
    page = new_page(browser, live_server.url, java_script_enabled=scripts, **TABLET)
    watch = Watch(page, live_server.url, expected=422)
    opened(page, run, technician, live_server)
    button = page.get_by_role("button", name="Record", exact=True)
    for wrong, words in (("6.1", "far from the target"), ("1..2", "is not a number")):
        page.get_by_label("Number", exact=True).fill(wrong)
        button.tap()
        # The first refusal stands there until the second one takes its place.
        expect(page.locator(".entry .errors")).to_contain_text(words)
        said = page.locator("#form-errors")
        expect(said).to_be_in_viewport(ratio=1)
        expect(button).to_be_in_viewport(ratio=1)
        assert said.bounding_box()["y"] < button.bounding_box()["y"]
        expect(page.locator(".entry .errors")).to_be_in_viewport(ratio=1)
    if scripts:
        assert [row for row in watch.complaints if "policy" in row or "style" in row] == []
    page.context.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["swapped", "without JavaScript"])
def test_the_wrench_is_set_before_the_next_target(browser, live_server, run, tool, technician, scripts):
    for fastener in (1, 3, 5, 2):
        click(technician, run, 1, fastener, 60, tool)
    page = new_page(browser, live_server.url, java_script_enabled=scripts, **TABLET)
    opened(page, run, technician, live_server)
    button = page.get_by_role("button", name="Record", exact=True)
    button.tap()
    expect(page.get_by_role("heading", name="Set the wrench to 120 N·m")).to_be_in_viewport(ratio=1)
    expect(button).to_have_count(0)
    said = page.get_by_role("link", name="It is set", exact=True)
    expect(said).to_be_in_viewport(ratio=1)
    said.tap()
    expect(page.get_by_label("Number", exact=True)).to_have_value("120")
    button.tap()
    expect(page.get_by_text("set 120 N·m, clicked").first).to_be_visible()
    expect(button).to_be_visible()
    page.context.close()


def test_the_table_of_readings_folds_on_a_telephone(phone, live_server, run, tool, technician):
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 1, 1, 61, tool, redo_reason="the mark on the nut was smeared by the wheel")
    opened(phone, run, technician, live_server)
    table = phone.locator("table.fold")
    expect(table.get_by_text("Fastener").first).to_be_attached()
    expect(table.locator("th .folded").first).to_be_visible()
    wide = "() => document.documentElement.scrollWidth > document.documentElement.clientWidth"
    assert not phone.evaluate(wide), "the page does not scroll sideways"
    assert phone.evaluate(
        "() => { const box = document.querySelector('.table-wrap'); return box.scrollWidth <= box.clientWidth }"
    )
    for cell in table.locator("tbody tr").first.locator("td").all():
        assert cell.bounding_box()["width"] > 300, "each value has a line of its own"
    label = phone.locator(".nowrap", has_text="TW-03").first
    assert label.evaluate("each => each.getClientRects().length") == 1, "the number is not broken"
    phone.locator("#recorded").scroll_into_view_if_needed()
