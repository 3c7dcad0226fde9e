"""Runs: how they start and end, readings repeated, entered together and at once, and what the database keeps."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from jobs.acts import procedure as library
from jobs.acts import torque as acts
from jobs.acts.work import add_line
from jobs.models import Job, JobMove, Run, TorqueReading
from jobs.runs import state_of
from jobs.sheets.tightening import tightening
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.run import OpenLineFactory, RunFactory, begun, click, click_all, stage_of, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from vehicles.models import OutstandingItem
from workshop.acts.people import add_competence, withdraw_competence
from workshop.engineering.units import Amount
from workshop.models import Event, EventDetail


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car)


def refused(call, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        call()
    assert sentence in " ".join(refusal.value.message_dict[field])


# Starting ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("area", "kind"),
    [
        ("wheels", "no_move"),
        ("brakes", "no_move"),
        ("steering", "no_move"),
        ("suspension", "no_move"),
        ("fuel", "no_start"),
        ("engine", None),
        ("towing", None),
    ],
)
def test_an_open_run_tags_the_car_by_its_area(lead, car, area, kind):
    run = RunFactory(person=lead, vehicle=car, area=area)
    assert [tag.kind for tag in run.tags.all()] == ([kind] if kind else [])


def test_a_run_needs_the_lines_authority(lead, car):
    line = OpenLineFactory(person=lead, vehicle=car)
    repair = add_line(by=by(lead), job=line.job, complaint="New discs", kind="repair")
    with pytest.raises(ValidationError, match="not authorised"):
        RunFactory(person=lead, line=repair)
    assert not Run.objects.filter(line=repair).exists()


def test_a_draft_can_not_be_run_also_past_the_act(lead, car):
    procedure = ProcedureFactory(person=lead, released=False)
    line = OpenLineFactory(person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="has no released version"):
        acts.start_run(by=by(lead), line=line, procedure=procedure)
    with pytest.raises(DatabaseError, match="A draft can't be run"), transaction.atomic():
        Run.objects.create(**by(lead).stamp(), job=line.job, line=line, version_used=procedure.versions.get())


def test_a_run_stays_with_the_version_it_began_with(lead, run):
    procedure = run.version_used.procedure
    draft = library.start_version(by=by(lead), procedure=procedure, source="sheet 41", change_note="new")
    library.release_version(by=by(lead), version=draft)
    assert RunFactory(person=lead, line=run.line, procedure=procedure).version_used.number == 2
    run.refresh_from_db()
    assert run.version_used.number == 1
    for statement in ("UPDATE jobs_run SET version_used_id = version_used_id || 'x'", "DELETE FROM jobs_run"):
        if connection.vendor != "sqlite" and "UPDATE" in statement:
            continue
        with pytest.raises(DatabaseError), transaction.atomic():
            connection.cursor().execute(statement)


def test_a_version_that_needs_a_competence_is_run_by_who_holds_it(lead, shop_owner, technician, car):
    procedure = ProcedureFactory(person=lead, version={"competence": "gas_fuel"})
    line = OpenLineFactory(person=lead, vehicle=car)
    with pytest.raises(
        ValidationError, match=r"needs a competence \(gas fuel\).*Nobody in the shop holds one"
    ):
        acts.start_run(by=by(technician), line=line, procedure=procedure)
    day = timezone.localdate()
    held = add_competence(
        by=by(shop_owner),
        person=technician,
        kind="gas_fuel",
        certificate="G-1",
        valid_from=day - timedelta(days=9),
        expires_on=day,
    )
    assert acts.start_run(by=by(technician), line=line, procedure=procedure).qualified == held
    with pytest.raises(ValidationError, match="It is held by Tamsin Orrell"):
        acts.start_run(by=by(lead), line=line, procedure=procedure)


@pytest.mark.every_database
def test_each_reading_is_taken_by_who_holds_the_competence_or_under_who_does(
    lead, shop_owner, technician, other_technician, car, tool, client
):
    procedure = ProcedureFactory(person=lead, version={"competence": "gas_fuel"})
    line = OpenLineFactory(person=lead, vehicle=car)
    day = timezone.localdate()
    held = add_competence(by=by(shop_owner), person=technician, kind="gas_fuel", certificate="G-1",
                          valid_from=day - timedelta(days=9), expires_on=day)  # fmt: skip
    run = acts.start_run(by=by(technician), line=line, procedure=procedure)
    assert not click(technician, run, 1, 1, 60, tool).supervised
    assert click(other_technician, run, 1, 3, 60, tool).qualified == held
    said = f"Odo Fennick, supervised by Tamsin Orrell ({held})"
    assert state_of(run).supervised == [said]
    client.force_login(lead)
    assert f"Readings by {said}" in client.get(run.get_absolute_url()).content.decode()
    withdraw_competence(by=by(shop_owner), competence=held, from_on=day, reason="lent by mistake")
    for person in (technician, other_technician):
        with pytest.raises(ValidationError, match="and nobody who holds it supervises the run"):
            click(person, run, 1, 5, 60, tool)
    own = add_competence(by=by(shop_owner), person=other_technician, kind="gas_fuel", certificate="G-2",
                         valid_from=day, expires_on=day)  # fmt: skip
    assert click(other_technician, run, 1, 5, 60, tool).qualified == own


def test_a_procedure_for_other_cars_is_confirmed_first(lead, technician, car):
    line = OpenLineFactory(person=lead, vehicle=car)
    for applies_to in ("", "Halden Drayman, steel wheels", "all DRAYMAN vans of halden"):
        procedure = ProcedureFactory(person=lead, applies_to=applies_to)
        run = acts.start_run(by=by(technician), line=line, procedure=procedure)
        assert run.applies_confirmed == ""
    other = ProcedureFactory(person=lead, applies_to="Halden Bulwark from 2010")
    refused(
        lambda: acts.start_run(by=by(technician), line=line, procedure=other),
        "applies_confirmed",
        "says that it is for: Halden Bulwark from 2010. This car is",
    )
    run = acts.start_run(by=by(technician), line=line, procedure=other, applies_confirmed=True)
    assert run.applies_confirmed == "Halden Bulwark from 2010"
    run.state = state_of(run)
    (block,) = tightening([run])
    assert "confirmed that the values are for this car" in block["source"], "the sheet prints it"
    assert state_of(run).applies_words == (
        "written for: Halden Bulwark from 2010; Tamsin Orrell confirmed that the values are for this car"
    )


def test_a_run_does_not_begin_before_the_car_came_in_nor_end_before_its_last_reading(
    lead, technician, car, tool
):
    line, procedure = OpenLineFactory(person=lead, vehicle=car), ProcedureFactory(person=lead)
    early = timezone.now() - timedelta(minutes=3)
    refused(
        lambda: acts.start_run(by=by(technician, made_at=early), line=line, procedure=procedure),
        "made_at",
        "The car came in at",
    )
    run = RunFactory(person=lead, line=line, procedure=procedure)
    click_all(technician, run, tool)
    begun(run, early)
    for end, more in ((acts.complete_run, {}), (acts.abandon_run, {"abandoned_because": "stud"})):
        refused(
            lambda end=end, more=more: end(by=by(technician, made_at=early), run=run, **more),
            "made_at",
            "The last reading was taken at",
        )


def test_what_was_typed_stands_beside_the_logs_facts(lead, technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, where="Corin's side")
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 1, 1, 60, tool, redo_reason="Corin saw it slip")
    acts.abandon_run(by=by(technician), run=run, abandoned_because="Corin took the car")
    assert not Event.objects.filter(act__startswith="jobs.torque", body__contains="Corin").exists()
    assert EventDetail.objects.filter(words__contains="Corin saw it slip").count() == 1


def test_a_car_that_was_called_ready_goes_back_to_work(lead, technician, run, tool):
    Job.objects.filter(pk=run.job_id).update(state="ready")
    click(technician, run, 1, 1, 60, tool)
    assert Job.objects.get(pk=run.job_id).state == "in_work"


# Again, together, at once -----------------------------------------------------------------------------------


def test_redoing_adds_a_reading_and_says_why(technician, run, tool):
    first = click(technician, run, 1, 1, 45, tool)
    assert first.verdict == "below"
    refused(
        lambda: click(technician, run, 1, 1, 60, tool),
        "redo_reason",
        "has a reading at this stage (set 45 N·m, clicked",
    )
    second = click(technician, run, 1, 1, 60, tool, redo_reason="was set too low")
    state = state_of(run)
    one = state.steps[0].stages[0].fasteners[1]
    assert (one.reading, one.earlier) == (second, [first])
    assert TorqueReading.objects.count() == 2


def test_a_round_entered_together_says_so(technician, run, tool):
    last = acts.record_round(
        by=by(technician),
        run=run,
        step=step_of(run),
        stage=stage_of(run),
        fasteners=[1, 3, 5, 2, 4],
        kind="clicked",
        reading=Amount(Decimal(60), "N.m"),
        tool=tool,
    )
    assert (last.fastener, last.order) == (4, 5)
    assert TorqueReading.objects.filter(entered_together=True).count() == 5
    assert not TorqueReading.objects.filter(out_of_sequence=True).exists()


@pytest.mark.parametrize(
    ("fasteners", "sentence"),
    [
        ([], "Name the fasteners that were done"),
        ([1, 1], "Named twice: 1"),
        ([1, 9], "This step has fasteners 1 to 5."),
    ],
)
def test_a_round_is_written_whole_or_not_at_all(technician, run, tool, fasteners, sentence):
    refused(
        lambda: acts.record_round(
            by=by(technician),
            run=run,
            step=step_of(run),
            stage=stage_of(run),
            fasteners=fasteners,
            kind="clicked",
            reading=Amount(Decimal(60), "N.m"),
            tool=tool,
        ),
        "fasteners",
        sentence,
    )
    assert not TorqueReading.objects.exists()


def test_two_technicians_on_one_run(technician, other_technician, run, tool):
    first = click(technician, run, 1, 1, 60, tool)
    second = click(other_technician, run, 1, 3, 60, tool)
    assert [(r.made_by, r.order) for r in (first, second)] == [(technician, 1), (other_technician, 2)]
    refused(lambda: click(other_technician, run, 1, 1, 60, tool), "redo_reason", "Tamsin Orrell")
    assert TorqueReading.objects.count() == 2


def test_the_same_key_is_one_reading(technician, run, tool):
    key = uuid4()
    call = {
        "run": run,
        "step": step_of(run),
        "stage": stage_of(run),
        "fastener": 1,
        "kind": "clicked",
        "reading": Amount(Decimal(60), "N.m"),
        "tool": tool,
    }
    first = acts.record_reading(by=by(technician, key=key), **call)
    assert acts.record_reading(by=by(technician, key=key), **call) == first
    assert TorqueReading.objects.count() == 1


@pytest.mark.parametrize("person", ["front_desk", "car_owner"])
def test_only_hands_record_readings(request, run, tool, person):
    with pytest.raises(PermissionDenied, match="You may not run a procedure and record readings"):
        click(request.getfixturevalue(person), run, 1, 1, 60, tool)


# What the database keeps ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement", ["UPDATE jobs_torquereading SET typed = 61", "DELETE FROM jobs_torquereading"]
)
def test_a_reading_is_never_altered(technician, run, tool, statement):
    click(technician, run, 1, 1, 60, tool)
    with pytest.raises(DatabaseError, match="A reading is never altered"), transaction.atomic():
        connection.cursor().execute(statement)


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "read", "value": None, "typed": None},
        {"tool": None},
        {"value": 0},
        {"unit": ""},
        {"verdict": "fine"},
        {"kind": "angle"},
        {"order": 1},
        {"fastener": 6},
        {"fastener": 0},
    ],
)
def test_constraints_hold_when_the_form_is_passed_by(technician, run, tool, wrong):
    made = click(technician, run, 1, 1, 60, tool)
    values = {
        **by(technician).stamp(),
        "run": run,
        "step": made.step,
        "stage": made.stage,
        "fastener": 2,
        "order": 2,
        "kind": "clicked",
        "typed": 60,
        "value": 60,
        "unit": "N.m",
        "tool": tool,
        "rule": "guarded",
        "verdict": "within",
    }
    with pytest.raises(DatabaseError), transaction.atomic():
        TorqueReading.objects.create(**{**values, **wrong})
    TorqueReading.objects.create(**values)


# The end of a run -------------------------------------------------------------------------------------------


def test_a_complete_run_lifts_its_tag_and_raises_the_recheck(lead, technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, area="wheels")
    with pytest.raises(ValidationError, match="Round 1 is open on fasteners 1, 2, 3, 4, 5"):
        acts.complete_run(by=by(technician), run=run)
    click_all(technician, run, tool)
    run = acts.complete_run(by=by(technician), run=run)
    assert run.completed_at
    assert run.tags.get().lifted_because.startswith("Run complete")
    item = OutstandingItem.objects.get()
    assert (item.reason, item.severity, item.due_km, item.raised_by_run) == ("recheck", "minor", 50, run)
    assert "the shop's own distance" in item.detail
    with pytest.raises(ValidationError, match="This run is complete since"):
        acts.complete_run(by=by(technician), run=run)
    with pytest.raises(ValidationError, match="Start a new run"):
        click(technician, run, 1, 1, 60, tool, redo_reason="again")


def test_the_makers_distance_goes_before_the_shops(lead, technician, car, tool):
    run = RunFactory(
        person=lead,
        vehicle=car,
        area="wheels",
        version={"recheck_km": Decimal(100), "recheck_note": "all nuts"},
    )
    click_all(technician, run, tool)
    acts.complete_run(by=by(technician), run=run)
    item = OutstandingItem.objects.get()
    assert (item.due_km, item.detail) == (100, "all nuts")


def test_a_run_without_a_distance_raises_nothing(technician, run, tool):
    click_all(technician, run, tool)
    acts.complete_run(by=by(technician), run=run)
    assert not OutstandingItem.objects.exists()


def test_a_late_reading_is_attached_and_judged_at_its_time(technician, run, tool):
    before = timezone.now()
    click_all(technician, run, tool)
    acts.complete_run(by=by(technician), run=run)
    row = click(technician, run, 2, 1, 121, tool, made_at=before, redo_reason="from the paper slip")
    assert row.order == 11
    assert state_of(run).complete


def test_a_bad_reading_that_arrives_after_the_handover_is_attached_and_calls_the_car_back(
    lead, technician, car, tool
):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "critical": True}])
    before = timezone.now()
    job = run.job
    for to_state in ("in_work", "final_checks", "ready", "handed_over"):
        JobMove.objects.create(
            **by(lead).stamp(), job=job, from_state=job.state, to_state=to_state, reason="as in a test"
        )
        Job.objects.filter(pk=job.pk).update(state=to_state)
        job.refresh_from_db()
    row = click(technician, run, 1, 1, 40, tool, made_at=before)
    assert row.verdict == "below"
    item = OutstandingItem.objects.get()
    assert (item.severity, item.raised_by_run) == ("dangerous", run)
    assert "set 40 N·m, clicked" in item.detail
    with pytest.raises(ValidationError, match="is closed"):
        click(technician, run, 1, 3, 60, tool)


def test_a_run_is_given_up_with_its_reason_and_leaves_the_tag(lead, technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, area="wheels")
    with pytest.raises(ValidationError, match="how the joint was left"):
        acts.abandon_run(by=by(technician), run=run, abandoned_because=" ")
    run = acts.abandon_run(by=by(technician), run=run, abandoned_because="stud stripped; all hand-tight")
    assert run.tags.get().lifted_at is None
    (problem,) = state_of(run).problems
    assert problem.code == "abandoned"
    assert "stud stripped" in problem.text
    again = RunFactory(person=lead, line=run.line, procedure=run.version_used.procedure)
    click_all(technician, again, tool)
    acts.complete_run(by=by(technician), run=again)
    assert state_of(run).complete, "the same joint was tightened by a later run"
