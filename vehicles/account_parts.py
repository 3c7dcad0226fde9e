"""What the car is, what is not factory on it, and why that matters: for the account, in the owner's plain sentences."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.utils import timezone

from vehicles.account_words import NO_PICTURES, Pictures, photos_by, pictures
from vehicles.audience import Audience, Shows
from vehicles.effects import NONE, ShownRow, of_figures
from vehicles.figures import fitted_on, gathered, sheet_of
from vehicles.models import Evidence, FittedPart, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from vehicles.models.part import EvidenceKind
from workshop.engineering.effect import Standing

# So many changes of one subject are said that no published limit is known for.
CHANGES = 2


@dataclass(frozen=True)
class CarFacts:
    """What is written of a car. `plate` only for who sees the keeper: it leads to a person."""

    name: str
    variant: str
    make: str
    model: str
    year: int
    number: str
    no_number: str
    engine_number: str
    body: str
    colour: str
    high_voltage: bool
    plate: str


@dataclass(frozen=True)
class PartTold:
    """A part that is not the factory's, or several alike, with how it is known and how sure that is."""

    what: str
    where: str
    comes_from: str
    sure: str
    confidence: str
    known_by: tuple[str, ...]
    factory: str = ""
    follows: str = ""
    pictures: Pictures = NO_PICTURES


@dataclass(frozen=True)
class Why:
    """What one subject's parts change. `outside` are sentences of what lies outside a limit, and come first."""

    title: str
    outside: tuple[str, ...]
    changes: tuple[str, ...]
    approval: bool = False


@dataclass(frozen=True)
class Build:
    parts: tuple[PartTold, ...]
    surveyed: bool
    whys: tuple[Why, ...] = ()
    informs: tuple[str, ...] = ()
    not_said: int = 0


@dataclass(frozen=True)
class Holder:
    part: str
    name: str
    address: str


def car_facts(audience: Audience, vehicle: Vehicle) -> CarFacts:
    """One query, none where the plates are at hand."""
    known = audience.sees(Shows.PARTS)
    return CarFacts(
        name=vehicle.name,
        variant=vehicle.variant,
        make=vehicle.make,
        model=vehicle.model,
        year=vehicle.year,
        number=vehicle.number if known else "",
        no_number=vehicle.number_unknown_because if known else "",
        engine_number=vehicle.engine_number if known else "",
        body=vehicle.body,
        colour=vehicle.colour,
        high_voltage=vehicle.high_voltage,
        plate=vehicle.current_plate() if audience.sees(Shows.KEEPER) and audience.now else "",
    )


def holders_of(audience: Audience, vehicle: Vehicle) -> tuple[Holder, ...]:
    """Who holds the car, for who sees that: none who came after the reader's own time began. One query."""
    if not (audience.sees(Shows.KEEPER) and audience.now):
        return ()
    rows = VehicleKeeper.objects.now().filter(vehicle=vehicle, part__in=HOLDERS).select_related("keeper")
    played: dict[tuple[str, str], list[str]] = defaultdict(list)
    for row in rows:
        if audience.reader is not None and row.keeper.account_id != audience.reader.pk:
            continue
        if (row.from_on or timezone.localdate(row.made_at)) <= audience.since:
            played[row.keeper.name, row.keeper.address].append(row.get_part_display())
    return tuple(Holder(" and ".join(parts).capitalize(), *who) for who, parts in played.items())


def build_of(audience: Audience, vehicle: Vehicle) -> Build | None:
    """What is not factory on the car. Five queries; None for who does not see the parts."""
    if not audience.sees(Shows.PARTS):
        return None
    fitted = _fitted(audience, vehicle)
    odd = [part for part in fitted if not part.is_factory]
    whys, informs, not_said = (), (), 0
    if audience.now and odd:
        report = of_figures(gathered(vehicle, sheet_of(vehicle), fitted), odd)
        whys = tuple(why for topic in report.topics if (why := _why(topic)))
        not_said = sum(
            row.row.standing == Standing.NOT_KNOWN for topic in report.topics for row in topic.rows
        )
        informs = report.sentences
    return Build(_told(audience, vehicle, odd), bool(fitted), whys, informs, not_said)


def _fitted(audience: Audience, vehicle: Vehicle) -> list[FittedPart]:
    if audience.now:
        return fitted_on(vehicle)
    end = timezone.make_aware(datetime.combine(audience.until + timedelta(days=1), time()))
    return list(FittedPart.objects.filter(vehicle=vehicle).on(end).select_related("place"))


def _told(audience: Audience, vehicle: Vehicle, parts: list[FittedPart]) -> tuple[PartTold, ...]:
    """Those of one description together, with their places: two queries."""
    evidence = defaultdict(list)
    for row in Evidence.objects.filter(part__in=parts).order_by("made_at"):
        if audience.reaches(row.made_at):
            evidence[row.part_id].append(_known_by(audience, row))
    photos = photos_by(audience, vehicle, "part_id", [part.pk for part in parts])
    alike: dict[tuple, list[FittedPart]] = defaultdict(list)
    for part in parts:
        same = (part.description, part.provenance, part.confidence, part.factory_fits, part.follows)
        alike[same].append(part)
    return tuple(
        PartTold(
            what=first.description,
            where="; ".join(_places(several)),
            comes_from=first.get_provenance_display(),
            sure=first.get_confidence_display(),
            confidence=first.confidence,
            known_by=tuple(dict.fromkeys(words for part in several for words in evidence[part.pk])),
            factory=first.factory_fits,
            follows=first.follows,
            pictures=pictures(audience, [row for part in several for row in photos[part.pk]]),
        )
        for several in alike.values()
        for first in several[:1]
    )


def _places(parts: list[FittedPart]) -> list[str]:
    """ "Tyre, front left and front right": the place named once."""
    places: dict[str, list[str]] = defaultdict(list)
    for part in parts:
        places[part.place.name] += [part.get_position_display()] if part.position else []
    return [f"{name}, {' and '.join(where)}" if where else name for name, where in places.items()]


def _known_by(audience: Audience, row: Evidence) -> str:
    """How it is known. What an owner said is told in words to that owner alone."""
    kind = row.get_kind_display()
    if row.kind == EvidenceKind.OWNER_STATEMENT and not audience.hears(row.made_at):
        return kind
    return f"{kind}: {row.what}"


def _why(topic) -> Why | None:
    outside = tuple(_sentence(row) for row in topic.outside)
    changed = [row for row in topic.rows if row.row.standing == Standing.CHANGED]
    inside = [row for row in topic.rows if row.row.standing == Standing.INSIDE]
    changes = tuple(_sentence(row) for row in [*inside[:CHANGES], *changed[:CHANGES]])
    if not outside and not changes:
        return None
    return Why(topic.topic.title, outside, changes, topic.topic.local_approval)


def _sentence(shown: ShownRow) -> str:
    """ "Rolling circumference: from the factory 2187 mm; on this car 2304 mm (+5.4 %)." and what that means."""
    row = shown.row
    parts = [f"from the factory {row.factory}"] if row.factory != NONE else []
    parts.append(f"on this car {row.now}")
    change = f" ({row.change})" if row.change not in (NONE, "none", "another", "") else ""
    said = f"{row.what}: {'; '.join(parts)}{change}."
    if row.verdict:
        return f"{said} {row.verdict}"
    if row.standing == Standing.OUTSIDE:
        return f"{said} The limit is {row.limit}."
    return said
