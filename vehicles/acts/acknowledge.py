"""A car's owner says in their own account that they have read what is outstanding: a telling through that account."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied, ValidationError

from vehicles.account_open import knows, told_words
from vehicles.audience import Audience, NotTheirs
from vehicles.models import OutstandingItem, Telling
from vehicles.models.outstanding import Channel, TellingAnswer
from workshop.acting import By, act, create, note
from workshop.permissions import May


@act(May.ANSWER_OWN)
def acknowledge_own(*, by: By, item: OutstandingItem, seen_version: int, words: str = "") -> Telling:
    """What was told is the item as it stands on the page. Known already, it stays one telling.

    An acknowledgement never ends an item; once the item is told otherwise (more severe, due earlier), it is asked
    for again.
    """
    item = (
        OutstandingItem.objects.select_for_update(no_key=True, of=("self",))
        .select_related("vehicle")
        .get(pk=item.pk)
    )
    try:
        audience = Audience.of_owner(by.person, item.vehicle)
    except NotTheirs as error:
        raise PermissionDenied("You may answer for your own cars only.") from error
    if item.end:
        raise ValidationError("This is settled already: nothing is left to be read.", code="item_ended")
    keeper = by.person.keeper
    own = [
        row
        for row in Telling.objects.filter(item=item, told_to=keeper).order_by("-made_at")
        if audience.theirs(row.made_at)
    ]
    if knows(item, own):
        note(own[0], vehicle=item.vehicle_id, facts={"item": item.number, "known_already": True})
        return own[0]
    if item.version != seen_version:
        raise ValidationError(
            "The workshop changed this while you were reading. Read it again, then say that you have.",
            code="changed_meanwhile",
        )
    telling = create(
        Telling(
            **by.stamp(),
            item=item,
            told_to=keeper,
            channel=Channel.ACCOUNT,
            told=told_words(item),
            answer=TellingAnswer.ACKNOWLEDGED,
            answer_words=words.strip(),
        )
    )
    note(
        telling,
        vehicle=item.vehicle_id,
        facts={
            "item": item.number,
            "told_to": keeper,
            "channel": telling.channel,
            "answer": telling.answer,
        },
        words={"told_to": keeper.name, "told": telling.told, "answer_words": telling.answer_words},
    )
    return telling
