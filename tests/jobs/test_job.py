"""The job card: booking and its number, the plan, passing on, cancelling, the page."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs import floor
from jobs.acts import answer as answer_acts
from jobs.acts import job as acts
from jobs.acts import work as work_acts
from jobs.models import Job, LabourEntry, Pass, WorkLine
from tests.factories.fault import FaultFactory
from tests.factories.handover import critical_run
from tests.factories.job import JobFactory, TagFactory, ThingOutFactory, job_in
from tests.factories.outstanding import ItemFactory
from tests.factories.run import click, click_all
from tests.factories.tool import ToolFactory
from tests.factories.work import (
    LabourFactory,
    MeasurementFactory,
    PartUsedFactory,
    WorkLineFactory,
    authorised_line,
    owner_of,
)
from tests.people import by
from vehicles.models import Keeper, Vehicle, VehicleKeeper
from workshop.acting import ChangedMeanwhile
from workshop.models import Counter, Event, Shop


@pytest.fixture
def keeper(car, lead):
    """Owner of the car: pays and authorises."""
    row = Keeper.objects.create(**by(lead).stamp(), name="Corin Ashby")
    VehicleKeeper.objects.create(**by(lead).stamp(), vehicle=car, keeper=row, part="owner")
    return row


@pytest.fixture
def stranger(lead):
    return Keeper.objects.create(**by(lead).stamp(), name="Nobody Around")


# Booking


def test_a_job_is_booked_with_the_next_number_of_the_year(car, front_desk, keeper):
    tomorrow = timezone.now() + timedelta(days=1)
    job = acts.book(
        by=by(front_desk), vehicle=car, title="Brakes", complaint="squeals when cold", booked_for=tomorrow,
        promised_at=tomorrow + timedelta(hours=8), payer=keeper, authoriser=keeper, limit=Decimal(150),
    )  # fmt: skip
    year = timezone.localdate().year
    assert job.number == f"{year}-0001"
    assert (job.state, job.limit, job.payer) == ("booked", Decimal(150), keeper)
    again = JobFactory(person=front_desk, vehicle=car)
    assert again.number == f"{year}-0002"  # two jobs may be open on one car
    event = Event.objects.get(subject_id=str(job.pk), act="jobs.job.book")
    assert "squeals" not in event.body
    assert "squeals" in event.detail.words


def test_the_car_is_found_by_its_job_number(car, front_desk):
    job = JobFactory(person=front_desk, vehicle=car)
    assert list(Vehicle.objects.search(job.number)) == [car]


def test_the_year_of_the_number_is_the_shops(car, front_desk, settings):
    """31 December 23:30 UTC is the new year's day in Berlin."""
    assert settings.TIME_ZONE == "Europe/Berlin"
    late = datetime(2025, 12, 31, 23, 30, tzinfo=UTC)
    assert JobFactory(person=front_desk, vehicle=car, made_at=late).number == "2026-0001"
    assert JobFactory(person=front_desk, vehicle=car, made_at=late - timedelta(hours=1)).number == "2025-0001"


def test_a_refused_booking_gives_its_number_back(car, front_desk, stranger, monkeypatch):
    with pytest.raises(ValidationError):
        acts.book(by=by(front_desk), vehicle=car, title="x", payer=stranger)
    # Refused after the number was drawn, as late as can be.
    with monkeypatch.context() as patched:

        def refuse(vehicle):
            raise ValidationError("refused at the end")

        patched.setattr(acts.vehicle_acts, "refresh_search_text", refuse)
        with pytest.raises(ValidationError, match="at the end"):
            JobFactory(person=front_desk, vehicle=car)
    assert JobFactory(person=front_desk, vehicle=car).serial == 1
    assert not Counter.objects.exclude(last=1).exists()


def test_booked_twice_with_one_key_is_one_job(car, front_desk):
    key = uuid4()
    first = acts.book(by=by(front_desk, key=key), vehicle=car, title="Service")
    again = acts.book(by=by(front_desk, key=key), vehicle=car, title="Service")
    assert first == again
    assert Job.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "field", "said"),
    [
        ({"promised_at": timedelta(hours=-1)}, "promised_at", "it is past"),
        (
            {"booked_for": timedelta(days=3), "promised_at": timedelta(days=2)},
            "promised_at",
            "not here before",
        ),
        ({"booked_for": timedelta(days=-2)}, "booked_for", "This day is past"),
        ({"title": " "}, "title", "blank"),
        ({"limit": Decimal(-1)}, "__all__", "negative"),
    ],
)
def test_a_booking_that_can_not_be_is_refused_beside_its_field(fields, field, said, car, front_desk):
    now = timezone.now()
    given = {name: now + value if isinstance(value, timedelta) else value for name, value in fields.items()}
    with pytest.raises(ValidationError) as refusal:
        acts.book(by=by(front_desk), vehicle=car, **{"title": "Service", **given})
    assert said in " ".join(refusal.value.message_dict[field])
    assert not Job.objects.exists()


def test_a_promise_is_judged_at_the_time_of_booking_not_of_typing(car, front_desk):
    """Booked three hours ago for two hours ago, written down now: it was no promise in the past then."""
    made_at = timezone.now() - timedelta(hours=3)
    job = JobFactory(
        person=front_desk, vehicle=car, made_at=made_at, promised_at=made_at + timedelta(hours=1)
    )
    assert job.promised_at < timezone.now()


@pytest.mark.parametrize("part", ["payer", "authoriser"])
def test_payer_and_authoriser_are_people_around_the_car(part, car, front_desk, stranger):
    with pytest.raises(ValidationError) as refusal:
        acts.book(by=by(front_desk), vehicle=car, title="x", **{part: stranger})
    assert "Nobody Around is not on record as" in refusal.value.message_dict[part][0]


def test_the_limit_is_the_shops_unless_given(car, front_desk):
    Shop.objects.filter(pk=Shop.current().pk).update(default_limit=Decimal(120))
    assert JobFactory(person=front_desk, vehicle=car).limit == Decimal(120)
    assert JobFactory(person=front_desk, vehicle=car, limit=Decimal(0)).limit == 0


def test_a_car_owner_books_nothing(car, car_owner):
    with pytest.raises(PermissionDenied, match="You may not book a job"):
        JobFactory(person=car_owner, vehicle=car)


def test_the_database_holds_the_numbers_apart(car, front_desk):
    job = JobFactory(person=front_desk, vehicle=car)
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.create(**by(front_desk).stamp(), vehicle=car, title="x", year=job.year, serial=job.serial)


def test_booking_by_the_form(client, car, front_desk, keeper, stranger):
    client.force_login(front_desk)
    url = f"/vehicles/{car.pk}/book/"
    form = client.get(url).context["form"]
    assert set(form.fields["payer"].queryset) == {keeper}
    assert form["limit"].value() == "0"
    yesterday = (timezone.localtime() - timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")
    typed = {
        "key": form["key"].value(),
        "title": "Clutch slips",
        "complaint": "slips uphill,\nsmells",
        "promised_at": yesterday,
        "limit": "150,50",
        "payer": str(keeper.pk),
    }
    refused = client.post(url, typed)
    assert refused.status_code == 422
    assert "it is past" in refused.content.decode()
    assert "slips uphill,\nsmells" in refused.content.decode().replace("\r\n", "\n")
    assert refused.context["form"]["limit"].value() == "150,50"
    assert client.post(url, {**typed, "payer": str(stranger.pk), "promised_at": ""}).status_code == 422
    assert not Job.objects.exists()
    done = client.post(url, {**typed, "promised_at": ""})
    assert done.status_code == 302
    job = Job.objects.get()
    assert done.url == f"/jobs/{job.pk}/"
    assert job.limit == Decimal("150.50")
    assert client.post(url, {**typed, "promised_at": ""}).status_code == 302
    assert Job.objects.count() == 1


# Plan


def test_the_plan_says_what_it_waits_for_and_where_it_stands(car, front_desk, technician, lead):
    job = JobFactory(person=front_desk, vehicle=car)
    acts.plan(by=by(front_desk), job=job, seen_version=1, technician=technician, lead=lead, waiting_for="parts",
              waiting_note="Thursday's van", standing_at="yard, by the wall")  # fmt: skip
    job.refresh_from_db()
    assert (job.technician, job.waiting_for, job.standing_at, job.version) == (
        technician, "parts", "yard, by the wall", 2,
    )  # fmt: skip


def test_two_people_plan_at_once_and_both_texts_are_shown(client, car, front_desk, technician):
    job = JobFactory(person=front_desk, vehicle=car)
    client.force_login(technician)
    url = f"/jobs/{job.pk}/plan/"
    form = client.get(url).context["form"]
    acts.plan(by=by(front_desk), job=job, seen_version=1, standing_at="lift 1")
    typed = {
        "key": form["key"].value(),
        "seen_version": 1,
        "standing_at": "lift 2",
        "waiting_for": "",
        "waiting_note": "",
    }
    answer = client.post(url, typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "lift 1" in page
    assert 'value="lift 2"' in page
    assert answer.context["form"]["seen_version"].value() == "2"
    again = client.post(url, {**typed, "seen_version": 2})
    assert again.status_code == 302
    job.refresh_from_db()
    assert job.standing_at == "lift 2"
    with pytest.raises(ChangedMeanwhile):
        acts.plan(by=by(front_desk), job=job, seen_version=1, standing_at="lift 3")


def test_a_plan_that_can_not_be_is_refused(car, front_desk, technician, lead):
    job = JobFactory(person=front_desk, vehicle=car)
    for fields, said in (
        ({"promised_at": timezone.now() - timedelta(minutes=5)}, "it is past"),
        ({"technician": front_desk}, "is not a technician"),
        ({"lead": technician}, "is not a lead"),
        ({"waiting_note": "the van"}, "Choose what it waits for"),
        ({"waiting_for": "godot"}, "not a valid choice"),
    ):
        with pytest.raises(ValidationError, match=said):
            acts.plan(by=by(front_desk), job=job, seen_version=1, **fields)
    technician.is_active = False
    technician.save()
    with pytest.raises(ValidationError, match="is not a technician of this shop now"):
        acts.plan(by=by(front_desk), job=job, seen_version=1, technician=technician)


def test_an_overdue_promise_does_not_keep_the_rest_of_the_plan_from_changing(car, front_desk):
    job = JobFactory(person=front_desk, vehicle=car)
    Job.objects.filter(pk=job.pk).update(promised_at=timezone.now() - timedelta(days=1))
    job.refresh_from_db()
    acts.plan(by=by(front_desk), job=job, seen_version=1, promised_at=job.promised_at, standing_at="lift 1")
    job.refresh_from_db()
    assert job.standing_at == "lift 1"


def test_a_closed_job_is_planned_no_more(car, front_desk):
    job = JobFactory(person=front_desk, vehicle=car)
    acts.cancel(by=by(front_desk), job=job, reason="sold")
    with pytest.raises(ValidationError, match="is over"):
        acts.plan(by=by(front_desk), job=job, seen_version=1, standing_at="x")


def test_what_was_agreed_is_agreed_anew_with_a_reason(client, car, front_desk, keeper):
    job = JobFactory(person=front_desk, vehicle=car, payer=keeper, limit=Decimal(100))
    with pytest.raises(ValidationError, match="who agreed"):
        acts.agree_anew(by=by(front_desk), job=job, seen_version=1, reason=" ", limit=Decimal(300))
    client.force_login(front_desk)
    url = f"/jobs/{job.pk}/agree/"
    form = client.get(url).context["form"]
    sent = {"key": form["key"].value(), "seen_version": 1, "title": job.title, "payer": str(keeper.pk), "limit": "300",
            "reason": "Corin Ashby by telephone"}  # fmt: skip
    assert client.post(url, sent).status_code == 302
    job.refresh_from_db()
    assert (job.limit, job.payer) == (Decimal(300), keeper)
    event = Event.objects.get(act="jobs.job.agree_anew")
    assert '"limit":["100.00","300"]' in event.body


# Handing on


def test_a_job_is_handed_on_with_what_is_loose(car, technician, other_technician):
    job = job_in("in_work", person=technician, vehicle=car)
    acts.plan(by=by(technician), job=job, seen_version=job.version, technician=technician)
    row = acts.pass_on(by=by(technician), job=job, to_person=other_technician, loose="left caliper, two bolts",
                       fasteners="tray on the bench")  # fmt: skip
    assert (row.from_person, row.to_person) == (technician, other_technician)
    assert job.technician == other_technician


def test_the_plan_does_not_take_a_job_in_work_from_somebody(car, technician, other_technician, front_desk):
    job = job_in("in_work", person=technician, vehicle=car)
    acts.plan(by=by(technician), job=job, seen_version=job.version, technician=technician)
    with pytest.raises(ValidationError, match="Use “Hand on”"):
        acts.plan(by=by(front_desk), job=job, seen_version=job.version, technician=other_technician)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"loose": " "}, "Say what is loose"),
        ({"fasteners": ""}, "Say where the bolts and parts are"),
        ({"to_person": "technician"}, "Choose somebody else"),
        ({"to_person": "front_desk"}, "is not a technician"),
    ],
)
def test_handing_on_that_can_not_be(fields, said, car, technician, other_technician, front_desk):
    job = job_in("in_work", person=technician, vehicle=car)
    acts.plan(by=by(technician), job=job, seen_version=job.version, technician=technician)
    people = {"technician": technician, "front_desk": front_desk}
    given = {"to_person": other_technician, "loose": "nothing", "fasteners": "nothing", **fields}
    given["to_person"] = people.get(given["to_person"], given["to_person"])
    with pytest.raises(ValidationError, match=said):
        acts.pass_on(by=by(technician), job=job, **given)
    assert not Pass.objects.exists()


def test_only_a_car_in_the_building_is_handed_on(car, technician, other_technician):
    job = job_in("booked", person=technician, vehicle=car)
    with pytest.raises(ValidationError, match="not in the building"):
        acts.pass_on(by=by(technician), job=job, to_person=other_technician, loose="no", fasteners="no")


# Cancelling


def test_a_booking_is_cancelled_with_a_reason_and_keeps_its_number(car, front_desk):
    job = JobFactory(person=front_desk, vehicle=car)
    with pytest.raises(ValidationError, match="needs a reason"):
        acts.cancel(by=by(front_desk), job=job, reason="")
    acts.cancel(by=by(front_desk), job=job, reason="the owner sold the car")
    assert (job.state, job.cancelled_because) == ("cancelled", "the owner sold the car")
    assert JobFactory(person=front_desk, vehicle=car).serial == job.serial + 1
    with pytest.raises(ValidationError, match="“Cancelled” already"):
        acts.cancel(by=by(front_desk), job=job, reason="again")


def test_a_car_that_was_checked_in_is_not_cancelled(car, lead):
    job = job_in("checked_in", person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="collected unfinished"):
        acts.cancel(by=by(lead), job=job, reason="changed their mind")


def test_a_booking_on_which_something_was_done_is_not_cancelled(car, lead):
    job = JobFactory(person=lead, vehicle=car)
    line = WorkLine.objects.create(**by(lead).stamp(), job=job, order=1, complaint="wiper", kind="diagnosis")
    LabourEntry.objects.create(
        **by(lead).stamp(), line=line, person=lead, day=timezone.localdate(), minutes=20
    )
    with pytest.raises(ValidationError, match="Something was done already: labour"):
        acts.cancel(by=by(lead), job=job, reason="x")


def test_a_technician_cancels_no_booking(car, technician):
    job = JobFactory(person=technician, vehicle=car)
    with pytest.raises(PermissionDenied, match="You may not cancel a job"):
        acts.cancel(by=by(technician), job=job, reason="x")


# Things out


def test_what_is_out_comes_back_once(car, technician, other_technician):
    from jobs.acts import thing as thing_acts

    job = job_in("in_work", person=technician, vehicle=car)
    thing = ThingOutFactory(person=technician, job=job)
    thing_acts.bring_back(by=by(other_technician), thing=thing)
    assert thing.back_by == other_technician
    with pytest.raises(ValidationError, match="is back already: Odo Fennick"):
        thing_acts.bring_back(by=by(technician), thing=thing)


def test_a_part_taken_off_a_ready_car_sends_it_back_to_work(car, lead):
    job = job_in("ready", person=lead, vehicle=car)
    ThingOutFactory(person=lead, job=job)
    assert job.state == "in_work"
    assert job.moves.last().reason == "Part of the car taken off: Left front wheel"


def test_nothing_is_out_of_a_car_that_is_not_here(car, lead, front_desk):
    job = job_in("booked", person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="Check it in first"):
        ThingOutFactory(person=lead, job=job)
    with pytest.raises(PermissionDenied):
        ThingOutFactory(person=front_desk, job=job)


# The page


def test_the_job_page_takes_as_many_queries_for_much_as_for_little(client, car, lead, technician):
    from django.db import connection as database
    from django.test.utils import CaptureQueriesContext

    owner = owner_of(car, lead)
    job = job_in("in_work", person=lead, vehicle=car)
    tool = ToolFactory(person=lead)
    client.force_login(lead)

    def fill(times):
        for number in range(times):
            ThingOutFactory(person=lead, job=job, what=f"Part {number}")
            TagFactory(person=lead, vehicle=car, because=f"reason {number}")
            acts.pass_on(
                by=by(lead), job=job, to_person=(technician, lead)[number % 2], loose="x", fasteners="y"
            )
            line = authorised_line(job=job, person=lead, owner=owner, complaint=f"Line {number}")
            fault = FaultFactory(person=lead, vehicle=car, job=job)
            work_acts.write_line(by=by(lead), line=line, seen_version=line.version, faults=[fault])
            LabourFactory(person=lead, line=line, minutes=10)
            PartUsedFactory(person=lead, line=line)
            MeasurementFactory(person=lead, line=line)
            ItemFactory(person=lead, vehicle=car, severity="dangerous", reason="deferred")
            run = critical_run(line, lead, title=f"Wheels for {line.pk}")
            click(technician, run, 1, 1, 40, tool)

    def queries(url):
        with CaptureQueriesContext(database) as caught:
            assert client.get(url).status_code == 200
        return len(caught)

    page, live = f"/jobs/{job.pk}/", f"/jobs/{job.pk}/live/"
    fill(2)
    few = queries(page), queries(live)
    fill(6)
    assert (queries(page), queries(live)) == few
    assert max(few) <= 50


def test_the_next_step_is_the_same_from_the_floor_and_from_the_page(client, car, lead, technician):
    """Two ways to read the same: in the database for all cars of the floor, from what is loaded for one job."""
    owner = owner_of(car, lead)
    job = job_in("checked_in", person=lead, vehicle=car)
    seen = []

    def both():
        on_the_floor = floor.with_what_a_row_needs(Job.objects.filter(pk=job.pk)).get()
        floor.look_at_runs([on_the_floor])
        fresh = Job.objects.select_related("vehicle").get(pk=job.pk)
        one, other = floor.next_step(on_the_floor), floor.next_step_of(fresh)
        assert one == other
        seen.append(one)

    both()
    line = work_acts.add_line(by=by(lead), job=job, complaint="Squeals")
    both()
    answer_acts.estimate_line(by=by(lead), line=line, seen_version=line.version, estimate=Decimal(80))
    both()
    answer_acts.record_answer(by=by(lead), line=line, answer="yes", given_by=owner, channel="phone")
    both()
    acts.move(by=by(lead), job=job, to_state="in_work")
    both()
    line.refresh_from_db()
    answer_acts.estimate_line(
        by=by(lead), line=line, seen_version=line.version, estimate=Decimal(80), cost=Decimal(95)
    )
    both()
    line.refresh_from_db()
    answer_acts.record_answer(
        by=by(lead), line=line, answer="yes", given_by=owner, channel="phone", amount=Decimal(95)
    )
    work_acts.add_line(
        by=by(lead), job=job, complaint="Find the drain", kind="diagnosis", estimate=Decimal(0)
    )
    both()
    run = critical_run(line, lead, title="Wheels")
    both()
    click_all(technician, run, ToolFactory(person=lead), values=(40, 110))
    both()
    ThingOutFactory(person=lead, job=job)
    acts.move(by=by(lead), job=job, to_state="final_checks")
    both()
    assert len(set(seen)) >= 7


@pytest.mark.parametrize("state", ["booked", "checked_in", "in_work", "final_checks", "ready"])
@pytest.mark.parametrize("role", ["technician", "lead", "front_desk", "shop_owner"])
def test_the_job_page_opens_for_all_staff_in_every_state(state, role, client, car, lead, request):
    job = job_in(state, person=lead, vehicle=car)
    client.force_login(request.getfixturevalue(role))
    page = client.get(f"/jobs/{job.pk}/")
    assert page.status_code == 200
    assert job.number in page.content.decode()


def test_strangers_learn_nothing_of_a_job(client, car, lead, other_owner):
    job = job_in("checked_in", person=lead, vehicle=car)
    client.force_login(other_owner)
    assert client.get(f"/jobs/{job.pk}/").status_code == 403
    client.force_login(lead)
    assert client.get(f"/jobs/{uuid4()}/").status_code == 404


def test_a_closed_job_shows_no_way_to_change_it(client, car, lead):
    job = JobFactory(person=lead, vehicle=car)
    acts.cancel(by=by(lead), job=job, reason="sold")
    client.force_login(lead)
    page = client.get(f"/jobs/{job.pk}/").content.decode()
    assert "Cancelled" in page
    for words in ("Check the car in", "Plan", "Change title, payer, limit"):
        assert f">{words}<" not in page


# A higher limit, once the car is here


@pytest.fixture
def here(car, front_desk):
    return job_in("checked_in", person=front_desk, vehicle=car, limit=Decimal(100))


@pytest.fixture
def owner(car, front_desk):
    return owner_of(car, front_desk)


def raise_limit(job, person, limit=300, **said):
    return acts.agree_anew(
        by=by(person), job=job, seen_version=job.version, reason="more to find", limit=Decimal(limit), **said
    )


def test_a_higher_limit_is_the_owners_answer(here, front_desk, owner):
    with pytest.raises(ValidationError) as refusal:
        raise_limit(here, front_desk)
    assert set(refusal.value.error_dict) == {"given_by", "channel"}
    raise_limit(here, front_desk, given_by=owner, channel="phone")
    assert (here.limit, here.limit_given_by, here.limit_channel) == (Decimal(300), owner, "phone")
    assert here.limit_answered_at is not None
    raise_limit(here, front_desk, 50)  # lower: nobody is asked
    assert here.limit == 50


def test_who_may_not_authorise_raises_no_limit(here, front_desk, car):
    driver = owner_of(car, front_desk, "Perrin Holt", "driver")
    with pytest.raises(ValidationError, match="Perrin Holt may not authorise work") as refusal:
        raise_limit(here, front_desk, given_by=driver, channel="phone")
    assert list(refusal.value.error_dict) == ["given_by"]


def test_who_records_no_answers_raises_no_limit_and_lowers_it(here, technician, owner):
    with pytest.raises(ValidationError, match="the front desk or a lead records") as refusal:
        raise_limit(here, technician, given_by=owner, channel="phone")
    assert list(refusal.value.error_dict) == ["limit"]
    raise_limit(here, technician, 50)
    assert here.limit == 50


def test_the_answer_to_a_higher_limit_has_its_time(here, front_desk, owner):
    for moment in (here.made_at - timedelta(hours=1), timezone.now() + timedelta(hours=1)):
        with pytest.raises(ValidationError) as refusal:
            raise_limit(here, front_desk, given_by=owner, channel="phone", answered_at=moment)
        assert list(refusal.value.error_dict) == ["answered_at"]


def test_a_higher_limit_by_its_form(client, here, front_desk, owner):
    client.force_login(front_desk)
    url = f"/jobs/{here.pk}/agree/"
    form = client.get(url).context["form"]
    sent = {"key": form["key"].value(), "seen_version": here.version, "title": here.title, "limit": "300",
            "reason": "battery hunt takes longer"}  # fmt: skip
    refused = client.post(url, sent)
    assert refused.status_code == 422
    assert "battery hunt takes longer" in refused.content.decode()
    assert client.post(url, {**sent, "given_by": str(owner.pk), "channel": "phone"}).status_code == 302
    page = client.get(here.get_absolute_url()).content.decode()
    assert "raised: Corin Ashby, by telephone" in page


def test_the_database_keeps_who_agreed_together(here):
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.filter(pk=here.pk).update(limit_channel="phone")


# What the page offers


def test_booking_has_the_only_payer_chosen_beforehand(client, car, front_desk):
    client.force_login(front_desk)
    url = f"/vehicles/{car.pk}/book/"
    assert client.get(url).context["form"]["payer"].value() is None
    owner = owner_of(car, front_desk)
    form = client.get(url).context["form"]
    assert (form["payer"].value(), form["authoriser"].value()) == (owner.pk, owner.pk)
    owner_of(car, front_desk, "Perrin Holt", "authoriser")
    form = client.get(url).context["form"]
    assert (form["payer"].value(), form["authoriser"].value()) == (owner.pk, None)


def test_a_job_is_not_booked_before_there_was_a_car(car, lead):
    with pytest.raises(ValidationError, match="model year 2006") as refusal:
        JobFactory(person=lead, vehicle=car, made_at=datetime(2004, 12, 30, 12, tzinfo=UTC))
    assert "made_at" in refusal.value.error_dict


def test_the_final_checks_are_not_the_next_step_while_a_line_is_open(client, car, technician, lead):
    job = job_in("in_work", person=lead, vehicle=car)
    client.force_login(technician)
    primary = re.compile(r'<button class="btn primary">Go to the final checks')
    page = client.get(job.get_absolute_url()).content.decode()
    assert "Go to the final checks" in page
    assert not primary.search(page), "nothing was done yet"
    line = WorkLineFactory(person=lead, job=job, complaint="Squeals when cold")
    page = client.get(job.get_absolute_url()).content.decode()
    assert not primary.search(page)
    url = f"/jobs/{job.pk}/move/?to_state=final_checks"
    assert f'<a class="btn" href="{url}">Go to the final checks' in page
    asked = client.get(url)
    assert "Squeals when cold" in asked.content.decode()
    sent = {"key": asked.context["form"]["key"].value(), "to_state": "final_checks"}
    assert client.post(url, sent).status_code == 302
    WorkLine.objects.filter(pk=line.pk).update(dropped_because="sold")


def test_the_step_to_take_now_leads_forward(client, car, technician, lead):
    """Who may only go back from here is not asked to."""
    job = job_in("in_work", person=lead, vehicle=car)
    line = WorkLineFactory(person=lead, job=job, complaint="Squeals when cold")
    WorkLine.objects.filter(pk=line.pk).update(dropped_because="sold")
    client.force_login(technician)
    page = client.get(job.get_absolute_url()).content.decode()
    assert '<button class="btn primary">Go to the final checks' in page
    for state in ("final_checks", "ready"):
        Job.objects.filter(pk=job.pk).update(state=state)
        page = client.get(job.get_absolute_url()).content.decode()
        assert f'<a class="btn quiet" href="/jobs/{job.pk}/move/?to_state=in_work">Back to work' in page


def test_a_survey_is_begun_from_the_jobs_page(client, car, technician):
    job = job_in("checked_in", person=technician, vehicle=car)
    client.force_login(technician)
    url = f"{reverse('vehicles:survey-start', args=[car.pk])}?job={job.pk}"
    assert url in client.get(job.get_absolute_url()).content.decode()
    assert client.get(url).context["form"]["job"].value() == str(job.pk)
