"""What several prints say alike: the car, a part that is not the factory's, a moment, a picture."""

from __future__ import annotations

import base64
import logging
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format

from vehicles import odometer
from vehicles.files import store
from vehicles.models import Attachment, FittedPart, Vehicle
from vehicles.parts import since_when

logger = logging.getLogger(__name__)

JUDGEMENT = "The shop's own judgement, not an official roadworthiness test."


def minute(moment: datetime | None) -> str:
    return date_format(timezone.localtime(moment), "j M Y H:i") if moment else ""


def day(when: date | datetime | None) -> str:
    return (
        date_format(timezone.localtime(when).date() if isinstance(when, datetime) else when) if when else ""
    )


def identity(car: Vehicle) -> dict[str, Any]:
    """Who the car is, with its odometer and the true distance. Five queries."""
    latest = odometer.latest_reading(car)
    truth = odometer.truth(car)
    return {
        "name": car.name,
        "variant": car.variant,
        "year": car.year,
        "number": car.number,
        "number_unknown_because": car.number_unknown_because,
        "questioned": bool(car.number_questions),
        "plate": car.current_plate() or "",
        "colour": car.colour,
        "body": car.body,
        "engine_number": car.engine_number,
        "odometer": str(latest) if latest else "",
        "odometer_on": day(latest.read_at) if latest else "",
        "truth": truth.sentence,
        "flags": [flag.message for flag in truth.flags],
    }


def readings(car: Vehicle, *, people: bool = True) -> list[dict[str, Any]]:
    """The number as it was read on the car, place by place. One query."""
    return [
        {
            "source": row.get_source_display(),
            "place": row.place,
            "number": row.number,
            "differs": bool(row.number) and row.number != car.number,
            "not_readable_because": row.not_readable_because,
            "by": str(row.made_by) if people else "",
            "on": day(row.made_at),
        }
        for row in car.identity_readings.select_related("made_by")
    ]


def registrations(car: Vehicle) -> list[dict[str, str]]:
    """One query."""
    return [
        {
            "plate": row.plate,
            "country": row.country,
            "from": day(row.from_on),
            "until": day(row.until_on),
        }
        for row in car.registrations.all()
    ]


def part(row: FittedPart, pieces: Iterable, pictures: Iterable[Attachment] = ()) -> dict[str, Any]:
    """A part with where it comes from, how sure that is, on what evidence. No query."""
    poor = row.condition in ("defective", "worn")
    return {
        "description": row.description,
        "where": row.where,
        "since": since_when(row),
        "provenance": row.provenance,
        "provenance_words": row.get_provenance_display(),
        "confidence": row.confidence,
        "confidence_words": row.get_confidence_display(),
        "number": row.part_number,
        "condition": row.get_condition_display().lower() if poor else "",
        "condition_note": row.condition_note if poor else "",
        "evidence": [f"{piece.get_kind_display()}: {piece.what}" for piece in pieces],
        "factory_fits": row.factory_fits,
        "follows": row.follows,
        "pictures": named(pictures),
    }


def named(photos: Iterable[Attachment]) -> list[dict[str, str]]:
    """Pictures as the data names them: by the hash of the file, with their words."""
    return [{"file": photo.thumb, "caption": str(photo)} for photo in photos]


def drawn(body: Any) -> dict[str, str]:
    """Every picture that the data names, by its hash, as data for the page: so no file is named in it.

    One that is missing on the disk is left out.
    """
    found: dict[str, str] = {}
    for picture in _pictures_in(body):
        if picture["file"] in found:
            continue
        try:
            data = store.path_of(picture["file"], "jpg").read_bytes()
        except (OSError, ValueError):
            logger.warning("the small picture %s can't be read", picture["file"])
            continue
        found[picture["file"]] = f"data:image/jpeg;base64,{base64.b64encode(data).decode()}"
    return found


def _pictures_in(value: Any) -> Iterable[dict[str, str]]:
    if isinstance(value, dict):
        for key, each in value.items():
            if key == "pictures":
                yield from each
            else:
                yield from _pictures_in(each)
    elif isinstance(value, list):
        for each in value:
            yield from _pictures_in(each)
