"""The build sheet: who the car is, and which of its parts are not the factory's, on what evidence."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from vehicles.issuing import Asked, Gathered
from vehicles.models import FittedPart, Vehicle, Zone
from vehicles.papers import words
from vehicles.parts import evidence_of
from vehicles.photos import photos_by

# So many small photos of one part, and of all: it is read on paper and sent by mail.
PHOTOS_EACH, PHOTOS_ALL = 2, 24


def gather(asked: Asked) -> Gathered:
    """A dozen queries, whatever is on record."""
    car = asked.vehicle
    fitted = parts(car)
    survey = car.surveys.filter(finished_at__isnull=False).select_related("finished_by").first()
    body = {
        "car": words.identity(car),
        "readings": words.readings(car),
        "registrations": words.registrations(car),
        **fitted,
        "surveyed": {"on": words.day(survey.made_at), "by": str(survey.finished_by)} if survey else None,
        "judgement": words.JUDGEMENT,
    }
    counts = {
        "part that is not the factory's|parts that are not the factory's": fitted["odd"],
        "open question": fitted["open_questions"],
        "part of the factory|parts of the factory": fitted["factory"],
        "reading of the number|readings of the number": len(body["readings"]),
    }
    return Gathered(body, counts, {"pictures": words.drawn(body)})


def parts(car: Vehicle, photos_all: int = PHOTOS_ALL) -> dict[str, Any]:
    """What is fitted now: {zones, odd, factory, options, open_questions}. Three queries."""
    rows = list(
        FittedPart.objects.filter(vehicle=car).fitted_now().select_related("place", "fitted_by_line__job")
    )
    odd = [row for row in rows if not row.is_factory]
    evidence = evidence_of(odd)
    photos = photos_by(car, "part_id") if photos_all else {}
    left, told = photos_all, []
    for row in odd:
        pictures = [one for one in photos.get(row.pk, []) if one.is_picture][: min(PHOTOS_EACH, left)]
        left -= len(pictures)
        told.append((row.place.zone, words.part(row, evidence.get(row.pk, []), pictures)))
    return {
        "zones": [
            {"label": Zone(zone).label, "parts": [each for _, each in found]}
            for zone, found in groupby(told, key=lambda pair: pair[0])
        ],
        "odd": len(odd),
        "factory": len(rows) - len(odd),
        "open_questions": sum(row.confidence == "open" for row in odd),
        "options": [
            {"description": row.description, "where": row.where, "number": row.part_number}
            for row in rows
            if row.provenance == "factory_option"
        ],
    }
