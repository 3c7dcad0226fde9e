"""The due list by e-mail: once a person and day, what is new since the last one, tried again after a failure."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from vehicles import due_mail
from vehicles.acts import due as acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import outstanding
from vehicles.models import DueMail, DueReader
from workshop import mail

DAYS = timedelta(days=1)
TODAY = timezone.localdate()


@once
def car(lead):
    return VehicleFactory(person=lead, make="Veldt", model="2.4")


@once
def item(lead, car):
    return ItemFactory(person=lead, vehicle=car, title="Hose weeps", due_on=TODAY + 5 * DAYS)


@pytest.fixture
def nothing(lead, item):
    """Nothing is due any more."""
    outstanding.end_by_finding(
        by=by(lead), item=item, seen_version=item.version, ended_finding="dry after a week"
    )


@pytest.fixture(autouse=True)
def _post(settings):
    settings.MAIL_URL = "smtp://mail.example"
    settings.MAIL_FROM = "shop@shop.example"
    settings.SITE_URL = "https://shop.example"


def reader(person, **kwargs):
    person.email = f"{person.sign_in_name}@people.example"
    person.save(update_fields=["email"])
    return acts.choose_mail(by=by(person), wants_mail=True, **kwargs)


def send(days: int = 0) -> due_mail.Sent:
    return due_mail.send_all(timezone.now() + days * DAYS)


def test_it_says_what_is_due_on_which_car_and_why(technician, car, item, mailoutbox):
    reader(technician)
    assert send().sent == 1
    (letter,) = mailoutbox
    assert letter.to == [technician.email]
    assert letter.subject == "Due: 0 overdue, 1 in the next 31 days"
    assert f"- {car.name}: Hose weeps (minor)" in letter.body
    assert "O1 of" in letter.body
    assert "https://shop.example/due/" in letter.body


def test_once_a_day_however_often_it_is_called(technician, item, mailoutbox):
    reader(technician)
    assert [send().sent, send().sent, send().already] == [1, 0, 1]
    assert len(mailoutbox) == 1
    assert send(days=1).sent == 1
    assert len(mailoutbox) == 2


def test_it_says_what_is_new_since_the_last_one(lead, technician, car, item, mailoutbox):
    reader(technician)
    send()
    assert "NEW" not in mailoutbox[0].body
    ItemFactory(person=lead, vehicle=car, title="Lamp out", due_on=TODAY + 6 * DAYS)
    send(days=1)
    body = mailoutbox[1].body
    assert "1 new since the list of" in body
    assert f"NEW: {car.name}: Lamp out" in body
    assert f"- {car.name}: Hose weeps" in body
    send(days=2)
    assert "Nothing new since" in mailoutbox[2].body


def test_what_comes_nearer_is_new_when_it_is_first_told(lead, technician, car, mailoutbox):
    ItemFactory(person=lead, vehicle=car, title="Belt", due_on=TODAY + 32 * DAYS)
    ItemFactory(person=lead, vehicle=car, title="Lamp out", due_on=TODAY)
    reader(technician)
    send()
    assert "Belt" not in mailoutbox[0].body
    assert "1 more come due later." in mailoutbox[0].body
    send(days=1)
    assert f"NEW: {car.name}: Belt" in mailoutbox[1].body


@pytest.mark.parametrize("also", [False, True])
def test_nothing_due_sends_nothing_but_to_who_wants_that(technician, nothing, mailoutbox, also):
    reader(technician, also_when_nothing=also)
    send()
    assert len(mailoutbox) == also
    if also:
        assert mailoutbox[0].subject == "Due: nothing"
        assert "Nothing is overdue" in mailoutbox[0].body


def test_nothing_due_in_the_morning_still_tells_what_is_written_at_noon(lead, technician, car, nothing):
    reader(technician)
    assert send().nothing == 1
    ItemFactory(person=lead, vehicle=car, due_on=TODAY)
    assert send().sent == 1


def test_what_failed_is_tried_again_and_sent_once(technician, item, mailoutbox, monkeypatch):
    reader(technician)
    good, told = mail.send, []
    monkeypatch.setattr(mail, "send", lambda **_: "Nothing answers at mail.example, port 587.")
    found = due_mail.send_all(timezone.now(), told.append)
    assert (found.failed, found.sent) == (1, 0)
    assert told == [f"{technician}: Nothing answers at mail.example, port 587."]
    row = DueMail.objects.get()
    assert (row.state, row.tries) == ("failed", 1)
    monkeypatch.setattr(mail, "send", good)
    assert send().sent == 1
    row.refresh_from_db()
    assert (row.state, row.tries, row.trouble) == ("sent", 2, "")
    assert len(mailoutbox) == 1


def test_one_that_broke_off_is_sent_after_an_hour_not_before(technician, item, mailoutbox):
    reader(technician)
    now = timezone.now()
    DueMail.objects.create(person=technician, day=timezone.localdate(now), state="sending", changed_at=now)
    assert due_mail.send_all(now + timedelta(minutes=20)).already == 1
    assert not mailoutbox
    DueMail.objects.update(changed_at=now - timedelta(minutes=61))
    assert due_mail.send_all(now).sent == 1


def test_it_is_sent_outside_any_transaction(technician, item, monkeypatch):
    """The test itself runs in one; beyond it none may be open when the mail server is asked."""
    reader(technician)
    outer, seen = len(connection.savepoint_ids), []
    monkeypatch.setattr(mail, "send", lambda **_: seen.append(len(connection.savepoint_ids)) or "")
    send()
    assert seen == [outer]


def test_a_car_owner_is_told_of_their_own_cars_with_links_of_their_own(
    lead, car, item, car_owner, mailoutbox
):
    keeper = KeeperFactory(person=lead, name="Corin Ashby")
    keeper.account = car_owner
    keeper.save(update_fields=["account"])
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part="owner")
    ItemFactory(person=lead, vehicle=VehicleFactory(person=lead), title="Not theirs", due_on=TODAY)
    reader(car_owner)
    send()
    (letter,) = mailoutbox
    assert "Hose weeps" in letter.body
    assert "Not theirs" not in letter.body
    assert f"https://shop.example{reverse('vehicles:my-cars')}" in letter.body


def test_who_left_or_takes_it_back_gets_none(lead, technician, item, mailoutbox):
    reader(lead)
    reader(technician)
    acts.choose_mail(by=by(lead), wants_mail=False)
    technician.is_active = False
    technician.save(update_fields=["is_active"])
    send()
    assert not mailoutbox


def test_without_an_address_it_is_not_chosen(technician):
    with pytest.raises(ValidationError) as caught:
        acts.choose_mail(by=by(technician), wants_mail=True)
    assert "No e-mail address" in caught.value.message_dict["wants_mail"][0]
    assert not DueReader.objects.exists()


def test_the_page_keeps_the_choice(client, technician):
    technician.email = "tamsin@people.example"
    technician.save(update_fields=["email"])
    client.force_login(technician)
    form = client.get(reverse("vehicles:due-mine")).context["mail_form"]
    sent = {"key": str(form["key"].value()), "wants_mail": "on"}
    assert client.post(reverse("vehicles:due-mail"), sent).status_code == 302
    row = DueReader.objects.get(person=technician)
    assert (row.wants_mail, row.also_when_nothing) == (True, False)
    assert client.get(reverse("vehicles:due-mine")).context["mail_form"]["wants_mail"].value() is True


def test_the_page_says_why_not_beside_the_box(client, technician):
    client.force_login(technician)
    form = client.get(reverse("vehicles:due-mine")).context["mail_form"]
    answer = client.post(reverse("vehicles:due-mail"), {"key": str(form["key"].value()), "wants_mail": "on"})
    assert answer.status_code == 422
    assert "No e-mail address of yours" in answer.content.decode()


def test_many_readers_ask_for_the_shops_list_once(lead, technician, shop_owner, item):
    reader(lead)
    with CaptureQueriesContext(connection) as one:
        send()
    reader(technician)
    reader(shop_owner)
    with CaptureQueriesContext(connection) as three:
        send(days=1)
    # Each costs its own few: roles, the last list, the claim, what became of it.
    assert len(three) - len(one) <= 20


# --- the command -------------------------------------------------------------------------------------------------


def at_clock(time_machine, hour: int) -> None:
    noon = timezone.localtime().replace(hour=hour, minute=30, second=0)
    time_machine.move_to(noon, tick=False)


def test_the_command_sends_and_says_how_many(technician, item, mailoutbox, time_machine, capsys):
    reader(technician)
    at_clock(time_machine, 23)
    call_command("due_mail")
    call_command("due_mail")
    assert len(mailoutbox) == 1
    assert "Sent: 1." in capsys.readouterr().out


def test_the_command_waits_for_the_morning(technician, item, mailoutbox, time_machine, capsys):
    reader(technician)
    at_clock(time_machine, 4)
    time_machine.move_to(timezone.now() + DAYS, tick=False)
    call_command("due_mail")
    assert not mailoutbox
    assert "Nothing is sent before 05:00." in capsys.readouterr().out
    call_command("due_mail", "--from", "04:00")
    assert len(mailoutbox) == 1


def test_the_command_fails_in_words(technician, item, settings, monkeypatch, time_machine):
    at_clock(time_machine, 23)
    call_command("due_mail")  # nobody wants it: no failure
    reader(technician)
    monkeypatch.setattr(mail, "send", lambda **_: "Nothing answers.")
    with pytest.raises(CommandError, match="The next run of today tries again"):
        call_command("due_mail")
    settings.MAIL_URL = ""
    with pytest.raises(CommandError, match="MAIL_URL"):
        call_command("due_mail")
    with pytest.raises(CommandError, match="no time"):
        call_command("due_mail", "--from", "early")


def test_the_database_keeps_one_row_a_person_and_day(technician):
    row = {"person": technician, "day": TODAY, "state": "sent", "changed_at": timezone.now()}
    DueMail.objects.create(**row)
    with pytest.raises(IntegrityError), transaction.atomic():
        DueMail.objects.create(**row)
