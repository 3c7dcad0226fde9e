"""All that is known of one car in numbers, gathered for the calculators and the effects."""

from __future__ import annotations

from vehicles.models import Vehicle
from workshop.engineering.effect import CarFigures


def figures_of(vehicle: Vehicle) -> CarFigures:
    """The figures of the car's data sheet and those it is based on, of the car itself, of its non-factory parts.

    Five queries, whatever the length of the history.
    """
    raise NotImplementedError
