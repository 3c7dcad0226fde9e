"""What the vehicle page says first of a car's parts: how many are not the factory's, and which of them matter most."""

from __future__ import annotations

from django.http import HttpRequest

from vehicles.models import Confidence, FittedPart, Provenance, Vehicle
from vehicles.models.part import Condition
from vehicles.panels import Gathered, Glance, add_glance

SHOWN = 4


def not_factory(request: HttpRequest, car: Vehicle, gathered: Gathered) -> dict:
    """From what the panel of parts gathered: no query."""
    parts = gathered["parts"]
    odd = sorted(parts["odd_parts"], key=_less_pressing)
    return {**parts, "important": odd[:SHOWN], "rest": len(odd) - len(odd[:SHOWN])}


def _less_pressing(part: FittedPart) -> tuple[bool, bool, bool, bool]:
    """False sorts first: defective, a part that brakes, steers or restrains, of unknown origin, an open question."""
    return (
        part.condition != Condition.DEFECTIVE,
        not part.place.safety,
        part.provenance != Provenance.UNKNOWN,
        part.confidence != Confidence.OPEN,
    )


add_glance(Glance(10, "not-factory", "Not factory", "vehicles/_glance_parts.html", not_factory))
