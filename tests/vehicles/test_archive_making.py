"""What is in the file: all of the car, checked with `sha256sum` and against the published schema; always the same bytes."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from jsonschema import Draft202012Validator

from jobs.acts import handover as handover_acts
from jobs.models import TorqueReading
from tests.factories.archive import archive_of, files_of, rows_of
from tests.factories.handover import leaving, rich_job
from tests.factories.photo import PhotoFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from vehicles.acts import archive as acts
from vehicles.acts import fault as fault_acts
from vehicles.acts import past_work as past_work_acts
from vehicles.acts import photo as photo_acts
from vehicles.archive import making
from vehicles.archive.checking import check
from vehicles.archive.reading import open_archive
from vehicles.files import store
from vehicles.models import Fault
from vehicles.spreadsheet.giving import plain_cell

FORMULA = "=2+5 as somebody typed it"


@once
def sheet(car, lead, technician, other_technician, front_desk):
    """A visit with something of everything, handed over; a photo, past work, a text that is a formula to a spreadsheet."""
    visit = rich_job(car, lead, technician, other_technician, front_desk)
    PhotoFactory(person=technician, vehicle=car, job=visit)
    past_work_acts.add_past_work(
        by=by(lead), vehicle=car, done_on=date(2019, 5, 2), title="Timing belt", source="service book",
        amount=Decimal("410.00"),
    )  # fmt: skip
    handover_acts.call_ready(by=by(lead), job=visit)
    row = handover_acts.hand_over(by=by(lead), job=visit, **leaving(visit.payer))
    fault_acts.report_fault(by=by(lead), vehicle=car, kind="finding", title=FORMULA, severity="minor")
    VehicleFactory(person=lead)  # another car, of which nothing may come along
    return row


@pytest.fixture
def files(sheet) -> dict[str, bytes]:
    return files_of(archive_of(sheet.job.vehicle))


def test_all_of_the_car_is_in_it_and_nothing_of_another(files, sheet, car):
    assert [row["id"] for row in rows_of(files, "vehicles.vehicle")] == [str(car.pk)]
    assert len(rows_of(files, "vehicles.fault")) == Fault.objects.filter(vehicle=car).count() > 5
    assert len(rows_of(files, "jobs.torquereading")) == TorqueReading.objects.count() == 16
    assert rows_of(files, "vehicles.pastwork")[0]["amount"] == "410.00"
    (text,) = rows_of(files, "jobs.sheettext")
    assert files[f"prints/{text['pdf']}.pdf"] == bytes(sheet.text.pdf)
    (photo,) = rows_of(files, "vehicles.attachment")
    assert files[f"photos/{photo['file']}.jpg"][:3] == b"\xff\xd8\xff"
    assert {row["name"] for row in rows_of(files, "workshop.person")} >= {"Tamsin Orrell", "Lida Marchbank"}


@pytest.mark.outside("GNU coreutils, sha256sum --check, as run here")
def test_its_checksums_are_those_that_sha256sum_reads(files, tmp_path, published):
    for name, data in files.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    said = subprocess.run(
        ["sha256sum", "--strict", "-c", "checksums.txt"],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    published.same(said.returncode, 0, "exit of sha256sum")
    assert said.stdout.count(": OK") == len(files) - 1
    (tmp_path / "car.json").write_bytes(files["car.json"] + b" ")
    again = subprocess.run(
        ["sha256sum", "-c", "checksums.txt"], cwd=tmp_path, capture_output=True, check=False
    )
    published.same(again.returncode, 1, "exit of sha256sum where a file was altered")


def test_each_record_is_what_the_published_schema_says(files):
    schema = json.loads(files["schema.json"])
    Draft202012Validator(schema).validate(json.loads(files["car.json"]))
    records = 0
    for name in (name for name in files if name.startswith("records/")):
        label = name.removeprefix("records/").removesuffix(".json")
        rows = json.loads(files[name])
        Draft202012Validator({**schema["$defs"][label], "$defs": {}}).validate(rows)
        records += len(rows)
    assert records == sum(json.loads(files["car.json"])["records"].values()) - len(
        json.loads(files["events.json"])
    )
    Draft202012Validator(schema["$defs"]["events"]).validate(json.loads(files["events.json"]))


def test_it_passes_its_own_check_and_is_the_same_each_time(sheet, car, lead):
    first = archive_of(car)
    checked = check(open_archive(io.BytesIO(first)))
    assert (checked.photos, checked.papers, checked.withheld) == (1, 1, 0)
    assert checked.events > 80
    acts.take_along(by=by(lead), vehicle=car, sha256="0" * 64, size=1, records=1)
    assert archive_of(car) == first, "that it was taken along is no part of it"
    fault_acts.report_fault(by=by(lead), vehicle=car, kind="finding", title="Rattle", severity="minor")
    assert archive_of(car) != first


def test_no_cell_of_a_table_is_a_formula(files):
    (cell,) = [
        row["title"] for row in csv.DictReader(io.StringIO(files["tables/vehicles.fault.csv"].decode()))
        if "as somebody typed it" in row["title"]
    ]  # fmt: skip
    assert cell == f"'{FORMULA}"
    assert any(row["title"] == FORMULA for row in rows_of(files, "vehicles.fault")), (
        "the record has it as typed"
    )
    for name, data in files.items():
        if name.endswith(".csv"):
            for row in csv.reader(io.StringIO(data.decode(), newline="")):
                assert not [cell for cell in row if cell[:1] in tuple("=+@\t\r") and cell], name


@pytest.mark.parametrize(
    "text", ["=1+1", "+49 1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", "  =1", "＝1+1", "-5 °C", "--5"]
)
def test_a_cell_that_begins_like_a_formula_is_made_text(text):
    assert plain_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-5", "-5.25", "5", "", "a=b", "2026-05-04", "ten +1", "'"])
def test_another_cell_is_left_alone(text):
    assert plain_cell(text) == text


def test_a_photo_that_was_lost_is_named_and_the_rest_is_whole(sheet, car, monkeypatch):
    (photo,) = car.attachments.all()
    monkeypatch.setattr(store, "problem", lambda digest, *_: "gone" if digest == photo.file else "")
    data = archive_of(car)
    files = files_of(data)
    assert json.loads(files["car.json"])["files_missing"] == [f"photos/{photo.file}.jpg"]
    assert "WHAT IS MISSING" in files["README.txt"].decode()
    assert check(open_archive(io.BytesIO(data))).photos == 0


def test_an_erased_photo_has_a_row_and_no_file(sheet, car, shop_owner):
    (photo,) = car.attachments.all()
    photo_acts.erase(by=by(shop_owner), attachment=photo, because="asked for")
    files = files_of(archive_of(car))
    assert rows_of(files, "vehicles.attachment")[0]["erased_because"] == "asked for"
    assert not [name for name in files if name.startswith("photos/")]


def test_queries_do_not_grow_with_the_history(sheet, car, lead):
    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            archive_of(car)
        return len(asked)

    before = count()
    for number in range(8):
        fault_acts.report_fault(
            by=by(lead), vehicle=car, kind="finding", title=f"Fault {number}", severity="minor"
        )
    assert count() == before < 330


def test_what_would_be_too_large_is_refused(sheet, car, monkeypatch):
    monkeypatch.setattr(making, "MOST_BYTES", 10_000)
    with pytest.raises(making.TooLarge):
        archive_of(car)


def test_a_car_without_anything_makes_a_file_too(lead):
    bare = VehicleFactory(person=lead)
    checked = check(open_archive(io.BytesIO(archive_of(bare))))
    assert (checked.counts["vehicles.vehicle"], checked.photos) == (1, 0)


def test_the_readme_explains_itself_without_our_words(files):
    text = files["README.txt"].decode()
    assert "sha256sum -c checksums.txt" in text
    assert "2006 Halden Drayman" in text
    assert max(map(len, text.splitlines())) <= 120


def test_every_program_reads_it(sheet, car):
    """No form newer than the plain one, no two names alike in any case, nothing above the folder."""
    with zipfile.ZipFile(io.BytesIO(archive_of(car))) as opened:
        assert opened.testzip() is None
        names = [info.filename for info in opened.infolist()]
        assert {info.extract_version for info in opened.infolist()} <= {10, 20}
    assert len({name.casefold() for name in names}) == len(names)
    assert not [name for name in names if name.startswith("/") or ".." in name]
