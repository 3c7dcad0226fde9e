"""Torque tools for tests, made by the acts that the screens use. All invented."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import factory
from django.utils import timezone

from tests.people import by
from workshop.acts import tools as acts
from workshop.models import Calibration, TorqueTool


class ToolFactory(factory.django.DjangoModelFactory):
    """A click wrench of class II A, 40 to 200 N·m, calibrated (`calibrated=False` for none). Give
    `person`.
    """

    class Meta:
        model = TorqueTool

    # Four figures: tests that name a tool give it two.
    label = factory.Sequence(lambda number: f"TW-{number + 1000}")
    name = "Click wrench 40 to 200"
    kind = "setting"
    unit = "N.m"
    scale_low = Decimal(40)
    scale_high = Decimal(200)

    @classmethod
    def _create(cls, model_class, *args, person, calibrated=True, **arguments):
        arguments.setdefault("iso_class", {"setting": "II-A", "indicating": "I-C"}.get(arguments["kind"], ""))
        tool = acts.add_tool(by=by(person), **arguments)
        if calibrated:
            CalibrationFactory(person=person, tool=tool)
        return tool


class CalibrationFactory(factory.django.DjangoModelFactory):
    """Made 30 days ago, good for a year, at the deviation of the tool's class. Give `person` and `tool`."""

    class Meta:
        model = Calibration

    calibrated_on = factory.LazyFunction(lambda: timezone.localdate() - timedelta(days=30))
    due_on = factory.LazyAttribute(lambda row: row.calibrated_on + timedelta(days=365))
    laboratory = "Brackwater Calibration"
    certificate = factory.Sequence(lambda number: f"BC-{number:04d}")

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return acts.add_calibration(by=by(person, made_at=made_at), **arguments)
