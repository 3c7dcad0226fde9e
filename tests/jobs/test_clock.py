"""The labour clock: one tap to begin, one to end, and never more labour than was worked."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.acts import clock as acts
from jobs.acts import labour as labour_acts
from jobs.acts import work as work_acts
from jobs.models import Job, LabourClock, LabourEntry
from tests.factories.job import job_in
from tests.factories.work import PartUsedFactory, authorised_line, owner_of
from tests.once import once
from tests.people import by


@once
def job(car, lead):
    # In since the day before yesterday, so that work can lie in the past.
    return job_in("in_work", person=lead, vehicle=car, made_at=timezone.now() - timedelta(days=3))


@once
def owner(car, lead):
    return owner_of(car, lead)


@once
def line(job, owner, lead):
    return authorised_line(
        job=job, person=lead, owner=owner, complaint="Squeals", made_at=timezone.now() - timedelta(days=2)
    )


def at(days: int, clock: str) -> datetime:
    hour, minute = map(int, clock.split(":"))
    day = timezone.localtime() - timedelta(days=days)
    return day.replace(hour=hour, minute=minute, second=0, microsecond=0)


def written(line) -> list[tuple]:
    return [(entry.person, entry.day, entry.minutes, entry.note) for entry in line.labour.order_by("day")]


def test_started_and_stopped_it_is_labour_of_that_day(line, technician):
    clock = acts.start_clock(by=by(technician, made_at=at(1, "10:05")), line=line)
    assert LabourClock.objects.running().get() == clock
    acts.stop_clock(by=by(technician, made_at=at(1, "11:20")), clock=clock)
    clock.refresh_from_db()
    assert (clock.minutes, clock.words) == (75, "1 h 15 min")
    assert written(line) == [(technician, at(1, "10:05").date(), 75, "10:05 to 11:20, by the clock")]


def test_over_midnight_each_day_has_its_own(line, technician):
    clock = acts.start_clock(by=by(technician, made_at=at(2, "21:30")), line=line)
    acts.stop_clock(by=by(technician, made_at=at(1, "01:00")), clock=clock)
    assert [row[1:3] for row in written(line)] == [(at(2, "21:30").date(), 150), (at(1, "01:00").date(), 60)]


def test_a_clock_that_was_forgotten_asks_when_work_ended(line, technician, client):
    clock = acts.start_clock(by=by(technician, made_at=at(2, "16:10")), line=line)
    with pytest.raises(ValidationError, match="Give the time at which work ended"):
        acts.stop_clock(by=by(technician), clock=clock)
    client.force_login(technician)
    url = reverse("jobs:clock-stop", args=[clock.pk])
    answer = client.post(f"{url}?from=job", {"key": uuid4()})
    assert answer.status_code == 422
    assert "The clock has run for" in answer.content.decode()
    ended = at(2, "17:00").strftime("%Y-%m-%dT%H:%M")
    answer = client.post(f"{url}?from=job", {"key": uuid4(), "made_at": ended})
    assert answer.url == f"{line.job.get_absolute_url()}#line-{line.pk}"
    assert [row[2] for row in written(line)] == [50]


def test_started_by_mistake_it_counts_nothing_and_says_why(line, technician):
    clock = acts.start_clock(by=by(technician, made_at=at(2, "16:10")), line=line)
    acts.stop_clock(by=by(technician), clock=clock, not_counted_because="wrong line")
    clock.refresh_from_db()
    assert clock.words == "not counted: wrong line"
    assert written(line) == []
    with pytest.raises(ValidationError, match="was stopped"):
        acts.stop_clock(by=by(technician), clock=clock)


def test_work_elsewhere_stops_the_clock_here(line, job, owner, lead, technician, other_technician):
    second = authorised_line(job=job, person=lead, owner=owner, complaint="Knocks", made_at=at(1, "08:00"))
    acts.start_clock(by=by(technician, made_at=at(1, "09:00")), line=line)
    acts.start_clock(by=by(other_technician, made_at=at(1, "09:30")), line=line)
    acts.start_clock(by=by(technician, made_at=at(1, "10:00")), line=second)
    assert [row[:3] for row in written(line)] == [(technician, at(1, "09:00").date(), 60)]
    running = {(clock.person, clock.line) for clock in LabourClock.objects.running()}
    assert running == {(technician, second), (other_technician, line)}
    with pytest.raises(ValidationError, match="runs on this line"):
        acts.start_clock(by=by(technician), line=second)


def test_a_forgotten_clock_elsewhere_is_stopped_first(line, job, owner, lead, technician):
    second = authorised_line(job=job, person=lead, owner=owner, complaint="Knocks", made_at=at(1, "08:00"))
    acts.start_clock(by=by(technician, made_at=at(2, "12:00")), line=line)
    with pytest.raises(ValidationError, match=f"line {line} .*Stop it there first"):
        acts.start_clock(by=by(technician, made_at=at(1, "12:00")), line=second)
    assert LabourClock.objects.count() == 1


def test_finishing_the_line_stops_its_clocks(line, technician, other_technician):
    acts.start_clock(by=by(technician, made_at=at(1, "09:00")), line=line)
    acts.start_clock(by=by(other_technician, made_at=at(1, "09:40")), line=line)
    line.refresh_from_db()
    work_acts.finish_line(
        by=by(technician, made_at=at(1, "10:00")), line=line, seen_version=line.version, correction="Greased"
    )
    assert sorted(row[2] for row in written(line)) == [20, 60]
    assert not LabourClock.objects.running().exists()


def test_a_clock_left_on_a_closed_job_can_still_be_stopped(line, technician):
    clock = acts.start_clock(by=by(technician, made_at=at(1, "10:00")), line=line)
    Job.objects.filter(pk=line.job_id).update(state="handed_over")
    with pytest.raises(ValidationError, match="is closed"):
        acts.stop_clock(by=by(technician, made_at=at(1, "10:30")), clock=clock)
    acts.stop_clock(by=by(technician), clock=clock, not_counted_because="the car is gone")
    assert not LabourClock.objects.running().exists()


def test_no_work_without_authority(job, lead, technician, front_desk):
    line = work_acts.add_line(by=by(lead), job=job, complaint="Tyres", estimate=400)
    with pytest.raises(ValidationError, match="not authorised"):
        acts.start_clock(by=by(technician), line=line)
    with pytest.raises(PermissionDenied):
        acts.start_clock(by=by(front_desk), line=line)
    assert not LabourClock.objects.exists()


def test_the_database_lets_one_clock_run_per_person_and_alters_none(line, technician):
    clock = acts.start_clock(by=by(technician, made_at=at(1, "10:00")), line=line)
    with pytest.raises(IntegrityError), transaction.atomic():
        LabourClock.objects.create(**by(technician).stamp(), line=line, person=technician)
    acts.stop_clock(by=by(technician, made_at=at(1, "10:30")), clock=clock)
    for change in ({"minutes": 90}, {"made_at": at(2, "10:00")}, {"stopped_at": None, "minutes": None}):
        with pytest.raises(DatabaseError), transaction.atomic():
            LabourClock.objects.filter(pk=clock.pk).update(**change)
    with pytest.raises(DatabaseError), transaction.atomic():
        LabourClock.objects.filter(pk=clock.pk).delete()


def test_sent_twice_it_is_one_clock_and_one_entry(line, technician):
    start, stop = uuid4(), uuid4()
    clock = acts.start_clock(by=by(technician, key=start, made_at=at(1, "10:00")), line=line)
    assert acts.start_clock(by=by(technician, key=start, made_at=at(1, "10:00")), line=line) == clock
    for _ in range(2):
        acts.stop_clock(by=by(technician, key=stop, made_at=at(1, "10:30")), clock=clock)
    assert LabourEntry.objects.count() == 1


def test_one_tap_on_the_job_page_and_back_to_the_same_line(line, technician, other_technician, client):
    client.force_login(technician)
    page = client.get(line.job.get_absolute_url()).content.decode()
    url = f"{reverse('jobs:clock-start', args=[line.pk])}?from=job"
    assert url in page
    answer = client.post(url, {"key": uuid4()})
    assert answer.url == f"{line.job.get_absolute_url()}#line-{line.pk}"
    page = client.get(line.job.get_absolute_url()).content.decode()
    assert "Stop work" in page
    assert url not in page
    assert "is on it since" in page
    assert f"at work now: <strong>{technician.name}" in client.get("/floor/").content.decode()
    client.force_login(other_technician)
    assert url in client.get(line.job.get_absolute_url()).content.decode()


def test_a_cost_above_what_was_agreed_stops_new_work_not_the_clock(line, technician):
    clock = acts.start_clock(by=by(technician, made_at=at(1, "10:00")), line=line)
    mistaken = PartUsedFactory(person=technician, line=line, price=Decimal(3500), made_at=at(1, "10:20"))
    with pytest.raises(ValidationError, match="Ask again"):
        acts.start_clock(by=by(technician), line=line)
    acts.stop_clock(by=by(technician, made_at=at(1, "10:30")), clock=clock)
    assert [row[2] for row in written(line)] == [30], "the time was worked, whatever the line costs by now"
    # The price of the wrong part had raised the cost: taken back, the line is as it was.
    labour_acts.strike_part_used(by=by(technician), used=mistaken, reason="350 typed for 35")
    acts.start_clock(by=by(technician), line=line)
