"""The walk round the car as a survey sees it: places by zone with what was said of each. Reads only."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.db.models import Q
from django.urls import reverse

from vehicles.models import FaultEnd, FittedPart, Place, Survey, SurveyEntry, Zone
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

    @property
    def label(self) -> str:
        return Position(self.position).label if self.position else ""


@dataclass
class Stop:
    """One place with its spots."""

    place: Place
    spots: list[Spot]

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


@dataclass
class Walk:
    zones: list[ZoneWalk]
    said: int
    asked: int
    next_stop: Stop | None


def walk(survey: Survey) -> Walk:
    """Every place with what this survey said of it: three queries, whatever was said.

    The latest entry of a place counts. An entry whose part was entered in error since counts no more.
    """
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


# Sorted by what a reader looks for first.
_TITLES = {
    SurveyFinding.NOT_FACTORY: "Not as the factory made it",
    SurveyFinding.OPEN: "Open questions",
    SurveyFinding.NOT_SEEN: "Could not be seen",
    SurveyFinding.AS_FACTORY: "As the factory made it",
    SurveyFinding.NOT_PRESENT: "This car has none",
}
# What somebody should see to.
_TO_FOLLOW = (SurveyFinding.NOT_FACTORY, SurveyFinding.OPEN)


def report_groups(found: Walk) -> list[dict]:
    """What was said, grouped by finding: {finding, title, rows}; a row has zone, place, spots, where, entry, part.

    `where` names the positions, unless the row is about every position of its place that the walk has.
    """
    groups = {code: {"finding": code.value, "title": title, "rows": []} for code, title in _TITLES.items()}
    silent = {"finding": "", "title": "Nothing was said of", "rows": []}
    for zone in found.zones:
        for stop in zone.stops:
            for spot in stop.spots:
                group = groups[SurveyFinding(spot.entry.finding)] if spot.entry else silent
                last = group["rows"][-1] if group["rows"] else None
                if last and last["place"] == stop.place and _says_the_same(last["spots"][-1], spot):
                    last["spots"].append(spot)
                else:
                    group["rows"].append(
                        {"zone": zone.zone.label, "place": stop.place, "spots": [spot], "of": len(stop.spots)}
                    )
    for group in (*groups.values(), silent):
        for row in group["rows"]:
            whole = len(row["spots"]) == row["of"]
            row["where"] = "" if whole else ", ".join(spot.label for spot in row["spots"])
            row["entry"] = row["spots"][0].entry
            row["part"] = row["entry"].part if row["entry"] else None
    return [group for group in (*groups.values(), silent) if group["rows"]]


def _says_the_same(one: Spot, other: Spot) -> bool:
    """Two positions of a place that a report may name in one line."""
    if one.entry is None or other.entry is None:
        return one.entry is other.entry
    if one.entry.note != other.entry.note:
        return False
    parts = [one.entry.part, other.entry.part]
    if None in parts:
        return parts[0] is parts[1]
    alike = ("description", "provenance", "confidence", "factory_fits", "follows")
    return all(getattr(parts[0], name) == getattr(parts[1], name) for name in alike)


def follow_up(survey: Survey, groups: list[dict]) -> None:
    """Give each finding that somebody should see to its `faults` and `items`, or `loose`: where to raise one.

    Those of its place count that are open, or were raised since the survey was begun. Two queries.
    """
    since = Q(end="") | Q(made_at__gte=survey.made_at)
    car = survey.vehicle
    faults = list(car.faults.exclude(end=FaultEnd.ERROR).filter(since, place__isnull=False))
    items = list(car.outstanding_items.filter(since, place__isnull=False))
    for group in groups:
        if group["finding"] not in _TO_FOLLOW:
            continue
        for row in group["rows"]:
            positions = {spot.position for spot in row["spots"]}
            row["faults"] = [
                fault
                for fault in faults
                if fault.place_id == row["place"].pk and (not fault.position or fault.position in positions)
            ]
            row["items"] = [item for item in items if item.place_id == row["place"].pk]
            if not row["faults"] and not row["items"]:
                row["loose"] = _to_raise(survey, row)


def _to_raise(survey: Survey, row: dict) -> dict[str, str]:
    """Addresses of the two forms, filled with what the survey knows."""
    title = row["part"].description if row["part"] else row["entry"].note or str(row["place"])
    job = survey.job_id if survey.job_id and not survey.job.is_closed else ""
    position = row["spots"][0].position if len(row["spots"]) == 1 else ""
    known = {"place": row["place"].pk, "title": title[:120]}
    as_fault = {**known, "kind": "finding", "position": position, "job": job}
    as_item = {**known, "raised_in": job}
    return {
        name: f"{reverse(f'vehicles:{name}-add', args=[survey.vehicle_id])}?"
        + urlencode({key: value for key, value in values.items() if value})
        for name, values in (("fault", as_fault), ("outstanding", as_item))
    }
