"""What owners ask of a sheet: what was put off and its price, what was redone, why a distance is not known, what a
survey found, what was damaged here; and the text that goes with it by e-mail.
"""

from __future__ import annotations

import json
from datetime import timedelta
from decimal import Decimal
from urllib.parse import parse_qs, urlsplit

import pytest
from django.utils import timezone

from jobs import sheets
from jobs.acts import answer as answer_acts
from jobs.acts import damage as damage_acts
from jobs.acts import disposition as disposition_acts
from jobs.acts import handover as acts
from jobs.acts import work as work_acts
from jobs.models import Job
from tests.factories.handover import HandedOverFactory, done_line, in_work, leaving, rich_job
from tests.factories.part import PartFactory, SurveyFactory
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory
from tests.factories.work import owner_of
from tests.once import once
from tests.people import by
from vehicles.acts import odometer as odometer_acts
from vehicles.acts import survey as survey_acts
from vehicles.models import Place
from workshop.engineering.units import Amount


@once
def keeper(car, lead):
    return owner_of(car, lead)


@pytest.fixture
def job(car, keeper, lead):
    return in_work(car, keeper, lead)


def data(job: Job) -> sheets.SheetData:
    return sheets.gather(job, revision=1, issued_at=job.made_at)


def body(job: Job) -> dict:
    return data(job).technical["body"]


def test_what_was_put_off_says_what_it_would_cost_outside_the_total(job, keeper, lead):
    done_line(job, keeper, lead)
    line = work_acts.add_line(by=by(lead), job=job, complaint="Four tyres")
    answer_acts.estimate_line(by=by(lead), line=line, seen_version=line.version, estimate=Decimal("612.00"))
    answer_acts.record_answer(
        by=by(lead), line=line, answer="later", given_by=keeper, right="owner", channel="phone"
    )
    rows = data(job).personal["prices"]["lines"]
    assert (rows[-1]["estimate"], rows[-1]["amount"]) == ("612.00", "")
    assert data(job).personal["prices"]["total"] == "0.00", "the first line is not finished either"
    # A price is nobody's business but the owner's.
    assert "612" not in data(job).technical_text


def test_a_fastener_that_was_redone_is_told_plainly(job, keeper, lead, technician):
    line = done_line(job, keeper, lead)
    run = RunFactory(person=lead, line=line, steps=[{**WHEEL, "fasteners": 2}])
    tool = ToolFactory(person=lead)
    for fastener in (1, 2):
        click(technician, run, 1, fastener, 60, tool)
    above = click(technician, run, 2, 1, 140, tool)
    disposition_acts.dispose(by=by(technician), reading=above, kind="redone", reason="Thread looks sound")
    (said,) = body(job)["runs"][0]["steps"][0]["decided"]
    assert said.startswith(
        "No. 1 was above its limit (set 140 N·m, clicked), was loosened and tightened again from the first stage. "
    )
    assert "in order now" not in said
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 2, 1, 120, tool)
    (said,) = body(job)["runs"][0]["steps"][0]["decided"]
    assert "from the first stage; it is in order now. Thread looks sound. Tamsin Orrell" in said


def test_why_the_true_distance_is_not_known_is_said_in_a_sentence(job, car, lead):
    assert (
        body(job)["odometer"]["why"] == "That day it was first read here: what came before, nobody here saw."
    )


def test_a_replaced_odometer_is_the_reason_where_it_is_one(car, keeper, lead):
    odometer_acts.record_reading(
        by=by(lead, made_at=timezone.now() - timedelta(days=30)),
        vehicle=car,
        amount=Amount(Decimal(90_000), "km"),
    )
    odometer_acts.replace_instrument(
        by=by(lead), vehicle=car, replaced_on=timezone.localdate(), old_last=None,
        new_first=Amount(Decimal(0), "km"), replaced_because="display dead",
    )  # fmt: skip
    from tests.factories.job import CheckInFactory, JobFactory

    job = JobFactory(person=lead, vehicle=car, payer=keeper, authoriser=keeper)
    CheckInFactory(person=lead, job=job, odometer=Amount(Decimal(12), "km"), brought_by=keeper)
    said = body(job)["odometer"]
    assert said["why"] == (
        "On that day the odometer was replaced, and what the one before it had counted is on no record."
    )
    assert "not known before" in said["truth"]


def test_a_survey_of_the_visit_is_there_in_short(job, car, lead, technician):
    survey = SurveyFactory(person=technician, vehicle=car, job=job)
    assert body(job)["survey"] == [], "one that is not finished has found nothing yet"
    part = PartFactory(person=technician, vehicle=car, provenance="aftermarket")
    tow, battery = Place.objects.get(pk="tow-bar"), Place.objects.get(pk="parking-brake")
    survey_acts.record_entry(by=by(technician), survey=survey, place=tow, finding="not_factory", part=part)
    survey_acts.record_entry(
        by=by(technician), survey=survey, place=battery, finding="open", note="which cable is fitted?"
    )
    survey_acts.finish_survey(by=by(technician), survey=survey, summary="Tow bar first.")
    (said,) = body(job)["survey"]
    assert (said["not_factory"], said["questions"], said["places"]) == (1, 1, 2)
    assert said["asked"] == ["Parking brake: which cable is fitted?"]
    assert said["summary"] == "Tow bar first."


def test_damage_done_here_is_on_the_sheet(job, lead, technician):
    damage_acts.report_damage(
        by=by(technician), job=job, where="Left door", what="A scratch, 3 cm, from a trolley."
    )
    (said,) = body(job)["damage"]
    assert (said["where"], said["what"]) == ("Left door", "A scratch, 3 cm, from a trolley.")
    assert (said["told"], said["settled"]) == ("The owner was not told yet", "Not settled yet")


def test_the_text_for_an_e_mail_names_no_person_and_no_price(
    car, lead, technician, other_technician, front_desk, client
):
    job = rich_job(car, lead, technician, other_technician, front_desk)
    keeper = job.payer
    type(keeper).objects.filter(pk=keeper.pk).update(email="corin+car@ashby.example")
    acts.call_ready(by=by(lead), job=job)
    sheet = acts.hand_over(by=by(lead), job=job, **leaving(keeper))
    mail = sheets.mail(sheet, "corin+car@ashby.example")
    for words in (
        job.number,
        "QX 06 HLD",
        "Dangerous: Tyres: load index too low",
        sheets.confirm_address(sheet.token),
    ):
        assert words in mail.body, words
    for words in (keeper.name, "424.50", "2 Mill Rise"):
        assert words not in mail.subject + mail.body
    # RFC 6068: the address, then fields; a reader of addresses finds the same again.
    parts = urlsplit(mail.href)
    assert (parts.scheme, parts.path) == ("mailto", "corin%2Bcar@ashby.example")
    fields = parse_qs(parts.query, strict_parsing=True)
    assert fields["subject"] == [mail.subject]
    assert fields["body"] == [mail.body.replace("\n", "\r\n")]
    assert "+" not in parts.query, "in an address of this kind a plus is a plus"
    client.force_login(lead)
    page = client.get(f"/sheets/{sheet.pk}/").content.decode()
    assert "Open a mail to corin+car@ashby.example" in page
    assert "mailto:corin%2Bcar@ashby.example?subject=" in page


def test_an_owner_sees_no_mail_to_themselves(client, car, lead, keeper, car_owner):
    type(keeper).objects.filter(pk=keeper.pk).update(account=car_owner)
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    client.force_login(car_owner)
    page = client.get(f"/sheets/{sheet.pk}/").content.decode()
    assert "mailto:" not in page
    assert "Download" in page


def test_the_pages_of_a_sheet_ask_as_often_with_many_revisions(client, car, lead, keeper):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from jobs.acts import sheet as sheet_acts

    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    client.force_login(lead)

    def count(revision) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(f"/sheets/{revision.pk}/").status_code == 200
        return len(queries)

    second = sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note="x")
    few = count(second)
    for number in range(4):
        last = sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note=f"{number}")
    assert count(last) == few
    assert json.loads(last.technical)["sheet"]["previous_revision"] == 5
