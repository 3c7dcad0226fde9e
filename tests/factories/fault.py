"""Faults, made through their act. All invented."""

from __future__ import annotations

import factory

from tests.people import by
from vehicles.acts import fault
from vehicles.models import Fault


class FaultFactory(factory.Factory):
    class Meta:
        model = Fault

    kind = "complaint"
    title = factory.Sequence(lambda number: f"Battery flat after {number + 1} nights")
    severity = "minor"
    words = "It was fine on Friday."

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, **kwargs):
        made_at = kwargs.pop("made_at", None)
        return fault.report_fault(by=by(person, made_at=made_at), vehicle=vehicle, **kwargs)
