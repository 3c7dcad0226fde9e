"""Files that somebody sends: altered, cut off, forged, built to do harm. Each is refused with a sentence, and nothing stays."""

from __future__ import annotations

import io
import json
import struct
import tracemalloc
import zipfile

import pytest
from django.urls import reverse

from tests.factories.archive import archive_of, files_of, packed, rows_of, with_rows
from tests.factories.handover import HandedOverFactory, owner_of
from tests.factories.photo import PhotoFactory
from tests.once import once
from vehicles.archive import reading
from vehicles.archive.checking import check
from vehicles.archive.reading import NotAnArchive, open_archive
from vehicles.archive.reading import rows_of as lines_of
from vehicles.models import Vehicle


@once
def whole(car, lead) -> bytes:
    """The archive of a car with a visit, its sheet and a photo."""
    HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))
    PhotoFactory(person=lead, vehicle=car)
    return archive_of(car)


@pytest.fixture
def files(whole) -> dict[str, bytes]:
    return files_of(whole)


def refusal(data: bytes) -> str:
    with pytest.raises(NotAnArchive) as caught:
        check(open_archive(io.BytesIO(data)))
    sentence = str(caught.value)
    assert sentence.endswith((".", ")"))
    assert len(sentence) < 400
    return sentence


def test_a_whole_one_is_taken(whole):
    assert check(open_archive(io.BytesIO(whole))).counts["jobs.sheetrevision"] == 1


def test_what_is_put_together_anew_without_a_change_is_taken(files):
    """So that the refusals below are of what each of them changes."""
    assert check(open_archive(io.BytesIO(packed(files)))).counts["jobs.sheetrevision"] == 1
    rows = rows_of(files, "vehicles.fault")
    assert check(open_archive(io.BytesIO(packed(with_rows(files, "vehicles.fault", rows))))).photos == 1


def test_no_byte_can_be_altered(whole):
    """At a hundred places, also in the list of contents."""
    for at in range(10, len(whole), len(whole) // 100):
        data = bytearray(whole)
        data[at] ^= 0x55
        try:
            opened = open_archive(io.BytesIO(bytes(data)))
        except NotAnArchive:
            continue
        # A byte that holds nothing of the file: a time, a mark of the program. What is read is what was written.
        assert {name: opened.zip.read(name) for name in opened.hashes} == {
            name: part for name, part in files_of(whole).items() if name != "checksums.txt"
        }, at


def test_it_cannot_be_cut_off(whole):
    for part in (0, 1, 21, 100, len(whole) // 2, len(whole) - 1):
        refusal(whole[:part])


@pytest.mark.parametrize(
    "data",
    [b"", b"x", b"hello" * 100, b"%PDF-1.7\n" + b" " * 99, b"PK\x03\x04" * 99, b"\x1f\x8b" + b"\0" * 99],
)
def test_another_kind_of_file(data):
    assert "no archive of a car" in refusal(data)


def test_another_zip():
    assert "has no place in an archive" in refusal(packed({"letter.txt": b"hello"}))


def test_a_file_altered_without_its_checksum(files):
    name = next(name for name in files if name.startswith("photos/"))
    files[name] = files[name] + b"\0"
    assert refusal(packed(files, sums=False)) == (
        f"“{name}” was altered: it no longer gives the checksum that the file has for it."
    )


def test_a_photo_altered_with_its_checksum(files):
    name = next(name for name in files if name.startswith("photos/"))
    files[name] = files[name][:-1] + b"\0"
    assert "not what it is called" in refusal(packed(files))


def test_a_file_put_in_and_a_file_taken_out(files):
    more = {**files, f"photos/{'0' * 64}.jpg": b"\xff\xd8\xff"}
    assert "no checksum" in refusal(packed(more, sums=False))
    assert "named by no record" in refusal(packed(more))
    name = next(name for name in files if name.startswith("prints/"))
    less = {key: data for key, data in files.items() if key != name}
    assert "taken out" in refusal(packed(less, sums=False))
    assert "named by a record" in refusal(packed(less))


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/passwd", "/etc/passwd", "photos/../../x.jpg", "photos\\..\\x.jpg", "C:\\x.jpg", "records/x.exe",
        "records/../car.json", "inner.zip", "photos/x.jpg", "tables/", "photos/" + "0" * 64 + ".jpg\n", "CAR.JSON",
        "records/vehicles.fault.json/x", "\u202egpj.exe",
    ],
)  # fmt: skip
def test_a_name_that_has_no_place_in_it(files, name):
    assert "no place" in refusal(packed(files, write=lambda opened: opened.writestr(name, b"x")))


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_twice(files):
    assert "twice" in refusal(packed(files, write=lambda opened: opened.writestr("car.json", b"{}")))


def test_a_link_and_a_folder(files):
    def link(opened: zipfile.ZipFile) -> None:
        info = zipfile.ZipInfo(f"photos/{'1' * 64}.jpg")
        info.create_system, info.external_attr = 3, 0o120777 << 16
        opened.writestr(info, "/etc/passwd")

    assert "a link or a folder" in refusal(packed(files, write=link))


def test_a_password(whole):
    data = bytearray(whole)
    with zipfile.ZipFile(io.BytesIO(whole)) as opened:
        start = opened.start_dir
    data[start + 8] |= 1  # the first entry's flags in the list of contents
    assert "password" in refusal(bytes(data))


def test_another_way_of_packing(files):
    def tight(opened: zipfile.ZipFile) -> None:
        opened.writestr(f"photos/{'1' * 64}.jpg", b"x" * 99, compress_type=zipfile.ZIP_BZIP2)

    assert "packed in a way" in refusal(packed(files, write=tight))


def test_a_bomb_is_not_unpacked(files):
    """Sixty megabytes of nothing in sixty kilobytes: said before a byte of it is unpacked, in little memory."""
    files["events.json"] = b" " * 60_000_000
    data = packed(files, sums=False)
    del files
    assert len(data) < 400_000
    tracemalloc.start()
    try:
        assert "far more than such a file is" in refusal(data)
        assert tracemalloc.get_traced_memory()[1] < 8_000_000
    finally:
        tracemalloc.stop()


def test_a_bomb_that_lies_about_its_size(files):
    """The list of contents says a hundred bytes; what comes out is not more than that, and its sum does not fit."""
    files["events.json"] = b" " * 3_000_000
    data = bytearray(packed(files))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as opened:
        at = opened.start_dir
    while data[at : at + 4] == b"PK\x01\x02":
        long, extra, comment = struct.unpack_from("<3H", data, at + 28)
        if data[at + 46 : at + 46 + long] == b"events.json":
            struct.pack_into("<L", data, at + 24, 100)
        at += 46 + long + extra + comment
    refusal(bytes(data))


def test_two_files_in_one_place(files):
    """Many names over the same packed bytes: each alone is small."""
    data = bytearray(packed(files))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as opened:
        at, first = opened.start_dir, opened.infolist()[0].header_offset
    long, extra, comment = struct.unpack_from("<3H", data, at + 28)
    struct.pack_into("<L", data, at + 46 + long + extra + comment + 42, first)
    assert "over each other" in refusal(bytes(data))


def test_far_too_many_files(files, monkeypatch):
    monkeypatch.setattr(reading, "MOST_FILES", 50)
    assert "holds too much" in refusal(packed(files))


def test_far_too_large_a_file(files, monkeypatch):
    monkeypatch.setattr(reading, "MOST_SENT", 1000)
    assert "too large" in refusal(packed(files))


def changed(files: dict[str, bytes], **about) -> bytes:
    text = json.dumps({**json.loads(files["car.json"]), **about})
    return packed({**files, "car.json": text.encode()})


def test_another_form_version_or_release(files):
    assert "of another kind" in refusal(changed(files, format="something-else"))
    assert "reads version 1" in refusal(changed(files, version=2))
    assert "another release" in refusal(changed(files, schema="0" * 64))
    assert "another release" in refusal(packed({**files, "schema.json": b"{}"}))
    for wrong in (
        {"records": {}},
        {"vehicle": 5},
        {"flavour": "x"},
        {"files_missing": ["../x"]},
        {"shop": None},
    ):
        assert "does not say" in refusal(changed(files, **wrong))


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"[",
        b"nonsense",
        b'{"format": NaN}',
        b"[" * 100_000,
        b"\xff\xfe",
        b'{"a":1,"a":2}',
        b"1" * 9000,
        b"null",
    ],
)
def test_car_json_that_is_none(files, text):
    assert "car.json" in refusal(packed({**files, "car.json": text}))


@pytest.mark.parametrize(
    "text",
    [
        b"", b"[]", b"[\n", b"[\n]", b'[\n{"a":1}\n', b"[\n5\n]\n", b"[\n{}{}\n]\n", b"[\n{},\n]\n", b"[\n{}\n{}\n]\n",
        b"[\n\n]\nmore", b"[\n" + b"[" * 50_000 + b"\n]\n", b'[\n{"a":1,"a":2}\n]\n', b'[\n{"a":Infinity}\n]\n',
        b'[\n{"a":"\xff"}\n]\n',
    ],
)  # fmt: skip
def test_records_that_are_not_written_as_records(text):
    with pytest.raises(NotAnArchive):
        list(lines_of(io.BytesIO(text), "records/x.json"))


def test_a_record_as_long_as_a_book_is_not_read_into_memory(monkeypatch):
    monkeypatch.setattr(reading, "LONGEST_LINE", 100)
    with pytest.raises(NotAnArchive, match="longer than a record"):
        list(lines_of(io.BytesIO(b'[\n{"a":"' + b"x" * 1000 + b'"}\n]\n'), "records/x.json"))


WRONG = [
    ("vehicles.vehicle", {"year": "2006"}, "“year” is no whole number"),
    ("vehicles.vehicle", {"year": True}, "“year” is no whole number"),
    ("vehicles.vehicle", {"year": 10**30}, "“year” is not from 0 to 32767"),
    ("vehicles.vehicle", {"make": None}, "“make” is empty"),
    ("vehicles.vehicle", {"make": "x" * 61}, "“make” is longer than 60"),
    ("vehicles.vehicle", {"make": "a\x00b"}, "“make” holds a character"),
    ("vehicles.vehicle", {"make": ["a"]}, "“make” is no text"),
    ("vehicles.vehicle", {"id": "x"}, "“id” is no UUID"),
    ("vehicles.vehicle", {"made_at": "yesterday"}, "“made_at” is no moment"),
    ("vehicles.vehicle", {"made_at": "2026-13-40T08:30:00Z"}, "“made_at” is no moment"),
    ("vehicles.vehicle", {"high_voltage": 1}, "“high_voltage” is neither true nor false"),
    (
        "vehicles.vehicle",
        {"made_by": "00000000-0000-0000-0000-000000000000"},
        "a record of workshop.person that is not",
    ),
    ("vehicles.vehicle", {"more": 1}, "“more” is missing, or no column"),
    ("jobs.job", {"limit": 5}, "“limit” is no number written as text"),
    ("jobs.job", {"limit": "1e9"}, "“limit” is no number written as text"),
    ("jobs.job", {"limit": "123456789.00"}, "“limit” has more than 10 digits"),
    ("jobs.job", {"state": "flying"}, "“state” is none of the words"),
    ("jobs.sheetrevision", {"technical": "{}"}, "“technical” of"),
    ("jobs.sheettext", {"personal": "{}"}, "“personal” of"),
    ("jobs.sheettext", {"pdf": "../../x"}, "“pdf” is no SHA-256"),
    ("vehicles.attachment", {"size": 5}, "“size” is not the size of its file"),
    ("vehicles.attachment", {"file": "../../x"}, "no name of a stored file"),
]


@pytest.mark.parametrize(("label", "change", "said"), WRONG, ids=[f"{row[0]} {row[1]}"[:50] for row in WRONG])
def test_a_record_that_was_forged_with_checksums_that_fit(files, label, change, said):
    first, *rest = rows_of(files, label)
    assert said in refusal(packed(with_rows(files, label, [{**first, **change}, *rest])))


def test_a_column_left_out_a_record_twice_a_car_more(files):
    (car,) = rows_of(files, "vehicles.vehicle")
    short = {name: value for name, value in car.items() if name != "colour"}
    assert "“colour” is missing" in refusal(packed(with_rows(files, "vehicles.vehicle", [short])))
    assert "already" in refusal(packed(with_rows(files, "vehicles.vehicle", [car, car])))
    other = {**car, "id": "11111111-1111-4111-8111-111111111111"}
    assert "several cars" in refusal(packed(with_rows(files, "vehicles.vehicle", [car, other])))
    rows = rows_of(files, "jobs.jobmove")
    files["records/jobs.jobmove.json"] = b"[\n" + json.dumps(rows[0]).encode() + b"\n]\n"
    assert f"its “car.json” says {len(rows)}" in refusal(packed(files))


def test_an_event_that_was_forged(files):
    events = json.loads(files["events.json"])

    def with_events(rows: list[dict]) -> bytes:
        lines = ",\n".join(json.dumps(row) for row in rows)
        about = json.loads(files["car.json"])
        about["records"]["events"] = len(rows)
        return packed(
            {**files, "events.json": f"[\n{lines}\n]\n".encode(), "car.json": json.dumps(about).encode()}
        )

    assert check(open_archive(io.BytesIO(with_events(events)))).events == len(events)
    altered = [{**events[0], "body": events[0]["body"].replace("vehicle", "vehicles")}, *events[1:]]
    assert "altered" in refusal(with_events(altered))
    assert "end where" in refusal(with_events(events[:-1]))
    assert "does not come after" in refusal(with_events([events[1], events[0], *events[2:]]))
    assert "does not say what was done" in refusal(with_events([{**events[0], "body": None}, *events[1:]]))
    assert "another event" in refusal(
        with_events([*events[:-1], {**events[-1], "seq": events[-1]["seq"] + 5}])
    )


def test_nothing_is_written_down_by_checking(whole, car):
    cars = Vehicle.objects.count()
    check(open_archive(io.BytesIO(whole)))
    assert Vehicle.objects.count() == cars


def test_the_page_says_what_is_in_it(client, lead, whole):
    client.force_login(lead)
    file = io.BytesIO(whole)
    file.name = "archive.zip"
    page = client.post(reverse("vehicles:archive-check"), {"file": file})
    assert page.status_code == 200
    text = page.content.decode()
    assert "The file is whole" in text
    assert "2006 Halden Drayman" in text
    assert "1 photo," in text


@pytest.mark.parametrize(
    ("data", "said"), [(b"hello" * 99, "no ZIP file"), (None, "Choose the file"), (b"", "is empty")]
)
def test_the_page_says_what_is_wrong_beside_the_field(client, lead, data, said):
    client.force_login(lead)
    sent = {}
    if data is not None:
        file = io.BytesIO(data)
        file.name = "x.zip"
        sent["file"] = file
    page = client.post(reverse("vehicles:archive-check"), sent)
    assert page.status_code == 422
    assert said in page.content.decode()
