"""Signing on the screen in a real browser: by finger and by mouse, cleared, kept, and without a script on paper."""

from __future__ import annotations

import io
import json
import math

import pytest
from django.urls import reverse
from pypdf import PdfReader

from jobs.models import SheetRevision, SignatureInk, SignOff
from tests.browser.devices import PHONE, PRINTED, TABLET, Watch, new_page, sign_in
from tests.browser.sweep import looked_at
from tests.factories.handover import ReadyJobFactory
from tests.factories.work import owner_of
from tests.people import by
from vehicles.acts import vehicle as vehicle_acts


@pytest.fixture
def job(car, lead):
    return ReadyJobFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))


def first_step(page, job) -> None:
    page.goto(reverse("jobs:handover", args=[job.pk]))
    page.get_by_label("How they were known").fill("By sight")
    page.locator("[name=odometer_value]").fill("148223")
    page.get_by_label("Explained and asked").fill("Pads run in gently.")
    page.get_by_role("button", name="Show the sheet to sign").click()
    page.wait_for_selector("form[data-signing]")


def points_in(canvas, seed: float = 0) -> list[tuple[float, float]]:
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    return [
        (
            box["x"] + box["width"] * (0.15 + number * 0.012),
            box["y"] + box["height"] * (0.5 + 0.3 * math.sin(number / 4 + seed)),
        )
        for number in range(50)
    ]


def by_mouse(page, canvas, seed: float = 0) -> None:
    (x, y), *rest = points_in(canvas, seed)
    page.mouse.move(x, y)
    page.mouse.down()
    for x, y in rest:
        page.mouse.move(x, y)
    page.mouse.up()


def by_finger(page, canvas, seed: float = 0) -> None:
    """Touches as the browser itself gets them from a touch screen."""
    session = page.context.new_cdp_session(page)
    kind = "touchStart"
    for x, y in points_in(canvas, seed):
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
        kind = "touchMove"
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


@pytest.mark.pdf
def test_both_sign_on_the_tablet_and_the_sheet_bears_it(tablet, live_server, job, lead):
    watch = Watch(tablet, live_server.url)
    sign_in(tablet, lead, live_server.url)
    first_step(tablet, job)

    # The very sheet is shown, both parts, beside the fields to sign in.
    shown = tablet.get_by_role("region", name="The sheet, whole")
    assert shown.get_by_text("Front pads renewed, guides cleaned and greased.").is_visible()
    assert shown.get_by_text("Keeper and prices").count() == 1
    fields = tablet.locator("canvas")
    assert fields.count() == 2
    before = tablet.evaluate("scrollY")
    by_finger(tablet, fields.nth(0))
    assert tablet.evaluate("scrollY") == before, "a finger on the field signs, and does not move the page"
    by_mouse(tablet, fields.nth(1), seed=1)
    for name in ("lead_ink", "collector_ink"):
        assert len(json.loads(tablet.locator(f"[name={name}]").input_value())[0]) > 40

    tablet.get_by_role("button", name="Hand over and issue the sheet").click()
    tablet.wait_for_url("**/sheets/**", timeout=PRINTED)
    assert tablet.get_by_role("img", name="Signature of").count() == 2
    assert watch.complaints == []
    assert set(SignOff.objects.values_list("method", flat=True)) == {"glass"}
    assert SignatureInk.objects.count() == 2
    sheet = SheetRevision.objects.get()
    pdf = PdfReader(io.BytesIO(bytes(sheet.text.pdf)))
    said = " ".join(" ".join(page.extract_text().split()) for page in pdf.pages)
    assert "Lida Marchbank, on the screen" in said
    assert sum(page.get_contents().get_data().count(b" c\n") for page in pdf.pages) > 60, "the curves drawn"
    # Nothing of what was typed is offered again.
    tablet.goto(reverse("jobs:job", args=[job.pk]))
    assert tablet.get_by_text("did not send it").count() == 0


def test_both_steps_and_the_sheets_page_can_be_used_by_everybody(browser, live_server, job, lead):
    """WCAG 2.2 AA as far as a machine can see it, targets for a finger, nothing sideways, at each size and theme."""
    page = new_page(browser, live_server.url, **TABLET, reduced_motion="reduce")
    watch, wrong = Watch(page, live_server.url), []

    def look(name: str) -> None:
        # The list of messages belongs to the frame of every page. The sheet is printed at the desk, with both hands.
        wrong.extend(
            f"{name}: {text}"
            for text in looked_at(page, leave_out=".messages")
            if "“Open and print" not in text
        )

    try:
        sign_in(page, lead, live_server.url)
        page.goto(reverse("jobs:handover", args=[job.pk]))
        look("first step")
        first_step(page, job)
        look("second step")
        page.get_by_role("button", name="Hand over and issue the sheet").click()
        page.wait_for_selector(".errors")
        look("nothing drawn")
        for name in ("lead", "collector"):
            page.locator(f"[name={name}_signs][value=paper]").check()
        page.get_by_role("button", name="Hand over and issue the sheet").click()
        page.wait_for_url("**/sheets/**", timeout=PRINTED)
        look("the sheet's page")
        page.goto(reverse("jobs:sheet-sign", args=[SheetRevision.objects.get().pk, "collector"]))
        page.locator("[name=method][value=glass]").check()
        look("signed afterwards")
    finally:
        page.context.close()
    watch.complaints = [text for text in watch.complaints if "422" not in text]
    assert not wrong + watch.complaints, "\n".join(["", *dict.fromkeys(wrong), *watch.complaints])


def test_a_dot_is_refused_and_the_other_signature_stays_drawn(tablet, live_server, job, lead):
    watch = Watch(tablet, live_server.url, expected=422)
    sign_in(tablet, lead, live_server.url)
    first_step(tablet, job)
    fields = tablet.locator("canvas")
    by_mouse(tablet, fields.nth(0))
    drawn = tablet.locator("[name=lead_ink]").input_value()
    box = fields.nth(1).bounding_box()
    tablet.mouse.click(box["x"] + 60, box["y"] + 60)
    tablet.get_by_role("button", name="Hand over and issue the sheet").click()
    tablet.wait_for_selector(".errors")
    assert tablet.get_by_text("That is too little for a signature").count() >= 1
    assert tablet.locator("[name=lead_ink]").input_value() == drawn
    assert ink_on(tablet.locator("canvas").nth(0)), "drawn again from its points"
    assert not SheetRevision.objects.exists()
    # Cleared and signed, it goes through.
    tablet.get_by_role("button", name="Clear the signature of Corin Ashby").click()
    assert tablet.locator("[name=collector_ink]").input_value() == ""
    by_mouse(tablet, tablet.locator("canvas").nth(1))
    tablet.get_by_role("button", name="Hand over and issue the sheet").click()
    tablet.wait_for_url("**/sheets/**", timeout=PRINTED)
    assert SignatureInk.objects.count() == 2
    assert watch.complaints == []


def ink_on(canvas) -> bool:
    """Whether the field has more than its line drawn on it: pixels of full strength in the upper half."""
    return canvas.evaluate(
        """field => {
            const data = field.getContext("2d").getImageData(0, 0, field.width, field.height / 2).data;
            for (let i = 3; i < data.length; i += 4) if (data[i] > 200) return true;
            return false;
        }"""
    )


def test_what_changed_while_they_signed_is_shown_before_they_sign_again(tablet, live_server, job, car, lead):
    sign_in(tablet, lead, live_server.url)
    first_step(tablet, job)
    for number in (0, 1):
        by_mouse(tablet, tablet.locator("canvas").nth(number))
    car.refresh_from_db()
    vehicle_acts.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=car.version, number=car.number, as_stamped=True, reason="papers",
        engine_number="HD25-1",
    )  # fmt: skip
    tablet.get_by_role("button", name="Hand over and issue the sheet").click()
    tablet.wait_for_selector("text=Something changed while you signed")
    assert tablet.get_by_text("What reads differently now: The car.").is_visible()
    assert not ink_on(tablet.locator("canvas").nth(0))
    for number in (0, 1):
        by_mouse(tablet, tablet.locator("canvas").nth(number))
    tablet.get_by_role("button", name="Hand over and issue the sheet").click()
    tablet.wait_for_url("**/sheets/**", timeout=PRINTED)
    assert "HD251" in SheetRevision.objects.get().technical


def test_a_phone_turned_keeps_what_was_drawn(phone, live_server, job, lead):
    sign_in(phone, lead, live_server.url)
    first_step(phone, job)
    field = phone.locator("canvas").nth(0)
    by_finger(phone, field)
    drawn = phone.locator("[name=lead_ink]").input_value()
    phone.set_viewport_size({"width": 844, "height": 390})
    phone.wait_for_function("document.querySelector('canvas').getBoundingClientRect().width > 400")
    assert phone.locator("[name=lead_ink]").input_value() == drawn
    assert ink_on(field)
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_without_a_script_it_is_signed_on_paper(browser, live_server, job, lead):
    page = new_page(browser, live_server.url, java_script_enabled=False, **PHONE)
    try:
        sign_in(page, lead, live_server.url)
        first_step(page, job)
        assert not page.locator("canvas").nth(0).is_visible()
        assert not page.locator("[name=lead_signs][value=glass]").is_visible()
        assert page.locator("[name=lead_signs][value=paper]").is_checked()
        page.get_by_role("button", name="Hand over and issue the sheet").click()
        page.wait_for_url("**/sheets/**", timeout=PRINTED)
    finally:
        page.context.close()
    assert not SignOff.objects.exists()
    assert SheetRevision.objects.get().job.handover.told == "Pads run in gently."
