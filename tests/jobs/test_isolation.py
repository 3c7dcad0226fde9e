"""High-voltage isolation: by somebody qualified on that day, proved dead, locked; the tag hangs as long."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.acts import isolation as acts
from jobs.acts import roadtest as test_acts
from jobs.models import Isolation, Job, Tag
from tests.factories.job import IsolationFactory, job_in, qualify
from tests.people import by
from vehicles.acts import vehicle as vehicle_acts


@pytest.fixture
def job(car, lead):
    car.high_voltage = True
    car.save()
    return job_in("in_work", person=lead, vehicle=car, made_at=timezone.now() - timedelta(days=3))


def test_an_isolation_tags_the_car_until_it_is_re_energised(job, technician):
    held = qualify(technician)
    row = IsolationFactory(person=technician, job=job)
    assert row.competence == held
    tag = Tag.objects.get()
    assert (tag.kind, tag.isolation, tag.vehicle) == ("no_start", row, job.vehicle)
    acts.re_energise(by=by(technician), isolation=row, note="covers on, nobody at the car")
    tag.refresh_from_db()
    assert row.re_energised_by == technician
    assert tag.lifted_because == "Re-energised by Tamsin Orrell"


def test_without_the_competence_it_says_who_holds_it(job, technician, other_technician):
    qualify(other_technician)
    with pytest.raises(ValidationError) as refusal:
        IsolationFactory(person=technician, job=job)
    [sentence] = refusal.value.message_dict["isolated_by"]
    assert "Tamsin Orrell holds no high-voltage competence valid on" in sentence
    assert "Valid then for: Odo Fennick." in sentence


def test_where_nobody_holds_it_the_work_goes_elsewhere(job, technician):
    with pytest.raises(ValidationError, match="licensed firm"):
        IsolationFactory(person=technician, job=job)


def test_the_certificate_is_judged_on_the_day_of_the_work(job, technician):
    today = timezone.localdate()
    qualify(technician, since=today - timedelta(days=400), until=today - timedelta(days=1))
    with pytest.raises(ValidationError, match="holds no high-voltage competence"):
        IsolationFactory(person=technician, job=job)
    # The same work, done while it was valid and written down now.
    row = IsolationFactory(person=technician, job=job, made_at=timezone.now() - timedelta(days=2))
    assert row.competence.expires_on == today - timedelta(days=1)


def test_the_certificate_is_valid_on_its_last_day(job, technician):
    qualify(technician, since=date(2020, 1, 1), until=timezone.localdate())
    assert IsolationFactory(person=technician, job=job).competence.person == technician


def test_the_desk_may_write_down_who_isolated(job, technician, lead):
    qualify(technician)
    row = IsolationFactory(person=lead, job=job, isolated_by=technician)
    assert (row.made_by, row.isolated_by) == (lead, technician)


def test_re_energising_needs_the_competence_too(job, technician, other_technician):
    qualify(technician)
    row = IsolationFactory(person=technician, job=job)
    with pytest.raises(ValidationError) as refusal:
        acts.re_energise(by=by(other_technician), isolation=row, note="all fine")
    assert "Valid then for: Tamsin Orrell." in refusal.value.message_dict["re_energised_by"][0]
    acts.re_energise(by=by(other_technician), isolation=row, note="all fine", re_energised_by=technician)
    assert row.re_energised_by == technician
    with pytest.raises(ValidationError, match="Tamsin Orrell has re-energised this car already"):
        acts.re_energise(by=by(technician), isolation=row, note="again")


@pytest.mark.parametrize("field", ["method", "proved_dead", "locked_with"])
def test_dead_and_locked_are_said(field, job, technician):
    qualify(technician)
    with pytest.raises(ValidationError) as refusal:
        IsolationFactory(person=technician, job=job, **{field: " "})
    assert list(refusal.value.message_dict) == [field]
    row = IsolationFactory(person=technician, job=job)
    with pytest.raises(ValidationError, match="Say what was checked before"):
        acts.re_energise(by=by(technician), isolation=row, note="")


def test_it_is_not_re_energised_before_it_was_isolated(job, technician):
    qualify(technician)
    row = IsolationFactory(person=technician, job=job)
    with pytest.raises(ValidationError, match="It was isolated at"):
        acts.re_energise(
            by=by(technician, made_at=timezone.now() - timedelta(hours=1)), isolation=row, note="covers on"
        )


def test_a_car_is_isolated_once_at_a_time(job, technician, lead):
    qualify(technician)
    IsolationFactory(person=technician, job=job)
    with pytest.raises(ValidationError, match="isolated already: Tamsin Orrell"):
        IsolationFactory(person=technician, job=job)
    other_job = job_in("in_work", person=lead, vehicle=job.vehicle)
    with pytest.raises(ValidationError, match=f"on {job.number}"):
        IsolationFactory(person=technician, job=other_job)
    row = Isolation.objects.get()
    assert row.vehicle == job.vehicle
    # Below the act too, and whichever job it is made on.
    with pytest.raises(IntegrityError), transaction.atomic():
        Isolation.objects.create(
            **by(technician).stamp(), job=other_job, vehicle=job.vehicle, isolated_by=technician, competence=row.competence, method="x",
            proved_dead="x", locked_with="x",
        )  # fmt: skip


def test_a_car_without_high_voltage_is_not_isolated(car, technician, lead):
    qualify(technician)
    job = job_in("in_work", person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="not on record as having a high-voltage system"):
        IsolationFactory(person=technician, job=job)


def test_a_car_that_is_not_here_is_not_isolated(car, technician, lead):
    qualify(technician)
    job = job_in("booked", person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="not in the building"):
        IsolationFactory(person=technician, job=job)


def test_isolating_a_ready_car_sends_it_back_to_work(job, technician):
    qualify(technician)
    Job.objects.filter(pk=job.pk).update(state="ready")
    IsolationFactory(person=technician, job=job)
    job.refresh_from_db()
    assert job.state == "in_work"


def test_an_isolated_car_is_not_driven(job, technician):
    qualify(technician)
    IsolationFactory(person=technician, job=job)
    [sentence] = test_acts.why_not_on_the_road(job)
    assert "Have it re-energised by a qualified person first" in sentence


def test_the_front_desk_isolates_nothing(job, front_desk, technician):
    qualify(technician)
    with pytest.raises(PermissionDenied, match="You may not"):
        IsolationFactory(person=front_desk, job=job, isolated_by=technician)


def test_by_the_form_with_its_cautions(client, job, technician, other_technician):
    qualify(other_technician)
    client.force_login(technician)
    url = f"/jobs/{job.pk}/isolate/"
    page = client.get(url)
    assert "The maker&#x27;s data for this very car decide" in page.content.decode()
    assert "Qualified today: Odo Fennick." in page.content.decode()
    sent = {"key": page.context["form"]["key"].value(), "isolated_by": str(technician.pk), "method": "pulled",
            "proved_dead": "two-pole tester", "locked_with": "padlock 4"}  # fmt: skip
    refused = client.post(url, sent)
    assert refused.status_code == 422
    assert "padlock 4" in refused.content.decode()
    assert "Odo Fennick" in refused.context["form"].errors["isolated_by"][0]
    sent["isolated_by"] = str(other_technician.pk)
    assert client.post(url, sent).status_code == 302
    assert client.post(url, sent).status_code == 302
    row = Isolation.objects.get()
    back = f"/isolations/{row.pk}/re-energise/"
    form = client.get(back).context["form"]
    sent = {"key": form["key"].value(), "re_energised_by": str(other_technician.pk), "note": "covers on"}
    assert client.post(back, sent).status_code == 302
    row.refresh_from_db()
    assert row.re_energised_by == other_technician


def test_an_isolation_is_of_its_jobs_car(job, technician, lead):
    row = IsolationFactory(person=technician, job=job) if qualify(technician) else None
    other = vehicle_acts.add_vehicle(by=by(lead), number="FRAME1", make="Ostra", model="1600 GT", year=1975)
    with pytest.raises(IntegrityError), transaction.atomic():
        Isolation.objects.create(
            **by(technician).stamp(), job=job, vehicle=other, isolated_by=technician, competence=row.competence,
            method="x", proved_dead="x", locked_with="x",
        )  # fmt: skip


def test_the_cars_next_job_shows_that_it_is_isolated(client, job, technician, lead):
    qualify(technician)
    IsolationFactory(person=technician, job=job, locked_with="padlock 9")
    Job.objects.filter(pk=job.pk).update(state="collected_unfinished")
    job.vehicle.high_voltage = False  # corrected on the car's page: what stands is shown all the same
    job.vehicle.save()
    later = job_in("in_work", person=lead, vehicle=job.vehicle)
    client.force_login(technician)
    page = client.get(later.get_absolute_url()).content.decode()
    assert "padlock 9" in page
    assert "Not isolated on this job" not in page
