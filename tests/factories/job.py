"""Jobs for tests, made by the acts that the screens use. All invented."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import factory

from jobs.acts import isolation as isolation_acts
from jobs.acts import job as acts
from jobs.acts import roadtest as test_acts
from jobs.acts import tag as tag_acts
from jobs.acts import thing as thing_acts
from jobs.models import CheckIn, Isolation, Job, RoadTest, Tag, ThingOut
from jobs.states import JobState
from tests.people import by
from workshop.engineering.units import Amount
from workshop.models import Competence, CompetenceKind, Person


class JobFactory(factory.django.DjangoModelFactory):
    """A booked job. Give `person` (who books) and `vehicle`."""

    class Meta:
        model = Job

    title = factory.Sequence(lambda number: f"Service {number}")

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return acts.book(by=by(person, made_at=made_at), **arguments)


class CheckInFactory(factory.django.DjangoModelFactory):
    """Checks a booked job in. Give `person` and `job`."""

    class Meta:
        model = CheckIn

    odometer = Amount(Decimal(148_210), "km")
    fuel = "2"
    keys = 1
    damage = "none seen"
    road_test_consent = True
    plates_legal = True

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return acts.check_in(by=by(person, made_at=made_at), **arguments)


class TagFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Tag

    kind = "no_start"
    because = "no oil in the engine"

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return tag_acts.set_tag(by=by(person, made_at=made_at), **arguments)


class ThingOutFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = ThingOut

    kind = "car_part"
    what = "Left front wheel"
    where = "rack 2"

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return thing_acts.put_out(by=by(person, made_at=made_at), **arguments)


class RoadTestFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = RoadTest

    driven = "Ring road and hill, 20 minutes"
    found = "Pulls straight, no noise"
    licence_and_insurance = True

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        arguments.setdefault("driver", person)
        return test_acts.record_road_test(by=by(person, made_at=made_at), **arguments)


class IsolationFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Isolation

    method = "Service disconnect pulled, ten minutes waited"
    proved_dead = "Two-pole tester at the inverter, proved before and after"
    locked_with = "Padlock 4, the key is with the isolator"

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        arguments.setdefault("isolated_by", person)
        return isolation_acts.isolate(by=by(person, made_at=made_at), **arguments)


def job_in(state: str, *, person: Person, vehicle, made_at=None, **fields) -> Job:
    """A job moved by the acts up to a state before ready; "ready" is forced, as the gate belongs to other tests."""
    job = JobFactory(person=person, vehicle=vehicle, made_at=made_at, **fields)
    if state == JobState.BOOKED:
        return job
    CheckInFactory(person=person, job=job, made_at=made_at)
    order = [JobState.IN_WORK, JobState.FINAL_CHECKS]
    for goal in order:
        if job.state == state:
            break
        if state in (goal, JobState.FINAL_CHECKS, JobState.READY):
            acts.move(by=by(person, made_at=made_at), job=job, to_state=goal.value)
    if state == JobState.READY:
        Job.objects.filter(pk=job.pk).update(state=JobState.READY)
    job.refresh_from_db()
    return job


def qualify(person: Person, *, since: date = date(2020, 1, 1), until: date | None = None) -> Competence:
    """A high-voltage certificate, inserted directly."""
    return Competence.objects.create(
        **by(person).stamp(),
        person=person,
        kind=CompetenceKind.HIGH_VOLTAGE,
        certificate="HV 2 of an invented school",
        valid_from=since,
        expires_on=until,
    )
