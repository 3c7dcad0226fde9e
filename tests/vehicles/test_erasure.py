"""A person is erased: nothing of their name is left in the database, and everything technical is as it was."""

from __future__ import annotations

import io
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from jobs.models import Handover, Job, LineAnswer, SheetRevision, SheetText
from tests.factories.handover import HandedOverFactory, owner_of
from tests.once import once
from tests.people import PASSWORD, by
from vehicles import erasure
from vehicles.acts import erasure as acts
from vehicles.acts import fault as fault_acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.models import DiagnosisStep, Fault, Telling, VehicleKeeper
from workshop import log
from workshop.models import Erasing, EventDetail, Person

pytestmark = pytest.mark.words

NAME = "Zephyrine Kanarell"
PHONE, EMAIL = "0177 4455 8899", "zephyrine@kanarell.example"
ADDRESS = "Kanarell Court 9\n4711 Upper Tarn"
SAID = "My late husband always said it would."
CANARIES = ("zephyrine", "kanarell", "4455 8899", "01774455", "upper tarn", "late husband")
REASON = "Asked for it by letter."


def dump() -> dict[str, str]:
    """Every row of every table as text; bytes too. Not the sessions: they hold keys alone, encoded."""
    found = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            for number, row in enumerate(cursor.fetchall()):
                found[f"{table} {number}"] = " ".join(
                    bytes(cell).decode("latin-1") if isinstance(cell, (bytes, memoryview)) else str(cell)
                    for cell in row
                )
    return found


def left(*canaries: str) -> dict[str, list[str]]:
    return {
        place: found
        for place, text in dump().items()
        if (found := [each for each in canaries if each in text.casefold()])
    }


@once
def keeper(car, lead, front_desk):
    """Owner of the car, with an account; complaint, answer, telling and a handed-over job with its sheet."""
    person = owner_of(car, lead, name=NAME, phone=PHONE, email=EMAIL, address=ADDRESS)
    keeper_acts.open_account(by=by(front_desk), keeper=person, sign_in_name="zephyrine", password=PASSWORD)
    person.refresh_from_db()
    fault = fault_acts.report_fault(
        by=by(lead),
        vehicle=car,
        title="Clunk",
        kind="complaint",
        severity="minor",
        words=SAID,
        reported_by=person,
    )
    item = outstanding_acts.raise_item(
        by=by(lead), vehicle=car, title="Hose weeps", severity="minor", reason="parts",
        detail="At the crimp.",
    )  # fmt: skip
    outstanding_acts.tell(
        by=by(lead), item=item, told_to=person, channel="phone", told=f"Told {NAME} that the hose weeps.",
        answer="deferred", answer_words=SAID,
    )  # fmt: skip
    assert fault.words == SAID
    return person


@once
def sheet(car, lead, keeper):
    row = HandedOverFactory(
        person=lead, vehicle=car, keeper=keeper, identified_by=f"known by sight, {NAME}", told=SAID
    )
    # What technicians typed of them in the car's own records, some of which are never altered otherwise.
    fault_acts.add_step(
        by=by(lead),
        fault=Fault.objects.get(title="Clunk"),
        tried=f"Driven with {NAME.upper()}",
        seen="Clunk at the rear.",
    )
    outstanding_acts.raise_item(
        by=by(lead), vehicle=car, title="Wiper streaks", severity="minor", reason="deferred",
        detail=f"{NAME} was shown it; call {PHONE}.",
    )  # fmt: skip
    return row


@pytest.mark.pdf
def test_nothing_of_the_name_is_left_and_everything_else_verifies(car, keeper, sheet, lead, shop_owner):
    technical_before = sheet.technical
    assert not any("frozen under a hash" in line for line in erasure.preview(keeper).stays)
    assert left(*CANARIES), "the canaries were put in"
    assert erasure.preview(keeper).alone, "parts of the name that stand alone are offered"
    acts.erase_person(by=by(shop_owner), keeper=keeper, reason=REASON, also=["Zephyrine", "Kanarell"])
    assert left(*CANARIES) == {}
    assert log.first_broken_link() is None
    call_command("verify_records", stdout=io.StringIO())
    assert not Erasing.objects.exists()

    # The technical part still prints, in the old revision's hash and in a new PDF without the page.
    sheet.refresh_from_db()
    assert sheet.technical == technical_before
    text = sheet.text
    assert (text.pdf, text.personal) == (None, "")
    latest = SheetRevision.objects.order_by("-revision").first()
    assert latest.revision == sheet.revision + 1
    printed = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(bytes(latest.text.pdf))).pages)
    assert "Front pads renewed" in printed
    assert not any(canary in printed.casefold() for canary in CANARIES)

    # What the shop did stands: that there was an answer and a telling, when, by which channel.
    assert LineAnswer.objects.get().answer == "yes"
    telling = Telling.objects.get()
    assert (telling.told_to.name, telling.channel, telling.told) == ("Erased person", "phone", "(…)")
    assert Handover.objects.get().collected_by.name == "Erased person"
    assert Fault.objects.get(title="Clunk").words == "(…)"
    step = DiagnosisStep.objects.get()
    assert (step.tried, step.seen) == ("Driven with (…)", "Clunk at the rear.")
    assert not VehicleKeeper.objects.filter(keeper=keeper, until_on=None).exists()


def test_the_account_is_shut(client, keeper, sheet, shop_owner):
    client.force_login(keeper.account)
    assert client.get(reverse("vehicles:my-cars")).status_code == 200
    acts.erase_person(by=by(shop_owner), keeper=keeper, reason=REASON, also=["Zephyrine"])
    assert client.get(reverse("vehicles:my-cars")).status_code == 302, "its session ended"
    answer = client.post(reverse("workshop:login"), {"username": "zephyrine", "password": PASSWORD})
    assert answer.status_code == 422
    account = Person.objects.get(pk=keeper.account_id)
    assert (account.name, account.email, account.is_active) == ("Erased person", "", False)


def test_another_person_s_words_stay(car, keeper, sheet, lead, shop_owner):
    other = owner_of(car, lead, name="Orla Penn", phone="0177 0000 1111")
    acts.erase_person(by=by(shop_owner), keeper=keeper, reason=REASON)
    other.refresh_from_db()
    assert (other.name, other.phone) == ("Orla Penn", "0177 0000 1111")
    assert "Orla Penn" in "".join(EventDetail.objects.values_list("words", flat=True))


def test_sent_twice_it_is_one_erasure(keeper, sheet, shop_owner):
    key = uuid4()
    first = acts.erase_person(by=by(shop_owner, key=key), keeper=keeper, reason=REASON)
    assert acts.erase_person(by=by(shop_owner, key=key), keeper=keeper, reason=REASON) == first
    assert SheetRevision.objects.count() == 2
    first.refresh_from_db()
    with pytest.raises(ValidationError, match="erased already"):
        acts.erase_person(by=by(shop_owner), keeper=first, reason=REASON)


def test_cut_off_between_the_sheets_and_the_rest_it_goes_on(keeper, sheet, shop_owner, monkeypatch):
    """The power fails after the first sheet: the second try finds it done and does the rest."""

    def dies(*args, **kwargs):
        raise ConnectionError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr(erasure, "within", dies)
        with pytest.raises(ConnectionError):
            acts.erase_person(by=by(shop_owner), keeper=keeper, reason=REASON)
    keeper.refresh_from_db()
    assert keeper.name == NAME, "together or not at all"
    assert not Erasing.objects.exists()
    acts.erase_person(by=by(shop_owner), keeper=keeper, reason=REASON, also=["Zephyrine", "Kanarell"])
    assert SheetText.objects.filter(erased_at=None).count() == 1
    assert left(*CANARIES) == {}


# ----------------------------------------------------------------------------------- what the database lets through


def test_the_guards_let_nothing_else_through(keeper, sheet):
    """Not without the words on the list, not to another text, not another column beside."""
    telling = Telling.objects.get()
    rows = Telling.objects.filter(pk=telling.pk)

    def refused(**changes):
        with pytest.raises(DatabaseError), transaction.atomic():
            rows.update(**changes)

    gone = telling.told.replace(NAME, "(…)")
    refused(told=gone)
    with transaction.atomic():
        Erasing.objects.create(needle=NAME, instead="(…)")
        refused(told="Never told.")
        refused(told=gone, channel="letter")
        refused(told=gone, made_at=timezone.now() - timedelta(days=3))
        rows.update(told=gone)
        with pytest.raises(DatabaseError), transaction.atomic():
            rows.delete()
        # What a hash is taken of is not altered even then.
        with pytest.raises(DatabaseError), transaction.atomic():
            SheetRevision.objects.filter(pk=sheet.pk).update(technical=sheet.technical.replace(NAME, "(…)"))
        with pytest.raises(DatabaseError), transaction.atomic():
            SheetRevision.objects.filter(pk=sheet.pk).update(change_note="(…)")
        Erasing.objects.all().delete()
        refused(told="(…)")


def test_the_preview_asks_a_fixed_number_of_questions(
    client, car, keeper, sheet, shop_owner, lead, django_assert_max_num_queries
):
    client.force_login(shop_owner)
    url = reverse("vehicles:keeper-erase", args=[keeper.pk])
    with django_assert_max_num_queries(45):
        client.get(url)
    for number in range(30):
        fault_acts.report_fault(
            by=by(lead), vehicle=car, title=f"Rattle {number}", kind="complaint", severity="minor", words=SAID,
            reported_by=keeper,
        )  # fmt: skip
    with django_assert_max_num_queries(45):
        client.get(url)


def test_the_page_says_what_goes_and_what_stays_and_erases(client, keeper, sheet, shop_owner, lead):
    client.force_login(shop_owner)
    url = reverse("vehicles:keeper-erase", args=[keeper.pk])
    page = client.get(url)
    for sentence in (
        "What goes", "What stays, and why", "The account “zephyrine”", "personal page of 1 revision",
        "Complaints in their own words: 1", "Backups hold the person", "“Kanarell”, in",
    ):  # fmt: skip
        assert sentence in page.text, sentence
    data = {"key": str(page.context["form"]["key"].value()), "reason": REASON, "also": ["Kanarell"]}
    assert client.post(url, data).status_code == 422, "without the tick nothing is erased"
    answer = client.post(url, {**data, "sure": "on"})
    assert answer.status_code == 302
    assert "Erased person" in client.get(answer.url).text
    assert client.get(url).status_code == 302
    client.force_login(lead)
    assert client.get(url).status_code == 403
    assert Job.objects.count() == 1
