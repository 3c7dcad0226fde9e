"""Erasing a person: what goes, what stays and why, what stands in the way. Upper rooms add theirs.

The order: first each frozen sheet is replaced by one without its personal page (each an act of its own, as a sheet
is printed outside any transaction); then one act takes the person out of everything else, together or not at all.
Interrupted in between, it is begun again and goes on where it stopped.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db.models import Q

from vehicles import models
from vehicles.folding import folded, squeezed
from vehicles.models import Fault, Keeper, OutstandingItem, ShareEnd, Telling, VehicleKeeper
from workshop import erasing
from workshop.models import EventDetail

if TYPE_CHECKING:
    from workshop.acting import By

NAME_OF_THE_ERASED = "Erased person"


@dataclass(frozen=True)
class Obstacle:
    text: str
    url: str = ""
    link: str = ""


def _nothing(*args) -> list:
    return []


@dataclass(frozen=True)
class Share:
    """What one room does when a person is erased. Every part takes the keeper; see `SHARE` of this room."""

    obstacles: Callable[[Keeper], list[Obstacle]] = _nothing
    goes: Callable[[Keeper], list[str]] = _nothing
    stays: Callable[[Keeper], list[str]] = _nothing
    before: Callable[[By, Keeper, str], None] = _nothing  # outside the transaction
    within: Callable[[By, Keeper, erasing.Eraser, str], None] = _nothing
    subjects: Callable[[Keeper], list[tuple[str, object]]] = (
        _nothing  # whose events' words go: (kind, queryset of keys)
    )


_shares: list[Share] = []


def add_share(share: Share) -> None:
    if share not in _shares:
        _shares.append(share)


@dataclass
class Preview:
    obstacles: list[Obstacle] = field(default_factory=list)
    goes: list[str] = field(default_factory=list)
    stays: list[str] = field(default_factory=list)
    # Words of the name that stand alone in texts of others: (word, in how many places).
    alone: list[tuple[str, int]] = field(default_factory=list)


def needles(keeper: Keeper, also: list[str] | tuple[str, ...] = ()) -> list[str]:
    """Every form in which the person may stand in a text: names, numbers, address, as typed and as folded for search."""
    account = keeper.account
    plain = [keeper.name, keeper.phone, keeper.email, keeper.address, *keeper.address.splitlines(), *also]
    if account is not None:
        plain += [account.name, account.email]
    digits = squeezed(keeper.phone)
    if len(digits) >= 6:
        plain.append(digits)
    return erasing.worth_looking_for([*plain, *(folded(text) for text in plain)])


def preview(keeper: Keeper) -> Preview:
    found = Preview()
    found.obstacles = obstacles(keeper)
    for share in _shares:
        found.goes += share.goes(keeper)
        found.stays += share.stays(keeper)
    # Places that the shares name already are counted here too: this is what the database says.
    alone = [
        word
        for word in dict.fromkeys(keeper.name.split())
        if len(word) >= erasing.LEAST and word != keeper.name
    ]
    mentions, *of_words = erasing.occurrences_of([needles(keeper), *([word] for word in alone)])
    free = sum(row.rows for row in mentions if not row.frozen)
    found.goes.append(
        f"The name, numbers and address wherever they stand in a text: {free} place{'' if free == 1 else 's'}"
    )
    found.goes.append(f"The words beside the event log that name them: {_details(keeper).count()} events")
    for row in mentions:
        if row.frozen:
            found.stays.append(
                f"{row.rows} × in what is frozen under a hash ({row.words.lower()}): altering it would break the proof that "
                "nothing was altered"
            )
    for word, rows in zip(alone, of_words, strict=True):
        if places := sum(row.rows for row in rows if not row.frozen):
            found.alone.append((word, places))
    return found


def _details(keeper: Keeper):
    rows = erasing.details_with(needles(keeper))
    for share in _shares:
        for kind, keys in share.subjects(keeper):
            rows = rows | EventDetail.objects.filter(
                event__subject_kind=kind, event__subject_id__in=[str(key) for key in keys], erased_at=None
            )
    return rows.distinct()


def shares() -> list[Share]:
    return list(_shares)


def obstacles(keeper: Keeper) -> list[Obstacle]:
    return [one for share in _shares for one in share.obstacles(keeper)]


def within(by: By, keeper: Keeper, eraser: erasing.Eraser, reason: str) -> None:
    """Inside the act: whole texts of the rooms, then the words of the events. The name itself comes last."""
    keys = list(_details(keeper).values_list("pk", flat=True))
    for share in _shares:
        share.within(by, keeper, eraser, reason)
    for start in range(0, len(keys), 500):
        eraser.details(EventDetail.objects.filter(pk__in=keys[start : start + 500]))


# ------------------------------------------------------------------------------------- what this room holds of them


def _obstacles(keeper: Keeper) -> list[Obstacle]:
    if keeper.account is not None and keeper.account.is_staff_member:
        return [
            Obstacle(
                f"{keeper} works here and signs in as {keeper.account.sign_in_name}: that name stands on what they did. Take "
                "their staff roles away first.",
                keeper.account.get_absolute_url(),
                "The person",
            )
        ]
    return []


def _links(keeper: Keeper):
    """Share links that were made for them, or by them."""
    return models.Share.objects.filter(Q(made_for=keeper) | Q(made_by=keeper.account))


def _own(keeper: Keeper):
    """What they said, or were told."""
    return (
        (Telling.objects.filter(told_to=keeper), ("told", "answer_words")),
        (Fault.objects.filter(reported_by=keeper), ("words",)),
        (OutstandingItem.objects.filter(left_by=keeper), ("left_words",)),
        (_links(keeper), ("label",)),
    )


def _goes(keeper: Keeper) -> list[str]:
    told, faults, left, links = (rows.count() for rows, _ in _own(keeper))
    lines = ["Name, address, telephone and e-mail; from now on they are called “Erased person”"]
    if keeper.account is not None:
        lines.append(f"The account “{keeper.account.sign_in_name}”: nobody signs in with it any more")
    now = keeper.vehicles.filter(until_on=None).values("vehicle").distinct().count()
    if now:
        lines.append(f"What they are for {now} car{'' if now == 1 else 's'} now ends today")
    for count, words in (
        (told, "The words of what they were told and answered"),
        (faults, "Complaints in their own words"),
        (left, "Their words on what they left as it is"),
        (links, "Share links to their cars, which end, and whom they said these were for"),
    ):
        if count:
            lines.append(f"{words}: {count}")
    return lines


def _stays(keeper: Keeper) -> list[str]:
    return [
        "What was found on the car, done to it, measured and tightened: it is the car's, and its next keeper relies on it",
        "That somebody was told of a danger, when and by which channel, without the words",
        "The event log: who of the shop did what and when. Its chain stays whole and can be verified",
    ]


def _within(by: By, keeper: Keeper, eraser: erasing.Eraser, reason: str) -> None:
    from vehicles.acts.share import end_all

    end_all(by, _links(keeper), ShareEnd.ERASED)
    for rows, names in _own(keeper):
        eraser.whole(rows, *names)
    VehicleKeeper.objects.filter(keeper=keeper, until_on=None).update(until_on=by.day)


def _subjects(keeper: Keeper) -> list[tuple[str, object]]:
    found = [
        ("vehicles.keeper", [keeper.pk]),
        ("vehicles.vehiclekeeper", keeper.vehicles.values_list("pk", flat=True)),
        *((rows.model._meta.label_lower, rows.values_list("pk", flat=True)) for rows, _ in _own(keeper)),
    ]
    if keeper.account_id:
        found.append(("workshop.person", [keeper.account_id]))
    return found


SHARE = Share(obstacles=_obstacles, goes=_goes, stays=_stays, within=_within, subjects=_subjects)


def register() -> None:
    add_share(SHARE)
