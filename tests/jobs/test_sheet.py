"""The printed sheet: what it says, its fonts, its pages, its bytes; the draft; who may read it."""

from __future__ import annotations

import io
import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from jobs import sheets
from jobs.acts import answer as answer_acts
from jobs.acts import measurement as measurement_acts
from jobs.acts import second_check as check_acts
from jobs.acts import torque as torque_acts
from jobs.acts import work as work_acts
from jobs.models import Job
from tests.factories.fault import FaultFactory
from tests.factories.handover import (
    TOW_BAR,
    HandedOverFactory,
    done_line,
    finish,
    in_work,
)
from tests.factories.keeper import KeeperFactory
from tests.factories.procedure import ProcedureFactory
from tests.factories.run import RunFactory, click_all, step_of
from tests.factories.tool import ToolFactory
from tests.factories.work import owner_of
from tests.people import by
from tests.reading_pdf import reader, text
from vehicles.acts import keeper as keeper_acts
from workshop import sheets as printing
from workshop.engineering.units import Amount
from workshop.models import Shop


@pytest.fixture
def keeper(car, lead):
    return owner_of(car, lead)


def body(job: Job) -> dict:
    return sheets.gather(job, revision=1, issued_at=job.made_at).technical["body"]


def test_a_repair_that_is_not_confirmed_says_so(car, keeper, lead):
    job = in_work(car, keeper, lead)
    fault = FaultFactory(person=lead, vehicle=car, job=job, title="Stalls when hot", severity="major")
    line = done_line(job, keeper, lead, faults=[fault])
    finish(line, lead)
    work_acts.end_fixed(
        by=by(lead), fault=fault, line=line, check_made="an hour's drive", confirmed=False,
        due_on=by(lead).day + timedelta(days=30),
    )  # fmt: skip
    said = body(job)
    assert said["lines"][0]["faults"][0]["end"] == "repaired, not yet confirmed"
    assert said["glance"]["fixed"] == [
        "Front pads renewed, guides cleaned and greased (for: Stalls when hot) (repaired, not yet confirmed)"
    ]


def test_a_fault_that_another_job_fixed_keeps_its_row(car, keeper, lead):
    """What is found at one visit may be put right at the next: the earlier sheet's draft says on which job."""
    first, second = in_work(car, keeper, lead), in_work(car, keeper, lead)
    fault = FaultFactory(person=lead, vehicle=car, job=first, title="Hand brake weak", severity="major")
    line = done_line(second, keeper, lead, faults=[fault])
    finish(line, lead)
    work_acts.end_fixed(by=by(lead), fault=fault, line=line, check_made="holds on the ramp")
    assert [(row["title"], row["on"]) for row in body(first)["faults"]] == [
        ("Hand brake weak", second.number)
    ]
    assert body(second)["faults"] == []


def test_a_diagnosis_is_not_listed_beside_the_fault_it_found(car, keeper, lead):
    job = in_work(car, keeper, lead)
    fault = FaultFactory(person=lead, vehicle=car, job=job, title="Battery flat", severity="minor")
    for complaint, faults in (("Find the drain", [fault]), ("Look at the rust below", [])):
        finish(done_line(job, keeper, lead, complaint=complaint, kind="diagnosis", faults=faults), lead)
    assert body(job)["glance"]["fixed"] == ["Looked into: Look at the rust below"]


def test_runs_that_read_alike_are_one_block(car, keeper, lead, technician, other_technician):
    job = in_work(car, keeper, lead)
    line = done_line(job, keeper, lead)
    procedure = ProcedureFactory(person=lead, title="Wheel nuts", steps=[TOW_BAR])
    tool = ToolFactory(person=lead)

    def wheel(where: str, with_tool=tool):
        run = RunFactory(person=lead, line=line, procedure=procedure, where=where)
        click_all(technician, run, with_tool, values=(40, 110))
        check_acts.second_check(
            by=by(other_technician), run=run, step=step_of(run), method="applied_again", tool=with_tool
        )
        torque_acts.complete_run(by=by(technician), run=run)

    wheel("rear left")
    wheel("rear right")
    both = body(job)["runs"]
    assert [block["title"] for block in both] == ["Wheel nuts, rear left, rear right"]
    assert [one["where"] for one in both[0]["each"]] == ["rear left", "rear right"]
    # Each keeps its own completion and second check.
    assert all(one["state"].startswith("Completed ") for one in both[0]["each"])
    assert all(one["steps"][0]["checks"][0]["by"] == str(other_technician) for one in both[0]["each"])
    # Another tool is another block; so is the same place once more.
    wheel("front left", ToolFactory(person=lead))
    wheel("rear right")
    titles = [block["title"] for block in body(job)["runs"]]
    assert titles == ["Wheel nuts, rear left, rear right", "Wheel nuts, front left", "Wheel nuts, rear right"]


def test_who_answered_is_said_once_where_it_is_alike(car, keeper, lead):
    job = in_work(car, keeper, lead)
    lines = [done_line(job, keeper, lead, complaint=f"Work {number}") for number in (1, 2)]

    def prices() -> dict:
        return sheets.gather(job, revision=1, issued_at=job.made_at).personal["prices"]

    assert prices()["answered"].startswith("Corin Ashby, owner, by telephone, ")
    assert [row["answers"][0]["given"] for row in prices()["lines"]] == ["", ""]
    answer_acts.record_answer(
        by=by(lead), line=lines[1], answer="later", given_by=keeper, right="owner", channel="in_person",
        words="Next month.",
    )  # fmt: skip
    said = prices()
    assert said["answered"] == ""
    first, second = said["lines"]
    assert first["answers"][0]["given"].startswith("Corin Ashby, owner, by telephone, ")
    # Every answer stays: what was agreed first, and what was said later.
    assert [(row["answer"], row["up_to"]) for row in second["answers"]] == [
        ("Authorised", "100.00"),
        ("Deferred", ""),
    ]
    assert second["amount"] == ""


@pytest.mark.pdf
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_small_visit_is_one_page_with_a_line_to_cut(car, keeper, lead, paper):
    Shop.objects.filter(pk=1).update(paper=paper)
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    assert sheet.pages == len(reader(sheet).pages) == 1
    above, line, below = text(sheet).partition("cut here")
    assert line
    # What goes with the car stands above the line, what belongs to the person below it.
    assert keeper.name not in above
    assert "100.00" not in above
    assert sheet.technical_hash[:4] in above
    for words in (keeper.name, "100.00", "Pads run in gently", sheet.personal_hash[:4]):
        assert words in below, words


@pytest.mark.pdf
def test_the_technical_part_of_a_visit_with_measurements_is_one_page(car, keeper, lead):
    """Two pages in all: one that goes with the car, and one to take off."""
    job = in_work(car, keeper, lead)
    for number in range(3):
        line = done_line(
            job, keeper, lead, complaint=f"Work {number}", correction="Done by the maker's data. " * 4
        )
        for side in ("left", "right"):
            measurement_acts.measure(
                by=by(lead), line=line, what=f"Disc thickness {number}, {side}", phase="after",
                reading=Amount(Decimal("24.5"), "mm"), low=Decimal(24), limit_source="maker's workshop data",
            )  # fmt: skip
    data = sheets.gather(job, revision=1, issued_at=job.made_at)
    printed = sheets.print_sheet(
        json.loads(data.technical_text), json.loads(data.personal_text), hashes=data.hashes, token="0" * 32
    )
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(printed.pdf)).pages]
    assert ["Keeper and prices" in page for page in pages] == [False, True]


@pytest.mark.pdf
@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 595, 842), ("Letter", 612, 792)])
def test_the_shop_chooses_the_paper(car, keeper, lead, paper, width, height):
    Shop.objects.filter(pk=1).update(paper=paper)
    revision = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    box = reader(revision).pages[0].mediabox
    assert (round(box.width), round(box.height), revision.paper) == (width, height, paper)


@pytest.mark.pdf
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


@pytest.mark.pdf
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


@pytest.mark.pdf
def test_fonts_and_style_sheets_are_kept_for_an_hour(monkeypatch):
    """Their files lie among the temporary ones, which the system tidies: no print may come to lack its fonts."""
    first = printing._kit("A4")
    assert printing._kit("A4") is first
    assert printing._kit("Letter") is not first
    later = printing.time.monotonic() + printing.KEPT_FOR + 1
    monkeypatch.setattr(printing.time, "monotonic", lambda: later)
    assert printing._kit("A4") is not first


@pytest.mark.pdf
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


# Reading


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
