"""Everything by keyboard alone (WCAG 2.2, 2.1.1, 2.1.2, 2.4.1 and 2.4.3): the way through a page, past its head, and out;
what opens over a page or within it gives the focus back to what opened it.
"""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import WorkLine
from tests.browser.devices import Watch, sign_in
from tests.browser.test_outbox import PUT, measurement
from tests.browser.test_scan import DETECTORS
from tests.factories.job import ThingOutFactory, job_in
from tests.factories.run import OpenLineFactory, RunFactory
from tests.factories.tool import ToolFactory
from tests.factories.work import WorkLineFactory, authorised_line, owner_of
from tests.tablet import PIN, enrolled, give_pin, put_in_hand

pytestmark = pytest.mark.django_db(transaction=True)

# Whatever the Tab key is to reach, once each; of a group of radio buttons one.
TO_REACH = """() => {
  const groups = new Set();
  return [...document.querySelectorAll(
    "a[href], button, summary, select, textarea, [tabindex], input:not([type=hidden])"
  )].filter((each) => {
    if (each.disabled || each.tabIndex < 0 || !each.checkVisibility({ checkVisibilityCSS: true })) return false;
    if (each.type !== "radio") return true;
    const group = `${each.form && each.form.id} ${each.name}`;
    return !groups.has(group) && groups.add(group);
  }).map((each, at) => { each.dataset.toReach = at; return at; }).length;
}"""
HERE = """() => {
  const each = document.activeElement;
  if (!each || each === document.body) return [null, "the page itself"];
  const group = each.type === "radio" && document.querySelector(
    `[name="${CSS.escape(each.name)}"][data-to-reach]`);
  const box = each.getBoundingClientRect();
  const seen = box.bottom > 0 && box.top < innerHeight;
  return [Number((group || each).dataset.toReach ?? -1), each.outerHTML.slice(0, 90), seen];
}"""


def walk(page) -> list[str]:
    """Tab through a page from its top to its end: what is wrong on the way."""
    count, wrong, met = page.evaluate(TO_REACH), [], []
    for _ in range(count + 5):
        page.keyboard.press("Tab")
        at, what, *seen = page.evaluate(HERE)
        if at is None or (met and at == met[0]):
            break
        if at in met:
            wrong.append(f"the focus came back to {what}")
            break
        met.append(at)
        if not all(seen):
            wrong.append(f"in focus and out of sight: {what}")
    missed = set(range(count)) - set(met)
    wrong += [page.locator(f"[data-to-reach='{each}']").evaluate("(each) => `never reached: ${each.outerHTML.slice(0, 90)}`")
              for each in sorted(missed)]  # fmt: skip
    assert count > 10
    return wrong


def test_the_job_and_a_run_are_walked_through_by_the_tab_key(tablet, live_server, car, lead, technician):
    job = job_in("in_work", person=lead, vehicle=car)
    line = authorised_line(job=job, person=lead, owner=owner_of(car, lead), complaint="Squeals")
    ThingOutFactory(person=lead, job=job, what="Left front wheel")
    tablet.emulate_media(reduced_motion="reduce")  # what moves into sight is not waited for
    run = RunFactory(person=lead, vehicle=car, line=line)
    watch = Watch(tablet, live_server.url)
    sign_in(tablet, technician, live_server.url)
    for address in (job.get_absolute_url(), run.get_absolute_url(), "/floor/"):
        tablet.goto(address)
        assert walk(tablet) == [], address

    # Past the head of the page with one key.
    tablet.goto("/floor/")
    tablet.keyboard.press("Tab")
    skip = tablet.get_by_role("link", name="Skip to the content")
    assert skip.bounding_box()["y"] >= 0
    tablet.keyboard.press("Enter")
    assert tablet.evaluate("document.activeElement.id") == "main"
    tablet.keyboard.press("Tab")
    assert tablet.evaluate("!!document.activeElement.closest('main')")

    # The list that opens under the search box is left by Escape, and the focus is where it was.
    box = tablet.get_by_role("combobox")
    box.focus()
    tablet.keyboard.type("squeal")
    tablet.locator(".find-list").wait_for()
    tablet.keyboard.press("ArrowDown")
    tablet.keyboard.press("Escape")
    tablet.locator(".find-list").wait_for(state="hidden")
    assert box.evaluate("(each) => each === document.activeElement")
    assert watch.complaints == []


@pytest.fixture
def in_hand(tablet, live_server, lead, technician):
    """An enrolled tablet with a camera, and the technician's session on it."""
    tablet.add_init_script(DETECTORS)
    tablet.emulate_media(reduced_motion="reduce")
    give_pin(technician)
    put_in_hand(tablet, technician, enrolled(lead), live_server.url)
    return tablet


def press(target) -> None:
    """With the keyboard alone: the focus on it, and Enter."""
    target.focus()
    expect(target).to_be_focused()
    target.page.keyboard.press("Enter")


def test_the_lock_gives_the_focus_back_and_lets_no_key_through(in_hand, live_server):
    page = in_hand
    watch = Watch(page, live_server.url)
    page.goto(reverse("jobs:floor"))
    lock = page.get_by_role("button", name="Lock", exact=True)
    cover, field = page.locator("#lock"), page.locator("#lock-pin")
    press(lock)
    expect(cover).to_be_visible()
    page.keyboard.press("Escape")
    for _ in range(20):
        page.keyboard.press("Tab")
        # Past its last control the key leaves the page for the browser's own bar, and nothing behind is met.
        assert page.evaluate(
            "document.activeElement === document.body || !!document.activeElement.closest('#lock')"
        )
    expect(cover).to_be_visible()
    field.focus()
    page.keyboard.type(PIN)
    expect(cover).to_have_count(0)
    expect(lock).to_be_focused()
    lock.tap()
    for digit in PIN:
        cover.get_by_role("button", name=digit, exact=True).tap()
    expect(cover).to_have_count(0)
    expect(lock).to_be_focused()

    # The window of the camera is shut when the tablet locks itself: the focus is where it was opened.
    scan, window = page.locator(".bar [data-scan]"), page.locator("dialog")
    press(scan)
    expect(window).to_contain_text("Looking…")
    page.evaluate("() => { document.dispatchEvent(new CustomEvent('lock:refused')); }")
    expect(cover).to_be_visible()
    expect(window).to_have_count(0)
    page.keyboard.type(PIN)
    expect(cover).to_have_count(0)
    expect(scan).to_be_focused()
    assert watch.complaints == []


def test_a_window_over_the_page_gives_the_focus_back(in_hand, lead, car):
    """Shut by Escape and by its button: the camera's, the question before signing out, that before throwing away."""
    page, line = in_hand, OpenLineFactory(person=lead, vehicle=car)
    page.goto(reverse("jobs:floor"))
    window = page.get_by_role("dialog")

    def shut(opener, button: str) -> None:
        for key in ("Escape", "Enter"):
            press(opener)
            expect(window.get_by_role("button", name=button)).to_be_focused()
            page.keyboard.press(key)
            expect(window).to_have_count(0)
            expect(opener).to_be_focused()

    shut(page.locator(".bar [data-scan]"), "Close")
    page.context.set_offline(True)
    page.evaluate(PUT, {"items": [measurement(line, "Brake disc", reading_unit="")]})
    shut(page.get_by_role("button", name="Sign out"), "Stay signed in")
    page.context.set_offline(False)
    chip = page.locator("#waiting")
    expect(chip).to_have_text("1 refused")
    press(chip)
    away = page.get_by_role("button", name="Throw it away", exact=True)
    press(away)
    expect(page.get_by_role("button", name="Really throw it away")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(away).to_be_focused()
    # The list is drawn anew under the hand, as whenever something was sent.
    page.evaluate("() => document.dispatchEvent(new CustomEvent('outbox:change'))")
    page.wait_for_timeout(500)
    expect(away).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Really throw it away")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Nothing is kept here")).to_be_visible()
    expect(page.locator("#kept-list")).to_be_focused()


def test_what_opens_within_a_page_gives_the_focus_back(in_hand, live_server, lead, car):
    """The form under a work line, the phrases under its field, the question before a kept reading is thrown away."""
    page = in_hand
    job = job_in("in_work", person=lead, vehicle=car)
    for _ in range(2):
        said = WorkLineFactory(person=lead, job=job)
        WorkLine.objects.filter(pk=said.pk).update(correction="Guides cleaned and greased. Pads renewed.")
    line = authorised_line(job=job, person=lead, owner=owner_of(car, lead))
    run = RunFactory(person=lead, line=line)
    tool = ToolFactory(person=lead)
    watch = Watch(page, live_server.url)
    page.goto(reverse("jobs:job", args=[job.pk]))
    write = page.locator(f"#line-{line.pk} a").get_by_text("Write", exact=True)
    press(write)
    field = page.get_by_label("Correction")
    offered = page.get_by_role("group", name="Written here before").get_by_role("button")
    field.focus()
    expect(offered.first).to_be_visible()
    page.keyboard.press("Escape")
    expect(offered).to_have_count(0)
    expect(field).to_be_focused()
    page.keyboard.type("gui")  # asked for again by going on
    expect(offered).to_have_text(["Guides cleaned and greased"])
    page.keyboard.press("Tab")
    expect(offered.first).to_be_focused()
    page.keyboard.press("Escape")
    expect(offered).to_have_count(0)
    expect(field).to_be_focused()
    press(page.locator(".inline").get_by_role("link", name="Cancel"))
    expect(field).to_have_count(0)
    expect(write).to_be_focused()

    # To stop a run is a page of its own; left alone, it leads back to its link.
    page.goto(f"{reverse('jobs:run', args=[run.pk])}?torque_tool={tool.pk}")
    stop = page.get_by_role("link", name="Stop this run")
    press(stop)
    press(page.get_by_role("link", name="Cancel"))
    expect(page.get_by_role("spinbutton", name="Fastener")).to_be_visible()
    expect(stop).to_be_focused()
    assert watch.complaints == []

    page.context.set_offline(True)
    page.get_by_role("button", name="Record", exact=True).press("Enter")
    back = page.locator("#kept-list").get_by_role("button", name="Take back")
    press(back)
    expect(page.get_by_role("button", name="Leave it")).to_be_focused()
    page.keyboard.press("Enter")
    expect(back).to_be_focused()
