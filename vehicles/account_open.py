"""What is outstanding on the car and what is still being looked into: for the account, dangers first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Prefetch, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from vehicles import outstanding
from vehicles.account import Word
from vehicles.account_words import NO_PICTURES, Pictures, photos_by, pictures
from vehicles.audience import Audience, Shows
from vehicles.models import Fault, OutstandingItem, Severity, Telling, Vehicle
from vehicles.models.fault import FaultEnd, FaultKind
from vehicles.models.outstanding import Channel, OutstandingReason, TellingAnswer

# After Directive 2014/45/EU, Art. 7, in short; "advice" is the shop's own.
SEVERITY_WORDS = (
    ("Dangerous", "an immediate risk to people on the road"),
    ("Major", "may put people at risk or harm the environment"),
    ("Minor", "no significant effect on safety"),
    ("Advice", "no defect, but good to know"),
)
_SETTLES = {
    TellingAnswer.ACKNOWLEDGED,
    TellingAnswer.DECLINED,
    TellingAnswer.DEFERRED,
    TellingAnswer.WANTS_IT,
}
_BY_THE_OWNER = (OutstandingReason.DECLINED, OutstandingReason.DEFERRED)


@dataclass(frozen=True)
class Said:
    """What the workshop told the reader of it, and what they answered."""

    on: date
    how: str
    told: str
    answer: str
    words: str


@dataclass(frozen=True)
class ItemTold:
    """`acknowledge`: where the reader says that they know; "" where they have, or may not."""

    title: str
    severity: str
    severity_word: str
    due_now: bool
    due: str
    due_in: str
    reason: str
    detail: str
    said: tuple[Said, ...]
    acknowledge: str
    pictures: Pictures

    @property
    def dangerous(self) -> bool:
        return self.severity == Severity.DANGEROUS


@dataclass(frozen=True)
class FaultTold:
    """A fault or complaint, and how it ended. `words`: as its keeper said it, for that keeper alone."""

    title: str
    complaint: bool
    severity: str
    severity_word: str
    where: str
    conditions: str
    noticed_on: date
    ended_on: date | None
    end: str
    how: str
    words: str
    pictures: Pictures = NO_PICTURES


@dataclass(frozen=True)
class Outstanding:
    """`items` None: the reader does not see them. `looked_into`: how many faults have no end yet."""

    items: tuple[ItemTold, ...] | None
    faults: tuple[FaultTold, ...]
    looked_into: int
    severity_words: tuple[tuple[str, str], ...] = SEVERITY_WORDS

    @property
    def dangers(self) -> tuple[Word, ...]:
        return tuple(_danger(item) for item in self.items or () if item.dangerous)


def outstanding_of(audience: Audience, vehicle: Vehicle) -> Outstanding | None:
    """Open items and open faults as of today, or of the last day that the audience sees."""
    sees_items, sees_faults = audience.sees(Shows.OUTSTANDING), audience.sees(Shows.FAULTS)
    if not (sees_items or sees_faults):
        return None
    faults = _open_faults(audience, vehicle) if sees_faults else ()
    items = _items(audience, vehicle) if sees_items else None
    return Outstanding(items, faults, len(faults))


def _danger(item: ItemTold) -> Word:
    said = f"{date_format(item.said[0].on, 'j F Y')}: “{item.said[0].told}”" if item.said else ""
    return Word(item.title, item.detail, item.severity, item.due, said)


def _items(audience: Audience, vehicle: Vehicle) -> tuple[ItemTold, ...]:
    """Most severe first: five queries for any number."""
    day = timezone.localdate() if audience.now else audience.until
    rows = _rows_of(audience, vehicle, day)
    photos = photos_by(audience, vehicle, "item_id", [row.pk for row in rows])
    return tuple(
        ItemTold(
            title=row.title,
            severity=row.severity,
            severity_word=row.severity_word,
            due_now=row.due.now,
            due=row.due.words,
            due_in=row.due.left,
            reason=_reason(audience, row),
            detail=row.detail,
            said=tuple(_said(telling) for telling in row.told if audience.hears(telling.made_at)),
            acknowledge=_acknowledge(audience, row),
            pictures=pictures(audience, photos[row.pk]),
        )
        for row in rows
    )


def _rows_of(audience: Audience, vehicle: Vehicle, day: date) -> list[OutstandingItem]:
    if audience.now:
        return outstanding.open_items(vehicle, day)
    still_open = Q(end="") | Q(ended_at__date__gt=day)
    tellings = Telling.objects.order_by("-made_at").select_related("told_to")
    rows = list(
        OutstandingItem.objects.filter(still_open, vehicle=vehicle, raised_on__lte=day)
        .most_severe_first()
        .select_related("place", "from_reading", "made_by")
        .prefetch_related(Prefetch("tellings", tellings, to_attr="told"))
    )
    outstanding.add_due(vehicle, rows, day)
    return rows


def _reason(audience: Audience, item: OutstandingItem) -> str:
    """Why it is outstanding. What an earlier owner decided is not told to the next."""
    if item.reason in _BY_THE_OWNER and not audience.hears(item.raised_on):
        return "Not done so far"
    if item.reason in _BY_THE_OWNER and audience.reader is not None:
        return "You said no to it" if item.reason == OutstandingReason.DECLINED else "You put it off"
    return item.reason_words


def _said(row: Telling) -> Said:
    on = timezone.localdate(row.made_at)
    if row.channel == Channel.ACCOUNT:
        return Said(on, "", "", row.get_answer_display(), row.answer_words)
    return Said(on, row.get_channel_display().lower(), row.told, row.get_answer_display(), row.answer_words)


def told_words(item: OutstandingItem) -> str:
    """What the account tells of an item: what an acknowledgement is of. Another text asks for another one."""
    due = f"Due {item.due_words}." if item.due_words else ""
    return " ".join(
        part for part in (f"{item.severity_word}: {item.title}.", item.detail.strip(), due) if part
    )


def knows(item: OutstandingItem, tellings: Iterable[Telling]) -> bool:
    """Somebody to whom these were told has answered to the item as it is told now. No query."""
    return any(
        row.answer in _SETTLES and (row.channel != Channel.ACCOUNT or row.told == told_words(item))
        for row in tellings
    )


def _acknowledge(audience: Audience, item: OutstandingItem) -> str:
    if audience.reader is None or not audience.now:
        return ""
    own = [
        row
        for row in item.told
        if row.told_to.account_id == audience.reader.pk and audience.theirs(row.made_at)
    ]
    return "" if knows(item, own) else reverse("vehicles:own-acknowledge", args=[item.pk])


def _open_faults(audience: Audience, vehicle: Vehicle) -> tuple[FaultTold, ...]:
    """Faults without an end as of the audience's day: two queries."""
    rows = Fault.objects.filter(vehicle=vehicle).order_by("-made_at")
    if audience.now:
        rows = rows.without_end()
    return faults_told(audience, vehicle, rows, without_end=True)


def faults_told(
    audience: Audience, vehicle: Vehicle, rows: Any, *, without_end: bool = False
) -> tuple[FaultTold, ...]:
    """Faults of a queryset as they are told: two queries for any number. Those entered in error are none."""
    return tuple(told for _, told in _told(audience, vehicle, rows, without_end))


def by_job(audience: Audience, vehicle: Vehicle, keys: Iterable[Any]) -> dict[Any, list[FaultTold]]:
    """Faults by the visit on which they were noticed: two queries."""
    found: dict[Any, list[FaultTold]] = defaultdict(list)
    if audience.sees(Shows.FAULTS):
        rows = Fault.objects.filter(vehicle=vehicle, job__in=list(keys)).order_by("order")
        for row, told in _told(audience, vehicle, rows):
            found[row.job_id].append(told)
    return found


def _told(
    audience: Audience, vehicle: Vehicle, rows: Any, without_end: bool = False
) -> list[tuple[Fault, FaultTold]]:
    rows = [
        row
        for row in rows.exclude(end=FaultEnd.ERROR).select_related("place", "same_as", "outstanding_item")
        if audience.reaches(row.made_at) and not (without_end and _ended(audience, row))
    ]
    photos = photos_by(audience, vehicle, "fault_id", [row.pk for row in rows])
    return [(row, fault_told(audience, row, photos[row.pk])) for row in rows]


def fault_told(audience: Audience, row: Fault, photos: Iterable[Any] = ()) -> FaultTold:
    ended = _ended(audience, row)
    return FaultTold(
        title=row.title,
        complaint=row.kind == FaultKind.COMPLAINT,
        severity=row.severity,
        severity_word=row.get_severity_display(),
        where=row.where,
        conditions=row.conditions,
        noticed_on=timezone.localdate(row.made_at),
        ended_on=timezone.localdate(row.ended_at) if ended else None,
        end=row.end_words if ended else "Still being looked into",
        how=_how(audience, row) if ended else "",
        words=row.words if _is_the_shops_own(row) or audience.hears(row.made_at) else "",
        pictures=pictures(audience, photos),
    )


def _is_the_shops_own(row: Fault) -> bool:
    """What a technician saw; what a keeper said is a keeper's."""
    return row.kind == FaultKind.FINDING and row.reported_by_id is None


def _ended(audience: Audience, row: Fault) -> bool:
    return bool(row.end) and audience.reaches(row.ended_at)


def _how(audience: Audience, row: Fault) -> str:
    """What belongs to the way in which it ended, in a sentence or as it was written."""
    match row.end:
        case FaultEnd.FIXED:
            return f"Checked afterwards: {row.check_made}"
        case FaultEnd.NO_FAULT_FOUND:
            return row.tried
        case FaultEnd.OUTSTANDING if audience.sees(Shows.OUTSTANDING):
            return row.outstanding_item.title
        case FaultEnd.NORMAL:
            return f"Source: {row.normal_source}"
        case FaultEnd.SAME_AS:
            return row.same_as.title
    return ""
