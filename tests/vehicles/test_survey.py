"""The walkaround survey: place by place, by one person after another, to a report."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import Job
from tests.factories.fault import FaultFactory
from tests.factories.job import JobFactory
from tests.factories.part import PartFactory, SurveyFactory
from tests.factories.vehicle import VehicleFactory
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles.acts import fault as fault_acts
from vehicles.acts import part as part_acts
from vehicles.acts import survey as acts
from vehicles.models import FittedPart, Place, Survey, SurveyEntry
from vehicles.walk import walk


@pytest.fixture
def survey(technician, car):
    return SurveyFactory(person=technician, vehicle=car)


def place(slug):
    return Place.objects.get(pk=slug)


def test_a_car_has_one_open_survey(survey, lead, car):
    with pytest.raises(ValidationError, match=r"begun by Tamsin Orrell on .* Go on with that one"):
        SurveyFactory(person=lead, vehicle=car)


def test_another_person_goes_on_and_finishes(survey, lead, technician, car):
    acts.record_entry(by=by(technician), survey=survey, place=place("bonnet"), finding="as_factory")
    acts.record_entry(by=by(lead), survey=survey, place=place("exhaust"), finding="not_seen", note="hot")
    finished = acts.finish_survey(
        by=by(lead), survey=survey, summary="Tow bar first: nobody knows its bolts."
    )
    assert finished.finished_by == lead
    assert [entry.made_by for entry in survey.entries.all()] == [technician, lead]
    assert SurveyFactory(person=technician, vehicle=car).pk != survey.pk


def test_a_finished_survey_says_no_more(survey, lead):
    acts.record_entry(by=by(lead), survey=survey, place=place("bonnet"), finding="as_factory")
    acts.finish_survey(by=by(lead), survey=survey, summary="Nothing.")
    with pytest.raises(ValidationError, match="Lida Marchbank finished this survey"):
        acts.record_entry(by=by(lead), survey=survey, place=place("exhaust"), finding="as_factory")
    with pytest.raises(ValidationError, match="finished this survey"):
        acts.finish_survey(by=by(lead), survey=survey, summary="Once more.")


def test_finishing_needs_a_summary_and_something_said(survey, lead):
    with pytest.raises(ValidationError, match="what should be looked into first"):
        acts.finish_survey(by=by(lead), survey=survey, summary=" ")
    with pytest.raises(ValidationError, match="Nothing was said of any place yet"):
        acts.finish_survey(by=by(lead), survey=survey, summary="All well.")


def test_one_answer_for_four_corners(survey, lead):
    acts.record_entry(by=by(lead), survey=survey, place=place("brake-discs"), finding="as_factory")
    assert set(survey.entries.values_list("position", flat=True)) == {
        "front_left",
        "front_right",
        "rear_left",
        "rear_right",
    }


def test_the_rest_of_the_corners_after_one_was_said(survey, lead):
    discs = place("brake-discs")
    acts.record_entry(
        by=by(lead), survey=survey, place=discs, position="rear_left", finding="open", note="drum?"
    )
    acts.record_entry(by=by(lead), survey=survey, place=discs, finding="as_factory")
    found = dict(survey.entries.values_list("position", "finding"))
    assert found["rear_left"] == "open"
    assert sorted(found.values()) == ["as_factory", "as_factory", "as_factory", "open"]


def test_the_later_entry_counts_and_the_earlier_stays(survey, lead):
    acts.record_entry(by=by(lead), survey=survey, place=place("bonnet"), finding="not_seen")
    acts.record_entry(by=by(lead), survey=survey, place=place("bonnet"), finding="as_factory")
    stop = next(stop for zone in walk(survey).zones for stop in zone.stops if stop.place.pk == "bonnet")
    assert stop.spots[0].entry.finding == "as_factory"
    assert [entry.finding for entry in stop.spots[0].earlier] == ["not_seen"]


def test_not_factory_names_its_part(survey, lead, car):
    with pytest.raises(ValidationError) as caught:
        acts.record_entry(by=by(lead), survey=survey, place=place("tow-bar"), finding="not_factory")
    assert "Record the part first" in caught.value.message_dict["part"][0]
    part = PartFactory(person=lead, vehicle=car)
    entry = acts.record_entry(by=by(lead), survey=survey, place=place("tow-bar"), finding="not_factory")
    assert entry.part == part


def test_as_on_record_for_all_that_have_their_part(survey, lead, car):
    parts = {
        position: PartFactory(person=lead, vehicle=car, place="helper-springs", position=position)
        for position in ("left", "right")
    }

    def stop():
        return next(s for zone in walk(survey).zones for s in zone.stops if s.place.pk == "helper-springs")

    assert stop().as_on_record == "not_factory"
    acts.record_entry(by=by(lead), survey=survey, place=place("helper-springs"), finding="not_factory")
    assert {entry.position: entry.part for entry in survey.entries.all()} == parts
    assert (stop().as_on_record, stop().said) == ("", True)


def test_as_on_record_is_not_offered_where_one_is_missing(survey, lead, car):
    PartFactory(person=lead, vehicle=car, place="helper-springs", position="left")
    stop = next(s for zone in walk(survey).zones for s in zone.stops if s.place.pk == "helper-springs")
    assert stop.as_on_record == ""
    with pytest.raises(ValidationError, match="Record the part first"):
        acts.record_entry(by=by(lead), survey=survey, place=place("helper-springs"), finding="not_factory")
    assert not survey.entries.exists()


@pytest.mark.parametrize(
    ("provenance", "finding", "sentence"),
    [
        ("aftermarket", "as_factory", "is on record in this place as “aftermarket”"),
        ("factory_standard", "not_factory", "is on record as “factory standard”"),
        ("aftermarket", "not_present", "If it was taken off here, record that on a work line"),
    ],
)
def test_what_contradicts_the_record_is_refused(survey, lead, car, provenance, finding, sentence):
    PartFactory(person=lead, vehicle=car, provenance=provenance)
    with pytest.raises(ValidationError) as caught:
        acts.record_entry(by=by(lead), survey=survey, place=place("tow-bar"), finding=finding)
    assert sentence in caught.value.message_dict["finding"][0]


def test_an_open_question_says_what_it_is(survey, lead):
    with pytest.raises(ValidationError) as caught:
        acts.record_entry(by=by(lead), survey=survey, place=place("roof"), finding="open")
    assert caught.value.message_dict == {"__all__": ["Say what the question is."]}


def test_a_part_of_another_place_is_refused(survey, lead, car):
    part = PartFactory(person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="is not the part in this place"):
        acts.record_entry(by=by(lead), survey=survey, place=place("roof"), finding="not_factory", part=part)


@pytest.mark.parametrize(
    ("provenance", "finding"),
    [("aftermarket", "not_factory"), ("unknown", "open"), ("factory_option", "as_factory")],
)
def test_part_and_entry_in_one_act(survey, lead, provenance, finding):
    part = acts.record_part_seen(
        by=by(lead),
        survey=survey,
        place=place("tow-bar"),
        description="Tow bar",
        provenance=provenance,
        evidence=[],
    )
    entry = survey.entries.get()
    assert (entry.finding, entry.part) == (finding, part)
    assert entry.key == part.key


def test_an_entry_whose_part_was_an_error_counts_no_more(survey, lead, car):
    part = acts.record_part_seen(
        by=by(lead),
        survey=survey,
        place=place("tow-bar"),
        description="Bar",
        provenance="aftermarket",
        evidence=[],
    )
    assert walk(survey).said == 1
    part_acts.correct_in_error(by=by(lead), part=part, reason="wrong car")
    assert walk(survey).said == 0


def test_the_same_key_twice_is_one_entry(survey, lead):
    key = uuid4()
    for _ in range(2):
        acts.record_entry(by=by(lead, key=key), survey=survey, place=place("bonnet"), finding="as_factory")
    assert survey.entries.count() == 1


def test_the_front_desk_does_not_survey(front_desk, car):
    with pytest.raises(PermissionDenied):
        SurveyFactory(person=front_desk, vehicle=car)


def test_the_database_keeps_the_rules(survey, lead):
    copy = Survey.objects.get(pk=survey.pk)
    copy.pk = uuid4()
    with pytest.raises(IntegrityError), transaction.atomic():
        copy.save(force_insert=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        Survey.objects.filter(pk=survey.pk).update(finished_at=survey.made_at)
    entry = acts.record_entry(by=by(lead), survey=survey, place=place("bonnet"), finding="as_factory")
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        SurveyEntry.objects.filter(pk=entry.pk).update(finding="open")
    entry.pk, entry.finding = uuid4(), "not_factory"
    with pytest.raises(IntegrityError), transaction.atomic():
        entry.save(force_insert=True)


# --- screens --------------------------------------------------------------------------------------------------


def test_starting_goes_on_with_the_open_survey(client, lead, survey, car):
    client.force_login(lead)
    assert client.get(reverse("vehicles:survey-start", args=[car.pk])).url == survey.get_absolute_url()


def test_started_on_the_screen(client, lead, car):
    client.force_login(lead)
    url = reverse("vehicles:survey-start", args=[car.pk])
    answer = client.post(url, form_of(client, url))
    assert answer.url == Survey.objects.get().get_absolute_url()


def stop_of(page, slug):
    return next(stop for zone in page.context["walk"].zones for stop in zone.stops if stop.place.pk == slug)


def test_the_quick_button_says_as_factory_and_goes_on_to_the_next_place(client, lead, survey):
    client.force_login(lead)
    page = client.get(survey.get_absolute_url(), {"zone": "wheels"})
    assert "<strong>0</strong> of 77" in page.text
    url = reverse("vehicles:survey-entry", args=[survey.pk, "tyres"])
    sent = {"key": stop_of(page, "tyres").key, "finding": "as_factory"}
    for _ in range(2):
        answer = client.post(url, sent)
        assert answer.url == f"{survey.get_absolute_url()}?zone=wheels#wheels"
    assert survey.entries.count() == 4
    assert "Tyre: as the factory made it, all 4." in client.get(answer.url).text


def test_a_script_gets_the_part_of_the_page_and_the_next_place(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "spare-wheel"])
    answer = client.post(
        url, {"key": (key := uuid4()), "finding": "not_present"}, headers={"HX-Request": "true"}
    )
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert answer.context["here"] == "tyres", "the zone's first that nobody has spoken of"
    assert answer.headers["HX-Replace-Url"].endswith("?zone=wheels")
    assert answer.headers["X-Saved-Key"] == str(key)
    for slug in ("tyres", "wheels", "wheel-fasteners"):
        url = reverse("vehicles:survey-entry", args=[survey.pk, slug])
        answer = client.post(url, {"key": uuid4(), "finding": "as_factory"}, headers={"HX-Request": "true"})
    assert (answer.context["zone"].zone, answer.context["here"]) == ("body", "body-shell"), (
        "on to the next zone"
    )
    assert "Wheel bolts or nuts, spacers: as the factory made it, all 4." in answer.text
    # The browser asking for its history gets a whole page.
    whole = client.get(
        survey.get_absolute_url(), headers={"HX-Request": "true", "HX-History-Restore-Request": "true"}
    )
    assert "<html" in whole.text


def test_a_refusal_to_a_script_opens_the_place_with_the_sentence(client, lead, car, survey):
    PartFactory(person=lead, vehicle=car)
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "tow-bar"])
    answer = client.post(url, {"key": uuid4(), "finding": "as_factory"}, headers={"HX-Request": "true"})
    assert answer.status_code == 422
    assert "<html" not in answer.text
    assert "is on record in this place as “aftermarket”" in answer.text
    assert answer.context["opened"] == "tow-bar"


def test_whoever_puts_an_answer_right_stays_with_it(client, lead, survey):
    acts.record_zone_as_factory(by=by(lead), survey=survey, zone="rear")
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "tow-bar"])
    answer = client.post(url, {"key": uuid4(), "finding": "not_present"})
    assert answer.url == f"{survey.get_absolute_url()}?zone=rear#tow-bar"
    assert "before: as the factory made it" in client.get(answer.url).text


# --- a whole zone with one tap ---------------------------------------------------------------------------------


def test_all_of_a_zone_as_the_factory_made_it(survey, lead, car):
    PartFactory(person=lead, vehicle=car, place="parking-brake", description="Hydraulic lever")
    acts.record_entry(by=by(lead), survey=survey, place=place("brake-hoses"), position="rear_left",
                      finding="open", note="Braided?")  # fmt: skip
    acts.record_zone_as_factory(by=by(lead), survey=survey, zone="brakes")
    said = set(survey.entries.filter(finding="as_factory").values_list("place_id", flat=True))
    assert said == {"brake-discs", "brake-pads", "brake-calipers", "brake-master", "brake-control"}
    assert survey.entries.filter(place="brake-discs").count() == 4
    assert survey.entries.filter(place="brake-hoses").count() == 1, "spoken of: left alone"
    with pytest.raises(ValidationError, match="waits for its own answer"):
        acts.record_zone_as_factory(by=by(lead), survey=survey, zone="brakes")
    # A later answer counts instead, and the earlier one stays shown.
    acts.record_entry(
        by=by(lead), survey=survey, place=place("brake-master"), finding="not_seen", note="cover"
    )
    stop = next(s for zone in walk(survey).zones for s in zone.stops if s.place.pk == "brake-master")
    assert (stop.same.finding, [one.finding for one in stop.spots[0].earlier]) == ("not_seen", ["as_factory"])


def test_a_factory_part_on_record_goes_with_the_answer_for_its_zone(survey, lead, car):
    part = PartFactory(person=lead, vehicle=car, place="roof", provenance="factory_option")
    acts.record_zone_as_factory(by=by(lead), survey=survey, zone="body")
    assert survey.entries.get(place="roof").part == part


def test_the_zones_answer_says_what_it_left(client, lead, car, survey):
    PartFactory(person=lead, vehicle=car, place="parking-brake", description="Hydraulic lever")
    client.force_login(lead)
    url = reverse("vehicles:survey-zone", args=[survey.pk, "brakes"])
    assert client.get(url).url == f"{survey.get_absolute_url()}?zone=brakes"
    page = client.get(survey.get_absolute_url(), {"zone": "brakes"})
    assert "The other 6 as the factory made it" in page.text
    sent = {"key": page.context["zone_key"]}
    for _ in range(2):  # sent twice it is one answer
        answer = client.post(url, sent, headers={"HX-Request": "true"})
        assert "Left for an answer of their own: Parking brake." in answer.text
    assert (answer.context["zone"].zone, answer.context["here"]) == ("brakes", "parking-brake")
    assert survey.entries.count() == 4 * 4 + 2
    again = client.post(url, {"key": uuid4()}, headers={"HX-Request": "true"})
    assert again.status_code == 422
    assert "Nothing is left to be said of all “Brakes” at once" in again.text
    assert client.get(reverse("vehicles:survey-zone", args=[survey.pk, "attic"])).status_code == 404


def test_two_people_in_different_zones_both_win_and_in_one_place_the_later_counts(
    survey, lead, technician, client
):
    acts.record_zone_as_factory(by=by(technician), survey=survey, zone="rear")
    acts.record_zone_as_factory(by=by(lead), survey=survey, zone="front")
    acts.record_entry(by=by(technician), survey=survey, place=place("exhaust"), finding="as_factory")
    acts.record_entry(by=by(lead), survey=survey, place=place("exhaust"), finding="not_seen", note="hot")
    client.force_login(lead)
    page = client.get(survey.get_absolute_url(), {"zone": "induction"})
    assert page.context["walk"].said == 4 + 4 + 1
    stop = stop_of(page, "exhaust")
    assert (stop.same.made_by, stop.same.note) == (lead, "hot")
    assert "before: as the factory made it" in page.text
    assert technician.name in page.text


# --- what isn't the factory's, in place ------------------------------------------------------------------------


def test_not_factory_leads_to_the_part_and_back(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "rear-springs"])
    sent = form_of(client, url) | {"finding": "not_factory", "position": "left"}
    answer = client.post(url, sent)
    part_url = reverse("vehicles:survey-part", args=[survey.pk, "rear-springs"])
    assert answer.url == f"{part_url}?position=left"
    sent = form_of(client, answer.url) | {"description": "Longer spring", "provenance": "aftermarket"}
    assert sent["positions"] == ["left"]
    answer = client.post(answer.url, sent)
    assert answer.url == f"{survey.get_absolute_url()}?zone=rear_axle#rear-springs", "the right one is left"
    assert survey.entries.get().part == FittedPart.objects.get(position="left")


@pytest.mark.every_database
def test_the_same_part_in_several_positions_is_written_once(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-part", args=[survey.pk, "tyres"])
    sent = form_of(client, url)
    assert sent["positions"] == ["front_left", "front_right", "rear_left", "rear_right"]
    sent |= {"description": "245/75 R 16 111 S", "provenance": "aftermarket", "saw_part_number": "on",
             "what_part_number": "245/75 R 16 111 S"}  # fmt: skip
    for _ in range(2):
        assert client.post(url, sent).status_code == 302
    assert FittedPart.objects.count() == survey.entries.count() == 4
    assert {part.confidence for part in FittedPart.objects.all()} == {"confirmed"}
    empty = client.post(url, {**sent, "key": uuid4(), "positions": []})
    assert empty.status_code == 422
    assert "Say which one: “Tyre” is there several times." in empty.text


def test_the_form_begins_with_the_positions_that_nobody_has_spoken_of(client, lead, survey):
    acts.record_entry(
        by=by(lead), survey=survey, place=place("helper-springs"), position="left", finding="not_seen"
    )
    client.force_login(lead)
    url = reverse("vehicles:survey-part", args=[survey.pk, "helper-springs"])
    assert form_of(client, url)["positions"] == ["right"]
    assert client.get(url, {"position": "inner_left"}).status_code == 404


@pytest.mark.parametrize(("as_item", "number"), [(False, "F1"), (True, "O1")])
def test_what_follows_is_raised_with_the_entry(survey, lead, as_item, number):
    part = acts.record_part_seen(
        by=by(lead), survey=survey, place=place("tow-bar"), description="Bar of 60 mm flats", provenance="one_off",
        follows="Not to be loaded before it is proven.", look_into="major", as_item=as_item,
    )  # fmt: skip
    rows = survey.vehicle.outstanding_items if as_item else survey.vehicle.faults
    raised = rows.get()
    assert (raised.number, raised.severity, raised.title) == (number, "major", part.description)
    assert raised.place_id == "tow-bar"
    assert "Not to be loaded" in (raised.detail if as_item else raised.words)
    if not as_item:
        assert raised.kind == "finding"


@pytest.mark.every_database
def test_look_into_it_with_one_tap_once(client, lead, technician, survey):
    acts.record_entry(by=by(lead), survey=survey, place=place("roof"), finding="open", note="Who cut it?")
    client.force_login(technician)
    page = client.get(survey.get_absolute_url(), {"zone": "body"})
    url = reverse("vehicles:survey-look", args=[survey.pk, "roof"])
    assert url in page.text
    key = stop_of(page, "roof").look_key
    for _ in range(2):
        answer = client.post(url, {"key": key, "severity": "minor"}, headers={"HX-Request": "true"})
        assert "Raised: F1 Who cut it?." in answer.text
    assert answer.context["zone"].zone == "body"
    fault = survey.vehicle.faults.get()
    assert (fault.made_by, fault.severity, fault.kind) == (technician, "minor", "finding")
    # Somebody else taps on a page that is older.
    again = client.post(url, {"key": uuid4(), "severity": "major"}, headers={"HX-Request": "true"})
    assert again.status_code == 422
    assert "F1 Who cut it? stands on this place already, written down by Tamsin Orrell" in again.text
    with pytest.raises(ValidationError, match="say first what is there"):
        acts.look_into(by=by(lead), survey=survey, place=place("glass"), severity="minor")
    with pytest.raises(ValidationError) as caught:
        acts.look_into(by=by(lead), survey=survey, place=place("roof"), severity="awful")
    assert "by your own judgement" in caught.value.message_dict["severity"][0]


def test_what_was_on_record_is_gone_and_something_else_is_there(client, lead, car, survey):
    old = PartFactory(person=lead, vehicle=car, description="Old bar")
    client.force_login(lead)
    url = reverse("vehicles:survey-part", args=[survey.pk, "tow-bar"])
    sent = form_of(client, url) | {"description": "Detachable bar", "provenance": "accessory"}
    refused = client.post(url, sent)
    assert refused.status_code == 422
    assert "Old bar is on record in this place" in refused.text
    assert "“Old bar” was on record here and is gone" in refused.text
    assert client.post(url, sent | {"instead": "on"}).status_code == 302
    old.refresh_from_db()
    assert old.removed_at is not None
    assert "came off elsewhere" in old.whereabouts_note
    assert survey.entries.get().part == FittedPart.objects.fitted_now().get()


def test_parts_described_on_cars_like_this_one_spare_typing(client, lead, car, survey):
    like = VehicleFactory(person=lead, make="Halden", model="Drayman", number="FRAME777")
    other = VehicleFactory(person=lead, make="Veldt", model="2.4", number="FRAME778")
    PartFactory(person=lead, vehicle=like, description="Swivel plate", place="front-seats", position="left",
                factory_fits="fixed frame")  # fmt: skip
    PartFactory(person=lead, vehicle=other, description="Bucket seat", place="front-seats", position="left")
    client.force_login(lead)
    page = client.get(reverse("vehicles:survey-part", args=[survey.pk, "front-seats"])).text
    assert '<option value="Swivel plate">' in page
    assert '<option value="fixed frame">' in page
    assert "Bucket seat" not in page


def test_a_refused_part_in_the_survey_comes_back_filled(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-part", args=[survey.pk, "tow-bar"])
    sent = form_of(client, url) | {"description": "Bar", "provenance": "one_off", "confidence": "likely"}
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert "Bar" in answer.content.decode()
    assert not survey.entries.exists()
    assert not FittedPart.objects.exists()


def test_an_open_question_without_words_is_asked_for_them_beside_the_field(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "roof"])
    answer = client.post(url, form_of(client, url) | {"finding": "open"})
    assert answer.status_code == 422
    assert answer.context["form"].errors["note"] == ["Say what the question is."]


def test_the_report_puts_what_matters_first(client, lead, front_desk, survey):
    acts.record_entry(by=by(lead), survey=survey, place=place("bonnet"), finding="as_factory")
    acts.record_part_seen(by=by(lead), survey=survey, place=place("tow-bar"), description="Bar of 60 mm flats",
                          provenance="one_off", follows="Not to be loaded before it is proven.",
                          evidence=[("judgement", "welds by hand")])  # fmt: skip
    acts.record_part_seen(by=by(lead), survey=survey, place=place("exhaust"), description="Silencer, no mark",
                          provenance="unknown")  # fmt: skip
    acts.record_entry(
        by=by(lead), survey=survey, place=place("underbody"), finding="not_seen", note="tray fitted"
    )
    client.force_login(lead)
    url = reverse("vehicles:survey-finish", args=[survey.pk])
    form = form_of(client, url)
    assert form["summary"].startswith("1. Tow bar and its fastening (Bar of 60 mm flats): ")
    answer = client.post(url, form | {"summary": "The tow bar first."})
    assert answer.url == survey.get_absolute_url()
    client.force_login(front_desk)
    answer = client.get(survey.get_absolute_url())
    report = answer.context["report"]
    assert [group["title"] for group in report.groups] == [
        "Not as the factory made it",
        "Open questions",
        "Could not be seen",
        "As the factory made it",
        "Nothing was said of",
    ]
    assert [one.finding.what for one in report.first] == ["Bar of 60 mm flats", "Silencer, no mark"]
    for words in (
        "The tow bar first.",
        "Not to be loaded before it is proven.",
        "Technician&#x27;s judgement: welds by hand",
        "What would settle it",
        "tray fitted",
        "not an official roadworthiness test",
    ):
        assert words in answer.text, words
    assert reverse("vehicles:survey-pdf", args=[survey.pk]) in answer.text


def test_queries_do_not_grow_with_what_was_said(client, lead, survey):
    client.force_login(lead)

    def count():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(survey.get_absolute_url()).status_code == 200
        return len(caught)

    acts.record_part_seen(by=by(lead), survey=survey, place=place("tow-bar"), description="Bar",
                          provenance="one_off", evidence=[])  # fmt: skip
    few = count()
    for row in Place.objects.exclude(pk="tow-bar")[:40]:
        acts.record_entry(by=by(lead), survey=survey, place=row, finding="as_factory")
    for row in ("roof", "exhaust"):
        acts.record_part_seen(by=by(lead), survey=survey, place=place(row), description=row,
                              provenance="unknown", evidence=[])  # fmt: skip
    assert count() == few
    assert few <= 20, few


def twenty_years(car, lead, start):
    """Parts that came and went, surveys, faults and items of a long life."""
    for year in range(20):
        part = PartFactory(person=lead, vehicle=car, place="exhaust", description=f"Silencer {year}",
                           fitted_at=start.replace(year=2006 + year, month=1, day=5), evidence=[("invoice", f"no. {year}")])  # fmt: skip
        part_acts.end_part(by=by(lead), part=part, removed_at=start.replace(year=2006 + year, month=6, day=5))
        old = SurveyFactory(person=lead, vehicle=car)
        acts.record_zone_as_factory(by=by(lead), survey=old, zone="rear")
        acts.finish_survey(by=by(lead), survey=old, summary="Nothing.")
        fault = FaultFactory(person=lead, vehicle=car, place=place("roof"))
        fault_acts.end_normal(by=by(lead), fault=fault, seen_version=1, normal_source="handbook")


def test_a_history_of_twenty_years_costs_no_more_queries(client, lead, car):
    """Each page of this subject on a car that was here once, and on one with twenty years on record."""
    past = SurveyFactory(person=lead, vehicle=car)
    acts.record_zone_as_factory(by=by(lead), survey=past, zone="rear")
    acts.finish_survey(by=by(lead), survey=past, summary="Nothing.")
    survey = SurveyFactory(person=lead, vehicle=car)
    acts.record_part_seen(by=by(lead), survey=survey, place=place("roof"), description="Rack",
                          provenance="aftermarket", evidence=[("judgement", "clamps")])  # fmt: skip
    part = PartFactory(person=lead, vehicle=car, place="glass", description="Tinted glass")
    part_acts.end_part(by=by(lead), part=part)
    client.force_login(lead)
    walk_url, finish = survey.get_absolute_url(), reverse("vehicles:survey-finish", args=[survey.pk])
    urls = [
        f"{walk_url}?zone=body",
        reverse("vehicles:survey-part", args=[survey.pk, "exhaust"]),
        finish,
        reverse("vehicles:parts", args=[car.pk]),
        reverse("vehicles:parts", args=[car.pk]) + "?show=removed",
        reverse("vehicles:place", args=[car.pk, "exhaust"]),
    ]

    def count():
        found = []
        for url in urls:
            with CaptureQueriesContext(connection) as caught:
                assert client.get(url).status_code == 200, url
            found.append(len(caught))
        return found

    few = count()
    acts.finish_survey(by=by(lead), survey=survey, summary="The rack.")
    twenty_years(car, lead, survey.made_at)
    survey = SurveyFactory(person=lead, vehicle=car)
    acts.record_entry(by=by(lead), survey=survey, place=place("roof"), finding="not_factory")
    urls[:3] = [
        f"{survey.get_absolute_url()}?zone=body",
        reverse("vehicles:survey-part", args=[survey.pk, "exhaust"]),
        reverse("vehicles:survey-finish", args=[survey.pk]),
    ]
    much = count()
    assert all(after <= before + 1 for before, after in zip(few, much, strict=True)), (few, much)
    assert max(much) <= 24, much


def test_the_remark_goes_along_to_the_part(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "rear-springs"])
    remark = "one leaf more & a “Z” bent by hand"
    answer = client.post(
        url, form_of(client, url) | {"finding": "not_factory", "position": "left", "note": remark}
    )
    sent = form_of(client, answer.url)
    assert (sent["note"], sent["positions"]) == (remark, ["left"])
    answer = client.post(answer.url, sent | {"description": "Longer spring", "provenance": "aftermarket"})
    assert answer.status_code == 302
    assert survey.entries.get().note == remark


def test_a_remark_that_is_too_long_is_not_lost_on_the_way(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "tow-bar"])
    answer = client.post(url, form_of(client, url) | {"finding": "not_factory", "note": "long " * 100})
    assert answer.status_code == 422
    assert "long long long" in answer.text
    assert "note" in answer.context["form"].errors


def test_nothing_is_said_before_the_survey_was_begun(lead, survey):
    early = by(lead, made_at=survey.made_at - timedelta(minutes=2))
    for call, arguments in (
        (acts.record_entry, {"place": place("bonnet"), "finding": "as_factory"}),
        (acts.record_part_seen, {"place": place("tow-bar"), "description": "Bar", "provenance": "one_off"}),
        (acts.finish_survey, {"summary": "Nothing."}),
    ):
        with pytest.raises(ValidationError) as caught:
            call(by=early, survey=survey, **arguments)
        assert "The survey was begun on" in caught.value.message_dict["made_at"][0]
    same_minute = by(lead, made_at=survey.made_at - timedelta(seconds=50))
    assert acts.record_entry(by=same_minute, survey=survey, place=place("bonnet"), finding="as_factory").pk


def test_no_car_was_surveyed_before_it_was_built(lead, car):
    with pytest.raises(ValidationError) as caught:
        acts.start_survey(by=by(lead, made_at=datetime(2004, 6, 1, tzinfo=UTC)), vehicle=car)
    assert "it was not surveyed in 2004" in caught.value.message_dict["made_at"][0]


def test_the_only_open_job_is_what_the_survey_is_for(client, lead, car):
    client.force_login(lead)
    url = reverse("vehicles:survey-start", args=[car.pk])
    assert client.get(url).context["form"]["job"].value() is None
    over, first = JobFactory(person=lead, vehicle=car), JobFactory(person=lead, vehicle=car)
    Job.objects.filter(pk=over.pk).update(state="handed_over")
    page = client.get(url)
    assert page.context["form"]["job"].value() == first.pk
    assert str(over.pk) not in page.text
    JobFactory(person=lead, vehicle=car)
    assert client.get(url).context["form"]["job"].value() is None


def rows_of(answer, finding) -> list[dict]:
    return answer.context["report"].group(finding)


def test_the_report_says_which_positions(client, lead, survey):
    """The inner wheels of a twin axle are only asked about where somebody spoke of one."""
    for slug, position in (("rear-springs", "left"), ("tyres", "inner_left")):
        acts.record_part_seen(by=by(lead), survey=survey, place=place(slug), position=position,
                              description="Odd one", provenance="aftermarket", evidence=[])  # fmt: skip
    acts.finish_survey(by=by(lead), survey=survey, summary="Springs.")
    client.force_login(lead)
    answer = client.get(survey.get_absolute_url())
    assert {row["place"].pk: row["where"] for row in rows_of(answer, "not_factory")} == {
        "rear-springs": "left",
        "tyres": "inner left",
    }
    silent = {row["place"].pk: row["where"] for row in rows_of(answer, "")}
    assert silent["rear-springs"] == "right"
    assert silent["tyres"] == "front left, front right, rear left, rear right"
    assert silent["bonnet"] == ""
    assert f"{place('rear-springs').name}, right" in answer.text


def test_what_nobody_followed_up_is_offered_when_finishing_and_on_the_report(client, lead, car):
    job = JobFactory(person=lead, vehicle=car)
    survey = SurveyFactory(person=lead, vehicle=car, job=job)
    acts.record_part_seen(by=by(lead), survey=survey, place=place("tow-bar"), description="Bar of 60 mm flats",
                          provenance="one_off", evidence=[])  # fmt: skip
    acts.record_entry(by=by(lead), survey=survey, place=place("roof"), finding="open", note="Who cut it?")
    acts.record_entry(by=by(lead), survey=survey, place=place("exhaust"), finding="not_seen", note="hot")
    client.force_login(lead)
    finish = reverse("vehicles:survey-finish", args=[survey.pk])
    assert loose_places(client.get(finish)) == ["tow-bar", "roof"]
    look = reverse("vehicles:survey-look", args=[survey.pk, "tow-bar"])
    assert look in client.get(finish).text
    assert client.post(look, {"key": uuid4(), "severity": "major"}).status_code == 302
    fault = car.faults.get()
    assert (fault.title, fault.place_id, fault.kind, fault.job) == (
        "Bar of 60 mm flats",
        "tow-bar",
        "finding",
        job,
    )
    assert loose_places(client.get(finish)) == ["roof"]
    acts.finish_survey(by=by(lead), survey=survey, summary="The tow bar first.")
    report = client.get(survey.get_absolute_url())
    assert [str(fault) for fault in rows_of(report, "not_factory")[0]["faults"]] == ["F1 Bar of 60 mm flats"]
    assert "F1 Bar of 60 mm flats" in report.text
    # From the report of a finished survey, as an outstanding item.
    look = reverse("vehicles:survey-look", args=[survey.pk, "roof"])
    assert f"{look}?as_item=on" in report.text
    sent = form_of(client, f"{look}?as_item=on")
    assert sent["as_item"] == "on"
    answer = client.post(look, sent | {"severity": "advice"})
    assert answer.url == f"{survey.get_absolute_url()}#roof"
    report = client.get(survey.get_absolute_url())
    assert report.context["report"].loose == []
    assert "O1 Who cut it?" in report.text


def loose_places(answer) -> list[str]:
    return [row["place"].pk for row in answer.context["report"].loose]


def test_an_old_ended_fault_of_the_place_is_no_follow_up(client, lead, car):
    fault = FaultFactory(person=lead, vehicle=car, place=place("roof"))
    fault_acts.end_normal(by=by(lead), fault=fault, seen_version=1, normal_source="handbook")
    survey = SurveyFactory(person=lead, vehicle=car)
    acts.record_entry(by=by(lead), survey=survey, place=place("roof"), finding="open", note="Who cut it?")
    client.force_login(lead)
    finish = reverse("vehicles:survey-finish", args=[survey.pk])
    assert loose_places(client.get(finish)) == ["roof"]
