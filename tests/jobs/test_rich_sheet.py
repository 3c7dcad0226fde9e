"""A middling visit with something in every section: what its sheet says, and its records read again."""

from __future__ import annotations

import hashlib
import json

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import transaction

from jobs import sheets
from jobs.acts import handover as acts
from jobs.acts import sheet as sheet_acts
from jobs.models import ProcedureStep, Run, SecondCheck, TorqueReading
from tests.factories.handover import (
    leaving,
    rich_job,
)
from tests.factories.outstanding import ItemFactory
from tests.factories.run import click
from tests.factories.tool import ToolFactory
from tests.factories.vehicle import the_car
from tests.once import cast, each_of, made_once
from tests.people import by
from tests.reading_pdf import fonts, reader, text
from tests.records import first_problem
from workshop import sheets as printing
from workshop import triggers
from workshop.canonical import canonical, sha256

pytestmark = pytest.mark.words


def rich_visit() -> dict:
    people = cast()
    lead, car = people["lead"], the_car(people["lead"])
    job = rich_job(car, lead, people["technician"], people["other_technician"], people["front_desk"])
    acts.call_ready(by=by(lead), job=job)
    return {**people, "car": car, "rich": acts.hand_over(by=by(lead), job=job, **leaving(job.payer))}


world = made_once(rich_visit, printed=True)
lead, technician, other_technician, car, rich = each_of(
    "lead", "technician", "other_technician", "car", "rich"
)


@pytest.mark.pdf
def test_the_sheet_says_what_the_records_say(rich):
    said = text(rich)
    for words in (
        rich.job.number,
        "revision 1",
        "WHD45RV0000123456",
        "QX 06 HLD",
        "148210 km",
        "148223 km",
        "True distance is not known before",
        "Relay rewired to the ignition-switched supply",
        "Put off",
        "Normal for this car",
        "maker's owner's handbook, page 212",
        "TB-6640",
        "part of matching quality",
        "kept by the shop",
        "set 110 N·m, clicked (no. 1 to 8)",
        "shop's own tolerance",
        "8 within",
        "second check: witness mark sighted, Odo Fennick",
        "certificate BC-",
        "guarded acceptance (ISO 14253-1",
        "420 mA",
        "at most 50 mA",
        "DANGEROUS",
        "load index too low",
        "after 100 km",
        "not an official roadworthiness test",
        "Driven away",
        "2 of 2 handed in",
        "Signing gives up no claim",
    ):
        assert words in said, words
    # A click is never printed as a measurement.
    assert "110.0" not in said
    assert "discharge" not in said.casefold()


@pytest.mark.pdf
def test_the_printed_hashes_are_those_of_the_data(rich):
    def in_groups(digest):
        return " ".join(printing.in_groups(digest))

    assert sha256(rich.technical) == rich.technical_hash
    assert sha256(rich.text.personal) == rich.personal_hash
    assert hashlib.sha256(bytes(rich.text.pdf)).hexdigest() == rich.pdf_hash
    assert in_groups(rich.technical_hash) in text(rich)
    assert in_groups(rich.personal_hash) in text(rich, slice(-1, None))
    # The stored text is canonical: sorted, without anything a database could reorder.
    assert canonical(json.loads(rich.technical)) == rich.technical


@pytest.mark.pdf
def test_each_fault_stands_where_it_ended(rich):
    """Fixed: under the line that fixed it. Outstanding: under its item. Only the others have a table of their own."""
    said = json.loads(rich.technical)["body"]
    under_lines = {line["complaint"]: line["faults"] for line in said["lines"]}
    assert [fault["title"] for fault in under_lines["Secure the tow bar"]] == ["Tow bar loose"]
    assert [fault["title"] for fault in said["faults"]] == ["Ticking after switching off"]
    hose = next(item for item in said["outstanding"] if item["title"] == "Power-steering hose weeps")
    assert hose["from"] == ["Power-steering hose weeps at the crimp"]
    printed = text(rich)
    for words in (
        "Complaint Tow bar loose: fixed; checked afterwards: No play at 500 N, bar pulled by hand",
        "Finding Parking brake holds on the left side only: fixed; checked afterwards: Both sides hold",
        "Comes from: Power-steering hose weeps at the crimp",
    ):
        assert words in printed, words


@pytest.mark.pdf
def test_people_and_prices_stand_on_the_last_page_alone(rich):
    keeper = rich.job.payer
    last, before = text(rich, slice(-1, None)), text(rich, slice(0, -1))
    for words in (
        keeper.name,
        "2 Mill Rise",
        "After two nights it does not start",
        "424.50",
        "We will take the small",
    ):
        assert words in last, words
        assert words not in before, words
        assert words not in rich.technical, words


@pytest.mark.pdf
def test_a_middling_sheet_has_three_pages(rich):
    assert rich.pages == len(reader(rich).pages) == 3


@pytest.mark.pdf
def test_only_our_fonts_are_embedded(rich):
    names = fonts(reader(rich))
    assert names
    assert all(name.startswith(printing.FONTS) for name in names), names


def test_a_late_reading_makes_the_next_revision_due(rich, car, lead, technician, client):
    job = rich.job
    assert sheets.revision_due(job) == []
    run = Run.objects.get(job=job)
    late = {"made_at": run.second_checks.get().made_at, "redo_reason": "Second pass, written down late."}
    click(technician, run, 2, 1, 111, ToolFactory(person=lead), **late)
    assert "Tightening" in sheets.revision_due(job)
    client.force_login(lead)
    assert "The next revision is due" in client.get(f"/jobs/{job.pk}/").content.decode()
    # The second check lapsed with it: the joint is unproven until it is on record as outstanding.
    with pytest.raises(ValidationError, match="lapsed"):
        sheet_acts.revise_sheet(by=by(lead), job=job, change_note="Late reading.")
    ItemFactory(
        person=lead, vehicle=car, severity="dangerous", reason="beyond", raised_in=job, raised_by_run=run,
        title="Tow bar bolts: check again",
    )  # fmt: skip
    with pytest.raises(ValidationError, match="Dangerous and still open"):
        sheet_acts.revise_sheet(by=by(lead), job=job, change_note="Late reading.")
    from vehicles.acts import outstanding

    outstanding.tell(
        by=by(lead), item=run.items_raised.get(severity="dangerous"), told_to=job.payer, channel="phone",
        told="Come back.", answer="wants_it", job=job,
    )  # fmt: skip
    second = sheet_acts.revise_sheet(by=by(lead), job=job, change_note="Late reading.")
    assert second.revision == 2
    assert "Tow bar bolts: check again" in second.technical


def test_whole_records_are_whole(rich, capsys):
    call_command("verify_records")
    assert "1 sheets read again" in capsys.readouterr().out


def test_a_verdict_a_check_or_a_version_that_was_tampered_with_is_named(rich, technician, other_technician):
    assert first_problem() is None
    with triggers.lifted(), transaction.atomic():
        row = TorqueReading.objects.first()
        TorqueReading.objects.filter(pk=row.pk).update(verdict="above")
        assert "stored as “above”, computed “within”" in first_problem()
        TorqueReading.objects.filter(pk=row.pk).update(verdict=row.verdict)
        SecondCheck.objects.update(made_by=technician)
        assert "checked a step in which they took a reading" in first_problem()
        SecondCheck.objects.update(made_by=other_technician)
        ProcedureStep.objects.update(title="Another joint")
        assert "no longer says what it said" in first_problem()
