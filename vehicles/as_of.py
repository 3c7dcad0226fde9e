"""What a car looked like on a day. What changed between two days is `vehicles.as_of_changes`.

It is what we know today about that day. Things count by the day that they are about, not by the day on which they were
written down; what was written down after the day is marked so. What was set aside, or entered in error, is left out. A
day is taken at its end: what was fitted on it is on the car, what came off on it is not. A part or a plate of which
nobody knows since when counts from always, but not while something else is known to have been in its place.
What a record says of itself (severity, provenance, description) is what it says today, and what was ended and opened
again counts as open throughout.

One state costs a fixed number of queries, and a second day of the same car none.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, NamedTuple

from django.utils import timezone

from vehicles import odometer
from vehicles.models import (
    Fault,
    FaultEnd,
    FittedPart,
    Instrument,
    Keeper,
    OdometerReading,
    OutstandingItem,
    PastWork,
    Registration,
    Severity,
    Vehicle,
    VehicleKeeper,
)
from workshop.engineering.numbers import day_words
from workshop.engineering.odometer import TrueDistance


class Known(NamedTuple):
    """One record as it stood on the day. `later`: it was written down after the day, on that day.

    `since` is the day from which it holds; None: nobody knows.
    """

    what: Any
    since: date | None
    later: date | None


class First(NamedTuple):
    """What is first known of a car."""

    day: date
    what: str


class NotKnown(ValueError):
    """There is no such day to be shown; its text is a sentence for whoever asked."""


@dataclass(frozen=True)
class Whole:
    """All that there is of a car to be asked for a day: read once, for any number of days."""

    vehicle: Vehicle
    parts: list[FittedPart]
    instruments: list[Instrument]
    items: list[OutstandingItem]
    faults: list[Fault]
    registrations: list[Registration]
    keepers: list[VehicleKeeper] | None
    first_past_work: PastWork | None

    @classmethod
    def of(cls, vehicle: Vehicle, *, keepers: bool = False) -> Whole:
        """Seven queries, one more with the keepers (which only the shop's own people see)."""
        return cls(
            vehicle,
            list(
                FittedPart.objects.filter(vehicle=vehicle, entered_in_error="")
                .select_related("place")
                .order_by("place__order", "place__name", "position", "made_at")
            ),
            odometer.instruments_of(vehicle),
            list(OutstandingItem.objects.filter(vehicle=vehicle).select_related("place").most_severe_first()),
            list(
                Fault.objects.filter(vehicle=vehicle)
                .exclude(end=FaultEnd.ERROR)
                .select_related("place")
                .annotate(rank=Severity.order())
                .order_by("rank", "order")
            ),
            list(Registration.objects.filter(vehicle=vehicle)),
            list(
                VehicleKeeper.objects.filter(vehicle=vehicle)
                .select_related("keeper")
                .order_by("part", "from_on")
            )
            if keepers
            else None,
            PastWork.objects.filter(vehicle=vehicle, entered_in_error="").order_by("done_on").first(),
        )

    @property
    def first(self) -> First:
        """The earliest day of which anything is known. No query."""
        found = [First(day_of(self.vehicle.made_at), "when the car was taken on record")]
        for instrument in self.instruments:
            for row in odometer.counted(instrument)[:1]:
                found.append(
                    First(
                        day_of(row.read_at),
                        f"an odometer reading of {row.figure} {instrument.get_unit_display()}",
                    )
                )
        found += [
            First(day_of(part.fitted_at), f"a part fitted: {part}") for part in self.parts if part.fitted_at
        ]
        found += [First(row.from_on, f"its plate, {row.plate}") for row in self.registrations if row.from_on]
        if self.first_past_work is not None:
            found.append(First(self.first_past_work.done_on, f"past work: {self.first_past_work}"))
        return min(found, key=lambda one: one.day)


@dataclass(frozen=True)
class State:
    """A car at the end of a day. The lists hold `Known`; `keepers` is None where they were not asked for.

    `reading` is the last one with a figure up to the day, `distance` the truth of it.
    """

    vehicle: Vehicle
    day: date
    parts: tuple[Known, ...]
    reading: Known | None
    distance: TrueDistance
    items: tuple[Known, ...]
    faults: tuple[Known, ...]
    plates: tuple[Known, ...]
    keepers: tuple[Known, ...] | None
    whole: Whole

    # The names of the contract between the rooms.
    @property
    def open_items(self) -> list[OutstandingItem]:
        return [one.what for one in self.items]

    @property
    def open_faults(self) -> list[Fault]:
        return [one.what for one in self.faults]

    @property
    def odometer(self) -> TrueDistance:
        return self.distance

    @property
    def people(self) -> list[tuple[Keeper, list[Known]]]:
        """Each person once, with the parts that they played; nobody where they were not asked for."""
        found: dict[Any, list[Known]] = {}
        for one in self.keepers or ():
            found.setdefault(one.what.keeper, []).append(one)
        return list(found.items())

    @property
    def not_factory(self) -> tuple[Known, ...]:
        return tuple(one for one in self.parts if not one.what.is_factory)

    @property
    def factory(self) -> tuple[Known, ...]:
        return tuple(one for one in self.parts if one.what.is_factory)


def as_of(vehicle: Vehicle, day: date, *, keepers: bool = False, whole: Whole | None = None) -> State:
    """How the car was on a day. Raises NotKnown for a day that lies ahead or before anything is known of it."""
    whole = whole or Whole.of(vehicle, keepers=keepers)
    check(day, whole)
    instruments = odometer.until(whole.instruments, day)
    return State(
        vehicle,
        day,
        parts=tuple(_parts(whole.parts, day)),
        reading=_reading(instruments, day),
        distance=odometer.truth_of(instruments),
        items=tuple(
            Known(item, item.raised_on, _later(item, day))
            for item in whole.items
            if begun(item) <= day and not over(item.ended_at, day)
        ),
        faults=tuple(
            Known(fault, begun(fault), _later(fault, day))
            for fault in whole.faults
            if begun(fault) <= day and not over(fault.ended_at, day)
        ),
        plates=tuple(_in_force(whole.registrations, day)),
        keepers=None if whole.keepers is None else tuple(_in_force(whole.keepers, day)),
        whole=whole,
    )


def check(day: date, whole: Whole) -> None:
    """Raises NotKnown for a day of which nothing can be said. No query."""
    today = timezone.localdate()
    if day > today:
        raise NotKnown(f"{day_words(day)} lies ahead. Give today or an earlier day.")
    first = whole.first
    if day < first.day:
        raise NotKnown(
            f"Nothing is known of this car on {day_words(day)}. What is first known is of {day_words(first.day)}: "
            f"{first.what}."
        )


def _parts(parts: Sequence[FittedPart], day: date) -> Iterable[Known]:
    removals: dict[tuple, list[datetime]] = {}
    for part in parts:
        if part.removed_at is not None:
            removals.setdefault((part.place_id, part.position), []).append(part.removed_at)
    for part in parts:
        if over(part.removed_at, day):
            continue
        begins = part.fitted_at
        if begins is None:
            # Seen there at `made_at`, nobody knows since when: at least not while another part was in its place.
            ends = part.removed_at or part.made_at
            before = [
                moment
                for moment in removals.get((part.place_id, part.position), ())
                if moment <= min(ends, part.made_at) and moment != part.removed_at
            ]
            begins = max(before, default=None)
        if begins is None or day_of(begins) <= day:
            yield Known(part, day_of(part.fitted_at), _later(part, day))


def _reading(instruments: Sequence[Instrument], day: date) -> Known | None:
    rows = [row for instrument in instruments for row in odometer.counted(instrument)]
    if not rows:
        return None
    last: OdometerReading = max(rows, key=lambda row: (row.read_at, row.made_at))
    last.instrument = next(one for one in instruments if one.pk == last.instrument_id)
    return Known(last, day_of(last.read_at), _later(last, day))


def _in_force(rows: Iterable[Any], day: date) -> Iterable[Known]:
    """Plates and keepers; `until_on` is the first day on which they no longer are."""
    for row in rows:
        if (row.from_on is None or row.from_on <= day) and (row.until_on is None or row.until_on > day):
            yield Known(row, row.from_on, _later(row, day))


def over(ended: datetime | None, day: date) -> bool:
    """It had ended by the end of that day."""
    return ended is not None and ended < _end_of(day)


def _end_of(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day + timedelta(days=1), time.min))


def _later(row: Any, day: date) -> date | None:
    """When it was written down, where that was after the day."""
    written = day_of(row.received_at)
    return written if written > day else None


def day_of(moment: datetime | None) -> date | None:
    return None if moment is None else timezone.localdate(moment)


def begun(row: OutstandingItem | Fault) -> date:
    return row.raised_on if isinstance(row, OutstandingItem) else day_of(row.made_at)
