"""Parts and surveys, made through their acts. All invented."""

from __future__ import annotations

import factory

from tests.people import by
from vehicles.acts import part, survey
from vehicles.models import FittedPart, Place, Survey


class PartFactory(factory.Factory):
    """A part found on `vehicle` by `person`; `place` is a slug of the standard places."""

    class Meta:
        model = FittedPart

    place = "tow-bar"
    position = ""
    description = factory.Sequence(lambda number: f"Tow bar, maker unknown, no. {number}")
    provenance = "aftermarket"

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, place, **kwargs):
        made_at = kwargs.pop("made_at", None)
        return part.record_part(
            by=by(person, made_at=made_at),
            vehicle=vehicle,
            place=place if isinstance(place, Place) else Place.objects.get(pk=place),
            **kwargs,
        )


class SurveyFactory(factory.Factory):
    class Meta:
        model = Survey

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, **kwargs):
        return survey.start_survey(by=by(person), vehicle=vehicle, **kwargs)
