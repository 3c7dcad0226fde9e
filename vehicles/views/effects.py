"""What the non-factory parts of a car change: its page, its print, and its panel on the vehicle page."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_safe

from vehicles.effects import report_of
from vehicles.models import Vehicle
from vehicles.panels import Panel, add_panel
from vehicles.prints import effects_print, pdf_answer
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import may
from workshop.permissions import May

# The panel names so many rows that are outside their limit; the page has all.
ROWS_SHOWN = 4
FAULTS_SHOWN = 8


@may(May.SEE_SHOP)
@require_safe
def effects(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    # What is known to be wrong, beside the numbers that may explain it.
    faults = list(car.faults.without_end()[:FAULTS_SHOWN])
    return render(
        request, "vehicles/effects.html", {"vehicle": car, "report": report_of(car), "faults": faults}
    )


@may(May.SEE_SHOP)
@require_safe
def effects_pdf(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return pdf_answer(request, *effects_print(car), back=reverse("vehicles:effects", args=[car.pk]))


def gather(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    report = report_of(car)
    return {
        "report": report,
        "outside": report.outside[:ROWS_SHOWN],
        "more_outside": len(report.outside) - ROWS_SHOWN,
    }


add_panel(Panel(33, "effects", "What the non-factory parts change", "vehicles/_effects_panel.html", gather))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/effects/", effects, name="effects"),
    path("vehicles/<uuid:vehicle_id>/effects/pdf/", effects_pdf, name="effects-pdf"),
]
