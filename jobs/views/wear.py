"""How a car's parts wear, and how far it is to their limits: a panel on its page, and a page with the curves."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path

from jobs import wear
from vehicles.models import Vehicle
from vehicles.panels import Panel, add_panel
from workshop.pages import may
from workshop.permissions import May

# On the car's page: those that can be judged, the nearest to their limit first.
SHOWN = 6


def panel(request: HttpRequest, vehicle: Vehicle) -> dict:
    """The series that come to an end first, without their curves; see `wear.series_of` for the queries."""
    series = wear.series_of(vehicle)
    judged = [one for one in series if one.ahead is not None]
    return {"series": judged[:SHOWN], "total": len(series), "more": len(series) - len(judged[:SHOWN])}


@may(May.SEE_SHOP)
def wear_of(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Every series with its curve and its readings."""
    vehicle = get_object_or_404(Vehicle.objects.visible_to(request.user), pk=vehicle_id)
    series = wear.series_of(vehicle)
    return render(
        request,
        "jobs/wear.html",
        {
            "vehicle": vehicle,
            "drawn": [one for one in series if one.line is not None],
            "few": [one for one in series if one.line is None],
        },
    )


add_panel(Panel(62, "wear", "Wear and distance left", "jobs/_wear_panel.html", panel))

urlpatterns = [path("vehicles/<uuid:vehicle_id>/wear/", wear_of, name="wear")]
