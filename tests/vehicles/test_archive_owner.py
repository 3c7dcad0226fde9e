"""The file that a car's owner takes: the car's history whole; of a former keeper no word, no person and no money."""

from __future__ import annotations

import io
import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from tests.factories.archive import archive_of, files_of, rows_of
from tests.factories.handover import HandedOverFactory, owner_of
from tests.factories.photo import PhotoFactory
from tests.once import once
from tests.people import PASSWORD, by
from vehicles.acts import fault as fault_acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.acts import past_work as past_work_acts
from vehicles.archive import making
from vehicles.archive.checking import check, digest_of
from vehicles.archive.reading import open_archive
from vehicles.archive.redacting import Reader
from vehicles.models import Keeper
from workshop.models import Event, Person

NAME = "Zephyrine Kanarell"
PHONE, EMAIL, ADDRESS = "0177 4455 8899", "zephyrine@kanarell.example", "Kanarell Court 9\n4711 Upper Tarn"
SAID = "My late husband always said it would."
CANARIES = ("zephyrine", "kanarell", "4455 8899", "01774455", "upper tarn", "late husband")
PRICE = "313.37"


@once
def former(car, lead, front_desk) -> Keeper:
    """Had the car before, with an account; a visit, its sheet, what they said, what they paid, a photo of it all."""
    person = owner_of(car, lead, name=NAME, phone=PHONE, email=EMAIL, address=ADDRESS)
    keeper_acts.open_account(by=by(front_desk), keeper=person, sign_in_name="zephyrine", password=PASSWORD)
    person.refresh_from_db()
    fault_acts.report_fault(
        by=by(lead), vehicle=car, title="Clunk", kind="complaint", severity="minor", words=SAID, reported_by=person,
    )  # fmt: skip
    item = outstanding_acts.raise_item(
        by=by(lead), vehicle=car, title="Hose weeps", severity="minor", reason="parts",
        detail=f"{NAME.upper()} was shown it; call {PHONE}.",
    )  # fmt: skip
    outstanding_acts.tell(
        by=by(lead), item=item, told_to=person, channel="phone", told=f"Told {NAME} of it.", answer="deferred",
        answer_words=SAID,
    )  # fmt: skip
    HandedOverFactory(
        person=lead, vehicle=car, keeper=person, identified_by=f"known by sight, {NAME}", told=SAID
    )
    past_work_acts.add_past_work(
        by=by(lead), vehicle=car, done_on=timezone.localdate() - timedelta(days=900), title="Clutch",
        source=f"list of {NAME}", amount=Decimal(PRICE),
    )  # fmt: skip
    PhotoFactory(person=lead, vehicle=car, caption=f"Where {NAME} scraped it")
    return person


@once
def owner(former, car, lead, front_desk) -> Keeper:
    """Has the car now, with an account."""
    keeper_acts.end_part_for(
        by=by(front_desk),
        vehicle_keeper=former.vehicles.get(vehicle=car),
        until_on=timezone.localdate(),
        reason="sold",
    )
    person = owner_of(car, lead, name="Orla Penn", address="3 Weir Lane", phone="0000 7777")
    keeper_acts.open_account(by=by(front_desk), keeper=person, sign_in_name="orla", password=PASSWORD)
    person.refresh_from_db()
    return person


@pytest.fixture
def later(owner, car) -> dict[str, bytes]:
    """As the owner gets it once the car has been theirs since after all that."""
    return files_of(archive_of(car, Reader(car, owner, timezone.localdate() + timedelta(days=1))))


def holding(files: dict[str, bytes], *words: str) -> list[tuple[str, str]]:
    return [
        (name, word) for name, data in files.items() for word in words
        if word.casefold() in data.decode("utf-8", "replace").casefold()
    ]  # fmt: skip


def test_the_whole_file_has_the_former_keeper_so_the_search_below_finds_what_is_there(owner, car):
    found = {word for _, word in holding(files_of(archive_of(car)), *CANARIES, PRICE)}
    assert found >= set(CANARIES) - {"01774455"} | {PRICE}


def test_nothing_of_the_former_keeper_is_left(later, former):
    assert holding(later, *CANARIES, PRICE) == []
    assert holding(later, str(former.pk), str(former.account_id)) == []
    assert not [name for name in later if name.startswith("prints/")]


def test_the_technical_history_is_whole(later, car):
    assert {row["title"] for row in rows_of(later, "vehicles.fault")} >= {"Clunk"}
    assert rows_of(later, "vehicles.outstandingitem")[0]["title"] == "Hose weeps"
    assert rows_of(later, "vehicles.outstandingitem")[0]["detail"] == "(…) was shown it; call (…)."
    assert len(rows_of(later, "jobs.job")) == 1
    assert rows_of(later, "vehicles.pastwork")[0]["title"] == "Clutch"
    assert rows_of(later, "jobs.workline")[0]["correction"]
    assert len(rows_of(later, "vehicles.attachment")) == 1, "a picture of the car goes with it"
    (telling,) = rows_of(later, "vehicles.telling")
    assert (telling["answer"], telling["told"], telling["answer_words"]) == ("deferred", "(…)", "(…)")


def test_the_former_keeper_is_somebody_who_is_nobody(later, owner):
    names = {row["name"]: row for row in rows_of(later, "vehicles.keeper")}
    assert set(names) == {"Erased person", "Orla Penn"}
    assert names["Erased person"]["erased_at"]
    assert names["Orla Penn"]["id"] == str(owner.pk)
    assert {row["keeper"] for row in rows_of(later, "vehicles.vehiclekeeper")} == {
        row["id"] for row in names.values()
    }


def test_no_money_of_their_time_is_in_it(later):
    for label, names in {
        "jobs.workline": ("estimate", "cost"), "jobs.partused": ("price",), "vehicles.pastwork": ("amount",),
    }.items():  # fmt: skip
        assert {row[name] for row in rows_of(later, label) for name in names} <= {None}, label
    assert {row["amount"] for row in rows_of(later, "jobs.lineanswer")} == {"0.00"}
    assert {row["limit"] for row in rows_of(later, "jobs.job")} == {"0.00"}


def test_events_of_their_time_have_their_place_and_say_nothing(later, car):
    events = json.loads(later["events.json"])
    assert {row["body"] for row in events} == {None}
    assert len(events) == Event.objects.filter(vehicle_ref=str(car.pk)).count()


def test_it_passes_the_check_and_is_the_same_each_time(owner, car):
    since = timezone.localdate() + timedelta(days=1)
    first = archive_of(car, Reader(car, owner, since))
    assert archive_of(car, Reader(car, owner, since)) == first
    checked = check(open_archive(io.BytesIO(first)))
    assert checked.of_owner
    assert checked.withheld == checked.events > 10


def test_what_is_of_their_own_time_is_in_it(owner, former, car):
    """The car is theirs from this day on, on which the visit was: its sheet is theirs, the former keeper's words not."""
    files = files_of(archive_of(car, Reader(car, former, timezone.localdate() - timedelta(days=1))))
    assert len(rows_of(files, "jobs.sheettext")) == 1
    assert [name for name in files if name.startswith("prints/")]
    assert holding(files, "orla", "weir lane", "0000 7777") == []
    assert rows_of(files, "vehicles.telling")[0]["answer_words"] == SAID
    assert rows_of(files, "vehicles.pastwork")[0]["amount"] is None, (
        "work of before their time is not theirs to price"
    )
    assert (
        check(open_archive(io.BytesIO(archive_of(car, Reader(car, former, timezone.localdate()))))).papers
        == 1
    )


def test_the_owner_takes_it_on_their_own_page(client, owner, former, car):
    client.force_login(Person.objects.get(sign_in_name="orla"))
    url = reverse("vehicles:own-archive", args=[car.pk])
    page = client.get(url).content.decode()
    assert "since when the car is yours" in page
    answer = client.post(url)
    data = b"".join(answer.streaming_content)
    assert answer.headers["Content-Type"] == "application/zip"
    assert check(open_archive(io.BytesIO(data))).of_owner
    event = Event.objects.order_by("-seq").first()
    assert event.act == "vehicles.archive.take_own_along"
    assert json.loads(event.body)["facts"]["sha256"] == answer.headers["X-Archive-SHA256"]


def test_nobody_takes_another_ones_car(client, owner, former, car):
    client.force_login(Person.objects.get(sign_in_name="zephyrine"))
    for answer in (client.get, client.post):
        assert answer(reverse("vehicles:own-archive", args=[car.pk])).status_code in (403, 404)
        assert answer(reverse("vehicles:archive", args=[car.pk])).status_code == 403


def test_the_desk_hands_the_whole_one_out_and_the_log_has_its_hash(client, owner, front_desk, car):
    client.force_login(front_desk)
    url = reverse("vehicles:archive", args=[car.pk])
    assert "Names, addresses" in client.get(url).content.decode()
    answer = client.post(url)
    data = b"".join(answer.streaming_content)
    assert not check(open_archive(io.BytesIO(data))).of_owner
    facts = json.loads(Event.objects.order_by("-seq").first().body)["facts"]
    assert facts["flavour"] == "workshop"
    assert facts["size"] == len(data)
    assert facts["sha256"] == digest_of(io.BytesIO(data))


def test_a_full_disk_is_said(client, owner, front_desk, car, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(making, "make", full)
    client.force_login(front_desk)
    answer = client.post(reverse("vehicles:archive", args=[car.pk]))
    assert answer.status_code == 507
    assert "disk is full" in answer.content.decode()
