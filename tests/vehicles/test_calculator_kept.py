"""Kept results: worked out again on the server, frozen, shown with what they are about, printed from their record."""

from __future__ import annotations

import html
import io
import json
import re
from dataclasses import replace
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from pypdf import PdfReader

from jobs import sheets
from jobs.acts import handover as handover_acts
from jobs.management.commands import verify_records
from tests.factories.calculation import CalculationFactory
from tests.factories.fault import FaultFactory
from tests.factories.handover import (
    HandedOverFactory,
    done_line,
    finish,
    in_work,
    leaving,
    owner_of,
    to_final_checks,
)
from tests.factories.job import job_in
from tests.factories.part import PartFactory, SurveyFactory
from tests.factories.vehicle import VehicleFactory
from tests.factories.work import authorised_line
from tests.people import by
from vehicles import timeline
from vehicles.acts import calculation as acts
from vehicles.acts import fault as fault_acts
from vehicles.acts import survey as survey_acts
from vehicles.forms.calculator import query_of
from vehicles.models import Calculation, Place
from workshop import erasing, triggers
from workshop.canonical import sha256
from workshop.engineering.catalogue import calculators
from workshop.engineering.command import read_inputs
from workshop.engineering.declare import INFORMS
from workshop.models import Event

pytestmark = pytest.mark.words

SLUG = "torque-with-extension"
LINE = "Torque wanted at the fastener 80 N·m; From the middle of the grip to the square drive 400 mm"


def inputs(slug: str = SLUG) -> dict:
    chosen = calculators()[slug]
    return {name: one.value for name, one in read_inputs(chosen, chosen.example.items()).items()}


def keep(person, car, **kwargs) -> Calculation:
    return acts.keep_result(by=by(person), vehicle=car, calculator=SLUG, inputs=inputs(), **kwargs)


def address(car, **subject) -> str:
    from django.utils.http import urlencode

    query = {**{name: str(row.pk) for name, row in subject.items()}, **query_of(inputs())}
    return f"{reverse('vehicles:car-calculator', args=[car.pk, SLUG])}?{urlencode(query)}"


def printed(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def text_of(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html.unescape(answer.text)).split())


@pytest.fixture
def job(car, lead):
    return job_in("in_work", person=lead, vehicle=car)


@pytest.fixture
def line(job, car, lead):
    return authorised_line(job=job, person=lead, owner=owner_of(car, lead))


# -------------------------------------------------------------------------------------------------------- the act


def test_a_result_is_worked_out_again_and_frozen(technician, car):
    row = keep(technician, car, said="For the hub nut")
    row.refresh_from_db()
    assert row.main["shown"] == "71.1 N·m"
    assert row.in_short == "Set the wrench to: 71.1 N·m"
    assert row.inputs_in_one_line.startswith(LINE)
    assert row.digest == sha256(row.record)
    assert json.loads(row.record)["calculator"] == row.calculator == SLUG
    assert (row.formula_version, row.subject) == (calculators()[SLUG].version, None)
    event = Event.objects.get(act="vehicles.calculation.keep_result")
    facts = json.loads(event.body)["facts"]
    assert (facts["calculator"], facts["digest"]) == (SLUG, row.digest)
    assert "hub nut" not in event.body, "what people typed stands beside the chain"


def test_it_says_where_each_input_came_from(technician, car, monkeypatch):
    from workshop.engineering.effect import CarFigures, Figure
    from workshop.engineering.result import Origin

    chosen = calculators()["voltage-drop"]
    given = {name: one.value for name, one in read_inputs(chosen, chosen.example.items()).items()}
    own = next(each for each in chosen.inputs if getattr(each, "item", "") and each.name in given)
    figures = CarFigures({own.item: Figure(given[own.name], Origin.DATA_SHEET, "workshop manual, p. 12")})
    monkeypatch.setattr("vehicles.calculations.figures_of", lambda vehicle: figures)
    row = acts.keep_result(by=by(technician), vehicle=car, calculator=chosen.slug, inputs=given)
    origins = {each["name"]: (each["origin"], each["words"]) for each in row.data["inputs"]}
    assert origins.pop(own.name) == ("data sheet", "workshop manual, p. 12")
    assert set(origins.values()) <= {("typed in", "")} | {
        value for value in origins.values() if value[0] == "assumed"
    }
    assert "(data sheet)" in row.inputs_in_one_line


def test_bad_input_is_refused_by_the_act_itself(technician, car):
    from decimal import Decimal

    from workshop.engineering.units import Amount

    bad = {**inputs(), "torque": Amount(Decimal(80), "mm")}
    with pytest.raises(ValidationError) as refused:
        acts.keep_result(by=by(technician), vehicle=car, calculator=SLUG, inputs=bad)
    assert "mm is a unit of length" in refused.value.message_dict["torque"][0]
    with pytest.raises(ValidationError, match="no such calculator"):
        acts.keep_result(by=by(technician), vehicle=car, calculator="gone", inputs={})
    assert not Calculation.objects.exists()


def test_who_may_keep_one(front_desk, car_owner, technician, car):
    for person in (front_desk, car_owner):
        with pytest.raises(PermissionDenied):
            keep(person, car)
    row = keep(technician, car)
    with pytest.raises(PermissionDenied):
        acts.set_aside(by=by(front_desk), calculation=row, reason="wrong")


def test_it_is_kept_with_one_thing_of_its_own_car(technician, lead, car, line):
    other = VehicleFactory.create(person=lead)
    fault, part = FaultFactory(person=lead, vehicle=other), PartFactory(person=lead, vehicle=car)
    with pytest.raises(ValidationError, match="of another car"):
        keep(technician, car, fault=fault)
    with pytest.raises(ValidationError, match="of another car"):
        acts.keep_result(by=by(technician), vehicle=other, calculator=SLUG, inputs=inputs(), line=line)
    with pytest.raises(ValidationError, match="kept with one thing"):
        keep(technician, car, line=line, part=part)


def test_a_part_entered_in_error_and_a_closed_job_take_none(technician, lead, car):
    from vehicles.acts import part as part_acts

    part = PartFactory(person=lead, vehicle=car)
    part_acts.correct_in_error(by=by(lead), part=part, seen_version=part.version, reason="wrong car")
    with pytest.raises(ValidationError, match="entered in error"):
        keep(technician, car, part=part)
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))
    with pytest.raises(ValidationError, match="is closed: its lines stand as they are"):
        keep(technician, car, line=sheet.job.lines.first())


def test_the_database_keeps_it_as_it_was(technician, lead, car, line):
    row = keep(technician, car)
    other = VehicleFactory.create(person=lead)
    fault, part = FaultFactory(person=lead, vehicle=other), PartFactory(person=lead, vehicle=other)
    survey = SurveyFactory(person=lead, vehicle=other)
    for change in (
        {"record": "{}"}, {"digest": "0"}, {"said": "else"}, {"formula_version": 9}, {"calculator": "other"},
        {"vehicle": other},
    ):  # fmt: skip
        with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
            Calculation.objects.filter(pk=row.pk).update(**change)
    with pytest.raises(DatabaseError), transaction.atomic():
        Calculation.objects.filter(pk=row.pk).delete()
    for subject in ({"fault": fault}, {"part": part}, {"survey": survey}):
        copy = Calculation.objects.get(pk=row.pk)
        copy.pk = uuid4()
        for name, value in subject.items():
            setattr(copy, name, value)
        with pytest.raises(DatabaseError, match="of its own car"), transaction.atomic():
            copy.save(force_insert=True)
    copy = Calculation.objects.get(pk=row.pk)
    copy.pk, copy.vehicle, copy.line = uuid4(), other, line
    with pytest.raises(DatabaseError, match="of its own car"), transaction.atomic():
        copy.save(force_insert=True)
    acts.set_aside(by=by(lead), calculation=row, reason="Wrong wrench measured")
    with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
        Calculation.objects.filter(pk=row.pk).update(entered_in_error="")
    with pytest.raises(ValidationError, match="set aside already"):
        acts.set_aside(by=by(lead), calculation=row, reason="again")
    with pytest.raises(ValidationError, match="Say why"):
        acts.set_aside(by=by(lead), calculation=keep(technician, car), reason="  ")


def test_a_person_s_erasure_takes_the_words_and_leaves_the_record(technician, lead, car):
    """What was said beside a result can be erased; what its digest is taken of stays to the letter."""
    row = keep(technician, car, said="Zilpzalp asked for it")
    acts.set_aside(by=by(lead), calculation=row, reason="Zilpzalp read it wrong")
    with triggers.lifted():
        text = row.record.replace("Torque wrench", "Zilpzalp wrench")
        Calculation.objects.filter(pk=row.pk).update(record=text, digest=sha256(text))
    found = {
        each.column: each.frozen for each in erasing.occurrences(["Zilpzalp"]) if each.model is Calculation
    }
    assert found == {"record": True, "said": False, "entered_in_error": False}
    with transaction.atomic(), erasing.erasing() as eraser:
        eraser.everywhere(["Zilpzalp"])
    row = Calculation.objects.get(pk=row.pk)
    assert (row.said, row.entered_in_error) == ("(…) asked for it", "(…) read it wrong")
    assert (row.record, row.digest) == (text, sha256(text))
    # Even under an erasure the guard lets no letter of the record go.
    with transaction.atomic(), erasing.erasing():
        erasing._allow(["Zilpzalp"])
        with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
            Calculation.objects.filter(pk=row.pk).update(record=text.replace("Zilpzalp", erasing.INSTEAD))


def test_verify_records_reads_it_again(technician, car):
    row = keep(technician, car)
    assert list(verify_records.calculations()) == []
    with triggers.lifted():
        Calculation.objects.filter(pk=row.pk).update(record=row.record.replace("71.1", "81.1"))
        assert [text.split(": ")[-1] for text in verify_records.calculations()] == [
            "its record does not give its digest"
        ]
        text = row.record.replace("71.1", "81.1")
        Calculation.objects.filter(pk=row.pk).update(record=text, digest=sha256(text))
        assert "its digest is not the one in the log" in next(verify_records.calculations())
        Calculation.objects.filter(pk=row.pk).update(record=row.record, digest=row.digest, formula_version=7)
        assert "names another calculator or version" in next(verify_records.calculations())
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM vehicles_calculation")
    assert "stands in the log and is missing" in next(verify_records.calculations())
    with pytest.raises(SystemExit):
        call_command("verify_records", stdout=io.StringIO(), stderr=io.StringIO())


# ------------------------------------------------------------------------------------------------------- the page


def test_a_result_is_kept_from_its_page_and_shown_with_its_fault(client, technician, lead, car):
    fault = FaultFactory(person=lead, vehicle=car)
    client.force_login(technician)
    shown = client.get(address(car, fault=fault))
    assert "71.1 N·m" in shown.text
    assert "Keep this result" in shown.text
    form = shown.context["keep"]
    data = {
        "key": str(form["key"].value()),
        "seen": form["seen"].value(),
        "said": "To see whether it was enough",
    }
    answer = client.post(address(car, fault=fault), data)
    assert answer.status_code == 302
    row = Calculation.objects.get()
    assert answer.url == row.get_absolute_url()
    assert (row.fault, row.made_by, row.said) == (fault, technician, "To see whether it was enough")
    # Sent again by a doubtful network it is one record.
    assert client.post(address(car, fault=fault), data).status_code == 302
    assert Calculation.objects.count() == 1
    page = text_of(client.get(fault.get_absolute_url()))
    assert "Set the wrench to: 71.1 N·m" in page
    assert "To see whether it was enough" in page
    kept = client.get(row.get_absolute_url())
    assert kept.status_code == 200
    assert text_of(kept).count(INFORMS) == 1
    assert "Worked out by version 1 of the formula" in text_of(kept)
    assert row.digest in kept.text


def test_what_is_open_on_the_car_is_offered_to_keep_it_with(client, technician, lead, car, line):
    fault, ended = FaultFactory(person=lead, vehicle=car), FaultFactory(person=lead, vehicle=car)
    fault_acts.end_no_fault_found(
        by=by(technician), fault=ended, seen_version=ended.version, tried="All of it, nothing seen"
    )
    survey = SurveyFactory(person=lead, vehicle=car)
    elsewhere = FaultFactory(person=lead, vehicle=VehicleFactory.create(person=lead))
    client.force_login(technician)
    page = client.get(address(car))
    offered = re.findall(r'<option value="((?:car|fault|line|survey)[^"]*)"', page.text)
    assert offered == ["car", f"fault:{fault.pk}", f"line:{line.pk}", f"survey:{survey.pk}"]
    assert 'value="car" selected' in page.text
    # Opened from a thing, that one is chosen, an ended one too.
    assert f'value="fault:{ended.pk}" selected' in client.get(address(car, fault=ended)).text
    for about, subject in ((f"line:{line.pk}", line), (f"survey:{survey.pk}", survey), ("car", None)):
        form = client.get(address(car, fault=fault)).context["keep"]
        data = {"key": str(form["key"].value()), "seen": form["seen"].value(), "about": about}
        answer = client.post(address(car, fault=fault), data, follow=True)
        assert Calculation.objects.latest("received_at").subject == subject
        assert "Kept with" in text_of(answer)
    refused = client.post(
        address(car), {"key": str(uuid4()), "said": "the nut", "about": f"fault:{elsewhere.pk}"}
    )
    assert refused.status_code == 422
    assert "That is no longer open on this car" in refused.text
    assert "the nut" in refused.text
    assert Calculation.objects.count() == 3


def test_the_figures_of_a_part_stay_with_that_part(client, technician, lead, car):
    part = PartFactory(person=lead, vehicle=car)
    client.force_login(technician)
    page = client.get(address(car, part=part))
    assert 'name="about"' not in page.text
    assert "whose figures these are" in page.text
    form = page.context["keep"]
    client.post(address(car, part=part), {"key": str(form["key"].value()), "seen": form["seen"].value()})
    assert Calculation.objects.get().part == part


def test_the_history_tells_two_results_of_one_calculator_apart(client, technician, lead, car, line):
    fault = FaultFactory(person=lead, vehicle=car)
    for subject in ({"line": line}, {"fault": fault}, {}):
        keep(technician, car, **subject)
    client.force_login(lead)
    listed = text_of(client.get(reverse("vehicles:car-calculators", args=[car.pk])))
    told = " ".join(
        entry.text for group in timeline.page(car, only=["calculation"]).groups for entry in group.entries
    )
    for words in (
        f"ept with line {line.order} of job {line.job.number}",
        f"ept with fault {fault}",
        "ept with the car",
    ):
        assert words in told
        assert words in listed
    same = {row.digest for row in Calculation.objects.all()}
    assert len(same) == 1
    page = text_of(client.get(Calculation.objects.first().get_absolute_url()))
    assert "Hash of the calculation (SHA-256)" in page
    assert "not the car, what it is kept with" in page


def test_only_what_was_looked_at_is_kept(client, technician, car):
    client.force_login(technician)
    refused = client.post(address(car), {"key": str(uuid4()), "seen": "0" * 64, "said": "mine"})
    assert refused.status_code == 422
    assert "look at it, then keep that one" in refused.text
    assert "mine" in refused.text, "what was typed comes back"
    assert not Calculation.objects.exists()
    again = refused.context["keep"]
    data = {"key": str(again["key"].value()), "seen": again["seen"].value(), "said": "mine"}
    assert client.post(address(car), data).status_code == 302


def test_what_can_t_be_worked_out_is_not_kept(client, technician, car):
    client.force_login(technician)
    bad = address(car).replace("torque_value=80", "torque_value=abc")
    assert client.post(bad, {"key": str(uuid4())}).status_code == 422
    assert (
        client.post(
            reverse("vehicles:car-calculator", args=[car.pk, SLUG]), {"key": str(uuid4())}
        ).status_code
        == 200
    )
    assert client.post(address(car), {"key": "no-uuid", "said": "x" * 10_000}).status_code == 422
    assert not Calculation.objects.exists()


def test_the_front_desk_sees_and_keeps_nothing(client, front_desk, technician, car):
    client.force_login(front_desk)
    assert "Keep this result" not in client.get(address(car)).text
    assert client.post(address(car), {"key": str(uuid4())}).status_code == 403
    row = keep(technician, car)
    page = client.get(row.get_absolute_url())
    assert page.status_code == 200
    assert "in-error" not in page.text


def test_set_aside_on_its_page(client, technician, car):
    row = keep(technician, car)
    client.force_login(technician)
    url = reverse("vehicles:calculation-error", args=[row.pk])
    assert client.get(url).status_code == 200
    assert client.post(url, {"key": str(uuid4()), "reason": ""}).status_code == 422
    assert client.post(url, {"key": str(uuid4()), "reason": "Grip measured wrong"}).status_code == 302
    page = client.get(row.get_absolute_url())
    assert "Kept in error:" in page.text
    assert "Grip measured wrong" in page.text


def test_it_is_never_worked_out_again_by_a_later_formula(client, technician, car, monkeypatch):
    row = keep(technician, car)
    chosen = calculators()[SLUG]

    def boom(**inputs):
        raise AssertionError("a kept result is shown from its record alone")

    later = replace(chosen, version=chosen.version + 1, work=boom)
    monkeypatch.setattr("vehicles.models.calculation.find", {SLUG: later}.get)
    client.force_login(technician)
    page = client.get(row.get_absolute_url())
    assert f"by version {chosen.version} of the formula; today's is version {chosen.version + 1}" in text_of(
        page
    )
    assert "71.1 N·m" in page.text
    monkeypatch.setattr("vehicles.models.calculation.find", {}.get)
    monkeypatch.setattr("vehicles.views.calculator.find", {}.get)
    page = client.get(row.get_absolute_url())
    assert page.status_code == 200
    assert "this calculator is no longer offered" in text_of(page)
    assert "Work it out anew" not in page.text


def test_a_kept_result_can_be_worked_out_anew(client, technician, car):
    row = keep(technician, car)
    client.force_login(technician)
    page = client.get(row.get_absolute_url())
    again = html.unescape(re.search(r'href="([^"]+)">Work it out anew', page.text)[1])
    answer = client.get(again)
    assert answer.context["record"]["outputs"] == row.data["outputs"]


@pytest.mark.pdf
@pytest.mark.parametrize("slug", [SLUG, "days-to-flat", "brake-adhesion", "gear-comparison"])
def test_it_prints(client, technician, car, slug):
    row = CalculationFactory(person=technician, vehicle=car, calculator=slug, said="For the file")
    client.force_login(technician)
    answer = client.get(reverse("vehicles:calculation-pdf", args=[row.pk]))
    assert answer.headers["Content-Type"] == "application/pdf"
    text = printed(answer.content)
    assert row.main["shown"] in text
    assert text.count(INFORMS[:40]) == 1
    assert f"by version {row.formula_version} of the formula" in text
    assert "For the file" in text


def test_a_stranger_and_the_car_s_owner_see_no_kept_result(client, car_owner, technician, car):
    row = keep(technician, car)
    client.force_login(car_owner)
    for name in ("calculation", "calculation-pdf", "calculation-error"):
        assert client.get(reverse(f"vehicles:{name}", args=[row.pk])).status_code == 403


# -------------------------------------------------------------------------------------------------- where it shows


def test_on_the_part_the_survey_the_line_and_the_history(client, technician, lead, car, line):
    part, survey = PartFactory(person=lead, vehicle=car), SurveyFactory(person=lead, vehicle=car)
    survey_acts.record_entry(
        by=by(lead), survey=survey, place=Place.objects.get(pk="roof"), finding="as_factory"
    )
    survey_acts.finish_survey(by=by(lead), survey=survey, summary="As it should be")
    survey.refresh_from_db()
    client.force_login(lead)
    for name, row in (("part", part), ("survey", survey), ("line", line)):
        before = client.get(row.get_absolute_url())
        assert f"/vehicles/{car.pk}/calculators/?{name}={row.pk}" in before.text, name
        kept = keep(technician, car, **{name: row})
        assert "71.1 N·m" in client.get(row.get_absolute_url()).text, name
        page = text_of(client.get(kept.get_absolute_url()))
        assert "Kept with" in page
    assert "71.1 N·m" in client.get(line.job.get_absolute_url()).text
    assert f"/calculators/?line={line.pk}" in client.get(line.job.get_absolute_url()).text
    entries = [entry for group in timeline.page(car, only=["calculation"]).groups for entry in group.entries]
    assert [entry.figure for entry in entries] == ["Set the wrench to: 71.1 N·m"] * 3
    assert {str(entry.job or "") for entry in entries} == {"", str(line.job)}
    assert "71.1 N·m" in client.get(car.get_absolute_url()).text
    assert "71.1 N·m" in client.get(reverse("vehicles:history", args=[car.pk])).text


@pytest.mark.pdf
def test_on_the_survey_s_print(client, technician, lead, car):
    survey = SurveyFactory(person=lead, vehicle=car)
    survey_acts.record_entry(
        by=by(lead), survey=survey, place=Place.objects.get(pk="roof"), finding="as_factory"
    )
    survey_acts.finish_survey(by=by(lead), survey=survey, summary="As it should be")
    survey.refresh_from_db()
    wrong = keep(technician, car, survey=survey, said="the wrong one")
    acts.set_aside(by=by(technician), calculation=wrong, reason="wrong")
    keep(technician, car, survey=survey, said="the right one")
    client.force_login(lead)
    answer = client.get(reverse("vehicles:survey-pdf", args=[survey.pk]))
    text = printed(answer.content)
    assert "Set the wrench to: 71.1 N·m" in text
    assert "the right one" in text
    assert "the wrong one" not in text


@pytest.mark.parametrize("count", [1, 12])
def test_pages_ask_as_often_for_one_as_for_twelve(
    client, technician, lead, car, line, count, django_assert_max_num_queries
):
    fault, part = FaultFactory(person=lead, vehicle=car), PartFactory(person=lead, vehicle=car)
    for number in range(count):
        for subject in ({}, {"fault": fault}, {"part": part}, {"line": line}):
            keep(technician, car, said=str(number), **subject)
    client.force_login(lead)
    client.get(car.get_absolute_url())
    for address_of, most in (
        (reverse("vehicles:car-calculators", args=[car.pk]), 10),
        (address(car), 10),
        (fault.get_absolute_url(), 22),
        (part.get_absolute_url(), 22),
        (Calculation.objects.first().get_absolute_url(), 6),
        (reverse("vehicles:history", args=[car.pk]), 75),
    ):
        with django_assert_max_num_queries(most):
            assert client.get(address_of).status_code == 200


# ---------------------------------------------------------------------------------------------- the handover sheet


def test_on_the_handover_sheet_with_its_line(lead, technician, car, line):
    wrong = keep(technician, car, line=line)
    acts.set_aside(by=by(technician), calculation=wrong, reason="wrong")
    before = sheets.gather(line.job, revision=1, issued_at=line.made_at).technical
    assert "calculations" not in before["body"], "a sheet without any says what it said before there were any"
    keep(technician, car, line=line, said="for the hub nut")
    keep(technician, car, said="of the car alone")
    after = sheets.gather(line.job, revision=1, issued_at=line.made_at).technical
    [row] = after["body"]["calculations"]
    assert (row["of_line"], row["value"], row["version"]) == (line.order, "Set the wrench to: 71.1 N·m", "1")
    assert row["inputs"].startswith(LINE)
    assert after["body"]["informs"] == INFORMS
    assert sheets.changed_sections(before["body"], after["body"]) == ["Worked out"]
    [change] = sheets_compare(before, after)
    assert change["section"] == "Worked out"
    assert change["what"].startswith("Torque wrench with an extension")


def sheets_compare(before, after):
    from jobs.sheets import SECTIONS, compare

    return compare.changes(before["body"], after["body"], SECTIONS)


@pytest.mark.pdf
def test_a_result_set_aside_after_the_car_left_makes_the_next_sheet_due(lead, car):
    keeper = owner_of(car, lead)
    job = in_work(car, keeper, lead)
    line = done_line(job, keeper, lead)
    row = keep(lead, car, line=line, said="for the hub nut")
    finish(line, lead)
    to_final_checks(job, lead)
    handover_acts.call_ready(by=by(lead), job=job)
    sheet = handover_acts.hand_over(by=by(lead), job=job, **leaving(keeper))
    text = printed(bytes(sheet.text.pdf))
    assert "Worked out" in text
    assert "Set the wrench to: 71.1 N·m" in text
    assert text.count("A computed value informs.") == 1
    assert sheets.revision_due(job) == []
    keep(lead, car, said="of the car alone, later")
    assert sheets.revision_due(job) == []
    acts.set_aside(by=by(lead), calculation=row, reason="the wrong wrench")
    assert sheets.revision_due(job) == ["Worked out"]
    sheet.refresh_from_db()
    assert printed(bytes(sheet.text.pdf)) == text, "what was issued stays as it was"


def test_a_sheet_from_before_there_were_any_is_not_due(lead, car):
    """Its data has no such block, and without a kept result the data of today has none either."""
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))
    assert "calculations" not in json.loads(sheet.technical)["body"]
    assert sheets.revision_due(sheet.job) == []
