"""Labour and parts used on a line."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.acts import labour as labour_acts
from jobs.acts import work as acts
from jobs.models import LabourEntry, PartUsed
from jobs.models.work import time_words
from tests.factories.job import CheckInFactory, JobFactory, job_in
from tests.factories.work import LabourFactory, PartUsedFactory, authorised_line, owner_of
from tests.once import once
from tests.people import by
from workshop.acting import AlreadySent


@once
def owner(car, front_desk):
    return owner_of(car, front_desk)


@once
def job(car, lead):
    job = JobFactory(person=lead, vehicle=car, made_at=timezone.now() - timedelta(days=5))
    CheckInFactory(person=lead, job=job, made_at=timezone.now() - timedelta(days=4))
    job.refresh_from_db()
    return job


@once
def line(job, lead, owner):
    return authorised_line(job=job, person=lead, owner=owner)


# Labour


def test_labour_names_person_day_and_minutes(line, technician, other_technician):
    yesterday = timezone.localdate() - timedelta(days=1)
    entry = labour_acts.add_labour(
        by=by(technician), line=line, person=other_technician, day=yesterday, minutes=95, note="hub"
    )
    assert (entry.person, entry.day, entry.minutes, entry.made_by) == (
        other_technician,
        yesterday,
        95,
        technician,
    )
    assert entry.time_words == "1 h 35 min"


def test_time_in_words():
    assert [time_words(minutes) for minutes in (0, 6, 60, 61, 1440)] == [
        "0 min",
        "6 min",
        "1 h",
        "1 h 1 min",
        "24 h",
    ]


def test_labour_lies_between_check_in_and_today(line, technician):
    today = timezone.localdate()
    with pytest.raises(ValidationError, match="lies in the future") as refused:
        LabourFactory(person=technician, line=line, day=today + timedelta(days=1))
    assert "day" in refused.value.error_dict
    with pytest.raises(ValidationError, match="The car came in on") as refused:
        LabourFactory(person=technician, line=line, day=today - timedelta(days=5))
    assert "day" in refused.value.error_dict
    LabourFactory(person=technician, line=line, day=today - timedelta(days=4))


def test_labour_of_a_car_that_is_not_here_is_refused(car, lead, owner):
    job = job_in("booked", person=lead, vehicle=car)
    line = authorised_line(job=job, person=lead, owner=owner)
    with pytest.raises(ValidationError, match="not checked in"):
        LabourFactory(person=lead, line=line)


@pytest.mark.parametrize("minutes", [0, 1441])
def test_labour_has_an_amount_of_a_day(line, technician, minutes):
    with pytest.raises(ValidationError):
        LabourFactory(person=technician, line=line, minutes=minutes)


def test_a_day_has_24_hours_over_all_lines(line, job, lead, owner, technician):
    other = authorised_line(job=job, person=lead, owner=owner)
    entry = LabourFactory(person=technician, line=line, minutes=1400)
    sentence = "would have worked 24 h 1 min .* 23 h 20 min are written down already"
    with pytest.raises(ValidationError, match=sentence) as refused:
        LabourFactory(person=technician, line=other, minutes=41)
    assert "minutes" in refused.value.error_dict
    LabourFactory(person=technician, line=other, minutes=40)
    # What was entered in error is not counted.
    labour_acts.strike_labour(by=by(technician), entry=entry, reason="hours typed as minutes")
    LabourFactory(person=technician, line=other, minutes=41)


def test_who_does_no_work_has_no_labour(line, technician, front_desk):
    with pytest.raises(ValidationError, match="does no work on cars") as refused:
        labour_acts.add_labour(
            by=by(technician), line=line, person=front_desk, day=timezone.localdate(), minutes=5
        )
    assert "person" in refused.value.error_dict
    with pytest.raises(PermissionDenied, match="You may not record labour"):
        LabourFactory(person=front_desk, line=line)


def test_labour_forgotten_on_a_done_line_is_written_down_later(line, technician):
    acts.finish_line(by=by(technician), line=line, seen_version=line.version, correction="Done")
    LabourFactory(person=technician, line=line)
    with pytest.raises(ValidationError, match="Give the earlier time at which this happened, or reopen"):
        PartUsedFactory(person=technician, line=line)


def test_the_same_key_twice_is_one_entry(line, technician):
    entry = {"line": line, "person": technician, "day": timezone.localdate(), "minutes": 30}
    key = uuid4()
    assert labour_acts.add_labour(by=by(technician, key=key), **entry) == labour_acts.add_labour(
        by=by(technician, key=key), **entry
    )
    assert LabourEntry.objects.count() == 1
    with pytest.raises(AlreadySent):
        labour_acts.add_labour(by=by(technician, key=key), **{**entry, "minutes": 31})


def test_an_entry_in_error_stays_and_counts_as_nothing(client, line, technician):
    entry = LabourFactory(person=technician, line=line, minutes=600)
    client.force_login(technician)
    url = reverse("jobs:labour-strike", args=[line.pk])
    typed = {"key": str(uuid4()), "entry": str(entry.pk), "reason": ""}
    assert client.post(url, typed).status_code == 422
    assert client.post(url, {**typed, "reason": "60 was meant"}).status_code == 302
    entry.refresh_from_db()
    assert (entry.minutes, entry.entered_in_error) == (600, "60 was meant")
    assert list(LabourEntry.objects.counting()) == []
    with pytest.raises(ValidationError, match="taken back already"):
        labour_acts.strike_labour(by=by(technician), entry=entry, reason="again")


def test_the_database_alters_no_labour(line, technician):
    entry = LabourFactory(person=technician, line=line)
    for change in (
        lambda: LabourEntry.objects.filter(pk=entry.pk).update(minutes=5),
        lambda: LabourEntry.objects.filter(pk=entry.pk)._raw_delete("default"),
    ):
        with pytest.raises(IntegrityError, match="stays"), transaction.atomic():
            change()


def test_hours_and_minutes_are_typed_with_comma_or_point(client, line, technician):
    client.force_login(technician)
    url = reverse("jobs:labour-add", args=[line.pk])
    typed = {
        "key": str(uuid4()), "person": str(technician.pk), "day": timezone.localdate().isoformat(),
        "minutes_value": "1,5", "minutes_unit": "h", "note": "hub and bearing",
    }  # fmt: skip
    for number, unit, sentence in (
        ("1,5", "", "Choose a unit"),
        ("0.01", "h", "Give whole minutes"),
        ("25", "h", "between 1 minute and 24 hours"),
        ("eleven", "min", "is not a number"),
    ):
        answer = client.post(url, {**typed, "minutes_value": number, "minutes_unit": unit})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert sentence in page
        assert "hub and bearing" in page
        assert number in page
    assert client.post(url, typed).status_code == 302
    assert LabourEntry.objects.get().minutes == 90


# Parts used


def test_a_part_used_has_quantity_unit_and_price(line, technician):
    used = PartUsedFactory(
        person=technician,
        line=line,
        description="Brake fluid",
        quantity=Decimal("0.75"),
        unit="l",
        price=Decimal("9.99"),
    )
    assert used.total == Decimal("7.49")
    assert str(used) == "0.75 l Brake fluid"


def test_the_owners_own_part_is_not_charged(line, technician):
    with pytest.raises(ValidationError, match="own part is not charged") as refused:
        PartUsedFactory(person=technician, line=line, own_part=True)
    assert "price" in refused.value.error_dict
    assert PartUsedFactory(person=technician, line=line, own_part=True, price=None).total is None


def test_the_page_says_that_an_own_part_has_no_warranty(client, line, technician):
    PartUsedFactory(person=technician, line=line, own_part=True, price=None)
    client.force_login(technician)
    assert "no parts warranty" in client.get(line.get_absolute_url()).content.decode()
    assert "gives no warranty" in client.get(reverse("jobs:part-use", args=[line.pk])).content.decode()


def test_the_database_keeps_parts_used(line, technician):
    used = PartUsedFactory(person=technician, line=line)
    for wrong in ({"quantity": Decimal(3)}, {"own_part": True}, {"price": Decimal(-1)}, {"description": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            PartUsed.objects.filter(pk=used.pk).update(**wrong)


def test_a_part_form_comes_back_filled(client, line, technician):
    client.force_login(technician)
    url = reverse("jobs:part-use", args=[line.pk])
    typed = {
        "key": str(uuid4()), "description": "Brake hose", "quantity": "0", "unit": "pc", "price": "18,505",
    }  # fmt: skip
    answer = client.post(url, typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "above 0" in page
    assert "at most two decimals" in page
    assert "Brake hose" in page
    assert "18,505" in page
    assert client.post(url, {**typed, "quantity": "2", "price": "18,50"}).status_code == 302
    assert PartUsed.objects.get().total == Decimal(37)


def test_a_part_in_error_is_taken_back(line, technician):
    used = PartUsedFactory(person=technician, line=line)
    labour_acts.strike_part_used(by=by(technician), used=used, reason="went into the other car")
    assert list(line.parts_used.counting()) == []
    assert line.parts_used.count() == 1


def test_a_cost_that_somebody_wrote_stays_when_a_part_is_taken_back(line, technician):
    used = PartUsedFactory(person=technician, line=line, price=Decimal(20))
    line.refresh_from_db()
    assert line.cost is None, "what the parts cost is within the line's amount"
    type(line).objects.filter(pk=line.pk).update(cost=Decimal(90))
    labour_acts.strike_part_used(by=by(technician), used=used, reason="not needed")
    line.refresh_from_db()
    assert line.cost == Decimal(90)
