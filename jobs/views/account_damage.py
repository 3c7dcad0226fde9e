"""Damage done in the shop, as the car's owner reads it: from the moment when it is written down."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from jobs import damages as reads
from jobs.models import Damage, Settled
from vehicles.account import Chapter, add_teller
from vehicles.account_words import Pictures, photos_by, pictures
from vehicles.audience import Audience, Shows
from vehicles.models import Vehicle

# How it was settled where nobody's money or consent is told by it.
_OF_THE_CAR = (Settled.REPAIRED, Settled.THERE_BEFORE)


@dataclass(frozen=True)
class DamageSaid:
    by: str
    to: str
    how: str
    at: datetime
    told: str
    answered: str


@dataclass(frozen=True)
class DamageTold:
    """`settled` "": it is not. `words`: what was agreed, for those only who agreed it."""

    on: date
    where: str
    what: str
    said: tuple[DamageSaid, ...]
    settled: str
    words: str
    number: str
    job: str
    pictures: Pictures


def damage(audience: Audience, car: Vehicle) -> Iterator[Chapter]:
    """One query."""
    if not audience.sees(Shows.FAULTS):
        return
    rows = Damage.objects.filter(vehicle=car).exclude(settled=Settled.THERE_BEFORE)
    for key, made_at, settled in rows.values_list("pk", "made_at", "settled"):
        if audience.reaches(made_at):
            yield Chapter(made_at, "damage", str(key), first=not settled and audience.now)


def damage_told(audience: Audience, car: Vehicle, keys: list[str]) -> dict[str, DamageTold]:
    """The same number of queries for any number."""
    rows = list(reads.rows().filter(vehicle=car, pk__in=keys))
    photos = photos_by(audience, car, "damage_id", [row.pk for row in rows])
    return {str(row.pk): _told(audience, row, photos[row.pk]) for row in rows}


def _told(audience: Audience, row: Damage, photos: list) -> DamageTold:
    settled = bool(row.settled) and audience.reaches(row.settled_at)
    agreed = settled and audience.hears(row.settled_at)
    open_to_all = agreed or row.settled in _OF_THE_CAR
    return DamageTold(
        on=timezone.localdate(row.made_at),
        where=row.where,
        what=row.what,
        said=tuple(
            DamageSaid(
                by=each.told_by.name if audience.sees(Shows.PEOPLE) else "",
                to=each.told_to.name,
                how=each.get_channel_display().lower(),
                at=each.made_at,
                told=each.told,
                answered=each.answered,
            )
            for each in row.tellings.all()
            if audience.hears(each.made_at)
        ),
        settled="" if not settled else row.get_settled_display() if open_to_all else "Settled at the time",
        words=row.settled_words if agreed else "",
        number=row.number,
        job=row.job.number,
        pictures=pictures(audience, photos),
    )


add_teller("damage", damage, damage_told, "jobs/_account_damage.html")
