"""Not-to-be-moved tags: hung, shown everywhere, lifted by whom and why; an open run keeps its own."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.acts import tag as acts
from jobs.models import Job, Procedure, ProcedureVersion, Run, Tag, WorkLine
from tests.factories.job import IsolationFactory, TagFactory, job_in, qualify
from tests.once import once
from tests.people import by


@once
def run(car, technician):
    """An open run of an empty procedure; what a run itself does is tested with the runs."""
    job = job_in("in_work", person=technician, vehicle=car)
    stamp = by(technician).stamp()
    line = WorkLine.objects.create(**stamp, job=job, order=1, complaint="wheels off", kind="diagnosis")
    procedure = Procedure.objects.create(**stamp, title="Wheel bolts", area="wheels")
    version = ProcedureVersion.objects.create(
        **stamp,
        procedure=procedure,
        number=1,
        source="invented",
        released_at=timezone.now(),
        released_by=technician,
    )
    return Run.objects.create(**stamp, job=job, line=line, version_used=version)


def test_a_tag_is_hung_and_lifted(car, front_desk, technician):
    tag = TagFactory(person=front_desk, vehicle=car, kind="no_road", because="no brake fluid")
    acts.lift_tag(by=by(technician), tag=tag, lifted_because="filled and bled")
    assert (tag.lifted_by, tag.lifted_because) == (technician, "filled and bled")
    assert tag.lifted_at is not None


def test_why_is_asked_at_both_ends(car, technician):
    with pytest.raises(ValidationError, match="Say why the tag is set"):
        TagFactory(person=technician, vehicle=car, because=" ")
    tag = TagFactory(person=technician, vehicle=car)
    with pytest.raises(ValidationError, match="Say why the tag may be lifted"):
        acts.lift_tag(by=by(technician), tag=tag, lifted_because="")


def test_a_tag_for_a_job_that_is_over_is_refused_and_one_for_the_car_is_not(car, technician, lead):
    """Sent while somebody else handed the car over: whoever sets it learns that the car may have left."""
    job = job_in("in_work", person=technician, vehicle=car)
    Job.objects.filter(pk=job.pk).update(state="handed_over")
    with pytest.raises(ValidationError, match=f"{job.number} is over .* set the tag without a job"):
        TagFactory(person=technician, vehicle=car, job=job)
    assert TagFactory(person=technician, vehicle=car).job is None


def test_two_people_lift_it_at_once_and_the_second_is_told(car, technician, other_technician):
    tag = TagFactory(person=technician, vehicle=car)
    seen = Tag.objects.get(pk=tag.pk)
    acts.lift_tag(by=by(technician), tag=tag, lifted_because="oil filled")
    with pytest.raises(ValidationError, match="lifted already, by Tamsin Orrell: oil filled"):
        acts.lift_tag(by=by(other_technician), tag=seen, lifted_because="me too")
    with pytest.raises(IntegrityError, match="lifted already"), transaction.atomic():
        Tag.objects.filter(pk=tag.pk).update(lifted_because="other")


def test_the_tag_of_an_open_run_stays_until_the_run_ends(car, run, technician):
    tag = TagFactory(
        person=technician, vehicle=car, job=run.job, run=run, kind="no_move", because="bolts open"
    )
    with pytest.raises(ValidationError, match="complete that run, or give it up"):
        acts.lift_tag(by=by(technician), tag=tag, lifted_because="looks fine")
    Run.objects.filter(pk=run.pk).update(completed_at=timezone.now())
    acts.lift_tag(by=by(technician), tag=tag, lifted_because="run completed")
    assert tag.lifted_at is not None


def test_a_run_that_was_given_up_leaves_its_tag_to_be_lifted_by_hand(car, run, technician):
    tag = TagFactory(person=technician, vehicle=car, run=run)
    Run.objects.filter(pk=run.pk).update(abandoned_at=timezone.now(), abandoned_because="wrong procedure")
    acts.lift_tag(by=by(technician), tag=tag, lifted_because="bolted by another run")
    assert tag.lifted_at is not None


def test_the_tag_of_an_isolation_stays_until_it_is_re_energised(car, technician):
    car.high_voltage = True
    car.save()
    qualify(technician)
    job = job_in("in_work", person=technician, vehicle=car)
    isolation = IsolationFactory(person=technician, job=job)
    with pytest.raises(ValidationError, match="a qualified person re-energises it"):
        acts.lift_tag(by=by(technician), tag=isolation.tags.get(), lifted_because="looks fine")


def test_who_may(car, front_desk, car_owner):
    with pytest.raises(PermissionDenied):
        TagFactory(person=car_owner, vehicle=car)
    tag = TagFactory(person=front_desk, vehicle=car)
    with pytest.raises(PermissionDenied, match="You may not lift"):
        acts.lift_tag(by=by(front_desk), tag=tag, lifted_because="x")


def test_a_tag_names_a_job_of_its_own_car(car, lead):
    from vehicles.acts import vehicle as vehicle_acts

    other = vehicle_acts.add_vehicle(by=by(lead), number="FRAME1", make="Ostra", model="1600 GT", year=1975)
    job = job_in("booked", person=lead, vehicle=other)
    with pytest.raises(ValidationError, match="a job of another car"):
        TagFactory(person=lead, vehicle=car, job=job)


def test_it_shows_on_floor_job_and_vehicle_until_it_is_lifted(client, car, lead):
    job = job_in("in_work", person=lead, vehicle=car)
    tag = TagFactory(person=lead, vehicle=car, because="no oil in the engine")
    client.force_login(lead)
    pages = ("/floor/", f"/jobs/{job.pk}/", f"/vehicles/{car.pk}/")
    for url in pages:
        page = client.get(url).content.decode()
        assert "Do not start" in page, url
        assert "no oil in the engine" in page, url
    acts.lift_tag(by=by(lead), tag=tag, lifted_because="filled")
    for url in pages:
        assert "no oil in the engine" not in client.get(url).content.decode(), url


def test_by_the_forms(client, car, technician):
    job = job_in("in_work", person=technician, vehicle=car)
    client.force_login(technician)
    url = f"/vehicles/{car.pk}/tags/add/?job={job.pk}"
    form = client.get(url).context["form"]
    sent = {"key": form["key"].value(), "kind": "no_move", "because": "", "job": str(job.pk)}
    assert client.post(url, sent).status_code == 422
    sent["because"] = "on stands"
    done = client.post(url, sent)
    assert done.url == f"/jobs/{job.pk}/"
    assert client.post(url, sent).status_code == 302
    tag = Tag.objects.get()
    assert (tag.kind, tag.job) == ("no_move", job)
    lift = f"/tags/{tag.pk}/lift/"
    form = client.get(lift).context["form"]
    assert client.post(lift, {"key": form["key"].value(), "lifted_because": ""}).status_code == 422
    assert client.post(lift, {"key": form["key"].value(), "lifted_because": "down again"}).status_code == 302
    tag.refresh_from_db()
    assert tag.lifted_because == "down again"
    assert client.get(f"/vehicles/{car.pk}/tags/add/?job=nonsense").status_code == 200


def test_a_tag_is_not_lifted_before_it_was_set(car, technician):
    tag = TagFactory(person=technician, vehicle=car)
    with pytest.raises(ValidationError, match="The tag was set at") as refusal:
        acts.lift_tag(
            by=by(technician, made_at=tag.made_at - timedelta(minutes=2)), tag=tag, lifted_because="x"
        )
    assert "made_at" in refusal.value.error_dict
