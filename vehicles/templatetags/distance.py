"""What is truly known of a distance, in templates that show an odometer reading: `{% load distance %}`."""

from __future__ import annotations

from django import template

from vehicles import odometer
from vehicles.models import OdometerReading, Vehicle

register = template.Library()


@register.filter
def true_distance(vehicle: Vehicle) -> str:
    """The car's true distance up to now, as a sentence. Two queries."""
    return odometer.truth(vehicle).sentence


@register.filter
def true_distance_at(reading: OdometerReading) -> str:
    """The car's true distance at one reading, as a sentence. Two queries."""
    return odometer.truth_at(reading, odometer.instruments_of(reading.vehicle_id)).sentence
