"""Two tablets on one work line of the job's page: both texts, a tap for theirs, mine or both, nothing lost."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.devices import PHONE, TABLET, Watch, new_page, sign_in
from tests.factories.run import OpenLineFactory


def test_two_people_at_one_line_settle_it_by_touch(browser, tablet, live_server, car, lead, technician):
    line = OpenLineFactory(person=lead, vehicle=car)
    other = new_page(browser, live_server.url, **PHONE)
    watch = Watch(other, live_server.url, expected=422)
    for page, person in ((tablet, lead), (other, technician)):
        sign_in(page, person, live_server.url)
        page.goto(reverse("jobs:job", args=[line.job_id]))
        page.locator(f"#line-{line.pk} a").get_by_text("Write", exact=True).tap()
        expect(page.get_by_label("Cause")).to_be_visible()
    tablet.get_by_label("Cause").fill("Seat rusty. Cleaned.")
    tablet.get_by_label("Correction").fill("Wheel put back.")
    tablet.get_by_role("button", name="Save").tap()
    expect(tablet.get_by_text("Written.")).to_be_visible()

    other.get_by_label("Cause").fill("Seat rusty. Stud stretched.")
    other.get_by_role("button", name="Save").tap()
    top = other.locator("#form-errors")
    expect(top).to_contain_text(f"{lead} changed this at ")
    expect(top).to_contain_text("Nothing you typed is lost")
    cause = other.locator(".field", has=other.locator("[name=cause]"))
    field = cause.locator("textarea")
    expect(cause.locator(".theirs")).to_contain_text(f"On record now ({lead}, ")
    expect(cause.locator(".theirs .lines")).to_have_text("Seat rusty. Cleaned.")
    expect(cause.locator(".mine .lines")).to_have_text("Seat rusty. Stud stretched.")
    # What was not touched here reads as on record by itself.
    correction = other.locator(".field", has=other.locator("[name=correction]"))
    expect(correction.locator("textarea")).to_have_value("Wheel put back.")
    expect(correction).to_contain_text("You had not touched it")
    borders = [
        cause.locator(part).evaluate("each => getComputedStyle(each).borderTopStyle")
        for part in (".theirs", ".mine")
    ]
    assert borders == ["solid", "dashed"], "told apart without colour"
    assert other.evaluate("document.documentElement.scrollWidth <= innerWidth"), (
        "nothing sticks out at 390 px"
    )

    def tap(words: str) -> None:
        button = cause.get_by_role("button", name=words)
        assert button.bounding_box()["height"] >= 48, words
        button.tap()
        expect(cause.locator('[aria-pressed="true"]')).to_contain_text(words)

    tap("Take theirs")
    expect(field).to_have_value("Seat rusty. Cleaned.")
    tap("Keep mine")
    expect(field).to_have_value("Seat rusty. Stud stretched.")
    tap("Put both together")
    expect(field).to_have_value("Seat rusty. Cleaned.\nStud stretched.")
    field.press_sequentially(" Renewed.")
    expect(cause.locator('[aria-pressed="true"]')).to_have_count(0)
    other.get_by_role("button", name="Save").tap()
    expect(other.get_by_text("Written.")).to_be_visible()
    line.refresh_from_db()
    # A browser sends a new line as CR LF (HTML Standard, constructing the entry list).
    assert line.cause.splitlines() == ["Seat rusty. Cleaned.", "Stud stretched. Renewed."]
    assert line.correction == "Wheel put back."
    # The script that keeps what is typed has the refusal first, then sends the form as a page of its own.
    assert [row for row in watch.complaints if " 422: " not in row] == []
    other.context.close()


# Of what has the focus: how much lies behind the buttons at the foot of the screen, or off the screen, in pixels.
HIDDEN = """() => {
  const at = document.activeElement;
  const bar = document.querySelector(".actions.stuck").getBoundingClientRect();
  if (at === document.body || at.closest(".actions.stuck")) return 0;
  const { top, bottom } = (at.closest("label.check, .choices label") || at).getBoundingClientRect();
  const least = at.localName === "textarea" ? Math.min(bottom, top + 40) : bottom; // a tall one: the line of its caret
  return Math.max(0, least - bar.top, -top);
}"""


@pytest.mark.parametrize("device", [TABLET, PHONE], ids=["tablet", "phone"])
@pytest.mark.parametrize("opened", ["in place", "alone"])
@pytest.mark.outside(
    "WCAG 2.2 (5 October 2023), 2.4.11: what has the focus is not hidden by what the page puts over it"
)
def test_save_of_a_lines_text_is_in_reach_and_hides_nothing(
    device, opened, browser, live_server, car, lead, published
):
    line = OpenLineFactory(person=lead, vehicle=car)
    page = new_page(browser, live_server.url, **device)
    sign_in(page, lead, live_server.url)
    if opened == "alone":
        page.goto(reverse("jobs:line-write", args=[line.pk]))
    else:
        page.goto(reverse("jobs:job", args=[line.job_id]))
        page.locator(f"#line-{line.pk} a").get_by_text("Write", exact=True).tap()
    cause = page.get_by_label("Cause")
    expect(cause).to_be_visible()
    save = page.get_by_role("button", name="Save")
    for summary in page.locator("form:has([name=cause]) summary").all():
        summary.evaluate("each => { each.parentElement.open = true; }")
    cause.focus()
    for _ in range(12):
        expect(save).to_be_in_viewport(ratio=1)
        assert save.bounding_box()["height"] >= 48
        published.same(page.evaluate(HIDDEN), 0)
        page.keyboard.press("Tab")
        if save.evaluate("each => each === document.activeElement"):
            break
    page.context.close()
