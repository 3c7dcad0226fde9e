"""The browser's own print. Nobody may take a sheet's draft for an issued sheet, and all of it is there; a page of the
app leaves out what is for hands."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from tests.browser.devices import Watch, new_page, sign_in
from tests.factories.handover import rich_job
from tests.factories.tool import CalibrationFactory, ToolFactory

A4 = (595, 842)  # points: 210 mm × 297 mm, ISO 216


@pytest.fixture
def job(car, lead, technician, other_technician, front_desk):
    """A middling visit with something in every section of the sheet, not called ready yet."""
    return rich_job(car, lead, technician, other_technician, front_desk)


def printed(page, url: str) -> PdfReader:
    assert page.goto(url).status == 200
    return PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))


def words(page) -> str:
    return re.sub(r"\s+", " ", page.extract_text())


def test_the_printed_draft_says_that_it_is_one_and_holds_what_the_sheet_will_say(
    tablet, live_server, job, lead
):
    watch = Watch(tablet, live_server.url)
    sign_in(tablet, lead, live_server.url)
    paper = printed(tablet, reverse("jobs:sheet-draft", args=[job.pk]))
    texts = [words(page) for page in paper.pages]

    assert 2 <= len(texts) <= 6
    for number, text in enumerate(texts, 1):
        assert "Draft – not issued" in text, f"page {number} could be taken for an issued sheet"
    for page in paper.pages:
        assert (round(page.mediabox.width), round(page.mediabox.height)) == A4
    assert "Draft, not issued" in texts[0], "beside the number, too"

    *before, last = texts
    technical = " ".join(before)
    for said in (
        job.number,
        "WHD45RV0000123456",
        "QX 06 HLD",
        "148210 km",
        "Relay rewired to the ignition-switched supply",
        "TB-6640",
        "8 within",
        "second check: witness mark sighted, Odo Fennick",
        "guarded acceptance (ISO 14253-1",
        "420 mA",
        "DANGEROUS",
        "load index too low",
        "not an official roadworthiness test",
    ):
        assert said in technical, said
    # What belongs to the person begins a page of its own, which is taken off before the sheet is passed on.
    for said in (
        "Keeper and prices",
        "Corin Ashby",
        "2 Mill Rise",
        "After two nights it does not start",
        "Total",
        "Signing gives up no claim",
    ):
        assert said in last, said
        assert said not in technical, said
    # Codes and hashes are for issued sheets: a draft must not look as if it could be confirmed.
    assert "SHA-256" not in technical + last
    assert watch.complaints == []


def test_a_page_of_the_app_prints_without_its_buttons(tablet, live_server, job, lead):
    sign_in(tablet, lead, live_server.url)
    paper = printed(tablet, reverse("jobs:job", args=[job.pk]))
    text = " ".join(words(page) for page in paper.pages)
    assert job.number in text
    assert "Secure the tow bar" in text
    for left_out in ("Sign out", "Skip to the content", "Procedures"):
        assert left_out not in text, left_out


def test_the_list_of_calibrations_goes_on_paper_whole(browser, live_server, lead, shop_owner):
    """What is on the screen for hands is not on paper, and no column is cut off."""
    tool = ToolFactory(person=lead, calibrated=False)
    today = timezone.localdate()
    CalibrationFactory(
        person=lead, tool=tool, calibrated_on=today - timedelta(days=360), due_on=today + timedelta(days=5)
    )
    page = new_page(browser, live_server.url, viewport={"width": 680, "height": 960})  # A4 within its margins
    sign_in(page, shop_owner, live_server.url)
    page.goto(reverse("workshop:calibrations"))
    assert page.get_by_role("button", name="Print").is_visible()
    page.emulate_media(media="print")
    for gone in ("header.bar", ".foot", "[data-print]", ".skip"):
        assert not page.locator(gone).first.is_visible(), gone
    table = page.locator("table").bounding_box()
    assert table["x"] + table["width"] <= 681
    assert page.get_by_text("due in 5 days").is_visible()
    page.context.close()
