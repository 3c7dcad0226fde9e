"""Before a car is ready: what stands in the way, and leaving with work that is not finished."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs import gate
from jobs.acts import handover as acts
from jobs.acts import roadtest as test_acts
from jobs.acts import waiver as waiver_acts
from jobs.acts import work as work_acts
from jobs.models import Job, SheetRevision
from tests.factories.fault import FaultFactory
from tests.factories.handover import (
    critical_run,
    done_line,
    finish,
    in_work,
    leaving,
    to_final_checks,
)
from tests.factories.job import TagFactory
from tests.factories.run import click
from tests.factories.tool import ToolFactory
from tests.factories.work import owner_of
from tests.once import once
from tests.people import by
from tests.signing import hand_over, leaving_form
from vehicles.models import OutstandingItem, Telling


@once
def keeper(car, lead):
    return owner_of(car, lead)


DANGER = {
    "left_how": "trailer",
    "danger_told": "Not to be driven: the tow bar is loose.",
    "danger_answer": "acknowledged",
}


def test_a_car_is_not_handed_over_before_it_is_ready(car, keeper, lead):
    job = in_work(car, keeper, lead)
    with pytest.raises(ValidationError, match="Call the car ready first"):
        acts.hand_over(by=by(lead), job=job, **leaving(keeper))


def unproven(car, keeper, lead, technician) -> Job:
    """A critical joint, begun and not finished, everything else done."""
    job = in_work(car, keeper, lead)
    line = done_line(job, keeper, lead, complaint="Tow bar")
    run = critical_run(line, lead)
    click(technician, run, 1, run.version_used.steps.get().sequence[0], 40, ToolFactory(person=lead))
    work_acts.finish_line(by=by(lead), line=line, seen_version=line.version)
    return to_final_checks(job, lead)


def test_an_unproven_critical_joint_leaves_on_a_trailer_as_something_dangerous(car, keeper, lead, technician):
    job = unproven(car, keeper, lead, technician)
    for row in gate.blockers(job):
        if row.code in ("run", "run_open"):
            waiver_acts.waive(
                by=by(lead), job=job, blocker=row.key, reason="The owner has it finished elsewhere."
            )
    acts.call_ready(by=by(lead), job=job)
    with pytest.raises(ValidationError) as refusal:
        acts.hand_over(by=by(lead), job=job, **leaving(keeper))
    assert "on a trailer or not at all" in str(refusal.value.message_dict["left_how"])
    with pytest.raises(ValidationError) as refusal:
        acts.hand_over(by=by(lead), job=job, **leaving(keeper, left_how="trailer"))
    assert set(refusal.value.message_dict) == {"danger_told", "danger_answer"}
    sheet = acts.hand_over(by=by(lead), job=job, **leaving(keeper, **DANGER))
    item = OutstandingItem.objects.get(severity="dangerous")
    assert item.raised_by_run.job == job
    told = Telling.objects.get(item=item)
    assert (told.answer, told.told_to, told.job) == ("acknowledged", keeper, job)
    assert "Not to be driven: the tightening" in sheet.technical
    assert "The owner has it finished elsewhere." in sheet.technical


def test_whoever_declines_to_sign_for_a_danger_has_a_witness(car, keeper, lead, technician):
    job = unproven(car, keeper, lead, technician)
    fields = leaving(keeper, **{**DANGER, "danger_answer": "not_signed"})
    with pytest.raises(ValidationError) as refusal:
        acts.collect_unfinished(by=by(lead), job=job, unfinished_because="In a hurry", **fields)
    assert set(refusal.value.message_dict) == {"danger_witness"}
    acts.collect_unfinished(
        by=by(lead), job=job, unfinished_because="In a hurry", **{**fields, "danger_witness": technician}
    )
    assert Telling.objects.get().witness == technician


def test_a_car_is_collected_unfinished_with_its_own_sheet(car, keeper, lead):
    job = in_work(car, keeper, lead)
    fault = FaultFactory(person=lead, vehicle=car, job=job, title="Ticks when warm", severity="minor")
    done_line(job, keeper, lead, complaint="Front pads", correction="Left side done.")
    with pytest.raises(ValidationError, match="The final check is missing"):
        acts.collect_unfinished(by=by(lead), job=job, unfinished_because="Needed today", **leaving(keeper))
    test_acts.final_check(by=by(lead), job=job, new_damage="none", tools_complete=True, parts_complete=True)
    with pytest.raises(ValidationError) as refusal:
        acts.collect_unfinished(by=by(lead), job=job, unfinished_because=" ", **leaving(keeper))
    assert "unfinished_because" in refusal.value.message_dict
    sheet = acts.collect_unfinished(
        by=by(lead), job=job, unfinished_because="Needed today", **leaving(keeper)
    )
    job.refresh_from_db()
    fault.refresh_from_db()
    assert (job.state, sheet.kind) == ("collected_unfinished", "unfinished")
    assert (fault.end, fault.outstanding_item.reason) == ("outstanding", "beyond")
    for said in ("“Front pads” is not finished", "No road test was made.", "Needed today", "Ticks when warm"):
        assert said in sheet.technical


def test_a_tagged_car_is_not_driven_away_unfinished(car, keeper, lead):
    job = to_final_checks(in_work(car, keeper, lead), lead)
    TagFactory(person=lead, vehicle=car)
    with pytest.raises(ValidationError) as refusal:
        acts.collect_unfinished(by=by(lead), job=job, unfinished_because="Needed", **leaving(keeper))
    assert "Do not start" in str(refusal.value.message_dict["left_how"])
    sheet = acts.collect_unfinished(
        by=by(lead), job=job, unfinished_because="Needed", **leaving(keeper, left_how="trailer")
    )
    assert "Do not start: no oil in the engine." in sheet.technical


def test_what_is_in_the_way_says_where_its_link_leads(client, car, keeper, lead):
    job = in_work(car, keeper, lead)
    client.force_login(lead)
    page = client.get(f"/jobs/{job.pk}/handover/").content.decode()
    assert "Clear it" not in page
    for words in ("Record the road test", "Make the final check"):
        assert words in page, words


def test_the_handover_page_asks_as_often_for_a_long_job_as_for_a_short_one(client, car, keeper, lead):
    job = in_work(car, keeper, lead)
    finish(done_line(job, keeper, lead), lead)
    client.force_login(lead)

    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(f"/jobs/{job.pk}/handover/").status_code == 200
        return len(queries)

    short = count()
    for number in range(4):
        fault = FaultFactory(person=lead, vehicle=car, job=job, title=f"Noise {number}", severity="minor")
        finish(done_line(job, keeper, lead, complaint=f"Work {number}", faults=[fault]), lead)
    assert count() == short


def test_before_the_final_checks_the_page_says_what_to_do(client, car, keeper, lead):
    job = in_work(car, keeper, lead)
    client.force_login(lead)
    page = client.get(f"/jobs/{job.pk}/handover/").content.decode()
    assert "go to the final checks" in page
    assert "No road test" in page
    to_final_checks(job, lead)
    page = client.get(f"/jobs/{job.pk}/handover/").content.decode()
    assert f"/jobs/{job.pk}/ready/" in page
    answer = client.post(f"/jobs/{job.pk}/ready/", {"key": str(uuid4())})
    assert answer.url == f"/jobs/{job.pk}/handover/"


def test_the_unfinished_page_asks_about_dangers_and_lists_what_stays(client, car, keeper, lead, technician):
    job = unproven(car, keeper, lead, technician)
    client.force_login(lead)
    page = client.get(f"/jobs/{job.pk}/unfinished/").content.decode()
    assert "Goes on the sheet as not done" in page
    assert 'name="danger_told"' in page
    answer = hand_over(
        client, f"/jobs/{job.pk}/unfinished/", leaving_form(keeper, unfinished_because="Needed", **DANGER)
    )
    assert answer.status_code == 302
    assert SheetRevision.objects.get().kind == "unfinished"
