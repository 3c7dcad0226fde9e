"""Road test and final check: what stops a car from being driven, and what the last look has to say."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.acts import job as job_acts
from jobs.acts import roadtest as acts
from jobs.acts import tag as tag_acts
from jobs.acts import thing as thing_acts
from jobs.models import FinalCheck, Job, RoadTest, Tag
from tests.factories.job import (
    CheckInFactory,
    JobFactory,
    RoadTestFactory,
    TagFactory,
    ThingOutFactory,
    job_in,
)
from tests.once import once
from tests.people import by
from workshop.engineering.units import Amount


@once
def job(car, lead):
    return job_in("final_checks", person=lead, vehicle=car, made_at=timezone.now() - timedelta(hours=5))


def test_what_was_driven_and_found(job, technician):
    row = RoadTestFactory(person=technician, job=job, distance=Amount(Decimal(10), "mi"))
    assert row.driver == technician
    # 1 mile = 1.609344 km exactly (NIST SP 811, Appendix B.8): 10 miles are 16.1 km to a tenth.
    assert (row.distance_km, row.distance_unit) == (Decimal("16.1"), "mi")
    assert row.distance_words == "10 mi"
    short = RoadTestFactory(person=technician, job=job, distance=Amount(Decimal("11.5"), "km"))
    assert short.distance_words == "11.5 km", "not rounded to 12"


def test_no_road_test_because(job, technician):
    row = RoadTestFactory(person=technician, job=job, driver=None, driven="", found="", licence_and_insurance=False,
                          not_done_because="no plates; tested on the brake tester")  # fmt: skip
    assert row.driver is None
    assert str(row) == "no road test: no plates; tested on the brake tester"


@pytest.mark.parametrize(
    ("fields", "field", "said"),
    [
        ({"driver": None}, "driver", "Choose who drove"),
        ({"licence_and_insurance": False}, "licence_and_insurance", "licensed and insured"),
        ({"driven": " "}, "driven", "Say what was driven"),
        ({"found": ""}, "found", "Say what was found"),
        ({"not_done_because": "rain"}, "not_done_because", "Either it was driven, or not"),
    ],
)
def test_what_is_missing_is_said_beside_its_field(fields, field, said, job, technician):
    with pytest.raises(ValidationError) as refusal:
        RoadTestFactory(person=technician, job=job, **fields)
    assert list(refusal.value.message_dict) == [field]
    assert said in refusal.value.message_dict[field][0]
    assert not RoadTest.objects.exists()


@pytest.mark.parametrize("kind", ["no_start", "no_move", "no_road"])
def test_every_tag_stops_it_until_it_is_lifted(kind, job, technician):
    tag = TagFactory(person=technician, vehicle=job.vehicle, kind=kind, because="on stands")
    with pytest.raises(ValidationError) as refusal:
        RoadTestFactory(person=technician, job=job)
    [sentence] = refusal.value.message_dict["driven"]
    assert tag.get_kind_display() in sentence
    assert "on stands" in sentence
    assert "Have the tag lifted first" in sentence
    tag_acts.lift_tag(by=by(technician), tag=tag, lifted_because="on its wheels")
    assert RoadTestFactory(person=technician, job=job).pk


def test_a_tag_hung_on_the_car_by_another_job_stops_it_too(job, car, lead, technician):
    TagFactory(person=lead, vehicle=car, job=job_in("in_work", person=lead, vehicle=car))
    with pytest.raises(ValidationError, match="Do not start"):
        RoadTestFactory(person=technician, job=job)


def test_tags_are_judged_at_the_time_of_driving(job, technician):
    """A test driven before the tag was hung, written down afterwards; and one driven while it hung."""
    hour = timedelta(hours=1)
    now = timezone.now()
    tag = TagFactory(person=technician, vehicle=job.vehicle)
    Tag.objects.filter(pk=tag.pk).update(made_at=now - 2 * hour)
    assert RoadTestFactory(person=technician, job=job, made_at=now - 3 * hour).pk
    tag_acts.lift_tag(by=by(technician), tag=tag, lifted_because="filled")
    with pytest.raises(ValidationError, match="Do not start"):
        RoadTestFactory(person=technician, job=job, made_at=now - hour)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"road_test_consent": False}, "no consent to road-test"),
        ({"plates_legal": False}, "Nobody has seen that plates and insurance"),
    ],
)
def test_consent_and_plates_of_the_check_in_stop_it_until_agreed_anew(fields, said, car, lead):
    job = JobFactory(person=lead, vehicle=car)
    row = CheckInFactory(person=lead, job=job, **fields)
    with pytest.raises(ValidationError) as refusal:
        RoadTestFactory(person=lead, job=job)
    assert said in refusal.value.message_dict["driven"][0]
    job_acts.change_check_in(
        by=by(lead), check_in=row, seen_version=1, reason="owner by telephone", **dict.fromkeys(fields, True)
    )
    assert RoadTestFactory(person=lead, job=job).pk


def test_all_that_stands_in_the_way_is_said_at_once(car, lead):
    job = JobFactory(person=lead, vehicle=car)
    CheckInFactory(person=lead, job=job, road_test_consent=False, plates_legal=False)
    TagFactory(person=lead, vehicle=car)
    with pytest.raises(ValidationError) as refusal:
        RoadTestFactory(person=lead, job=job)
    assert len(refusal.value.message_dict["driven"]) == 3


def test_a_car_that_is_not_here_is_not_driven(car, lead):
    job = job_in("booked", person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="not in the building"):
        RoadTestFactory(person=lead, job=job)


def test_nothing_was_driven_before_the_car_came_in(job, technician):
    with pytest.raises(ValidationError) as refusal:
        RoadTestFactory(person=technician, job=job, made_at=timezone.now() - timedelta(hours=6))
    assert "The car came in at" in refusal.value.message_dict["made_at"][0]


def test_the_front_desk_records_neither(job, front_desk):
    with pytest.raises(PermissionDenied):
        RoadTestFactory(person=front_desk, job=job)
    with pytest.raises(PermissionDenied):
        acts.final_check(
            by=by(front_desk), job=job, new_damage="none", tools_complete=True, parts_complete=True
        )


def test_the_database_keeps_a_road_test_whole_and_unaltered(job, technician):
    row = RoadTestFactory(person=technician, job=job)
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        RoadTest.objects.filter(pk=row.pk).update(found="nothing")
    with pytest.raises(IntegrityError), transaction.atomic():
        RoadTest.objects.create(**by(technician).stamp(), job=job, driver=technician, driven="x", found="y")


def test_road_test_by_the_form(client, job, technician):
    client.force_login(technician)
    TagFactory(person=technician, vehicle=job.vehicle, because="no oil")
    url = f"/jobs/{job.pk}/road-test/"
    page = client.get(url)
    assert "must not be driven on the road now" in page.content.decode()
    form = page.context["form"]
    assert str(form["driver"].value()) == str(technician.pk)
    sent = {"key": form["key"].value(), "driver": str(technician.pk), "driven": "ring road", "found": "pulls left",
            "licence_and_insurance": "on", "distance_value": "12,5", "distance_unit": "km"}  # fmt: skip
    refused = client.post(url, sent)
    assert refused.status_code == 422
    assert "no oil" in refused.context["form"].errors["driven"][0]
    assert "pulls left" in refused.content.decode()
    # The driver is filled in beforehand; "no road test" need not take that out first.
    key = client.get(url).context["form"]["key"].value()
    not_done = {
        "key": key,
        "driver": str(technician.pk),
        "not_done_because": "no oil in it",
        "distance_unit": "km",
    }
    assert client.post(url, not_done).status_code == 302
    assert client.post(url, not_done).status_code == 302
    assert RoadTest.objects.get().not_done_because == "no oil in it"


# Final check


def check(person, job, **changes):
    fields = {"new_damage": "none", "tools_complete": True, "parts_complete": True, **changes}
    return acts.final_check(by=by(person), job=job, **fields)


def test_the_last_look(job, lead):
    row = check(lead, job, note="mats cleaned")
    assert row.tools_complete
    assert FinalCheck.objects.get() == row


def test_new_damage_is_always_said(job, lead):
    with pytest.raises(ValidationError, match="write that there is none"):
        check(lead, job, new_damage=" ")


@pytest.mark.parametrize("field", ["tools_complete", "parts_complete"])
def test_what_is_missing_is_said(field, job, lead):
    with pytest.raises(ValidationError) as refusal:
        check(lead, job, **{field: False})
    assert "Say what is missing" in refusal.value.message_dict["note"][0]
    assert check(lead, job, **{field: False}, note="10 mm socket, perhaps in the sill").pk
    with pytest.raises(IntegrityError), transaction.atomic():
        FinalCheck.objects.create(
            **by(lead).stamp(),
            job=job,
            new_damage="none",
            **{"tools_complete": True, "parts_complete": True, field: False},
        )


@pytest.mark.parametrize(
    ("kind", "field"),
    [("special_tool", "tools_complete"), ("lock_key", "tools_complete"), ("car_part", "parts_complete")],
)
def test_what_is_on_record_as_out_is_not_complete(kind, field, job, lead):
    thing = ThingOutFactory(person=lead, job=job, kind=kind, what="Locking pin", where="in the flywheel")
    with pytest.raises(ValidationError) as refusal:
        check(lead, job)
    assert "Locking pin (in the flywheel)" in refusal.value.message_dict[field][0]
    thing_acts.bring_back(by=by(lead), thing=thing)
    assert check(lead, job).pk


def test_the_form_shows_the_damage_of_check_in_beside(client, job, lead):
    client.force_login(lead)
    ThingOutFactory(person=lead, job=job, what="Sill trim", where="boot")
    url = f"/jobs/{job.pk}/final-check/"
    page = client.get(url)
    assert "none seen" in page.content.decode()
    assert "Sill trim" in page.content.decode()
    sent = {
        "key": page.context["form"]["key"].value(),
        "new_damage": "scratch on the left door",
        "tools_complete": "on",
    }
    refused = client.post(url, sent)
    assert refused.status_code == 422
    assert "scratch on the left door" in refused.content.decode()
    assert "note" in refused.context["form"].errors
    sent["note"] = "trim goes back on with new clips"
    assert client.post(url, sent).status_code == 302
    assert client.post(url, sent).status_code == 302
    assert FinalCheck.objects.get().parts_complete is False
    assert Job.objects.get(pk=job.pk).state == "final_checks"


def test_the_refusal_names_the_link_where_consent_is_changed(client, car, lead):
    job = job_in("checked_in", person=lead, vehicle=car)
    type(job.check_in).objects.filter(pk=job.check_in.pk).update(road_test_consent=False, plates_legal=False)
    job.refresh_from_db()
    sentences = acts.why_not_on_the_road(job)
    client.force_login(lead)
    page = client.get(job.get_absolute_url()).content.decode()
    link = f'href="/jobs/{job.pk}/check-in/change/">{acts.CHANGE_CONSENT}</a>'
    assert link in page
    assert [acts.CHANGE_CONSENT in sentence for sentence in sentences] == [True, True]
