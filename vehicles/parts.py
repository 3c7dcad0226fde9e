"""Reads of the parts on a car: what is in a place, and what was in it on a date."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.db.models import F
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.models import Evidence, FittedPart, Place, Survey, Vehicle
from vehicles.models.part import Confidence, EvidenceKind, Provenance
from vehicles.models.survey import SurveyFinding
from vehicles.walk import counting_entries

_OLDEST_END_FIRST = F("removed_at").asc(nulls_last=True)


def end_of(day: date) -> datetime:
    """The last moment of a day in the shop's time zone: a part fitted in the course of it counts."""
    return timezone.make_aware(datetime.combine(day + timedelta(days=1), time())) - timedelta(microseconds=1)


def part_in_place(
    vehicle: Vehicle, place: Place, position: str = "", moment: datetime | None = None
) -> FittedPart | None:
    """What was in this place at that moment (without one: what is in it now); None where nothing is on record.

    Parts of known dates never overlap in a place. Where it is not known since when a part was there, the one
    that came off first after that moment was in it.
    """
    parts = FittedPart.objects.filter(vehicle=vehicle, place=place, position=position).select_related("place")
    if moment is None:
        return parts.fitted_now().first()
    return parts.on(moment).order_by(_OLDEST_END_FIRST, "made_at").first()


def parts_on(vehicle: Vehicle, moment: datetime) -> list[FittedPart]:
    """What was on the car at that moment, one part to a place, in the order of the walk. One query."""
    found: dict[tuple[str, str], FittedPart] = {}
    rows = (
        FittedPart.objects.filter(vehicle=vehicle)
        .on(moment)
        .select_related("place")
        .order_by("place__order", "place__name", "position", _OLDEST_END_FIRST, "made_at")
    )
    for part in rows:
        found.setdefault((part.place_id, part.position), part)
    return list(found.values())


def history_of_place(vehicle: Vehicle, place: Place, position: str = "") -> list[FittedPart]:
    """Every part that was on record in this place, the newest first, those entered in error too. One query."""
    return list(
        FittedPart.objects.filter(vehicle=vehicle, place=place, position=position)
        .select_related("place", "made_by", "fitted_by_line", "removed_by_line")
        .order_by(F("removed_at").desc(nulls_first=True), "-made_at")
    )


def evidence_of(parts: Iterable[FittedPart]) -> dict[UUID, list[Evidence]]:
    """Part's key → its own evidence, oldest first. One query."""
    found: dict[UUID, list[Evidence]] = {}
    for piece in Evidence.objects.filter(part__in=[part.pk for part in parts]).order_by("made_at"):
        found.setdefault(piece.part_id, []).append(piece)
    return found


def since_when(part: FittedPart) -> str:
    """From when the part is known to be there, in words."""
    if part.fitted_at:
        return f"fitted {date_format(timezone.localtime(part.fitted_at), 'j M Y')}"
    found = date_format(timezone.localtime(part.made_at), "j M Y")
    return f"found on the car on {found}; not known since when"


def known_at(part: FittedPart, moment: datetime) -> bool:
    """Whether the part is proven there at that moment, not only taken to be (fitting date unknown, seen later)."""
    return (part.fitted_at or part.made_at) <= moment


def supported(best_evidence: str, provenance: str) -> Confidence:
    """The most confidence that this evidence supports. An unknown provenance stays an open question."""
    if not best_evidence or provenance == Provenance.UNKNOWN:
        return Confidence.OPEN
    return EvidenceKind(best_evidence).supports


def stronger(one: str, other: str) -> str:
    """The stronger of two kinds of evidence; empty is the weakest."""
    return max(one, other, key=lambda kind: EvidenceKind(kind).strength if kind else 0)


def said_before(vehicle: Vehicle, place: Place, most: int = 6) -> list[FittedPart]:
    """Parts that were described in this place on cars of this make and model, this car's first. One query.

    Only to spare typing: what a part is on this car, somebody looks at.
    """
    rows = (
        FittedPart.objects.filter(
            vehicle__make=vehicle.make, vehicle__model=vehicle.model, place=place, entered_in_error=""
        )
        .not_factory()
        .only("description", "factory_fits", "vehicle_id", "made_at", "provenance")
        .order_by("-made_at")[: most * 5]
    )
    found: dict[str, FittedPart] = {}
    for row in sorted(rows, key=lambda part: part.vehicle_id != vehicle.pk):
        found.setdefault(row.description.casefold(), row)
    return list(found.values())[:most]


def open_places(survey: Survey | None, parts: Iterable[FittedPart]) -> int:
    """How many places this survey left as an open question where no part is on record. One query."""
    if survey is None:
        return 0
    filled = {(part.place_id, part.position) for part in parts}
    return len(
        {
            spot[0]
            for spot, entry in counting_entries(survey).items()
            if entry.finding == SurveyFinding.OPEN and entry.part_id is None and spot not in filled
        }
    )
