"""The floor: by promised time, each car with its next step, cheap to ask for again."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs import floor
from jobs.acts import job as acts
from jobs.acts import tag as tag_acts
from jobs.models import Procedure, ProcedureVersion, Run, WorkLine
from tests.factories.job import JobFactory, RoadTestFactory, TagFactory, ThingOutFactory, job_in
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click_all
from tests.factories.tool import ToolFactory
from tests.people import by
from vehicles.acts import vehicle as vehicle_acts


@pytest.fixture
def tool(lead):
    return ToolFactory(person=lead)


def another_car(lead, number):
    return vehicle_acts.add_vehicle(
        by=by(lead), number=f"FRAME{number}", make="Ostra", model="1600 GT", year=1975
    )


def step_of(job) -> str:
    return floor.next_step(floor.with_what_a_row_needs(type(job).objects.filter(pk=job.pk)).get())


def line(job, order, person, **fields):
    return WorkLine.objects.create(
        **by(person).stamp(), job=job, order=order, **{"complaint": f"job part {order}", **fields}
    )


def test_the_empty_floor_says_so(client, lead):
    client.force_login(lead)
    page = client.get("/floor/").content.decode()
    assert "No car is in the building" in page
    assert "Nothing is booked" in page


def test_the_first_promised_stands_first_and_without_promise_last(client, car, lead):
    later, none, sooner = (job_in("in_work", person=lead, vehicle=car) for _ in range(3))
    now = timezone.now()
    acts.plan(by=by(lead), job=later, seen_version=later.version, promised_at=now + timedelta(days=2))
    acts.plan(by=by(lead), job=sooner, seen_version=sooner.version, promised_at=now + timedelta(hours=2))
    booked = JobFactory(person=lead, vehicle=car)
    client.force_login(lead)
    answer = client.get("/floor/")
    assert list(answer.context["here"]) == [sooner, later, none]
    assert list(answer.context["coming"]) == [booked]


def test_closed_jobs_are_not_on_the_floor(client, car, lead):
    job = JobFactory(person=lead, vehicle=car)
    acts.cancel(by=by(lead), job=job, reason="sold")
    client.force_login(lead)
    assert job.number not in client.get("/floor/").content.decode()


def test_the_next_step_of_every_state(car, lead):
    booked = JobFactory(person=lead, vehicle=car)
    assert step_of(booked) == "Agree on a day"
    soon = JobFactory(person=lead, vehicle=car, booked_for=timezone.now() + timedelta(days=1))
    assert step_of(soon) == "Check it in"
    ago = timezone.now() - timedelta(days=3)
    missed = JobFactory(person=lead, vehicle=car, booked_for=ago, made_at=ago - timedelta(days=1))
    assert step_of(missed).startswith("Was expected")
    job = job_in("checked_in", person=lead, vehicle=car)
    assert step_of(job) == "Look at the car and write the first work line"
    undecided = line(job, 1, lead, kind="repair")
    assert step_of(job) == "Estimate 1 line, then ask the owner"
    WorkLine.objects.filter(pk=undecided.pk).update(estimate=10)
    waiting = "Waiting for the owner's answer to {}: the front desk or a lead records it"
    assert step_of(job) == waiting.format("1 line")
    line(job, 2, lead, kind="service", estimate=20)
    assert step_of(job) == waiting.format("2 lines")
    WorkLine.objects.filter(pk=undecided.pk).update(answer="yes", authorised_amount=9)
    assert step_of(job) == waiting.format("2 lines")  # authorised, but not for what it costs
    WorkLine.objects.filter(pk=undecided.pk).update(answer="yes", authorised_amount=10)
    assert step_of(job) == "Start with line 1: job part 1"
    acts.move(by=by(lead), job=job, to_state="in_work")
    assert step_of(job) == "Go on with line 1: job part 1"
    stamp = by(lead).stamp()
    procedure = Procedure.objects.create(**stamp, title="Wheel bolts", area="wheels")
    version = ProcedureVersion.objects.create(
        **stamp,
        procedure=procedure,
        number=1,
        source="invented",
        released_at=timezone.now(),
        released_by=lead,
    )
    run = Run.objects.create(**stamp, job=job, line=undecided, version_used=version)
    assert step_of(job) == "Go on with “Wheel bolts”"
    Run.objects.filter(pk=run.pk).update(completed_at=timezone.now())
    WorkLine.objects.filter(job=job).update(dropped_because="", done_at=timezone.now(), correction="done", answer="yes",
                                            authorised_amount=10)  # fmt: skip
    assert step_of(job) == "Go to the final checks"
    acts.move(by=by(lead), job=job, to_state="final_checks")
    assert step_of(job) == "Road-test the car, or say why not"
    RoadTestFactory(person=lead, job=job)
    ThingOutFactory(person=lead, job=job)
    assert step_of(job) == "Bring back: Left front wheel"
    line(job, 3, lead, kind="make_safe")  # work comes before the last checks
    assert step_of(job) == "Go on with line 3: job part 3"


def test_the_next_step_towards_the_end(car, lead):
    from jobs.acts import roadtest

    job = job_in("final_checks", person=lead, vehicle=car)
    RoadTestFactory(person=lead, job=job)
    assert step_of(job) == "Make the final check"
    roadtest.final_check(by=by(lead), job=job, new_damage="none", tools_complete=True, parts_complete=True)
    assert step_of(job) == "Call the car ready (a lead)"
    assert step_of(job_in("ready", person=lead, vehicle=car)) == "Hand the car over (a lead)"


def test_a_row_says_who_has_it_what_it_waits_for_and_its_tags(client, car, lead, technician):
    job = job_in("in_work", person=lead, vehicle=car)
    acts.plan(by=by(lead), job=job, seen_version=job.version, technician=technician, waiting_for="parts",
              standing_at="lift 2")  # fmt: skip
    TagFactory(person=lead, vehicle=car, kind="no_move", because="wheel bolts open")
    vehicle_acts.add_registration(by=by(lead), vehicle=car, plate="QL 140")
    client.force_login(lead)
    page = client.get("/floor/").content.decode()
    for words in (
        "Tamsin Orrell",
        "waiting for parts",
        "lift 2",
        "Do not move",
        "wheel bolts open",
        "QL 140",
    ):
        assert words in page


def test_as_many_queries_for_twenty_cars_as_for_two(client, lead):
    def fill(numbers):
        for number in numbers:
            car = another_car(lead, number)
            vehicle_acts.add_registration(by=by(lead), vehicle=car, plate=f"QL {number}")
            job = job_in("in_work", person=lead, vehicle=car)
            line(job, 1, lead)
            TagFactory(person=lead, vehicle=car, because=f"reason {number}")
            JobFactory(person=lead, vehicle=car)

    client.force_login(lead)

    def queries():
        with CaptureQueriesContext(connection) as caught:
            answer = client.get("/floor/")
        return len(caught), len(answer.context["here"])

    fill(range(2))
    few, two = queries()
    fill(range(2, 20))
    many, twenty = queries()
    assert (two, twenty) == (2, 20)
    assert few == many
    assert many <= 14  # one of them, for leads: names locked after wrong PINs


def test_asking_again_costs_one_small_query_while_nothing_was_written(client, car, lead):
    job_in("in_work", person=lead, vehicle=car)
    client.force_login(lead)
    first = client.get("/floor/rows/", headers={"HX-Request": "true"})
    mark = first.headers["ETag"]
    assert first.status_code == 200
    assert "<html" not in first.content.decode()  # the list alone
    with CaptureQueriesContext(connection) as caught:
        again = client.get("/floor/rows/", headers={"If-None-Match": mark, "HX-Request": "true"})
    assert again.status_code == 304
    assert again.content == b""
    assert not [query for query in caught if "jobs_job" in query["sql"]]
    TagFactory(person=lead, vehicle=car)
    changed = client.get("/floor/rows/", headers={"If-None-Match": mark, "HX-Request": "true"})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != mark
    assert "Do not start" in changed.content.decode()


def test_the_page_carries_the_mark_that_its_own_poll_sends(client, lead):
    client.force_login(lead)
    page = client.get("/floor/")
    url, mark = page.context["live_url"], page.context["live_mark"]
    assert client.get(url, headers={"If-None-Match": mark}).status_code == 304
    text = page.content.decode()
    assert f'data-live="{url}"' in text
    assert mark.strip('"') in text


def test_a_mark_is_one_persons(client, lead, technician):
    client.force_login(lead)
    mark = client.get("/floor/rows/").headers["ETag"]
    client.force_login(technician)
    assert client.get("/floor/rows/", headers={"If-None-Match": mark}).status_code == 200


@pytest.mark.parametrize("url", ["/floor/", "/floor/rows/"])
def test_a_car_owner_does_not_see_the_floor(url, client, car_owner):
    client.force_login(car_owner)
    assert client.get(url).status_code == 403


def test_when_only_the_second_check_is_missing_somebody_else_is_asked(client, car, lead, technician, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 2, "critical": True}])
    assert floor.next_step_of(run.job) == f"Go on with “{run.version_used.procedure.title}”"
    click_all(technician, run, tool)
    wanted = f"Second check wanted: by somebody else (“{run.version_used.procedure.title}”)"
    assert floor.next_step_of(run.job) == wanted
    client.force_login(lead)
    assert wanted in client.get("/floor/").content.decode()
    assert wanted in client.get(run.job.get_absolute_url()).content.decode()


def test_a_tag_is_seen_until_it_is_lifted_also_when_its_job_is_over(client, car, lead):
    job = job_in("in_work", person=lead, vehicle=car)
    tag = TagFactory(person=lead, vehicle=car, job=job, because="no brake fluid")
    client.force_login(lead)
    assert "no job in the building" not in client.get("/floor/").content.decode()
    type(job).objects.filter(pk=job.pk).update(state="collected_unfinished")
    page = client.get("/floor/").content.decode()
    assert "no job in the building" in page
    assert "no brake fluid" in page
    tag_acts.lift_tag(by=by(lead), tag=tag, lifted_because="bled")
    assert "no brake fluid" not in client.get("/floor/").content.decode()
