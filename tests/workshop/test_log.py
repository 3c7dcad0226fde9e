"""The event log: every act in a chain that shows tampering, with personal words that can be erased."""

from __future__ import annotations

import json

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from tests.once import once
from tests.people import by
from vehicles.acts import vehicle as acts
from workshop import log, triggers
from workshop.acts import shop as shop_acts
from workshop.models import Event, EventDetail, LogHead


@once
def three_events(lead, car):
    """Taking the car on is the first; a plate and another plate follow."""
    acts.add_registration(by=by(lead), vehicle=car, plate="tar h 88", country="Tarnshire")
    acts.add_registration(by=by(lead), vehicle=car, plate="tar h 89", country="Tarnshire")
    return list(Event.objects.order_by("seq"))


def test_events_stand_in_a_chain_without_gaps(three_events):
    assert [event.seq for event in three_events] == [1, 2, 3]
    assert [event.previous_hash for event in three_events[1:]] == [event.hash for event in three_events[:-1]]
    assert log.first_broken_link() is None
    call_command("verify_log")


def test_an_event_says_who_when_what(three_events, lead, car):
    event = three_events[1]
    body = json.loads(event.body)
    assert (event.act, event.subject_kind) == ("vehicles.vehicle.add_registration", "vehicles.registration")
    assert (event.person, event.vehicle_ref) == (lead, str(car.pk))
    assert body["facts"]["country"] == "Tarnshire"
    assert "TAR H 88" not in event.body, "a plate leads to a person: it stands in the erasable words"
    assert json.loads(event.detail.words) == {"plate": "TAR H 88"}


@pytest.mark.parametrize("table", ["workshop_event", "workshop_eventdetail"])
@pytest.mark.parametrize("statement", ["UPDATE {} SET {} = {}", "DELETE FROM {}"])
def test_the_database_refuses_to_alter_the_log(three_events, table, statement):
    column = "act" if table == "workshop_event" else "words"
    sql = statement.format(table, column, "'x'")
    with pytest.raises(DatabaseError, match=r"append-only|only be erased"), transaction.atomic():
        connection.cursor().execute(sql)
    assert log.first_broken_link() is None


def test_the_trigger_on_truncate(three_events):
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no TRUNCATE")
    with connection.cursor() as cursor:
        # Checks that wait for the commit would stop TRUNCATE before the trigger could.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        connection.cursor().execute("TRUNCATE workshop_event CASCADE")


TAMPERING = {
    "text": (
        "UPDATE workshop_event SET body = replace(body, 'Tarnshire', 'Norland') WHERE seq = 2",
        "event 2 was altered",
    ),
    "column": ("UPDATE workshop_event SET act = 'jobs.job.book' WHERE seq = 2", "its column act differs"),
    "middle": ("DELETE FROM workshop_event WHERE seq = 2", "event 2 is missing"),
    "tail": ("DELETE FROM workshop_event WHERE seq = 3", "the tail was cut or the head altered"),
    "words": ("UPDATE workshop_eventdetail SET words = '{}' WHERE event_id = 3", "the words of its detail"),
    "detail": ("DELETE FROM workshop_eventdetail WHERE event_id = 3", "event 3 lacks the detail"),
}


@pytest.mark.parametrize("kind", TAMPERING)
def test_tampering_behind_the_triggers_is_named(three_events, kind, capsys):
    statement, sentence = TAMPERING[kind]
    with triggers.lifted(), connection.cursor() as cursor:
        if kind in ("middle", "tail"):
            seq = 2 if kind == "middle" else 3
            cursor.execute(f"DELETE FROM workshop_eventdetail WHERE event_id = {seq}")
        cursor.execute(statement)
    assert sentence in log.first_broken_link()
    with pytest.raises(SystemExit):
        call_command("verify_log")
    assert sentence in capsys.readouterr().err


def test_a_tail_cut_together_with_its_head_shows_against_an_anchor(three_events, monkeypatch):
    anchor = log.Anchor(3, three_events[2].hash, "sheet 2026-0001 revision 1")
    monkeypatch.setattr(log, "_anchor_sources", [lambda: [anchor]])
    assert log.first_broken_link() is None
    with triggers.lifted(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM workshop_eventdetail WHERE event_id = 3")
        cursor.execute("DELETE FROM workshop_event WHERE seq = 3")
        LogHead.objects.update(seq=2, hash=three_events[1].hash)
    assert log.first_broken_link() == (
        "sheet 2026-0001 revision 1 names event 3, which is missing: the tail of the log was cut"
    )


def test_erasing_personal_words_leaves_the_log_whole(three_events, shop_owner):
    detail = EventDetail.objects.get(pk=3)
    shop_acts.erase_words(by=by(shop_owner), detail=detail, reason="asked for by the person")
    detail.refresh_from_db()
    assert (detail.words, detail.salt) == ("", "")
    assert detail.words_hash
    assert "TAR H 89" not in "".join(Event.objects.values_list("body", flat=True))
    assert log.first_broken_link() is None


def test_missing_triggers_are_an_error_at_start(db):
    from workshop.checks import append_only_triggers

    assert append_only_triggers(None, databases=["default"]) == []
    with connection.cursor() as cursor:
        on = " ON workshop_event" if connection.vendor == "postgresql" else ""
        cursor.execute(f"DROP TRIGGER workshop_event_no_update{on}")
    (problem,) = append_only_triggers(None, databases=["default"])
    assert problem.id == "workshop.E010"
    assert "workshop_event_no_update" in problem.msg
    triggers.install()
