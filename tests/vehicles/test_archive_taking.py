"""An archive taken in by another installation: nothing is lost, what it was stays, and where it came from is kept."""

from __future__ import annotations

import io
import json
import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import DatabaseError, transaction
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.acts import handover as handover_acts
from jobs.models import Job, Run, SheetRevision, TorqueReading
from tests.factories.archive import (
    another_installation,
    archive_of,
    files_of,
    packed,
    rows_of,
    taken_in,
    with_rows,
)
from tests.factories.datasheet import amount, known
from tests.factories.handover import in_work, leaving, owner_of, rich_job
from tests.factories.photo import PhotoFactory
from tests.factories.procedure import ProcedureFactory
from tests.factories.run import RunFactory, click_all
from tests.factories.tool import ToolFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from tests.records import first_problem
from vehicles.acts import datasheet as datasheet_acts
from vehicles.acts import fault as fault_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.acts import past_work as past_work_acts
from vehicles.files import store
from vehicles.models import ArchiveImport, Fault, Figure, ForeignEvent, OutstandingItem, Vehicle
from workshop import log, triggers
from workshop.models import TorqueTool

pytestmark = pytest.mark.words

# What an archive says otherwise once its records came from elsewhere.
ITS_OWN_LOG = {"events.json", "car.json", "checksums.txt", "README.txt"}
OTHERWISE = {
    f"{folder}/{name}.{end}"
    for folder, end in (("records", "json"), ("tables", "csv"))
    for name in ("jobs.job", "workshop.person")
}
PROVENANCE = {f"{folder}/vehicles.{name}" for folder in ("records", "tables") for name in (
    "archiveimport.json", "foreignevent.json", "archiveimport.csv", "foreignevent.csv")}  # fmt: skip


@once
def sheet(car, lead, technician, other_technician, front_desk):
    """A visit with something of everything, handed over; a photo, past work, figures, an item that ended."""
    visit = rich_job(car, lead, technician, other_technician, front_desk)
    PhotoFactory(person=technician, vehicle=car, job=visit)
    past_work_acts.add_past_work(
        by=by(lead), vehicle=car, done_on=date(2019, 5, 2), title="Timing belt", source="service book",
        amount=Decimal("410.00"),
    )  # fmt: skip
    item = outstanding_acts.raise_item(
        by=by(lead), vehicle=car, title="Wiper streaks", severity="minor", reason="deferred"
    )
    outstanding_acts.end_by_finding(
        by=by(lead), item=item, seen_version=item.version, ended_finding="Blade renewed by the owner."
    )
    handover_acts.call_ready(by=by(lead), job=visit)
    row = handover_acts.hand_over(by=by(lead), job=visit, **leaving(visit.payer))
    fault_acts.report_fault(by=by(lead), vehicle=car, kind="finding", title="Rattle", severity="minor")
    return row


@once
def data(sheet, car) -> bytes:
    return archive_of(car)


def test_nothing_is_lost_on_the_way_there_and_out_again(data):
    lead = another_installation()
    car = taken_in(data, lead)
    before, after = files_of(data), files_of(archive_of(car))
    assert set(before) == set(after)
    for name in sorted(set(before) - ITS_OWN_LOG - PROVENANCE - OTHERWISE):
        assert after[name] == before[name], name
    (job,) = rows_of(after, "jobs.job")
    assert job == {**rows_of(before, "jobs.job")[0], "origin": "Our workshop"}
    more = [row for row in rows_of(after, "workshop.person") if row not in rows_of(before, "workshop.person")]
    assert [row["name"] for row in more] == ["Wanda Tarn"], "who took it in stands on that"
    assert len(rows_of(after, "workshop.person")) == len(rows_of(before, "workshop.person")) + 1
    # What was its log is kept beside the records, each event as it was hashed.
    events = json.loads(before["events.json"])
    assert [
        {name: row[name] for name in ("seq", "hash", "previous_hash", "body")}
        for row in sorted(rows_of(after, "vehicles.foreignevent"), key=lambda row: row["seq"])
    ] == [{name: row[name] for name in ("seq", "hash", "previous_hash", "body")} for row in events]
    assert log.first_broken_link() is None
    assert first_problem() is None
    call_command("verify_records", stdout=io.StringIO())


def test_where_it_came_from_is_kept(data, car):
    lead = another_installation()
    taken = taken_in(data, lead)
    assert taken.pk == car.pk
    (archive,) = taken.archives_taken_in.all()
    assert (archive.origin, archive.flavour, archive.made_by) == ("Our workshop", "workshop", lead)
    assert archive.events == archive.foreign_events.count() > 80
    job = Job.objects.get()
    assert job.number.startswith("Our workshop 20")
    with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
        ForeignEvent.objects.update(body="")
    with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
        ArchiveImport.objects.update(origin="Another")


def test_taken_in_twice_it_is_one(data):
    lead = another_installation()
    first = taken_in(data, lead)
    counts = Fault.objects.count(), TorqueReading.objects.count(), ForeignEvent.objects.count()
    assert taken_in(data, lead) == first
    assert (Fault.objects.count(), TorqueReading.objects.count(), ForeignEvent.objects.count()) == counts
    assert ArchiveImport.objects.count() == 1


def test_a_car_that_is_here_is_not_taken_in_again(data, lead):
    with pytest.raises(ValidationError, match="here already"):
        taken_in(data, lead)
    assert not ArchiveImport.objects.exists()


def test_a_car_that_is_here_under_its_number_is_not_taken_in(data):
    lead = another_installation()
    VehicleFactory(person=lead, number="WHD45RV0000123456", as_stamped=True, make="Halden", year=2006)
    with pytest.raises(ValidationError, match="here already"):
        taken_in(data, lead)


def test_what_breaks_a_rule_leaves_nothing_behind(data):
    """Forged so that every checksum fits: a part that came off before it went on."""
    files = files_of(data)
    rows = rows_of(files, "vehicles.fittedpart")
    rows[0] |= {"fitted_at": "2020-01-02T00:00:00.000000Z", "removed_at": "2020-01-01T00:00:00.000000Z"}
    (photo,) = rows_of(files, "vehicles.attachment")
    lead = another_installation()
    for digest in (photo["file"], photo["thumb"]):
        store.remove(digest, "jpg")
    with pytest.raises(ValidationError, match="Nothing was taken in"):
        taken_in(packed(with_rows(files, "vehicles.fittedpart", rows)), lead)
    assert not Vehicle.objects.exists()
    assert not store.holds(photo["file"], "jpg"), "a photo of which nothing came is taken off the disk"
    taken_in(data, lead)
    assert store.holds(photo["file"], "jpg")


def test_a_reading_that_its_procedure_does_not_ask_for_is_refused_by_the_tables_own_guard(data):
    files = files_of(data)
    rows = rows_of(files, "jobs.torquereading")
    rows[3] |= {"fastener": 99}
    lead = another_installation()
    with pytest.raises(ValidationError, match="Nothing was taken in"):
        taken_in(packed(with_rows(files, "jobs.torquereading", rows)), lead)
    assert not TorqueReading.objects.exists()


def test_an_open_visit_elsewhere_is_not_on_our_floor(lead):
    other = VehicleFactory(person=lead)
    in_work(other, owner_of(other, lead, name="Lorne Vask"), lead)
    taken_in(archive_of(other), another_installation())
    job = Job.objects.get()
    assert job.state == "in_work"
    assert job.is_closed
    assert not Job.objects.open().exists()
    assert not Job.objects.in_the_building().exists()


def test_people_of_another_workshop_sign_in_nowhere(data):
    taken = taken_in(data, another_installation())
    person = taken.made_by
    assert person.name == "Lida Marchbank"
    assert not person.is_active
    assert not person.has_usable_password()
    assert not person.roles_held.exists()


def test_an_items_end_and_a_faults_end_are_as_they_were(data):
    taken_in(data, another_installation())
    assert OutstandingItem.objects.get(title="Wiper streaks").ended_finding == "Blade renewed by the owner."
    assert Fault.objects.get(title="Tow bar loose").end
    assert Vehicle.objects.search("drayman").exists()


def test_our_own_work_goes_on_beside_it(data):
    """A fault reported here, a new visit's number: ours begin at one, and the log and the records verify."""
    lead = another_installation()
    car = taken_in(data, lead)
    fault_acts.report_fault(by=by(lead), vehicle=car, kind="finding", title="Hum", severity="minor")
    assert SheetRevision.objects.get().job.origin
    assert log.first_broken_link() is None
    assert first_problem() is None
    # On to a third workshop: what the first one's log said goes along.
    third = archive_of(car)
    wanda = another_installation("Third Hand Motors")
    again = taken_in(third, wanda)
    assert {row.origin for row in again.archives_taken_in.all()} == {"Our workshop", "Weir Lane Garage"}
    assert Job.objects.get().origin == "Our workshop"
    assert first_problem() is None


def test_an_event_of_another_log_that_was_altered_is_found(data):
    taken_in(data, another_installation())
    row = ForeignEvent.objects.order_by("seq").first()
    with triggers.lifted():
        ForeignEvent.objects.filter(pk=row.pk).update(body=row.body.replace("vehicle", "vehicles"))
    assert "it was altered" in first_problem()


def test_the_lead_looks_at_it_and_takes_it_in(client, data):
    lead = another_installation()
    client.force_login(lead)
    file = io.BytesIO(data)
    file.name = "archive.zip"
    page = client.post(reverse("vehicles:archive-check"), {"file": file}).content.decode()
    (sha256,) = re.findall(r'name="sha256" value="([0-9a-f]{64})"', page)
    assert not Vehicle.objects.exists()
    answer = client.post(reverse("vehicles:archive-take-in"), {"sha256": sha256}, follow=True)
    text = answer.content.decode()
    assert "everything of this car is on record here now" in text
    assert "Our workshop" in text
    # Sent twice: the file does not wait any more, and nothing stands twice.
    again = client.post(reverse("vehicles:archive-take-in"), {"sha256": sha256}, follow=True).content.decode()
    assert "does not wait here any more" in again
    assert Vehicle.objects.count() == 1
    file.seek(0)
    page = client.post(reverse("vehicles:archive-check"), {"file": file}).content.decode()
    assert "This car is here already" in page
    assert 'name="sha256"' not in page


@pytest.mark.parametrize("sha256", ["", "x", "../../secret_key", "0" * 64])
def test_a_file_that_does_not_wait_is_said(client, lead, sha256):
    client.force_login(lead)
    answer = client.post(reverse("vehicles:archive-take-in"), {"sha256": sha256}, follow=True)
    assert "does not wait here any more" in answer.content.decode()


def test_two_cars_of_one_workshop_share_its_procedures_and_tools(lead, technician):
    """The second finds them here already; what was replaced comes before what replaced it, whatever their keys."""
    archives = []
    procedure, tool = ProcedureFactory(person=lead), ToolFactory(person=lead)
    for vehicle in (VehicleFactory(person=lead), VehicleFactory(person=lead)):
        run = RunFactory(person=lead, vehicle=vehicle, procedure=procedure)
        click_all(technician, run, tool)
        known(lead, vehicle, {"wheelbase": "2500 mm"})
        for length in ("2510 mm", "2520 mm", "2530 mm"):
            current = Figure.objects.current().get(vehicle=vehicle)
            datasheet_acts.change_figure(
                by=by(lead), figure=current, value=amount(length), source="measured", because="measured again"
            )
        archives.append(archive_of(vehicle))
    person = another_installation()
    for data in archives:
        taken_in(data, person)
    assert Figure.objects.count() == 8
    assert Run.objects.values("version_used").distinct().count() == 1
    assert TorqueTool.objects.filter(pk=tool.pk).count() == 1
    assert TorqueReading.objects.count() > 2
    assert first_problem() is None


# One thing that somebody writes down about a car, each in the words of an act.
SAID = st.text(
    st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=40
).map(str.strip).filter(bool)  # fmt: skip


def _fault(person, vehicle, text, number):
    fault_acts.report_fault(by=by(person), vehicle=vehicle, kind="finding", title=text, severity="minor")


def _item_that_ended(person, vehicle, text, number):
    item = outstanding_acts.raise_item(
        by=by(person), vehicle=vehicle, title=text, severity="minor", reason="deferred"
    )
    if number % 2:
        outstanding_acts.end_by_finding(
            by=by(person), item=item, seen_version=item.version, ended_finding=text
        )


def _past_work(person, vehicle, text, number):
    past_work_acts.add_past_work(
        by=by(person), vehicle=vehicle, done_on=date(2010, 1, 1) + timedelta(days=number), title=text, source=text,
        amount=Decimal(number) / 100,
    )  # fmt: skip


def _photo(person, vehicle, text, number):
    PhotoFactory(person=person, vehicle=vehicle, caption=text, colour=(number % 256, 7, 9))


@settings(
    max_examples=5, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(
    history=st.lists(
        st.tuples(
            st.sampled_from([_fault, _item_that_ended, _past_work, _photo]), SAID, st.integers(0, 3000)
        ),
        max_size=12,
    )
)
def test_whatever_was_written_down_comes_out_as_it_went_in(lead, history):
    with transaction.atomic():
        vehicle = VehicleFactory(person=lead)
        for write, text, number in history:
            write(lead, vehicle, text, number)
        data = archive_of(vehicle)
        car = taken_in(data, another_installation())
        before, after = files_of(data), files_of(archive_of(car))
        same = sorted(set(before) - ITS_OWN_LOG - PROVENANCE - OTHERWISE)
        assert [name for name in same if after.get(name) != before[name]] == []
        transaction.set_rollback(True)
