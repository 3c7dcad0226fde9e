"""Everything by keyboard alone (WCAG 2.2, 2.1.1, 2.1.2 and 2.4.1): the way through a page, past its head, and out."""

from __future__ import annotations

import pytest

from tests.browser.devices import Watch, sign_in
from tests.factories.job import ThingOutFactory, job_in
from tests.factories.run import RunFactory
from tests.factories.work import authorised_line, owner_of

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
