"""Check-in: what was agreed and seen, once; the odometer's refusals beside the fields of this form."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from jobs.acts import job as acts
from jobs.models import CheckIn
from tests.factories.job import CheckInFactory, JobFactory, job_in
from tests.once import once
from tests.people import by
from vehicles.acts import odometer as odometer_acts
from vehicles.models import Keeper, OdometerReading, VehicleKeeper
from workshop.acting import ChangedMeanwhile
from workshop.engineering.units import Amount
from workshop.models import Event


@once
def job(car, front_desk):
    return JobFactory(person=front_desk, vehicle=car)


def km(value) -> Amount:
    return Amount(Decimal(value), "km")


def typed(form, **changes):
    """The form filled as somebody at the front desk does it."""
    return {
        "key": form["key"].value(),
        "odometer_value": "148210",
        "odometer_unit": "km",
        "fuel": "2",
        "keys": "2",
        "keys_where": "hook 7",
        "belongings": "child seat",
        "damage": "dent in the left sill",
        "road_test_consent": "on",
        "plates_legal": "on",
        **changes,
    }


def test_the_car_is_checked_in(job, front_desk):
    row = CheckInFactory(person=front_desk, job=job, damage="none seen", keys=2)
    assert job.state == "checked_in"
    assert row.odometer.value == Decimal(148_210)
    assert row.odometer.job == job
    assert job.moves.get().to_state == "checked_in"


def test_only_once(job, front_desk, lead):
    CheckInFactory(person=front_desk, job=job)
    with pytest.raises(ValidationError, match="was checked in already: Fern Dellow"):
        CheckInFactory(person=lead, job=job)
    assert OdometerReading.objects.count() == 1


def test_a_cancelled_job_is_not_checked_in(job, front_desk):
    acts.cancel(by=by(front_desk), job=job, reason="sold")
    with pytest.raises(ValidationError, match="is over"):
        CheckInFactory(person=front_desk, job=job)


@pytest.mark.parametrize(
    ("fields", "field", "said"),
    [
        ({"odometer": None}, "odometer", "say below why the odometer is not readable"),
        ({"odometer_not_readable": "dark"}, "odometer_not_readable", "A reading was given above"),
        ({"odometer": Amount(Decimal(-1), "km")}, "odometer", "0 or more"),
        ({"damage": " "}, "damage", "none seen"),
        ({"fuel": "9"}, "fuel", "not a valid choice"),
    ],
)
def test_what_is_missing_is_said_beside_its_field(fields, field, said, job, front_desk):
    with pytest.raises(ValidationError) as refusal:
        CheckInFactory(person=front_desk, job=job, **fields)
    assert said in refusal.value.message_dict[field][0]
    job.refresh_from_db()
    assert job.state == "booked"
    assert not OdometerReading.objects.exists()


def test_an_odometer_that_can_not_be_read_is_on_record_as_such(job, front_desk):
    row = CheckInFactory(person=front_desk, job=job, odometer=None, odometer_not_readable="display dark")
    assert row.odometer.value is None
    assert str(row.odometer) == "not readable: display dark"


def test_a_lower_reading_is_asked_about_once_then_kept(client, job, car, front_desk, lead):
    odometer_acts.record_reading(by=by(lead), vehicle=car, amount=km(150_000))
    client.force_login(front_desk)
    url = f"/jobs/{job.pk}/check-in/"
    form = client.get(url).context["form"]
    assert form["lower_because"].is_hidden  # not asked before there is a reason to
    sent = typed(form)
    refused = client.post(url, sent)
    assert refused.status_code == 422
    again = refused.context["form"]
    assert not again["lower_because"].is_hidden
    assert "is lower than" in again.errors["lower_because"][0]
    assert "dent in the left sill" in refused.content.decode()
    assert again["odometer"].value() == ["148210", "km"]
    assert not CheckIn.objects.exists()
    done = client.post(url, {**sent, "lower_because": "instrument replaced in between, papers follow"})
    assert done.status_code == 302
    assert CheckIn.objects.get().odometer.lower_because.startswith("instrument replaced")


def test_another_unit_than_the_instruments_is_refused_beside_the_odometer(job, car, front_desk, lead):
    odometer_acts.record_reading(by=by(lead), vehicle=car, amount=km(100_000))
    with pytest.raises(ValidationError) as refusal:
        CheckInFactory(person=front_desk, job=job, odometer=Amount(Decimal(92_000), "mi"))
    assert "odometer" in refusal.value.message_dict


def test_the_form_comes_back_filled(client, job, front_desk):
    client.force_login(front_desk)
    url = f"/jobs/{job.pk}/check-in/"
    form = client.get(url).context["form"]
    refused = client.post(
        url, typed(form, odometer_value="", damage="", belongings="two sledges\nand a drum")
    )
    assert refused.status_code == 422
    page = refused.content.decode()
    assert "two sledges" in page
    assert "hook 7" in page
    assert refused.context["form"].errors.keys() == {"damage", "odometer"}  # all that is missing, at once
    neither = client.post(url, typed(form, odometer_value=""))
    assert "say below why the odometer is not readable" in neither.context["form"].errors["odometer"][0]
    no_unit = client.post(url, typed(form, odometer_unit=""))
    assert no_unit.status_code == 422
    assert "Choose a unit" in no_unit.context["form"].errors["odometer"][0]
    for value in ("148.210,5", "NaN", "1e9", "-5"):
        assert client.post(url, typed(form, odometer_value=value)).status_code == 422
    done = client.post(url, typed(form))
    assert done.status_code == 302
    assert client.post(url, typed(form)).status_code == 302  # a double tap
    row = CheckIn.objects.get()
    assert (row.keys, row.belongings, row.road_test_consent, row.old_parts_back) == (
        2,
        "child seat",
        True,
        False,
    )


def test_state_of_charge_is_asked_of_high_voltage_cars_only(client, job, car, front_desk):
    client.force_login(front_desk)
    url = f"/jobs/{job.pk}/check-in/"
    assert "charge_percent" not in client.get(url).context["form"].fields
    car.high_voltage = True
    car.save()
    form = client.get(url).context["form"]
    refused = client.post(url, typed(form, charge_percent="140"))
    assert refused.status_code == 422
    assert "between 0 and 100" in refused.context["form"].errors["charge_percent"][0]
    assert client.post(url, typed(form, charge_percent="64")).status_code == 302
    assert CheckIn.objects.get().charge_percent == 64


def test_who_brought_it_is_one_of_the_cars_people(job, car, front_desk, lead):
    stranger = Keeper.objects.create(**by(lead).stamp(), name="Nobody Around")
    with pytest.raises(ValidationError, match="not on record as one of this car's people"):
        CheckInFactory(person=front_desk, job=job, brought_by=stranger)
    VehicleKeeper.objects.create(**by(lead).stamp(), vehicle=car, keeper=stranger, part="driver")
    assert CheckInFactory(person=front_desk, job=job, brought_by=stranger).brought_by == stranger


def test_personal_words_stand_beside_the_chain(job, front_desk):
    CheckInFactory(person=front_desk, job=job, belongings="a diary", keys_where="hook 7")
    event = Event.objects.get(act="jobs.job.check_in", subject_kind="jobs.checkin")
    assert "a diary" not in event.body
    assert "a diary" in event.detail.words


def test_each_of_two_open_jobs_has_its_own_check_in(car, front_desk):
    first = job_in("checked_in", person=front_desk, vehicle=car)
    second = job_in("checked_in", person=front_desk, vehicle=car)
    assert first.check_in.odometer != second.check_in.odometer


def test_consent_may_be_given_later_with_a_reason(client, job, front_desk, technician):
    row = CheckInFactory(person=front_desk, job=job, road_test_consent=False)
    with pytest.raises(ValidationError, match="who agreed"):
        acts.change_check_in(
            by=by(front_desk), check_in=row, seen_version=1, reason="", road_test_consent=True
        )
    client.force_login(front_desk)
    url = f"/jobs/{job.pk}/check-in/change/"
    form = client.get(url).context["form"]
    sent = {"key": form["key"].value(), "seen_version": 1, "road_test_consent": "on", "plates_legal": "on",
            "keys": "1", "keys_where": "", "belongings": "", "reason": "owner by telephone, 14:20"}  # fmt: skip
    assert client.post(url, sent).status_code == 302
    row.refresh_from_db()
    assert row.road_test_consent
    assert '"road_test_consent":[false,true]' in Event.objects.get(act="jobs.job.change_check_in").body
    with pytest.raises(ChangedMeanwhile):
        acts.change_check_in(by=by(technician), check_in=row, seen_version=1, reason="x", keys=3)


def test_what_was_seen_is_never_altered(job, front_desk):
    row = CheckInFactory(person=front_desk, job=job)
    with pytest.raises(TypeError, match="damage"):
        acts.change_check_in(by=by(front_desk), check_in=row, seen_version=1, reason="x", damage="none")
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        CheckIn.objects.filter(pk=row.pk).update(damage="no dent after all")


def test_a_car_owner_checks_nothing_in(job, car_owner):
    with pytest.raises(PermissionDenied, match="You may not check a car in"):
        CheckInFactory(person=car_owner, job=job)


def test_the_database_wants_the_damage_said(job, front_desk):
    reading = odometer_acts.record_reading(by=by(front_desk), vehicle=job.vehicle, amount=km(1))
    with pytest.raises(IntegrityError), transaction.atomic():
        CheckIn.objects.create(
            **by(front_desk).stamp(), job=job, odometer=reading, fuel="2", keys=1, damage="",
            road_test_consent=True,
        )  # fmt: skip


def test_a_car_is_not_checked_in_before_it_was_booked(job, front_desk):
    with pytest.raises(ValidationError, match="The job was booked at") as refusal:
        CheckInFactory(person=front_desk, job=job, made_at=job.made_at - timedelta(hours=1))
    assert "made_at" in refusal.value.error_dict
    assert not OdometerReading.objects.exists()
