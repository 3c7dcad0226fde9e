"""Critical steps: the second check by another person, hold points, and the shop where nobody else is
there.
"""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.acts import second_check as second_check_acts
from jobs.acts import torque as acts
from jobs.management.commands import verify_records
from jobs.models import SecondCheck
from jobs.run_words import check_words
from jobs.runs import state_of
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, begun, click, click_all, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from vehicles.models import OutstandingItem
from workshop import triggers

EARLIER = timedelta(minutes=30)


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 2, "critical": True}])


@once
def done(lead, run, technician, tool):
    """Another run, like it: all readings taken and written down half an hour ago."""
    then = timezone.now() - EARLIER
    procedure = run.version_used.procedure
    done = RunFactory(person=lead, line=run.line, procedure=procedure, where="front right")
    click_all(technician, begun(done, then - EARLIER), tool, made_at=then, received_at=then)
    return done


def check(person, run, *, step=1, made_at=None, received_at=None, key=None, **fields):
    return second_check_acts.second_check(
        by=by(person, made_at=made_at, received_at=received_at, key=key or uuid4()),
        run=run,
        step=step_of(run, step),
        **{"method": "mark_sighted", **fields},
    )


def refused(call, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        call()
    assert sentence in " ".join(refusal.value.message_dict[field])


def test_a_critical_step_is_complete_with_its_second_check(done, technician, other_technician):
    assert [p.code for p in state_of(done).problems] == ["no_second_check"]
    assert state_of(done).problems[0].critical
    with pytest.raises(ValidationError, match="the second check by another person is missing"):
        acts.complete_run(by=by(technician), run=done)
    made = check(other_technician, done)
    state = state_of(done)
    assert (state.steps[0].check, state.complete) == ("valid", True)
    assert check_words(made).startswith("Witness mark sighted, Odo Fennick, ")
    assert acts.complete_run(by=by(technician), run=done).completed_at


def test_who_took_a_reading_in_the_step_does_not_check_it(done, technician):
    refused(lambda: check(technician, done), "alone_because", "somebody else does the second check")
    assert not SecondCheck.objects.exists()


def test_the_database_refuses_it_too(done, technician, other_technician):
    values = {"run": done, "step": step_of(done), "method": "mark_sighted", "after_reading": 4}
    with pytest.raises(DatabaseError, match="Somebody else does the second check"), transaction.atomic():
        SecondCheck.objects.create(**by(technician).stamp(), **values)
    SecondCheck.objects.create(**by(other_technician).stamp(), **values)


def test_a_lead_who_tightened_is_no_second_person_either(lead, run, tool):
    click_all(lead, run, tool)
    refused(lambda: check(lead, run), "alone_because", "somebody else does the second check")


def test_one_who_helped_in_another_step_may_check(lead, technician, other_technician, car, tool):
    steps = [{**WHEEL, "fasteners": 1, "critical": True}, {**WHEEL, "title": "Cover", "fasteners": 1}]
    run = RunFactory(person=lead, vehicle=car, steps=steps)
    click_all(technician, run, tool)
    click_all(other_technician, run, tool, step=2)
    check(other_technician, run)
    assert state_of(run).complete


def test_it_comes_when_the_step_is_through(run, technician, other_technician, tool):
    click(technician, run, 1, 1, 60, tool)
    refused(lambda: check(other_technician, run), "step", "every fastener is judged before the second check")


def test_a_step_that_is_not_critical_needs_none(lead, car, technician, other_technician, tool):
    run = RunFactory(person=lead, vehicle=car)
    click_all(technician, run, tool)
    refused(lambda: check(other_technician, run), "step", "needs no second check")


def test_it_lapses_with_a_newer_reading_and_a_new_one_is_made(done, technician, other_technician, tool):
    check(other_technician, done)
    click(technician, done, 2, 1, 121, tool, redo_reason="mark was smeared")
    state = state_of(done)
    assert state.steps[0].check == "lapsed"
    assert [p.code for p in state.problems] == ["second_check_lapsed"]
    check(other_technician, done)
    assert state_of(done).complete
    assert SecondCheck.objects.count() == 2


def test_it_stays_when_another_step_goes_on(lead, technician, other_technician, car, tool):
    steps = [{**WHEEL, "fasteners": 1, "critical": True}, {**WHEEL, "title": "Cover", "fasteners": 1}]
    run = RunFactory(person=lead, vehicle=car, steps=steps)
    click_all(technician, run, tool)
    check(other_technician, run)
    click_all(technician, run, tool, step=2)
    assert state_of(run).steps[0].check == "valid"


def test_a_checker_who_tightens_later_is_nothing_wrong_on_rereading(done, technician, other_technician, tool):
    check(other_technician, done)
    click(other_technician, done, 2, 1, 121, tool, redo_reason="mark was smeared")
    assert state_of(done).steps[0].check == "lapsed"
    assert list(verify_records.second_checks()) == []
    with triggers.lifted(), transaction.atomic():
        SecondCheck.objects.update(after_reading=state_of(done).last_order)
        (problem,) = verify_records.second_checks()
    assert "checked a step in which they took a reading" in problem


ANGLE = {
    "title": "Head", "fasteners": 1, "critical": True,
    "stages": [{"name": "Turn", "kind": "angle", "value": "90", "plus": "10"}],
}  # fmt: skip


@pytest.mark.parametrize("method", ["applied_again", "measured"])
@pytest.mark.parametrize("how", ["angle", "yield"])
def test_angle_and_yield_steps_are_never_turned_again(
    lead, technician, other_technician, car, tool, method, how
):
    step = ANGLE if how == "angle" else {**WHEEL, "fasteners": 1, "critical": True, "to_yield": True}
    run = RunFactory(person=lead, vehicle=car, steps=[step])
    if how == "angle":
        click(technician, run, 1, 1, 90, None, kind="angle", unit="deg", angle_by="paint_mark")
    else:
        click_all(technician, run, tool)
    refused(
        lambda: check(other_technician, run, method=method, tool=tool),
        "method",
        "turning again would harm the bolt",
    )
    check(other_technician, run, method="witnessed")
    assert state_of(run).complete


def test_a_hold_point_keeps_the_next_step_shut(lead, technician, other_technician, car, tool):
    steps = [
        {**WHEEL, "title": "Caliper", "fasteners": 1, "critical": True, "hold_point": True},
        {**WHEEL, "title": "Cover", "fasteners": 1},
    ]
    run = RunFactory(person=lead, vehicle=car, steps=steps)
    refused(lambda: click(technician, run, 1, 1, 60, tool, step=2), "step", "“Caliper” is a hold point")
    click_all(technician, run, tool)
    assert state_of(run).next is None
    refused(lambda: click(technician, run, 1, 1, 60, tool, step=2), "step", "“Caliper” is a hold point")
    check(other_technician, run)
    assert state_of(run).next[0] == step_of(run, 2)
    click_all(technician, run, tool, step=2)
    click(technician, run, 2, 1, 121, tool, redo_reason="looked again")
    refused(
        lambda: click(technician, run, 2, 1, 121, tool, step=2, redo_reason="x"),
        "step",
        "“Caliper” is a hold point",
    )


ALONE = {"alone_because": "Saturday, nobody else in the building"}


def test_alone_the_technician_checks_again_after_an_interval(run, technician, tool):
    click_all(technician, run, tool)
    refused(
        lambda: check(technician, run, **ALONE), "alone_because", "at least 10 minutes after the last reading"
    )
    assert not OutstandingItem.objects.exists()


def test_after_the_interval_it_is_valid_and_printed_as_such(done, technician, car):
    made = check(technician, done, **ALONE)
    assert state_of(done).complete
    assert "alone: Saturday, nobody else in the building" in check_words(made)
    assert state_of(done).summary[0]["checked_alone"]
    item = OutstandingItem.objects.get(vehicle=car)
    assert (item.severity, item.reason, item.raised_by_run) == ("major", "recheck", done)
    assert item.title.startswith("Independent check")


@pytest.mark.parametrize(("minutes", "fine"), [(9, False), (10, True)])
@pytest.mark.parametrize("which", ["made_at", "received_at"])
def test_the_interval_is_ten_minutes_by_both_times(run, technician, tool, minutes, fine, which):
    """When it was done, and when it was written down: a time typed afterwards makes no interval."""
    then = timezone.now() - timedelta(hours=1)
    click_all(technician, begun(run, then), tool, made_at=then, received_at=then)
    enough = then + timedelta(minutes=30)
    times = {"made_at": then + timedelta(minutes=10), "received_at": enough}
    times[which] = then + timedelta(minutes=minutes)
    times["received_at"] = max(times.values()) if which == "made_at" else times["received_at"]
    times["made_at"] = min(times.values()) if which == "received_at" else times["made_at"]
    if fine:
        assert check(technician, run, **times, **ALONE)
    else:
        refused(lambda: check(technician, run, **times, **ALONE), "alone_because", "10 minutes")


def test_readings_written_down_just_now_are_not_checked_at_once(run, technician, tool):
    """Both times typed: readings an hour ago, the check half an hour ago, all of it sent in one minute."""
    then = timezone.now() - timedelta(hours=1)
    click_all(technician, begun(run, then), tool, made_at=then)
    later = then + timedelta(minutes=30)
    refused(lambda: check(technician, run, made_at=later, **ALONE), "alone_because", "taken and written down")


def test_who_took_no_reading_is_not_alone(done, other_technician):
    with pytest.raises(ValidationError, match="you are the other person who checks it"):
        check(other_technician, done, **ALONE)


def test_a_check_is_not_dated_before_the_last_reading(done, other_technician):
    at = state_of(done).readings[-1].made_at
    refused(
        lambda: check(other_technician, done, made_at=at - timedelta(minutes=2)),
        "made_at",
        "The last reading of this step was taken at",
    )
    assert check(other_technician, done, made_at=at.replace(second=0, microsecond=0))
    assert state_of(done).complete, "typed without seconds, it is of the same minute"


def test_a_reading_entered_late_that_was_done_before_the_check_does_not_lapse_it(
    done, technician, other_technician, tool
):
    check(other_technician, done)
    first = state_of(done).readings[0].made_at
    click(technician, done, 2, 1, 121, tool, made_at=first + timedelta(minutes=5), redo_reason="paper slip")
    state = state_of(done)
    assert state.steps[0].stages[1].fasteners[1].reading.typed == 121
    assert state.steps[0].check == "valid"


# A check that finds something -------------------------------------------------------------------------------

WRONG = {"result": "not_in_order", "found": "nut 2 turned a quarter"}


def test_a_check_that_finds_it_wrong_blocks_until_it_is_worked_on_and_checked_anew(
    done, technician, other_technician, tool
):
    made = check(other_technician, done, **WRONG)
    assert check_words(made).endswith(": not in order, nut 2 turned a quarter")
    state = state_of(done)
    assert (state.steps[0].check, [p.code for p in state.problems]) == ("failed", ["check_failed"])
    assert "nut 2 turned a quarter" in state.problems[0].text
    assert state.problems[0].critical
    refused(lambda: check(other_technician, done), "result", "no reading was recorded since")
    click(technician, done, 2, 2, 120, tool, redo_reason="found loose")
    assert [p.code for p in state_of(done).problems] == ["no_second_check"]
    check(other_technician, done)
    assert state_of(done).complete


def test_a_valid_check_does_not_outweigh_a_later_one_that_found_it_wrong(done, lead, other_technician):
    check(other_technician, done)
    assert state_of(done).complete
    check(lead, done, **WRONG)
    assert [p.code for p in state_of(done).problems] == ["check_failed"]


def test_a_failed_check_keeps_a_hold_point_shut(lead, technician, other_technician, car, tool):
    steps = [
        {**WHEEL, "title": "Caliper", "fasteners": 1, "critical": True, "hold_point": True},
        {**WHEEL, "title": "Cover", "fasteners": 1},
    ]
    run = RunFactory(person=lead, vehicle=car, steps=steps)
    click_all(technician, run, tool)
    check(other_technician, run, **WRONG)
    refused(lambda: click(technician, run, 1, 1, 60, tool, step=2), "step", "“Caliper” is a hold point")


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"result": "not_in_order"}, "found", "Say what was found"),
        ({"found": "loose"}, "found", "choose “Not in order”"),
        ({"result": "perhaps"}, "result", "Say whether the joint is in order"),
        ({"method": "measured"}, "tool", "Choose the tool"),
        ({"method": "applied_again"}, "tool", "Choose the tool"),
    ],
)
def test_what_a_check_must_say(done, other_technician, fields, field, sentence):
    refused(lambda: check(other_technician, done, **fields), field, sentence)
    assert not SecondCheck.objects.exists()


@pytest.mark.parametrize(
    "fields",
    [
        {"method": "mark_sighted", "result": "not_in_order"},
        {"method": "mark_sighted", "found": "x"},
        {"method": "mark_sighted", "result": "x"},
        {"method": "measured"},
    ],
)
def test_the_database_keeps_what_a_check_says(done, other_technician, fields):
    with pytest.raises(DatabaseError), transaction.atomic():
        SecondCheck.objects.create(
            **by(other_technician).stamp(), run=done, step=step_of(done), after_reading=4, **fields
        )


def test_a_tool_that_is_out_of_use_checks_nothing(done, lead, other_technician, tool):
    from workshop.acts import tools as tool_acts

    assert check(other_technician, done, method="measured", tool=tool).tool == tool
    tool_acts.report_drop(by=by(other_technician), tool=tool, what="fell")
    refused(lambda: check(lead, done, method="measured", tool=tool), "tool", "is out of use")
    assert check(lead, done, tool=tool).tool is None, "by sight there is no tool"


def test_what_was_typed_stands_beside_the_logs_facts(done, other_technician):
    from workshop.models import Event, EventDetail

    check(other_technician, done, note="seen by torchlight", **WRONG)
    event = Event.objects.get(act="jobs.second_check.second_check")
    assert "torchlight" not in event.body
    assert "quarter" not in event.body
    assert "torchlight" in EventDetail.objects.get(event=event).words


def test_a_lead_alone_answers_by_the_reason(lead, run, tool):
    click_all(lead, run, tool)
    check(lead, run, **ALONE)
    assert state_of(run).complete
    assert OutstandingItem.objects.count() == 1


def test_alone_nobody_witnesses_also_past_the_act(done, technician):
    refused(lambda: check(technician, done, method="witnessed", **ALONE), "method", "can't witness")
    with pytest.raises(DatabaseError), transaction.atomic():
        SecondCheck.objects.create(
            **by(technician).stamp(),
            run=done,
            step=step_of(done),
            method="witnessed",
            after_reading=4,
            **ALONE,
        )


@pytest.mark.parametrize(
    "statement", ["UPDATE jobs_secondcheck SET note = 'x'", "DELETE FROM jobs_secondcheck"]
)
def test_a_second_check_is_never_altered(done, other_technician, statement):
    check(other_technician, done)
    with pytest.raises(DatabaseError, match="A second check is never altered"), transaction.atomic():
        connection.cursor().execute(statement)


def test_the_same_key_is_one_check_and_the_front_desk_checks_nothing(done, other_technician, front_desk):
    key = uuid4()
    assert check(other_technician, done, key=key) == check(other_technician, done, key=key)
    assert SecondCheck.objects.count() == 1
    with pytest.raises(PermissionDenied, match="You may not make a second check"):
        check(front_desk, done)


def test_by_the_page(client, done, technician, other_technician, tool):
    url = reverse("jobs:second-check", args=[done.pk, step_of(done).pk])
    client.force_login(technician)
    form = client.get(url).context["form"]
    data = {"key": form["key"].value(), "method": "mark_sighted", "result": "in_order"}
    assert "alone_because" in form.fields
    answer = client.post(url, {**data, "note": "kept"})
    assert answer.status_code == 422
    assert "somebody else does the second check" in answer.content.decode()
    assert 'value="kept"' in answer.content.decode()
    assert "somebody else checks it" in client.get(done.get_absolute_url()).content.decode()
    client.force_login(other_technician)
    assert (
        "You took no reading here: you may check it." in client.get(done.get_absolute_url()).content.decode()
    )
    form = client.get(url).context["form"]
    assert "alone_because" not in form.fields, "only who took a reading may be alone"
    data = {"key": form["key"].value(), "result": "in_order", "method": "measured", "tool": tool.pk}
    assert client.post(url, data).status_code == 302
    assert "Complete the run" in client.get(done.get_absolute_url()).content.decode()
    client.force_login(technician)
    assert client.get(reverse("jobs:second-check", args=[done.pk, 999999])).status_code == 404
