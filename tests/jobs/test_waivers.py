"""Waivers: a lead, a reason, and only what the gate lets be waived."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from jobs import gate
from jobs.acts import waiver as acts
from jobs.models import Waiver
from tests.factories.job import TagFactory, ThingOutFactory, job_in
from tests.once import once
from tests.people import by


@once
def job(car, lead):
    return job_in("final_checks", person=lead, vehicle=car)


def key_of(job, code):
    return next(blocker.key for blocker in gate.blockers(job) if blocker.code == code)


def test_what_was_waived_no_longer_blocks(job, lead):
    TagFactory(person=lead, vehicle=job.vehicle, because="no coolant")
    key = key_of(job, "tag")
    row = acts.waive(by=by(lead), job=job, blocker=key, reason="leaves on a trailer")
    assert "no coolant" in row.text
    assert key not in [blocker.key for blocker in gate.blockers(job)]
    with pytest.raises(ValidationError, match="Lida Marchbank has waived this already"):
        acts.waive(by=by(lead), job=job, blocker=key, reason="once more")


def test_what_the_gate_does_not_let_go_stays(job, lead):
    ThingOutFactory(person=lead, job=job)
    with pytest.raises(ValidationError, match="This can't be waived"):
        acts.waive(by=by(lead), job=job, blocker=key_of(job, "thing"), reason="found later")
    assert not Waiver.objects.exists()


def test_what_does_not_block_is_not_waived(job, lead):
    with pytest.raises(ValidationError, match="no longer blocks"):
        acts.waive(by=by(lead), job=job, blocker="tag:nothing", reason="x")


def test_a_reason_is_asked(job, lead):
    TagFactory(person=lead, vehicle=job.vehicle)
    with pytest.raises(ValidationError, match="Say why this may be waived"):
        acts.waive(by=by(lead), job=job, blocker=key_of(job, "tag"), reason=" ")


def test_a_technician_waives_nothing(client, job, lead, technician):
    TagFactory(person=lead, vehicle=job.vehicle)
    key = key_of(job, "tag")
    with pytest.raises(PermissionDenied, match="You may not"):
        acts.waive(by=by(technician), job=job, blocker=key, reason="x")
    client.force_login(technician)
    assert "/waive/" not in client.get(f"/jobs/{job.pk}/").content.decode()
    assert client.get(f"/jobs/{job.pk}/waive/?blocker={key}").status_code == 403


def test_the_database_keeps_it(job, lead):
    TagFactory(person=lead, vehicle=job.vehicle)
    row = acts.waive(by=by(lead), job=job, blocker=key_of(job, "tag"), reason="trailer")
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        Waiver.objects.filter(pk=row.pk).update(reason="none")
    with pytest.raises(IntegrityError), transaction.atomic():
        Waiver.objects.create(**by(lead).stamp(), job=job, blocker=row.blocker, text="x", reason="y")


def test_by_the_page_and_its_form(client, job, lead):
    TagFactory(person=lead, vehicle=job.vehicle)
    key = key_of(job, "tag")
    client.force_login(lead)
    assert "/waive/?blocker=tag" in client.get(f"/jobs/{job.pk}/").content.decode()
    url = f"/jobs/{job.pk}/waive/?blocker={key}"
    page = client.get(url)
    assert "Do not start" in page.content.decode()
    sent = {"key": page.context["form"]["key"].value(), "blocker": key, "reason": ""}
    assert client.post(url, sent).status_code == 422
    sent["reason"] = "leaves on a trailer"
    assert client.post(url, sent).status_code == 302
    assert client.post(url, sent).status_code == 302
    assert Waiver.objects.get().reason == "leaves on a trailer"
    assert "leaves on a trailer" in client.get(f"/jobs/{job.pk}/").content.decode()
