"""A signing by touch: the shop's tablet in one technician's session, the second check signed by the other."""

from __future__ import annotations

import json
import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import SecondCheck
from tests.browser.devices import Watch
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click_all
from tests.factories.tool import ToolFactory
from tests.tablet import OTHER_PIN, PIN, enrolled, give_pin, put_in_hand
from workshop.models import Event

FINAL = {**WHEEL, "stages": WHEEL["stages"][1:], "critical": True}


@pytest.fixture
def run(lead, car, technician):
    run = RunFactory(person=lead, vehicle=car, steps=[FINAL])
    click_all(technician, run, ToolFactory(person=lead), values=(120,))
    return run


def test_the_other_technician_signs_the_second_check_on_this_session(
    tablet, live_server, run, technician, other_technician, lead
):
    bay = enrolled(lead)
    give_pin(technician)
    give_pin(other_technician, OTHER_PIN)
    put_in_hand(tablet, technician, bay, live_server.url)
    watch = Watch(tablet, live_server.url, expected=422)
    tablet.goto(reverse("jobs:run", args=[run.pk]))
    panel = tablet.locator(".second-check")
    expect(panel).to_contain_text("You took readings in this step: somebody else checks it.")
    pin = panel.get_by_label("PIN of who signs")
    expect(pin).to_be_visible()
    expect(panel.get_by_label("Nobody else is in the building, because")).to_be_hidden()
    expect(panel.get_by_role("group", name="Digits")).to_be_hidden()

    taps = 0
    for choice in ("Witness mark sighted", re.compile(r"^\s*In order"), other_technician.name):
        target = panel.locator("label").filter(has_text=choice).first
        box = target.bounding_box()
        assert box["height"] >= 48, choice
        target.tap()
        taps += 1
    # Chosen who signs, one types on keys made for gloves: they stand below the field and move nothing above.
    expect(panel.get_by_role("group", name="Digits")).to_be_visible()
    assert (pin.get_attribute("autocomplete"), pin.get_attribute("type")) == ("off", "password")
    assert pin.bounding_box()["height"] >= 48
    panel.get_by_label(re.compile("What you saw")).fill("five marks in line")
    pin.fill(PIN)  # not Odo's
    panel.get_by_role("button", name="Record the check").tap()
    expect(panel.locator(".errors").filter(has_text="Wrong PIN. Four more tries")).to_be_visible()
    expect(pin).to_have_value("")
    expect(panel.get_by_label(re.compile("What you saw"))).to_have_value("five marks in line")
    expect(panel.locator('[name="signer"]:checked')).to_have_value(str(other_technician.pk))
    kept = tablet.evaluate("JSON.stringify({...localStorage, ...sessionStorage})")
    assert PIN not in kept, "a PIN is kept nowhere on the device"

    # Come back, it shows the keys by themselves; they type, and the tablet's own keyboard stays away.
    keys = panel.get_by_role("group", name="Digits")
    expect(keys).to_be_visible()
    assert pin.get_attribute("inputmode") == "none"
    for key in (*OTHER_PIN, "Back", OTHER_PIN[-1], OTHER_PIN[-1]):  # one taken back, one too many
        button = keys.get_by_role("button", name=key, exact=True)
        assert button.bounding_box()["height"] >= 64, key
        button.tap()
    expect(pin).to_have_value(OTHER_PIN)
    panel.get_by_role("button", name="Record the check").tap()
    expect(tablet.get_by_role("heading", name="Everything is judged")).to_be_visible()
    assert OTHER_PIN not in tablet.evaluate("JSON.stringify({...localStorage, ...sessionStorage})")
    check = SecondCheck.objects.get()
    assert (check.made_by, check.device, check.note) == (other_technician, bay, "five marks in line")
    body = json.loads(Event.objects.get(subject_id=str(check.pk)).body)
    assert body["session_person"] == str(technician.pk)
    assert taps == 3, "and six digits, and the button"
    assert watch.complaints == []
