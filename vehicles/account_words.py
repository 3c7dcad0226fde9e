"""What all chapters of the account have in common: a distance with its truth, and pictures as this reader gets them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q
from django.utils import timezone

from vehicles import odometer
from vehicles.audience import Audience, Shows
from vehicles.models import Attachment, AttachmentKind, Moment, OdometerReading, Vehicle
from workshop.engineering.odometer import TrueDistance

# So many pictures of one chapter stand open, the others folded.
PICTURES = 3


@dataclass(frozen=True)
class Distance:
    """What the odometer showed, and what is known of the true distance. `shown` "": there was no figure."""

    shown: str
    on: date | None
    truth: str
    falls: tuple[str, ...] = ()
    true: bool = True


class Distances:
    """The car's distances as far as the audience sees: two queries, however many are asked for."""

    def __init__(self, audience: Audience, vehicle: Vehicle) -> None:
        self.instruments = odometer.instruments_of(vehicle)
        self.known = {
            reading.pk: reading
            for instrument in self.instruments
            for reading in instrument.shown
            if audience.reaches(reading.read_at)
        }

    @property
    def now(self) -> Distance:
        """At the latest reading that counts and that the audience sees."""
        rows = [row for row in self.known.values() if row.value is not None and not row.misread_because]
        if not rows:
            return Distance("", None, odometer.NO_READING.sentence)
        return self._at(max(rows, key=lambda row: (row.read_at, row.made_at)))

    def at(self, reading_id: Any) -> Distance | None:
        """At one reading; None where there is none, or where it was set aside as misread."""
        reading = self.known.get(reading_id)
        return None if reading is None or reading.misread_because else self._at(reading)

    def _at(self, reading: OdometerReading) -> Distance:
        truth = odometer.truth_at(reading, self.instruments)
        unit = next(one for one in self.instruments if one.pk == reading.instrument_id).unit
        return Distance(
            shown="" if reading.value is None else f"{reading.figure} {unit}",
            on=timezone.localdate(reading.read_at),
            truth=truth.sentence,
            falls=tuple(flag.message for flag in truth.flags if flag.code == "lower_reading"),
            true=_is_true(truth),
        )


def _is_true(truth: TrueDistance) -> bool:
    """All of it was counted, and no tyres falsified it."""
    return truth.km is not None and not truth.falsified_km


@dataclass(frozen=True)
class Picture:
    """One photo or document, under the addresses at which this reader gets it. `small` "": no picture, but a paper."""

    url: str
    small: str
    words: str
    width: int | None = None
    height: int | None = None


@dataclass(frozen=True)
class Pictures:
    """`pairs`: before and after beside each other. `shown` and `more`: the others, those too many folded."""

    pairs: tuple[tuple[Picture, Picture], ...] = ()
    shown: tuple[Picture, ...] = ()
    more: tuple[Picture, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.pairs or self.shown)


NO_PICTURES = Pictures()


def photos_by(
    audience: Audience, vehicle: Vehicle, column: str, keys: Iterable[Any]
) -> dict[Any, list[Attachment]]:
    """What this audience may see of the pictures that belong to these records, oldest first: one query.

    Pictures of the car go with the car. Documents, signed papers and the pictures taken all round at check-in and
    handover can show names, addresses and belongings: only to who had the car then.
    """
    found: dict[Any, list[Attachment]] = defaultdict(list)
    if not audience.sees(Shows.PHOTOS):
        return found
    rows = Attachment.objects.shown().filter(Q(vehicle=vehicle), Q(**{f"{column}__in": list(keys)}))
    for row in rows.order_by("made_at", "received_at", "order_sent", "pk"):
        of_the_car = row.kind == AttachmentKind.PHOTO and not row.occasion
        if audience.reaches(row.made_at) if of_the_car else audience.hears(row.made_at):
            found[getattr(row, column)].append(row)
    return found


def pictures(audience: Audience, rows: Iterable[Attachment]) -> Pictures:
    """As they are shown: before and after of one work line in pairs, the others in a row. No query."""
    rows = list(rows)
    before, after = defaultdict(list), defaultdict(list)
    for row in rows:
        if row.moment == Moment.BEFORE:
            before[row.line_id].append(row)
        elif row.moment == Moment.AFTER:
            after[row.line_id].append(row)
    pairs, paired = [], set()
    for line, firsts in before.items():
        for one, other in zip(firsts, after[line], strict=False):
            two = picture(audience, one), picture(audience, other)
            if two[0] and two[1]:
                pairs.append(two)
                paired |= {one.pk, other.pk}
    rest = [shown for row in rows if row.pk not in paired and (shown := picture(audience, row))]
    # Beside pairs the others are folded: before and after is the story, and a telephone's page stays light.
    most = 0 if pairs else PICTURES
    return Pictures(tuple(pairs), tuple(rest[:most]), tuple(rest[most:]))


def picture(audience: Audience, row: Attachment) -> Picture | None:
    """None where this reader gets it under no address."""
    # Behind a link there is the file alone: the photo's page is for who is signed in.
    url = audience.address(row.file_url()) if audience.link else row.get_absolute_url()
    small = audience.address(row.small_url()) if row.is_picture else ""
    if not url or (row.is_picture and not small):
        return None
    moment = f"{row.get_moment_display()}: " if row.moment and row.caption else ""
    return Picture(url, small, f"{moment}{row.caption or row.what}", row.width, row.height)
