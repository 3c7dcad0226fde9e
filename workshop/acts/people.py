"""Acts on the people who sign in: adding them, their roles, passwords and competences."""

from __future__ import annotations

import secrets
from datetime import date

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format

from workshop import log
from workshop.acting import By, act, create, note, save_changes
from workshop.acts import passes
from workshop.models import Competence, CompetenceKind, PassEnd, Person, RoleHeld
from workshop.permissions import May, Role


@act(May.EDIT_PEOPLE)
def add_person(
    *, by: By, name: str, sign_in_name: str, password: str, roles: list[str], email: str = ""
) -> Person:
    """Add somebody who signs in, with their roles."""
    return _add(name=name, sign_in_name=sign_in_name, password=password, roles=roles, email=email)


def add_first_owner(*, name: str, sign_in_name: str, password: str) -> Person:
    """The first person of an installation, added from the server's command line. Refused once somebody is there."""
    with transaction.atomic():
        if Person.objects.exists():
            raise ValidationError(
                "There are people on record already. The shop owner adds others on the People page."
            )
        person = _build(name, sign_in_name, password, "")
        person.full_clean(exclude=["password"])
        person.save(force_insert=True)
        RoleHeld.objects.create(person=person, role=Role.SHOP_OWNER)
        entry = log.Entry(
            act="workshop.people.add_first_owner",
            subject_kind="workshop.person",
            subject_id=str(person.pk),
            facts={"roles": [Role.SHOP_OWNER]},
            words={"name": person.name, "sign_in_name": person.sign_in_name},
        )
        log.append(By(person), [entry])
    return person


def check_sign_in_name(sign_in_name: str) -> None:
    """Typed at every sign-in, on a tablet: one word."""
    tidy = sign_in_name.strip().casefold()
    if any(each.isspace() for each in tidy):
        joined = ".".join(tidy.split())
        raise ValidationError({"sign_in_name": f"Write it without spaces, such as “{joined}”."})


def check_password(password: str, person: Person | None = None) -> None:
    try:
        validate_password(password, person)
    except ValidationError as refusal:
        raise ValidationError({"password": refusal.messages}) from refusal


def _build(name: str, sign_in_name: str, password: str | None, email: str) -> Person:
    check_sign_in_name(sign_in_name)
    person = Person(
        name=name.strip(),
        sign_in_name=sign_in_name.strip().casefold(),
        email=email,
        initials="".join(word[0] for word in name.split()[:3]).upper(),
    )
    if password is None:
        person.set_unusable_password()
        return person
    check_password(password, person)
    person.set_password(password)
    return person


def _add(*, name: str, sign_in_name: str, password: str | None, roles: list[str], email: str) -> Person:
    if not roles:
        raise ValidationError(
            {"roles": "Choose at least one role: without one this person could open nothing."}
        )
    person = create(_build(name, sign_in_name, password, email))
    RoleHeld.objects.bulk_create(RoleHeld(person=person, role=Role(role)) for role in sorted(set(roles)))
    note(
        person,
        facts={"roles": sorted(roles)},
        words={"name": person.name, "sign_in_name": person.sign_in_name},
    )
    return person


@act(May.EDIT_KEEPERS)
def add_vehicle_owner(
    *, by: By, name: str, sign_in_name: str = "", password: str | None = None, email: str = ""
) -> Person:
    """Let the keeper of a car sign in: a person with the vehicle owner's role alone.

    Without a password they get in by one-time links and codes only, and their name to sign in with is one that nobody
    has to know.
    """
    if password is None:
        sign_in_name = f"owner-{secrets.token_hex(6)}"
    return _add(
        name=name, sign_in_name=sign_in_name, password=password, roles=[Role.VEHICLE_OWNER], email=email
    )


@act(May.EDIT_PEOPLE)
def change_person(
    *, by: By, person: Person, seen_version: int, name: str, email: str, roles: list[str], is_active: bool
) -> Person:
    """Change name, e-mail, roles or whether somebody may sign in. The shop keeps at least one active owner."""
    if not roles:
        raise ValidationError({"roles": "Choose at least one role, or take the tick from “may sign in”."})
    # Locked, so that two owners can't take the role from each other at once.
    held = RoleHeld.objects.select_for_update(no_key=True).filter(
        role=Role.SHOP_OWNER, person__is_active=True
    )
    others = [row.person_id for row in held if row.person_id != person.pk]
    if not others and (Role.SHOP_OWNER not in roles or not is_active):
        raise ValidationError({"roles": "This is the last shop owner: give somebody else that role first."})
    changes = save_changes(person, seen_version=seen_version, name=name, email=email, is_active=is_active)
    before = sorted(RoleHeld.objects.filter(person=person).values_list("role", flat=True))
    wanted = sorted(set(roles))
    if before != wanted:
        RoleHeld.objects.filter(person=person).exclude(role__in=wanted).delete()
        RoleHeld.objects.bulk_create(
            RoleHeld(person=person, role=Role(role)) for role in wanted if role not in before
        )
    facts = {"roles": [before, wanted], "changed": sorted(changes), "is_active": is_active}
    if not is_active and "is_active" in changes:
        # Let in again later, they begin with a new link and a new session.
        facts |= passes.end_all(person, PassEnd.CLOSED)
    note(person, facts=facts, words={"name": name, "email": email})
    return person


@act(May.EDIT_PEOPLE)
def change_password(*, by: By, person: Person, password: str) -> Person:
    """Set somebody's password. The log says that it was changed, never to what."""
    check_password(password, person)
    person.set_password(password)
    person.save(update_fields=["password"])
    note(person)
    return person


@act(May.EDIT_PEOPLE)
def add_competence(
    *, by: By, person: Person, kind: str, certificate: str, valid_from: date, expires_on: date | None = None
) -> Competence:
    """Record what somebody is qualified for, by which certificate."""
    if valid_from > by.day:
        raise ValidationError(
            {"valid_from": "The certificate is not valid yet. Record it from its first day on."}
        )
    competence = create(
        Competence(
            **by.stamp(),
            person=person,
            kind=CompetenceKind(kind),
            certificate=certificate,
            valid_from=valid_from,
            expires_on=expires_on,
        )
    )
    note(
        competence,
        facts={"kind": kind, "from": valid_from, "until": expires_on},
        words={"certificate": certificate},
    )
    return competence


@act(May.EDIT_PEOPLE)
def withdraw_competence(*, by: By, competence: Competence, from_on: date, reason: str) -> Competence:
    """Say that a certificate no longer holds, from which day on, and why. What was done before stands."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is withdrawn."})
    row = Competence.objects.select_for_update(no_key=True, of=("self",)).get(pk=competence.pk)
    if row.withdrawn_on is not None:
        raise ValidationError(
            f"It was withdrawn already, from {date_format(row.withdrawn_on)} on: {row.withdrawn_because}"
        )
    if from_on > by.day:
        raise ValidationError(
            {"from_on": f"{date_format(from_on)} lies in the future. Give today or an earlier day."}
        )
    if from_on < row.valid_from:
        raise ValidationError(
            {
                "from_on": f"The certificate is valid from {date_format(row.valid_from)}: give that day or a "
                "later one."
            }
        )
    row.withdrawn_on, row.withdrawn_because, row.withdrawn_by = from_on, reason.strip(), by.person
    row.save(update_fields=["withdrawn_on", "withdrawn_because", "withdrawn_by"])
    note(
        row,
        facts={"kind": row.kind, "person": str(row.person_id), "from": from_on},
        words={"reason": row.withdrawn_because},
    )
    return row
