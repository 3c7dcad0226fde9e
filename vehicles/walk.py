"""The walk round the car as a survey sees it: places by zone with what was said of each. Reads only."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import Q

from vehicles.models import Fault, FaultEnd, FittedPart, OutstandingItem, Place, Survey, SurveyEntry, Zone
from vehicles.models.part import Position, Provenance
from vehicles.models.survey import SurveyFinding

# The usual care where a zone can hurt; the maker's data and local rules decide.
CARE = {
    Zone.ENGINE: "Moving and hot parts: look with the engine off, keep clothing and hands clear when it runs.",
    Zone.INDUCTION: "Fuel: no flame, no spark, air moving; relieve the pressure before a line is opened. Exhausts burn.",
    Zone.COOLING: "Hot coolant: open nothing under pressure. Refrigerant is for people with the certificate for it.",
    Zone.TRANSMISSION: "Under the car only on stands or a lift at the maker's lifting points, never on a jack alone.",
    Zone.FRONT_AXLE: "Springs hold their load: take nothing apart for a look. Lift at the maker's points, on stands.",
    Zone.REAR_AXLE: "Springs and air bellows hold their load: take nothing apart for a look. Lift at the maker's points.",
    Zone.BRAKES: "Brake dust is not blown off. Nothing is opened or clamped for a survey: look and measure only.",
    Zone.CABIN: "Airbags and pretensioners: no meter on their wires, nothing unplugged. Work on them needs its competence.",
    Zone.UNDERSIDE: "Under the car only on stands or a lift at the maker's lifting points, never on a jack alone.",
}
HIGH_VOLTAGE = (
    "This car has a high-voltage system: nothing orange is touched or unplugged. Isolation, proving dead and work "
    "on it are for people who hold the competence."
)


@dataclass
class Spot:
    """One position of a place: what counts as said, what was said before it, and the part on record there."""

    position: str
    entry: SurveyEntry | None = None
    earlier: list[SurveyEntry] = field(default_factory=list)
    part: FittedPart | None = None
    before: SurveyEntry | None = None  # what the survey before this one said

    @property
    def label(self) -> str:
        return Position(self.position).label if self.position else ""


@dataclass
class Stop:
    """One place with its spots, and what was raised there and is open, or was raised since the survey was begun."""

    place: Place
    spots: list[Spot]
    faults: list[Fault] = field(default_factory=list)
    items: list[OutstandingItem] = field(default_factory=list)

    @property
    def said(self) -> bool:
        return all(spot.entry for spot in self.spots)

    @property
    def any_said(self) -> bool:
        return any(spot.entry for spot in self.spots)

    @property
    def same(self) -> SurveyEntry | None:
        """The one answer, where all spots have the same and none has a remark or a part of its own."""
        first = self.spots[0].entry
        if first is None or len(self.spots) == 1:
            return first
        alike = all(
            spot.entry and spot.entry.finding == first.finding and not spot.entry.part_id
            for spot in self.spots
        )
        return first if alike and len({spot.entry.note for spot in self.spots}) == 1 else None

    @property
    def as_on_record(self) -> str:
        """The finding that says: as it is on record. Empty unless each spot not spoken of has a part that is not the
        factory's, all of them known to be or all of them unknown."""
        parts = [spot.part for spot in self.spots if not spot.entry]
        if not parts or any(part is None or part.is_factory for part in parts):
            return ""
        unknown = {part.provenance == Provenance.UNKNOWN for part in parts}
        if len(unknown) > 1:
            return ""
        return (SurveyFinding.OPEN if unknown.pop() else SurveyFinding.NOT_FACTORY).value

    @property
    def apart(self) -> bool:
        """Whether its spots need answers of their own: they differ, or only some have a part on record."""
        if len(self.spots) == 1 or self.same:
            return False
        return self.any_said or (self.odd_part is not None and not self.as_on_record)

    @property
    def asks(self) -> bool:
        """Something in it is not as the factory made it, or is an open question."""
        return any(spot.entry and spot.entry.finding in TO_FOLLOW for spot in self.spots)

    @property
    def loose(self) -> bool:
        """Somebody should see to it, and nobody has raised anything yet."""
        return self.asks and not self.faults and not self.items

    @property
    def odd_part(self) -> FittedPart | None:
        """A part on record here that is not the factory's: the place can't be called as the factory made it."""
        return next((spot.part for spot in self.spots if spot.part and not spot.part.is_factory), None)


@dataclass
class ZoneWalk:
    zone: Zone
    stops: list[Stop]
    care: str

    @property
    def said(self) -> int:
        return sum(stop.said for stop in self.stops)

    @property
    def left(self) -> int:
        return len(self.stops) - self.said

    @property
    def at_once(self) -> list[Stop]:
        """The places that “all as the factory made it” would speak of."""
        return [stop for stop in self.stops if not stop.any_said and not stop.odd_part]


@dataclass
class Walk:
    zones: list[ZoneWalk]
    said: int
    asked: int
    next_stop: Stop | None

    def zone(self, code: str) -> ZoneWalk | None:
        return next((one for one in self.zones if one.zone == code), None)

    def next_from(self, place: Place | None = None, zone: Zone | None = None) -> Stop | None:
        """The next place not spoken of: this one where only some of it was said, then on from here in the zone, then
        from its beginning, then in the zones after.
        """
        if place is not None:
            zone = Zone(place.zone)
        number = next((n for n, one in enumerate(self.zones) if one.zone == zone), 0)
        here = self.zones[number].stops
        at = next((n for n, stop in enumerate(here) if place and stop.place.pk == place.pk), None)
        if at is not None and here[at].any_said and not here[at].said:
            return here[at]
        after = 0 if at is None else at + 1
        round_the_car = [*self.zones[number + 1 :], *self.zones[:number]]
        way = [*here[after:], *here[:after], *(stop for one in round_the_car for stop in one.stops)]
        return next((stop for stop in way if not stop.said), None)


# What somebody should see to.
TO_FOLLOW = (SurveyFinding.NOT_FACTORY, SurveyFinding.OPEN)


def survey_before(survey: Survey) -> Survey | None:
    """The last finished survey of the car that was begun before this one."""
    return (
        Survey.objects.filter(
            vehicle=survey.vehicle_id, finished_at__isnull=False, made_at__lt=survey.made_at
        )
        .select_related("made_by", "finished_by")
        .order_by("-made_at")
        .first()
    )


def counting_entries(survey: Survey) -> dict[tuple[str, str], SurveyEntry]:
    """(place, position) → the entry that counts. One query."""
    rows = survey.entries.counting().select_related("part__place", "place", "made_by")
    return {(row.place_id, row.position): row for row in rows.order_by("made_at", "received_at")}


def walk(survey: Survey, before: Survey | None = None) -> Walk:
    """Every place with what this survey said of it, and the survey `before` it: three queries, four with that one.

    The latest entry of a place counts. An entry whose part was entered in error since counts no more.
    """
    last_time = counting_entries(before) if before else {}
    entries: dict[tuple[str, str], list[SurveyEntry]] = {}
    for entry in survey.entries.select_related("part__place", "made_by").order_by("made_at", "received_at"):
        entries.setdefault((entry.place_id, entry.position), []).append(entry)
    parts = {
        (part.place_id, part.position): part
        for part in FittedPart.objects.filter(vehicle=survey.vehicle_id).fitted_now().select_related("place")
    }
    zones: dict[Zone, list[Stop]] = {zone: [] for zone in Zone}
    for place in Place.objects.all():
        extra = [one for one in place.allowed if one not in place.asked and (place.pk, one) in entries]
        spots = []
        for position in (*place.asked, *extra):
            rows = entries.get((place.pk, position), [])
            counting = [row for row in rows if not (row.part and row.part.entered_in_error)]
            last = counting[-1] if counting else None
            spots.append(
                Spot(
                    position,
                    last,
                    [row for row in rows if row is not last],
                    parts.get((place.pk, position)),
                    last_time.get((place.pk, position)),
                )
            )
        zones[Zone(place.zone)].append(Stop(place, spots))
    stops = [stop for row in zones.values() for stop in row]
    return Walk(
        zones=[
            ZoneWalk(zone, row, _care(zone, survey.vehicle.high_voltage))
            for zone, row in zones.items()
            if row
        ],
        said=sum(stop.said for stop in stops),
        asked=len(stops),
        next_stop=next((stop for stop in stops if not stop.said), None),
    )


def _care(zone: Zone, high_voltage: bool) -> str:
    if zone == Zone.ELECTRICAL and high_voltage:
        return HIGH_VOLTAGE
    return CARE.get(zone, "")


def add_raised(survey: Survey, found: Walk) -> None:
    """Give each stop the faults and items raised there that are open or came up since the survey was begun.

    Two queries.
    """
    since = Q(end="") | Q(made_at__gte=survey.made_at)
    car = survey.vehicle
    faults: dict[str, list[Fault]] = {}
    for fault in car.faults.exclude(end=FaultEnd.ERROR).filter(since, place__isnull=False):
        faults.setdefault(fault.place_id, []).append(fault)
    items: dict[str, list[OutstandingItem]] = {}
    for item in car.outstanding_items.filter(since, place__isnull=False):
        items.setdefault(item.place_id, []).append(item)
    for zone in found.zones:
        for stop in zone.stops:
            stop.faults, stop.items = faults.get(stop.place.pk, []), items.get(stop.place.pk, [])
