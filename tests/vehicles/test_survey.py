"""The walkaround survey: place by place, by one person after another, to a report."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import escape

from jobs.models import Job
from tests.factories.fault import FaultFactory
from tests.factories.job import JobFactory
from tests.factories.part import PartFactory, SurveyFactory
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
        ("aftermarket", "not_present", "If it was taken off, record that on a work line"),
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


def test_the_quick_button_says_as_factory_and_comes_back(client, lead, survey):
    client.force_login(lead)
    page = client.get(survey.get_absolute_url())
    assert "0 <span" in page.content.decode()
    stop = next(s for zone in page.context["walk"].zones for s in zone.stops if s.place.pk == "tyres")
    url = reverse("vehicles:survey-entry", args=[survey.pk, "tyres"])
    sent = {"key": stop.key, "finding": "as_factory"}
    for _ in range(2):
        answer = client.post(url, sent)
        assert answer.url == f"{survey.get_absolute_url()}#tyres"
    assert survey.entries.count() == 4


def test_not_factory_leads_to_the_part_and_back(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "rear-springs"])
    sent = form_of(client, url) | {"finding": "not_factory", "position": "left"}
    answer = client.post(url, sent)
    part_url = reverse("vehicles:survey-part", args=[survey.pk, "rear-springs"])
    assert answer.url == f"{part_url}?position=left"
    sent = form_of(client, answer.url) | {"description": "Longer spring", "provenance": "aftermarket"}
    assert sent["position"] == "left"
    answer = client.post(answer.url, sent)
    assert answer.url == f"{survey.get_absolute_url()}#rear-springs"
    assert survey.entries.get().part == FittedPart.objects.get(position="left")


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
                          provenance="one_off", follows="Not to be loaded before it is proven.", evidence=[])  # fmt: skip
    client.force_login(lead)
    url = reverse("vehicles:survey-finish", args=[survey.pk])
    answer = client.post(url, form_of(client, url) | {"summary": "The tow bar first."})
    assert answer.url == survey.get_absolute_url()
    client.force_login(front_desk)
    answer = client.get(survey.get_absolute_url())
    assert [group["title"] for group in answer.context["groups"]] == [
        "Not as the factory made it",
        "As the factory made it",
        "Nothing was said of",
    ]
    page = answer.content.decode()
    assert "The tow bar first." in page
    assert "Not to be loaded before it is proven." in page


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


def test_the_remark_goes_along_to_the_part(client, lead, survey):
    client.force_login(lead)
    url = reverse("vehicles:survey-entry", args=[survey.pk, "rear-springs"])
    remark = "one leaf more & a “Z” bent by hand"
    answer = client.post(
        url, form_of(client, url) | {"finding": "not_factory", "position": "left", "note": remark}
    )
    sent = form_of(client, answer.url)
    assert (sent["note"], sent["position"]) == (remark, "left")
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
    return [row for group in answer.context["groups"] if group["finding"] == finding for row in group["rows"]]


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
    loose = {row["place"].pk: row["loose"] for row in client.get(finish).context["loose"]}
    assert set(loose) == {"tow-bar", "roof"}
    # The links lead to forms that are filled in.
    sent = form_of(client, loose["tow-bar"]["fault"])
    assert (sent["title"], sent["place"], sent["kind"]) == ("Bar of 60 mm flats", "tow-bar", "finding")
    assert sent["job"] == str(job.pk)
    assert client.post(loose["tow-bar"]["fault"], sent | {"severity": "major"}).status_code == 302
    assert [row["place"].pk for row in client.get(finish).context["loose"]] == ["roof"]
    acts.finish_survey(by=by(lead), survey=survey, summary="The tow bar first.")
    report = client.get(survey.get_absolute_url())
    assert [str(fault) for fault in rows_of(report, "not_factory")[0]["faults"]] == ["F1 Bar of 60 mm flats"]
    assert "F1 Bar of 60 mm flats" in report.text
    asked = rows_of(report, "open")[0]["loose"]["outstanding"]
    assert escape(asked) in report.text
    sent = form_of(client, asked)
    assert (sent["title"], sent["place"]) == ("Who cut it?", "roof")
    assert client.post(asked, sent | {"severity": "advice", "reason": "beyond"}).status_code == 302
    report = client.get(survey.get_absolute_url())
    assert not any("loose" in row for group in report.context["groups"] for row in group["rows"])
    assert "O1 Who cut it?" in report.text


def test_an_old_ended_fault_of_the_place_is_no_follow_up(client, lead, car):
    fault = FaultFactory(person=lead, vehicle=car, place=place("roof"))
    fault_acts.end_normal(by=by(lead), fault=fault, seen_version=1, normal_source="handbook")
    survey = SurveyFactory(person=lead, vehicle=car)
    acts.record_entry(by=by(lead), survey=survey, place=place("roof"), finding="open", note="Who cut it?")
    client.force_login(lead)
    finish = reverse("vehicles:survey-finish", args=[survey.pk])
    assert [row["place"].pk for row in client.get(finish).context["loose"]] == ["roof"]
