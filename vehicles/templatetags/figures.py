"""Figures in templates. `_missing_figures.html` asks for what is missing; see there."""

from __future__ import annotations

from typing import Any

from django import template

from vehicles.figures import fitted_on, sheet_of
from vehicles.forms.figures import GiveFigureForm
from vehicles.missing_figures import targets_of
from vehicles.models import Vehicle
from workshop.permissions import May

register = template.Library()


@register.simple_tag(takes_context=True)
def missing_figures(context, missing, vehicle: Vehicle, next: str = "") -> list[dict[str, Any]]:
    """Rows of {target, form}; `form` None where nobody may answer here, or the car has no data sheet to write it in.

    Two queries for the first list of a page, none for those after it.
    """
    missing = list(missing or ())
    if not missing:
        return []
    sheet, fitted = _known(context.get("request"), vehicle)
    user = context.get("user")
    may = user is not None and user.is_authenticated and user.may(May.EDIT_FIGURES)
    rows = []
    for target in targets_of(missing, vehicle, sheet, fitted):
        form = None
        if may and target.owners:
            form = GiveFigureForm(target=target, short=True, initial={"next": next})
            # One page may ask for the same figure in two lists: the key of the submission tells the ids apart.
            form.auto_id = f"give-{str(form['key'].value())[:8]}-%s"
        rows.append({"target": target, "form": form})
    return rows


def _known(request, vehicle: Vehicle) -> tuple[Any, list]:
    """The car's sheet and parts, read once for a page."""
    kept = getattr(request, "_known_of_car", {})
    if vehicle.pk not in kept:
        kept[vehicle.pk] = (sheet_of(vehicle), fitted_on(vehicle))
        if request is not None:
            request._known_of_car = kept
    return kept[vehicle.pk]
