"""A car's history: everything in one stream, page by page without loss or repetition, filtered, dated, printed."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import pytest
from django.urls import reverse

from tests.factories.fault import FaultFactory
from tests.factories.handover import HandedOverFactory, owner_of
from tests.factories.outstanding import ItemFactory
from tests.factories.part import PartFactory
from tests.factories.vehicle import ReadingFactory, VehicleFactory
from tests.hand import Hand
from tests.people import by
from vehicles import timeline
from vehicles.acts import fault as fault_acts
from vehicles.acts import outstanding as item_acts
from vehicles.acts import vehicle as acts
from vehicles.timeline import Cursor, Entry, Source
from workshop.engineering.units import Amount


def stream(car, most=timeline.PER_PAGE, **asked):
    """All entries, walked page by page as a person would; checks that no page is longer than asked."""
    entries, before = [], None
    while True:
        page = timeline.page(car, before=before, most=most, **asked)
        rows = [entry for group in page.groups for entry in group.entries]
        assert len(rows) <= most
        assert page.count == len(rows)
        entries += rows
        if page.older is None:
            return entries
        before = Cursor.read(str(page.older))


def test_everything_that_happened_stands_in_it(lead, car, client):
    client.get("/")  # the URLs are loaded, and with them what the rooms hang in
    fault = FaultFactory(person=lead, vehicle=car, title="Flat battery", words="I leave it on Sunday.")
    fault_acts.add_step(
        by=by(lead),
        fault=fault,
        tried="Current at rest",
        seen="too high",
        reading=Amount(Decimal("0.35"), "A"),
    )
    could = fault_acts.add_possibility(by=by(lead), fault=fault, what="alternator diode")
    fault_acts.rule_out(by=by(lead), possibility=could, because="no ripple")
    fault_acts.name_cause(by=by(lead), faults=[fault], description="relay stays on")
    fault.refresh_from_db()
    fault_acts.end_normal(by=by(lead), fault=fault, seen_version=fault.version, normal_source="bulletin")
    item = ItemFactory(person=lead, vehicle=car, title="Hose weeps")
    item_acts.end_by_finding(by=by(lead), item=item, seen_version=1, ended_finding="was condensation")
    PartFactory(person=lead, vehicle=car)
    ReadingFactory.create(lead, vehicle=car, km=1200)
    acts.add_registration(by=by(lead), vehicle=car, plate="QL 1", from_on=date(2019, 3, 1))
    HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))
    told = {entry.title for entry in stream(car)}
    for title in (
        f"{fault} reported", "Tried: Current at rest", "It could be: alternator diode",
        "alternator diode: ruled out", "Cause: relay stays on", f"{fault}: normal for this car",
        f"{item} left outstanding", f"{item}: settled by a later finding", "Odometer", "Registered as QL 1",
        "Checked in", "Squeals when braking", "Road test", "Final check", "Handed over",
        "Handover sheet, revision 1", "The car was taken on record", "Corin Ashby: owner",
    ):  # fmt: skip
        assert title in told, (title, sorted(told))
    [step] = [entry for entry in stream(car) if entry.title.startswith("Tried")]
    assert step.figure == "0.35 A"


def test_pages_lose_and_repeat_nothing_where_moments_are_alike(lead, car, monkeypatch):
    """Forty things in one minute, from sources that tie with each other: the order is whole all the same."""
    moment = datetime(2025, 5, 5, 9, 0, tzinfo=UTC)
    rows = {
        name: [
            Entry(moment - timedelta(minutes=number // 9), uuid4(), f"{name}{number}") for number in range(40)
        ]
        for name in "abc"
    }
    monkeypatch.setattr(timeline, "_sources", {})
    for name, told in rows.items():
        timeline.add_source(Source(name, name, name, lambda vehicle, window, told=told: told))
    entries = stream(car, most=7)
    assert len(entries) == 120
    assert len({entry.title for entry in entries}) == 120
    keys = [entry.key for entry in entries]
    assert keys == sorted(keys, reverse=True)


def test_a_window_of_the_database_is_the_same_as_one_of_a_list(lead, car):
    """Rows that share their moment: the query leaves out just what the cursor has passed."""
    moment = datetime(2025, 5, 5, 9, 0, tzinfo=UTC)
    for number in range(12):
        FaultFactory(
            person=lead, vehicle=car, title=f"No. {number}", made_at=moment + timedelta(hours=number // 6)
        )
    seen = [entry.title for entry in stream(car, most=5, only=["fault"])]
    assert len(seen) == len(set(seen)) == 12


def test_what_is_written_meanwhile_moves_nothing(lead, car):
    for number in range(8):
        FaultFactory(person=lead, vehicle=car, title=f"No. {number}")
    first = timeline.page(car, most=4, only=["fault"])
    FaultFactory(person=lead, vehicle=car, title="in between")
    second = timeline.page(car, most=4, only=["fault"], before=first.older)
    names = [entry.title[3:] for page in (first, second) for group in page.groups for entry in group.entries]
    assert names == [f"No. {number} reported" for number in range(7, -1, -1)]


@pytest.mark.parametrize("text", ["", "x", "1~2~3", "~~~", "99999999999999999999~a~" + "0" * 32, "1~a~zz"])
def test_what_is_no_cursor_begins_at_the_head(client, lead, car, text):
    client.force_login(lead)
    FaultFactory(person=lead, vehicle=car, title="Here")
    answer = client.get(reverse("vehicles:history", args=[car.pk]), {"before": text})
    assert answer.status_code == 200
    assert "Here" in answer.text


def test_it_is_filtered_by_kind_years_and_folded_words(client, lead, car):
    client.force_login(lead)
    old = datetime(2019, 6, 1, 8, 0, tzinfo=UTC)
    FaultFactory(person=lead, vehicle=car, title="Kühlmittel leckt", made_at=old)
    FaultFactory(person=lead, vehicle=car, title="Horn silent")
    ItemFactory(person=lead, vehicle=car, title="Horn to come")
    address = reverse("vehicles:history", args=[car.pk])

    def seen(**query):
        answer = client.get(address, query)
        return {name for name in ("Kühlmittel leckt", "Horn silent", "Horn to come") if name in answer.text}

    assert seen() == {"Kühlmittel leckt", "Horn silent", "Horn to come"}
    assert seen(q="kuhlMITTEL") == {"Kühlmittel leckt"}
    assert seen(q="horn", kind="fault") == {"Horn silent"}
    assert seen(kind=["outstanding"]) == {"Horn to come"}
    assert seen(since="2019", until="2019") == {"Kühlmittel leckt"}
    assert seen(since="2020") == {"Horn silent", "Horn to come"}
    assert (
        "answers to the words “nothing of the kind”" in client.get(address, {"q": "nothing of the kind"}).text
    )


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"since": "now"}, "Give a year, such as 2019, or a day"),
        ({"since": "2020", "until": "2019"}, "Give 2020 or later"),
        ({"since": "1700"}, "Give a year from 1885 to 2100"),
        ({"q": "x" * 300}, "Give at most 200 characters"),
        ({"kind": "nonsense"}, "nonsense"),
    ],
)
def test_a_wrong_filter_is_said_and_what_was_typed_stays(client, lead, car, query, said):
    client.force_login(lead)
    answer = client.get(reverse("vehicles:history", args=[car.pk]), query)
    assert answer.status_code == 200
    assert said in answer.text
    for name, value in query.items():
        if name != "kind":
            assert value in answer.text


def test_the_filter_goes_along_to_older_pages_and_to_the_report(client, lead, car):
    client.force_login(lead)
    for number in range(timeline.PER_PAGE + 3):
        FaultFactory(person=lead, vehicle=car, title=f"Horn {number}")
    page = client.get(reverse("vehicles:history", args=[car.pk]), {"kind": "fault", "since": "2020"})
    [older] = re.findall(r'rel="next" href="([^"]+)"', page.text)
    assert "kind=fault" in older
    assert "since=2020" in older
    second = client.get(reverse("vehicles:history", args=[car.pk]) + older.replace("&amp;", "&"))
    assert second.context["page"].count == 3
    assert second.context["page"].older is None
    report = client.get(reverse("vehicles:history-report", args=[car.pk]), {"kind": "fault"})
    assert report.context["page"].count == timeline.PER_PAGE + 3
    assert "only faults" in report.text


def test_a_day_with_many_things_is_folded_by_kind_and_printed_unfolded(client, lead, car):
    client.force_login(lead)
    for number in range(20):
        ReadingFactory.create(lead, vehicle=car, km=1000 + number)
    FaultFactory(person=lead, vehicle=car, title="One fault")
    page = client.get(reverse("vehicles:history", args=[car.pk]))
    assert "<summary>Odometer" in page.text
    assert "<summary>Faults" not in page.text
    assert "<summary>Odometer" not in client.get(reverse("vehicles:history-report", args=[car.pk])).text


def test_it_asks_as_often_for_a_short_history_as_for_a_long_one(
    client, lead, front_desk, car, django_assert_max_num_queries
):
    client.force_login(lead)
    keeper = owner_of(car, front_desk)

    def more(times):
        for _ in range(times):
            fault = FaultFactory(person=lead, vehicle=car)
            fault_acts.add_step(by=by(lead), fault=fault, tried="a", seen="b")
            fault_acts.add_possibility(by=by(lead), fault=fault, what="c")
            fault_acts.name_cause(by=by(lead), faults=[fault], description="d")
            item = ItemFactory(person=lead, vehicle=car)
            item_acts.tell(
                by=by(lead), item=item, told_to=keeper, channel="phone", told="it", answer="acknowledged"
            )

    def count(name, **query):
        with django_assert_max_num_queries(90) as captured:
            assert client.get(reverse(name, args=[car.pk]), query).status_code == 200
        return len(captured)

    HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    more(2)
    asked = [("vehicles:history", {}), ("vehicles:history", {"q": "it"}), ("vehicles:history-report", {}),
             ("jobs:vehicle-sheets", {})]  # fmt: skip
    few = [count(name, **query) for name, query in asked]
    more(25)
    assert [count(name, **query) for name, query in asked] == few


def test_another_cars_history_is_another(client, lead, car):
    client.force_login(lead)
    other = VehicleFactory.create(lead)
    FaultFactory(person=lead, vehicle=other, title="Of the other car")
    assert "Of the other car" not in client.get(reverse("vehicles:history", args=[car.pk])).text


@pytest.mark.parametrize("name", ["vehicles:history", "vehicles:history-report", "jobs:vehicle-sheets"])
def test_it_is_for_staff(client, car, car_owner, technician, name):
    client.force_login(car_owner)
    assert client.get(reverse(name, args=[car.pk])).status_code == 403
    client.force_login(technician)
    assert client.get(reverse(name, args=[car.pk])).status_code == 200
    assert client.get(reverse(name, args=[uuid4()])).status_code == 404


@pytest.mark.pdf
def test_the_report_is_a_pdf_that_says_what_of_the_history_it_holds(client, lead, car):
    from pypdf import PdfReader

    client.force_login(lead)
    FaultFactory(person=lead, vehicle=car, title="Horn silent", severity="major")
    ReadingFactory.create(lead, vehicle=car, km=1200)
    answer = client.get(reverse("vehicles:history-pdf", args=[car.pk]), {"kind": "fault"})
    assert answer.headers["Content-Type"] == "application/pdf"
    text = " ".join(
        " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages).split()
    )
    assert "Horn silent" in text
    assert "only faults" in text
    assert "1200" in text  # the head says the odometer
    assert "Odometer: 1200" not in text


def test_a_history_too_long_for_one_pdf_is_asked_for_in_parts(client, lead, car, monkeypatch):
    client.force_login(lead)
    monkeypatch.setattr("vehicles.views.timeline.MOST_PRINTED", 0)
    answer = client.get(reverse("vehicles:history-pdf", args=[car.pk]), {"since": "2020"}, follow=True)
    assert answer.redirect_chain[0][0].endswith("/history/report/?since=2020")
    assert "a PDF holds 0 at most" in answer.text


def test_every_sheet_is_listed_and_prints_again_as_it_was(lead, car):
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))
    job = sheet.job
    hand = Hand(lead)
    page = hand.see("jobs:vehicle-sheets", car)
    assert job.number in page
    assert sheet.technical_hash[:8] in page
    address = reverse("jobs:sheet-pdf", args=[sheet.pk])
    assert address in page
    assert hand.client.get(address).content == bytes(sheet.text.pdf)
    assert address in hand.see("vehicles:history", car)
