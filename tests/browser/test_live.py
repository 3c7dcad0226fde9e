"""The job page and the floor bring themselves up to date, and leave alone what somebody is doing there."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from jobs.acts import answer as answer_acts
from jobs.acts import job as job_acts
from jobs.acts import work as work_acts
from tests.browser.devices import PHONE, TABLET, Watch, new_page, sign_in
from tests.factories.job import CheckInFactory, ThingOutFactory, job_in
from tests.factories.work import authorised_line, owner_of
from tests.people import by

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def watch(tablet, live_server):
    watch = Watch(tablet, live_server.url)
    yield watch
    assert watch.complaints == []


# New work is on every open tablet after this many seconds at the latest.
SECONDS = 5


def open_job(page, person, url, job):
    sign_in(page, person, url)
    page.goto(job.get_absolute_url())


def hurry(page):
    """Ask again in a quarter of a second, not in five: the page reads it before each wait."""
    page.evaluate("document.querySelector('[data-live]').dataset.every = '.25'")
    page.evaluate("window.dispatchEvent(new Event('online'))")


def test_a_blocker_goes_on_one_tablet_when_somebody_clears_it_on_another(
    tablet, watch, browser, live_server, car, lead, technician
):
    job = job_in("in_work", person=lead, vehicle=car)
    thing = ThingOutFactory(person=lead, job=job, what="Left front wheel")
    open_job(tablet, lead, live_server.url, job)
    hurry(tablet)
    blockers = tablet.locator("#blockers")
    assert "Left front wheel" in blockers.inner_text()
    count = blockers.locator("h2").inner_text()
    assert count == "3 things still block handover"
    assert tablet.locator("#live-said").inner_text() == ""  # nothing is read out before anything changed

    other = new_page(browser, live_server.url, **PHONE)
    sign_in(other, technician, live_server.url)
    other.goto(f"/things/{thing.pk}/back/")
    other.get_by_role("button", name="It is back").click()
    other.wait_for_url(f"**/jobs/{job.pk}/")
    other.context.close()

    blockers.get_by_text("Left front wheel").wait_for(state="detached")
    assert blockers.locator("h2").inner_text() == "2 things still block handover"
    assert tablet.locator("#live-said").text_content() == "2 things still block handover"
    assert tablet.locator("#live-said").get_attribute("role") == "status"


def test_what_is_typed_and_where_the_focus_is_survive_the_swap(
    tablet, watch, live_server, car, lead, technician
):
    owner = owner_of(car, lead)
    job = job_in("in_work", person=lead, vehicle=car)
    line = authorised_line(job=job, person=lead, owner=owner, complaint="Squeals")
    open_job(tablet, technician, live_server.url, job)
    row = tablet.locator(f"#line-{line.pk}")
    row.get_by_role("link", name="Labour").click()
    minutes = row.get_by_label("Number")
    minutes.fill("1.5")
    row.get_by_label("Note").fill("caliper off")
    hurry(tablet)

    # Somebody else writes the cause on the same line, and adds another one.
    work_acts.write_line(by=by(lead), line=line, seen_version=line.version, cause="Pads glazed")
    work_acts.add_line(by=by(lead), job=job, complaint="Wipers smear")
    row.get_by_text("Pads glazed").wait_for()
    tablet.get_by_text("2. Wipers smear").wait_for()
    assert minutes.input_value() == "1.5"
    assert row.get_by_label("Note").input_value() == "caliper off"
    assert tablet.evaluate("document.activeElement.value") == "caliper off"

    row.get_by_role("button", name="Save").click()
    expect(tablet.locator(f"#line-{line.pk}")).to_contain_text("1 h 30 min")
    tablet.wait_for_url(f"**/jobs/{job.pk}/#line-{line.pk}")


def test_a_fold_that_was_opened_stays_open_and_nothing_else_is_touched(
    tablet, watch, live_server, car, lead, front_desk
):
    owner = owner_of(car, lead)
    job = job_in("in_work", person=lead, vehicle=car)
    line = work_acts.add_line(by=by(lead), job=job, complaint="Squeals", estimate=80)
    open_job(tablet, lead, live_server.url, job)
    tablet.locator("#fold-agreed summary").click()
    tablet.evaluate("document.querySelector('#faults').dataset.seen = 'yes'")
    hurry(tablet)
    assert tablet.get_by_text("Record the answer").is_visible()
    answer_acts.record_answer(by=by(front_desk), line=line, answer="yes", given_by=owner, channel="phone")
    job.refresh_from_db()
    job_acts.plan(by=by(lead), job=job, seen_version=job.version, standing_at="lift 2")
    tablet.get_by_text("stands: lift 2").wait_for()
    tablet.get_by_text("Authorised up to 80.00").wait_for()
    assert tablet.locator("#fold-agreed").get_attribute("open") is not None
    assert tablet.evaluate("document.querySelector('#faults').dataset.seen") == "yes"


def test_the_page_asks_only_while_it_is_seen_and_says_when_nobody_answers(tablet, live_server, car, lead):
    job = job_in("in_work", person=lead, vehicle=car)
    open_job(tablet, lead, live_server.url, job)
    asked = []
    tablet.context.on("request", lambda request: asked.append(request.url))
    tablet.evaluate(
        "Object.defineProperty(document, 'visibilityState', { value: 'hidden', configurable: true })"
    )
    hurry(tablet)
    tablet.wait_for_timeout(900)
    assert not [url for url in asked if url.endswith("/live/")]
    tablet.evaluate(
        "Object.defineProperty(document, 'visibilityState', { value: 'visible', configurable: true });"
        "document.dispatchEvent(new Event('visibilitychange'))"
    )
    tablet.wait_for_timeout(900)
    assert [url for url in asked if url.endswith("/live/")]
    tablet.context.route("**/live/", lambda route: route.abort())
    tablet.locator("#live-trouble").wait_for()
    assert "has not answered since" in tablet.locator("#live-trouble").inner_text()
    tablet.context.unroute("**/live/")
    tablet.evaluate("window.dispatchEvent(new Event('online'))")
    tablet.locator("#live-trouble").wait_for(state="hidden")


def test_the_first_line_and_what_blocks_are_seen_without_scrolling(tablet, phone, live_server, car, lead):
    owner = owner_of(car, lead)
    job = job_in("in_work", person=lead, vehicle=car)
    line = authorised_line(job=job, person=lead, owner=owner, complaint="Squeals")
    open_job(tablet, lead, live_server.url, job)
    height = TABLET["viewport"]["height"]
    for place in (tablet.locator(f"#line-{line.pk} .line-head"), tablet.locator("#blocks")):
        box = place.bounding_box()
        assert box["y"] + box["height"] < height
    open_job(phone, lead, live_server.url, job)
    jump = phone.get_by_role("link", name="things still block handover")
    assert jump.bounding_box()["y"] < PHONE["viewport"]["height"]
    jump.click()
    phone.wait_for_timeout(300)
    assert 0 <= phone.locator("#blocks").bounding_box()["y"] < PHONE["viewport"]["height"]
    # The bar stays in view: from the foot of the page it is one tap back to what blocks.
    assert jump.bounding_box()["y"] < 200


def test_the_floor_brings_in_a_car_that_is_checked_in(tablet, watch, live_server, car, lead, technician):
    job = job_in("booked", person=lead, vehicle=car)
    sign_in(tablet, technician, live_server.url)
    # The page's own clock is turned: how soon it asks is measured, and not waited for.
    tablet.clock.install()
    tablet.goto("/floor/")
    assert tablet.get_by_text("No car is in the building").is_visible()
    answers = []
    tablet.on("response", lambda answer: answers.append(answer.status) if "/rows/" in answer.url else None)
    with tablet.expect_response("**/floor/rows/*"):
        tablet.clock.fast_forward(SECONDS * 1000)
    assert answers == [304]  # nothing was written meanwhile
    CheckInFactory(person=lead, job=job)
    row = tablet.locator(f"[data-part='job-{job.pk}']")
    assert not row.is_visible()
    with tablet.expect_response("**/floor/rows/*"):
        tablet.clock.fast_forward(SECONDS * 1000)
    row.wait_for()
    assert not tablet.get_by_text("No car is in the building").is_visible()
    job.refresh_from_db()
    now = timezone.now()
    job_acts.plan(
        by=by(lead), job=job, seen_version=job.version, technician=technician, standing_at="lift 2",
        promised_at=now + timedelta(hours=2),
    )  # fmt: skip
    tablet.clock.fast_forward(SECONDS * 1000)
    row.get_by_text("Tamsin Orrell").wait_for()
    assert "lift 2" in row.inner_text()


def test_labour_takes_two_taps_and_the_clock_one(tablet, watch, live_server, car, lead, technician):
    """Counted as touches, from the job page and back to the same line; figures typed are not touches."""
    job = job_in("in_work", person=lead, vehicle=car)
    line = authorised_line(job=job, person=lead, owner=owner_of(car, lead), complaint="Squeals")
    open_job(tablet, technician, live_server.url, job)
    row = tablet.locator(f"#line-{line.pk}")
    back = f"**/jobs/{job.pk}/#line-{line.pk}"

    row.get_by_role("link", name="Labour").tap()
    row.locator(".inline form").wait_for()
    tablet.keyboard.type("0.5")  # the field has the focus
    row.get_by_role("button", name="Save").tap()
    expect(row).to_contain_text("30 min")
    tablet.wait_for_url(back)

    row.get_by_role("button", name="Start work").tap()
    row.get_by_text("is on it since").wait_for()
    row.get_by_role("button", name="Stop work").tap()
    row.get_by_role("button", name="Start work").wait_for()

    row.get_by_role("link", name="Part used").tap()
    row.locator(".inline form").wait_for()
    tablet.keyboard.type("brake cleaner")
    row.get_by_role("button", name="Save").tap()
    row.get_by_text("brake cleaner").wait_for()


def test_typed_text_is_not_thrown_away_for_another_form(tablet, watch, live_server, car, lead):
    job = job_in("in_work", person=lead, vehicle=car)
    line = authorised_line(job=job, person=lead, owner=owner_of(car, lead), complaint="Squeals")
    open_job(tablet, lead, live_server.url, job)
    row = tablet.locator(f"#line-{line.pk}")
    row.get_by_role("link", name="Write", exact=True).tap()
    row.get_by_label("Cause").fill("Pads glazed")
    row.get_by_role("link", name="Labour").tap()
    tablet.wait_for_timeout(400)
    assert row.get_by_label("Cause").input_value() == "Pads glazed"
    row.get_by_role("link", name="Cancel").tap()
    row.get_by_role("link", name="Labour").tap()
    row.get_by_label("Number").wait_for()
