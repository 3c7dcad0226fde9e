"""After handover: the next revision, signatures, erasure, and the command that rereads the records."""

from __future__ import annotations

import io
import json
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management import call_command
from django.db import IntegrityError, transaction
from pypdf import PdfReader

from jobs import sheets
from jobs.acts import sheet as sheet_acts
from jobs.models import Job, SheetRevision, SheetText, SignOff
from tests.factories.handover import HandedOverFactory
from tests.factories.outstanding import ItemFactory
from tests.once import cast_with_car, each_of, made_once
from tests.people import by
from tests.records import first_problem
from vehicles.acts import vehicle as vehicle_acts
from workshop import log, triggers

pytestmark = pytest.mark.words


def handed_over() -> dict:
    made = cast_with_car()
    sheet = HandedOverFactory(person=made["lead"], vehicle=made["car"], keeper=made["keeper"])
    return {**made, "sheet": sheet}


world = made_once(handed_over)
lead, technician, shop_owner, car_owner, other_owner, car, keeper, sheet = each_of(
    "lead", "technician", "shop_owner", "car_owner", "other_owner", "car", "keeper", "sheet"
)


def correct_engine_number(car, lead):
    car.refresh_from_db()
    vehicle_acts.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=car.version, number=car.number, as_stamped=True,
        reason="papers", engine_number="HD22-7",
    )  # fmt: skip


def test_a_sheet_stands_until_something_is_written_for_its_job(sheet, car, lead):
    assert sheets.revision_due(sheet.job) == []
    # What happens to the car later, on its own or on another job, is no matter of this sheet.
    ItemFactory(person=lead, vehicle=car, severity="minor", reason="beyond")
    assert sheets.revision_due(sheet.job) == []
    correct_engine_number(car, lead)
    assert sheets.revision_due(sheet.job) == ["The car"]


@pytest.mark.pdf
def test_the_next_revision_says_what_it_changes_and_leaves_the_earlier_one_alone(sheet, car, lead):
    before = bytes(sheet.text.pdf)
    correct_engine_number(car, lead)
    second = sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note="Engine number put right.")
    assert (second.revision, second.kind) == (2, "handover")
    assert json.loads(second.technical)["sheet"]["changes"] == {
        "note": "Engine number put right.",
        "sections": ["The car"],
        "rows": [
            {"section": "The car", "what": "engine number", "before": "nothing", "after": "HD227"},
        ],
    }
    said = " ".join(PdfReader(io.BytesIO(bytes(second.text.pdf))).pages[0].extract_text().split())
    assert "What revision 2 changes" in said
    assert "The car: engine number nothing HD227" in said
    assert bytes(SheetText.objects.get(revision=sheet).pdf) == before
    assert sheets.revision_due(sheet.job) == []
    assert second.token != sheet.token


def test_a_revision_needs_a_note_a_sheet_and_a_lead(sheet, car, keeper, lead, technician):
    with pytest.raises(ValidationError) as refusal:
        sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note=" ")
    assert "change_note" in refusal.value.message_dict
    with pytest.raises(PermissionDenied):
        sheet_acts.revise_sheet(by=by(technician), job=sheet.job, change_note="x")
    from tests.factories.job import JobFactory

    with pytest.raises(ValidationError, match="No sheet was issued"):
        sheet_acts.revise_sheet(by=by(lead), job=JobFactory(person=lead, vehicle=car), change_note="x")
    key = uuid4()
    first = sheet_acts.revise_sheet(by=by(lead, key=key), job=sheet.job, change_note="x")
    assert sheet_acts.revise_sheet(by=by(lead, key=key), job=sheet.job, change_note="x") == first
    assert sheet.job.sheets.count() == 2


def test_the_database_numbers_revisions_once(sheet):
    with pytest.raises(IntegrityError), transaction.atomic():
        SheetRevision.objects.bulk_create(
            [
                SheetRevision(
                    **by(sheet.made_by).stamp(), job=sheet.job, kind="handover", revision=1, token="1" * 32, paper="A4",
                    technical="{}", technical_hash="0" * 64, personal_hash="0" * 64, pdf_hash="0" * 64, pages=1,
                    log_seq=0, log_hash="0" * 64,
                )
            ]
        )  # fmt: skip


# Signatures


def test_both_sign_against_the_hash_of_the_data(sheet, keeper, lead):
    mine = sheet_acts.sign(by=by(lead), revision=sheet, signer_part="lead", method="account")
    theirs = sheet_acts.sign(by=by(lead), revision=sheet, signer_part="collector", method="paper")
    assert (mine.person, mine.data_hash) == (lead, sheet.technical_hash)
    assert (theirs.keeper, theirs.data_hash) == (keeper, sheet.technical_hash)
    with pytest.raises(ValidationError, match="Lead technician: Signed in and confirmed"):
        sheet_acts.sign(by=by(lead), revision=sheet, signer_part="lead", method="paper")


def test_whoever_declines_to_sign_has_a_witness(sheet, lead, technician):
    arguments = {"revision": sheet, "signer_part": "collector", "method": "declined"}
    for witness, sentence in ((None, "name the witness"), (lead, "somebody else than you")):
        with pytest.raises(ValidationError) as refusal:
            sheet_acts.sign(by=by(lead), witness=witness, **arguments)
        assert sentence in str(refusal.value.message_dict["witness"])
    assert sheet_acts.sign(by=by(lead), witness=technician, **arguments).witness == technician


def test_a_superseded_revision_is_not_signed(sheet, lead):
    sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note="x")
    with pytest.raises(ValidationError, match="superseded by revision 2"):
        sheet_acts.sign(by=by(lead), revision=sheet, signer_part="lead", method="account")


@pytest.mark.every_database
def test_whoever_collected_the_car_signs_in_their_own_account(client, sheet, keeper, car_owner, other_owner):
    with pytest.raises(ValidationError, match="whoever collected the car"):
        sheet_acts.sign_own(by=by(other_owner), revision=sheet)
    type(keeper).objects.filter(pk=keeper.pk).update(account=car_owner)
    client.force_login(car_owner)
    assert "I have this sheet" in client.get(f"/sheets/{sheet.pk}/").content.decode()
    answer = client.post(f"/sheets/{sheet.pk}/confirm/", {"key": str(uuid4())})
    assert answer.status_code == 302
    assert SignOff.objects.get().method == "account"


def test_the_signature_form_comes_back_filled(client, sheet, lead):
    client.force_login(lead)
    answer = client.post(f"/sheets/{sheet.pk}/sign/collector/", {"key": str(uuid4()), "method": "declined"})
    assert answer.status_code == 422
    assert "name the witness" in answer.content.decode()
    assert client.get(f"/sheets/{sheet.pk}/sign/nobody/").status_code == 404


# Erasure


@pytest.mark.pdf
def test_erasing_takes_people_and_prices_and_keeps_number_and_hashes(sheet, keeper, lead, shop_owner, client):
    hashes = (sheet.technical_hash, sheet.personal_hash, sheet.pdf_hash)
    with pytest.raises(PermissionDenied):
        sheet_acts.erase_personal(by=by(lead), revision=sheet, reason="asked for")
    redacted = sheet_acts.erase_personal(by=by(shop_owner), revision=sheet, reason="at the keeper's wish")
    text = SheetText.objects.get(revision=sheet)
    assert (text.pdf, text.personal) == (None, "")
    sheet.refresh_from_db()
    assert (sheet.technical_hash, sheet.personal_hash, sheet.pdf_hash) == hashes
    assert redacted.revision == 2
    said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(bytes(redacted.text.pdf))).pages)
    assert keeper.name not in said
    assert "100.00" not in said
    assert "Personal page erased: at the keeper's wish" in " ".join(said.split())
    assert json.loads(redacted.technical)["body"] == json.loads(sheet.technical)["body"]
    client.force_login(lead)
    assert client.get(f"/sheets/{sheet.pk}/pdf/").status_code == 404
    assert client.get(f"/sheets/{sheet.pk}/").status_code == 200
    assert "erased since" in client.get(f"/confirm/{sheet.token}/").content.decode()
    with pytest.raises(ValidationError, match="erased already"):
        sheet_acts.erase_personal(by=by(shop_owner), revision=redacted, reason="again")
    with pytest.raises(ValidationError, match="bring it back"):
        sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note="x")
    call_command("verify_records")


# Rereading


@pytest.mark.parametrize(
    ("tamper", "sentence"),
    [
        (lambda row: SheetRevision.objects.update(technical="{}"), "technical text does not give its hash"),
        (lambda row: SheetText.objects.update(pdf=b"%PDF-other"), "PDF does not give its hash"),
        (lambda row: SheetText.objects.update(personal="{}"), "personal page does not give its hash"),
        (
            lambda row: SheetRevision.objects.update(revision=3, change_note="x"),
            "a revision before it is missing",
        ),
        (lambda row: Job.objects.update(state="in_work"), "there is a handover or a sheet"),
        (lambda row: Job.objects.update(serial=7), "is missing"),
    ],
)
def test_what_was_tampered_with_is_named(sheet, tamper, sentence, capsys):
    assert first_problem() is None
    with triggers.lifted():
        tamper(sheet)
    assert sentence in first_problem()
    with pytest.raises(SystemExit) as left:
        call_command("verify_records")
    assert left.value.code == 1
    assert sentence in capsys.readouterr().err


def test_a_log_whose_tail_was_cut_shows_against_the_sheets(sheet, lead):
    sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note="x")
    assert log.first_broken_link() is None
    from workshop.models import Event, EventDetail, LogHead

    with triggers.lifted():
        kept = Event.objects.get(seq=5)
        EventDetail.objects.filter(event__seq__gt=5).delete()
        Event.objects.filter(seq__gt=5).delete()
        LogHead.objects.update(seq=5, hash=kept.hash)
    assert f"sheet {sheet.job.number} revision 1 names event" in log.first_broken_link()
