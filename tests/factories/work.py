"""Work lines for tests, made by the acts that the screens use. All invented."""

from __future__ import annotations

from decimal import Decimal

import factory
from django.utils import timezone

from jobs.acts import answer as answer_acts
from jobs.acts import labour as labour_acts
from jobs.acts import measurement as measurement_acts
from jobs.acts import part as part_acts
from jobs.acts import work as acts
from jobs.models import LabourEntry, LineAnswer, Measurement, PartChange, PartUsed, WorkLine
from tests.people import by
from vehicles.acts import keeper as keeper_acts
from vehicles.models import Keeper
from workshop.engineering.units import Amount


class WorkLineFactory(factory.django.DjangoModelFactory):
    """A line of an open job. Give `person` and `job`."""

    class Meta:
        model = WorkLine

    complaint = factory.Sequence(lambda number: f"Noise {number} from the front")

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return acts.add_line(by=by(person, made_at=made_at), **arguments)


class LineAnswerFactory(factory.django.DjangoModelFactory):
    """Give `person`, `line` and `given_by`."""

    class Meta:
        model = LineAnswer

    answer = "yes"
    channel = "phone"
    amount = factory.LazyAttribute(lambda given: Decimal(200) if given.answer == "yes" else None)

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return answer_acts.record_answer(by=by(person, made_at=made_at), **arguments)


class LabourFactory(factory.django.DjangoModelFactory):
    """Give `person` (who worked and writes it down) and `line`."""

    class Meta:
        model = LabourEntry

    minutes = 30
    day = factory.LazyFunction(timezone.localdate)

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return labour_acts.add_labour(by=by(person, made_at=made_at), person=person, **arguments)


class PartUsedFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = PartUsed

    description = "Brake hose"
    part_number = "BH-204"
    price = Decimal("18.50")

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return labour_acts.use_part(by=by(person, made_at=made_at), **arguments)


class PartFittedFactory(factory.django.DjangoModelFactory):
    """A part fitted by a line. Give `person`, `line` and `place`."""

    class Meta:
        model = PartChange

    description = "Brake hose, rubber"
    part_number = "BH-204"
    provenance = "factory_standard"

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return part_acts.fit_part(by=by(person, made_at=made_at), **arguments)


class MeasurementFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Measurement

    what = "Pad thickness"
    phase = "before"
    reading = Amount(Decimal("6.5"), "mm")
    low = Decimal("3")
    limit_source = "maker's data, sheet 12"

    @classmethod
    def _create(cls, model_class, *args, person, made_at=None, **arguments):
        return measurement_acts.measure(by=by(person, made_at=made_at), **arguments)


def owner_of(car, person, name: str = "Corin Ashby", part: str = "owner") -> Keeper:
    """Somebody who plays a part for the car; the owner and an authoriser may say yes."""
    keeper = keeper_acts.add_keeper(by=by(person), name=name)
    keeper_acts.add_part_for(by=by(person), vehicle=car, keeper=keeper, part=part)
    return keeper


def authorised_line(*, job, person, owner, amount=200, **fields) -> WorkLine:
    """A repair line that was estimated and said yes to. `person` holds a role that may do all of it."""
    line = WorkLineFactory(person=person, job=job, estimate=Decimal(amount), **fields)
    LineAnswerFactory(person=person, line=line, given_by=owner, amount=Decimal(amount))
    line.refresh_from_db()
    return line
