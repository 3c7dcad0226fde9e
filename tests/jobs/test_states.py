"""The table of moves: nothing but what stands in it, by who may, with a reason where it goes back."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from jobs import states
from jobs.acts import job as acts
from jobs.models import Job, JobMove
from jobs.states import JobState
from tests.factories.job import job_in
from tests.people import by
from workshop.acting import act, note
from workshop.permissions import May

S = JobState
# Written out once more by hand: the table of the code is checked against it, not against itself.
ALLOWED = {
    (S.BOOKED, S.CHECKED_IN): False,
    (S.BOOKED, S.CANCELLED): True,
    (S.CHECKED_IN, S.IN_WORK): False,
    (S.IN_WORK, S.FINAL_CHECKS): False,
    (S.FINAL_CHECKS, S.READY): False,
    (S.FINAL_CHECKS, S.IN_WORK): True,
    (S.READY, S.IN_WORK): True,
    (S.READY, S.HANDED_OVER): False,
    (S.CHECKED_IN, S.COLLECTED_UNFINISHED): True,
    (S.IN_WORK, S.COLLECTED_UNFINISHED): True,
    (S.FINAL_CHECKS, S.COLLECTED_UNFINISHED): True,
    (S.READY, S.COLLECTED_UNFINISHED): True,
}


@act(May.SEE_SHOP)
def push(*, by, job, to_state, reason=""):
    """Stands for the acts that move a job by themselves."""
    return acts.apply_move(by, job, to_state, reason)


@act(May.SEE_SHOP)
def new_work(*, by, job, reason):
    row = acts.send_back_to_work(by, job, reason)
    note(job, job=job)
    return row


def test_the_table_holds_these_moves_and_no_others():
    assert {pair: move.needs_reason for pair, move in states.TABLE.items()} == ALLOWED


@pytest.mark.parametrize("from_state", S.values)
def test_every_pair_is_allowed_or_refused_in_words(from_state, car, lead):
    job = job_in("booked", person=lead, vehicle=car)
    for to_state in S.values:
        # A closed job can't be put back for the next round: the database refuses it.
        with transaction.atomic():
            Job.objects.filter(pk=job.pk).update(
                state=from_state, cancelled_because="x" if from_state == S.CANCELLED else ""
            )
            if (from_state, to_state) in ALLOWED:
                row = push(by=by(lead), job=job, to_state=to_state, reason="because")
                assert (row.from_state, row.to_state, row.reason) == (from_state, to_state, "because")
                assert Job.objects.get().state == to_state
            else:
                with pytest.raises(ValidationError) as refusal:
                    push(by=by(lead), job=job, to_state=to_state, reason="because")
                [sentence] = refusal.value.message_dict["to_state"]
                assert S(from_state).label in sentence
            transaction.set_rollback(True)


@pytest.mark.parametrize("pair", [pair for pair, reason in ALLOWED.items() if reason])
def test_a_move_back_or_out_needs_a_reason(pair, car, lead):
    job = job_in("booked", person=lead, vehicle=car)
    Job.objects.filter(pk=job.pk).update(state=pair[0])
    with pytest.raises(ValidationError, match="needs a reason"):
        push(by=by(lead), job=job, to_state=pair[1], reason="  ")
    assert not JobMove.objects.exists()


def test_a_job_is_moved_forwards_and_back_by_hand(car, technician):
    job = job_in("checked_in", person=technician, vehicle=car)
    acts.move(by=by(technician), job=job, to_state="in_work")
    acts.move(by=by(technician), job=job, to_state="final_checks")
    acts.move(by=by(technician), job=job, to_state="in_work", reason="brake light out")
    assert job.state == S.IN_WORK
    assert [move.to_state for move in job.moves.all()] == ["checked_in", "in_work", "final_checks", "in_work"]
    assert job.moves.last().reason == "brake light out"
    assert job.moves.last().made_by == technician


def test_a_move_leaves_the_plan_of_others_alone(car, technician, front_desk):
    job = job_in("checked_in", person=technician, vehicle=car)
    seen = job.version
    acts.move(by=by(technician), job=job, to_state="in_work")
    acts.plan(by=by(front_desk), job=job, seen_version=seen, standing_at="bay 2")
    job.refresh_from_db()
    assert (job.state, job.standing_at) == ("in_work", "bay 2")


@pytest.mark.parametrize(
    ("state", "goal", "said"),
    [
        ("booked", "checked_in", "odometer, fuel, keys and damage"),
        ("final_checks", "ready", "through the gate"),
        ("ready", "handed_over", "by its handover"),
        ("in_work", "collected_unfinished", "by its handover"),
        ("booked", "cancelled", "Cancel the booking"),
    ],
)
def test_what_has_an_act_of_its_own_is_not_moved_by_hand(state, goal, said, car, lead):
    job = job_in(state, person=lead, vehicle=car)
    with pytest.raises(ValidationError, match=said):
        acts.move(by=by(lead), job=job, to_state=goal, reason="because")


def test_the_front_desk_moves_no_job(car, front_desk):
    job = job_in("checked_in", person=front_desk, vehicle=car)
    with pytest.raises(PermissionDenied, match="You may not move a job"):
        acts.move(by=by(front_desk), job=job, to_state="in_work")


def test_two_people_move_it_at_once_and_the_second_is_told(car, technician, other_technician):
    job = job_in("in_work", person=technician, vehicle=car)
    seen_by_the_other = Job.objects.get(pk=job.pk)
    acts.move(by=by(technician), job=job, to_state="final_checks")
    with pytest.raises(ValidationError, match="“Final checks” already"):
        acts.move(by=by(other_technician), job=seen_by_the_other, to_state="final_checks")
    assert JobMove.objects.filter(to_state="final_checks").count() == 1


def test_new_work_sends_a_ready_car_back(car, front_desk, lead):
    job = job_in("ready", person=lead, vehicle=car)
    # The front desk may write a line but not move a job: the move is made by the work, not by the desk.
    row = new_work(by=by(front_desk), job=job, reason="New line 3: wiper")
    assert (row.from_state, row.to_state, row.reason) == ("ready", "in_work", "New line 3: wiper")
    assert job.state == S.IN_WORK


def test_new_work_on_a_car_that_was_not_ready_moves_nothing(car, lead):
    job = job_in("final_checks", person=lead, vehicle=car)
    before = JobMove.objects.count()
    assert new_work(by=by(lead), job=job, reason="x") is None
    assert JobMove.objects.count() == before


def test_an_unknown_state_is_refused(car, lead):
    job = job_in("checked_in", person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="no state of a job"):
        acts.move(by=by(lead), job=job, to_state="sold")


def test_the_database_refuses_what_the_table_does_not_hold(car, lead):
    job = job_in("booked", person=lead, vehicle=car)
    with pytest.raises(IntegrityError), transaction.atomic():
        JobMove.objects.create(**by(lead).stamp(), job=job, from_state="booked", to_state="ready")
    with pytest.raises(IntegrityError), transaction.atomic():
        JobMove.objects.create(**by(lead).stamp(), job=job, from_state="ready", to_state="in_work")


def test_the_database_keeps_a_closed_job_closed(car, lead):
    job = job_in("booked", person=lead, vehicle=car)
    acts.cancel(by=by(lead), job=job, reason="sold the car")
    with pytest.raises(IntegrityError, match="This job is over"), transaction.atomic():
        Job.objects.filter(pk=job.pk).update(state="in_work", cancelled_because="")
    with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
        Job.objects.filter(pk=job.pk)._raw_delete("default")  # past Django's own look at references
    with pytest.raises(IntegrityError), transaction.atomic():
        JobMove.objects.update(reason="other")


def test_moves_by_hand_on_the_page(client, car, technician):
    client.force_login(technician)
    job = job_in("in_work", person=technician, vehicle=car)
    page = client.get(f"/jobs/{job.pk}/").content.decode()
    assert "Go to the final checks" in page
    form = client.get(f"/jobs/{job.pk}/move/?to_state=final_checks").context["form"]
    sent = {"key": form["key"].value(), "to_state": "final_checks"}
    assert client.post(f"/jobs/{job.pk}/move/", sent).status_code == 302
    assert client.post(f"/jobs/{job.pk}/move/", sent).status_code == 302  # a double tap
    assert JobMove.objects.filter(to_state="final_checks").count() == 1
    back = client.get(f"/jobs/{job.pk}/move/?to_state=in_work")
    assert "reason" in back.context["form"].fields
    refused = client.post(
        f"/jobs/{job.pk}/move/",
        {"key": back.context["form"]["key"].value(), "to_state": "in_work", "reason": ""},
    )
    assert refused.status_code == 422
    for strange in ("", "sold", "booked"):
        answer = client.post(f"/jobs/{job.pk}/move/", {"key": form["key"].value(), "to_state": strange})
        assert answer.status_code == 422
