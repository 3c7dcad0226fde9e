"""Acts of the emergency pages: what a shop owner clears there that is no record of work."""

from __future__ import annotations

from django.contrib.sessions.models import Session

from workshop import pins
from workshop.acting import By, act, note
from workshop.models import Person, SignInTry, TriedWith
from workshop.permissions import May


@act(May.EMERGENCY)
def end_sessions(*, by: By, keys: list[str]) -> Person:
    """Sign out whoever these sessions belong to."""
    ended, _ = Session.objects.filter(pk__in=keys).delete()
    note(by.person, facts={"sessions_ended": ended})
    return by.person


@act(May.EMERGENCY)
def forget_tries(*, by: By, keys: list[int]) -> Person:
    """Forget wrong passwords and PINs, so that somebody who was locked out may try again at once."""
    tries = SignInTry.objects.filter(pk__in=keys)
    by_pin = list(tries.filter(what=TriedWith.PIN).values_list("sign_in_name", flat=True))
    forgotten, _ = tries.delete()
    for person in Person.objects.filter(sign_in_name__in=by_pin):
        pins.lift(person)
    note(by.person, facts={"tries_forgotten": forgotten})
    return by.person
