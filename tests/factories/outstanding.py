"""Outstanding items and who may be told of them, made through their acts. All invented."""

from __future__ import annotations

import factory

from tests.people import by
from vehicles.acts import outstanding
from vehicles.models import OutstandingItem


class ItemFactory(factory.Factory):
    class Meta:
        model = OutstandingItem

    title = factory.Sequence(lambda number: f"Power-steering hose weeps, no. {number}")
    severity = "minor"
    reason = "parts"

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, **kwargs):
        made_at = kwargs.pop("made_at", None)
        return outstanding.raise_item(by=by(person, made_at=made_at), vehicle=vehicle, **kwargs)
