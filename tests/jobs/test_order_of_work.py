"""The order of work: the sequence, the stages, groups, rounds until nothing moves, new fasteners first."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from jobs.acts import torque as acts
from jobs.models import Run
from jobs.runs import state_of
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click, stage_of, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car)


def make_run(lead, car, **step) -> Run:
    return RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, **step}])


def refused(call, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        call()
    assert sentence in " ".join(refusal.value.message_dict[field])


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
