"""Two people at once, on two connections: what one of them does not see, the lock or the database keeps."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from jobs.acts import handover as acts
from jobs.acts import job as job_acts
from jobs.acts import tag as tag_acts
from jobs.models import Handover, Job, JobMove, SheetRevision, Tag
from tests.at_once import at_once
from tests.factories.handover import ReadyJobFactory, done_line, finish, in_work, leaving, to_final_checks
from tests.factories.job import JobFactory
from tests.factories.work import owner_of
from tests.people import CAST, by, make_person
from vehicles.acts import vehicle as vehicle_acts
from workshop import log
from workshop.engineering.units import Amount
from workshop.models import Event
from workshop.permissions import Role

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def boss():
    return make_person("Lida Marchbank", Role.LEAD)


@pytest.fixture
def a_car(boss):
    return vehicle_acts.add_vehicle(by=by(boss), number="FRAME778", make="Ostra", model="1600 GT", year=1975)


def test_six_bookings_at_once_have_six_numbers_without_a_gap(a_car, boss):
    found = at_once(*[lambda: job_acts.book(by=by(boss), vehicle=a_car, title="Service") for _ in range(6)])
    assert not [each for each in found if isinstance(each, Exception)]
    assert sorted(Job.objects.values_list("serial", flat=True)) == [1, 2, 3, 4, 5, 6]
    assert log.first_broken_link() is None


def test_one_form_sent_twice_at_once_is_one_booking(a_car, boss):
    twice = by(boss)
    found = at_once(*[lambda: job_acts.book(by=twice, vehicle=a_car, title="Service") for _ in range(2)])
    assert found[0] == found[1]
    assert Job.objects.count() == 1
    assert Event.objects.filter(act="jobs.job.book").count() == 1


def test_a_car_is_handed_over_or_tagged_but_never_driven_away_with_the_tag(a_car, boss):
    keeper = owner_of(a_car, boss)
    job = in_work(a_car, keeper, boss)
    finish(done_line(job, keeper, boss), boss)
    to_final_checks(job, boss)
    acts.call_ready(by=by(boss), job=job)
    left, tagged = at_once(
        lambda: acts.hand_over(
            by=by(boss),
            job=job,
            collected_by=keeper,
            identified_by="by sight",
            left_how="driven",
            keys_returned=2,
            odometer=Amount(Decimal(148_300), "km"),
        ),
        lambda: tag_acts.set_tag(
            by=by(boss), vehicle=a_car, job=job, kind="no_move", because="no brake fluid"
        ),
    )
    if isinstance(left, SheetRevision):
        assert isinstance(tagged, ValidationError), "the job was over when the tag came"
    else:
        assert isinstance(left, ValidationError)
        assert Tag.objects.filter(lifted_at=None).count() == 1
    assert log.first_broken_link() is None


def test_two_people_hand_over_at_once_and_one_does(a_car, boss):
    keeper = owner_of(a_car, boss)
    job = ReadyJobFactory(person=boss, vehicle=a_car, keeper=keeper)
    people = [boss, make_person(*CAST["shop_owner"])]
    seen = [Job.objects.select_related("vehicle").get(pk=job.pk) for _ in people]

    def give(person, mine):
        return lambda: acts.hand_over(by=by(person), job=mine, **leaving(keeper))

    found = sorted(at_once(*map(give, people, seen)), key=lambda each: type(each).__name__)
    assert isinstance(found[0], SheetRevision)
    assert "handed over already" in found[1].messages[0]
    assert Handover.objects.count() == SheetRevision.objects.count() == 1
    assert JobMove.objects.filter(to_state="handed_over").count() == 1


def test_people_who_book_three_times_each_at_the_same_moment_lose_no_number(car, front_desk, technician):
    def book(person):
        return lambda: [JobFactory(person=person, vehicle=car).serial for _ in range(3)]

    found = at_once(*map(book, (front_desk, technician, front_desk, technician)))
    assert sorted(serial for each in found for serial in each) == list(range(1, 13))
