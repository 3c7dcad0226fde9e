"""Acts on one-time passes: issued, used once, voided, and all of a person's ended together with their sessions.

Neither the link nor the code stands in the log: an event names the pass by its key.
"""

from __future__ import annotations

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.utils import timezone

from workshop import passes
from workshop.acting import By, act, create, note
from workshop.models import OneTimePass, PassEnd, PassWay, Person
from workshop.models.passes import LASTS
from workshop.permissions import May
from workshop.tokens import new_token, token_hash


@act(May.EDIT_KEEPERS)
def issue_pass(*, by: By, person: Person, way: str) -> OneTimePass:
    """Let a car's owner in, once, without a password. An earlier pass that was not used holds no longer.

    The answer has `token` and, at the counter, `code`; read again it has neither.
    """
    return _issue(by, person, PassWay(way))


@act(May.SEE_OWN_CARS)
def ask_for_pass(*, by: By) -> OneTimePass:
    """A car's owner asks for another link themselves; it goes to their own e-mail address. See `may_ask`."""
    if not may_ask(by.person):
        raise ValidationError("The workshop ended it. Ask them to let you in again.")
    return _issue(by, by.person, PassWay.MAIL)


def may_ask(person: Person) -> bool:
    """Not where the workshop ended what they had: then only the workshop lets them in again. One query."""
    last = person.passes.order_by("-made_at").values_list("voided_because", flat=True).first()
    return last != PassEnd.ENDED


def _issue(by: By, person: Person, way: PassWay) -> OneTimePass:
    # One after the other, so that of two desks the later one's pass holds.
    row = Person.objects.with_roles().select_for_update(no_key=True, of=("self",)).get(pk=person.pk)
    passes.refuse_person(row)
    voided = _void(row, PassEnd.NEWER)
    token, code = new_token(), passes.new_code() if way == PassWay.COUNTER else ""
    one = create(
        OneTimePass(
            **by.stamp(),
            person=row,
            way=way,
            token_hash=token_hash(token),
            code_hash=passes.code_hash(code) if code else "",
            expires_at=by.received_at + LASTS[way],
        )
    )
    one.token, one.code = token, code
    note(one, facts={"person": str(row.pk), "way": way, "until": one.expires_at, "voided": voided})
    return one


@act(May.SEE_OWN_CARS)
def use_pass(*, by: By, one: OneTimePass, typed: bool = False) -> OneTimePass:
    """The person whose pass it is signs in with it. Of two at once one gets in: the update asks that it be open.

    `typed`: by its code; else by its link. The log says which.
    """
    if by.person.pk != one.person_id:
        raise ValidationError("This link or code is somebody else's.")
    passes.refuse_person(by.person)
    now = timezone.now()
    claimed = OneTimePass.objects.filter(pk=one.pk, used_at=None, voided_at=None, expires_at__gt=now).update(
        used_at=now, used_on=by.device
    )
    row = OneTimePass.objects.select_related("person").prefetch_related("person__roles_held").get(pk=one.pk)
    if claimed != 1:
        raise ValidationError(passes.why_not(row), code="gone")
    note(row, facts={"way": row.way, "by": "code" if typed else "link"})
    return row


@act(May.EDIT_KEEPERS)
def void_unsent(*, by: By, one: OneTimePass) -> OneTimePass:
    """The message with it could not be sent: it opens nothing."""
    return _not_sent(one)


@act(May.SEE_OWN_CARS)
def void_own_unsent(*, by: By, one: OneTimePass) -> OneTimePass:
    """The same where the person asked for it themselves."""
    if by.person.pk != one.person_id:
        raise ValidationError("This link or code is somebody else's.")
    return _not_sent(one)


def _not_sent(one: OneTimePass) -> OneTimePass:
    OneTimePass.objects.filter(pk=one.pk, used_at=None, voided_at=None).update(
        voided_at=timezone.now(), voided_because=PassEnd.NOT_SENT
    )
    row = OneTimePass.objects.get(pk=one.pk)
    note(row, facts={"voided_because": row.voided_because})
    return row


@act(May.EDIT_KEEPERS)
def end_access(*, by: By, person: Person, reason: str = "") -> Person:
    """End every pass and every session of a car's owner. They get in again only when the workshop lets them."""
    row = Person.objects.with_roles().select_for_update(no_key=True, of=("self",)).get(pk=person.pk)
    if row.is_staff_member:
        raise ValidationError("Whoever works here is signed out on the People page, with a new password.")
    voided = row.passes.filter(voided_at=None).update(voided_at=timezone.now(), voided_because=PassEnd.ENDED)
    facts = {"passes_ended": voided, "sessions_ended": end_sessions(row)}
    note(row, facts=facts, words={"reason": reason.strip()})
    return row


def end_all(person: Person, because: PassEnd) -> dict[str, int]:
    """Inside an act that closes an account, erases a person, or leaves them without a car: what lets them in ends.

    Answers how much of it there was, for the log.
    """
    return {"passes_ended": _void(person, because), "sessions_ended": end_sessions(person)}


def _void(person: Person, because: PassEnd) -> int:
    """Also those that ran out, so that at most one is ever open."""
    return person.passes.filter(used_at=None, voided_at=None).update(
        voided_at=timezone.now(), voided_because=because
    )


def sessions_of(person: Person) -> list[str]:
    """Keys of the sessions that somebody has now. A shop has tens of sessions: each is opened to see whose it is."""
    rows = Session.objects.filter(expire_date__gte=timezone.now()).iterator(chunk_size=200)
    return [row.pk for row in rows if row.get_decoded().get(SESSION_KEY) == str(person.pk)]


def end_sessions(person: Person) -> int:
    return Session.objects.filter(pk__in=sessions_of(person)).delete()[0]
