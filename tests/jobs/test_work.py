"""Work lines: writing them, two people at one line, how they end, what they end, their pages."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.acts import work as acts
from jobs.models import Job, WorkLine
from tests.factories.calculation import CalculationFactory
from tests.factories.job import job_in
from tests.factories.vehicle import VehicleFactory
from tests.factories.work import (
    LabourFactory,
    MeasurementFactory,
    PartFittedFactory,
    PartUsedFactory,
    WorkLineFactory,
    authorised_line,
    owner_of,
)
from tests.once import once
from tests.people import by
from vehicles.acts import fault as fault_acts
from vehicles.acts import outstanding as item_acts
from vehicles.models import Place
from workshop.acting import AlreadySent, ChangedMeanwhile
from workshop.acts import people as people_acts
from workshop.engineering.units import Amount
from workshop.models import Event


@once
def owner(car, front_desk):
    return owner_of(car, front_desk)


@once
def job(car, lead):
    return job_in("in_work", person=lead, vehicle=car)


@pytest.fixture
def line(job, lead, owner):
    return authorised_line(job=job, person=lead, owner=owner, complaint="Squeals when cold")


def report(person, car, **fields):
    return fault_acts.report_fault(
        by=by(person), vehicle=car, **{"kind": "complaint", "title": "Squeal", "severity": "major", **fields}
    )


def raise_item(person, car, **fields):
    return item_acts.raise_item(
        by=by(person),
        vehicle=car,
        **{"title": "Hose weeps", "severity": "minor", "reason": "parts", **fields},
    )


# Writing


def test_a_line_takes_on_faults_and_items_of_its_car(job, car, technician):
    fault, item = report(technician, car), raise_item(technician, car)
    line = WorkLineFactory(
        person=technician,
        job=job,
        complaint="Squeals when cold",
        faults=[fault],
        items=[item],
        technician=technician,
    )
    assert (str(line), line.kind, line.technician) == (f"{job.number}/1", "repair", technician)
    assert (list(line.faults.all()), list(line.items.all())) == ([fault], [item])
    assert str(WorkLineFactory(person=technician, job=job)) == f"{job.number}/2"
    event = Event.objects.get(subject_id=str(line.pk), act="jobs.work.add_line")
    assert "Squeals" not in event.body
    assert "Squeals" in event.detail.words


def test_what_belongs_to_another_car_is_refused(job, technician, lead):
    other = VehicleFactory(person=lead)
    with pytest.raises(ValidationError, match="belongs to another car") as refused:
        WorkLineFactory(person=technician, job=job, faults=[report(technician, other)])
    assert "faults" in refused.value.error_dict
    with pytest.raises(ValidationError, match="belongs to another car") as refused:
        WorkLineFactory(person=technician, job=job, items=[raise_item(technician, other)])
    assert "items" in refused.value.error_dict


def test_the_database_refuses_what_belongs_to_another_car(line, technician, lead):
    other = VehicleFactory(person=lead)
    fault, item = report(technician, other), raise_item(technician, other)
    for add in (lambda: line.faults.add(fault), lambda: line.items.add(item)):
        with pytest.raises(IntegrityError, match="own car"), transaction.atomic():
            add()


def test_a_fault_that_has_ended_is_not_taken_on(job, car, technician):
    fault = report(technician, car)
    fault_acts.end_normal(
        by=by(technician), fault=fault, seen_version=fault.version, normal_source="maker's note 4"
    )
    fault.refresh_from_db()
    with pytest.raises(ValidationError, match="has ended"):
        WorkLineFactory(person=technician, job=job, faults=[fault])


def test_no_line_on_a_closed_job(car, lead, technician):
    job = job_in("booked", person=lead, vehicle=car)
    from jobs.acts.job import cancel

    cancel(by=by(lead), job=job, reason="owner sold the car")
    with pytest.raises(ValidationError, match=r"is closed \(cancelled\)"):
        WorkLineFactory(person=technician, job=job)


def test_a_new_line_sends_a_ready_car_back_to_work(car, lead, technician):
    job = job_in("ready", person=lead, vehicle=car)
    WorkLineFactory(person=technician, job=job, complaint="Wiper blade torn")
    job.refresh_from_db()
    assert job.state == "in_work"
    move = job.moves.last()
    assert (move.from_state, move.to_state) == ("ready", "in_work")
    assert "Wiper blade torn" in move.reason


def test_a_technician_is_somebody_who_works_on_cars(job, technician, front_desk):
    with pytest.raises(ValidationError, match="does no work on cars") as refused:
        WorkLineFactory(person=technician, job=job, technician=front_desk)
    assert "technician" in refused.value.error_dict


def test_a_car_owner_writes_no_line(job, car_owner):
    with pytest.raises(PermissionDenied, match="You may not write a work line"):
        WorkLineFactory(person=car_owner, job=job)


def test_cause_and_correction_are_written_and_the_log_keeps_both_texts(line, technician):
    written = acts.write_line(
        by=by(technician),
        line=line,
        seen_version=line.version,
        cause="Glazed pads",
        correction="Pads replaced",
    )
    assert (written.cause, written.correction, written.complaint) == (
        "Glazed pads",
        "Pads replaced",
        "Squeals when cold",
    )
    event = Event.objects.filter(subject_id=str(line.pk), act="jobs.work.write_line").last()
    assert "Glazed pads" in event.detail.words
    assert "Glazed pads" not in event.body


def test_two_people_at_one_line_see_both_texts(client, line, technician, other_technician):
    seen = line.version
    acts.write_line(by=by(other_technician), line=line, seen_version=seen, cause="Worn disc")
    client.force_login(technician)
    url = reverse("jobs:line-write", args=[line.pk])
    typed = {"key": str(uuid4()), "seen_version": seen, "complaint": line.complaint, "cause": "Glazed pads"}
    answer = client.post(url, {**typed, "correction": "Pads replaced"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Glazed pads" in page
    assert "Worn disc" in page
    assert "Pads replaced" in page  # what does not clash is kept too
    line.refresh_from_db()
    assert line.cause == "Worn disc"
    # Sent again, with both texts in view, it is a decision.
    answer = client.post(
        url,
        {
            **typed,
            "seen_version": line.version,
            "correction": "Pads replaced",
            "cause": "Glazed pads, worn disc",
        },
    )
    assert answer.status_code == 302
    line.refresh_from_db()
    assert line.cause == "Glazed pads, worn disc"


def test_taking_on_another_fault_is_a_new_version(line, car, technician, other_technician):
    seen, fault = line.version, report(technician, car)
    acts.write_line(by=by(technician), line=line, seen_version=seen, faults=[fault])
    with pytest.raises(ChangedMeanwhile) as refused:
        acts.write_line(by=by(other_technician), line=line, seen_version=seen, faults=[])
    assert str(refused.value.current["faults"]) == str(fault)
    assert list(line.faults.all()) == [fault]


def test_who_left_stays_on_the_line_when_its_text_is_written(client, line, lead, other_technician):
    acts.write_line(by=by(lead), line=line, seen_version=line.version, technician=other_technician)
    type(other_technician).objects.filter(pk=other_technician.pk).update(is_active=False)
    client.force_login(lead)
    url = reverse("jobs:line-write", args=[line.pk])
    assert f'value="{other_technician.pk}" selected' in client.get(url).content.decode()
    typed = {"key": str(uuid4()), "seen_version": line.version, "complaint": line.complaint, "cause": "Worn"}
    assert client.post(url, {**typed, "technician": str(other_technician.pk)}).status_code == 302
    line.refresh_from_db()
    assert (line.technician, line.cause) == (other_technician, "Worn")


def test_the_same_key_twice_is_one_line(job, technician):
    key = uuid4()
    first = acts.add_line(by=by(technician, key=key), job=job, complaint="Squeal")
    again = acts.add_line(by=by(technician, key=key), job=job, complaint="Squeal")
    assert first == again
    assert WorkLine.objects.filter(job=job).count() == 1
    with pytest.raises(AlreadySent):
        acts.add_line(by=by(technician, key=key), job=job, complaint="Rattle")


# Competence


@pytest.fixture
def certificate(shop_owner, technician):
    return people_acts.add_competence(
        by=by(shop_owner),
        person=technician,
        kind="high_voltage",
        certificate="HV 2, no. 118",
        valid_from=timezone.localdate() - timedelta(days=400),
        expires_on=timezone.localdate() - timedelta(days=1),
    )


def test_an_expired_certificate_is_refused_naming_who_holds_one(
    job, lead, technician, other_technician, shop_owner, certificate
):
    with pytest.raises(ValidationError, match=r"expired on .*Nobody in the shop holds it"):
        WorkLineFactory(person=lead, job=job, competence="high_voltage", qualified=certificate)
    people_acts.add_competence(
        by=by(shop_owner),
        person=other_technician,
        kind="high_voltage",
        certificate="HV 2, no. 131",
        valid_from=timezone.localdate(),
        expires_on=None,
    )
    with pytest.raises(ValidationError, match="it is held by Odo Fennick") as refused:
        WorkLineFactory(person=lead, job=job, competence="high_voltage", qualified=certificate)
    assert "qualified" in refused.value.error_dict


def test_a_certificate_is_judged_on_the_day_of_the_act(car, lead, certificate):
    days_ago = timezone.now() - timedelta(days=30)
    job = job_in("booked", person=lead, vehicle=car)
    line = WorkLineFactory(
        person=lead, made_at=days_ago, job=job, competence="high_voltage", qualified=certificate
    )
    assert line.qualified == certificate


def test_a_certificate_of_another_kind_is_refused(job, lead, certificate):
    with pytest.raises(ValidationError, match="holds high voltage by this certificate, not refrigerant"):
        WorkLineFactory(person=lead, job=job, competence="refrigerant", qualified=certificate)


def test_work_that_needs_a_competence_waits_for_a_name(job, lead, owner):
    line = authorised_line(job=job, person=lead, owner=owner, competence="airbags")
    with pytest.raises(ValidationError, match="name who holds it"):
        LabourFactory(person=lead, line=line)


# How a line ends


def test_a_line_is_done_with_its_correction(line, technician):
    with pytest.raises(ValidationError, match="Write down what was done") as refused:
        acts.finish_line(by=by(technician), line=line, seen_version=line.version)
    assert "correction" in refused.value.error_dict
    done = acts.finish_line(
        by=by(technician), line=line, seen_version=line.version, correction="Pads replaced"
    )
    assert (done.correction, done.technician) == ("Pads replaced", technician)
    assert done.done_at is not None
    with pytest.raises(ValidationError, match="done already"):
        acts.finish_line(by=by(technician), line=line, seen_version=line.version)
    with pytest.raises(ValidationError, match="Reopen it with a reason"):
        acts.write_line(by=by(technician), line=line, seen_version=line.version, cause="other")


def test_the_front_desk_finishes_no_line(line, front_desk):
    with pytest.raises(PermissionDenied, match="You may not say that a work line is done"):
        acts.finish_line(by=by(front_desk), line=line, seen_version=line.version, correction="x")


def test_two_people_finish_one_line(line, technician, other_technician):
    seen = line.version
    acts.finish_line(by=by(technician), line=line, seen_version=seen, correction="Pads replaced")
    with pytest.raises(ChangedMeanwhile):
        acts.finish_line(by=by(other_technician), line=line, seen_version=seen, correction="Pads cleaned")
    line.refresh_from_db()
    assert line.correction == "Pads replaced"


def test_a_done_line_is_reopened_with_a_reason_and_the_car_goes_back_to_work(line, technician):
    acts.finish_line(by=by(technician), line=line, seen_version=line.version, correction="Pads replaced")
    Job.objects.filter(pk=line.job_id).update(state="ready")
    with pytest.raises(ValidationError, match="Say why"):
        acts.reopen_line(by=by(technician), line=line, reason=" ")
    acts.reopen_line(by=by(technician), line=line, reason="still squeals")
    line.refresh_from_db()
    assert line.is_open
    assert Job.objects.get(pk=line.job_id).state == "in_work"


def test_a_line_is_dropped_with_a_reason(line, front_desk):
    with pytest.raises(ValidationError, match="Say why") as refused:
        acts.drop_line(by=by(front_desk), line=line, seen_version=line.version, dropped_because=" ")
    assert "dropped_because" in refused.value.error_dict
    acts.drop_line(
        by=by(front_desk), line=line, seen_version=line.version, dropped_because="part is no longer made"
    )
    with pytest.raises(ValidationError, match="was dropped"):
        LabourFactory(person=line.job.made_by, line=line)


def test_a_line_that_changed_the_car_is_not_dropped(line, technician):
    place = Place.objects.get(slug="starter-battery")
    PartFittedFactory(person=technician, line=line, place=place, description="Battery 70 Ah")
    with pytest.raises(ValidationError, match="finish the line instead"):
        acts.drop_line(by=by(technician), line=line, seen_version=line.version, dropped_because="too dear")


def test_the_database_keeps_what_a_line_is(line, technician):
    for wrong in (
        {"done_at": timezone.now()},  # without a correction
        {"complaint": ""},
        {"estimate": Decimal(-1)},
        {"authorised_amount": None},
        {
            "answer": "",
            "authorised_amount": None,
            "correction": "x",
            "done_at": timezone.now(),
        },  # without a yes
        {"told_owner_at": timezone.now()},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            WorkLine.objects.filter(pk=line.pk).update(**wrong)
    with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
        WorkLine.objects.filter(pk=line.pk)._raw_delete("default")


# What a line ends


def test_a_fault_is_fixed_by_its_line_with_the_check_made(line, car, technician):
    fault = report(technician, car)
    fault_acts.set_reproduced(by=by(technician), fault=fault, seen_version=fault.version, reproduced="yes")
    fixed = {"fault": fault, "line": line, "check_made": "Driven cold, no squeal"}
    with pytest.raises(ValidationError, match="is not on this line"):
        acts.end_fixed(by=by(technician), **fixed)
    acts.write_line(by=by(technician), line=line, seen_version=line.version, faults=[fault])
    with pytest.raises(ValidationError, match="correction first"):
        acts.end_fixed(by=by(technician), **fixed)
    acts.write_line(by=by(technician), line=line, seen_version=line.version, correction="Pads replaced")
    with pytest.raises(ValidationError, match="check") as refused:
        acts.end_fixed(by=by(technician), **{**fixed, "check_made": " "})
    assert "check_made" in refused.value.error_dict
    ended = acts.end_fixed(by=by(technician), **fixed)
    assert (ended.end, ended.fixed_by_line, ended.recheck_item) == ("fixed", line, None)
    assert ended.end_words == "Fixed"
    with pytest.raises(ValidationError, match="Reopen it first"):
        acts.end_fixed(by=by(technician), **fixed)
    with pytest.raises(ValidationError, match="was ended by this line and stays on it"):
        acts.write_line(by=by(technician), line=line, seen_version=line.version, faults=[])


@pytest.mark.parametrize("reproduced", ["sometimes", "no"])
def test_what_comes_and_goes_is_not_confirmed_before_its_recheck(line, car, technician, reproduced):
    fault = report(technician, car)
    fault_acts.set_reproduced(
        by=by(technician), fault=fault, seen_version=fault.version, reproduced=reproduced
    )
    acts.write_line(
        by=by(technician),
        line=line,
        seen_version=line.version,
        faults=[fault],
        correction="Connector cleaned",
    )
    with pytest.raises(ValidationError, match="It comes and goes: give a date") as refused:
        acts.end_fixed(by=by(technician), fault=fault, line=line, check_made="Wiggled, steady")
    assert "due_on" in refused.value.error_dict
    ended = acts.end_fixed(
        by=by(technician),
        fault=fault,
        line=line,
        check_made="Wiggled, steady",
        due_distance=Amount(Decimal(500), "km"),
    )
    assert ended.end_words == "Repaired, not yet confirmed"
    item = ended.recheck_item
    assert (item.reason, item.severity, item.raised_by_line, item.due_km) == ("recheck", "major", line, 500)
    assert item.end == ""


def test_a_repair_that_is_not_confirmed_raises_a_recheck(line, car, technician):
    fault = report(technician, car)
    acts.write_line(
        by=by(technician), line=line, seen_version=line.version, faults=[fault], correction="Done"
    )
    due = timezone.localdate() + timedelta(days=14)
    with pytest.raises(ValidationError, match="Take the tick away"):
        acts.end_fixed(by=by(technician), fault=fault, line=line, check_made="none possible", due_on=due)
    ended = acts.end_fixed(
        by=by(technician), fault=fault, line=line, check_made="none possible", confirmed=False, due_on=due
    )
    assert ended.recheck_item.due_on == due
    # One act: a second end does not leave a second item behind.
    with pytest.raises(ValidationError):
        acts.end_fixed(
            by=by(technician), fault=fault, line=line, check_made="again", confirmed=False, due_on=due
        )
    assert car.outstanding_items.count() == 1


def test_an_item_is_done_by_the_line_that_took_it_on(line, car, technician):
    item = raise_item(technician, car)
    with pytest.raises(ValidationError, match="is not on this line"):
        acts.end_item_by_line(by=by(technician), item=item, line=line)
    acts.write_line(
        by=by(technician), line=line, seen_version=line.version, items=[item], correction="Hose replaced"
    )
    ended = acts.end_item_by_line(by=by(technician), item=item, line=line, finding="dry after 20 km")
    assert (ended.end, ended.ended_by_line, ended.ended_finding) == ("line", line, "dry after 20 km")


# Pages


def fill(line, person, car):
    fault = report(person, car)
    acts.write_line(
        by=by(person), line=line, seen_version=line.version, faults=[fault], items=[raise_item(person, car)]
    )
    LabourFactory(person=person, line=line, minutes=20)
    PartUsedFactory(person=person, line=line)
    MeasurementFactory(person=person, line=line)


@pytest.mark.parametrize("count", [2, 20])
def test_the_section_asks_the_same_questions_for_2_and_20_lines(
    job, car, lead, owner, rf, count, django_assert_num_queries
):
    from django.template.loader import render_to_string

    from jobs.views.work import _lines_section

    place = Place.objects.get(slug="starter-battery")
    for number in range(count):
        line = authorised_line(job=job, person=lead, owner=owner, complaint=f"Noise {number}")
        fill(line, lead, car)
        PartFittedFactory(person=lead, line=line, place=place, description=f"Battery {number}")
        CalculationFactory(person=lead, vehicle=car, line=line, said=f"Wrench {number}")
    request = rf.get("/")
    request.user = lead
    lead.roles  # noqa: B018 - loaded once by the sign-in
    job = Job.objects.select_related("vehicle").get(pk=job.pk)
    with django_assert_num_queries(13):
        page = render_to_string(
            "jobs/_lines.html", {"job": job, "car": car, "user": lead, **_lines_section(request, job)}
        )
    assert f"Noise {count - 1}" in page
    assert "Authorised up to 200.00" in page
    assert "6.5 mm" in page
    assert "71.1 N·m" in page


@pytest.mark.parametrize("count", [2, 20])
def test_the_lines_page_asks_the_same_questions_whatever_it_holds(
    client, line, car, lead, count, django_assert_max_num_queries
):
    for number in range(count):
        LabourFactory(person=lead, line=line, minutes=1)
        PartUsedFactory(person=lead, line=line, price=None)
        MeasurementFactory(person=lead, line=line, what=f"Pad {number}")
    client.force_login(lead)
    with django_assert_max_num_queries(22):
        answer = client.get(line.get_absolute_url())
    assert answer.status_code == 200
    assert f"Pad {count - 1}" in answer.content.decode()


FORMS = [
    "line-write", "line-estimate", "line-answer", "labour-add", "part-use", "line-finish", "line-drop",
    "line-parts", "part-fit", "measure", "labour-strike", "part-strike", "measurement-strike",
]  # fmt: skip


@pytest.mark.parametrize("name", FORMS)
def test_every_form_of_a_line_opens(client, line, lead, name):
    client.force_login(lead)
    assert client.get(reverse(f"jobs:{name}", args=[line.pk])).status_code == 200


def test_a_line_is_added_from_the_job(client, job, car, technician, front_desk):
    fault = report(technician, car)
    client.force_login(front_desk)
    url = reverse("jobs:line-add", args=[job.pk])
    assert client.get(url).status_code == 200
    typed = {"key": str(uuid4()), "kind": "repair", "estimate": "120,50", "faults": [str(fault.pk)]}
    answer = client.post(url, {**typed, "complaint": ""})
    assert answer.status_code == 422
    assert "120,50" in answer.content.decode()
    answer = client.post(url, {**typed, "complaint": "Squeals"})
    line = WorkLine.objects.get()
    assert answer.url == f"{job.get_absolute_url()}#line-{line.pk}"
    assert answer.headers["X-Saved-Key"] == typed["key"]
    assert (line.estimate, list(line.faults.all())) == (Decimal("120.50"), [fault])
    # The same form again (double tap): the same line.
    assert client.post(url, {**typed, "complaint": "Squeals"}).status_code == 302
    assert WorkLine.objects.count() == 1


@pytest.mark.every_database
def test_a_fault_is_ended_from_the_lines_page(client, line, car, technician):
    fault = report(technician, car)
    acts.write_line(
        by=by(technician), line=line, seen_version=line.version, faults=[fault], correction="Done"
    )
    client.force_login(technician)
    url = reverse("jobs:fault-fix", args=[line.pk, fault.pk])
    typed = {"key": str(uuid4()), "seen_version": fault.version, "check_made": "Driven cold, no squeal"}
    answer = client.post(url, typed)  # without the tick: a re-check is due
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "give a date" in page
    assert "Driven cold, no squeal" in page
    answer = client.post(url, {**typed, "due_distance_value": "300", "due_distance_unit": "km"})
    assert answer.status_code == 302
    fault.refresh_from_db()
    assert fault.end_words == "Repaired, not yet confirmed"


def test_a_strangers_line_is_not_there(client, line, other_owner):
    client.force_login(other_owner)
    assert client.get(line.get_absolute_url()).status_code == 403
    assert client.get(reverse("jobs:own-answer", args=[line.pk])).status_code == 404
