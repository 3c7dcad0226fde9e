"""One car, two people, two tablets at once, from the booking to the signed sheet, all of it by touch through the pages.

The lead books the car and checks it in; the technician has it on the floor at once, writes down what is found and what is
to be done; the lead records the owner's yes; both write the same line. The technician tightens, the lead checks it on the
technician's tablet with their own PIN; the fault and the line are ended, the car is driven, looked over, called ready and
handed over. Whatever one of them does, the other's tablet shows within seconds.
"""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import FinalCheck, Job, LineAnswer, RoadTest, Run, SecondCheck, SheetRevision, TorqueReading
from jobs.states import JobState
from tests.browser.devices import TABLET, Watch, new_page
from tests.browser.test_run_tablet import CROSSWISE, Finger, next_is
from tests.factories.procedure import ProcedureFactory
from tests.factories.tool import ToolFactory
from tests.factories.work import owner_of
from tests.tablet import OTHER_PIN, PIN, enrolled, give_pin, put_in_hand
from vehicles.models import Fault
from workshop.models import Event

FINAL = {
    "title": "Wheel nuts",
    "fasteners": 5,
    "critical": True,
    "stages": [{"name": "Final", "value": "120", "tolerance_percent": "15", "unit": "N.m"}],
}
# A stroke across the field to sign in, as touches.
STROKE = [(0.2, 0.3), (0.3, 0.7), (0.4, 0.3), (0.5, 0.7), (0.6, 0.3), (0.7, 0.7), (0.8, 0.4)]
SOON = 8_000  # ms: new work is on every open tablet within seconds


@pytest.fixture
def office(browser, live_server):
    """The lead's tablet."""
    page = new_page(browser, live_server.url, **TABLET)
    yield page
    page.context.close()


@pytest.fixture
def shop(car, lead, technician):
    """What is there before the car comes: its owner, a calibrated wrench, a released procedure, people with PINs."""
    owner_of(car, lead)
    ToolFactory(person=lead, label="TW-03")
    ProcedureFactory(person=lead, title="Wheels on", area="wheels", steps=[FINAL])
    give_pin(technician)
    give_pin(lead, OTHER_PIN)


def test_two_people_do_one_car(tablet, office, live_server, shop, car, lead, technician):
    put_in_hand(tablet, technician, enrolled(lead, "Bay 1"), live_server.url)
    put_in_hand(office, lead, enrolled(lead, "Bay 2"), live_server.url)
    watches = [Watch(page, live_server.url, expected=422) for page in (tablet, office)]
    for page in (tablet, office):
        page.goto(reverse("jobs:floor"))  # the only address that anybody types

    job = _booked_and_checked_in(office)
    _taken_on(tablet, car, job)
    line = _found_and_asked(tablet, job)
    _yes(office, line)
    _written_by_both(tablet, office, line, lead)
    _tightened(tablet, line, lead)
    _checked_by_the_other(tablet, lead)
    _ended(tablet, office, job, line)
    _to_the_final_checks(tablet, office, job)
    _driven_and_looked_over(tablet, job, technician)
    _called_ready(tablet, office, job)
    _handed_over(tablet, office, job, lead)

    devices = set(
        Event.objects.filter(job_ref=str(job.pk), device__isnull=False).values_list(
            "person__name", "device__name"
        )
    )
    assert devices == {(technician.name, "Bay 1"), (lead.name, "Bay 2"), (lead.name, "Bay 1")}
    assert not Event.objects.filter(job_ref=str(job.pk), device=None).exists(), "all of it by the pages"
    assert [
        text for watch in watches for text in watch.complaints if "policy" in text or "script" in text
    ] == []


def _booked_and_checked_in(page) -> Job:
    page.get_by_role("link", name="Book a job").first.tap()
    page.get_by_role("link", name=re.compile("^Book a job on")).tap()
    page.get_by_label("In short").fill("Wheels and brakes")
    _send(page, "The car is here: check it in", "Booked.")
    page.locator("[name=odometer_value]").fill("148210")
    page.get_by_label("Half", exact=True).check()
    page.get_by_label("Keys handed in").fill("2")
    page.get_by_label("Belongings left in the car").fill("A dog lead")
    page.get_by_label("Existing damage").fill("Scratch on the right rear door")
    page.get_by_label("Consent to road-test the car").check()
    page.get_by_label("Plates and insurance allow it on the road").check()
    _send(page, "Check the car in", "Checked in.")
    job = Job.objects.get()
    assert (job.state, job.check_in.belongings, job.check_in.keys) == ("checked_in", "A dog lead", 2)
    return job


def _taken_on(page, car, job) -> None:
    """The car came on the technician's floor by itself."""
    expect(page.locator("main")).to_contain_text("1 in the building", timeout=SOON)
    page.get_by_role("link", name=re.compile(re.escape(car.name))).tap()
    expect(page.get_by_role("heading", name=job.title)).to_be_visible()
    _send(page, "Start work", JobState.IN_WORK.label)


def _found_and_asked(page, job):
    """A fault, the line that takes it on, and what it will cost."""
    page.get_by_role("link", name="Report a fault").tap()
    expect(page.locator("form.form select[name=job]")).to_have_value(str(job.pk))
    expect(page.get_by_role("link", name="Cancel")).to_have_attribute("href", job.get_absolute_url())
    page.get_by_label("In short").fill("Wheel bolt hole worn")
    page.locator("form.form select[name=kind]").select_option("finding")
    page.locator("form.form select[name=severity]").select_option("minor")
    _send(page, "Report the fault", "The fault is on record.")
    page.locator(".kicker").get_by_role("link", name=f"Job {job.number}").tap()

    page.get_by_role("link", name="write the first work line").tap()
    page.get_by_label("What is asked for, or what was found").fill("Front wheels back on")
    page.get_by_label(re.compile("Wheel bolt hole worn")).check()
    _send(page, "Add the line", "Line added.")
    line = job.lines.get()
    page.get_by_role("link", name="Estimate it", exact=True).tap()
    page.locator(".inline [name=estimate]").fill("120")
    _send(page, "Save", "Estimated.")
    return line


def _yes(page, line) -> None:
    """The lead, who has the job before them, sees the line come, and asks the owner."""
    page.get_by_role("link", name="Record the answer", exact=True).tap()
    page.get_by_label("Yes: do it").check()
    page.locator("select[name=channel]").select_option("phone")
    _send(page, "Record the answer", "The answer is recorded.")
    answer = LineAnswer.objects.get()
    assert (answer.line, answer.answer, answer.amount) == (line, "yes", 120)


def _written_by_both(tablet, office, line, lead) -> None:
    """The second sees both texts and puts them together."""
    for page in (tablet, office):
        # On the technician's tablet it may be written once the yes has come.
        page.locator(f"#line-{line.pk} a").get_by_text("Write", exact=True).tap()
        expect(page.get_by_label("Cause")).to_be_visible()
    office.get_by_label("Cause").fill("Wheels were off for the brakes.")
    _send(office, "Save", "Written.")
    tablet.get_by_label("Cause").fill("One bolt hole worn, within use.")
    tablet.get_by_label("Correction").fill("Wheels fitted and tightened by procedure.")
    tablet.get_by_role("button", name="Save").tap()
    expect(tablet.locator("#form-errors")).to_contain_text(f"{lead} changed this at ")
    cause = tablet.locator(".field", has=tablet.locator("[name=cause]"))
    cause.get_by_role("button", name="Put both together").tap()
    _send(tablet, "Save", "Written.")
    line.refresh_from_db()
    both = "Wheels were off for the brakes. One bolt hole worn, within use."
    assert line.cause.split() == both.split()


def _tightened(page, line, lead) -> None:
    """Five nuts, one of them without a network."""
    page.get_by_role("link", name="Tighten").tap()
    page.locator("select[name=procedure]").select_option(label="Wheels on")
    page.get_by_label("On which part of the car").fill("front left")
    _send(page, "Start", "Started.")
    assert (Run.objects.get().line, Run.objects.get().where) == (line, "front left")
    hand = Finger(page)
    page.get_by_role("link", name=re.compile("TW-03")).tap()
    for fastener in CROSSWISE:
        next_is(page, fastener)
        page.context.set_offline(fastener == CROSSWISE[2])
        hand.clicked()
        if fastener == CROSSWISE[2]:
            expect(page.locator(".last")).to_contain_text("kept on this tablet")
            expect(page.locator(".stage-words")).to_contain_text("critical")
        elif fastener == CROSSWISE[-1]:
            expect(page.locator(".pattern .fastener.done")).to_have_count(5)
    assert list(TorqueReading.objects.order_by("made_at").values_list("fastener", flat=True)) == CROSSWISE


def _checked_by_the_other(page, lead) -> None:
    """The lead comes over, and signs with their own PIN."""
    panel = page.locator(".second-check")
    for choice in ("Witness mark sighted", re.compile(r"^\s*In order"), lead.name):
        panel.locator("label").filter(has_text=choice).first.tap()
    panel.get_by_label("PIN of who signs").fill(OTHER_PIN)
    panel.get_by_role("button", name="Record the check").tap()
    page.get_by_role("button", name="Complete the run").tap()
    expect(page.get_by_role("heading", name="The run is complete")).to_be_visible()
    check = SecondCheck.objects.get()
    assert (check.made_by, check.device.name) == (lead, "Bay 1")


def _ended(tablet, office, job, line) -> None:
    """The fault by the check, then the line; the lead's page of the job says so by itself."""
    tablet.get_by_role("link", name="Back to the work line").tap()
    tablet.get_by_role("link", name="say how it was checked").tap()
    tablet.get_by_label("Check made afterwards").fill("Hole measured: 0.1 mm wide, limit 0.3 mm")
    _send(tablet, "Save", "The fault has its end.")
    fault = Fault.objects.get()
    assert (fault.end, fault.fixed_by_line) == ("fixed", line)
    tablet.get_by_role("link", name="Finish the line").first.tap()
    _send(tablet, "It is done", "The line is done.")
    done = office.locator(f"#line-{line.pk}")
    expect(done).to_contain_text("Wheels on, front left complete", timeout=SOON)
    expect(done.locator(".line-head")).to_contain_text("Done", timeout=SOON)


def _to_the_final_checks(tablet, office, job) -> None:
    office.get_by_role("link", name="Floor").tap()
    expect(office.locator("main")).to_contain_text(JobState.IN_WORK.label)
    tablet.get_by_role("link", name="To the job").tap()
    _send(tablet, "Go to the final checks", JobState.FINAL_CHECKS.label)
    expect(office.locator("main")).to_contain_text(JobState.FINAL_CHECKS.label, timeout=SOON)


def _driven_and_looked_over(page, job, technician) -> None:
    page.get_by_role("link", name="Road-test the car").tap()
    expect(page.get_by_label("Who drove")).to_have_value(str(technician.pk))
    page.locator("[name=licence_and_insurance]").check()
    page.locator("[name=driven]").fill("Ring road and hill, 20 minutes")
    page.locator("[name=found]").fill("Pulls straight, no noise")
    _send(page, "Save", "The road test is on record.")
    page.get_by_role("link", name="Make the final check").first.tap()
    expect(page.locator("main")).to_contain_text("Scratch on the right rear door")
    page.locator("[name=new_damage]").fill("none")
    page.locator("[name=tools_complete]").check()
    page.locator("[name=parts_complete]").check()
    page.get_by_label("PIN of who signs").fill(PIN)
    _send(page, "Save", "The final check is on record.")
    assert (RoadTest.objects.get().driver, FinalCheck.objects.get().made_by) == (technician, technician)


def _called_ready(tablet, office, job) -> None:
    """By the lead, on their own tablet; the technician has the floor before them."""
    tablet.get_by_role("link", name="Floor").tap()
    office.locator(".floor-what a").tap()
    office.get_by_role("link", name="Call the car ready", exact=True).tap()
    office.get_by_label("PIN of who signs").fill(OTHER_PIN)
    keys = office.get_by_role("group", name="Digits").bounding_box()
    ready = office.get_by_role("button", name="Call the car ready", exact=True).bounding_box()
    assert ready["y"] - keys["y"] - keys["height"] >= 8, "a glove on the lowest key calls nothing ready"
    _send(office, "Call the car ready", JobState.READY.label)
    expect(tablet.locator("main")).to_contain_text("1 to collect", timeout=SOON)


def _handed_over(tablet, office, job, lead) -> None:
    office.get_by_label("How they were known").fill("By sight")
    office.locator("[name=odometer_value]").fill("148223")
    office.get_by_label("Explained and asked").fill("Nuts checked again after 50 km.")
    office.get_by_role("button", name="Show the sheet to sign").tap()
    office.wait_for_selector("form[data-signing]")
    for canvas in office.locator("canvas").all():
        _sign(office, canvas)
    office.locator("#sign input[name=pin]").fill(OTHER_PIN)
    office.get_by_role("button", name="Hand over and issue the sheet").click()
    office.wait_for_url("**/sheets/**")
    sheet = SheetRevision.objects.get()
    assert (sheet.made_by, sheet.job) == (lead, job)
    expect(tablet.locator("main")).to_contain_text("0 to collect", timeout=SOON)


def _send(page, button: str, said: str) -> None:
    """Tap the button of the form, and read what the next page says of it."""
    page.get_by_role("button", name=button, exact=True).tap()
    expect(page.locator(".messages")).to_contain_text(said)


def _sign(page, canvas) -> None:
    canvas.scroll_into_view_if_needed()
    box, session, kind = canvas.bounding_box(), page.context.new_cdp_session(page), "touchStart"
    for across, down in STROKE:
        point = {"x": box["x"] + box["width"] * across, "y": box["y"] + box["height"] * down}
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [point]})
        kind = "touchMove"
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
