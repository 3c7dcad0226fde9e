"""Readings: facts about one fastener at one stage, their verdicts, the order of work, and what does not
count.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.acts import torque as acts
from jobs.acts.work import add_line
from jobs.models import Job, JobMove, Run, TorqueReading
from jobs.runs import reading_words, state_of, tool_words, verdict_sentence
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.run import OpenLineFactory, RunFactory, click, click_all, stage_of, step_of
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.people import by
from vehicles.models import OutstandingItem
from workshop.acts import tools as tool_acts
from workshop.acts.people import add_competence
from workshop.engineering.units import Amount
from workshop.models import Shop


@pytest.fixture
def tool(lead):
    return ToolFactory(person=lead)


@pytest.fixture
def run(lead, car):
    return RunFactory(person=lead, vehicle=car)


def make_run(lead, car, **step) -> Run:
    return RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, **step}])


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
    assert not Run.objects.exists()


def test_a_draft_can_not_be_run_also_past_the_act(lead, car):
    procedure = ProcedureFactory(person=lead, released=False)
    line = OpenLineFactory(person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="has no released version"):
        acts.start_run(by=by(lead), line=line, procedure=procedure)
    with pytest.raises(DatabaseError, match="A draft can't be run"), transaction.atomic():
        Run.objects.create(**by(lead).stamp(), job=line.job, line=line, version_used=procedure.versions.get())


def test_a_run_stays_with_the_version_it_began_with(lead, run):
    from jobs.acts import procedure as library

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


def test_a_car_that_was_called_ready_goes_back_to_work(lead, technician, run, tool):
    Job.objects.filter(pk=run.job_id).update(state="ready")
    click(technician, run, 1, 1, 60, tool)
    assert Job.objects.get(pk=run.job_id).state == "in_work"


# Verdicts ---------------------------------------------------------------------------------------------------


# ISO 14253-1 with ±4 % (ISO 6789): of 110 to 130 N·m, 114.4 to 124.8 is proven (computed).
@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("109.9", "below"),
        ("110", "not_proven"),
        ("114.39", "not_proven"),
        ("114.4", "within"),
        ("120", "within"),
        ("124.8", "within"),
        ("124.81", "not_proven"),
        ("130", "not_proven"),
        ("130.1", "above"),
    ],
)
def test_the_verdict_takes_the_tools_deviation_off(lead, technician, car, tool, value, verdict):
    run = make_run(
        lead, car, fasteners=1, stages=[{"name": "Final", "value": "120", "plus": "10", "unit": "N.m"}]
    )
    row = click(technician, run, 1, 1, value, tool)
    assert row.verdict == verdict
    assert (row.limit_low, row.limit_high, row.deviation_percent, row.rule) == (110, 130, 4, "guarded")


def test_a_shop_may_choose_plain_acceptance_and_the_reading_says_so(lead, technician, car, tool):
    Shop.objects.update(decision_rule="plain")
    run = make_run(lead, car, stages=[{"name": "Final", "value": "120", "plus": "10", "unit": "N.m"}])
    row = click(technician, run, 1, 1, 110, tool)
    assert (row.verdict, row.rule) == ("within", "plain")


@pytest.mark.parametrize(
    ("limit", "value", "verdict"),
    [
        ({"low": "80"}, "79", "below"),
        ({"low": "80"}, "150", "within"),
        ({"high": "80"}, "81", "above"),
        ({"high": "80"}, "60", "within"),
        ({"low": "80", "high": "100"}, "90", "within"),
        ({}, "90", "no_limit"),
    ],
)
def test_one_sided_limits(lead, technician, car, tool, limit, value, verdict):
    run = make_run(lead, car, stages=[{"name": "Final", "unit": "N.m", **limit}])
    assert click(technician, run, 1, 1, value, tool).verdict == verdict


def test_a_click_is_never_a_measurement(technician, run, tool):
    row = click(technician, run, 1, 1, 60, tool)
    assert reading_words(row) == "set 60 N·m, clicked"
    assert "certificate" in tool_words(row)


def test_clicked_at_once_is_an_answer_of_its_own(technician, run, tool):
    row = click(technician, run, 1, 1, 60, tool, kind="did_not_move")
    assert row.verdict == "within"
    assert reading_words(row) == "set 60 N·m, clicked at once, did not move"
    assert "holds at least the set value" in verdict_sentence(row)


def test_not_moving_proves_nothing_about_an_upper_limit_alone(lead, technician, car, tool):
    run = make_run(lead, car, stages=[{"name": "Final", "high": "100", "unit": "N.m"}])
    assert click(technician, run, 1, 1, 60, tool, kind="did_not_move").verdict == "not_proven"


def test_running_torque_is_added_to_the_limits(lead, technician, car, tool):
    stages = [{"name": "Final", "value": "100", "plus": "10", "unit": "N.m", "add_running_torque": True}]
    run = make_run(lead, car, stages=stages)
    refused(lambda: click(technician, run, 1, 1, 112, tool), "running_torque", "Measure the running torque")
    row = click(technician, run, 1, 1, 112, tool, running_torque=Amount(Decimal(12), "N.m"))
    assert (row.verdict, row.limit_low, row.limit_high, row.running_torque) == ("within", 102, 122, 12)


def test_the_typed_unit_and_digits_are_kept(lead, technician, car):
    tool = ToolFactory(person=lead, unit="lbf.ft", scale_low=Decimal(10), scale_high=Decimal(150))
    run = make_run(lead, car, stages=[{"name": "Final", "value": "120", "plus": "10", "unit": "N.m"}])
    row = TorqueReading.objects.get(pk=click(technician, run, 1, 1, "88.5", tool, unit="lbf.ft").pk)
    assert (row.typed, row.unit) == (Decimal("88.5"), "lbf.ft")
    assert float(row.value) == pytest.approx(119.98989, rel=1e-6)  # NIST SP 811: 1.355818 N·m
    assert reading_words(row) == "set 88.5 lbf·ft, clicked"


# Refusals ---------------------------------------------------------------------------------------------------


def test_what_the_step_does_not_have_is_refused_beside_the_fastener(technician, run, tool):
    for number in (0, 6, -1):
        refused(
            lambda n=number: click(technician, run, 1, n, 60, tool),
            "fastener",
            "This step has fasteners 1 to 5.",
        )
    assert not TorqueReading.objects.exists()


def test_step_and_stage_of_another_procedure_are_refused(lead, technician, run, tool):
    other = RunFactory(person=lead, line=run.line)
    stranger = {"step": step_of(other), "stage": stage_of(other)}
    call = {"fastener": 1, "kind": "clicked", "reading": Amount(Decimal(60), "N.m"), "tool": tool}
    refused(
        lambda: acts.record_reading(by=by(technician), run=run, **stranger, **call),
        "step",
        "is not a step of",
    )
    refused(
        lambda: acts.record_reading(
            by=by(technician), run=run, step=step_of(run), stage=stage_of(other), **call
        ),
        "stage",
        "is not a stage of Wheel nuts. Its stages: Round 1, Round 2.",
    )


@pytest.mark.parametrize(
    ("value", "unit", "field", "sentence"),
    [
        ("0", "N.m", "reading", "A reading is more than 0: 0 N·m was typed"),
        ("-60", "N.m", "reading", "A reading is more than 0: -60 N·m was typed"),
        ("5001", "N.m", "reading", "5000 N·m is the most that is taken"),
        ("60", "deg", "reading", "This stage is measured in N·m, lbf·ft"),
    ],
)
def test_values_that_can_not_be(technician, run, tool, value, unit, field, sentence):
    refused(lambda: click(technician, run, 1, 1, value, tool, unit=unit), field, sentence)


def test_a_number_in_the_wrong_unit_is_asked_about_once(technician, run, tool):
    refused(lambda: click(technician, run, 1, 1, 530, tool, unit="N.m"), "reading", "530 lbf·in would fit")
    row = click(technician, run, 1, 1, 530, tool, unit="N.m", confirmed_odd=True)
    assert row.verdict == "above"


def test_far_off_in_every_unit_is_recorded_as_it_is(technician, run, tool):
    assert click(technician, run, 1, 1, 4000, tool, unit="N.m").verdict == "above"


def test_the_kind_goes_with_stage_and_tool(lead, technician, run, tool):
    reads = ToolFactory(person=lead, kind="indicating")
    gauge = ToolFactory(person=lead, kind="angle", scale_low=None, scale_high=None, calibrated=False)
    refused(lambda: click(technician, run, 1, 1, 60, tool, kind="angle"), "kind", "is a stage of kind torque")
    refused(lambda: click(technician, run, 1, 1, 60, None), "tool", "Choose the torque tool")
    refused(lambda: click(technician, run, 1, 1, 60, gauge), "tool", "measures angles")
    refused(lambda: click(technician, run, 1, 1, 60, reads), "kind", "does not click: read it off")
    refused(
        lambda: click(technician, run, 1, 1, 60, tool, kind="read"),
        "kind",
        "clicks at a set value and shows none",
    )
    assert reading_words(click(technician, run, 1, 1, "60.5", reads, kind="read")) == "read 60.5 N·m"


ANGLE = {
    "fasteners": 2,
    "stages": [
        {"name": "Snug", "value": "50", "plus": "10", "unit": "N.m"},
        {"name": "Turn", "kind": "angle", "value": "90", "plus": "10"},
    ],
}


def test_angles_by_gauge_or_paint_mark(lead, technician, car, tool):
    run = make_run(lead, car, **ANGLE)
    gauge = ToolFactory(person=lead, kind="angle", scale_low=None, scale_high=None, calibrated=False)
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 50, tool)
    turn = {"kind": "angle", "unit": "deg"}
    refused(lambda: click(technician, run, 2, 1, 90, None, **turn), "angle_by", "gauge or by a paint mark")
    refused(
        lambda: click(technician, run, 2, 1, 90, tool, angle_by="gauge", **turn),
        "tool",
        "Choose the angle gauge",
    )
    row = click(technician, run, 2, 1, 90, gauge, angle_by="gauge", **turn)
    assert (row.verdict, row.tool) == ("within", gauge)
    row = click(technician, run, 2, 2, 101, tool, angle_by="paint_mark", **turn)
    assert (row.verdict, row.tool) == ("above", None)
    assert reading_words(row) == "turned 101° (paint mark)"


def test_loosening_needs_no_tool_and_results_their_own_unit(lead, technician, car, tool):
    stages = [
        {"name": "Settle", "value": "50", "plus": "10", "unit": "N.m"},
        {"name": "Back off", "kind": "loosen"},
        {"name": "End float", "kind": "result", "low": "0.05", "high": "0.15", "unit": "mm"},
    ]
    run = make_run(lead, car, fasteners=1, stages=stages)
    click(technician, run, 1, 1, 50, tool)
    row = acts.record_reading(
        by=by(technician),
        run=run,
        step=step_of(run),
        stage=stage_of(run, 2),
        fastener=1,
        kind="loosened",
        tool=tool,
    )
    assert (row.verdict, row.tool, row.value) == ("no_limit", None, None)
    refused(lambda: click(technician, run, 3, 1, 1, None, kind="result"), "reading", "is measured in mm")
    row = click(technician, run, 3, 1, "0.04", None, kind="result", unit="mm")
    assert row.verdict == "below"
    row = click(technician, run, 3, 1, "0.05", None, kind="result", unit="mm", redo_reason="shim changed")
    assert row.verdict == "within"
    assert state_of(run).complete


# Tools that prove nothing -----------------------------------------------------------------------------------


def test_a_tool_out_of_calibration_is_recorded_counts_as_nothing_and_blocks(lead, technician, car):
    old = ToolFactory(person=lead, calibrated=False)
    CalibrationFactory(person=lead, tool=old, calibrated_on=timezone.localdate() - timedelta(days=400))
    run = make_run(
        lead, car, fasteners=1, stages=[{"name": "Final", "value": "120", "plus": "10", "unit": "N.m"}]
    )
    row = click(technician, run, 1, 1, 120, old)
    assert row.verdict == "within"
    assert "was due for calibration" in row.counts_not_because
    (problem,) = state_of(run).problems
    assert problem.code == "not_counting"
    assert "does not count" in problem.text
    with pytest.raises(ValidationError, match="does not count"):
        acts.complete_run(by=by(technician), run=run)
    earlier = timezone.now() - timedelta(days=100)
    late = click(technician, run, 1, 1, 120, old, made_at=earlier, redo_reason="this one was done in August")
    assert late.counts_not_because == "", "it is judged by the calibration of the day on which it was done"
    assert late.written_down_late


@pytest.mark.parametrize(("value", "counts"), [(39, False), (40, True), (200, True), ("200.1", False)])
def test_outside_the_working_range_counts_as_nothing(lead, technician, car, tool, value, counts):
    run = make_run(lead, car, stages=[{"name": "Final", "low": "30", "high": "210", "unit": "N.m"}])
    assert bool(click(technician, run, 1, 1, value, tool).counts_not_because) is not counts


def test_a_dropped_tool_counts_as_nothing(lead, technician, run, tool):
    tool_acts.report_drop(by=by(technician), tool=tool, what="fell")
    assert "out of use" in click(technician, run, 1, 1, 60, tool).counts_not_because


# Order ------------------------------------------------------------------------------------------------------


def test_out_of_sequence_is_flagged_and_kept(technician, run, tool):
    assert not click(technician, run, 1, 1, 60, tool).out_of_sequence
    assert click(technician, run, 1, 5, 60, tool).out_of_sequence
    assert not click(technician, run, 1, 3, 60, tool).out_of_sequence


def test_a_later_stage_begun_too_early_is_refused(technician, run, tool):
    click(technician, run, 1, 1, 60, tool)
    refused(
        lambda: click(technician, run, 2, 1, 120, tool),
        "stage",
        "Too early: Round 1 is still open on fasteners 2, 3, 4, 5 (order of work: whole pattern, "
        "stage by stage",
    )


def test_one_fastener_at_a_time_through_all_stages(lead, technician, car, tool):
    run = make_run(lead, car, fasteners=2, order_of_work="fastener_by_fastener")
    refused(
        lambda: click(technician, run, 2, 1, 120, tool),
        "stage",
        "Too early: Round 1 is still open on fastener 1",
    )
    click(technician, run, 1, 1, 60, tool)
    assert state_of(run).next[1:] == (stage_of(run, 2), 1)
    assert click(technician, run, 1, 2, 60, tool).out_of_sequence
    assert not click(technician, run, 2, 1, 120, tool).out_of_sequence
    click(technician, run, 2, 2, 120, tool)
    assert state_of(run).complete


def test_group_by_group(lead, technician, car, tool):
    run = make_run(
        lead,
        car,
        fasteners=4,
        order_of_work="by_groups",
        groups={"outer": [2, 4], "inner": [1, 3]},
        sequence=[1, 3, 2, 4],
    )
    expected = [(1, 1), (1, 3), (2, 1), (2, 3), (1, 2), (1, 4), (2, 2), (2, 4)]
    for stage, fastener in expected:
        assert state_of(run).next[1:] == (stage_of(run, stage), fastener)
        click(technician, run, stage, fastener, 60 if stage == 1 else 120, tool)
    assert state_of(run).complete


def test_rounds_are_repeated_until_nothing_moves(lead, technician, car, tool):
    stages = [{"name": "Round", "value": "100", "plus": "10", "unit": "N.m"}]
    run = make_run(lead, car, fasteners=2, order_of_work="until_still", stages=stages)
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 100, tool)
    assert state_of(run).next[2] == 1, "both moved: once more"
    assert "until nothing moves" in state_of(run).problems[0].text
    click(technician, run, 1, 1, 100, tool, kind="did_not_move")
    click(technician, run, 1, 2, 100, tool)
    assert not state_of(run).complete, "the second one moved, so the round begins anew"
    assert state_of(run).next[2] == 1
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 100, tool, kind="did_not_move")
    assert state_of(run).complete


def test_groups_have_their_own_limits(lead, technician, car, tool):
    run = make_run(
        lead,
        car,
        fasteners=2,
        groups={"long": [1], "short": [2]},
        stages=[
            {
                "name": "Final",
                "targets": [
                    {"group": "long", "value": "120", "plus": "10", "unit": "N.m"},
                    {"group": "short", "value": "80", "plus": "10", "unit": "N.m"},
                ],
            }
        ],
    )
    assert click(technician, run, 1, 1, 120, tool).verdict == "within"
    assert click(technician, run, 1, 2, 120, tool).verdict == "above"


def test_single_use_fasteners_are_said_to_be_new_first(lead, technician, car, tool):
    run = make_run(lead, car, reuse="new")
    refused(lambda: click(technician, run, 1, 1, 60, tool), "step", "say first which new ones were fitted")
    assert state_of(run).problems[0].code == "new_not_fitted"
    with pytest.raises(ValidationError):
        acts.say_new_fitted(by=by(technician), run=run, step=step_of(run), what=" ")
    acts.say_new_fitted(by=by(technician), run=run, step=step_of(run), what="5 nuts, box 12")
    assert click(technician, run, 1, 1, 60, tool).verdict == "within"


def test_where_they_may_be_used_again_nothing_is_said(technician, run):
    with pytest.raises(ValidationError, match="may be used again"):
        acts.say_new_fitted(by=by(technician), run=run, step=step_of(run), what="x")


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


# Pages ------------------------------------------------------------------------------------------------------


def post_reading(client, run, **changes):
    page = client.get(run.get_absolute_url())
    form = page.context["form"]
    data = {name: form[name].value() for name in ("key", "step", "stage", "fastener")}
    data.update({"kind": "clicked", "reading_value": "60", "reading_unit": "N.m"})
    data.update(changes)
    return client.post(reverse("jobs:reading-add", args=[run.pk]), data)


def test_clicked_at_the_set_value_is_one_request_per_fastener(client, technician, run, tool):
    """The form that comes back carries all that the next click needs: place, tool, set value, key."""
    client.force_login(technician)
    work = client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}", headers={"HX-Request": "true"})
    requests = 0
    while (form := work.context["form"]) is not None and work.context["state"].next:
        value = form["reading"].value()
        data = {name: form[name].value() for name in ("key", "step", "stage", "fastener")}
        data |= {
            "kind": "clicked",
            "reading_value": str(value.value),
            "reading_unit": value.unit,
            "tool": tool.pk,
        }
        work = client.post(reverse("jobs:reading-add", args=[run.pk]), data, headers={"HX-Request": "true"})
        assert work.status_code == 200
        assert work.headers["X-Saved-Key"] == str(data["key"])
        requests += 1
    assert requests == TorqueReading.objects.count() == 10
    assert state_of(run).complete
    assert "Complete the run" in work.content.decode()
    assert not TorqueReading.objects.filter(out_of_sequence=True).exists()


def test_a_refused_reading_comes_back_filled(client, technician, run, tool):
    client.force_login(technician)
    answer = post_reading(client, run, fastener="9", tool=tool.pk, reading_value="61,5", redo_reason="kept")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "This step has fasteners 1 to 5." in page
    assert 'value="61,5"' in page
    assert 'value="kept"' in page
    assert 'value="9"' in page
    answer = post_reading(client, run, reading_value="530", tool=tool.pk)
    assert answer.status_code == 422
    assert "530 lbf·in would fit" in answer.content.decode()
    assert "confirmed_odd" in answer.content.decode()
    assert post_reading(client, run, reading_value="530", confirmed_odd="on", tool=tool.pk).status_code == 302


def test_without_htmx_the_tool_is_kept_in_the_session(client, technician, run, tool):
    client.force_login(technician)
    first = client.get(run.get_absolute_url()).content.decode()
    assert "Which torque tool?" in first
    answer = post_reading(client, run, tool=tool.pk)
    assert answer.url == run.get_absolute_url()
    page = client.get(answer.url).content.decode()
    assert "Which torque tool?" not in page
    assert 'value="3"' in page, "fastener 3 is next"
    client.get(f"{run.get_absolute_url()}?torque_tool=none")
    assert "Which torque tool?" in client.get(run.get_absolute_url()).content.decode()


def test_the_target_stands_in_the_tools_unit_and_the_sources(client, lead, technician, run):
    client.force_login(technician)
    other = ToolFactory(person=lead, unit="lbf.ft", scale_low=Decimal(20), scale_high=Decimal(150))
    page = client.get(f"{run.get_absolute_url()}?torque_tool={other.pk}").content.decode()
    assert "44.3 <span" in page
    assert "60 N·m (51 N·m to 69 N·m)" in page


def test_several_at_once_by_the_page(client, technician, run, tool):
    client.force_login(technician)
    url = reverse("jobs:round-add", args=[run.pk])
    form = client.get(url).context["form"]
    data = {
        "key": form["key"].value(),
        "step": form["step"].value(),
        "stage": form["stage"].value(),
        "fasteners": [1, 3],
        "kind": "clicked",
        "reading_value": "60",
        "reading_unit": "N.m",
        "tool": tool.pk,
    }
    assert client.post(url, {**data, "fasteners": []}).status_code == 422
    assert client.post(url, data).status_code == 302
    assert TorqueReading.objects.filter(entered_together=True).count() == 2


def test_starting_completing_and_giving_up_by_the_pages(client, lead, technician, car, tool):
    client.force_login(technician)
    line, procedure = OpenLineFactory(person=lead, vehicle=car), ProcedureFactory(person=lead)

    def send(url, **data):
        key = client.get(url).context["form"]["key"].value()
        return client.post(url, {"key": key, **data})

    answer = send(reverse("jobs:run-start", args=[line.pk]), procedure=procedure.pk, where="front right")
    run = Run.objects.get()
    assert answer.url == run.get_absolute_url()
    assert "front right" in client.get(line.get_absolute_url()).content.decode()
    refusal = send(reverse("jobs:run-complete", args=[run.pk]))
    assert refusal.status_code == 422
    assert "Round 1 is open on fasteners 1, 2, 3, 4, 5" in refusal.content.decode()
    click_all(technician, run, tool)
    assert send(reverse("jobs:run-complete", args=[run.pk])).status_code == 302
    other = RunFactory(person=lead, line=line)
    send(reverse("jobs:run-abandon", args=[other.pk]), abandoned_because="wrong nuts; hand-tight")
    other.refresh_from_db()
    assert other.abandoned_because == "wrong nuts; hand-tight"
    assert "wrong nuts" in client.get(other.get_absolute_url()).content.decode()


def test_the_front_desk_sees_a_run_and_records_nothing(client, front_desk, car_owner, run):
    client.force_login(front_desk)
    page = client.get(run.get_absolute_url())
    assert page.status_code == 200
    assert page.context["form"] is None
    assert client.post(reverse("jobs:reading-add", args=[run.pk]), {}).status_code == 403
    client.force_login(car_owner)
    assert client.get(run.get_absolute_url()).status_code == 403


def test_the_run_page_does_not_ask_more_with_more_readings(
    client, technician, run, tool, django_assert_num_queries
):
    client.force_login(technician)
    url = f"{run.get_absolute_url()}?torque_tool={tool.pk}"
    client.get(url)
    from django.db import connection as database
    from django.test.utils import CaptureQueriesContext

    click(technician, run, 1, 1, 60, tool)
    with CaptureQueriesContext(database) as few:
        client.get(url)
    for fastener in (3, 5, 2, 4):
        click(technician, run, 1, fastener, 60, tool)
    with django_assert_num_queries(len(few)):
        client.get(url)
    assert len(few) < 30
