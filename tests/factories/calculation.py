"""Kept results of calculators, made through their act from a calculator's own example. All invented."""

from __future__ import annotations

import factory

from tests.people import by
from vehicles.acts import calculation
from vehicles.models import Calculation
from workshop.engineering.catalogue import calculators
from workshop.engineering.command import read_inputs


class CalculationFactory(factory.Factory):
    """`CalculationFactory(person=lead, vehicle=car, fault=fault)`; inputs may be given as texts by name."""

    class Meta:
        model = Calculation

    calculator = "torque-with-extension"

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, calculator, typed=None, **kwargs):
        made_at = kwargs.pop("made_at", None)
        chosen = calculators()[calculator]
        given = read_inputs(chosen, {**chosen.example, **(typed or {})}.items())
        return calculation.keep_result(
            by=by(person, made_at=made_at),
            vehicle=vehicle,
            calculator=calculator,
            inputs={name: one.value for name, one in given.items()},
            **kwargs,
        )
