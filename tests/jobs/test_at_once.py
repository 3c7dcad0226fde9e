"""Two people at once, on two connections: what one of them does not see, the lock or the database keeps."""

from __future__ import annotations

import threading
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.acts import handover as acts
from jobs.acts import job as job_acts
from jobs.acts import tag as tag_acts
from jobs.models import Handover, Job, JobMove, SheetRevision, Tag
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


def at_once(*acts_):
    """Run each in a thread with a connection of its own, all let go together; answers results and refusals."""
    gate_, out = threading.Barrier(len(acts_)), [None] * len(acts_)

    def run(place, act):
        gate_.wait()
        try:
            out[place] = act()
        except Exception as error:
            out[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts_)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return out


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


def test_a_car_is_handed_over_once(a_car, boss):
    keeper = owner_of(a_car, boss)
    job = in_work(a_car, keeper, boss)
    finish(done_line(job, keeper, boss), boss)
    to_final_checks(job, boss)
    acts.call_ready(by=by(boss), job=job)

    def hand_over():
        return acts.hand_over(by=by(boss), job=job, collected_by=keeper, identified_by="by sight",
                              left_how="driven", keys_returned=2, odometer=Amount(Decimal(148_300), "km"))  # fmt: skip

    found = at_once(hand_over, hand_over)
    assert sorted(type(each).__name__ for each in found) == ["SheetRevision", "ValidationError"]
    assert SheetRevision.objects.count() == 1


def test_two_people_hand_over_at_once_and_one_does():
    people = [make_person(*CAST["lead"]), make_person(*CAST["shop_owner"])]
    car = vehicle_acts.add_vehicle(
        by=by(people[0]), number="FRAME778", make="Ostra", model="1600 GT", year=1975
    )
    keeper = owner_of(car, people[0])
    job = ReadyJobFactory(person=people[0], vehicle=car, keeper=keeper)
    start, said = threading.Barrier(2), []

    def give(person):
        try:
            mine = Job.objects.select_related("vehicle").get(pk=job.pk)
            start.wait(timeout=20)
            acts.hand_over(by=by(person), job=mine, **leaving(keeper))
            said.append("done")
        except ValidationError as refusal:
            said.append(refusal.messages[0])
        finally:
            connection.close()

    threads = [threading.Thread(target=give, args=(person,)) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(said, key=len)[0] == "done"
    assert "handed over already" in sorted(said, key=len)[1]
    assert Handover.objects.count() == SheetRevision.objects.count() == 1
    assert JobMove.objects.filter(to_state="handed_over").count() == 1


def test_two_people_book_at_the_same_moment_and_no_number_is_lost(car, front_desk, technician):
    together = threading.Barrier(4)
    numbers, trouble = [], []

    def book(person):
        try:
            together.wait(timeout=10)
            for _ in range(3):
                numbers.append(JobFactory(person=person, vehicle=car).serial)
        except Exception as error:
            trouble.append(error)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=book, args=(person,)) for person in (front_desk, technician) for _ in range(2)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert trouble == []
    assert sorted(numbers) == list(range(1, 13))
