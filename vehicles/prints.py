"""Prints about a car made from the record when they are asked for: the survey report and the build sheet.

They are not frozen documents: each says on every page when it was printed from the record.
"""

from __future__ import annotations

import base64
import logging
from datetime import datetime
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import slugify

from vehicles import odometer
from vehicles.calculations import kept, told
from vehicles.effects import report_of as effects_of_car
from vehicles.files import store
from vehicles.models import Attachment, Calculation, FittedPart, Survey, Vehicle, Zone
from vehicles.parts import evidence_of, since_when
from vehicles.photos import photos_by
from vehicles.survey_report import report_of
from workshop import checks
from workshop.engineering.declare import INFORMS
from workshop.models import Shop
from workshop.sheets import in_groups, print_pdf

logger = logging.getLogger(__name__)

# So many small photos of one finding, and of all: a report is read on paper and sent by mail.
PHOTOS_EACH, PHOTOS_ALL = 3, 24
JUDGEMENT = "The shop's own judgement, not an official roadworthiness test."


def survey_print(survey: Survey) -> tuple[str, dict[str, Any], str]:
    """Template, context and file name of a survey's report on paper."""
    report = report_of(survey)
    car = survey.vehicle
    left = PHOTOS_ALL
    for row in (*report.not_factory, *report.open_questions):
        row["pictures"] = _pictures(row["photos"][: min(PHOTOS_EACH, left)])
        left -= len(row["pictures"])
    return (
        "sheets/survey.html",
        {
            "sheet": _head("Survey report", car),
            "survey": survey,
            "report": report,
            "effects": effects_of_car(car),
            "calculations": [told(row) for row in kept(survey.calculations.counting())],
            "informs": INFORMS,
            "judgement": JUDGEMENT,
            **_identity(car),
        },
        f"survey-{slugify(car.name)}-{timezone.localtime(survey.made_at):%Y-%m-%d}.pdf",
    )


def build_sheet(car: Vehicle) -> tuple[str, dict[str, Any], str]:
    """Template, context and file name of the build sheet: what the car is, and which parts are not the factory's."""
    rows = list(
        FittedPart.objects.filter(vehicle=car).fitted_now().select_related("place", "fitted_by_line__job")
    )
    odd = [part for part in rows if not part.is_factory]
    evidence = evidence_of(odd)
    photos = photos_by(car, "part_id")
    left = PHOTOS_ALL
    for part in odd:
        part.pieces = evidence.get(part.pk, [])
        part.since = since_when(part)
        part.pictures = _pictures([one for one in photos.get(part.pk, []) if one.is_picture][: min(2, left)])
        left -= len(part.pictures)
    optional = [part for part in rows if part.provenance == "factory_option"]
    return (
        "sheets/build.html",
        {
            "sheet": _head("Build sheet", car),
            "zones": [
                {"label": Zone(zone).label, "parts": list(parts)}
                for zone, parts in groupby(odd, key=lambda part: part.place.zone)
            ],
            "odd": len(odd),
            "factory": len(rows) - len(odd),
            "options": optional,
            "open_questions": sum(part.confidence == "open" for part in odd),
            "readings": list(car.identity_readings.select_related("made_by")),
            "registrations": list(car.registrations.all()),
            "survey": car.surveys.filter(finished_at__isnull=False).select_related("finished_by").first(),
            "judgement": JUDGEMENT,
            **_identity(car),
        },
        f"build-sheet-{slugify(car.name)}.pdf",
    )


def effects_print(car: Vehicle) -> tuple[str, dict[str, Any], str]:
    """Template, context and file name of what the car's non-factory parts change, with its curves."""
    return (
        "sheets/effects.html",
        {
            "sheet": _head("What the parts change", car),
            "effects": effects_of_car(car),
            **_identity(car),
        },
        f"parts-compared-{slugify(car.name)}.pdf",
    )


def calculation_sheet(row: Calculation, kept_with: str) -> tuple[str, dict[str, Any], str]:
    """Template, context and file name of a kept result, printed from its record alone."""
    car = row.vehicle
    return (
        "sheets/calculation.html",
        {
            "sheet": _head(str(row), car),
            "row": row,
            "record": row.data,
            "kept_with": kept_with,
            "version_words": row.version_words,
            "digest": in_groups(row.digest),
            **_identity(car),
        },
        f"{row.calculator}-{slugify(car.name)}-{timezone.localtime(row.made_at):%Y-%m-%d}.pdf",
    )


def history_sheet(car: Vehicle, page: Any, only: str) -> tuple[str, dict[str, Any], str]:
    """Template, context and file name of the history on paper; `page` is a whole `timeline.Page`."""
    return (
        "sheets/history.html",
        {
            "sheet": _head("History report", car),
            "page": page,
            "only": only,
            "judgement": JUDGEMENT,
            **_identity(car),
        },
        f"history-{slugify(car.name)}.pdf",
    )


def pdf_answer(
    request: HttpRequest, template: str, context: dict[str, Any], name: str, *, back: Any
) -> HttpResponse:
    """The PDF, opened in the browser; without the PDF library back to the page, with what to do instead."""
    if problem := checks.pdf_problem():
        messages.warning(
            request,
            f"No PDF can be made on this machine ({problem}). Until that is mended, print this page from the browser.",
        )
        return redirect(back)
    printed = print_pdf(template, context, context["sheet"]["paper"])
    return HttpResponse(
        printed.pdf,
        headers={
            "Content-Type": "application/pdf",
            "Content-Disposition": f'inline; filename="{name}"',
            "Content-Security-Policy": "default-src 'none'; object-src 'self'",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )


def _head(title: str, car: Vehicle) -> dict[str, Any]:
    shop, now = Shop.current(), timezone.localtime()
    return {
        "title": title,
        "number": car.current_plate() or car.number or car.name,
        "revision": None,
        "paper": shop.paper,
        "shop": shop.name,
        "created": now,
        "draft": False,
        "footnote": f"Printed from the record on {_minute(now)}",
    }


def _identity(car: Vehicle) -> dict[str, Any]:
    latest = odometer.latest_reading(car)
    return {
        "car": car,
        "plate": car.current_plate(),
        "odometer": latest,
        "truth": odometer.truth(car).sentence,
        "printed": _minute(timezone.localtime()),
    }


def _pictures(photos: list[Attachment]) -> list[dict[str, str]]:
    """Small pictures as data, so that the sheet names no file. One that is missing on the disk is left out."""
    found = []
    for photo in photos:
        try:
            data = store.path_of(photo.thumb, "jpg").read_bytes()
        except (OSError, ValueError):
            logger.warning("photo %s has no readable small picture", photo.pk)
            continue
        found.append(
            {"data": f"data:image/jpeg;base64,{base64.b64encode(data).decode()}", "caption": str(photo)}
        )
    return found


def _minute(moment: datetime) -> str:
    return date_format(moment, "j M Y H:i")
