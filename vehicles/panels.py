"""The vehicle page is a row of panels. Each subject adds its own, so that this room need not know the rooms above."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest

from vehicles.models import Vehicle


@dataclass(frozen=True)
class Panel:
    """`gather(request, vehicle)` answers the template's context in a fixed number of queries."""

    order: int
    slug: str
    title: str
    template: str
    gather: Callable[[HttpRequest, Vehicle], dict[str, Any]]


_panels: dict[str, Panel] = {}


def add_panel(panel: Panel) -> None:
    """Call in an app's `ready()` or beside the views of the subject."""
    _panels[panel.slug] = panel


def for_vehicle(request: HttpRequest, vehicle: Vehicle) -> list[dict[str, Any]]:
    return [
        {"panel": panel, "vehicle": vehicle, **panel.gather(request, vehicle)}
        for panel in sorted(_panels.values(), key=lambda panel: panel.order)
    ]
