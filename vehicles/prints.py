"""Prints about a car made from the record when they are asked for, and kept nowhere.

Of what is issued with a number (`vehicles.papers`) it is a draft with a watermark. What is never issued, an extract of
the history, a comparison, one kept result, says on every page when it was printed from the record.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import slugify

from vehicles import issuing, odometer
from vehicles.effects import report_of as effects_of_car
from vehicles.models import Calculation, PrintKind, Survey, Vehicle
from vehicles.papers.words import JUDGEMENT
from workshop import checks, pages
from workshop.models import Shop
from workshop.sheets import in_groups, print_pdf


def draft_of(
    kind: str, car: Vehicle, about: Any = None, *, name: str = ""
) -> tuple[str, dict[str, Any], str]:
    """Template, context and file name of an unissued look at a numbered print: no number, no code, a watermark."""
    asked = issuing.Asked(kind, car, about or car)
    found = issuing.kind_of(kind)
    return (
        found.template,
        issuing.draft_context(asked, found.gather(asked)),
        f"{slugify(found.kind.label)}-{name or slugify(car.name)}-draft.pdf",
    )


def survey_print(survey: Survey) -> tuple[str, dict[str, Any], str]:
    """The draft of a survey's report."""
    car = survey.vehicle
    name = f"{slugify(car.name)}-{timezone.localtime(survey.made_at):%Y-%m-%d}"
    return draft_of(PrintKind.SURVEY, car, survey, name=name)


def build_sheet(car: Vehicle) -> tuple[str, dict[str, Any], str]:
    """The draft of the build sheet: what the car is, and which parts are not the factory's."""
    return draft_of(PrintKind.BUILD, car)


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
    """Template, context and file name of the history, or what a filter leaves of it; `page` is a whole `timeline.Page`."""
    return (
        "sheets/history.html",
        {
            "sheet": _head("Extract of the history", car),
            "page": page,
            "only": only,
            "judgement": JUDGEMENT,
            **_identity(car),
        },
        f"history-extract-{slugify(car.name)}.pdf",
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
    return pages.pdf_answer(printed.pdf, name)


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


def _minute(moment: datetime) -> str:
    return date_format(moment, "j M Y H:i")
