"""Acts of the emergency pages: what a shop owner clears there that is no record of work."""

from __future__ import annotations

from django.contrib.sessions.models import Session

from workshop.acting import By, act, note
from workshop.models import Person, SignInTry
from workshop.permissions import May


@act(May.EMERGENCY)
def end_sessions(*, by: By, keys: list[str]) -> Person:
    """Sign out whoever these sessions belong to."""
    ended, _ = Session.objects.filter(pk__in=keys).delete()
    note(by.person, facts={"sessions_ended": ended})
    return by.person


@act(May.EMERGENCY)
def forget_tries(*, by: By, keys: list[int]) -> Person:
    """Forget wrong passwords, so that somebody who was locked out may try again at once."""
    forgotten, _ = SignInTry.objects.filter(pk__in=keys).delete()
    note(by.person, facts={"tries_forgotten": forgotten})
    return by.person
