"""Tightening procedures for tests, made by the acts that the screens use. All invented."""

from __future__ import annotations

import factory

from jobs.acts import procedure as acts
from jobs.acts import procedure_step as procedure_step_acts
from jobs.models import Procedure
from tests.people import by

# What a step is made of unless a test says otherwise: five wheel nuts in two rounds.
WHEEL = {
    "title": "Wheel nuts",
    "fasteners": 5,
    "stages": [
        {"name": "Round 1", "value": "60", "tolerance_percent": "15", "unit": "N.m"},
        {"name": "Round 2", "value": "120", "plus": "10", "unit": "N.m"},
    ],
}


class ProcedureFactory(factory.django.DjangoModelFactory):
    """A procedure with one released version. Give `person` (a lead); `steps` is a list of arguments of
    add_step.
    """

    class Meta:
        model = Procedure

    title = factory.Sequence(lambda number: f"Wheel nuts, procedure {number}")
    area = "engine"

    @classmethod
    def _create(cls, model_class, *args, person, steps=None, released=True, version=None, **arguments):
        procedure = acts.add_procedure(by=by(person), **arguments)
        draft = acts.start_version(
            by=by(person), procedure=procedure, source="Halden sheet 40-2", **(version or {})
        )
        for step in steps or [WHEEL]:
            procedure_step_acts.add_step(by=by(person), version=draft, **step)
        if released:
            acts.release_version(by=by(person), version=draft)
        return procedure
