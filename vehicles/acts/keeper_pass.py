"""The desk lets a keeper in without a password: by a link or code that opens once, with an account made for it."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from vehicles.acts.keeper import open_account
from vehicles.models import Keeper
from workshop.acting import By, act
from workshop.acts import passes
from workshop.models import OneTimePass, PassWay, Person
from workshop.permissions import May


@act(May.EDIT_KEEPERS)
def keeper_pass(*, by: By, keeper: Keeper, way: str) -> OneTimePass:
    """Let this keeper in once; an account without a password is opened for whoever has none.

    Raises ValidationError with a sentence where they may not have one. The answer has `token` and, at the counter,
    `code`; read again it has neither.
    """
    row = Keeper.objects.select_related("account").get(pk=keeper.pk)
    if row.erased_at is not None:
        raise ValidationError("What was known of this person was erased: nobody is left to be let in.")
    if way == PassWay.MAIL and not row.email:
        raise ValidationError(
            "No e-mail address is on record. Add it first, or show the code at the counter."
        )
    person = row.account or open_account(by=by, keeper=row)
    return passes.issue_pass(by=by, person=person, way=way)


@act(May.EDIT_KEEPERS)
def end_keeper_access(*, by: By, keeper: Keeper, reason: str) -> Person:
    """End every session and every unused link and code of a keeper, for instance when their telephone was stolen."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why, for instance “telephone stolen”."})
    row = Keeper.objects.select_related("account").get(pk=keeper.pk)
    if row.account is None:
        raise ValidationError("This person has no account: there is nothing to end.")
    return passes.end_access(by=by, person=row.account, reason=reason)
