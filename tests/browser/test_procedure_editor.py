"""A procedure of each pattern built by hand in the browser, a step moved, previewed, released, and
compared. The sweep of `test_pages` looks at its pages on a telephone, in both themes and with axe.
"""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.acts import procedure as acts
from jobs.models import ProcedureStep, ProcedureVersion
from tests.browser.devices import TABLET, Watch, new_page, sign_in
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.people import by


@pytest.fixture
def draft(lead):
    procedure = acts.add_procedure(by=by(lead), title="Hub and head", area="wheels")
    return acts.start_version(by=by(lead), procedure=procedure, source="Halden sheet 40-2")


def stage(page, number: int = 0, **typed: str) -> None:
    row = page.locator(".stage-row").nth(number)
    row.get_by_label("Name of the stage").fill(typed.get("name", "Final"))
    row.get_by_label("Target", exact=True).fill(typed.get("value", "120"))
    row.get_by_label("± percent").fill(typed.get("percent", "15"))


def drawn(page, count: int) -> None:
    expect(page.locator("#preview .fastener")).to_have_count(count)


def save(page) -> None:
    page.get_by_role("button", name="Save the step").last.tap()


def test_a_circle_is_drawn_live_and_its_sequence_taken_over(tablet, live_server, lead, draft):
    watch = Watch(tablet, live_server.url)
    sign_in(tablet, lead, live_server.url)
    tablet.goto(draft.get_absolute_url())
    tablet.get_by_role("link", name="Add the first step").tap()
    tablet.get_by_label("Title").fill("Wheel nuts")
    tablet.get_by_label("Number of fasteners").fill("5")
    drawn(tablet, 5)
    tablet.get_by_label(re.compile("^Sequence")).fill("1 2 3")
    expect(tablet.locator("#preview")).to_contain_text("The sequence leaves out 4, 5")
    tablet.get_by_label(re.compile("^Sequence")).fill("1 2 3 4 5")
    tablet.get_by_role("button", name="Crosswise: 1–3–5–2–4").tap()
    expect(tablet.get_by_label(re.compile("^Sequence"))).to_have_value("1 3 5 2 4")
    expect(tablet.get_by_label("Title")).to_have_value("Wheel nuts")
    stage(tablet, name="Round 1", value="60")
    tablet.get_by_role("button", name="Add a stage").tap()
    expect(tablet.locator(".stage-row")).to_have_count(2)
    stage(tablet, 1, name="Round 2", value="120")
    expect(tablet.locator("#preview")).to_contain_text("120 N·m (102 N·m to 138 N·m)")
    save(tablet)
    expect(tablet.get_by_role("heading", name="1 Wheel nuts")).to_be_visible()
    step = draft.steps.get()
    assert (step.sequence, [s.name for s in step.stages.order_by("order")]) == (
        [1, 3, 5, 2, 4],
        ["Round 1", "Round 2"],
    )
    assert watch.complaints == []


def test_a_line_a_grid_and_free_places(tablet, live_server, lead, draft):
    sign_in(tablet, lead, live_server.url)
    add = reverse("jobs:step-add", args=[draft.pk])

    tablet.goto(add)
    tablet.get_by_label("Title").fill("Cover")
    tablet.locator(".pictures label", has_text="Line").tap()
    tablet.get_by_label("Number of fasteners").fill("6")
    drawn(tablet, 6)
    stage(tablet)
    save(tablet)
    expect(tablet.get_by_role("heading", name="1 Cover")).to_be_visible()

    tablet.goto(add)
    tablet.get_by_label("Title").fill("Head")
    tablet.get_by_label("Number of fasteners").fill("10")
    expect(tablet.get_by_label(re.compile("^Rows"))).to_be_hidden()
    tablet.locator(".pictures label", has_text="Grid").tap()
    tablet.get_by_label(re.compile("^Rows")).fill("2")
    tablet.get_by_label(re.compile("^Columns")).fill("4")
    expect(tablet.locator("#preview")).to_contain_text("2 rows of 4 make 8 fasteners, not 10")
    tablet.get_by_label(re.compile("^Columns")).fill("5")
    drawn(tablet, 10)
    stage(tablet)
    save(tablet)
    expect(tablet.get_by_role("heading", name="2 Head")).to_be_visible()

    tablet.goto(add)
    tablet.get_by_label("Title").fill("Bell housing")
    tablet.get_by_label("Number of fasteners").fill("3")
    tablet.locator(".pictures label", has_text="Free positions").tap()
    picture = tablet.locator("#preview [data-tap] svg")
    for part in ((0.3, 0.3), (0.7, 0.3), (0.5, 0.7), (0.8, 0.8)):
        expect(picture).to_be_visible()
        box = picture.bounding_box()
        picture.tap(position={"x": box["width"] * part[0], "y": box["height"] * part[1]})
        tablet.wait_for_timeout(600)  # the drawing follows what was tapped
    drawn(tablet, 4)
    expect(tablet.get_by_label("Number of fasteners")).to_have_value("4")
    tablet.get_by_role("button", name="Take back the last").tap()
    drawn(tablet, 3)
    tablet.get_by_label("Number of fasteners").fill("3")
    stage(tablet)
    save(tablet)
    expect(tablet.get_by_role("heading", name="3 Bell housing")).to_be_visible()
    free = draft.steps.get(order=3)
    assert len(free.points) == 3
    assert all(0 <= value <= 1 for point in free.points for value in point)
    grid = draft.steps.get(order=2)
    assert (grid.rows, grid.columns, len(grid.sequence)) == (2, 5, 10)


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "without JavaScript"])
def test_moved_previewed_released_and_compared(browser, live_server, lead, scripts):
    procedure = ProcedureFactory(person=lead, title="Hub", steps=[WHEEL, {**WHEEL, "title": "Cover"}])
    page = new_page(browser, live_server.url, java_script_enabled=scripts, **TABLET)
    watch = Watch(page, live_server.url)
    sign_in(page, lead, live_server.url)
    page.goto(procedure.get_absolute_url())
    page.get_by_role("button", name="Make a new version").tap()
    expect(page.get_by_role("heading", name="Version 2, draft")).to_be_visible()
    page.get_by_role("button", name="Up: Cover").tap()
    expect(page.get_by_role("heading", name="1 Cover")).to_be_visible()
    page.locator(".step").filter(has_text="2 Wheel nuts").get_by_role("link", name="Change: Wheel nuts").tap()
    page.locator(".stage-row").nth(1).get_by_label("Target", exact=True).fill("110")
    page.locator(".stage-row").nth(1).get_by_label("Where it stands").fill("p. 40-12, edition 4")
    save(page)
    page.get_by_role("link", name="See the run").tap()
    expect(page.get_by_text("Nothing is recorded here.")).to_be_visible()
    expect(page.get_by_role("button", name="Record", exact=True)).to_be_disabled()
    expect(page.locator(".pattern .fastener.next")).to_have_count(1)
    page.get_by_role("link", name="Back to the version").tap()
    page.get_by_role("link", name="Release it").tap()
    expect(page.get_by_text("110 N·m (100 N·m to 120 N·m), p. 40-12, edition 4")).to_be_visible()
    page.get_by_label("What changed against the version before").fill("Round 2 to 110 N·m")
    page.get_by_role("button", name="Release it").tap()
    expect(page.get_by_text("Hub, version 2 is released.")).to_be_visible()
    page.get_by_role("link", name="Compare with version 1").tap()
    expect(page.get_by_text("moved from step 2 to 1")).to_be_visible()
    expect(page.get_by_text("120 N·m (110 N·m to 130 N·m)")).to_be_visible()
    version = ProcedureVersion.objects.get(number=2)
    assert (version.released_by, version.change_note) == (lead, "Round 2 to 110 N·m")
    assert watch.complaints == []
    page.context.close()


def test_the_editor_without_javascript(browser, live_server, lead, draft):
    page = new_page(browser, live_server.url, java_script_enabled=False, **TABLET)
    sign_in(page, lead, live_server.url)
    page.goto(reverse("jobs:step-add", args=[draft.pk]))
    page.get_by_label("Title").fill("Bell housing")
    page.get_by_label("Number of fasteners").fill("2")
    page.locator(".pictures label", has_text="Free positions").tap()
    page.get_by_label(re.compile("^Places")).fill("0.2 0.5\n0.8 0.5")
    stage(page)
    page.get_by_role("button", name="Add a stage").tap()
    expect(page.locator(".stage-row")).to_have_count(2)
    drawn(page, 2)
    expect(page.locator(".stage-row").first.get_by_label("Target", exact=True)).to_have_value("120")
    save(page)
    expect(page.get_by_role("heading", name="1 Bell housing")).to_be_visible()
    assert ProcedureStep.objects.get().points == [[0.2, 0.5], [0.8, 0.5]]
    page.context.close()
