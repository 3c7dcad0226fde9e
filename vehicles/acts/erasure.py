"""The act that takes a person out of the records, because they asked for it."""

from __future__ import annotations

from dataclasses import replace
from uuid import uuid5

from django.core.exceptions import ValidationError

from vehicles import erasure
from vehicles.acts.vehicle import refresh_search_text
from vehicles.models import Keeper, Vehicle
from workshop import erasing
from workshop.acting import By, act, note
from workshop.acts import passes
from workshop.models import PassEnd, Person, SignInTry, Submission
from workshop.permissions import May, require


def erase_person(*, by: By, keeper: Keeper, reason: str, also: list[str] | tuple[str, ...] = ()) -> Keeper:
    """Erase what is personal of a keeper everywhere: sheets first, each by its own act, then all else in one.

    `also` are words of the name to take out of texts where they stand alone. A reason is kept, and names nobody.
    """
    require(by.person, May.ERASE)
    if Submission.objects.filter(key=by.key).exists():
        return _erase_from_records(by=by, keeper=keeper, reason=reason, also=sorted(also))
    _refuse(keeper, reason, also)
    for number, share in enumerate(erasure.shares()):
        # Each room's own acts have keys that follow from this one, so that a repeat is no second record.
        share.before(replace(by, key=uuid5(by.key, f"before {number}"), again=None), keeper, reason)
    return _erase_from_records(by=by, keeper=keeper, reason=reason, also=sorted(also))


erase_person.may = May.ERASE


def _refuse(keeper: Keeper, reason: str, also) -> None:
    if keeper.erased_at is not None:
        raise ValidationError("What was known of this person was erased already.")
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is erased, without naming anybody: it is kept."})
    erasing.refuse_named(reason, [*erasure.needles(keeper, also), *keeper.name.split()])
    if obstacles := erasure.obstacles(keeper):
        raise ValidationError([one.text for one in obstacles], code="in_the_way")


@act(May.ERASE)
def _erase_from_records(*, by: By, keeper: Keeper, reason: str, also: list[str]) -> Keeper:
    row = (
        Keeper.objects.select_for_update(no_key=True, of=("self",))
        .select_related("account")
        .get(pk=keeper.pk)
    )
    _refuse(row, reason, also)
    words = erasure.needles(row, also)
    cars = list(Vehicle.objects.filter(keepers__keeper=row).distinct())
    with erasing.erasing() as eraser:
        erasure.within(by, row, eraser, reason.strip())
        Keeper.objects.filter(pk=row.pk).update(
            name=erasure.NAME_OF_THE_ERASED,
            address="",
            phone="",
            email="",
            search_text="",
            erased_at=by.made_at,
            version=row.version + 1,
        )
        account = row.account
        if account is not None:
            _close(account)
        eraser.everywhere(words)
        eraser.details(erasing.details_with(words))
    for car in cars:
        refresh_search_text(car)
    left = [one for one in erasing.occurrences(words) if not one.frozen]
    if left:
        raise ValidationError(
            f"It still stands in: {'; '.join(one.words for one in left)}. Nothing was erased: correct it there first."
        )
    note(
        row,
        facts={"rows": eraser.counts, "account": account.pk if account else ""},
        words={"reason": reason.strip()},
    )
    row.refresh_from_db()
    return row


def _close(account: Person) -> None:
    """The account stays as the author of what it sent; nobody signs in with it, and it names nobody."""
    SignInTry.objects.filter(sign_in_name=account.sign_in_name).delete()
    passes.end_all(account, PassEnd.ERASED)
    account.set_unusable_password()
    Person.objects.filter(pk=account.pk).update(
        name=erasure.NAME_OF_THE_ERASED,
        sign_in_name=f"erased-{account.pk.hex[:12]}",
        initials="",
        email="",
        password=account.password,
        pin="",
        is_active=False,
        version=account.version + 1,
    )
