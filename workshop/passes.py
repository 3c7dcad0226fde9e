"""One-time passes as they are typed and found: their letters, their hashes, their addresses, and who may have one."""

from __future__ import annotations

import secrets

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.formats import date_format

from workshop.models import OneTimePass, PassEnd, Person
from workshop.models.passes import PassState
from workshop.permissions import STAFF, Role
from workshop.tokens import token_hash

# 28 letters, of each look-alike pair one: no 0 and O, no 1, I and L, no B beside 8, no S beside 5, no Z beside 2.
# Eight of them are 28⁸ = 3.8 × 10¹¹ codes, for a quarter of an hour and five tries from one place.
ALPHABET = "ACDEFGHJKMNPQRTUVWXY23456789"
LETTERS = 8
_MEANT = str.maketrans({"B": "8", "S": "5", "Z": "2"})

# How long an owner stays signed in on their own device.
SESSION_SECONDS = 30 * 24 * 3600


def new_code() -> str:
    return "".join(secrets.choice(ALPHABET) for _ in range(LETTERS))


def in_two(code: str) -> str:
    """As it is shown and read out: two groups of four."""
    return f"{code[:4]} {code[4:]}"


def tidy(typed: str) -> str:
    """What was typed as a code: in capitals, without what stands between the groups, a look-alike as what it looks like.

    Raises ValidationError with a sentence for what can be no code.
    """
    code = "".join(letter for letter in typed.upper() if not letter.isspace() and letter not in "-–—.")
    code = code.translate(_MEANT)
    strange = sorted({letter for letter in code if letter not in ALPHABET})
    if strange:
        raise ValidationError(
            f"A code has no “{strange[0]}” in it: it is made of capitals and digits, without 0, O, 1, I and L.",
            code="no_code",
        )
    if len(code) != LETTERS:
        raise ValidationError(
            f"A code has {LETTERS} letters and digits. This has {len(code) or 'none'}.", code="no_code"
        )
    return code


def code_hash(code: str) -> str:
    """Keyed with the server's secret: whoever had only the database could try all codes in a minute."""
    return salted_hmac("workshop.passes.code", code, algorithm="sha256").hexdigest()


def find(token: str) -> OneTimePass | None:
    """The pass of a link, whatever became of it: one query."""
    kept = token_hash(token)
    return _passes().filter(token_hash=kept).first() if kept else None


def find_code(code: str) -> OneTimePass | None:
    """The pass of a tidy code, whatever became of it."""
    return _passes().filter(code_hash=code_hash(code)).first()


def _passes():
    return OneTimePass.objects.select_related("person").prefetch_related("person__roles_held")


def refuse_person(person: Person) -> None:
    """Who signs in without a password: owners of cars alone. Raises ValidationError with a sentence."""
    if person.roles & STAFF:
        raise ValidationError(
            "Whoever works here signs in with name and password, also for their own car.", code="staff"
        )
    if not person.is_active or Role.VEHICLE_OWNER not in person.roles:
        raise ValidationError(
            "This person may no longer sign in. The shop owner can change that on the People page.",
            code="inactive",
        )


def why_not(one: OneTimePass) -> str:
    """Why a pass opens nothing now, for the person who holds it; empty where it opens."""
    state = one.state
    until = date_format(timezone.localtime(one.expires_at), "j F, H:i")
    if state == PassState.USED:
        return "This link or code was used already. Each opens once."
    if state == PassState.EXPIRED:
        return f"This link or code held until {until} and has run out."
    if state == PassState.VOIDED and one.voided_because == PassEnd.NEWER:
        return "A newer link or code took the place of this one. Use the newest."
    if state == PassState.VOIDED and one.voided_because == PassEnd.NOT_SENT:
        return "This link could not be sent in full and holds no longer."
    if state == PassState.VOIDED or not one.person.is_active:
        return "The workshop ended this link or code."
    if one.person.roles & STAFF:
        return "You work here: sign in with your name and password."
    if Role.VEHICLE_OWNER not in one.person.roles:
        return "The workshop ended this link or code."
    return ""
