"""Runs and readings for tests, made by the acts that the screens use. All invented."""

from __future__ import annotations

from decimal import Decimal

import factory

from jobs.acts import torque as acts
from jobs.acts import work as work_acts
from jobs.models import Run, TorqueReading, WorkLine
from tests.factories.job import CheckInFactory, JobFactory
from tests.factories.procedure import ProcedureFactory
from tests.people import by
from workshop.engineering.units import Amount


class OpenLineFactory(factory.django.DjangoModelFactory):
    """A line that may be worked on: making safe needs no yes. Give `person` (a lead) and `vehicle`."""

    class Meta:
        model = WorkLine

    complaint = "Secure the wheels"
    kind = "make_safe"

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, **arguments):
        job = JobFactory(person=person, vehicle=vehicle)
        CheckInFactory(person=person, job=job)
        return work_acts.add_line(by=by(person), job=job, **arguments)


class RunFactory(factory.django.DjangoModelFactory):
    """A run just started. Give `person` (a lead) and `vehicle`; `procedure` or `steps`, `area`, `version`."""

    class Meta:
        model = Run

    where = "front left"

    @classmethod
    def _create(cls, model_class, *args, person, vehicle=None, line=None, procedure=None, **arguments):
        made = {name: arguments.pop(name) for name in ("steps", "area", "version") if name in arguments}
        line = line or OpenLineFactory(person=person, vehicle=vehicle)
        procedure = procedure or ProcedureFactory(person=person, **made)
        return acts.start_run(by=by(person), line=line, procedure=procedure, **arguments)


def step_of(run: Run, number: int = 1):
    return run.version_used.steps.get(order=number)


def stage_of(run: Run, stage: int = 1, step: int = 1):
    return step_of(run, step).stages.get(order=stage)


def click(
    person, run: Run, stage: int, fastener: int, value, tool, *, step: int = 1, unit="N.m", **more
) -> TorqueReading:
    """One click, through the act. `made_at` and `received_at` go to `By`."""
    times = {name: more.pop(name, None) for name in ("made_at", "received_at")}
    return acts.record_reading(
        by=by(person, **times),
        run=run,
        step=step_of(run, step),
        stage=stage_of(run, stage, step),
        fastener=fastener,
        kind=more.pop("kind", "clicked"),
        reading=Amount(Decimal(str(value)), unit),
        tool=tool,
        **more,
    )


def click_all(person, run: Run, tool, values=(60, 120), *, step: int = 1, **times) -> None:
    """Every stage of a step in the drawn sequence, each clicked at the value given for it."""
    for number, value in enumerate(values, 1):
        for fastener in step_of(run, step).sequence:
            click(person, run, number, fastener, value, tool, step=step, **times)


def begun(run: Run, moment) -> Run:
    """The run as if it had been started then: nothing is recorded on a run before it was there."""
    Run.objects.filter(pk=run.pk).update(made_at=moment)
    run.refresh_from_db()
    return run
