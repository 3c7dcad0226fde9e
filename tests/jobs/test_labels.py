"""Labels: what they say and what they leave out, where they lie on the paper, and their code read back from the print."""

from __future__ import annotations

import io
from datetime import timedelta

import pypdfium2
import pytest
import segno
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from pypdf import PdfReader

from jobs import labels as reads
from tests.factories.job import JobFactory, ThingOutFactory, job_in
from tests.factories.part import PartFactory
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.factories.work import owner_of
from tests.people import by
from tests.qr_reader import read
from vehicles.acts import part as part_acts
from workshop import labels
from workshop.labels import Label, fit, own_size, print_labels

MM = 72 / 25.4
KEY = "0190c1f0-3c57-7e1c-b9c3-0f2f3f5a1234"
LONG = Label(
    "Part taken off",
    "Tow bar, maker unknown, with a description that goes on and on and does not end",
    ("QX 06 HLD 1996 Halden Drayman", "W" * 90, "Held as evidence: the red crate behind the compressor" * 3),
    f"https://werkstatt.example/parts/{KEY}/",
)
SHORT = Label("Tool", "TW-04", ("calibration due Tue 5 Jan 2027",), f"https://s.example/tools/{KEY}/")


def pages(printed) -> list:
    return PdfReader(io.BytesIO(printed.pdf)).pages


def rendered(printed, number: int = 0, dots: int = 400):
    """A page as a picture with so many dots to the inch."""
    return pypdfium2.PdfDocument(printed.pdf)[number].render(scale=dots / 72).to_pil()


def code_on(picture, stock, place: int, dots: int = 400):
    """The picture of the code on the label at this place: a square as high as the label, but no word."""
    sizes, (side, above) = fit(stock), stock.air
    left, top = stock.corner(place)
    scale = dots / 25.4
    x, y = left + side, top + above + (sizes.high - sizes.box) / 2
    return picture.crop(tuple(round(edge * scale) for edge in (x, y, x + sizes.box, y + sizes.box)))


@pytest.mark.pdf
@pytest.mark.outside(
    "ISO/IEC 18004:2015, quiet zone of 4 modules and level M or better; decoded after its tables, from memory"
)
def test_every_code_is_read_back_from_the_print(published):
    """On every stock: the address, 15 mm at the least, white around it. 400 dots to the inch, as a fair printer has."""
    stocks = [*labels.STOCKS.values(), own_size(45, 23), own_size(160, 160)]
    for stock in stocks:
        place = stock.per_page - 1
        printed = print_labels([LONG, SHORT], stock, first=place + 1)
        first = rendered(printed, 0)
        second = rendered(printed, 1)
        for picture, at, label in ((first, place, LONG), (second, 0, SHORT)):
            found = read(code_on(picture, stock, at))
            published.same(found.text, label.address, f"{stock.code}: address")
            # The picture is cut out to whole dots, of which a module has eight.
            assert found.quiet >= labels.QUIET - 0.25, f"{stock.code}: {found.quiet} modules are white"
            published.same(found.level in "MQH", True, f"{stock.code}: level {found.level}")
            assert found.share * fit(stock).box >= labels.LEAST_CODE - 0.1, stock.code


def test_the_reader_of_the_tests_reads_what_another_drew_and_sees_what_is_wrong():
    """The library's own picture of known versions; one module turned over is an error and no other text."""
    for length, version in ((20, 2), (60, 4), (80, 5), (120, 7), (200, 10)):
        code = segno.make("https://s.example/" + "x" * (length - 18), error="m", boost_error=False)
        out = io.BytesIO()
        code.save(out, kind="png", scale=4, border=4)
        picture = Image.open(out).convert("L")
        assert read(picture).version == version
        size = picture.width // 4
        picture.paste(
            255 - picture.getpixel(((size - 6) * 4 + 1, (size - 6) * 4 + 1)),
            tuple(n * 4 for n in (size - 6, size - 6, size - 5, size - 5)),
        )
        with pytest.raises(AssertionError, match="error"):
            read(picture)


# Sizes of paper: A4 of ISO 216; Letter of 8.5 × 11 in. Divisions of a sheet: common practice, no source.
@pytest.mark.pdf
@pytest.mark.outside("ISO 216:2007, A4; ANSI/ASME Y14.1, size A (8.5 × 11 in)")
def test_page_sizes_and_the_place_of_each_label(published):
    for code, paper, count in (("a4-3x8", (210, 297), 24), ("letter-3x10", (215.9, 279.4), 30)):
        stock = labels.STOCKS[code]
        assert stock.per_page == count
        printed = print_labels([SHORT], stock, first=count - 1, copies=4)
        found = pages(printed)
        # Two places were left on the begun sheet; the rest begins the next one.
        assert [page.extract_text().count("TW-04") for page in found] == [2, 2]
        for page in found:
            published.close(float(page.mediabox.width) / MM, paper[0], within=0.06, unit="mm")
            published.close(float(page.mediabox.height) / MM, paper[1], within=0.06, unit="mm")
        corners = [stock.corner(place) for place in range(count)]
        assert all(x >= 0 and x + stock.width <= paper[0] + 0.01 for x, _ in corners)
        assert all(y >= 0 and y + stock.height <= paper[1] + 0.01 for _, y in corners)
        assert len(set(corners)) == count


@pytest.mark.pdf
def test_a_label_printer_gets_a_page_for_each_label():
    for width, height in ((62, 29), (57, 32), (102, 51)):
        # The begun sheet is nothing to a roll: no page stays empty.
        found = pages(print_labels([SHORT, LONG], labels.STOCKS[f"{width}x{height}"], first=3, copies=2))
        assert len(found) == 4
        for page in found:
            assert float(page.mediabox.width) / MM == pytest.approx(width, abs=0.05)
            assert float(page.mediabox.height) / MM == pytest.approx(height, abs=0.05)


@pytest.mark.pdf
@pytest.mark.parametrize("stock", [*labels.STOCKS.values(), own_size(45, 23)], ids=lambda stock: stock.code)
def test_no_word_leaves_its_label(stock):
    """What is too long ends in an ellipsis; around the label's contents the paper stays white."""
    printed = print_labels([LONG], stock)
    text = pages(printed)[0].extract_text()
    assert "…" in text
    assert "Tow bar" in text
    picture = rendered(printed, dots=200).convert("L")
    scale = 200 / 25.4
    left, top, right, bottom = (
        edge / scale for edge in picture.point(lambda dot: 255 if dot < 200 else 0).getbbox()
    )
    side, above = stock.air
    x, y = stock.corner(0)
    assert left >= x + side - 0.3
    assert right <= x + stock.width - side + 0.3
    assert top >= y + above - 0.3
    assert bottom <= y + stock.height - above + 0.3


@pytest.mark.pdf
def test_the_print_is_tagged_and_embeds_our_letters_alone():
    pdf = PdfReader(io.BytesIO(print_labels([LONG, SHORT], labels.STOCKS["a4-3x8"]).pdf))
    root = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    fonts = {
        str(font.get_object()["/BaseFont"]).partition("+")[2]
        for page in pdf.pages
        for font in page["/Resources"].get_object()["/Font"].get_object().values()
    }
    assert fonts
    assert all("Workshop" in font for font in fonts)


# ------------------------------------------------------------------ what they say


@pytest.fixture
def keeper(car, lead):
    return owner_of(car, lead)


def words(label: Label) -> str:
    return " ".join((label.kind, label.head, *label.lines, label.address))


def test_a_key_names_the_car_and_the_job_and_nobody(car, keeper, lead):
    promised = timezone.now() + timedelta(days=2)
    job = JobFactory(person=lead, vehicle=car, payer=keeper, promised_at=promised)
    said = words(reads.key_label(job))
    assert job.number in said
    assert car.current_plate() in said
    assert f"{timezone.localtime(promised):%b %Y}" in said
    assert said.endswith(f"http://shop.example/jobs/{job.pk}/")
    for part in (*keeper.name.split(), keeper.phone, *keeper.address.split()):
        assert not part or part not in said


def test_a_tool_says_when_its_calibration_is_due(lead):
    tool = ToolFactory(person=lead, label="TW-31")
    due = tool.calibration_on(timezone.localdate()).due_on
    said = words(reads.tool_label(tool))
    assert "TW-31" in said
    assert f"calibration due {due:%a} {due.day} {due:%b %Y}" in said
    assert "40 to 200 N·m" in said
    assert "no calibration" in words(reads.tool_label(ToolFactory(person=lead, calibrated=False)))


def off(part, person, note="cage, shelf 4"):
    part_acts.end_part(by=by(person), part=part, seen_version=part.version, whereabouts="evidence",
                       whereabouts_note=note)  # fmt: skip
    part.refresh_from_db()
    return part


def test_a_part_says_whose_it_is_and_where_it_lies(car, lead):
    part = off(PartFactory(person=lead, vehicle=car), lead)
    said = words(reads.part_label(part))
    for word in (part.description, car.current_plate(), "Held as evidence: cage, shelf 4", "Tow bar"):
        assert word in said


# ------------------------------------------------------------------ the page


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


@pytest.mark.pdf
def test_a_car_its_keys_and_its_parts_in_one_print(car, lead, technician):
    job = job_in("in_work", person=lead, vehicle=car)
    part = off(PartFactory(person=lead, vehicle=car), lead)
    ThingOutFactory(person=lead, job=job, what="Left front wheel")
    client = signed_in(technician)
    page = client.get(reverse("jobs:vehicle-labels", args=[car.pk]), follow=True)
    text = page.content.decode()
    for token, ticked in ((f"car-{car.pk}", True), (f"key-{job.pk}", True), (f"part-{part.pk}", False)):
        assert (f'value="{token}" checked' in text) is ticked
        assert f'value="{token}"' in text
    assert "Left front wheel" in text
    # All that came off this car, and nothing else, with one tap.
    every = client.get(reverse("jobs:labels"), {"car": car.pk, "parts": "all"}).content.decode()
    assert f'value="part-{part.pk}" checked' in every
    assert f'value="car-{car.pk}">' in every
    answer = client.get(
        reverse("jobs:labels-pdf"),
        {
            "car": car.pk,
            "what": [f"key-{job.pk}", f"part-{part.pk}"],
            "stock": "62x29",
            "first": 1,
            "copies": 2,
        },
    )
    assert answer.headers["Content-Type"] == "application/pdf"
    assert "no-store" in answer.headers["Cache-Control"]
    found = [page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages]
    assert len(found) == 4
    assert f"Job {job.number}" in found[1]
    assert "Tow bar" in found[2]


def test_all_tools_or_those_that_are_due(lead, technician):
    fine = ToolFactory(person=lead)
    soon = ToolFactory(person=lead, calibrated=False)
    CalibrationFactory(person=lead, tool=soon, due_on=timezone.localdate() + timedelta(days=20))
    client = signed_in(technician)
    due = client.get(reverse("jobs:labels"), {"tools": "due"}).content.decode()
    assert f'value="tool-{soon.pk}" checked' in due
    assert f'value="tool-{fine.pk}">' in due
    every = client.get(reverse("jobs:labels"), {"tools": "all"}).content.decode()
    assert f'value="tool-{fine.pk}" checked' in every


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"what": []}, "Tick at least one label."),
        ({"what": ["tool-1"]}, "no longer offered here"),
        ({"first": "25"}, "This sheet has 24 labels: give 1 to 24."),
        ({"first": "0"}, "Give 1 or more."),
        ({"copies": "21"}, "Give 20 or less."),
        ({"stock": "own"}, "Give the width of your label in mm, from 45 to 160."),
        ({"stock": "own", "width": "62", "height": "12"}, "Give 23 to 160 mm: the code needs 15 mm"),
        ({"stock": "own", "width": "200", "height": "29"}, "no label printer takes more"),
        ({"stock": "a3-9x9"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_printed_is_said_beside_its_field(car, lead, changed, sentence):
    asked = {"car": car.pk, "what": [f"car-{car.pk}"], "stock": "a4-3x8", "first": 1, "copies": 1, **changed}
    answer = signed_in(lead).get(reverse("jobs:labels-pdf"), asked)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_too_many_are_refused_with_the_limit(lead):
    tools = [ToolFactory(person=lead) for _ in range(7)]
    asked = {"tools": "all", "what": [f"tool-{tool.pk}" for tool in tools], "stock": "a4-3x8", "first": 1}
    answer = signed_in(lead).get(reverse("jobs:labels-pdf"), {**asked, "copies": 20})
    assert "That makes 140 labels; 120 in one print are the limit." in answer.content.decode()


def test_without_a_site_address_nothing_is_printed(car, lead, settings):
    settings.SITE_URL = ""
    client = signed_in(lead)
    asked = {"car": car.pk, "what": [f"car-{car.pk}"], "stock": "a4-3x8", "first": 1, "copies": 1}
    for answer in (client.get(reverse("jobs:labels"), asked), client.get(reverse("jobs:labels-pdf"), asked)):
        text = answer.content.decode()
        assert answer.headers["Content-Type"].startswith("text/html")
        assert "SITE_URL" in text
        assert "Make the PDF" not in text


def test_a_long_history_costs_no_more_queries(car, lead, technician):
    job = job_in("in_work", person=lead, vehicle=car)
    client = signed_in(technician)

    def queries() -> int:
        with CaptureQueriesContext(connection) as counted:
            assert client.get(reverse("jobs:labels"), {"car": car.pk}).status_code == 200
        return len(counted)

    off(PartFactory(person=lead, vehicle=car), lead)
    ThingOutFactory(person=lead, job=job)
    little = queries()
    for _ in range(4):
        ThingOutFactory(person=lead, job=job)
        off(PartFactory(person=lead, vehicle=car), lead)
    JobFactory(person=lead, vehicle=car)
    assert queries() == little <= 16
