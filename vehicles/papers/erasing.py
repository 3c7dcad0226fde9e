"""A person's erasure empties the numbered prints that name them or that were made for them; numbers and hashes stay."""

from __future__ import annotations

import json

from django.db.models import Q, QuerySet

from vehicles.erasure import Share, add_share, needles
from vehicles.models import IssuedPrint, Keeper
from workshop import erasing
from workshop.acting import By


def register() -> None:
    add_share(Share(goes=_goes, stays=_stays, within=_within))


def _prints(keeper: Keeper) -> QuerySet[IssuedPrint]:
    """Not erased yet, made for them or with a word of theirs in what they say."""
    theirs = Q(made_for=keeper)
    for needle in needles(keeper):
        theirs |= Q(text__data__icontains=json.dumps(needle, ensure_ascii=False)[1:-1])
    return IssuedPrint.objects.filter(theirs, text__erased_at=None)


def _goes(keeper: Keeper) -> list[str]:
    count = _prints(keeper).count()
    if not count:
        return []
    return [
        f"Numbered prints that name them or were made for them, all that each says, with its PDF: {count}. "
        "What the car's record says can be issued anew"
    ]


def _stays(keeper: Keeper) -> list[str]:
    if not _prints(keeper).exists():
        return []
    return ["Of these prints the number, the revision and the hashes; their codes say that they were erased"]


def _within(by: By, keeper: Keeper, eraser: erasing.Eraser, reason: str) -> None:
    from vehicles.acts.issued import erase_text

    for row in _prints(keeper):
        erase_text(by=by, row=row, reason=reason)
