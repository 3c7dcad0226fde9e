"""The run without a network: a reading is kept here and called so, changed or thrown away before it was sent, a stage is
kept whole and the next one gone on with; sent later, the verdicts are said, and what is refused is said with its reason.
"""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import TorqueReading
from tests.browser.devices import sign_in
from tests.browser.test_run_tablet import WHEEL as ONE_STAGE
from tests.browser.test_run_tablet import next_is
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory

LATER = 30_000  # the outbox tries again after 5 s, then after 10
# The server has it, and whoever waits for that hears of it after their patience.
HEARD_LATE = """() => {
  const { send } = window.outbox;
  window.outbox.send = async (...those) => {
    const result = await send(...those);
    await new Promise((done) => { setTimeout(done, 6000); });
    return result;
  };
}"""


@pytest.fixture
def tool(lead):
    return ToolFactory(person=lead, label="TW-03")


def test_a_stage_without_a_network(tablet, live_server, lead, technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[WHEEL])
    sign_in(tablet, technician, live_server.url)
    tablet.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")
    record = tablet.get_by_role("button", name="Record", exact=True)
    number = tablet.get_by_label("Number", exact=True)
    last, here = tablet.locator(".last"), tablet.locator("#kept-list")
    tablet.context.set_offline(True)
    for fastener, value, following in ((1, "60", 3), (3, "61", 5), (5, "62", 2)):
        next_is(tablet, fastener)
        number.fill(value)
        record.tap()
        next_is(tablet, following)
        expect(last).to_contain_text(
            f"Fastener {fastener}: {value} N·m clicked, kept on this tablet. Judged when it is sent."
        )
        expect(tablet.locator("#run-said")).to_contain_text(
            f"Fastener {fastener}: {value} N·m clicked, kept on this tablet."
        )
    assert "ecorded" not in last.inner_text(), "never said of what the server has not"
    assert "ithin" not in last.inner_text()
    mark = tablet.locator(".pattern .fastener.kept-here")
    expect(mark).to_have_count(3)
    expect(mark.first.locator(".kept-word")).to_have_text("kept")
    expect(tablet.locator(".pattern a[aria-label^='3:']")).to_have_attribute(
        "aria-label", "3: 61 N·m clicked, kept on this tablet"
    )
    expect(tablet.locator(".strip .stage.here .kept-count")).to_have_text("+3 kept")

    # A number that is none is said at once; one far off is asked about, and typed right it is kept.
    for typed, said in (("6..2", "is not a number"), ("6.2", "is far from the target 60")):
        number.fill(typed)
        record.tap()
        expect(tablet.locator("[data-unsent]")).to_contain_text(said)
        expect(number).to_have_value(typed)
        next_is(tablet, 2)

    # Changed, and thrown away after asking: nothing of it reached the server.
    here.get_by_role("button", name="Change the kept reading of fastener 3").tap()
    expect(number).to_have_value("61")
    number.fill("63")
    record.tap()
    next_is(tablet, 2)
    expect(here.locator(".row")).to_have_count(3)
    expect(here.locator(".row").nth(1)).to_contain_text("63 N·m clicked")
    last_row = here.locator(".row").nth(2)
    last_row.get_by_role("button", name="Take back").tap()
    expect(last_row).to_contain_text("it never reached the server. Thrown away, nothing of it stays.")
    last_row.get_by_role("button", name="Throw it away").tap()
    expect(here.locator(".row")).to_have_count(2)
    next_is(tablet, 5)

    for fastener, following in ((5, 2), (2, 4), (4, None)):
        number.fill("64")
        record.tap()
        if following:
            next_is(tablet, following)
        assert fastener
    panel = tablet.locator(".kept-panel")
    expect(panel).to_contain_text("is kept whole on this tablet")
    expect(panel).to_contain_text("Set the wrench to 120 N·m")
    panel.get_by_role("button", name="It is set").tap()
    next_is(tablet, 1)
    expect(number).to_have_value("120")
    expect(tablet.locator("[data-target-figure]")).to_have_text("120")
    record.tap()
    next_is(tablet, 3)
    assert TorqueReading.objects.count() == 0

    tablet.context.set_offline(False)
    expect(tablet.locator(".sent-note")).to_have_text("6 readings were sent: all within.", timeout=LATER)
    expect(tablet.locator("#run-said")).to_have_text("6 readings were sent: all within.")
    expect(here).to_have_count(0)
    next_is(tablet, 3)
    rows = TorqueReading.objects.order_by("made_at")
    assert [(row.fastener, f"{row.typed:.0f}", row.stage.order) for row in rows] == [
        (1, "60", 1), (3, "63", 1), (5, "64", 1), (2, "64", 1), (4, "64", 1), (1, "120", 2),
    ]  # fmt: skip

    # Beside what is kept now, "sent" would be taken to be of it.
    tablet.context.set_offline(True)
    record.tap()
    next_is(tablet, 5)
    expect(here.locator(".row")).to_have_count(1)
    expect(tablet.locator(".sent-note")).to_have_count(0)


def test_what_is_refused_when_it_is_sent_and_what_was_only_typed(
    tablet, live_server, lead, technician, car, tool
):
    run = RunFactory(person=lead, vehicle=car, steps=[WHEEL])
    sign_in(tablet, technician, live_server.url)
    tablet.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")
    record = tablet.get_by_role("button", name="Record", exact=True)
    number = tablet.get_by_label("Number", exact=True)
    tablet.context.set_offline(True)
    record.tap()
    next_is(tablet, 3)
    click(lead, run, 1, 1, 61, tool)  # meanwhile, on another tablet
    tablet.context.set_offline(False)
    note = tablet.locator(".sent-note")
    expect(note).to_contain_text("Refused: fastener 1, 60 N·m clicked.", timeout=LATER)
    expect(note).to_contain_text(re.compile("has a reading at this stage"))
    expect(note.get_by_role("link", name="See what was refused")).to_have_attribute(
        "href", "/tablet/waiting/"
    )
    assert [row.made_by for row in TorqueReading.objects.all()] == [lead]

    # Typed and not sent, it is there after a reload, at its fastener and no other.
    tablet.goto(reverse("jobs:run", args=[run.pk]))
    next_is(tablet, 3)
    number.fill("58.5")
    tablet.reload()
    expect(number).to_have_value("58.5")
    tablet.locator(".pattern a[aria-label^='5:']").tap()
    next_is(tablet, 5)
    expect(number).to_have_value("61")


def test_one_above_waits_and_a_number_outside_the_limits_is_remarked(
    tablet, live_server, lead, technician, car, tool
):
    """60 N·m ± 15 %: 51 to 69. Nothing is judged here, the number is only held against what stands on the page."""
    run = RunFactory(person=lead, vehicle=car, steps=[WHEEL])
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 1, 3, 90, tool, confirmed_odd=True)
    sign_in(tablet, technician, live_server.url)
    tablet.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")
    record = tablet.get_by_role("button", name="Record", exact=True)
    number = tablet.get_by_label("Number", exact=True)
    last = tablet.locator(".last")
    tablet.context.set_offline(True)
    next_is(tablet, 5)
    said = "75 N·m is above the upper limit shown here (69 N·m). Judged when it is sent: look at this joint"
    number.fill("75")
    expect(last.locator(".outside.typed")).to_contain_text(said)
    record.tap()
    next_is(tablet, 2)
    expect(last.locator(".outside")).to_contain_text(
        f"Fastener 5: 75 N·m clicked, kept on this tablet. {said}"
    )
    expect(last.locator(".outside svg")).to_have_count(1)
    expect(tablet.locator("#kept-list .outside")).to_contain_text(said)
    expect(last).to_contain_text("Fastener 3 waits for a decision: that needs the network.")

    expect(number).to_have_value("60")  # what was outside is not offered again

    # Asked for by its number, it is not kept either: it would only come back refused.
    tablet.get_by_role("spinbutton", name="Fastener").fill("3")
    number.fill("60")
    record.tap()
    expect(tablet.locator("[data-unsent]")).to_contain_text("Fastener 3 waits for a decision")
    tablet.locator(".pattern a[aria-label^='2:']").tap()
    next_is(tablet, 2)
    number.fill("40")
    record.tap()
    next_is(tablet, 4)
    expect(last).to_contain_text("40 N·m is below the lower limit shown here (51 N·m).")
    number.fill("61")
    record.tap()
    panel = tablet.locator(".kept-panel")
    expect(panel).to_contain_text("Fastener 3 waits for a decision: that needs the network.")
    expect(panel).to_contain_text("Round 2 waits for Round 1 of fastener 3")
    expect(panel.get_by_role("button")).to_have_count(0)
    tablet.context.set_offline(False)
    expect(tablet.locator(".sent-note")).to_contain_text("fastener 5 above", timeout=LATER)
    assert [(row.fastener, row.verdict) for row in TorqueReading.objects.order_by("order")][2:] == [
        (5, "above"), (2, "below"), (4, "within"),
    ]  # fmt: skip


def test_an_answer_in_the_moment_when_patience_ends(tablet, live_server, lead, technician, car, tool):
    """It is on record: it is neither called kept, nor is its fastener asked for again."""
    run = RunFactory(person=lead, vehicle=car, steps=[WHEEL])
    sign_in(tablet, technician, live_server.url)
    tablet.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")
    next_is(tablet, 1)
    tablet.evaluate(HEARD_LATE)
    tablet.get_by_role("button", name="Record", exact=True).tap()
    expect(tablet.locator("#recorded")).to_contain_text("60")
    next_is(tablet, 3)
    expect(tablet.locator(".last")).not_to_contain_text("kept on this tablet")
    assert [row.fastener for row in run.readings.all()] == [1]


def test_the_last_ones_answer_comes_late(tablet, live_server, lead, technician, car, tool):
    """The area that is loaded meanwhile goes on with what is next: it does not look back at that last reading."""
    run = RunFactory(person=lead, vehicle=car, steps=[{**ONE_STAGE, "critical": True}])
    for fastener in (1, 3, 5):
        click(technician, run, 1, fastener, 120, tool)
    sign_in(tablet, technician, live_server.url)
    tablet.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")
    record = tablet.get_by_role("button", name="Record", exact=True)
    next_is(tablet, 2)
    tablet.context.set_offline(True)
    record.tap()
    expect(tablet.locator(".last")).to_contain_text("kept on this tablet")
    next_is(tablet, 4)
    held, asked = [], []

    def hold(route):
        answer = route.fetch()
        if '"fastener"\r\n\r\n4\r\n' not in (route.request.post_data or ""):
            route.fulfill(response=answer)
            return
        held.append(lambda: route.fulfill(response=answer))
        while asked:
            asked.pop().continue_()

    def look(route):  # what stands on record is asked for when the last one stands there too
        if held:
            route.continue_()
        else:
            asked.append(route)

    tablet.route("**/readings/add/", hold)
    tablet.route(f"**{reverse('jobs:run', args=[run.pk])}?*", look)
    tablet.context.set_offline(False)
    record.tap()
    expect(tablet.locator(".pattern .fastener.done")).to_have_count(5, timeout=LATER)
    expect(tablet.locator(".second-check")).to_be_visible()
    for answer in held:
        answer()
    expect(tablet.locator(".kept-word")).to_have_count(0, timeout=LATER)
    expect(tablet.locator(".sent-note")).to_have_text("1 reading was sent: all within.")
    expect(tablet.locator(".second-check")).to_be_visible()
    assert sorted(run.readings.values_list("fastener", flat=True)) == [1, 2, 3, 4, 5]
