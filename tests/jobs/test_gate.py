"""The gate: each thing that keeps a car from leaving appears, leads to where it is cleared, and goes."""

from __future__ import annotations

import html
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import resolve

from jobs import gate
from jobs.acts import answer as answer_acts
from jobs.acts import handover as acts
from jobs.acts import isolation as isolation_acts
from jobs.acts import job as job_acts
from jobs.acts import part as part_acts
from jobs.acts import roadtest as test_acts
from jobs.acts import second_check as second_check_acts
from jobs.acts import tag as tag_acts
from jobs.acts import thing as thing_acts
from jobs.acts import torque as torque_acts
from jobs.acts import waiver as waiver_acts
from jobs.acts import work as work_acts
from jobs.models import Job
from tests.factories.fault import FaultFactory
from tests.factories.handover import critical_run, done_line, finish, in_work, to_final_checks
from tests.factories.job import IsolationFactory, TagFactory, ThingOutFactory, qualify
from tests.factories.outstanding import ItemFactory
from tests.factories.part import PartFactory
from tests.factories.run import click_all, step_of
from tests.factories.tool import ToolFactory
from tests.factories.vehicle import ReadingFactory
from tests.factories.work import owner_of
from tests.hand import filled
from tests.once import once
from tests.people import by
from vehicles.acts import fault as fault_acts
from vehicles.acts import odometer as odometer_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.acts import part as car_part_acts
from workshop.engineering.units import Amount


@once
def keeper(car, lead):
    return owner_of(car, lead)


@once
def job(car, keeper, lead):
    """In work, with one line done: only what closes a job is still missing."""
    job = in_work(car, keeper, lead)
    finish(done_line(job, keeper, lead), lead)
    return job


def codes(job: Job) -> set[str]:
    return {found.code for found in gate.blockers(Job.objects.get(pk=job.pk))}


def found(job: Job, code: str) -> gate.Blocker:
    [row] = [row for row in gate.blockers(job) if row.code == code]
    return row


def test_what_a_finished_job_still_lacks_before_its_closing(job, lead):
    assert codes(job) == {"odometer_out", "road_test", "final_check"}
    to_final_checks(job, lead)
    assert codes(job) == {"odometer_out"}
    odometer_acts.record_reading(
        by=by(lead), vehicle=job.vehicle, amount=Amount(Decimal(148_300), "km"), job=job
    )
    assert codes(job) == set()


def test_the_reading_of_check_in_or_of_another_job_is_not_the_one_on_leaving(job, lead):
    ReadingFactory.create(person=lead, vehicle=job.vehicle, km=148_400)
    assert "odometer_out" in codes(job)


def test_a_line_is_undecided_until_it_is_estimated_answered_and_done(job, keeper, lead):
    line = work_acts.add_line(by=by(lead), job=job, complaint="Tyres")
    assert "estimate it" in found(job, "line_undecided").text
    answer_acts.estimate_line(by=by(lead), line=line, seen_version=line.version, estimate=Decimal(400))
    assert "record the owner's answer" in found(job, "line_undecided").text
    line.refresh_from_db()
    answer_acts.record_answer(by=by(lead), line=line, answer="yes", given_by=keeper, channel="phone")
    assert codes(job) >= {"line_open"}
    line.refresh_from_db()
    work_acts.drop_line(
        by=by(lead), line=line, seen_version=line.version, dropped_because="No tyres to be had"
    )
    assert not codes(job) & {"line_open", "line_undecided"}


@pytest.mark.parametrize("answer", ["no", "later"])
def test_a_declined_or_deferred_line_is_decided(job, keeper, lead, answer):
    line = work_acts.add_line(by=by(lead), job=job, complaint="Tyres", estimate=Decimal(400))
    answer_acts.record_answer(by=by(lead), line=line, answer=answer, given_by=keeper, channel="phone")
    assert not codes(job) & {"line_open", "line_undecided"}


@pytest.mark.parametrize("answer", ["no", "later"])
def test_a_line_that_was_put_off_goes_on_as_something_outstanding(job, keeper, lead, answer, client):
    line = work_acts.add_line(by=by(lead), job=job, complaint="Tyres", kind="repair", estimate=Decimal(400))
    answer_acts.record_answer(by=by(lead), line=line, answer=answer, given_by=keeper, channel="phone")
    blocker = found(job, "line_put_off")
    client.force_login(lead)
    assert blocker.url in html.unescape(client.get(job.get_absolute_url()).text), (
        "the line's next step leads there too"
    )
    form = client.get(blocker.url).context["form"]
    typed = filled(form, {"severity": "minor"})
    assert client.post(blocker.url, typed).status_code == 302
    [item] = job.vehicle.outstanding_items.all()
    assert (item.title, item.raised_by_line, item.raised_in) == ("Tyres", line, job)
    assert item.reason == ("declined" if answer == "no" else "deferred")
    assert "line_put_off" not in codes(job)


def test_a_line_put_off_whose_fault_or_item_stays_needs_no_second_item(job, keeper, lead):
    item = ItemFactory(person=lead, vehicle=job.vehicle, severity="minor")
    line = work_acts.add_line(
        by=by(lead), job=job, complaint="Tyres", kind="repair", estimate=Decimal(400), items=[item]
    )
    answer_acts.record_answer(by=by(lead), line=line, answer="later", given_by=keeper, channel="phone")
    assert "line_put_off" not in codes(job)


def test_a_cost_above_what_was_authorised_asks_again(job, keeper, lead):
    line = done_line(job, keeper, lead, complaint="Exhaust", amount="80.00")
    answer_acts.estimate_line(
        by=by(lead), line=line, seen_version=line.version, estimate=Decimal(80), cost=Decimal(120)
    )
    assert "costs 120.00 now; 80.00 was authorised" in found(job, "line_above").text
    line.refresh_from_db()
    answer_acts.record_answer(
        by=by(lead), line=line, answer="yes", given_by=keeper, channel="phone", amount=Decimal(120)
    )
    assert "line_above" not in codes(job)


def test_diagnosis_above_the_limit_needs_an_answer(car, keeper, lead):
    job = in_work(car, keeper, lead, limit=Decimal(50))
    line = work_acts.add_line(
        by=by(lead), job=job, complaint="Find the drain", kind="diagnosis", estimate=Decimal(40)
    )
    assert found(job, "line_open")  # covered, and not done
    answer_acts.estimate_line(by=by(lead), line=line, seen_version=line.version, estimate=Decimal(60))
    assert found(job, "line_undecided")


def test_making_safe_is_told_the_same_day(job, keeper, lead):
    line = work_acts.add_line(by=by(lead), job=job, complaint="Secure the wheel", kind="make_safe")
    assert {"line_open", "make_safe_untold"} <= codes(job)
    work_acts.finish_line(by=by(lead), line=line, seen_version=line.version, correction="Wheel tightened.")
    assert "make_safe_untold" in codes(job)
    answer_acts.tell_made_safe(
        by=by(lead), line=line, told_to=keeper, channel="phone", told="The wheel was loose and is tightened."
    )
    assert not codes(job) & {"line_open", "make_safe_untold"}


@pytest.mark.parametrize("on_a_line", [False, True])
def test_a_fault_taken_on_has_an_end(job, keeper, lead, on_a_line):
    fault = FaultFactory(person=lead, vehicle=job.vehicle, job=None if on_a_line else job)
    if on_a_line:
        done_line(job, keeper, lead, complaint="Look at it", faults=[fault])
    assert found(job, "fault_open").subject == str(fault.pk)
    fault_acts.end_no_fault_found(
        by=by(lead), fault=fault, seen_version=1, tried="Two nights, 12.6 V each morning."
    )
    assert "fault_open" not in codes(job)


def test_a_fault_of_the_car_that_nobody_took_on_does_not_block(job, lead):
    FaultFactory(person=lead, vehicle=job.vehicle)
    assert "fault_open" not in codes(job)


def test_a_run_blocks_until_it_is_checked_and_completed(job, keeper, lead, technician, other_technician):
    line = done_line(job, keeper, lead, complaint="Tow bar")
    run = critical_run(line, lead)
    tool = ToolFactory(person=lead)
    assert found(job, "run_open").critical
    assert any(row.code == "run" and row.critical for row in gate.blockers(job))
    click_all(technician, run, tool, values=(40, 110))
    [row] = [row for row in gate.blockers(job) if row.code == "run"]
    assert "second check by another person is missing" in row.text
    second_check_acts.second_check(by=by(other_technician), run=run, step=step_of(run), method="witnessed")
    assert found(job, "run_open")
    torque_acts.complete_run(by=by(technician), run=run)
    assert not codes(job) & {"run", "run_open"}


def test_what_another_open_job_of_the_car_left_open_blocks_too(job, car, keeper, lead):
    other = in_work(car, keeper, lead, title="Other payer")
    critical_run(done_line(other, keeper, lead, complaint="Tow bar"), lead)
    thing = ThingOutFactory(person=lead, job=other)
    assert {"run", "run_open", "thing"} <= codes(job)
    assert f"on job {other.number} of the same car" in found(job, "thing").text
    thing_acts.bring_back(by=by(lead), thing=thing)
    assert "thing" not in codes(job)
    # What belongs to the other job alone stays there.
    assert "line_open" not in codes(job)


def test_the_car_bears_no_tag(job, lead):
    tag = TagFactory(person=lead, vehicle=job.vehicle)
    row = found(job, "tag")
    assert "Do not start" in row.text
    assert row.waivable
    assert gate.blocks_leaving([row], "driven") == [row]
    assert gate.blocks_leaving([row], "trailer") == []
    tag_acts.lift_tag(by=by(lead), tag=tag, lifted_because="oil filled")
    assert "tag" not in codes(job)


def test_the_high_voltage_system_is_re_energised(job, lead):
    type(job.vehicle).objects.filter(pk=job.vehicle_id).update(high_voltage=True)
    job.refresh_from_db()
    qualify(lead)
    isolation = IsolationFactory(person=lead, job=job)
    assert found(job, "isolation").critical
    isolation_acts.re_energise(by=by(lead), isolation=isolation, note="Covers on, insulation measured.")
    assert not codes(job) & {"isolation", "tag"}


def test_a_part_that_came_off_went_somewhere(job, keeper, lead):
    part = PartFactory(person=lead, vehicle=job.vehicle)
    line = done_line(job, keeper, lead, complaint="Tow bar off")
    part_acts.remove_part(by=by(lead), line=line, part=part)
    assert found(job, "whereabouts").subject == str(part.pk)
    part.refresh_from_db()
    car_part_acts.say_whereabouts(by=by(lead), part=part, seen_version=part.version, whereabouts="returned")
    assert "whereabouts" not in codes(job)


def test_tools_and_parts_are_complete(job, lead):
    to_final_checks(job, lead)
    test_acts.final_check(
        by=by(lead),
        job=job,
        new_damage="none",
        tools_complete=False,
        parts_complete=True,
        note="13 mm spanner",
    )
    assert found(job, "tools").text == "Tools are missing: 13 mm spanner"
    test_acts.final_check(by=by(lead), job=job, new_damage="none", tools_complete=True, parts_complete=True)
    assert "tools" not in codes(job)


def test_work_after_the_final_check_asks_for_another_look(job, keeper, lead):
    to_final_checks(job, lead)
    finish(done_line(job, keeper, lead, complaint="One more thing"), lead)
    assert "Work was done after the final check" in found(job, "final_check").text
    test_acts.final_check(by=by(lead), job=job, new_damage="none", tools_complete=True, parts_complete=True)
    assert "final_check" not in codes(job)


def test_the_owner_is_told_of_what_is_dangerous_and_answers(job, keeper, lead):
    item = ItemFactory(person=lead, vehicle=job.vehicle, severity="dangerous", reason="deferred")
    ItemFactory(person=lead, vehicle=job.vehicle, severity="major", reason="deferred")
    said = {"told_to": keeper, "channel": "phone", "told": "Don't load it.", "item": item}
    assert found(job, "untold").subject == str(item.pk)
    outstanding_acts.tell(by=by(lead), answer="acknowledged", **said)  # not in this job
    outstanding_acts.tell(by=by(lead), answer="no_answer", job=job, **said)
    assert "untold" in codes(job)
    outstanding_acts.tell(by=by(lead), answer="deferred", job=job, **said)
    assert "untold" not in codes(job)


def test_a_comeback_is_judged(job, car, keeper, lead, other_technician):
    line = job.lines.get()
    back = job_acts.book(by=by(lead), vehicle=car, title="Squeals again", comeback_of=line)
    assert found(back, "comeback")
    job_acts.judge_comeback(
        by=by(other_technician), job=back, judgement="Other noise: stone behind the shield."
    )
    assert "comeback" not in codes(back)


def test_without_a_site_address_nothing_is_issued(job, settings):
    settings.SITE_URL = ""
    row = found(job, "site_url")
    assert "SITE_URL" in row.text
    assert not row.waivable


def test_without_the_pdf_library_the_mend_is_named(job, monkeypatch):
    monkeypatch.setattr("workshop.checks.pdf_problem", lambda: "cannot load library libpango")
    row = found(job, "pdf")
    assert "libpango-1.0-0" in row.text
    assert not row.waivable


def test_a_waived_blocker_is_off_the_list_and_stands_in_everything(job, lead):
    row = found(job, "road_test")
    waiver_acts.waive(by=by(lead), job=job, blocker=row.key, reason="No plates, only pushed.")
    assert "road_test" not in codes(job)
    assert row in gate.everything(job)
    with pytest.raises(ValidationError, match="can't be waived"):
        waiver_acts.waive(by=by(lead), job=job, blocker=found(job, "final_check").key, reason="In a hurry.")


def test_every_blocker_leads_to_a_page_that_clears_it(job, car, keeper, lead):
    other = in_work(car, keeper, lead, title="Other")
    critical_run(done_line(job, keeper, lead, complaint="Tow bar"), lead)
    FaultFactory(person=lead, vehicle=car, job=job)
    TagFactory(person=lead, vehicle=car)
    ThingOutFactory(person=lead, job=other)
    work_acts.add_line(by=by(lead), job=job, complaint="Secure", kind="make_safe")
    ItemFactory(person=lead, vehicle=car, severity="dangerous", reason="deferred")
    part = PartFactory(person=lead, vehicle=car)
    part_acts.remove_part(by=by(lead), line=done_line(job, keeper, lead, complaint="Off"), part=part)
    rows = gate.blockers(job)
    assert len({row.code for row in rows}) >= 11
    assert len({row.key for row in rows}) == len(rows)
    for row in rows:
        assert resolve(row.url).func, row


def test_the_gate_asks_as_often_for_a_long_job_as_for_a_short_one(job, car, keeper, lead):
    run = critical_run(done_line(job, keeper, lead, complaint="Tow bar"), lead, title="First")

    def count() -> int:
        fresh = Job.objects.select_related("vehicle").get(pk=job.pk)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            gate.blockers(fresh)
        return len(queries)

    short = count()
    for number in range(6):
        line = done_line(job, keeper, lead, complaint=f"Work {number}")
        critical_run(line, lead, title=f"Tow bar {number}")
        FaultFactory(person=lead, vehicle=car, job=job)
        TagFactory(person=lead, vehicle=car)
        ThingOutFactory(person=lead, job=job)
        ItemFactory(person=lead, vehicle=car, severity="dangerous", reason="deferred")
    assert run.pk
    assert count() == short
    assert short <= 25


def test_a_car_is_called_ready_through_the_gate(job, lead, technician):
    with pytest.raises(ValidationError, match="does not go to"):
        acts.call_ready(by=by(lead), job=job)
    to_final_checks(job, lead)
    with pytest.raises(PermissionDenied):
        acts.call_ready(by=by(technician), job=job)
    tag = TagFactory(person=lead, vehicle=job.vehicle)
    with pytest.raises(ValidationError) as refusal:
        acts.call_ready(by=by(lead), job=job)
    assert refusal.value.messages[0] == "The car can't be called ready: 1 thing stands in the way."
    tag_acts.lift_tag(by=by(lead), tag=tag, lifted_because="oil filled")
    acts.call_ready(by=by(lead), job=job)
    job.refresh_from_db()
    assert job.state == "ready"


def test_new_work_sends_a_ready_car_back(job, lead):
    to_final_checks(job, lead)
    acts.call_ready(by=by(lead), job=job)
    work_acts.add_line(by=by(lead), job=job, complaint="A bulb")
    job.refresh_from_db()
    assert job.state == "in_work"


def test_the_waivers_page_lists_them_for_those_who_may(client, job, lead, shop_owner, technician):
    waiver_acts.waive(by=by(lead), job=job, blocker=found(job, "road_test").key, reason="Only pushed.")
    client.force_login(shop_owner)
    page = client.get("/waivers/").content.decode()
    assert "Only pushed." in page
    assert job.number in page
    client.force_login(technician)
    assert client.get("/waivers/").status_code == 403


def test_a_waived_cost_does_not_hide_that_the_line_is_not_done_nor_a_higher_cost(job, keeper, lead):
    line = done_line(job, keeper, lead, complaint="Exhaust", amount="80.00")
    answer_acts.estimate_line(
        by=by(lead), line=line, seen_version=line.version, estimate=Decimal(80), cost=Decimal(120)
    )
    assert codes(job) >= {"line_above", "line_open"}
    waiver_acts.waive(by=by(lead), job=job, blocker=found(job, "line_above").key, reason="The shop pays it.")
    assert "line_above" not in codes(job)
    assert "line_open" in codes(job)
    line.refresh_from_db()
    answer_acts.estimate_line(
        by=by(lead), line=line, seen_version=line.version, estimate=Decimal(80), cost=Decimal(900)
    )
    assert "costs 900.00 now" in found(job, "line_above").text


def test_what_was_waived_is_what_that_check_found_missing(job, lead):
    incomplete = {"new_damage": "None.", "parts_complete": True, "tools_complete": False}
    test_acts.final_check(by=by(lead), job=job, **incomplete, note="A spanner is missing.")
    waiver_acts.waive(
        by=by(lead), job=job, blocker=found(job, "tools").key, reason="Searched for; not in the car."
    )
    assert "tools" not in codes(job)
    test_acts.final_check(by=by(lead), job=job, **incomplete, note="The camshaft locking tool is missing.")
    assert "camshaft locking tool" in found(job, "tools").text


def test_work_after_the_road_test_asks_for_another_one(job, keeper, lead):
    to_final_checks(job, lead)
    assert "road_test" not in codes(job)
    job_acts.move(by=by(lead), job=job, to_state="in_work", reason="One more thing.")
    finish(done_line(job, keeper, lead, complaint="Wiper"), lead)
    assert "Work was done after the road test" in found(job, "road_test").text


def test_the_cars_other_job_keeps_it_here_but_lets_it_be_called_ready(job, car, keeper, lead):
    other = in_work(car, keeper, lead)
    to_final_checks(job, lead)
    blocker = found(job, "other_job")
    assert other.number in blocker.text
    acts.call_ready(by=by(lead), job=job)
    with pytest.raises(ValidationError, match="stands in the way"):
        acts.hand_over(by=by(lead), job=job, collected_by=keeper, identified_by="by sight", left_how="driven",
                       keys_returned=2, odometer=Amount(Decimal(148_300), "km"))  # fmt: skip
    assert gate.blocks_leaving([blocker], "stays") == []
