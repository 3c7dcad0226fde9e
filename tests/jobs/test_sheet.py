"""The printed sheet: what it says, its fonts, its pages, its bytes; the draft; who may read it."""

from __future__ import annotations

import hashlib
import io
import json
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from jobs import sheets
from jobs.acts import handover as acts
from jobs.models import Job, SheetRevision, SheetText
from tests.factories.handover import HandedOverFactory, done_line, in_work, leaving, rich_job
from tests.factories.keeper import KeeperFactory
from tests.factories.work import owner_of
from tests.people import by
from vehicles.acts import keeper as keeper_acts
from workshop import sheets as printing
from workshop.canonical import canonical, sha256
from workshop.models import Shop


@pytest.fixture
def keeper(car, lead):
    return owner_of(car, lead)


@pytest.fixture
def sheet(car, keeper, lead):
    return HandedOverFactory(person=lead, vehicle=car, keeper=keeper)


@pytest.fixture
def rich(car, lead, technician, other_technician, front_desk):
    """A middling visit with something in every section."""
    job = rich_job(car, lead, technician, other_technician, front_desk)
    acts.call_ready(by=by(lead), job=job)
    return acts.hand_over(by=by(lead), job=job, **leaving(job.payer))


def reader(revision: SheetRevision) -> PdfReader:
    return PdfReader(io.BytesIO(bytes(revision.text.pdf)))


def text(revision: SheetRevision, pages=None) -> str:
    found = reader(revision).pages
    return " ".join(" ".join(page.extract_text().split()) for page in (found[pages] if pages else found))


def fonts(pdf: PdfReader) -> set[str]:
    return {
        str(font.get_object()["/BaseFont"]).removeprefix("/").partition("+")[2]
        for page in pdf.pages
        for font in page["/Resources"].get_object()["/Font"].get_object().values()
    }


def test_the_sheet_says_what_the_records_say(rich):
    said = text(rich)
    for words in (
        rich.job.number,
        "revision 1",
        "WHD45RV0000123456",
        "QX 06 HLD",
        "148210 km",
        "148223 km",
        "True distance is not known before",
        "Relay rewired to the ignition-switched supply",
        "Put off",
        "Normal for this car",
        "maker's owner's handbook, page 212",
        "TB-6640",
        "part of matching quality",
        "kept by the shop",
        "set 110 N·m, clicked (no. 1 to 8)",
        "shop's own tolerance",
        "8 within",
        "second check: witness mark sighted, Odo Fennick",
        "certificate BC-",
        "guarded acceptance (ISO 14253-1",
        "420 mA",
        "at most 50 mA",
        "DANGEROUS",
        "load index too low",
        "after 100 km",
        "not an official roadworthiness test",
        "Driven away",
        "2 of 2 handed in",
        "Signing gives up no claim",
    ):
        assert words in said, words
    # A click is never printed as a measurement.
    assert "110.0" not in said
    assert "discharge" not in said.casefold()


def test_the_printed_hashes_are_those_of_the_data(rich):
    def in_groups(digest):
        return " ".join(printing.in_groups(digest))

    assert sha256(rich.technical) == rich.technical_hash
    assert sha256(rich.text.personal) == rich.personal_hash
    assert hashlib.sha256(bytes(rich.text.pdf)).hexdigest() == rich.pdf_hash
    assert in_groups(rich.technical_hash) in text(rich)
    assert in_groups(rich.personal_hash) in text(rich, slice(-1, None))
    # The stored text is canonical: sorted, without anything a database could reorder.
    assert canonical(json.loads(rich.technical)) == rich.technical


def test_people_and_prices_stand_on_the_last_page_alone(rich):
    keeper = rich.job.payer
    last, before = text(rich, slice(-1, None)), text(rich, slice(0, -1))
    for words in (
        keeper.name,
        "2 Mill Rise",
        "After two nights it does not start",
        "424.50",
        "We will take the small",
    ):
        assert words in last, words
        assert words not in before, words
        assert words not in rich.technical, words


def test_a_small_sheet_has_two_pages(sheet):
    assert sheet.pages == len(reader(sheet).pages) == 2


def test_a_middling_sheet_has_three_pages(rich):
    assert rich.pages == len(reader(rich).pages) == 3


@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 595, 842), ("Letter", 612, 792)])
def test_the_shop_chooses_the_paper(car, keeper, lead, paper, width, height):
    Shop.objects.filter(pk=1).update(paper=paper)
    revision = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    box = reader(revision).pages[0].mediabox
    assert (round(box.width), round(box.height), revision.paper) == (width, height, paper)


def test_only_our_fonts_are_embedded(rich):
    names = fonts(reader(rich))
    assert names
    assert all(name.startswith(printing.FONTS) for name in names), names


def test_the_pdf_is_tagged_and_says_its_title_and_language(sheet):
    root = reader(sheet).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert sheet.job.number in reader(sheet).metadata.title


def test_the_same_data_gives_the_same_bytes(sheet):
    context = sheets.sheet_context(
        json.loads(sheet.technical), json.loads(sheet.text.personal),
        hashes=(sheet.technical_hash, sheet.personal_hash), token=sheet.token,
    )  # fmt: skip
    again = printing.print_pdf(sheets.TEMPLATE, context, sheet.paper)
    assert again.pdf == bytes(sheet.text.pdf)


def test_what_people_typed_is_text_and_nothing_else(car, keeper, lead, client):
    """Typed markup is printed as typed; a file or address named in it is neither read nor fetched."""
    evil = '<img src="file:///etc/hostname"><script>x</script> 5 < 6 & "so"'
    job = in_work(car, keeper, lead)
    done_line(job, keeper, lead, complaint=evil, cause=evil, correction=evil)
    client.force_login(lead)
    page = client.get(f"/jobs/{job.pk}/sheet/draft/").content.decode()
    assert "<script>x" not in page
    assert "&lt;img src=" in page
    data = sheets.gather(job, revision=1, issued_at=job.made_at)
    context = sheets.sheet_context(
        json.loads(data.technical_text), json.loads(data.personal_text), hashes=data.hashes, token="0" * 32
    )
    pdf = PdfReader(io.BytesIO(printing.print_pdf(sheets.TEMPLATE, context, "A4").pdf))
    assert '5 < 6 & "so"' in " ".join(pdf.pages[0].extract_text().split())


def test_the_printer_reads_and_fetches_nothing_else(monkeypatch):
    from weasyprint.urls import FatalURLFetchingError

    for address in ("file:///etc/hostname", "http://shop.example/x.css", "../settings.py", "css/tokens.css"):
        monkeypatch.setattr(
            printing,
            "render_to_string",
            lambda *args, address=address: f'<link rel="stylesheet" href="{address}">x',
        )
        with pytest.raises(FatalURLFetchingError, match="refused"):
            printing.print_pdf("any", {}, "A4")


def test_long_texts_and_many_lines_are_printed_whole(car, keeper, lead):
    job = in_work(car, keeper, lead)
    for number in range(20):
        done_line(
            job, keeper, lead, complaint=f"Work {number} " + "with a long name " * 12,
            cause="A long cause. " * 40, correction=f"End of {number}. " + "W" * 90,
        )  # fmt: skip
    data = sheets.gather(job, revision=1, issued_at=job.made_at)
    context = sheets.sheet_context(
        json.loads(data.technical_text), json.loads(data.personal_text), hashes=data.hashes, token="0" * 32
    )
    printed = printing.print_pdf(sheets.TEMPLATE, context, "A4")
    said = " ".join(
        " ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(printed.pdf)).pages
    )
    assert all(f"End of {number}." in said for number in range(20))
    assert printed.pages > 3


def test_gathering_asks_as_often_for_a_long_job_as_for_a_short_one(car, keeper, lead):
    job = in_work(car, keeper, lead)
    done_line(job, keeper, lead)

    def count() -> int:
        fresh = Job.objects.get(pk=job.pk)
        with CaptureQueriesContext(connection) as queries:
            sheets.gather(fresh, revision=1, issued_at=fresh.made_at)
        return len(queries)

    short = count()
    for number in range(5):
        done_line(job, keeper, lead, complaint=f"Work {number}")
    assert count() == short


@pytest.mark.parametrize(
    "change",
    [
        lambda: SheetRevision.objects.update(technical="{}"),
        lambda: SheetRevision.objects.all()._raw_delete("default"),
        lambda: SheetText.objects.update(pdf=b"other"),
        lambda: SheetText.objects.all()._raw_delete("default"),
    ],
)
def test_the_database_refuses_to_alter_a_frozen_sheet(sheet, change):
    with pytest.raises(IntegrityError, match=r"frozen|only be erased"), transaction.atomic():
        change()
    sheet.refresh_from_db()
    assert sha256(sheet.technical) == sheet.technical_hash


# Reading


def test_the_pdf_comes_as_it_was_stored(client, sheet, technician):
    client.force_login(technician)
    answer = client.get(f"/sheets/{sheet.pk}/pdf/")
    assert answer.content == bytes(sheet.text.pdf)
    assert answer["Content-Type"] == "application/pdf"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"].startswith("private")
    assert answer["Content-Disposition"] == f'inline; filename="sheet-{sheet.job.number}-revision-1.pdf"'


def test_owners_read_the_sheets_of_their_own_cars_while_they_are_theirs(
    client, car, lead, car_owner, other_owner
):
    mine = KeeperFactory.create(person=lead, name=car_owner.name)
    type(mine).objects.filter(pk=mine.pk).update(account=car_owner)
    held = keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=mine, part="owner")
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=mine)
    client.force_login(car_owner)
    assert client.get(f"/sheets/{sheet.pk}/").status_code == 200
    assert client.get(f"/sheets/{sheet.pk}/pdf/").status_code == 200
    client.force_login(other_owner)
    assert client.get(f"/sheets/{sheet.pk}/").status_code == 404
    assert client.get(f"/sheets/{sheet.pk}/pdf/").status_code == 404
    type(held).objects.filter(pk=held.pk).update(until_on=by(lead).day)
    client.force_login(car_owner)
    assert client.get(f"/sheets/{sheet.pk}/pdf/").status_code == 404


def test_a_new_owner_does_not_read_the_earlier_owners_page(client, car, lead, car_owner):
    """The PDF of an earlier sheet holds name, address and prices of whoever had the car then."""
    before = owner_of(car, lead, "Wren Tallow")
    early = HandedOverFactory(person=lead, vehicle=car, keeper=before)
    after = KeeperFactory.create(person=lead, name=car_owner.name)
    type(after).objects.filter(pk=after.pk).update(account=car_owner)
    held = keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=after, part="owner")
    tomorrow = by(lead).day + timedelta(days=1)
    type(held).objects.filter(pk=held.pk).update(from_on=tomorrow)
    client.force_login(car_owner)
    assert client.get(f"/sheets/{early.pk}/pdf/").status_code == 404
    assert client.get(f"/sheets/{early.pk}/").status_code == 404
    type(held).objects.filter(pk=held.pk).update(from_on=by(lead).day)
    assert client.get(f"/sheets/{early.pk}/pdf/").status_code == 200


def test_a_draft_needs_neither_pdf_library_nor_address(client, car, keeper, lead, settings, monkeypatch):
    settings.SITE_URL = ""
    monkeypatch.setattr("workshop.checks.pdf_problem", lambda: "cannot load library")
    job = in_work(car, keeper, lead)
    client.force_login(lead)
    page = client.get(f"/jobs/{job.pk}/sheet/draft/")
    assert page.status_code == 200
    said = page.content.decode()
    assert "Draft – not issued" in said
    assert "SHA-256" not in said
    assert 'class="qr"' not in said


def test_the_job_page_shows_its_sheet(client, sheet, lead):
    client.force_login(lead)
    page = client.get(f"/jobs/{sheet.job.pk}/").content.decode()
    assert f"/sheets/{sheet.pk}/pdf/" in page
