"""Who reads a car's history, and what of it they are shown. Everything that others than staff read goes through this.

Three things are asked of an audience: may it see this kind of thing (`sees`), did it happen in its own time with the
car (`theirs`), and does it reach that far at all (`reaches`). What an audience does not see is never gathered for it.

The work, the parts, photos of the car, what is outstanding, faults and complaints, and plots are the technical
history: they go with the car. Costs, handover sheets, what was told and answered, and the keeper's own name and address
belong to whoever had the car then: they are shown from `since` on, and not at all without it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.db.models import TextChoices
from django.utils import timezone

from vehicles.models import Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.models import Person

if TYPE_CHECKING:
    from vehicles.models.share import Share


class Shows(TextChoices):
    """One kind of thing that a reader is shown. The label is what stands beside its box when a link is made."""

    WORK = "work", "What was done, and when"
    PARTS = "parts", "What the car is, and what is not factory on it"
    PHOTOS = "photos", "Photos of the car and of the work"
    OUTSTANDING = "outstanding", "What is outstanding, and dangers"
    FAULTS = "faults", "Faults and complaints"
    PLOTS = "plots", "Distance and wear over time"
    PEOPLE = "people", "Names of who did the work"
    COSTS = "costs", "What it cost"
    PAPERS = "papers", "Handover sheets"
    KEEPER = "keeper", "The keeper's own name and address"


ALWAYS = frozenset({Shows.WORK})
EVERYTHING = frozenset(Shows)
# For a share link: nothing of money and of persons unless it is chosen.
DEFAULT = frozenset({Shows.WORK, Shows.PARTS, Shows.PHOTOS, Shows.OUTSTANDING, Shows.FAULTS, Shows.PLOTS})
# Of whoever had the car then: never without `since`.
OF_THEIR_TIME = frozenset({Shows.COSTS, Shows.PAPERS, Shows.KEEPER})


class NotTheirs(LookupError):
    """This person has no part in that car by which its history would be theirs. `until`: they had, until that day."""

    def __init__(self, until: date | None = None):
        super().__init__("the car is not theirs")
        self.until = until


@dataclass(frozen=True)
class Audience:
    """What one reader sees of one car.

    `since`: papers, costs, tellings and the keeper's name only from this day on; None: none of them.
    `reader`: who is signed in, and may acknowledge and answer; None: read-only.
    `until`: nothing that happened after this day; None: to the present.
    `link`: makes of an address of the app (of a photo's file, of a PDF) the one under which this reader gets it;
    it answers "" where this reader gets it under none.
    """

    shows: frozenset[Shows]
    since: date | None = None
    reader: Person | None = None
    until: date | None = None
    link: Callable[[str], str] | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "shows", ALWAYS | frozenset(Shows(what) for what in self.shows))

    def sees(self, what: Shows) -> bool:
        return what in self.shows and (what not in OF_THEIR_TIME or self.since is not None)

    def theirs(self, when: date | datetime | None) -> bool:
        """It happened in this reader's own time with the car. None: nobody knows when, so it is not theirs."""
        day = _day(when)
        return day is not None and self.since is not None and day >= self.since and self.reaches(day)

    def hears(self, when: date | datetime | None) -> bool:
        """What was said, answered and asked for then is shown to this reader: it is of their time, and they may see
        the keeper's own."""
        return self.sees(Shows.KEEPER) and self.theirs(when)

    def reaches(self, when: date | datetime | None) -> bool:
        """It is not later than what this reader is shown."""
        day = _day(when)
        return self.until is None or (day is not None and day <= self.until)

    def address(self, url: str) -> str:
        """Where this reader gets what stands at an address of the app; "" where they don't."""
        return self.link(url) if self.link is not None else url

    @property
    def now(self) -> bool:
        """It reads the car as it stands today, so that what is going on is told too."""
        return self.until is None or self.until >= timezone.localdate()

    @classmethod
    def of_owner(cls, person: Person, vehicle: Vehicle) -> Audience:
        """The signed-in owner or registered keeper of today: everything, from the day on which the car is theirs.

        One query. Raises NotTheirs where the person is neither; it says until when they were, where they were.
        """
        rows = VehicleKeeper.objects.filter(vehicle=vehicle, keeper__account=person, part__in=HOLDERS)
        return cls(EVERYTHING, since=holder_since(rows), reader=person)

    @classmethod
    def of_holder(cls, vehicle: Vehicle) -> Audience:
        """What the car's holder of today would see when signed in, for the staff to look at: read-only.

        Where several hold it, from when the first of them does; where nobody does, a new one would begin today.
        """
        rows = list(VehicleKeeper.objects.now().filter(vehicle=vehicle, part__in=HOLDERS))
        return cls(EVERYTHING, since=holder_since(rows) if rows else timezone.localdate())

    @classmethod
    def of_share(cls, share: Share) -> Audience:
        """Who opened a share link: what the link says, read-only. See vehicles.models.share."""
        return cls(
            frozenset(Shows(what) for what in share.shows),
            since=share.since,
            until=share.until,
            link=share.link,
        )

    @classmethod
    def of_print(cls, shows: Iterable[Shows], since: date | None = None) -> Audience:
        """Who holds a print in hand, whoever that comes to be: nothing of a keeper's time unless `since` says from when."""
        return cls(frozenset(shows), since=since)


def holder_since(rows: Iterable[VehicleKeeper]) -> date:
    """From which day on a car is theirs who play these parts; where no day is known, from when it was written down.

    Raises NotTheirs where none of the parts is played any more.
    """
    rows = list(rows)
    days = [row.from_on or timezone.localdate(row.made_at) for row in rows if row.until_on is None]
    if not days:
        raise NotTheirs(max((row.until_on for row in rows), default=None))
    return min(days)


def _day(when: date | datetime | None) -> date | None:
    return timezone.localdate(when) if isinstance(when, datetime) else when
