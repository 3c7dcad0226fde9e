"""One car, two people, two tablets at once: found, written down by both, tightened by one, checked by the other on the
first one's tablet, seen on the floor of the other, handed over.
"""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.acts import handover as handover_acts
from jobs.acts import job as job_acts
from jobs.acts import roadtest as test_acts
from jobs.models import SecondCheck, SheetRevision, TorqueReading, WorkLine
from jobs.states import JobState
from tests.browser.devices import TABLET, Watch, new_page
from tests.browser.test_run_tablet import CROSSWISE, Finger, next_is
from tests.factories.handover import done_line, finish, in_work
from tests.factories.job import RoadTestFactory
from tests.factories.procedure import ProcedureFactory
from tests.factories.run import RunFactory
from tests.factories.tool import ToolFactory
from tests.factories.work import owner_of
from tests.people import by
from tests.tablet import OTHER_PIN, enrolled, give_pin, put_in_hand
from vehicles.acts import fault as fault_acts
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
def job(car, lead):
    return in_work(car, owner_of(car, lead), lead, title="Wheels and brakes")


def test_two_people_do_one_car(tablet, browser, live_server, car, job, lead, technician):
    keeper = job.authoriser
    ToolFactory(person=lead, label="TW-03")
    line = done_line(job, keeper, lead, complaint="Front wheels back on", cause="", correction="")
    give_pin(technician)
    give_pin(lead, OTHER_PIN)
    put_in_hand(tablet, technician, enrolled(lead, "Bay 1"), live_server.url)
    office = new_page(browser, live_server.url, **TABLET)
    put_in_hand(office, lead, enrolled(lead, "Bay 2"), live_server.url)
    for page in (tablet, office):
        page.context.set_default_timeout(20_000)
    watches = [Watch(page, live_server.url, expected=422) for page in (tablet, office)]

    # The technician finds something; the lead has the floor before them, and never reloads it.
    office.goto(reverse("jobs:floor"))
    tablet.goto(reverse("vehicles:fault-add", args=[car.pk]))
    tablet.locator("form.form [name=title]").fill("Wheel bolt hole worn")
    tablet.locator("form.form select[name=job]").select_option(str(job.pk))
    tablet.locator("form.form select[name=kind]").select_option("finding")
    tablet.locator("form.form select[name=severity]").select_option("minor")
    tablet.locator("form.form .actions button").first.tap()
    expect(tablet.get_by_role("heading", name="Wheel bolt hole worn")).to_be_visible()
    fault = Fault.objects.get()
    assert fault.made_by == technician

    # Both write the same line; the second sees both texts and puts them together.
    second = office.context.new_page()
    for page in (tablet, second):
        page.goto(reverse("jobs:job", args=[job.pk]))
        page.locator(f"#line-{line.pk} a").get_by_text("Write", exact=True).tap()
        expect(page.get_by_label("Cause")).to_be_visible()
    second.get_by_label("Cause").fill("Wheels were off for the brakes.")
    second.get_by_role("button", name="Save").tap()
    expect(second.get_by_text("Written.")).to_be_visible()
    tablet.get_by_label("Cause").fill("One bolt hole worn, within use.")
    tablet.get_by_label("Correction").fill("Wheels fitted and tightened by procedure.")
    tablet.get_by_role("button", name="Save").tap()
    expect(tablet.locator("#form-errors")).to_contain_text(f"{lead} changed this at ")
    tablet.locator(".field", has=tablet.locator("[name=cause]")).get_by_role(
        "button", name="Put both together"
    ).tap()
    tablet.get_by_role("button", name="Save").tap()
    expect(tablet.get_by_text("Written.")).to_be_visible()
    line.refresh_from_db()
    assert line.cause.split() == [
        "Wheels",
        "were",
        "off",
        "for",
        "the",
        "brakes.",
        "One",
        "bolt",
        "hole",
        "worn,",
        "within",
        "use.",
    ]

    # Tightened by the technician: five nuts, one of them without a network.
    run = RunFactory(
        person=lead, line=line, procedure=ProcedureFactory(person=lead, steps=[FINAL]), where="front left"
    )
    hand = Finger(tablet)
    tablet.goto(reverse("jobs:run", args=[run.pk]))
    tablet.get_by_role("link", name=re.compile("TW-03")).tap()
    for fastener in CROSSWISE:
        next_is(tablet, fastener)
        tablet.context.set_offline(fastener == CROSSWISE[2])
        hand.clicked()
        if fastener == CROSSWISE[2]:
            expect(tablet.locator(".last")).to_contain_text("kept on this tablet")
        elif fastener == CROSSWISE[-1]:
            expect(tablet.locator(".pattern .fastener.done")).to_have_count(5)
    assert list(TorqueReading.objects.order_by("made_at").values_list("fastener", flat=True)) == CROSSWISE

    # Checked by the lead, who comes over and signs with their own PIN.
    panel = tablet.locator(".second-check")
    for choice in ("Witness mark sighted", re.compile(r"^\s*In order"), lead.name):
        panel.locator("label").filter(has_text=choice).first.tap()
    panel.get_by_label("PIN of who signs").fill(OTHER_PIN)
    panel.get_by_role("button", name="Record the check").tap()
    hand.tap(hand.button("Complete the run"))
    expect(tablet.get_by_role("heading", name="The run is complete")).to_be_visible()
    assert (SecondCheck.objects.get().made_by, SecondCheck.objects.get().device.name) == (lead, "Bay 1")

    # What comes new is on the other tablet within seconds, without a touch there.
    _end(fault, technician)
    finish(WorkLine.objects.get(pk=line.pk), technician)
    RoadTestFactory(person=lead, job=job)
    test_acts.final_check(by=by(lead), job=job, new_damage="none", tools_complete=True, parts_complete=True)
    office.bring_to_front()
    job_acts.move(by=by(technician), job=job, to_state="final_checks")
    expect(office.locator("main")).to_contain_text(JobState.FINAL_CHECKS.label, timeout=SOON)
    job.refresh_from_db()
    handover_acts.call_ready(by=by(lead), job=job)
    expect(office.locator("main")).to_contain_text("1 to collect", timeout=SOON)

    # Handed over by the lead on their own tablet, with their PIN.
    office.goto(reverse("jobs:handover", args=[job.pk]))
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
    devices = set(
        Event.objects.filter(job_ref=str(job.pk), device__isnull=False).values_list(
            "person__name", "device__name"
        )
    )
    assert {(technician.name, "Bay 1"), (lead.name, "Bay 2"), (lead.name, "Bay 1")} <= devices
    assert [
        text for watch in watches for text in watch.complaints if "policy" in text or "script" in text
    ] == []
    office.context.close()


def _sign(page, canvas) -> None:
    canvas.scroll_into_view_if_needed()
    box, session, kind = canvas.bounding_box(), page.context.new_cdp_session(page), "touchStart"
    for across, down in STROKE:
        point = {"x": box["x"] + box["width"] * across, "y": box["y"] + box["height"] * down}
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [point]})
        kind = "touchMove"
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def _end(fault, person) -> None:
    fault.refresh_from_db()
    fault_acts.end_normal(
        by=by(person), fault=fault, seen_version=fault.version, normal_source="maker's limit, 0.3 mm"
    )
