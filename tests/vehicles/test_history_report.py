"""The history report as a PDF, read back by independent readers: what it says, its tags, its pages, its code."""

from __future__ import annotations

import io
import re
from datetime import date
from decimal import Decimal

import pypdfium2
import pytest
from pypdf import PdfReader

from tests import qr_reader
from tests.factories.handover import HandedOverFactory, owner_of, rich_job
from tests.factories.outstanding import ItemFactory
from tests.factories.part import PartFactory
from tests.once import once
from tests.people import by
from vehicles import issuing
from vehicles.acts import issued as acts
from vehicles.acts import past_work as past_acts
from workshop.engineering.units import Amount
from workshop.models import Shop
from workshop.sheets import in_groups

pytestmark = pytest.mark.django_db
# Points, by ISO 216 (210 mm × 297 mm) and ANSI/ASME Y14.1 (8.5 in × 11 in).
PAPER = {"A4": (595, 842), "Letter": (612, 792)}

KM = Amount(Decimal(148_210), "km")


def pages_of(row) -> tuple[PdfReader, list[str]]:
    pdf = PdfReader(io.BytesIO(bytes(row.text.pdf)))
    return pdf, [" ".join(page.extract_text().split()) for page in pdf.pages]


@once
def told(lead, technician, other_technician, front_desk, car):
    """A car with a rich visit that is not over, one that is, a part, something outstanding, and past work."""
    keeper = owner_of(car, lead, name="Sanna Wexford")
    HandedOverFactory(person=lead, vehicle=car, keeper=keeper, odometer=KM)
    job = rich_job(car, lead, technician, other_technician, front_desk)
    PartFactory(person=lead, vehicle=car, place="exhaust", description="Silencer without a mark")
    ItemFactory(person=lead, vehicle=car, severity="major", title="Rear dampers weep")
    past_acts.add_past_work(by=by(lead), vehicle=car, done_on=date(2019, 5, 3), title="Timing belt renewed",
                            who_did="Brook Street Garage", source="service book", amount=Decimal("412.50"))  # fmt: skip
    return job.payer  # who took the car over


def gathered(car, **more):
    return issuing.kind_of("history").gather(acts.asked_for(kind="history", vehicle=car, **more))


@pytest.mark.pdf
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_is_one_tagged_document_whose_contents_name_the_real_pages(lead, car, told, paper):
    """PDF/UA-1 (ISO 14289-1): tagged, with a language and a title. The pages that the contents name are compared with
    where each heading's bookmark leads, by another library."""
    Shop.objects.update_or_create(pk=1, defaults={"paper": paper})
    row = acts.issue(by=by(lead), kind="history", vehicle=car)
    pdf, texts = pages_of(row)
    root = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en-GB"
    assert pdf.metadata.title == f"History report {row.number}"
    assert row.pages == len(texts) >= 4
    for number, (page, text) in enumerate(zip(pdf.pages, texts, strict=True), 1):
        assert (round(page.mediabox.width), round(page.mediabox.height)) == PAPER[paper]
        assert f"page {number} of {len(texts)}" in text
        assert f"History report {row.number} · revision 1" in text
        assert f"SHA-256 {' '.join(in_groups(row.data_hash)[:4])}" in text
    contents = next(text for text in texts if text.startswith("Contents"))
    bookmarks = {
        " ".join(mark.title.split()): pdf.get_destination_page_number(mark) + 1 for mark in _flat(pdf.outline)
    }
    named = dict(re.findall(r"([^.]+?) \.{3,} ?(\d+)", contents))
    named = {title.strip().removeprefix("Contents "): int(page) for title, page in named.items()}
    assert len(named) >= 8
    for title, page in named.items():
        (found,) = [at for mark, at in bookmarks.items() if mark.startswith(title)] or [None]
        assert page == found, title
    assert qr_reader.read(code_on(bytes(row.text.pdf))).text == f"http://shop.example/confirm/{row.token}/"
    assert " ".join(in_groups(row.data_hash)) in texts[0]
    _tells_the_whole_story_without_persons_and_money(car, told, " ".join(texts))


def _tells_the_whole_story_without_persons_and_money(car, told, text: str) -> None:
    for said in (
        car.number,
        "The distance it has covered",
        "Silencer without a mark",
        "Rear dampers weep",
        "Find the drain and put it right",
        "Relay rewired to the ignition-switched supply",
        "420 mA before, 28 mA after",
        "limit at most 50 mA",
        "Tow bar bolts M12",
        "16 readings: 16 within",
        "1 of 1 critical joint checked a second time",
        "Timing belt renewed",
        "Brook Street Garage",
        "It names no owner and no price.",
        "not an official roadworthiness test",
    ):
        assert said in text, said
    for never in (
        "Sanna Wexford",
        told.name,
        "Tamsin",
        "Lida",
        "412.50",
        "186.50",
        "After the trip",
        "complies",
        "illegal",
    ):
        assert never not in text, never


def code_on(pdf: bytes):
    """The picture of the code, at 400 dots to the inch: it stands left of the question that it answers."""
    page = pypdfium2.PdfDocument(pdf)[0]
    words = page.get_textpage()
    left, _, _, top = words.get_charbox(words.search("Is this the print").get_next()[0])
    scale, mm = 400 / 72, 72 / 25.4
    picture = page.render(scale=scale).to_pil().convert("L")
    box = (left - 28 * mm, page.get_height() - top - 1 * mm, left - 2 * mm, page.get_height() - top + 25 * mm)
    return picture.crop(tuple(round(each * scale) for each in box))


def _flat(outline):
    for each in outline:
        if isinstance(each, list):
            yield from _flat(each)
        else:
            yield each


@pytest.mark.pdf
def test_the_same_data_are_the_same_bytes_set_anew(lead, car):
    asked = issuing.Asked("history", car, car)
    one = {"at": by(lead).made_at, "token": "x" * 22, "serial": 1, "year": 2026, "latest": None}
    first, second = (issuing.make(asked, gathered(car), **one).printed().pdf for _ in range(2))
    assert first == second


def test_with_costs_it_names_what_was_paid_since_the_car_is_theirs(lead, car, told):
    plain, theirs = gathered(car), gathered(car, made_for=told)
    assert {visit["cost"] for visit in plain.body["visits"]} == {""}
    assert {row["cost"] for row in plain.body["past_work"]} == {""}
    assert "100.00 EUR" in {visit["cost"] for visit in theirs.body["visits"]}
    # In 2019 it was somebody else's.
    assert {row["cost"] for row in theirs.body["past_work"]} == {""}
    row = acts.issue(by=by(lead), kind="history", vehicle=car, made_for=told)
    assert row.with_costs
    assert told.name in row.text.data


def test_the_latest_visit_comes_first(car, told):
    numbers = [visit["number"] for visit in gathered(car).body["visits"]]
    assert numbers == sorted(numbers, reverse=True)
