"""Photos and documents of a car: kept once, never altered, shown to those who may see the car, and to nobody else."""

from __future__ import annotations

import io
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from tests.factories.fault import FaultFactory
from tests.factories.job import JobFactory, job_in
from tests.factories.keeper import KeeperFactory
from tests.factories.photo import PDF, PhotoFactory, picture, upload
from tests.factories.vehicle import VehicleFactory
from tests.factories.work import WorkLineFactory
from tests.people import PASSWORD, by
from vehicles import photos as reads
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import photo as acts
from vehicles.files import store, verify
from vehicles.files.intake import MOST_FILES, take_in
from vehicles.models import Attachment
from workshop.acting import By
from workshop.models import Event

pytestmark = [pytest.mark.django_db, pytest.mark.words]


@pytest.fixture(autouse=True)
def files(settings, tmp_path):
    """A folder of files for each test."""
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": tmp_path / "files"},
        },
    }
    return tmp_path / "files"


def add_url(car, **query) -> str:
    from django.utils.http import urlencode

    address = reverse("vehicles:photo-add", args=[car.pk])
    return f"{address}?{urlencode(query)}" if query else address


def sent(data: bytes, name="photo.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def account_of(keeper, desk):
    return keeper_acts.open_account(
        by=by(desk), keeper=keeper, sign_in_name=f"account{keeper.pk}"[:30], password=PASSWORD
    )


@pytest.fixture
def owner(front_desk, car):
    """The car's owner with an account, since today."""
    keeper = KeeperFactory.create(front_desk, name="Corin Ashby")
    keeper_acts.add_part_for(
        by=by(front_desk), vehicle=car, keeper=keeper, part="owner", from_on=timezone.localdate()
    )
    return account_of(keeper, front_desk)


@pytest.fixture
def stranger(front_desk, car):
    """An owner of another car."""
    other = VehicleFactory.create(front_desk)
    keeper = KeeperFactory.create(front_desk)
    keeper_acts.add_part_for(by=by(front_desk), vehicle=other, keeper=keeper, part="owner")
    return account_of(keeper, front_desk)


# ------------------------------------------------------------ the form without script


def test_several_files_in_one_go_are_several_records(client, technician, car):
    client.force_login(technician)
    colours = ["#111111", "#555555", "#999999"]
    files = [sent(picture(colour=colour), f"{colour[1:]}.jpg") for colour in colours]
    answer = client.post(add_url(car), {"key": uuid4(), "files": files, "caption": "Left side"})
    assert (answer.status_code, answer.url) == (302, reverse("vehicles:photos", args=[car.pk]))
    rows = reads.photos_of(car)
    assert [row.caption for row in rows] == ["Left side"] * 3
    assert [row.order_sent for row in rows] == [0, 1, 2]
    assert len({row.file for row in rows}) == 3
    page = client.get(answer.url).content.decode()
    assert all(row.thumb_url() in page for row in rows)


def test_the_same_form_twice_is_one_set_of_records(client, technician, car):
    client.force_login(technician)
    form = {"key": uuid4(), "caption": "Twice"}
    for _ in range(2):
        files = [sent(picture(colour="#123456")), sent(picture(colour="#654321"))]
        assert client.post(add_url(car), {**form, "files": files}).status_code == 302
    assert Attachment.objects.count() == 2


def test_the_same_key_with_another_picture_is_refused_and_the_first_kept(client, technician, car):
    client.force_login(technician)
    key = uuid4()
    client.post(add_url(car), {"key": key, "files": [sent(picture(colour="#123456"))]})
    answer = client.post(add_url(car), {"key": key, "files": [sent(picture(colour="#654321"))]})
    assert answer.status_code == 422
    assert "This form was sent already, with other content" in answer.content.decode()
    assert Attachment.objects.count() == 1


def test_what_is_fine_is_kept_and_what_is_not_is_named_beside_its_name(client, technician, car):
    client.force_login(technician)
    files = [sent(picture(), "good.jpg"), sent(b"a letter", "letter.jpg"), sent(b"", "empty.jpg")]
    answer = client.post(add_url(car), {"key": uuid4(), "files": files, "caption": "Kept words"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert Attachment.objects.count() == 1
    assert "1 kept, 2 not kept" in text
    assert "<b>letter.jpg</b>: This is not a picture that can be kept: JPEG, PNG and WEBP are." in text
    assert "<b>empty.jpg</b>: The file is empty" in text
    # The form goes on with the rest: its words are still there, under a key of its own.
    assert 'value="Kept words"' in text
    again = answer.context["form"]["key"].value()
    files = [sent(picture(colour="#abcdef"), "letter.jpg")]
    assert (
        client.post(add_url(car), {"key": again, "files": files, "caption": "Kept words"}).status_code == 302
    )
    assert Attachment.objects.count() == 2


def test_no_file_and_too_many_are_refused(client, technician, car):
    client.force_login(technician)
    answer = client.post(add_url(car), {"key": uuid4(), "caption": "Nothing"})
    assert answer.status_code == 422
    assert "Choose at least one photo or PDF." in answer.content.decode()
    files = [sent(picture(size=(16, 12), colour=(n, n, n))) for n in range(MOST_FILES + 1)]
    answer = client.post(add_url(car), {"key": uuid4(), "files": files})
    assert answer.status_code == 422
    assert f"{MOST_FILES} files at once are the limit" in answer.content.decode()
    assert Attachment.objects.count() == MOST_FILES


def test_a_full_disk_gives_the_form_back_with_a_sentence(client, technician, car, monkeypatch):
    def full(data, suffix):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(store, "put", full)
    client.force_login(technician)
    answer = client.post(
        add_url(car), {"key": uuid4(), "files": [sent(picture(), "a.jpg")], "caption": "Typed"}
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "<b>a.jpg</b>" in text
    assert "disk may be full" in text
    assert 'value="Typed"' in text
    assert Attachment.objects.count() == 0


def test_a_file_that_vanished_before_the_act_is_not_written_down(technician, car):
    stored = take_in(upload(picture()))
    store.remove(stored.file, "jpg")
    with pytest.raises(ValidationError, match="could not write it"):
        acts.add_files(by=by(technician), vehicle=car, files=[stored])
    assert Attachment.objects.count() == 0


# ------------------------------------------------------------ as a script sends them


def test_a_script_gets_json(client, technician, car):
    client.force_login(technician)
    key = uuid4()
    for _ in range(2):  # sent again after a lost answer: the same
        answer = client.post(
            add_url(car), {"key": key, "files": [sent(picture())]}, headers={"Accept": "application/json"}
        )
        row = Attachment.objects.get()
        assert answer.status_code == 200
        assert answer.json()["photos"] == [
            {"url": row.get_absolute_url(), "thumb": row.thumb_url(), "label": "Photo", "described": False}
        ]
    answer = client.post(
        add_url(car), {"key": uuid4(), "files": [sent(b"x")]}, headers={"Accept": "application/json"}
    )
    assert answer.status_code == 422
    assert answer.json()["photos"] == []
    assert "JPEG, PNG and WEBP are" in answer.json()["sentences"][0]


def test_the_time_comes_from_the_original_that_the_browser_made_small(client, technician, car):
    client.force_login(technician)
    head = sent(picture(taken="2026:03:04 10:11:12"), "head.jpg")
    client.post(
        add_url(car),
        {"key": uuid4(), "files": [sent(picture(colour="#222222"))], "head": head},
        headers={"Accept": "application/json"},
    )
    assert (
        timezone.localtime(Attachment.objects.get().taken_at).strftime("%Y-%m-%d %H:%M:%S")
        == "2026-03-04 10:11:12"
    )


def test_a_time_after_it_was_sent_is_left_out(technician, car):
    future = (timezone.localtime() + timedelta(days=2)).strftime("%Y:%m:%d %H:%M:%S")
    row = PhotoFactory(person=technician, vehicle=car, data=picture(taken=future))
    assert row.taken_at is None


# ------------------------------------------------------------ what it belongs to


def test_it_belongs_to_what_the_address_names(client, technician, lead, car):
    job = job_in("in_work", person=lead, vehicle=car)
    line = WorkLineFactory(person=lead, job=job)
    client.force_login(technician)
    next_page = reverse("jobs:line", args=[line.pk])
    answer = client.post(
        add_url(car, line=line.pk, next=next_page, moment="before"),
        {"key": uuid4(), "files": [sent(picture())], "moment": "before"},
    )
    assert answer.url == next_page
    row = Attachment.objects.get()
    assert (row.line, row.job, row.moment) == (line, job, "before")


def test_what_is_of_another_car_is_404_and_refused_below_it(client, technician, lead, car):
    other = VehicleFactory.create(lead)
    fault = FaultFactory(person=lead, vehicle=other)
    job = JobFactory(person=lead, vehicle=other)
    client.force_login(technician)
    for query in (
        {"fault": fault.pk},
        {"job": job.pk},
        {"job": "no-id"},
        {"place": "nowhere"},
        {"moment": "later"},
    ):
        assert client.get(add_url(car, **query)).status_code == 404
    stored = take_in(upload(picture()))
    with pytest.raises(ValidationError, match="of another car"):
        acts.add_files(by=by(technician), vehicle=car, files=[stored], fault=fault)
    row = PhotoFactory(person=technician, vehicle=car)
    for name, record in (("fault_id", fault), ("job_id", job)):
        copy = {field.attname: getattr(row, field.attname) for field in Attachment._meta.concrete_fields}
        with pytest.raises(IntegrityError, match="of its own car"), transaction.atomic():
            Attachment.objects.bulk_create(
                [Attachment(**{**copy, "id": uuid4(), "key": uuid4(), name: record.pk})]
            )


@pytest.mark.parametrize(
    "address", ["https://elsewhere.example/", "//elsewhere.example/x", "javascript:alert(1)"]
)
def test_it_leads_back_only_to_pages_of_ours(client, technician, car, address):
    client.force_login(technician)
    answer = client.post(add_url(car, next=address), {"key": uuid4(), "files": [sent(picture())]})
    assert answer.url == reverse("vehicles:photos", args=[car.pk])


def test_a_document_needs_a_caption_and_a_pdf_sent_as_a_photo_becomes_one(client, technician, car):
    client.force_login(technician)
    answer = client.post(add_url(car, kind="document"), {"key": uuid4(), "files": [sent(PDF, "ticket.pdf")]})
    assert answer.status_code == 422
    assert "Say what the document is." in answer.content.decode()
    assert (
        client.post(
            add_url(car), {"key": uuid4(), "files": [sent(PDF, "weighbridge_ticket.pdf")]}
        ).status_code
        == 302
    )
    row = Attachment.objects.get()
    assert (row.kind, row.caption, row.media_type) == ("document", "weighbridge ticket", "application/pdf")
    assert client.get(row.get_absolute_url()).status_code == 200
    assert reads.documents_of(car) == [row]


def test_signed_papers_belong_to_a_sheet(technician, car):
    stored = take_in(upload(picture()))
    with pytest.raises(ValidationError, match="belongs to the sheet"):
        acts.add_files(by=by(technician), vehicle=car, files=[stored], kind="signed_paper")


# ------------------------------------------------------------ served


def test_served_with_a_fixed_type_and_nothing_that_can_run(client, technician, car):
    row = PhotoFactory(person=technician, vehicle=car)
    client.force_login(technician)
    for url in (row.file_url(), row.thumb_url()):
        answer = client.get(url)
        assert answer.status_code == 200
        assert answer.headers["Content-Type"] == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert "private" in answer.headers["Cache-Control"]
        assert "immutable" in answer.headers["Cache-Control"]
        assert answer.headers["Content-Disposition"].startswith("inline")
        Image.open(io.BytesIO(answer.content)).load()
        again = client.get(url, headers={"If-None-Match": answer.headers["ETag"]})
        assert (again.status_code, again.content) == (304, b"")
    small = client.get(row.small_url())
    assert small.headers["Content-Type"] == "image/webp"
    assert small.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert Image.open(io.BytesIO(small.content)).format == "WEBP"
    assert client.get(row.small_url(), headers={"If-None-Match": small.headers["ETag"]}).status_code == 304
    # What was kept for the thumbnail is no longer right for the small one: another address, another mark.
    assert small.headers["ETag"] != client.get(row.thumb_url()).headers["ETag"]
    paper = PhotoFactory(
        person=technician, vehicle=car, data=PDF, kind="document", caption="../../Ticket <b>\n"
    )
    answer = client.get(paper.file_url())
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="ticket-b.pdf"'
    assert answer.content == PDF
    assert client.get(paper.thumb_url()).status_code == 404


def test_a_stranger_learns_nothing_and_nobody_is_sent_to_the_door(client, technician, car, owner, stranger):
    row = PhotoFactory(person=technician, vehicle=car)
    urls = [row.get_absolute_url(), row.file_url(), row.thumb_url()]
    for url in urls:
        assert client.get(url).status_code == 302
    client.force_login(stranger)
    for url in urls:
        answer = client.get(url)
        assert answer.status_code == 404
        assert b"Halden" not in answer.content
    assert client.get(reverse("vehicles:photos", args=[car.pk])).status_code == 404
    client.force_login(owner)
    for url in urls:
        assert client.get(url).status_code == 200
    assert client.get(reverse("vehicles:photos", args=[car.pk])).status_code == 200
    # An owner reads; they change nothing.
    for name in ("photo-describe", "photo-set-aside", "photo-erase"):
        assert client.get(reverse(f"vehicles:{name}", args=[row.pk])).status_code == 403
    assert client.get(add_url(car)).status_code == 403


def test_what_could_show_an_earlier_owners_life_is_not_the_next_owners_to_see(
    client, technician, lead, car, owner
):
    job = job_in("in_work", person=lead, vehicle=car)
    long_ago = timezone.now() - timedelta(days=30)
    fault_then = PhotoFactory(person=technician, vehicle=car, made_at=long_ago)
    cabin_then = PhotoFactory(
        person=technician, vehicle=car, made_at=long_ago, job=job, occasion="check_in", angle="cabin"
    )
    paper_then = PhotoFactory(
        person=technician, vehicle=car, made_at=long_ago, data=PDF, kind="document", caption="Bill of sale"
    )
    cabin_now = PhotoFactory(person=technician, vehicle=car, job=job, occasion="check_in", angle="cabin")
    client.force_login(owner)
    seen = [client.get(row.file_url()).status_code for row in (fault_then, cabin_then, paper_then, cabin_now)]
    assert seen == [200, 404, 404, 200]
    assert set(reads.own_photos(owner, car)) == {fault_then, cabin_now}


def test_someone_who_sold_the_car_no_longer_sees_it(client, front_desk, technician, car, owner):
    row = PhotoFactory(person=technician, vehicle=car)
    part = car.keepers.get(keeper__account=owner)
    keeper_acts.end_part_for(
        by=by(front_desk), vehicle_keeper=part, until_on=timezone.localdate(), reason="car sold"
    )
    client.force_login(owner)
    assert client.get(row.file_url()).status_code == 404


@pytest.mark.parametrize("tail", ["..%2f..%2fetc%2fpasswd", "../../../etc/passwd", "%2e%2e/%2e%2e/", "x.jpg"])
def test_path_tricks_lead_nowhere(client, technician, car, tail):
    row = PhotoFactory(person=technician, vehicle=car)
    client.force_login(technician)
    for url in (f"/photos/{tail}", f"/photos/{row.pk}/{tail}", f"/photos/{row.pk}/file/{tail}"):
        assert client.get(url).status_code == 404


def test_a_missing_file_is_said_in_a_sentence(client, technician, car, files, capsys):
    row = PhotoFactory(person=technician, vehicle=car)
    assert list(verify.problems()) == []
    store.path_of(row.file, "jpg").unlink()
    client.force_login(technician)
    answer = client.get(row.file_url())
    assert answer.status_code == 404
    assert "brings it back from a backup" in answer.content.decode()
    page = client.get(row.get_absolute_url())
    assert page.status_code == 200
    assert "is missing" in page.content.decode()
    assert [problem for problem in verify.problems() if "is missing" in problem and str(row.pk) in problem]
    with pytest.raises(SystemExit):
        call_command("verify_records")
    assert str(row.pk) in capsys.readouterr().err


def test_an_altered_file_is_found(technician, car):
    row = PhotoFactory(person=technician, vehicle=car)
    path = store.path_of(row.thumb, "jpg")
    path.chmod(0o600)
    path.write_bytes(path.read_bytes()[:-1] + b"\x00")
    assert any("altered" in problem for problem in verify.problems())


# ------------------------------------------------------------ afterwards


def test_a_caption_is_corrected_and_the_earlier_one_stays_in_the_log(client, technician, car):
    row = PhotoFactory(person=technician, vehicle=car, caption="Left sil")
    client.force_login(technician)
    url = reverse("vehicles:photo-describe", args=[row.pk])
    answer = client.post(url, {"key": uuid4(), "seen_version": 1, "caption": "Left sill", "moment": "before"})
    assert answer.status_code == 302
    row.refresh_from_db()
    assert (row.caption, row.moment, row.version) == ("Left sill", "before", 2)
    event = Event.objects.filter(act="vehicles.photo.describe").get()
    assert "Left sil" not in event.body  # what people wrote stands beside the chain
    assert '["Left sil","Left sill"]' in event.detail.words


def test_two_people_at_one_caption(client, technician, lead, car):
    row = PhotoFactory(person=technician, vehicle=car)
    acts.describe(by=by(lead), attachment=row, seen_version=1, caption="The lead's words")
    client.force_login(technician)
    url = reverse("vehicles:photo-describe", args=[row.pk])
    answer = client.post(url, {"key": uuid4(), "seen_version": 1, "caption": "The technician's words"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "The lead&#x27;s words" in text
    assert "The technician&#x27;s words" in text
    row.refresh_from_db()
    assert row.caption == "The lead's words"


def test_set_aside_is_hidden_and_kept_and_can_come_back(client, technician, front_desk, lead, owner, car):
    row = PhotoFactory(person=technician, vehicle=car)
    with pytest.raises(ValidationError, match=r"added this\. A lead sets it aside"):
        acts.set_aside(by=by(front_desk), attachment=row, because="a face in it")
    with pytest.raises(ValidationError, match="Say why"):
        acts.set_aside(by=by(lead), attachment=row, because=" ")
    acts.set_aside(by=by(lead), attachment=row, because="a face in it")
    assert reads.photos_of(car) == []
    mistaken = PhotoFactory(person=technician, vehicle=car)
    acts.set_aside(by=by(technician), attachment=mistaken, because="the wrong car")
    assert reads.photos_of(car) == [], "who added it may"
    client.force_login(owner)
    assert client.get(row.file_url()).status_code == 404
    client.force_login(lead)
    assert client.get(row.file_url()).status_code == 200
    listed = client.get(reverse("vehicles:photos", args=[car.pk]) + "?show=aside").content.decode()
    assert row.get_absolute_url() in listed
    assert "Set aside: a face in it" in client.get(row.get_absolute_url()).content.decode()
    assert store.holds(row.file, "jpg")
    acts.bring_back(by=by(lead), attachment=row, because="the face is a doll's")
    assert reads.photos_of(car) == [row]


def test_erased_by_the_shop_owner_the_bytes_go_and_the_record_stays(
    client, technician, lead, shop_owner, car, django_capture_on_commit_callbacks
):
    row = PhotoFactory(person=technician, vehicle=car, caption="A visitor's face")
    with pytest.raises(PermissionDenied):
        acts.erase(by=by(lead), attachment=row, because="asked for")
    with django_capture_on_commit_callbacks(execute=True):
        acts.erase(by=by(shop_owner), attachment=row, because="the visitor asked for it")
    row.refresh_from_db()
    assert (row.caption, row.erased_because) == ("", "the visitor asked for it")
    assert not store.holds(row.file, "jpg")
    assert not store.holds(row.thumb, "jpg")
    client.force_login(lead)
    answer = client.get(row.file_url())
    assert answer.status_code == 410
    assert "the visitor asked for it" in answer.content.decode()
    assert client.get(row.get_absolute_url()).status_code == 200
    assert list(verify.problems()) == []
    with pytest.raises(ValidationError, match="erased already"):
        acts.erase(by=by(shop_owner), attachment=row, because="again")


def test_erasing_one_of_two_records_of_the_same_picture_leaves_the_other_whole(
    technician, shop_owner, car, django_capture_on_commit_callbacks
):
    data = picture(colour="#777777")
    first = PhotoFactory(person=technician, vehicle=car, data=data)
    second = PhotoFactory(person=technician, vehicle=car, data=data)
    assert first.file == second.file
    for row, still_there in ((first, True), (second, False)):
        with django_capture_on_commit_callbacks(execute=True):
            acts.erase(by=by(shop_owner), attachment=row, because="asked for")
        assert store.holds(second.file, "jpg") is still_there
    assert list(verify.problems()) == []


def test_bytes_that_stayed_after_an_erasure_are_named(technician, shop_owner, car):
    """The power went between the record and its bytes: the check says which file is to be removed."""
    row = PhotoFactory(person=technician, vehicle=car)
    acts.erase(by=by(shop_owner), attachment=row, because="asked for")  # what follows the commit did not run
    assert any("was erased, but its file" in problem and row.file in problem for problem in verify.problems())


@pytest.mark.parametrize(
    "changes",
    [
        {"file": "0" * 64},
        {"size": 1},
        {"vehicle_id": None},
        {"made_at": None},
        {"taken_at": "now"},
        {"angle": "left"},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_the_database_keeps_what_was_added(technician, lead, car, changes):
    row = PhotoFactory(person=technician, vehicle=car)
    other = VehicleFactory.create(lead)
    given = {"vehicle_id": other.pk, "made_at": row.made_at - timedelta(hours=1), "taken_at": row.made_at}
    changes = {name: given.get(name, value) for name, value in changes.items()}
    with pytest.raises(IntegrityError, match="stays what it was when it was added"), transaction.atomic():
        Attachment.objects.filter(pk=row.pk).update(**changes)
    with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
        Attachment.objects.filter(pk=row.pk).delete()


def test_the_database_lets_nobody_undo_an_erasure(technician, shop_owner, car):
    row = PhotoFactory(person=technician, vehicle=car)
    acts.erase(by=by(shop_owner), attachment=row, because="asked for")
    with pytest.raises(IntegrityError, match="stays erased"), transaction.atomic():
        Attachment.objects.filter(pk=row.pk).update(erased_at=None, erased_by=None, erased_because="")


def test_before_and_after_stand_beside_each_other(client, technician, lead, car):
    job = job_in("in_work", person=lead, vehicle=car)
    line = WorkLineFactory(person=lead, job=job)
    before = PhotoFactory(person=technician, vehicle=car, line=line, moment="before", caption="Rusted")
    after = PhotoFactory(person=technician, vehicle=car, line=line, moment="after", caption="New")
    second = PhotoFactory(
        person=technician, vehicle=car, line=line, moment="after", caption="New, from below"
    )
    rows = reads.photos_of(car, line=line)
    assert reads.pairs(rows) == [(before, after), (None, second)]
    assert reads.pairs([before]) == []
    client.force_login(technician)
    page = client.get(after.get_absolute_url()).content.decode()
    assert before.file_url() in page
    assert after.file_url() in page
    assert page.index(before.file_url()) < page.index(after.file_url())
    page = client.get(second.get_absolute_url()).content.decode()
    assert before.file_url() not in page


def test_reads_for_pages_with_many_subjects(technician, lead, car, django_assert_num_queries):
    job = job_in("in_work", person=lead, vehicle=car)
    lines = [WorkLineFactory(person=lead, job=job) for _ in range(3)]
    for line in lines[:2]:
        PhotoFactory(person=technician, vehicle=car, line=line)
        PhotoFactory(person=technician, vehicle=car, line=line)
    PhotoFactory(person=technician, vehicle=car, job=job)
    with django_assert_num_queries(1):
        found = reads.photos_by(car, "line_id", job=job)
        assert {key: len(rows) for key, rows in found.items()} == {line.pk: 2 for line in lines[:2]}
        assert found[lines[2].pk] == []


@pytest.mark.parametrize("name", ["vehicles:photos", "vehicles:vehicle"])
def test_queries_do_not_grow_with_the_photos(client, technician, car, name):
    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse(name, args=[car.pk])).status_code == 200
        return len(queries)

    client.force_login(technician)
    for _ in range(13):
        PhotoFactory(person=technician, vehicle=car)
    little = count()
    for _ in range(20):
        PhotoFactory(person=technician, vehicle=car)
    assert count() == little


def test_the_page_of_one_photo_asks_little_however_many_there_are(client, technician, car):
    rows = [PhotoFactory(person=technician, vehicle=car) for _ in range(3)]
    client.force_login(technician)

    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(rows[1].get_absolute_url()).status_code == 200
        return len(queries)

    little = count()
    rows += [PhotoFactory(person=technician, vehicle=car) for _ in range(15)]
    assert count() == little
    assert little <= 9


def test_only_who_may_adds(car_owner, technician, car):
    stored = take_in(upload(picture()))
    with pytest.raises(PermissionDenied):
        acts.add_files(by=by(car_owner), vehicle=car, files=[stored])
    key = uuid4()
    first = acts.add_files(by=By(technician, key=key), vehicle=car, files=[stored])
    assert acts.add_files(by=By(technician, key=key), vehicle=car, files=[stored]) == first
    assert acts.added_by(key) == [first]


def test_only_pages_that_take_photos_load_their_script(client, lead, car):
    job = job_in("in_work", person=lead, vehicle=car)
    client.force_login(lead)
    for name, arguments, takes in (
        ("vehicles:vehicle", [car.pk], True),
        ("vehicles:photos", [car.pk], True),
        ("vehicles:photo-add", [car.pk], True),
        ("jobs:job", [job.pk], True),
        ("jobs:angles", [job.pk, "check_in"], True),
        ("jobs:floor", [], False),
        ("workshop:tools", [], False),
        ("vehicles:vehicle-add", [], False),
    ):
        page = client.get(reverse(name, args=arguments)).content.decode()
        assert ("js/photos.js" in page) is takes, name
        assert page.count("js/photos.js") <= 1
