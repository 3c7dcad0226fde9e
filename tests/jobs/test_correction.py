"""A reading that was written down wrong: put right by another one, and both stay."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.acts import second_check as check_acts
from jobs.acts import torque as acts
from jobs.management.commands import verify_records
from jobs.models import TorqueReading
from jobs.runs import state_of
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, begun, click, click_all, stage_of, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from workshop.engineering.units import Amount
from workshop.models import Event


@once
def tool(lead):
    return ToolFactory(person=lead, label="TW-03")


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car)


def correct(person, reading, value="60", *, unit="N.m", why="wrong number typed", **changes):
    said = {
        "fastener": reading.fastener,
        "kind": reading.kind,
        "tool": reading.tool,
        "reading": Amount(Decimal(value), unit) if value else None,
        "redo_reason": why,
        **changes,
    }
    return acts.correct_reading(by=by(person), corrected=reading, **said)


def at(run, stage, fastener):
    return state_of(run).steps[0].stages[stage - 1].fasteners[fastener]


def test_it_stands_in_place_of_the_other_and_both_stay(technician, run, tool):
    wrong = click(technician, run, 1, 1, 50, tool)
    assert wrong.verdict == "below"
    right = correct(technician, wrong, "60")
    one = at(run, 1, 1)
    assert (one.reading, one.verdict, one.earlier) == (right, "within", [wrong])
    assert (right.made_at, right.order, right.corrects) == (wrong.made_at, 2, wrong)
    assert right.received_at > wrong.received_at
    assert TorqueReading.objects.count() == 2
    assert '"corrects":1' in Event.objects.latest("seq").body
    assert list(verify_records.verdicts()) == []


def test_it_does_not_undo_what_was_done_after_it(technician, run, tool):
    """Nothing was done to the car: the second stage of the fastener stands. Work done again would open it."""
    click_all(technician, run, tool)
    first = run.readings.get(stage=stage_of(run, 1), fastener=3)
    correct(technician, first, "61")
    assert at(run, 2, 3).reading is not None
    assert state_of(run).complete
    click(technician, run, 1, 3, 60, tool, redo_reason="loosened and done again")
    assert at(run, 2, 3).reading is None


def test_taken_back_it_is_open_again(technician, run, tool):
    """A tap too many: that nut was not tightened."""
    tapped = click(technician, run, 1, 1, 60, tool)
    back = correct(technician, tapped, "", kind="not_done", why="tapped by mistake")
    one = at(run, 1, 1)
    assert one.reading is None
    assert one.earlier == [tapped, back]
    assert (back.value, back.tool, back.verdict) == (None, None, "no_limit")
    assert state_of(run).next[2] == 1
    again = click(technician, run, 1, 1, 60, tool)
    assert at(run, 1, 1).reading == again
    with pytest.raises(ValidationError, match="put right already, by"):
        correct(technician, back, "60", kind="clicked")


def test_it_may_have_been_another_fastener(technician, run, tool):
    wrong = click(technician, run, 1, 1, 60, tool)
    right = correct(technician, wrong, "60", fastener=3, why="wrong fastener chosen")
    assert at(run, 1, 1).reading is None
    assert at(run, 1, 3).reading == right
    other = click(technician, run, 1, 1, 60, tool)
    with pytest.raises(ValidationError) as refusal:
        correct(technician, other, "60", fastener=3, why="wrong fastener chosen")
    assert "Fastener 3 has a reading of its own" in refusal.value.message_dict["fastener"][0]


def test_one_after_the_other_each_stands_once(technician, run, tool):
    wrong = click(technician, run, 1, 1, 50, tool)
    second = correct(technician, wrong, "58")
    with pytest.raises(ValidationError, match="put right already"):
        correct(technician, wrong, "60")
    third = correct(technician, second, "60")
    one = at(run, 1, 1)
    assert (one.reading, one.earlier) == (third, [wrong, second])
    assert one.reading.turn == (wrong.made_at, wrong.order)


def test_above_is_put_right_by_a_lead_only(technician, lead, run, tool):
    wrong = click(technician, run, 1, 1, 160, tool)
    assert wrong.verdict == "above"
    with pytest.raises(ValidationError, match="Only a lead puts that right"):
        correct(technician, wrong, "60")
    correct(lead, wrong, "60")
    assert at(run, 1, 1).settled


def test_it_says_why_and_says_something_else(technician, run, tool):
    wrong = click(technician, run, 1, 1, 60, tool)
    with pytest.raises(ValidationError) as refusal:
        correct(technician, wrong, "61", why=" ")
    assert refusal.value.message_dict["redo_reason"] == ["Say what was written down wrong."]
    with pytest.raises(ValidationError, match="This is what stands on record already"):
        correct(technician, wrong, "60")
    assert TorqueReading.objects.count() == 1


def test_it_is_judged_by_the_tool_as_it_was_then(lead, technician, run):
    """The day of the tightening counts, not the day on which the slip was found."""
    then = timezone.now() - timedelta(days=5)
    begun(run, then - timedelta(hours=1))
    good, never = ToolFactory(person=lead), ToolFactory(person=lead, calibrated=False)
    wrong = click(technician, run, 1, 1, 60, never, made_at=then)
    assert wrong.counts_not_because
    right = correct(technician, wrong, "60", tool=good, why="wrong tool chosen")
    assert right.made_at == then
    assert right.counts_not_because == ""
    assert right.calibration is not None


def test_a_second_check_made_on_other_figures_lapses(lead, technician, other_technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "critical": True}])
    click_all(technician, run, tool)
    check_acts.second_check(by=by(other_technician), run=run, step=step_of(run), method="mark_sighted")
    assert state_of(run).steps[0].check == "valid"
    correct(technician, run.readings.get(stage=stage_of(run, 2), fastener=2), "121")
    assert state_of(run).steps[0].check == "lapsed"


def test_a_check_that_failed_waits_for_work_not_for_words(lead, technician, other_technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "critical": True}])
    click_all(technician, run, tool)
    check_acts.second_check(
        by=by(other_technician),
        run=run,
        step=step_of(run),
        method="mark_sighted",
        result="not_in_order",
        found="mark on 2 is broken",
    )
    correct(technician, run.readings.get(stage=stage_of(run, 2), fastener=2), "121")
    assert state_of(run).steps[0].check == "failed"


def test_after_the_end_of_the_run_it_is_open_again(technician, run, tool):
    click_all(technician, run, tool)
    acts.complete_run(by=by(technician), run=run)
    correct(
        technician,
        run.readings.get(stage=stage_of(run, 2), fastener=4),
        "",
        kind="not_done",
        why="tapped by mistake",
    )
    run.refresh_from_db()
    assert [problem.code for problem in state_of(run).problems] == ["incomplete"]


def test_rounds_until_nothing_moves_forget_a_move_that_was_none(lead, technician, car, tool):
    step = {
        "title": "Manifold nuts",
        "fasteners": 2,
        "order_of_work": "until_still",
        "stages": [{"name": "Round", "value": "60", "tolerance_percent": "15", "unit": "N.m"}],
    }
    run = RunFactory(person=lead, vehicle=car, steps=[step])
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 60, tool)
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 60, tool, kind="did_not_move")
    assert not any(one.flag for one in state_of(run).steps[0].stages[0].fasteners.values())
    slip = click(technician, run, 1, 1, 60, tool)
    assert at(run, 1, 2).flag == "moved"
    correct(technician, slip, "60", kind="did_not_move", why="wrong answer chosen")
    assert at(run, 1, 2).flag == ""


@pytest.mark.parametrize(
    "change",
    [{"redo_reason": ""}, {"kind": "not_done", "value": None, "typed": None, "unit": "", "corrects": None}],
    ids=["no reason", "taken back without what it takes back"],
)
def test_the_database_keeps_the_rules_too(technician, run, tool, change):
    wrong = click(technician, run, 1, 1, 60, tool)
    fields = {field.attname: getattr(wrong, field.attname) for field in TorqueReading._meta.concrete_fields}
    changed = {"corrects_id" if name == "corrects" else name: value for name, value in change.items()}
    row = TorqueReading(
        **{**fields, "id": None, "order": 9, "corrects_id": wrong.pk, "redo_reason": "x", **changed}
    )
    row.pk = TorqueReading._meta.pk.get_default()
    with pytest.raises(DatabaseError), transaction.atomic():
        row.save(force_insert=True)


def test_the_database_keeps_it_within_its_stage(technician, run, tool):
    wrong = click(technician, run, 1, 1, 60, tool)
    fields = {field.attname: getattr(wrong, field.attname) for field in TorqueReading._meta.concrete_fields}
    row = TorqueReading(
        **{**fields, "order": 9, "corrects_id": wrong.pk, "redo_reason": "x", "stage_id": stage_of(run, 2).pk}
    )
    row.pk = TorqueReading._meta.pk.get_default()
    with (
        pytest.raises(DatabaseError, match="stands in place of a reading of the same run, step and stage"),
        transaction.atomic(),
    ):
        row.save(force_insert=True)


def test_by_the_page(client, technician, run, tool):
    wrong = click(technician, run, 1, 1, 50, tool)
    client.force_login(technician)
    url = reverse("jobs:reading-correct", args=[wrong.pk])
    page = client.get(url, follow=True)
    text = page.content.decode()
    assert "Stands on record:" in text
    assert page.context["form"]["reading"].value() == Amount(Decimal("50.000"), "N.m")
    key = page.context["form"]["key"].value()
    data = {
        "key": key,
        "fastener": "1",
        "kind": "clicked",
        "tool": tool.pk,
        "reading_value": "sixty",
        "reading_unit": "N.m",
        "redo_reason": "wrong number typed",
    }
    answer = client.post(url, data)
    assert answer.status_code == 422
    assert 'value="sixty"' in answer.content.decode()
    assert "wrong number typed" in answer.content.decode()
    assert client.post(url, {**data, "reading_value": "60"}).status_code == 302
    text = client.get(run.get_absolute_url()).content.decode()
    assert "<s>set 50 N·m, clicked</s>" in text
    assert "puts right what was written down: wrong number typed" in text
    again = client.get(url, follow=True)
    assert "put right already" in again.content.decode()


def test_the_run_page_asks_no_more_for_corrections(client, technician, run, tool, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.force_login(technician)
    click(technician, run, 1, 1, 50, tool)
    client.get(run.get_absolute_url())
    with CaptureQueriesContext(connection) as few:
        client.get(run.get_absolute_url())
    last = run.readings.get()
    for value in ("58", "59", "60"):
        last = correct(technician, last, value)
    with django_assert_num_queries(len(few)):
        client.get(run.get_absolute_url())


def test_the_sheet_says_what_was_written_down_wrong(technician, lead, run, tool):
    from jobs.models import Run
    from jobs.sheets.tightening import tightening

    wrong = click(technician, run, 1, 1, 50, tool)
    correct(lead, wrong, "60")
    row = Run.objects.select_related("line", "version_used__procedure").get()
    row.state = state_of(row)
    step = tightening([row])[0]["steps"][0]
    assert step["corrected"][0].startswith(
        "No. 1 was written down wrong (set 50 N·m, clicked): wrong number typed. It stands as set 60 N·m, clicked."
    )
    assert step["by"] == [str(technician)]
