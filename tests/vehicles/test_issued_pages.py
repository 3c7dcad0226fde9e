"""Numbered prints through their pages: issued by one tap, listed, handed out to whom they are for, confirmed, erased."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests.factories.handover import HandedOverFactory, owner_of
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.part import PartFactory, SurveyFactory
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from vehicles import issuing, long_prints
from vehicles.acts import issued as acts
from vehicles.acts import keeper as keeper_acts
from vehicles.erasure import preview
from vehicles.models import IssuedPrint, Keeper, VehicleKeeper
from workshop.canonical import sha256
from workshop.engineering.units import Amount
from workshop.sheets import in_groups

KM = Amount(Decimal(148_210), "km")


@once
def keeper(car, lead, car_owner):
    """Corin Ashby, the car's owner, with an account."""
    found = owner_of(car, lead)
    Keeper.objects.filter(pk=found.pk).update(account=car_owner)
    found.account = car_owner
    return found


def in_common(car, lead) -> Keeper:
    """Another owner beside the first."""
    found = KeeperFactory.create(person=lead, name="Sanna Wexford")
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=found, part="owner", end_current=False)
    return found


@pytest.fixture
def hand(lead):
    client = Client()
    client.force_login(lead)
    return client


def said(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def issue(client, car, kind="build", **more):
    return client.post(
        reverse("vehicles:issue-print", args=[car.pk]), {"key": uuid4(), "kind": kind, **more}, follow=True
    )


def test_one_tap_issues_and_the_same_records_are_the_same_bytes(hand, lead, car):
    page = said(issue(hand, car))
    row = IssuedPrint.objects.get()
    assert f"Build sheet {row.number}, revision 1: issued." in page
    first = hand.get(row.get_absolute_url())
    assert first.headers["Content-Type"] == "application/pdf"
    assert sha256(first.content) == row.pdf_hash
    page = said(issue(hand, car))
    assert "it stands, byte for byte. Nothing new was issued." in page
    assert IssuedPrint.objects.count() == 1
    PartFactory(person=lead, vehicle=car, place="tow-bar")
    page = said(issue(hand, car))
    second = IssuedPrint.objects.get(revision=2)
    assert second.number == row.number
    assert second.changes == "1 part that is not the factory's, 1 open question added"
    assert "Superseded by revision 2" in page
    assert hand.get(row.get_absolute_url()).content == first.content


def test_the_same_tap_twice_is_one_print(hand, car):
    key = uuid4()
    for _ in range(2):
        issue(hand, car, key=key)
    assert IssuedPrint.objects.count() == 1


def test_what_becomes_older_by_itself_makes_no_revision(lead, car, monkeypatch):
    """A report says nothing that another day changes."""
    PartFactory(person=lead, vehicle=car, place="tow-bar")
    first = {kind: acts.issue(by=by(lead), kind=kind, vehicle=car) for kind in ("build", "history")}
    later = timezone.now() + timedelta(days=400)
    monkeypatch.setattr(timezone, "now", lambda: later)
    for kind, row in first.items():
        assert acts.issue(by=by(lead, made_at=later), kind=kind, vehicle=car).pk == row.pk, kind


def test_a_survey_and_a_run_have_numbers_of_their_own(hand, lead, car):
    survey = SurveyFactory(person=lead, vehicle=car)
    run = RunFactory(person=lead, vehicle=car)
    click(lead, run, 1, 1, 60, ToolFactory(person=lead))
    issue(hand, car, "survey", survey=survey.pk)
    issue(hand, car, "torque", run=run.pk)
    numbers = {row.kind: row.number for row in IssuedPrint.objects.all()}
    assert {number[0] for number in numbers.values()} == {"S", "T"}
    assert numbers["torque"].endswith("-001")
    page = said(hand.get(reverse("vehicles:papers", args=[car.pk])))
    assert f"Torque record {numbers['torque']}, revision 1" in page
    assert str(run) in page
    # Without what it is of, it is refused in words.
    answer = issue(hand, car, "survey")
    assert answer.status_code == 422
    assert "Say which survey or run" in said(answer)


@pytest.mark.parametrize("given", [{"kind": "nonsense"}, {"kind": ""}, {"kind": "torque", "run": uuid4()},
                                   {"kind": "survey", "survey": "x"}])  # fmt: skip
def test_nonsense_is_refused_in_words(hand, car, given):
    answer = issue(hand, car, **given)
    assert answer.status_code == 422
    assert not IssuedPrint.objects.exists()


def test_without_an_address_the_page_says_what_to_do(hand, car, settings):
    settings.SITE_URL = ""
    for answer in (hand.get(reverse("vehicles:papers", args=[car.pk])), issue(hand, car)):
        assert "SITE_URL" in said(answer)
        assert "Until then a draft can be printed." in said(answer)
    assert not IssuedPrint.objects.exists()
    assert "Draft – not issued" in said(hand.get(reverse("vehicles:history-draft", args=[car.pk])))
    assert "Issue build sheet" not in said(hand.get(car.get_absolute_url()))


# --- costs, and who gets what ------------------------------------------------------------------------------------


def test_costs_are_for_a_holder_of_today(hand, lead, car, keeper):
    other = in_common(car, lead)
    VehicleKeeper.objects.filter(keeper=other).update(until_on=timezone.localdate())
    answer = issue(hand, car, "history", made_for=other.pk)
    assert answer.status_code == 422
    assert "Choose the owner or registered keeper of today" in said(answer)
    issue(hand, car, "history", made_for=keeper.pk)
    row = IssuedPrint.objects.get()
    assert row.title == "History report with costs"
    assert f"for {keeper.name}" in said(hand.get(reverse("vehicles:papers", args=[car.pk])))


def test_an_owner_gets_what_names_no_money_and_what_was_made_for_them(
    lead, car, keeper, car_owner, other_owner
):
    second = in_common(car, lead)
    plain = acts.issue(by=by(lead), kind="build", vehicle=car)
    theirs = acts.issue(by=by(lead), kind="history", vehicle=car, made_for=keeper)
    of_another = acts.issue(by=by(lead), kind="history", vehicle=car, made_for=second)
    owner, stranger = Client(), Client()
    owner.force_login(car_owner)
    stranger.force_login(other_owner)
    assert [owner.get(row.get_absolute_url()).status_code for row in (plain, theirs, of_another)] == [
        200,
        200,
        404,
    ]
    assert {stranger.get(row.get_absolute_url()).status_code for row in (plain, theirs, of_another)} == {404}
    # Sold: nothing any more.
    VehicleKeeper.objects.filter(keeper=keeper).update(until_on=timezone.localdate())
    assert {owner.get(row.get_absolute_url()).status_code for row in (plain, theirs, of_another)} == {404}


# --- the page of the code ----------------------------------------------------------------------------------------


def test_anybody_confirms_a_print_and_sees_nothing_of_the_car(client, lead, car, keeper):
    row = acts.issue(by=by(lead), kind="build", vehicle=car)
    answer = client.get(f"/confirm/{row.token}/")
    page = said(answer)
    assert f"Genuine: build sheet {row.number}, revision 1 of 1" in page
    assert "superseded by nothing" in page
    for digest in (row.data_hash, row.pdf_hash):
        assert " ".join(in_groups(digest)) in page
    assert f'data-compare="{row.pdf_hash}"' in answer.content.decode()
    for words in (car.number, car.make, car.model, lead.name, keeper.name):
        assert words not in page
    assert (answer["Cache-Control"], answer["X-Robots-Tag"], answer["Referrer-Policy"]) == (
        "no-store", "noindex, nofollow", "no-referrer",
    )  # fmt: skip


def test_superseded_and_erased_are_said(client, lead, shop_owner, car):
    first = acts.issue(by=by(lead), kind="build", vehicle=car)
    PartFactory(person=lead, vehicle=car, place="tow-bar")
    second = acts.issue(by=by(lead), kind="build", vehicle=car)
    page = said(client.get(f"/confirm/{first.token}/"))
    assert "revision 1 of 2" in page
    assert "Superseded by revision 2" in page
    assert second.token not in client.get(f"/confirm/{first.token}/").content.decode()
    acts.erase_text(by=by(shop_owner), row=first, reason="asked for")
    page = said(client.get(f"/confirm/{first.token}/"))
    assert "Erased on" in page
    assert " ".join(in_groups(first.pdf_hash)) in page


def test_codes_have_128_bits_and_unknown_ones_get_one_answer(client, lead, car):
    """22 characters of base 64 hold 132 bits, of which RFC 4648 leaves 128 to 16 bytes."""
    row = acts.issue(by=by(lead), kind="build", vehicle=car)
    assert len(row.token) == 22
    answers = [
        client.get(f"/confirm/{token}/") for token in (row.token[:-1], row.token.swapcase(), "x", str(row.pk))
    ]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1


def test_who_tries_many_codes_waits(client, lead, car, monkeypatch):
    monkeypatch.setattr("vehicles.views.confirm.UNKNOWN", 3)
    cache.clear()
    row = acts.issue(by=by(lead), kind="build", vehicle=car)
    assert [client.get(f"/confirm/no-{number}/").status_code for number in range(4)] == [404, 404, 404, 429]
    assert "Wait ten minutes" in said(client.get(f"/confirm/{row.token}/"))
    assert client.get(f"/confirm/{row.token}/", REMOTE_ADDR="192.0.2.7").status_code == 200
    cache.clear()


# --- erasure -----------------------------------------------------------------------------------------------------


def test_a_persons_erasure_empties_what_names_them_and_what_was_made_for_them(lead, shop_owner, car, keeper):
    from vehicles.acts.erasure import erase_person

    other = in_common(car, lead)
    PartFactory(person=lead, vehicle=car, place="tow-bar", description="Bar welded by Corin Ashby")
    names_them = acts.issue(by=by(lead), kind="build", vehicle=car)
    of_another = acts.issue(by=by(lead), kind="history", vehicle=car, made_for=other)
    theirs = acts.issue(by=by(lead), kind="history", vehicle=car, made_for=keeper)
    survey = SurveyFactory(person=lead, vehicle=car)
    assert any("Numbered prints that name them" in line for line in preview(keeper).goes)
    erase_person(by=by(shop_owner), keeper=keeper, reason="asked for in a letter")
    texts = {row.pk: row.text for row in IssuedPrint.objects.select_related("text")}
    assert texts[names_them.pk].pdf is None
    assert texts[theirs.pk].data == ""
    # Names the bar, and so them, too.
    assert texts[of_another.pk].pdf is None
    assert IssuedPrint.objects.count() == 3
    fresh = acts.issue(by=by(lead), kind="survey", vehicle=car, survey=survey)
    assert fresh.text.erased_at is None


# --- being made --------------------------------------------------------------------------------------------------


def test_the_page_of_one_that_is_being_made_goes_on_when_it_is_done(hand, lead, car, settings, tmp_path):
    settings.WORKSHOP_DATA = tmp_path
    key, url = uuid4(), None
    url = reverse("vehicles:print-making", args=[car.pk, key])
    long_prints._write(key, long_prints.Making("making", 1))
    assert "It is being made" in said(hand.get(url))
    row = acts.issue(by=by(lead, key=key), kind="build", vehicle=car)
    long_prints._write(key, long_prints.Making("done", 1, str(row.pk)))
    assert hand.get(url).url.endswith(f"#p{row.pk}")
    answer = hand.get(url, headers={"HX-Request": "true"})
    assert answer.headers["HX-Redirect"].endswith(f"#p{row.pk}")


def test_of_a_process_that_is_gone_nothing_was_issued(hand, car, settings, tmp_path):
    """4194304 is the most that a process number can be on 64-bit Linux (proc(5)), and is never given out."""
    settings.WORKSHOP_DATA = tmp_path
    key = uuid4()
    long_prints._write(key, long_prints.Making("making", 4194304))
    page = said(hand.get(reverse("vehicles:print-making", args=[car.pk, key])))
    assert "It was not issued" in page
    assert "Ask for it again" in page
    assert "It was not issued" in said(hand.get(reverse("vehicles:print-making", args=[car.pk, uuid4()])))


def test_what_fails_inside_is_said(hand, car, monkeypatch, settings, tmp_path):
    settings.WORKSHOP_DATA = tmp_path
    monkeypatch.setattr("vehicles.acts.issued.issuing.make", lambda *args, **kwargs: 1 / 0)
    answer = issue(hand, car)
    assert answer.status_code == 422
    assert "something went wrong on the server" in said(answer)


# --- how often it asks -------------------------------------------------------------------------------------------


def _queries(work) -> int:
    with CaptureQueriesContext(connection) as found:
        work()
    return len(found)


def test_pages_ask_no_more_for_many_prints(hand, client, lead, car):
    row = acts.issue(by=by(lead), kind="build", vehicle=car)
    papers = reverse("vehicles:papers", args=[car.pk])

    def each() -> list[int]:
        return [_queries(lambda: hand.get(papers)), _queries(lambda: client.get(f"/confirm/{row.token}/"))]

    hand.get(papers)
    few = each()
    for place in ("tow-bar", "exhaust", "glass"):
        PartFactory(person=lead, vehicle=car, place=place)
        acts.issue(by=by(lead), kind="build", vehicle=car)
    assert each() == few
    assert few[1] <= 6


def test_a_history_asks_as_often_for_many_visits_as_for_one(lead, car, keeper):
    gather = issuing.kind_of("history").gather
    asked = issuing.Asked("history", car, car)
    HandedOverFactory(person=lead, vehicle=car, keeper=keeper, odometer=KM)
    gather(asked)
    few = _queries(lambda: gather(asked))
    for number in range(3):
        HandedOverFactory(person=lead, vehicle=car, keeper=keeper, odometer=KM)
        ItemFactory(person=lead, vehicle=car, title=f"Item {number}")
    assert _queries(lambda: gather(asked)) == few < 75
