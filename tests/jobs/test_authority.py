"""Work needs authority: the estimate, who said yes to what, the limit, making safe, the owner's own answer."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs import authority, gate, shown
from jobs.acts import answer as answer_acts
from jobs.acts import work as acts
from jobs.models import Job, LineAnswer, WorkLine
from tests.factories.job import job_in
from tests.factories.vehicle import VehicleFactory
from tests.factories.work import (
    LabourFactory,
    LineAnswerFactory,
    MeasurementFactory,
    PartUsedFactory,
    WorkLineFactory,
    authorised_line,
    owner_of,
)
from tests.once import once
from tests.people import by
from vehicles.acts import fault as fault_acts
from vehicles.acts import keeper as keeper_acts
from vehicles.models import Keeper
from workshop.acting import ChangedMeanwhile


@pytest.fixture
def owner(car, front_desk):
    return owner_of(car, front_desk)


@once
def job(car, lead):
    long_ago = timezone.now() - timedelta(days=5)
    return job_in("in_work", person=lead, vehicle=car, limit=Decimal(150), made_at=long_ago)


@pytest.fixture
def line(job, lead):
    return WorkLineFactory(person=lead, job=job, complaint="Squeals when cold")


def estimate(line, person, amount, **fields):
    return answer_acts.estimate_line(
        by=by(person), line=line, seen_version=line.version, estimate=Decimal(amount), **fields
    )


# Nothing before a yes


@pytest.mark.parametrize("kind", ["repair", "service"])
def test_nothing_is_written_down_on_a_line_before_a_yes(job, lead, technician, owner, kind):
    line = WorkLineFactory(person=lead, job=job, kind=kind)
    tries = (
        lambda: LabourFactory(person=technician, line=line),
        lambda: PartUsedFactory(person=technician, line=line),
        lambda: MeasurementFactory(person=technician, line=line),
        lambda: acts.finish_line(by=by(technician), line=line, seen_version=line.version, correction="x"),
    )
    for attempt in tries:
        with pytest.raises(
            ValidationError, match=r"This line is not authorised\. Estimate it, ask the owner"
        ):
            attempt()
    estimate(line, lead, 120)
    for attempt in tries:
        with pytest.raises(ValidationError, match=r"estimated at 120.00 EUR and the owner has not answered"):
            attempt()
    LineAnswerFactory(person=lead, line=line, given_by=owner, answer="no")
    for attempt in tries:
        with pytest.raises(ValidationError, match="The owner declined this line"):
            attempt()
    LineAnswerFactory(person=lead, line=line, given_by=owner, answer="later")
    for attempt in tries:
        with pytest.raises(ValidationError, match="The owner put this line off"):
            attempt()
    LineAnswerFactory(person=lead, line=line, given_by=owner, answer="yes")
    line.refresh_from_db()
    for attempt in tries:
        attempt()
    line.refresh_from_db()
    assert line.done_at is not None


def test_nothing_is_done_before_the_car_is_checked_in(car, lead, owner):
    job = job_in("booked", person=lead, vehicle=car)
    line = authorised_line(job=job, person=lead, owner=owner)  # asked and answered by telephone beforehand
    with pytest.raises(ValidationError, match="not checked in"):
        PartUsedFactory(person=lead, line=line)


def test_work_stops_when_it_costs_more_than_was_authorised(client, job, lead, technician, owner):
    line = authorised_line(job=job, person=lead, owner=owner, amount=100)
    estimate(line, lead, 100, cost=Decimal(130))
    for attempt in (
        lambda: LabourFactory(person=technician, line=line),
        lambda: PartUsedFactory(person=technician, line=line),
        lambda: MeasurementFactory(person=technician, line=line),
        lambda: acts.finish_line(by=by(technician), line=line, seen_version=line.version, correction="x"),
    ):
        with pytest.raises(ValidationError, match=r"now costs 130.00 EUR; 100.00 EUR was authorised"):
            attempt()
    client.force_login(technician)
    page = client.get(line.get_absolute_url()).content.decode()
    assert reverse("jobs:labour-add", args=[line.pk]) not in page
    assert "before a yes to what it costs now" in page
    LineAnswerFactory(person=lead, line=line, given_by=owner, amount=Decimal(130))
    LabourFactory(person=technician, line=line)


@pytest.mark.parametrize("kind", ["diagnosis", "make_safe"])
def test_diagnosis_and_making_safe_do_not_stop_for_an_amount(kind, job, lead, technician, owner):
    line = authorised_line(job=job, person=lead, owner=owner, amount=100, kind=kind)
    estimate(line, lead, 100, cost=Decimal(130))
    LabourFactory(person=technician, line=line)


# The answer


def test_an_answer_is_not_from_before_the_booking(line, job, lead, owner):
    with pytest.raises(ValidationError, match="The job was booked at") as refused:
        LineAnswerFactory(
            person=lead, line=line, given_by=owner, answered_at=job.made_at - timedelta(minutes=2)
        )
    assert list(refused.value.error_dict) == ["answered_at"]


def test_an_answer_keeps_who_how_when_and_by_what_right(line, lead, owner):
    estimate(line, lead, 180)
    an_hour_ago = timezone.now() - timedelta(hours=1)
    row = answer_acts.record_answer(
        by=by(lead),
        line=line,
        answer="yes",
        given_by=owner,
        channel="phone",
        answered_at=an_hour_ago,
        words="go on",
    )
    assert (row.by, row.right, row.channel, row.answered_at) == (owner, "owner", "phone", an_hour_ago)
    assert row.amount == Decimal(180)  # the amount of the line as it stood
    line.refresh_from_db()
    assert (line.answer, line.authorised_amount) == ("yes", Decimal(180))


def test_an_answer_is_not_from_the_future(line, lead, owner):
    with pytest.raises(ValidationError, match="can't lie in the future") as refused:
        LineAnswerFactory(
            person=lead, line=line, given_by=owner, answered_at=timezone.now() + timedelta(minutes=5)
        )
    assert "answered_at" in refused.value.error_dict


def test_who_has_no_right_is_refused_naming_who_has(line, car, lead, owner):
    driver = owner_of(car, lead, "Dorrit Vane", "driver")
    with pytest.raises(
        ValidationError, match=r"Dorrit Vane had no right .* These may: Corin Ashby"
    ) as refused:
        LineAnswerFactory(person=lead, line=line, given_by=driver)
    assert "given_by" in refused.value.error_dict
    named = owner_of(car, lead, "Perrin Holt", "authoriser")
    assert LineAnswerFactory(person=lead, line=line, given_by=named).right == "may authorise work"


def test_the_right_is_judged_on_the_day_of_the_answer(line, car, lead, front_desk):
    seller, buyer = (
        keeper_acts.add_keeper(by=by(front_desk), name=name) for name in ("Seller Quill", "Buyer Marl")
    )
    today = timezone.localdate()
    for keeper, day in ((seller, today - timedelta(days=900)), (buyer, today - timedelta(days=1))):
        keeper_acts.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part="owner", from_on=day)
    with pytest.raises(ValidationError, match="These may: Buyer Marl"):
        LineAnswerFactory(person=lead, line=line, given_by=seller)
    with pytest.raises(ValidationError, match="These may: Seller Quill"):
        LineAnswerFactory(
            person=lead, line=line, given_by=buyer, answered_at=timezone.now() - timedelta(days=3)
        )
    LineAnswerFactory(person=lead, line=line, given_by=seller, answered_at=timezone.now() - timedelta(days=3))


def test_where_nobody_may_authorise_the_refusal_says_what_to_do(line, lead):
    stranger = keeper_acts.add_keeper(by=by(lead), name="Nobody Around")
    with pytest.raises(ValidationError, match="Nobody is on record who may: write down the car's owner"):
        LineAnswerFactory(person=lead, line=line, given_by=stranger)


def test_a_yes_has_an_amount_and_nothing_else_has(line, lead, owner):
    with pytest.raises(ValidationError, match="Say up to what amount") as refused:
        LineAnswerFactory(person=lead, line=line, given_by=owner, amount=None)
    assert "amount" in refused.value.error_dict
    with pytest.raises(ValidationError, match="An amount goes with a yes only"):
        LineAnswerFactory(person=lead, line=line, given_by=owner, answer="no", amount=Decimal(5))


def test_answers_are_kept_and_the_latest_given_counts(line, lead, owner):
    now = timezone.now()
    LineAnswerFactory(
        person=lead, line=line, given_by=owner, answer="later", answered_at=now - timedelta(hours=2)
    )
    # Given an hour before the other one, and written down after it.
    LineAnswerFactory(
        person=lead, line=line, given_by=owner, answer="no", answered_at=now - timedelta(hours=3)
    )
    line.refresh_from_db()
    assert line.answer == "later"
    LineAnswerFactory(person=lead, line=line, given_by=owner, answer="yes", answered_at=now)
    line.refresh_from_db()
    assert line.answer == "yes"
    assert [row.answer for row in line.answers.all()] == ["no", "later", "yes"]


def test_the_database_alters_no_answer(line, lead, owner):
    row = LineAnswerFactory(person=lead, line=line, given_by=owner)
    for change in (
        lambda: LineAnswer.objects.filter(pk=row.pk).update(answer="no", amount=None),
        lambda: LineAnswer.objects.filter(pk=row.pk)._raw_delete("default"),
    ):
        with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
            change()


def test_the_database_takes_no_yes_without_an_amount(line, lead, owner):
    given = {"line": line, "by": owner, "right": "owner", "channel": "phone", "answered_at": timezone.now()}
    for wrong in (
        {"answer": "yes", "amount": None},
        {"answer": "yes", "amount": Decimal(-1)},
        {"answer": "no", "amount": Decimal(5)},
        {"answer": "maybe", "amount": None},
        {"answer": "no", "amount": None, "answered_at": timezone.now() + timedelta(hours=1)},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            LineAnswer.objects.bulk_create([LineAnswer(**by(lead).stamp(), **{**given, **wrong})])


def test_the_staff_do_not_answer_in_the_owners_account(line, lead, owner):
    with pytest.raises(ValidationError, match="Only the owner, signed in"):
        LineAnswerFactory(person=lead, line=line, given_by=owner, channel="account")


def test_a_technician_records_no_answer(line, technician, owner):
    with pytest.raises(PermissionDenied, match="You may not record the owner's answer"):
        LineAnswerFactory(person=technician, line=line, given_by=owner)


def test_an_answer_to_an_estimate_that_changed_is_asked_again(client, line, lead, front_desk, owner):
    estimate(line, lead, 180)
    seen = line.version
    estimate(line, lead, 260)
    client.force_login(front_desk)
    typed = {
        "key": str(uuid4()), "seen_version": seen, "answer": "yes", "given_by": str(owner.pk), "channel": "phone",
        "words": "yes, carry on",
    }  # fmt: skip
    answer = client.post(reverse("jobs:line-answer", args=[line.pk]), typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "260" in page
    assert "yes, carry on" in page
    line.refresh_from_db()
    assert line.answer == ""


# Above what was authorised


def test_a_cost_above_what_was_authorised_asks_again(line, lead, technician, owner):
    estimate(line, lead, 200)
    LineAnswerFactory(person=lead, line=line, given_by=owner)
    line.refresh_from_db()
    estimate(line, lead, 200, cost=Decimal("249.90"))
    assert line.above_authority
    assert shown.lines_of(line.job)[0].asks == "answer"
    with pytest.raises(ValidationError, match=r"costs 249.90 EUR; 200.00 EUR was authorised"):
        acts.finish_line(by=by(technician), line=line, seen_version=line.version, correction="Pads replaced")
    LineAnswerFactory(person=lead, line=line, given_by=owner, amount=Decimal(250))
    line.refresh_from_db()
    assert not line.above_authority
    acts.finish_line(by=by(technician), line=line, seen_version=line.version, correction="Pads replaced")
    with pytest.raises(
        ValidationError, match=r"The line is done.*costs 300.00 EUR; 250.00 EUR was authorised"
    ):
        estimate(line, lead, 200, cost=Decimal(300))


def test_parts_dearer_than_the_line_raise_its_cost(line, lead, technician, owner):
    estimate(line, lead, 100)
    LineAnswerFactory(person=lead, line=line, given_by=owner, amount=Decimal(100))
    PartUsedFactory(person=technician, line=line, price=Decimal(60))
    line.refresh_from_db()
    assert line.cost is None
    PartUsedFactory(person=technician, line=line, price=Decimal(60))
    line.refresh_from_db()
    assert line.cost == Decimal(120)
    assert line.above_authority


def test_a_raised_cost_sends_a_ready_car_back(line, lead, owner):
    estimate(line, lead, 100)
    LineAnswerFactory(person=lead, line=line, given_by=owner, amount=Decimal(100))
    Job.objects.filter(pk=line.job_id).update(state="ready")
    line.refresh_from_db()
    estimate(line, lead, 100, cost=Decimal(130))
    assert Job.objects.get(pk=line.job_id).state == "in_work"


# Diagnosis and the limit


def test_diagnosis_is_covered_while_the_jobs_diagnosis_stays_within_the_limit(job, lead, technician, owner):
    first = WorkLineFactory(person=lead, job=job, kind="diagnosis", estimate=Decimal(90))
    LabourFactory(person=technician, line=first)
    second = WorkLineFactory(person=lead, job=job, kind="diagnosis", estimate=Decimal(60))
    LabourFactory(person=technician, line=second)  # 150 of 150
    estimate(second, lead, "60.01")
    sentence = r"comes to 150.01 EUR; 150.00 EUR was agreed without asking"
    with pytest.raises(ValidationError, match=sentence):
        LabourFactory(person=technician, line=second)
    with pytest.raises(ValidationError, match=sentence):
        acts.finish_line(by=by(technician), line=first, seen_version=first.version, correction="x")
    # A yes to one of them takes it out of what the limit covers.
    LineAnswerFactory(person=lead, line=second, given_by=owner)
    LabourFactory(person=technician, line=first)
    assert authority.diagnosis_total(job) == Decimal(90)


def test_dropped_and_declined_diagnosis_costs_nothing(job, lead, technician, owner):
    first = WorkLineFactory(person=lead, job=job, kind="diagnosis", estimate=Decimal(100))
    second = WorkLineFactory(person=lead, job=job, kind="diagnosis", estimate=Decimal(100))
    with pytest.raises(ValidationError, match="agreed without asking"):
        LabourFactory(person=technician, line=first)
    LineAnswerFactory(person=lead, line=second, given_by=owner, answer="no")
    LabourFactory(person=technician, line=first)
    with pytest.raises(ValidationError, match="declined"):
        LabourFactory(person=technician, line=second)


def test_without_a_limit_diagnosis_is_asked_for_or_free(car, lead, technician):
    job = job_in("in_work", person=lead, vehicle=car, limit=Decimal(0))
    line = WorkLineFactory(person=lead, job=job, kind="diagnosis")
    with pytest.raises(ValidationError, match="Nothing was agreed without asking"):
        LabourFactory(person=technician, line=line)
    estimate(line, lead, 0)
    LabourFactory(person=technician, line=line)


def test_what_the_page_says_is_what_the_act_does(job, lead, technician, owner):
    """The sentence and the buttons of each line follow the same rules as the refusals."""
    lines = [
        WorkLineFactory(person=lead, job=job),
        WorkLineFactory(person=lead, job=job, estimate=Decimal(50)),
        authorised_line(job=job, person=lead, owner=owner),
        WorkLineFactory(person=lead, job=job, kind="diagnosis", estimate=Decimal(50)),
        WorkLineFactory(person=lead, job=job, kind="make_safe"),
        WorkLineFactory(person=lead, job=job, kind="diagnosis", estimate=Decimal(5000)),
    ]
    for one in shown.lines_of(job):
        line = WorkLine.objects.get(pk=one.line.pk)
        assert one.may_work is (authority.why_no_authority(line) == ""), one.authority
    assert [one.asks for one in shown.lines_of(job)] == ["estimate", "answer", "", "answer", "tell", "answer"]
    assert len(lines) == 6


# Making safe


@pytest.fixture
def made_safe(job, lead):
    return WorkLineFactory(
        person=lead, job=job, kind="make_safe", complaint="Car immobilised: brake hose burst"
    )


def test_making_safe_needs_no_yes_and_the_owner_is_told_the_same_day(made_safe, job, technician, owner):
    LabourFactory(person=technician, line=made_safe)
    acts.finish_line(
        by=by(technician),
        line=made_safe,
        seen_version=made_safe.version,
        correction="Wheels chocked, tag hung",
    )
    assert made_safe.needs_telling
    assert not made_safe.billable
    assert "make_safe_untold" in [blocker.code for blocker in gate.blockers(job)]
    answer_acts.tell_made_safe(
        by=by(technician), line=made_safe, told_to=owner, channel="phone", told="Hose burst, car is not moved"
    )
    made_safe.refresh_from_db()
    assert (made_safe.told_owner, made_safe.told_late_because) == (owner, "")
    assert "make_safe_untold" not in [blocker.code for blocker in gate.blockers(job)]


def test_told_on_a_later_day_it_says_why(made_safe, technician, owner):
    three_days_ago = timezone.now() - timedelta(days=3)
    WorkLine.objects.filter(pk=made_safe.pk).update(made_at=three_days_ago)
    told = {"line": made_safe, "told_to": owner, "channel": "phone", "told": "Hose burst"}
    with pytest.raises(ValidationError, match=r"told the same day\. Say why it was later") as refused:
        answer_acts.tell_made_safe(by=by(technician), **told)
    assert "late_because" in refused.value.error_dict
    answer_acts.tell_made_safe(by=by(technician), **told, late_because="nobody answered the telephone")
    made_safe.refresh_from_db()
    assert made_safe.told_late_because == "nobody answered the telephone"


def test_telling_somebody_who_decides_nothing_is_refused(made_safe, car, technician, lead, owner):
    driver = owner_of(car, lead, "Dorrit Vane", "driver")
    with pytest.raises(ValidationError, match="Tell: Corin Ashby") as refused:
        answer_acts.tell_made_safe(
            by=by(technician), line=made_safe, told_to=driver, channel="phone", told="x"
        )
    assert "told_to" in refused.value.error_dict


def test_the_telling_is_written_in_a_form(client, made_safe, technician, owner):
    client.force_login(technician)
    url = reverse("jobs:line-tell", args=[made_safe.pk])
    assert "Made safe: Car immobilised" in client.get(url).content.decode()
    typed = {"key": str(uuid4()), "told_to": str(owner.pk), "channel": "phone", "told": ""}
    assert client.post(url, typed).status_code == 422
    assert client.post(url, {**typed, "told": "Hose burst"}).status_code == 302


# A dangerous fault that was declined


def test_a_declined_line_with_a_grave_fault_points_to_the_outstanding_item(client, line, car, lead, owner):
    fault = fault_acts.report_fault(
        by=by(lead), vehicle=car, kind="finding", title="Brake hose cracked", severity="dangerous"
    )
    acts.write_line(by=by(lead), line=line, seen_version=line.version, faults=[fault])
    client.force_login(lead)
    link = reverse("vehicles:fault-outstanding", args=[fault.pk])
    assert link not in client.get(line.get_absolute_url()).content.decode()
    LineAnswerFactory(person=lead, line=line, given_by=owner, answer="no")
    assert link in client.get(line.get_absolute_url()).content.decode()
    assert link in client.get(line.job.get_absolute_url()).content.decode()


# The owner's own answer


@pytest.fixture
def owner_with_account(owner, car_owner):
    Keeper.objects.filter(pk=owner.pk).update(account=car_owner)
    owner.refresh_from_db()
    return owner


@pytest.mark.every_database
def test_an_owner_answers_in_their_own_account(client, line, lead, car_owner, owner_with_account):
    estimate(line, lead, 180)
    client.force_login(car_owner)
    url = reverse("jobs:own-answer", args=[line.pk])
    assert "180.00 EUR" in client.get(url).content.decode()
    typed = {"key": str(uuid4()), "seen_version": line.version, "words": "please call before"}
    answer = client.post(url, typed)
    assert answer.status_code == 422
    assert "please call before" in answer.content.decode()
    assert client.post(url, {**typed, "answer": "yes"}).status_code == 302
    row = LineAnswer.objects.get()
    assert (row.by, row.channel, row.amount, row.made_by) == (
        owner_with_account,
        "account",
        Decimal(180),
        car_owner,
    )


def test_an_owner_answers_the_estimate_that_they_saw(line, lead, car_owner, owner_with_account):
    estimate(line, lead, 180)
    seen = line.version
    estimate(line, lead, 400)
    with pytest.raises(ChangedMeanwhile):
        answer_acts.answer_own(by=by(car_owner), line=line, seen_version=seen, answer="yes")
    assert not LineAnswer.objects.exists()


def test_there_is_nothing_to_answer_before_the_estimate(client, line, car_owner, owner_with_account):
    with pytest.raises(ValidationError, match="not estimated yet"):
        answer_acts.answer_own(by=by(car_owner), line=line, seen_version=line.version, answer="yes")
    client.force_login(car_owner)
    assert client.get(reverse("jobs:own-answer", args=[line.pk])).status_code == 404


def test_an_owner_answers_for_their_own_car_only(
    client, line, lead, car_owner, other_owner, owner_with_account
):
    estimate(line, lead, 180)
    strange = owner_of(VehicleFactory(person=lead), lead, "Orla Penn")
    Keeper.objects.filter(pk=strange.pk).update(account=other_owner)
    with pytest.raises(PermissionDenied, match="your own cars only"):
        answer_acts.answer_own(by=by(other_owner), line=line, seen_version=line.version, answer="no")
    client.force_login(other_owner)
    assert client.get(reverse("jobs:own-answer", args=[line.pk])).status_code == 404
    with pytest.raises(PermissionDenied):
        answer_acts.answer_own(by=by(lead), line=line, seen_version=line.version, answer="yes")
