"""Above its limit, or not proven: loosened and redone, replaced, or accepted by a lead, and what that
opens again.
"""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from jobs.acts import disposition as disposition_acts
from jobs.acts import second_check as second_check_acts
from jobs.acts import torque as acts
from jobs.models import Disposition, Run, TorqueReading
from jobs.runs import state_of
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click, click_all, stage_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from workshop.models import Event, EventDetail


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 2}])


@pytest.fixture
def above(run, technician, tool):
    """Fastener 1 of round 2 went to 140 N·m; 130 is the most."""
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 60, tool)
    return click(technician, run, 2, 1, 140, tool)


def dispose(person, reading, kind, reason="thread looks sound", **fields):
    return disposition_acts.dispose(
        by=by(person, **fields.pop("by", {})), reading=reading, kind=kind, reason=reason, **fields
    )


def refused(call, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        call()
    assert sentence in " ".join(refusal.value.message_dict[field])


def test_above_blocks_until_it_is_decided(run, above, technician, tool):
    click(technician, run, 2, 2, 120, tool)
    (problem,) = state_of(run).problems
    assert problem.code == "above"
    refused(
        lambda: click(technician, run, 2, 1, 120, tool, redo_reason="again"),
        "fastener",
        "decide first whether it is redone",
    )


def test_redone_opens_all_stages_of_the_fastener_again(run, above, technician, tool):
    dispose(technician, above, "redone")
    state = state_of(run)
    assert state.next[1:] == (stage_of(run, 1), 1)
    first = state.steps[0].stages[0].fasteners[1]
    assert first.reading is None
    assert len(first.earlier) == 1
    refused(
        lambda: click(technician, run, 2, 1, 120, tool),
        "stage",
        "Too early: Round 1 is still open on fastener 1",
    )
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 2, 1, 120, tool)
    click(technician, run, 2, 2, 120, tool)
    assert state_of(run).complete
    assert TorqueReading.objects.count() == 6, "what was recorded stays"


def test_the_other_fasteners_keep_what_they_have(run, above, technician):
    dispose(technician, above, "replaced", reason="new nut from the box")
    stage = state_of(run).steps[0].stages[0]
    assert stage.fasteners[2].settled
    assert not stage.fasteners[1].settled


def test_a_lead_accepts_above_with_the_makers_source(run, above, lead, technician, tool):
    with pytest.raises(PermissionDenied, match="You may not decide about a reading above its limit"):
        dispose(technician, above, "accepted", source="sheet 40-2, note 3")
    refused(lambda: dispose(lead, above, "accepted"), "source", "Name the maker's source")
    refused(lambda: dispose(lead, above, "accepted", reason=" ", source="x"), "reason", "Give the reason")
    made = dispose(lead, above, "accepted", source="sheet 40-2, note 3")
    assert made.source == "sheet 40-2, note 3"
    click(technician, run, 2, 2, 120, tool)
    assert state_of(run).complete
    refused(lambda: dispose(lead, above, "accepted", source="again"), "kind", "was decided already")


def test_what_is_not_above_is_not_accepted_as_such(run, lead, technician, tool):
    low = click(technician, run, 1, 1, 45, tool)
    assert low.verdict == "below"
    refused(lambda: dispose(lead, low, "accepted", source="x"), "kind", "Only a reading above its limit")
    refused(lambda: dispose(lead, low, "accepted_unproven"), "kind", "Only a reading that is not proven")
    refused(lambda: dispose(lead, low, "ignored"), "kind", "Choose what is done")


YIELD = {**WHEEL, "fasteners": 1, "to_yield": True}
ANGLE = {
    "title": "Head",
    "fasteners": 1,
    "stages": [{"name": "Turn", "kind": "angle", "value": "90", "plus": "10"}],
}


@pytest.mark.parametrize("step", [YIELD, ANGLE])
def test_a_yield_bolt_above_its_limit_is_replaced(lead, technician, car, tool, step):
    run = RunFactory(person=lead, vehicle=car, steps=[step])
    if step is ANGLE:
        row = click(technician, run, 1, 1, 110, None, kind="angle", unit="deg", angle_by="paint_mark")
    else:
        click(technician, run, 1, 1, 60, tool)
        row = click(technician, run, 2, 1, 140, tool)
    for kind in ("redone", "accepted"):
        refused(lambda kind=kind: dispose(lead, row, kind, source="x"), "kind", "is replaced")
    dispose(technician, row, "replaced", reason="new bolt")
    assert state_of(run).next[2] == 1


@pytest.mark.parametrize(("critical", "blocks"), [(True, True), (False, False)])
def test_not_proven_blocks_on_critical_steps_only(
    lead, technician, other_technician, car, tool, critical, blocks
):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 1, "critical": critical}])
    click(technician, run, 1, 1, 60, tool)
    row = click(technician, run, 2, 1, 128, tool)
    assert row.verdict == "not_proven"
    codes = [problem.code for problem in state_of(run).problems]
    assert ("not_proven" in codes) is blocks
    if critical:
        with pytest.raises(PermissionDenied):
            dispose(technician, row, "accepted_unproven")
        dispose(lead, row, "accepted_unproven", reason="checked with the other wrench")
        second_check_acts.second_check(
            by=by(other_technician), run=run, step=run.version_used.steps.get(), method="mark_sighted"
        )
        assert state_of(run).complete
    else:
        assert state_of(run).complete


def test_a_reading_that_does_not_count_is_not_accepted(lead, technician, run):
    bare = ToolFactory(person=lead, calibrated=False)
    row = click(technician, run, 1, 1, 100, bare)
    refused(lambda: dispose(lead, row, "accepted", source="x"), "kind", "does not count")


def test_only_the_reading_that_stands_is_decided(run, above, lead, technician, tool):
    dispose(technician, above, "redone")
    with pytest.raises(ValidationError, match="no longer stands"):
        dispose(lead, above, "accepted", source="x")


def test_above_once_more_after_it_was_redone(run, above, technician, tool):
    dispose(technician, above, "redone")
    click(technician, run, 1, 1, 60, tool)
    again = click(technician, run, 2, 1, 141, tool)
    assert [p.code for p in state_of(run).problems if p.code == "above"] == ["above"]
    dispose(technician, again, "replaced", reason="new nut")
    assert state_of(run).steps[0].stages[1].fasteners[1].reading is None


@pytest.mark.parametrize(
    "statement", ["UPDATE jobs_disposition SET reason = 'x'", "DELETE FROM jobs_disposition"]
)
def test_a_decision_is_never_altered(above, technician, statement):
    dispose(technician, above, "redone")
    with pytest.raises(DatabaseError, match="A disposition is never altered"), transaction.atomic():
        connection.cursor().execute(statement)


@pytest.mark.parametrize("wrong", [{"kind": "x"}, {"reason": ""}, {"kind": "accepted", "source": ""}])
def test_constraints_hold_when_the_form_is_passed_by(above, lead, wrong):
    values = {"reading": above, "kind": "redone", "reason": "x", "after_reading": 3, **wrong}
    with pytest.raises(DatabaseError), transaction.atomic():
        Disposition.objects.create(**by(lead).stamp(), **values)


def test_the_same_key_is_one_decision(above, technician):
    key = uuid4()
    first = dispose(technician, above, "redone", by={"key": key})
    assert dispose(technician, above, "redone", by={"key": key}) == first
    assert Disposition.objects.count() == 1


def test_a_single_use_fastener_that_is_redone_takes_another_new_one(lead, technician, car, tool):
    run = RunFactory(
        person=lead,
        vehicle=car,
        steps=[{**WHEEL, "fasteners": 2, "reuse": "new", "order_of_work": "fastener_by_fastener"}],
    )
    step = run.version_used.steps.get()

    def say(what, **times):
        return acts.say_new_fitted(by=by(technician, **times), run=run, step=step, what=what)

    say("two nuts from the box")
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 1, 2, 60, tool)
    above = click(technician, run, 2, 1, 140, tool)
    made = dispose(technician, above, "replaced")
    refused(
        lambda: click(technician, run, 1, 1, 60, tool),
        "step",
        "say first which new ones were fitted (fastener 1",
    )
    assert "new_not_fitted" in [p.code for p in state_of(run).problems]
    click(technician, run, 2, 2, 120, tool)  # the other one has its new nut
    acts_at = made.made_at - timedelta(minutes=2)
    Run.objects.filter(pk=run.pk).update(made_at=acts_at)
    refused(lambda: say("the same one", made_at=acts_at), "made_at", "was loosened or replaced at")
    say("one more nut from the box")
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 2, 1, 120, tool)
    assert state_of(run).complete


def test_a_decision_on_what_no_longer_stands_keeps_what_was_typed(client, above, lead, technician):
    url = reverse("jobs:dispose", args=[above.pk])
    client.force_login(lead)
    key = client.get(url).context["form"]["key"].value()
    dispose(technician, above, "redone")
    answer = client.post(url, {"key": key, "kind": "replaced", "reason": "thread looks pulled"})
    assert answer.status_code == 422
    assert "This reading no longer stands" in answer.content.decode()
    assert 'value="thread looks pulled"' in answer.content.decode()
    assert client.get(url).status_code == 302


def test_the_message_names_what_was_decided(client, above, technician):
    url = reverse("jobs:dispose", args=[above.pk])
    client.force_login(technician)
    key = client.get(url).context["form"]["key"].value()
    answer = client.post(url, {"key": key, "kind": "redone", "reason": "went over"}, follow=True)
    said = "Round 2, fastener 1: loosened and redone from the first stage."
    assert said in answer.content.decode()


def test_a_reason_stands_beside_the_logs_facts(above, technician):
    dispose(technician, above, "redone", reason="Corin leaned on it")
    assert not Event.objects.filter(body__contains="Corin").exists()
    assert EventDetail.objects.filter(words__contains="Corin").count() == 1


def test_a_check_lapses_when_a_fastener_is_redone(lead, technician, other_technician, car, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 1, "critical": True}])
    click_all(technician, run, tool)
    second_check_acts.second_check(
        by=by(other_technician), run=run, step=run.version_used.steps.get(), method="mark_sighted"
    )
    last = TorqueReading.objects.latest("order")
    dispose(technician, last, "redone", reason="threadlocker forgotten")
    assert not state_of(run).complete
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 2, 1, 120, tool)
    assert state_of(run).steps[0].check == "lapsed"


def test_by_the_page_each_is_offered_what_they_may(client, above, run, lead, technician):
    url = reverse("jobs:dispose", args=[above.pk])
    client.force_login(technician)
    form = client.get(url).context["form"]
    # That it is accepted, a lead signs on whoever's session it is (tests/jobs/test_signers.py).
    assert [kind for kind, _ in form.fields["kind"].choices] == ["redone", "replaced", "accepted"]
    answer = client.post(url, {"key": form["key"].value(), "kind": "accepted", "reason": "x", "source": "y"})
    assert answer.status_code == 422
    assert "Choose who signs." in answer.text
    client.force_login(lead)
    page = client.get(url)
    assert "140 N·m is above the highest accepted value 130 N·m." in page.content.decode()
    key = page.context["form"]["key"].value()
    answer = client.post(url, {"key": key, "kind": "accepted", "reason": "kept reason"})
    assert answer.status_code == 422
    assert "kept reason" in answer.content.decode()
    answer = client.post(url, {"key": key, "kind": "accepted", "reason": "sound", "source": "sheet 3"})
    assert answer.url == run.get_absolute_url()
    client.post(url, {})
    assert client.get(url).status_code == 200
    assert "sound (Lida Marchbank)" in client.get(run.get_absolute_url()).content.decode()
