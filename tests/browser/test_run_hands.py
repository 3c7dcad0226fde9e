"""The run screen by keyboard alone, put right, checked by another person, and when no answer comes."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import SecondCheck, TorqueReading
from jobs.runs import state_of
from tests.browser.devices import TABLET, Watch, new_page, sign_in
from tests.factories.run import RunFactory, click, click_all
from tests.factories.tool import ToolFactory

FINAL = {
    "title": "Wheel nuts",
    "fasteners": 5,
    "stages": [{"name": "Final", "value": "120", "tolerance_percent": "15", "unit": "N.m"}],
}


@pytest.fixture
def tool(lead):
    return ToolFactory(person=lead, label="TW-03")


@pytest.fixture
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[FINAL])


def opened(page, run, person, live_server, tool) -> None:
    sign_in(page, person, live_server.url)
    page.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")


def next_is(page, fastener: int) -> None:
    expect(page.locator(".pattern .fastener.next a")).to_have_attribute(
        "aria-label", re.compile(rf"^{fastener}:")
    )


def test_a_run_by_keyboard_alone(browser, live_server, lead, technician, car, tool):
    reads = ToolFactory(person=lead, kind="indicating", label="TW-07")
    run = RunFactory(person=lead, vehicle=car, steps=[FINAL])
    page = new_page(browser, live_server.url, viewport={"width": 1440, "height": 900})
    watch = Watch(page, live_server.url)
    opened(page, run, technician, live_server, reads)
    expect(page.get_by_text("Enter records")).to_be_visible()
    number = page.get_by_label("Number", exact=True)
    for done, (fastener, typed) in enumerate(((1, "119,5"), (3, "120.5"), (5, "121"))):
        next_is(page, fastener)
        page.keyboard.type(typed[:2])
        page.keyboard.press("9")
        page.keyboard.press("Backspace")
        page.keyboard.type(typed[2:])
        expect(number).to_have_value(typed)
        page.keyboard.press("Enter")
        expect(page.locator(".pattern .fastener.done")).to_have_count(done + 1)
        page.wait_for_timeout(450)  # within a double tap's time nothing is sent again
    # The arrows go from fastener to fastener on the drawing.
    page.locator(".pattern a[aria-label^='2:']").focus()
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.dataset.fastener") in ("3", "4")
    page.locator(".pattern a[aria-label^='3:']").focus()
    page.keyboard.press("ArrowLeft")
    assert page.evaluate("document.activeElement.dataset.fastener") in ("4", "5", "2")
    page.locator(".pattern a[aria-label^='4:']").focus()
    page.keyboard.press("Enter")
    next_is(page, 4)
    page.keyboard.type("120")
    page.keyboard.press("Enter")
    expect(page.locator(".pattern .fastener.done")).to_have_count(4)
    assert [(row.fastener, row.kind) for row in run.readings.order_by("order")] == [
        (1, "read"),
        (3, "read"),
        (5, "read"),
        (4, "read"),
    ]
    assert watch.complaints == []
    page.context.close()


def test_nothing_is_taken_while_another_field_is_typed_in(browser, live_server, technician, run, tool):
    page = new_page(browser, live_server.url, viewport={"width": 1440, "height": 900})
    opened(page, run, technician, live_server, tool)
    page.get_by_role("spinbutton", name="Fastener").fill("")
    page.get_by_role("spinbutton", name="Fastener").press("4")
    expect(page.get_by_label("Number", exact=True)).to_have_value("120")
    expect(page.get_by_role("spinbutton", name="Fastener")).to_have_value("4")
    page.context.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "without JavaScript"])
def test_the_last_reading_is_put_right_with_a_reason(browser, live_server, technician, run, tool, scripts):
    page = new_page(browser, live_server.url, java_script_enabled=scripts, **TABLET)
    watch = Watch(page, live_server.url, expected=422)
    click(technician, run, 1, 1, 100, tool)
    opened(page, run, technician, live_server, tool)
    expect(page.locator(".last")).to_contain_text("Below")
    page.get_by_role("link", name="Correct the last reading").tap()
    expect(page.get_by_text("Stands on record:")).to_be_visible()
    number = page.get_by_label("Number", exact=True)
    expect(number).to_have_value("100")
    record = page.get_by_role("button", name="Record the correction")
    expect(record).to_be_in_viewport(ratio=1)
    if scripts:
        for key in "120":
            page.get_by_role("button", name=key, exact=True).tap()
    else:
        number.fill("120")
    record.tap()
    expect(page.locator(".why .errors")).to_contain_text("Say what was written down wrong")
    expect(number).to_have_value("120")
    if scripts:
        page.get_by_role("button", name="Wrong number typed").tap()
    else:
        page.get_by_label("What was written down wrong").fill("Wrong number typed")
    record.tap()
    next_is(page, 3)
    expect(page.locator(".last")).to_contain_text("put right")
    expect(page.locator("#recorded s")).to_have_text("set 100 N·m, clicked")
    rows = list(run.readings.order_by("order"))
    assert [(row.typed, row.verdict, row.redo_reason) for row in rows] == [
        (rows[0].typed, "below", ""),
        (rows[1].typed, "within", "Wrong number typed"),
    ]
    assert rows[1].corrects == rows[0]
    assert [row for row in watch.complaints if "policy" in row] == []
    page.context.close()


def test_an_earlier_one_is_found_by_its_fastener_in_the_drawing(tablet, live_server, technician, run, tool):
    click(technician, run, 1, 1, 120, tool)
    click(technician, run, 1, 3, 120, tool)
    opened(tablet, run, technician, live_server, tool)
    tablet.locator(".pattern a[aria-label^='1:']").tap()
    expect(
        tablet.get_by_role("heading", name=re.compile("Fastener 1: set 120 N·m, clicked"))
    ).to_be_in_viewport()
    for name in ("Do it again, with a new reading", "Correct what was written down", "Loosen or replace it"):
        expect(tablet.get_by_role("link", name=name)).to_be_in_viewport(ratio=1)
    tablet.get_by_role("link", name="Correct what was written down").tap()
    tablet.locator(".kinds").get_by_text("Not done").tap()
    tablet.get_by_role("button", name="Tapped by mistake").tap()
    tablet.get_by_role("button", name="Record the correction").tap()
    next_is(tablet, 1)
    expect(tablet.locator(".last")).to_contain_text("Taken back")
    assert state_of(run).steps[0].stages[0].fasteners[1].reading is None


def test_the_second_check_is_made_by_another_person_on_the_same_screen(
    tablet, live_server, lead, technician, other_technician, car, tool
):
    run = RunFactory(person=lead, vehicle=car, steps=[{**FINAL, "critical": True}])
    click_all(technician, run, tool, values=(120,))
    opened(tablet, run, technician, live_server, tool)
    panel = tablet.locator(".second-check")
    expect(panel).to_contain_text("You took readings in this step: somebody else checks it.")
    expect(panel).to_contain_text(other_technician.name)
    sign_in(tablet, other_technician, live_server.url)
    tablet.goto(reverse("jobs:run", args=[run.pk]))
    expect(panel).to_contain_text("you may check it")
    expect(panel.get_by_label("Tool it was checked with")).to_be_hidden()
    panel.get_by_text("Torque applied again").tap()
    expect(panel.get_by_label(re.compile("Tool it was checked with"))).to_be_visible()
    panel.get_by_text("Witness mark sighted").tap()
    panel.get_by_label(re.compile("What you saw")).fill("five marks in line")
    expect(panel.get_by_label(re.compile("What was found"))).to_be_hidden()
    expect(panel.locator('[name="result"]:checked')).to_have_count(0)
    panel.locator('[name="result"][value="in_order"]').check(force=True)
    panel.get_by_role("button", name="Record the check").tap()
    expect(tablet.get_by_role("heading", name="Everything is judged")).to_be_visible()
    check = SecondCheck.objects.get()
    assert (check.made_by, check.method, check.note) == (
        other_technician,
        "mark_sighted",
        "five marks in line",
    )
    tablet.get_by_role("button", name="Complete the run").tap()
    expect(tablet.get_by_role("heading", name="The run is complete")).to_be_visible()


def test_where_nothing_can_be_kept_what_was_typed_stays_and_the_page_says_what_to_do(
    tablet, live_server, technician, run, tool
):
    """A browser whose storage is shut off: the reading is sent as ever, and without a network it stays in the form."""
    tablet.add_init_script("Object.defineProperty(window, 'indexedDB', { get() { return undefined; } });")
    opened(tablet, run, technician, live_server, tool)
    for key in "121":
        tablet.get_by_role("button", name=key, exact=True).tap()
    tablet.context.set_offline(True)
    record = tablet.get_by_role("button", name="Record", exact=True)
    record.tap()
    said = tablet.locator("[data-unsent]")
    expect(said).to_contain_text("Not recorded yet: no answer from the workshop's server")
    expect(said).to_be_in_viewport()
    expect(tablet.get_by_label("Number", exact=True)).to_have_value("121")
    assert TorqueReading.objects.count() == 0
    tablet.context.set_offline(False)
    record.tap()
    next_is(tablet, 3)
    expect(said).to_be_hidden()
    assert [f"{row.typed:.0f}" for row in run.readings.all()] == ["121"]


def test_on_the_telephone_the_button_is_under_the_thumb(phone, live_server, technician, run, tool):
    opened(phone, run, technician, live_server, tool)
    record = phone.get_by_role("button", name="Record", exact=True)
    expect(record).to_be_in_viewport(ratio=1)
    assert record.bounding_box()["y"] > 600
    wide = "() => document.documentElement.scrollWidth > document.documentElement.clientWidth"
    assert not phone.evaluate(wide), "the page does not scroll sideways"
    record.tap()
    next_is(phone, 3)
    phone.get_by_role("button", name="9", exact=True).scroll_into_view_if_needed()
    expect(record).to_be_in_viewport(ratio=1)
    assert not phone.evaluate(wide)


def test_cautions_are_read_once_before_the_first_reading(tablet, live_server, lead, technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[FINAL], version={"cautions": "Car on stands."})
    opened(tablet, run, technician, live_server, tool)
    expect(tablet.locator(".keys .caution")).to_contain_text("Car on stands.")
    tablet.get_by_role("link", name="Read, go on").tap()
    tablet.get_by_role("button", name="Record", exact=True).tap()
    next_is(tablet, 3)
    expect(tablet.locator(".keys .caution")).to_have_count(0)
    expect(tablet.locator(".about-run .caution")).to_contain_text("Car on stands.")
