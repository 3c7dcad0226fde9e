"""The camera in place of the keyboard, with a detector that the test speaks for, and phrases of this shop."""

from __future__ import annotations

import re

import pytest
from django.conf import settings
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import WorkLine
from tests.browser.devices import Watch, sign_in
from tests.factories.job import job_in
from tests.factories.tool import ToolFactory
from tests.factories.work import WorkLineFactory, authorised_line, owner_of
from vehicles.models import Vehicle

# A browser with both detectors and a camera of its own; what they see is what the test says.
DETECTORS = """
  window.seen = { codes: [], words: [], tracks: [], refuse: "" };
  window.BarcodeDetector = class {
    static getSupportedFormats() { return Promise.resolve(["qr_code", "code_39", "code_128", "data_matrix"]); }
    constructor({ formats }) { seen.formats = formats; }
    detect() { return Promise.resolve(seen.codes.map((rawValue) => ({ rawValue }))); }
  };
  window.TextDetector = class {
    detect() { return Promise.resolve(seen.words.map((rawValue) => ({ rawValue }))); }
  };
  navigator.mediaDevices.getUserMedia = async (asked) => {
    seen.asked = asked;
    if (seen.refuse) throw new DOMException("no", seen.refuse);
    const canvas = document.createElement("canvas");
    canvas.getContext("2d").fillRect(0, 0, 10, 10);
    const stream = canvas.captureStream(5);
    seen.tracks = stream.getTracks();
    return stream;
  };
"""
# ISO 3779:2009 gives the characters; the number is invented.
VIN = "WHD45RV0000123456"


@pytest.fixture
def page(tablet, technician, live_server):
    tablet.add_init_script(DETECTORS)
    sign_in(tablet, technician, live_server.url)
    return tablet


def stopped(page) -> bool:
    """The camera is off, soon after its window is gone: its light would tell."""
    for _ in range(100):
        if page.evaluate(
            "() => seen.tracks.length > 0 && seen.tracks.every((track) => track.readyState === 'ended')"
        ):
            return True
        page.wait_for_timeout(50)
    return False


def shows(page, *codes: str) -> None:
    page.evaluate("(codes) => { seen.codes = codes; }", list(codes))


def test_a_label_opens_its_page_and_what_is_none_is_said(page, live_server, lead, car):
    watch = Watch(page, live_server.url)
    tool = ToolFactory(person=lead)
    page.goto(reverse("vehicles:find"))
    button = page.locator("main [data-scan]")
    button.click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("Looking…")
    assert page.evaluate("() => seen.asked.video.facingMode.ideal") == "environment"
    shows(page, "https://elsewhere.example/tools/")
    expect(dialog).to_contain_text("This code leads elsewhere")
    page.keyboard.press("Escape")
    expect(dialog).to_have_count(0)
    assert stopped(page)
    expect(button).to_be_focused()
    # A label bears the shop's own address, whichever one the tablet came by.
    shows(page, f"{settings.SITE_URL}{reverse('workshop:tool', args=[tool.pk])}")
    button.click()
    page.wait_for_url(f"**{reverse('workshop:tool', args=[tool.pk])}")
    expect(page.get_by_role("heading", level=1)).to_contain_text(tool.label)
    # From the bar of any page too: the script comes with the first tap.
    page.evaluate("() => { seen.codes = [location.origin + '/vehicles/']; }")
    page.locator(".bar [data-scan]").click()
    page.wait_for_url("**/vehicles/")
    assert not watch.complaints


@pytest.mark.outside(
    "ISO 3779:2009, characters of a VIN (no I, O, Q); check character of Code 39 modulo 43: ISO/IEC 16388, from memory"
)
def test_a_vin_label_in_each_of_its_codes(page, live_server, published):
    page.goto(reverse("vehicles:vehicle-add"))
    field = page.get_by_label("VIN or chassis number")
    # The sum of the values of its 17 characters modulo 43, worked out by hand: W32 H17 D13 4 5 R27 V31 … 1 to 6.
    total = 32 + 17 + 13 + 4 + 5 + 27 + 31 + (1 + 2 + 3 + 4 + 5 + 6)
    check = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"[total % 43]
    for code in (
        VIN,
        f"*{VIN}*",
        f"I{VIN}",
        f"{VIN}{check}",
        f"VIN {VIN.lower()}\r\nMY 1996",
        f"[)>06S{VIN} 12",
    ):
        published.same(page.evaluate("(code) => scan.vin(code)", code), "" if "06S" in code else VIN, code)
    for none in (
        VIN.replace("W", "I"),
        VIN.replace("H", "O"),
        VIN.replace("D", "Q"),
        VIN[:-1],
        f"{VIN}X",
        VIN * 2,
    ):
        published.same(page.evaluate("(code) => scan.vin(code)", none), "", none)
    shows(page, "4006381333931")
    page.locator("#id_number_field [data-scan]").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("that is no VIN of 17 characters")
    assert set(page.evaluate("() => seen.formats")) == {"code_39", "code_128", "data_matrix", "qr_code"}
    shows(page, f"I{VIN}")
    expect(dialog).to_have_count(0)
    expect(field).to_have_value(VIN)
    expect(field).to_be_focused()
    assert stopped(page)
    assert not Vehicle.objects.exists()


def test_a_plate_is_chosen_and_never_taken_by_itself(page, live_server):
    page.goto(reverse("vehicles:vehicle-add"))
    page.evaluate("() => { seen.words = ['qx 06 hld', 'HALDEN MOTORS', 'QX O6 HLD']; }")
    page.locator("#id_plate_field [data-scan]").click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_role("button", name="Read the plate").click()
    expect(dialog).to_contain_text("Tap what stands on the plate.")
    expect(page.get_by_label("Registration plate")).to_have_value("")
    expect(dialog.get_by_role("group").get_by_role("button")).to_have_text(["QX 06 HLD", "QX O6 HLD"])
    page.keyboard.press("Enter")  # by keyboard: the first has the focus
    expect(page.get_by_label("Registration plate")).to_have_value("QX 06 HLD")
    assert stopped(page)


def test_a_refused_camera_is_said_with_a_way_forward(page, live_server):
    page.goto(reverse("vehicles:vehicle-add"))
    page.evaluate("() => { seen.refuse = 'NotAllowedError'; }")
    page.locator("#id_number_field [data-scan]").click()
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_role("alert")).to_contain_text(
        "The camera is not allowed for this page. Allow it in"
    )
    page.evaluate("() => { seen.refuse = 'NotReadableError'; }")
    dialog.get_by_role("button", name="Try again").click()
    expect(dialog).to_contain_text("Another app holds the camera.")
    dialog.get_by_role("button", name="Type it instead").click()
    expect(page.get_by_label("VIN or chassis number")).to_be_focused()
    # Allowed after all.
    page.evaluate("() => { seen.refuse = ''; }")
    page.locator("#id_number_field [data-scan]").click()
    expect(dialog).to_contain_text("Looking…")
    dialog.get_by_role("button", name="Close").click()
    assert stopped(page)


def test_without_a_detector_nothing_of_it_is_there(tablet, technician, live_server):
    tablet.add_init_script("delete window.BarcodeDetector; delete window.TextDetector")
    sign_in(tablet, technician, live_server.url)
    for name in ("vehicles:find", "vehicles:vehicle-add"):
        tablet.goto(reverse(name))
        expect(tablet.locator("main input:not([type=hidden])").first).to_be_visible()
        assert tablet.locator("[data-scan]:visible").count() == 0


def test_phrases_go_on_with_what_is_typed(tablet, live_server, lead, technician, car):
    job = job_in("in_work", person=lead, vehicle=car)
    for said in (
        "Guides cleaned and greased. Pads renewed.",
        "Guides cleaned and greased. Hose renewed and bled.",
    ):
        line = WorkLineFactory(person=lead, job=job)
        WorkLine.objects.filter(pk=line.pk).update(correction=said)
    mine = authorised_line(job=job, person=lead, owner=owner_of(car, lead))
    sign_in(tablet, technician, live_server.url)
    watch = Watch(tablet, live_server.url)
    offered = tablet.get_by_role("group", name="Written here before").get_by_role("button")
    # In the form that opens in place under its line, and on its own page.
    tablet.goto(reverse("jobs:job", args=[job.pk]))
    tablet.locator(f'a[href^="{reverse("jobs:line-write", args=[mine.pk])}"][data-inline]').first.click()
    tablet.get_by_label("Correction").focus()
    expect(offered.first).to_be_visible()
    tablet.goto(reverse("jobs:line-write", args=[mine.pk]))
    field = tablet.get_by_label("Correction")
    field.focus()
    expect(offered.first).to_have_text("Guides cleaned and greased")
    field.press_sequentially("gui")
    expect(offered).to_have_text(["Guides cleaned and greased"])
    box = offered.first.bounding_box()
    assert box["height"] >= 48
    # By keyboard: it stands next after the field. What was typed stays as it was typed.
    field.press("Tab")
    expect(offered.first).to_be_focused()
    tablet.keyboard.press("Enter")
    expect(field).to_have_value("guides cleaned and greased")
    expect(field).to_be_focused()
    field.press_sequentially(". ")
    offered.filter(has_text=re.compile("^Hose")).tap()
    expect(field).to_have_value("guides cleaned and greased. Hose renewed and bled")
    # It counts as typed: the draft of this form holds it.
    expect(offered.filter(has_text="Guides")).to_have_count(0)
    tablet.wait_for_timeout(600)
    assert "Hose renewed and bled" in tablet.evaluate("() => JSON.stringify(Object.values(localStorage))")
    assert not watch.complaints
