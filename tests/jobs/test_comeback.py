"""A comeback is a new job for the old line, judged by somebody who did not do that line."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.acts import job as acts
from jobs.models import Job, LabourEntry, Procedure, ProcedureVersion, Run, WorkLine
from tests.factories.job import JobFactory
from tests.once import once
from tests.people import by
from vehicles.acts import vehicle as vehicle_acts


@once
def line(car, technician, lead):
    job = JobFactory(person=lead, vehicle=car)
    return WorkLine.objects.create(
        **by(lead).stamp(), job=job, order=1, complaint="Hub bolts", kind="diagnosis", technician=technician
    )


@once
def run(line, technician):
    stamp = by(technician).stamp()
    procedure = Procedure.objects.create(**stamp, title="Hub", area="wheels")
    version = ProcedureVersion.objects.create(
        **stamp,
        procedure=procedure,
        number=1,
        source="invented",
        released_at=timezone.now(),
        released_by=technician,
    )
    return Run.objects.create(**stamp, job=line.job, line=line, version_used=version)


def test_a_comeback_names_the_old_line_and_run(car, line, run, front_desk):
    job = acts.book(
        by=by(front_desk), vehicle=car, title="Hub clicks again", comeback_of=line, comeback_run=run
    )
    assert (job.comeback_of, job.comeback_run) == (line, run)
    alone = acts.book(by=by(front_desk), vehicle=car, title="Hub clicks again", comeback_run=run)
    assert alone.comeback_of == line  # the run knows its line


def test_the_old_line_was_done_on_this_car(line, lead):
    other = vehicle_acts.add_vehicle(by=by(lead), number="FRAME1", make="Ostra", model="1600 GT", year=1975)
    with pytest.raises(ValidationError, match="was done on another car"):
        acts.book(by=by(lead), vehicle=other, title="x", comeback_of=line)


def test_the_run_belongs_to_the_line(car, line, run, lead):
    other = WorkLine.objects.create(
        **by(lead).stamp(), job=line.job, order=2, complaint="Wiper", kind="diagnosis"
    )
    with pytest.raises(ValidationError, match="does not belong to"):
        acts.book(by=by(lead), vehicle=car, title="x", comeback_of=other, comeback_run=run)


def test_who_did_the_line_does_not_judge_it(car, line, technician, other_technician, lead):
    LabourEntry.objects.create(
        **by(lead).stamp(), line=line, person=other_technician, day=timezone.localdate(), minutes=20
    )
    job = JobFactory(person=lead, vehicle=car, comeback_of=line)
    for person in (technician, other_technician):
        with pytest.raises(ValidationError, match="You worked on"):
            acts.judge_comeback(by=by(person), job=job, judgement="not ours")
    acts.judge_comeback(by=by(lead), job=job, judgement="bolt seat was dirty")
    assert (job.comeback_judged_by, job.comeback_judgement) == (lead, "bolt seat was dirty")
    with pytest.raises(ValidationError, match="Lida Marchbank has judged this comeback already"):
        acts.judge_comeback(by=by(lead), job=job, judgement="changed my mind")


def test_judging_says_something_and_only_of_a_comeback(car, line, lead):
    job = JobFactory(person=lead, vehicle=car, comeback_of=line)
    with pytest.raises(ValidationError, match="Say what it turned out to be"):
        acts.judge_comeback(by=by(lead), job=job, judgement=" ")
    with pytest.raises(ValidationError, match="is no comeback"):
        acts.judge_comeback(by=by(lead), job=line.job, judgement="x")


def test_by_the_forms(client, line, run, technician, lead):
    client.force_login(technician)
    url = f"/lines/{line.pk}/comeback/"
    page = client.get(url)
    form = page.context["form"]
    assert list(form.fields["comeback_run"].queryset) == [run]
    assert form["title"].value() == "Comeback: Hub bolts"
    sent = {"key": form["key"].value(), "title": "Hub clicks", "comeback_run": str(run.pk), "limit": ""}
    done = client.post(url, sent)
    assert done.status_code == 302
    job = Job.objects.get(comeback_of=line)
    shown = client.get(f"/jobs/{job.pk}/").content.decode()
    assert "Not judged yet" in shown
    judge = f"/jobs/{job.pk}/judge/"
    key = client.get(judge).context["form"]["key"].value()
    refused = client.post(judge, {"key": key, "judgement": "a stone on the disc, not our bolts"})
    assert refused.status_code == 422
    assert "a stone on the disc, not our bolts" in refused.content.decode()
    client.force_login(lead)
    assert client.post(judge, {"key": key, "judgement": "bolt seat was dirty"}).status_code == 302
    assert "bolt seat was dirty" in client.get(f"/jobs/{job.pk}/").content.decode()


def test_the_database_wants_the_judgement_in_words(car, line, lead):
    job = JobFactory(person=lead, vehicle=car, comeback_of=line)
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.filter(pk=job.pk).update(comeback_judged_by=lead)
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.filter(pk=line.job_id).update(comeback_judged_by=lead, comeback_judgement="x")


def test_labour_entered_in_error_is_no_labour(car, line, lead, other_technician):
    LabourEntry.objects.create(
        **by(lead).stamp(),
        line=line,
        person=other_technician,
        day=timezone.localdate(),
        minutes=30,
        entered_in_error="the wrong name",
    )
    job = acts.book(by=by(lead), vehicle=car, title="Hub clicks again", comeback_of=line)
    acts.judge_comeback(by=by(other_technician), job=job, judgement="Another bearing")
    assert job.comeback_judged_by == other_technician


def test_a_done_lines_page_leads_to_the_booking_of_a_comeback(client, line, lead):
    client.force_login(lead)
    url = f"/lines/{line.pk}/comeback/"
    assert url not in client.get(line.get_absolute_url()).content.decode()
    WorkLine.objects.filter(pk=line.pk).update(done_at=timezone.now(), correction="tightened")
    Job.objects.filter(pk=line.job_id).update(state="handed_over")
    assert url in client.get(line.get_absolute_url()).content.decode()
