"""What changed on a car between two days: two of its states (`vehicles.as_of`) beside one another. No query."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from vehicles import odometer
from vehicles.as_of import Known, State, begun, day_of, over
from vehicles.models import Fault, FittedPart, OutstandingItem, Registration
from workshop.engineering.numbers import day_words
from workshop.engineering.odometer import TrueDistance


class Pair(NamedTuple):
    """A part and what came in its stead, or the same part before and after it moved."""

    old: FittedPart
    new: FittedPart


@dataclass(frozen=True)
class Changes:
    """What is different on the later day `b`. What came and went between the two days is in the lists `…_between`.

    `distance` is the true distance between the last readings up to the two days; None where there are not two.
    """

    a: State
    b: State
    fitted: tuple[FittedPart, ...]
    removed: tuple[FittedPart, ...]
    replaced: tuple[Pair, ...]
    moved: tuple[Pair, ...]
    parts_between: tuple[FittedPart, ...]
    items_opened: tuple[OutstandingItem, ...]
    items_ended: tuple[OutstandingItem, ...]
    items_between: tuple[OutstandingItem, ...]
    faults_opened: tuple[Fault, ...]
    faults_ended: tuple[Fault, ...]
    faults_between: tuple[Fault, ...]
    plates_gone: tuple[Registration, ...]
    plates_new: tuple[Registration, ...]
    distance: TrueDistance | None

    @property
    def nothing(self) -> bool:
        """Nothing is different but, perhaps, the distance."""
        return not any(
            (self.fitted, self.removed, self.replaced, self.moved, self.parts_between, self.items_opened,
             self.items_ended, self.items_between, self.faults_opened, self.faults_ended, self.faults_between,
             self.plates_gone, self.plates_new)
        )  # fmt: skip

    @property
    def distance_words(self) -> str:
        """The distance between the two days, with its truth, in a sentence."""
        if self.a.reading is None or self.b.reading is None:
            return "The distance between them is not known: there are no two odometer readings."
        first, last = (day_words(day_of(one.reading.what.read_at)) for one in (self.a, self.b))
        if self.a.reading.what.pk == self.b.reading.what.pk:
            return f"The distance between them is not known: the odometer was last read on {first}."
        return f"Between the readings of {first} and {last}: {_lower(self.distance.sentence)}"


def compare(a: State, b: State) -> Changes:
    """What changed from one state of a car to a later one; given the other way round, they are turned. No query.

    Raises ValueError for states of two cars.
    """
    if a.vehicle.pk != b.vehicle.pk:
        raise ValueError("these are states of two cars")
    if a.day > b.day:
        a, b = b, a
    before, after = {one.what.pk: one.what for one in a.parts}, {one.what.pk: one.what for one in b.parts}
    gone = [part for key, part in before.items() if key not in after]
    new = [part for key, part in after.items() if key not in before]
    moved = _moved(gone, new, b.whole.parts)
    gone = [part for part in gone if part.pk not in {pair.old.pk for pair in moved}]
    new = [part for part in new if part.pk not in {pair.new.pk for pair in moved}]
    in_place = {(part.place_id, part.position): part for part in gone}
    replaced = [
        Pair(old, part) for part in new if (old := in_place.get((part.place_id, part.position))) is not None
    ]
    done = {part.pk for pair in replaced for part in pair}
    return Changes(
        a,
        b,
        fitted=tuple(part for part in new if part.pk not in done),
        removed=tuple(part for part in gone if part.pk not in done),
        replaced=tuple(replaced),
        moved=tuple(pair for pair in moved if (pair.old.place_id, pair.old.position)
                    != (pair.new.place_id, pair.new.position)),
        parts_between=tuple(
            part
            for part in b.whole.parts
            if part.fitted_at is not None
            and day_of(part.fitted_at) > a.day
            and over(part.removed_at, b.day)
            and not _again(part, after, b.whole.parts)
        ),
        **_opened_and_ended("items", a.items, b.items, b.whole.items, a.day, b.day),
        **_opened_and_ended("faults", a.faults, b.faults, b.whole.faults, a.day, b.day),
        plates_gone=_minus(a.plates, b.plates),
        plates_new=_minus(b.plates, a.plates),
        distance=_between(a, b),
    )  # fmt: skip


def _moved(gone: Sequence[FittedPart], new: Sequence[FittedPart], parts: Sequence[FittedPart]) -> list[Pair]:
    """The same part before and after: moved to another place, or off and fitted again, over any number of records."""
    by_key, was = {part.pk: part for part in parts}, {part.pk: part for part in gone}
    found = []
    for part in new:
        record, seen = part, set()
        while record is not None and record.pk not in seen:
            seen.add(record.pk)
            if record.pk in was:
                found.append(Pair(was[record.pk], part))
                break
            record = by_key.get(record.earlier_record_id)
    return found


def _again(part: FittedPart, after: dict, parts: Sequence[FittedPart]) -> bool:
    """It is a record of a part that is on the car at the end, under a later record."""
    later = {row.earlier_record_id: row for row in parts if row.earlier_record_id is not None}
    record, seen = part, set()
    while record is not None and record.pk not in seen:
        if record.pk in after:
            return True
        seen.add(record.pk)
        record = later.get(record.pk)
    return False


def _opened_and_ended(
    name: str, a: Sequence[Known], b: Sequence[Known], every: Iterable[Any], first: date, last: date
) -> dict[str, tuple]:
    return {
        f"{name}_opened": _minus(b, a),
        f"{name}_ended": _minus(a, b),
        f"{name}_between": tuple(row for row in every if first < begun(row) and over(row.ended_at, last)),
    }


def _minus(these: Iterable[Known], those: Iterable[Known]) -> tuple:
    there = {one.what.pk for one in those}
    return tuple(one.what for one in these if one.what.pk not in there)


def _between(a: State, b: State) -> TrueDistance | None:
    if a.reading is None or b.reading is None or a.reading.what.pk == b.reading.what.pk:
        return None
    return odometer.distance_of(odometer.until(b.whole.instruments, b.day), a.reading.what, b.reading.what)


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
