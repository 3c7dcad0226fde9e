"""Two runs of the mail command at the same moment, each on a connection of its own: one e-mail."""

from __future__ import annotations

import threading

import pytest
from django.utils import timezone

from tests.at_once import at_once
from tests.factories.outstanding import ItemFactory
from tests.people import by
from vehicles import due_mail
from vehicles.acts import due as acts
from vehicles.models import DueMail
from workshop import mail


@pytest.mark.django_db(transaction=True)
def test_two_commands_at_the_same_moment_send_one_mail(lead, car, monkeypatch):
    lead.email = "lida@people.example"
    lead.save(update_fields=["email"])
    acts.choose_mail(by=by(lead), wants_mail=True)
    ItemFactory(person=lead, vehicle=car, due_on=timezone.localdate())
    sent, lock, now = [], threading.Lock(), timezone.now()

    def post(**letter):
        with lock:
            sent.append(letter["to"])
        return ""

    monkeypatch.setattr(mail, "send", post)
    answers = at_once(*[lambda: due_mail.send_all(now)] * 3)
    assert sorted((one.sent, one.already) for one in answers) == [(0, 1), (0, 1), (1, 0)]
    assert sent == ["lida@people.example"]
    assert DueMail.objects.get().state == "sent"
