"""What a survey comes to: its findings in groups, what to look into first, and what changed since the one before.

The screen, the end of the survey and the print read the same data. Reads only.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from vehicles.look_first import Finding, First, Raised, look_first, settles
from vehicles.models import Fault, OutstandingItem, Place, Survey, SurveyEntry
from vehicles.models.part import Position, Provenance
from vehicles.models.survey import SurveyFinding
from vehicles.parts import evidence_of
from vehicles.photos import photos_by
from vehicles.walk import TO_FOLLOW, Spot, Walk, add_raised, counting_entries, survey_before, walk

# Sorted by what a reader looks for first.
_TITLES = {
    SurveyFinding.NOT_FACTORY: "Not as the factory made it",
    SurveyFinding.OPEN: "Open questions",
    SurveyFinding.NOT_SEEN: "Could not be seen",
    SurveyFinding.AS_FACTORY: "As the factory made it",
    SurveyFinding.NOT_PRESENT: "This car has none",
}


@dataclass(frozen=True)
class Change:
    """What a place is said to be now, and what the survey before said of it."""

    where: str
    was: str
    now: str


@dataclass
class Report:
    """`groups` as of `report_groups`; `silent_now`: how many places were spoken of last time and not this time."""

    survey: Survey
    walk: Walk
    groups: list[dict]
    first: list[First]
    before: Survey | None = None
    changes: list[Change] = field(default_factory=list)
    silent_now: int = 0

    def group(self, finding: str) -> list[dict]:
        return next((group["rows"] for group in self.groups if group["finding"] == finding), [])

    @property
    def not_factory(self) -> list[dict]:
        return self.group(SurveyFinding.NOT_FACTORY)

    @property
    def open_questions(self) -> list[dict]:
        return self.group(SurveyFinding.OPEN)

    @property
    def not_seen(self) -> list[dict]:
        return self.group(SurveyFinding.NOT_SEEN)

    @property
    def rest(self) -> list[dict]:
        """The groups that nobody has to act on, and what was not spoken of."""
        shown = (*TO_FOLLOW, SurveyFinding.NOT_SEEN)
        return [group for group in self.groups if group["finding"] not in shown]

    @property
    def in_several(self) -> int:
        """How many places stand in more than one group, because their positions differ."""
        groups = [{row["place"].pk for row in group["rows"]} for group in self.groups]
        return sum(sum(place in group for group in groups) > 1 for place in set().union(*groups))

    @property
    def loose(self) -> list[dict]:
        """Findings that somebody should see to and nobody has raised anything on."""
        return [row for row in (*self.not_factory, *self.open_questions) if row["loose"]]

    @property
    def people(self) -> list[str]:
        """Who spoke of places, in the order of their first word."""
        said = [
            spot.entry for zone in self.walk.zones for stop in zone.stops for spot in stop.spots if spot.entry
        ]
        return list(dict.fromkeys(str(entry.made_by) for entry in sorted(said, key=lambda row: row.made_at)))


def report_of(survey: Survey) -> Report:
    """Ten queries, whatever was said. `survey` has its vehicle selected along."""
    before = survey_before(survey)
    found = walk(survey)
    add_raised(survey, found)
    groups = report_groups(found)
    _add_what_follows(survey, groups)
    report = Report(survey, found, groups, look_first(_findings(survey, found, groups)), before)
    if before is not None:
        report.changes, report.silent_now = changes_since(
            counting_entries(before),
            {
                (stop.place.pk, spot.position): spot.entry
                for zone in found.zones
                for stop in zone.stops
                for spot in stop.spots
                if spot.entry
            },
        )
    return report


def report_groups(found: Walk) -> list[dict]:
    """What was said, grouped by finding: {finding, title, rows}; a row has zone, place, spots, where, entry, part.

    `where` names the positions, unless the row is about every position of its place that the walk has.
    """
    groups = {code: {"finding": code.value, "title": title, "rows": []} for code, title in _TITLES.items()}
    silent = {"finding": "", "title": "Nothing was said of", "rows": []}
    for zone in found.zones:
        for stop in zone.stops:
            for spot in stop.spots:
                group = groups[_group_of(spot.entry)] if spot.entry else silent
                last = group["rows"][-1] if group["rows"] else None
                if last and last["place"] == stop.place and _says_the_same(last["spots"][-1], spot):
                    last["spots"].append(spot)
                else:
                    group["rows"].append(
                        {"zone": zone.zone.label, "place": stop.place, "stop": stop, "spots": [spot]}
                    )
    for group in (*groups.values(), silent):
        for row in group["rows"]:
            whole = len(row["spots"]) == len(row["stop"].spots)
            row["where"] = "" if whole else ", ".join(spot.label for spot in row["spots"])
            row["entry"] = row["spots"][0].entry
            row["part"] = row["entry"].part if row["entry"] else None
    return [group for group in (*groups.values(), silent) if group["rows"]]


def _group_of(entry: SurveyEntry) -> SurveyFinding:
    """Where nobody knows where a part comes from it is an open question, whichever answer was tapped."""
    if entry.finding in TO_FOLLOW and entry.part and entry.part.provenance == Provenance.UNKNOWN:
        return SurveyFinding.OPEN
    return SurveyFinding(entry.finding)


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


def _add_what_follows(survey: Survey, groups: list[dict]) -> None:
    """Give each finding that somebody should see to its faults, items, evidence and photos. Two queries."""
    rows = [row for group in groups if group["finding"] in TO_FOLLOW for row in group["rows"]]
    parts = [row["part"] for row in rows if row["part"]]
    evidence = evidence_of(parts)
    photos = photos_by(survey.vehicle_id, "place_id", survey=survey)
    for row in rows:
        positions = {spot.position for spot in row["spots"]}
        row["position"] = row["spots"][0].position if len(row["spots"]) == 1 else ""
        row["faults"] = [
            fault for fault in row["stop"].faults if not fault.position or fault.position in positions
        ]
        row["items"] = row["stop"].items
        row["loose"] = not row["faults"] and not row["items"]
        row["evidence"] = evidence.get(row["part"].pk, []) if row["part"] else []
        row["photos"] = [
            photo
            for photo in photos.get(row["place"].pk, [])
            if photo.is_picture and (not photo.position or photo.position in positions)
        ]
    for group in groups:
        if group["finding"] not in TO_FOLLOW:
            for row in group["rows"]:
                row["photos"] = [one for one in photos.get(row["place"].pk, []) if one.is_picture]


def _findings(survey: Survey, found: Walk, groups: list[dict]) -> list[Finding]:
    """What the rule looks at: one for each row to follow, and one for each place else on which danger stands open."""
    order = {stop.place.pk: n for n, stop in enumerate(s for zone in found.zones for s in zone.stops)}
    findings, told = [], set()
    for group in groups:
        if group["finding"] not in TO_FOLLOW:
            continue
        for row in group["rows"]:
            part, entry = row["part"], row["entry"]
            told.add(row["place"].pk)
            one = Finding(
                where=_where(row["place"], row["where"]),
                zone=row["place"].zone,
                order=order[row["place"].pk],
                safety=row["place"].safety,
                finding=entry.finding,
                what=part.description if part else "",
                question=entry.note,
                provenance=part.provenance if part else "",
                confidence=part.confidence if part else "",
                condition=part.condition if part else "",
                condition_note=part.condition_note if part else "",
                follows=part.follows if part else "",
                raised=_open_ones(row["faults"], row["items"]),
                url=part.get_absolute_url() if part else "",
            )
            row["settles"] = settles(one, part.best_evidence if part else "")
            findings.append(one)
    for zone in found.zones:
        for stop in zone.stops:
            if stop.place.pk in told or not (raised := _open_ones(stop.faults, stop.items)):
                continue
            findings.append(
                Finding(
                    where=stop.place.name,
                    zone=stop.place.zone,
                    order=order[stop.place.pk],
                    safety=stop.place.safety,
                    what="; ".join(row.title for row in raised),
                    raised=raised,
                    url=raised[0].url,
                )
            )
    return [*findings, *_without_a_place(survey)]


def _without_a_place(survey: Survey) -> list[Finding]:
    """Open and dangerous, and nobody said where on the car. Two queries."""
    car = survey.vehicle
    rows = [
        *car.faults.without_end().filter(place=None, severity="dangerous"),
        *car.outstanding_items.open().filter(place=None, severity="dangerous"),
    ]
    return [
        Finding(
            where="No place named",
            zone="",
            order=-1,
            what=row.title,
            raised=(_raised(row),),
            url=row.get_absolute_url(),
        )
        for row in rows
    ]


def _open_ones(faults: list[Fault], items: list[OutstandingItem]) -> tuple[Raised, ...]:
    return tuple(_raised(row) for row in (*faults, *items) if not row.end)


def _raised(row: Fault | OutstandingItem) -> Raised:
    return Raised(row.number, row.severity, row.title, row.get_absolute_url())


def _where(place: Place, positions: str) -> str:
    return f"{place.name}, {positions}" if positions else place.name


# --- since the survey before -----------------------------------------------------------------------------------

Entries = dict[tuple[str, str], SurveyEntry]


def changes_since(before: Entries, now: Entries) -> tuple[list[Change], int]:
    """What is said otherwise now, in the order of the walk, and how many places are not spoken of any more.

    A place of which nothing was said before counts only where it now is not the factory's or an open question.
    """
    found: list[tuple[Place, Change, list[str]]] = []
    for key, entry in sorted(now.items(), key=lambda pair: (pair[1].place.order, pair[1].place.name)):
        last = before.get(key)
        if last is None and entry.finding not in TO_FOLLOW:
            continue
        if last is not None and _told(last) == _told(entry):
            continue
        was, is_now = in_words(last) if last else "not spoken of", in_words(entry)
        if found and found[-1][0] == entry.place and (found[-1][1].was, found[-1][1].now) == (was, is_now):
            found[-1][2].append(key[1])
        else:
            found.append((entry.place, Change("", was, is_now), [key[1]]))
    spoken = {place for place, _ in before}
    silent = spoken - {place for place, _ in now}
    return [
        Change(_where(place, ", ".join(Position(one).label for one in positions if one)), one.was, one.now)
        for place, one, positions in found
    ], len(silent)


def _told(entry: SurveyEntry) -> tuple:
    """What makes an answer another one. A remark counts where it is the question."""
    odd = entry.part_id if entry.part and not entry.part.is_factory else None
    question = entry.note if entry.finding == SurveyFinding.OPEN and not odd else ""
    return entry.finding, odd, question


def in_words(entry: SurveyEntry) -> str:
    """An answer in a few words: the finding, with the part or the question that it is about."""
    label = entry.get_finding_display()
    label = f"{label[:1].lower()}{label[1:]}"
    if entry.finding not in TO_FOLLOW:
        return label
    about = entry.part.description if entry.part else entry.note
    return f"{label}: {about}" if about else label
