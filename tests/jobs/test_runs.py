"""Where a run stands: nothing is lost, nothing is asked twice, and a verdict does not depend on the unit
typed.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs import runs
from jobs.acts import second_check as second_check_acts
from jobs.acts import torque as acts
from jobs.models import Disposition, ProcedureStage, ProcedureStep, TorqueReading
from jobs.run_state import FastenerState
from jobs.runs import state_of, states_of, verdict_of
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, begun, click, click_all, stage_of, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from workshop.engineering.units import Amount
from workshop.models.shop import TorqueUnit


@once
def tool(lead):
    return ToolFactory(person=lead)


def test_an_empty_run_says_what_comes_first(lead, car):
    run = RunFactory(person=lead, vehicle=car)
    state = state_of(run)
    assert state.next == (step_of(run), stage_of(run, 1), 1)
    assert [problem.code for problem in state.problems] == ["incomplete", "incomplete"]
    assert (state.progress, state.last_order, state.complete) == ((0, 10), 0, False)
    assert states_of([]) == {}


def test_the_summary_for_the_sheet(lead, technician, other_technician, car, tool):
    step = {**WHEEL, "critical": True}
    step["stages"] = [{"name": "Final", "value": "90", "plus": "7", "unit": "lbf.ft"}]
    run = RunFactory(person=lead, vehicle=car, steps=[step])
    click_all(technician, run, tool, values=(120,))
    second_check_acts.second_check(
        by=by(other_technician), run=run, step=step_of(run), method="witnessed", note="all five"
    )
    state = state_of(run)
    (summary,) = state.summary
    assert summary["stages"] == [{"name": "Final", "targets": ["90 lbf·ft (83 lbf·ft to 97 lbf·ft)"]}]
    assert summary["verdicts"] == "5 within"
    assert summary["check"].startswith("Witnessed the tightening, Odo Fennick")
    assert state.verdict_words == "5 within"
    assert state.tool_words[0].startswith(f"{tool}, certificate BC-")
    assert state.tool_words[0].endswith("±4 %")


def test_the_number_of_queries_is_fixed(lead, technician, other_technician, car, tool):
    first = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "critical": True}])
    with CaptureQueriesContext(connection) as small:
        state_of(first)
    click_all(technician, first, tool)
    second_check_acts.second_check(
        by=by(other_technician), run=first, step=step_of(first), method="witnessed"
    )
    others = [RunFactory(person=lead, line=first.line, where=f"place {n}") for n in range(3)]
    for run in others:
        click_all(technician, run, tool)
    with CaptureQueriesContext(connection) as large:
        found = states_of([first, *others])
    assert len(large) <= len(small) + 1 <= 11
    assert [state.complete for state in found.values()] == [True] * 4


# What was done after what ------------------------------------------------------------------------------------

LOOSEN = {
    "title": "Hub nut",
    "fasteners": 2,
    "stages": [
        {"name": "Settle", "value": "60", "plus": "10", "unit": "N.m"},
        {"name": "Back off", "kind": "loosen"},
        {"name": "Final", "value": "120", "plus": "10", "unit": "N.m"},
    ],
}


def loosen(person, run, fastener, **more):
    return acts.record_reading(
        by=by(person),
        run=run,
        step=step_of(run),
        stage=stage_of(run, 2),
        fastener=fastener,
        kind="loosened",
        **more,
    )


def open_places(run) -> list[tuple[str, int]]:
    return [
        (stage.stage.name, number)
        for step in state_of(run).steps
        for stage in step.stages
        for number in stage.todo
    ]


def test_loosened_after_the_final_stage_is_not_tight(lead, technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[LOOSEN])
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 60, tool)
    for fastener in (1, 2):
        loosen(technician, run, fastener)
    for fastener in (1, 2):
        click(technician, run, 3, fastener, 120, tool)
    assert state_of(run).complete
    loosen(technician, run, 1, redo_reason="shim forgotten")
    assert open_places(run) == [("Final", 1)], "the other one holds"
    with pytest.raises(ValidationError, match="Final is open on fastener 1"):
        acts.complete_run(by=by(technician), run=run)
    click(technician, run, 3, 1, 120, tool, redo_reason="tight again")
    assert state_of(run).complete


def test_an_earlier_stage_done_again_opens_the_later_ones_of_that_fastener(technician, lead, car, tool):
    run = RunFactory(person=lead, vehicle=car)
    click_all(technician, run, tool)
    click(technician, run, 1, 4, 60, tool, redo_reason="cross-threaded")
    assert open_places(run) == [("Round 2", 4)]
    assert len(state_of(run).steps[0].stages[1].fasteners[4].earlier) == 1


def test_a_good_reading_that_was_done_before_a_bad_one_does_not_override_it(technician, lead, car, tool):
    run = begun(RunFactory(person=lead, vehicle=car), timezone.now() - timedelta(hours=2))
    bad = click(technician, run, 1, 1, 45, tool)
    assert bad.verdict == "below"
    earlier = timezone.now() - timedelta(hours=1)
    late = click(technician, run, 1, 1, 60, tool, made_at=earlier, redo_reason="from the paper slip")
    assert late.verdict == "within"
    one = state_of(run).steps[0].stages[0].fasteners[1]
    assert (one.reading, one.flag, one.earlier) == (bad, "below", [late])


def test_what_moved_before_a_still_round_does_not_ask_for_another(technician, lead, car, tool):
    step = {**WHEEL, "fasteners": 2, "order_of_work": "until_still", "stages": [WHEEL["stages"][1]]}
    run = begun(RunFactory(person=lead, vehicle=car, steps=[step]), timezone.now() - timedelta(hours=2))
    for kind in ("clicked", "did_not_move"):
        for fastener in (1, 2):
            click(technician, run, 1, fastener, 120, tool, kind=kind)
    assert state_of(run).complete
    click(technician, run, 1, 1, 120, tool, made_at=timezone.now() - timedelta(hours=1))
    assert state_of(run).complete, "it was done before the round in which nothing moved"
    click(technician, run, 1, 1, 120, tool)
    assert not state_of(run).complete


# Properties -------------------------------------------------------------------------------------------------

torques = st.decimals(min_value=Decimal("0.5"), max_value=Decimal("2000"), places=2)


@given(
    value=torques,
    target=torques,
    percent=st.integers(1, 30),
    deviation=st.integers(0, 10),
    rule=st.sampled_from(["guarded", "plain"]),
)
@settings(max_examples=200, deadline=None)
def test_the_verdict_is_the_same_in_every_unit(value, target, percent, deviation, rule):
    """One torque typed in four units: the same verdict, unless a limit lies within the rounding of six
    decimals.
    """
    low, high = target * (100 - percent) / 100, target * (100 + percent) / 100
    d = Decimal(deviation) / 100
    edges = (low, high, low * (1 + d), high * (1 - d))
    base = Amount(value, "N.m")
    verdicts = {
        verdict_of("clicked", _six(base.to(unit).base()), low, high, Decimal(deviation), rule)
        for unit in TorqueUnit.values
    }
    if all(abs(value - edge) > Decimal("0.000002") for edge in edges):
        assert len(verdicts) == 1
    assert verdicts <= {"within", "below", "above", "not_proven"}


def _six(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.000001"))


START = datetime(2024, 5, 6, 9, 0, tzinfo=UTC)

entries = st.lists(
    st.tuples(
        st.integers(0, 2),  # stage
        st.integers(1, 4),  # fastener
        st.sampled_from(["clicked", "did_not_move"]),
        st.sampled_from(["within", "below", "above", "not_proven"]),
        st.booleans(),  # counts
        st.sampled_from([None, None, "redone", "replaced", "accepted"]),
        st.integers(0, 9),  # minute in which it was done, whatever the order of writing down
    ),
    max_size=30,
)


@given(
    entries=entries, order_of_work=st.sampled_from(["stage_by_stage", "fastener_by_fastener", "until_still"])
)
@settings(max_examples=200, deadline=None)
def test_no_reading_is_ever_lost(entries, order_of_work):
    """Whatever was recorded in whatever order: each reading stands or is an earlier one, at its own place,
    once.
    """
    stages = [
        ProcedureStage(pk=number, order=number + 1, kind="torque", name=f"S{number}") for number in range(3)
    ]
    for stage in stages:
        stage._prefetched_objects_cache = {"targets": _Rows([])}
    step = ProcedureStep(
        pk=1, order=1, title="Joint", fasteners=4, sequence=[1, 3, 2, 4], order_of_work=order_of_work
    )
    step._prefetched_objects_cache = {"stages": _Rows(stages)}
    readings, dispositions = [], []
    for order, (stage, fastener, kind, verdict, counts, decided, minute) in enumerate(entries, 1):
        row = TorqueReading(
            step_id=1, stage_id=stage, fastener=fastener, order=order, kind=kind, verdict=verdict,
            counts_not_because="" if counts else "out of calibration", made_at=START + timedelta(minutes=minute),
        )  # fmt: skip
        readings.append(row)
        if decided:
            dispositions.append(
                Disposition(reading=row, kind=decided, after_reading=order, made_at=row.made_at)
            )
    state = runs._step_state(step, readings, dispositions)
    seen = []
    for stage in state.stages:
        for number, one in stage.fasteners.items():
            held = [*one.earlier, *([one.reading] if one.reading else [])]
            assert all((row.stage_id, row.fastener) == (stage.stage.pk, number) for row in held)
            assert [row.turn for row in one.earlier] == sorted(row.turn for row in one.earlier)
            if one.reading is not None and one.earlier:
                assert one.reading.turn > one.earlier[-1].turn
            if one.settled:
                assert one.counts
                assert one.verdict != "below"
            seen += held
    assert sorted(row.order for row in seen) == [row.order for row in readings]
    for place, stage in enumerate(state.stages):
        for number, one in stage.fasteners.items():
            undone = [
                row.turn
                for row in dispositions
                if row.kind in ("redone", "replaced") and row.reading.fastener == number
            ]
            undone += [row.turn for row in readings if row.fastener == number and row.stage_id < place]
            assert one.reading is None or one.reading.turn > max(undone, default=one.reading.turn[:0])


class _Rows:
    """What a prefetch leaves behind: a list that answers `all()`."""

    def __init__(self, rows):
        self.rows = rows

    def all(self):
        return self.rows

    def __iter__(self):
        return iter(self.rows)


def test_what_a_drawing_reads_aloud():
    assert FastenerState(1).words == "to do"
    row = TorqueReading(kind="clicked", typed=Decimal("120.000"), unit="N.m", verdict="above")
    one = FastenerState(1, reading=row, verdict="above", counts=True, flag="above")
    assert one.words == "set 120 N·m, clicked: above"
    assert (
        replace(one, flag="moved").words == "set 120 N·m, clicked: above, moved in the last round: once more"
    )
