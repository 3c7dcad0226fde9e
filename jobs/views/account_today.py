"""What the account says of today: tags on the car, how it left, and what the workshop asks its owner."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Prefetch
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import Handover, LineAnswer, Tag, WorkLine
from vehicles import account
from vehicles.account import Asked, Word
from vehicles.audience import Audience, Shows
from vehicles.models import Vehicle

# What a tag means for who wants to use the car.
_TAG_WORDS = {
    "no_start": "Do not start the engine",
    "no_move": "Do not move the car",
    "no_road": "Do not drive it on the road",
}


def asked(audience: Audience, car: Vehicle) -> Iterator[Asked]:
    """Estimates that wait for the reader's answer: two queries. What an earlier owner agreed to is not told."""
    if not (audience.now and audience.since and audience.sees(Shows.COSTS) and audience.sees(Shows.KEEPER)):
        return
    if audience.link is not None:
        return  # whoever reads by a share link is not the one who is asked
    rows = WorkLine.objects.filter(job__in=car.jobs.open()).order_by("job", "order")
    for line in rows.prefetch_related(Prefetch("answers", LineAnswer.objects.order_by("answered_at"))):
        if line.is_open and line.amount is not None and (not line.answer or line.above_authority):
            given = list(line.answers.all())
            own = bool(given) and audience.theirs(given[-1].answered_at)
            url = reverse("jobs:own-answer", args=[line.pk]) if audience.reader else ""
            yield Asked(line.complaint, line.amount, url, line.authorised_amount if own else None)


def tags(audience: Audience, car: Vehicle) -> Iterator[Word]:
    """One query."""
    if not (audience.now and audience.sees(Shows.OUTSTANDING)):
        return
    seen = set()
    for tag in Tag.objects.filter(vehicle=car, lifted_at=None).order_by("made_at"):
        if tag.kind not in seen:
            seen.add(tag.kind)
            yield Word(_TAG_WORDS[tag.kind], tag.because)


def left(audience: Audience, car: Vehicle) -> str:
    """How the car last left, where that was in the reader's own time: one query."""
    last = Handover.objects.filter(job__vehicle=car).order_by("-made_at").first()
    if last is None or not audience.hears(last.made_at):
        return ""
    how = last.get_left_how_display().lower()
    return f"How it left the workshop: {how}, {date_format(timezone.localtime(last.made_at), 'j F Y')}."


account.add_first_words("tags", tags)
account.add_leaving("handover", left)
account.add_asked("estimates", asked)
