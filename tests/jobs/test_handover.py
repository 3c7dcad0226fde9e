"""Handing over: the act with its sheet, who collects the car, what it leaves with."""

from __future__ import annotations

from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from jobs import sheets
from jobs.acts import handover as acts
from jobs.models import Handover, SheetRevision
from tests.factories.handover import (
    OUT,
    ReadyJobFactory,
    in_work,
    leaving,
)
from tests.factories.job import TagFactory
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.work import owner_of
from tests.once import once
from tests.people import by
from tests.signing import hand_over, leaving_form
from vehicles.acts import keeper as keeper_acts
from vehicles.models import OdometerReading
from workshop.acting import AlreadySent
from workshop.engineering.units import Amount
from workshop.models import Event


@once
def keeper(car, lead):
    return owner_of(car, lead)


@once
def ready(car, keeper, lead):
    return ReadyJobFactory(person=lead, vehicle=car, keeper=keeper)


@pytest.mark.pdf
def test_a_car_is_handed_over_with_its_sheet(ready, keeper, lead):
    sheet = acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    assert ready.state == "handed_over"
    row = Handover.objects.get(job=ready)
    assert (row.collected_by, row.left_how, row.keys_returned) == (keeper, "driven", 2)
    assert row.odometer.value == Decimal("148223.0")
    assert (sheet.revision, sheet.kind) == (1, "handover")
    assert bytes(sheet.text.pdf).startswith(b"%PDF-")
    assert len(sheet.token) == 32  # 128 bits
    event = Event.objects.get(subject_id=str(sheet.pk))
    assert sheet.pdf_hash in event.body
    assert keeper.name not in "".join(Event.objects.values_list("body", flat=True))
    # The head that the sheet wrote down is that of before its own act.
    assert Event.objects.get(seq=sheet.log_seq).hash == sheet.log_hash


def test_only_a_lead_hands_over(ready, keeper, technician):
    with pytest.raises(PermissionDenied, match="hand a car over"):
        acts.hand_over(by=by(technician), job=ready, **leaving(keeper))
    assert not SheetRevision.objects.exists()


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"odometer": None}, "odometer", "Give the reading on leaving"),
        ({"odometer": Amount(Decimal(1000), "km")}, "lower_because", "say here why"),
        ({"keys_returned": 1}, "keys_note", "Keys handed in: 2; returned: 1"),
        ({"identified_by": " "}, "identified_by", "how this person was known"),
        ({"left_how": "flown"}, "left_how", "how the car leaves"),
    ],
)
def test_what_is_missing_is_named_beside_its_field(ready, keeper, lead, fields, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper, **fields))
    assert sentence in str(refusal.value.message_dict[field])
    assert not Handover.objects.exists()
    assert OdometerReading.objects.filter(job=ready).count() == 1  # that of check-in


def test_all_that_is_wrong_is_named_at_once(ready, car, lead):
    """Not one thing after another while the owner waits at the desk."""
    driver = KeeperFactory.create(person=lead, name="Wren Tallow")
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=driver, part="driver")
    TagFactory(person=lead, vehicle=car)
    ItemFactory(person=lead, vehicle=car, severity="dangerous", reason="deferred", title="Tyre cracked")
    wrong = leaving(driver, identified_by=" ", keys_returned=1, odometer=Amount(Decimal(1000), "km"))
    before = Event.objects.count()
    with pytest.raises(ValidationError) as refusal:
        acts.hand_over(by=by(lead), job=ready, **wrong)
    found = refusal.value.message_dict
    assert set(found) == {
        "identified_by", "collects_because", "keys_note", "lower_because", "left_how", "__all__"
    }  # fmt: skip
    assert any("Tyre cracked" in text for text in found["__all__"])
    assert Event.objects.count() == before
    assert OdometerReading.objects.filter(job=ready).count() == 1


def test_a_car_that_stays_may_wait_for_its_other_job(ready, car, keeper, lead):
    """Two payers, two jobs: what keeps a car here is nothing against handing it over on the spot."""
    in_work(car, keeper, lead)
    with pytest.raises(ValidationError, match="is still open"):
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    sheet = acts.hand_over(by=by(lead), job=ready, **leaving(keeper, left_how="stays"))
    assert sheet.job.handover.left_how == "stays"


def test_an_odometer_that_is_not_readable_is_said(ready, keeper, lead):
    sheet = acts.hand_over(
        by=by(lead), job=ready, **leaving(keeper, odometer=None, odometer_not_readable="display dark")
    )
    assert sheet.job.handover.odometer.value is None


def test_keys_that_differ_are_explained(ready, keeper, lead):
    acts.hand_over(
        by=by(lead), job=ready, **leaving(keeper, keys_returned=1, keys_note="the other one by post")
    )
    assert ready.handover.keys_note == "the other one by post"


def test_whoever_may_not_collect_needs_a_reason(ready, car, lead):
    driver = KeeperFactory.create(person=lead, name="Wren Tallow")
    with pytest.raises(ValidationError) as refusal:
        acts.hand_over(by=by(lead), job=ready, **leaving(driver))
    assert "not on record as one of this car's people" in str(refusal.value.message_dict["collected_by"])
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=driver, part="driver")
    with pytest.raises(ValidationError) as refusal:
        acts.hand_over(by=by(lead), job=ready, **leaving(driver))
    assert "who sent them" in str(refusal.value.message_dict["collects_because"])
    acts.hand_over(by=by(lead), job=ready, **leaving(driver, collects_because="The owner rang and sent her."))
    assert ready.handover.collected_by == driver


def test_the_gate_runs_again_at_handover(ready, keeper, lead):
    ItemFactory(person=lead, vehicle=ready.vehicle, severity="dangerous", reason="deferred")
    with pytest.raises(ValidationError, match="Dangerous and still open"):
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    ready.refresh_from_db()
    assert ready.state == "ready"


def test_the_same_form_twice_is_one_handover(ready, keeper, lead, monkeypatch):
    printed = []
    really = sheets.print_sheet
    monkeypatch.setattr(
        sheets, "print_sheet", lambda *args, **kwargs: printed.append(1) or really(*args, **kwargs)
    )
    key = uuid4()
    first = acts.hand_over(by=by(lead, key=key), job=ready, **leaving(keeper))
    again = acts.hand_over(by=by(lead, key=key), job=ready, **leaving(keeper))
    assert first == again
    assert printed == [1]
    with pytest.raises(AlreadySent):
        acts.hand_over(by=by(lead, key=key), job=ready, **leaving(keeper, told="something else"))
    with pytest.raises(ValidationError, match="was handed over already, by Lida Marchbank"):
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper))


def test_the_rehearsal_leaves_nothing_behind(ready, keeper, lead, monkeypatch):
    def broken(*args, **kwargs):
        raise OSError("the printer is gone")

    before = Event.objects.count()
    monkeypatch.setattr(sheets, "print_sheet", broken)
    with pytest.raises(OSError, match="printer"):
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    assert Event.objects.count() == before
    assert not Handover.objects.exists()
    assert OdometerReading.objects.filter(job=ready).count() == 1


def test_what_changes_between_printing_and_saving_is_printed(ready, keeper, lead, technician, monkeypatch):
    """Somebody writes to the job while the sheet is being printed: it is printed anew, with what they wrote."""
    really, times = sheets.print_sheet, []

    def print_and_be_late(*args, **kwargs):
        times.append(1)
        if len(times) == 1:
            ItemFactory(
                person=technician,
                vehicle=ready.vehicle,
                title="Wiper torn",
                severity="advice",
                reason="beyond",
                made_at=ready.made_at,  # seen earlier, written down while the sheet is printed
            )
        return really(*args, **kwargs)

    monkeypatch.setattr(sheets, "print_sheet", print_and_be_late)
    sheet = acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    assert len(times) == 2
    assert "Wiper torn" in sheet.technical


def test_a_blocker_that_comes_while_printing_stops_the_handover(ready, keeper, lead, monkeypatch):
    really = sheets.print_sheet

    def print_and_tag(*args, **kwargs):
        TagFactory(person=lead, vehicle=ready.vehicle)
        return really(*args, **kwargs)

    monkeypatch.setattr(sheets, "print_sheet", print_and_tag)
    with pytest.raises(ValidationError) as refusal:
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    assert "Do not start" in str(refusal.value.message_dict["left_how"])
    assert not SheetRevision.objects.exists()


def test_a_job_that_never_rests_is_refused_in_words(ready, keeper, lead, technician, monkeypatch):
    really = sheets.print_sheet

    def print_and_write(*args, **kwargs):
        ItemFactory(
            person=technician,
            vehicle=ready.vehicle,
            severity="advice",
            reason="beyond",
            made_at=ready.made_at,
        )
        return really(*args, **kwargs)

    monkeypatch.setattr(sheets, "print_sheet", print_and_write)
    with pytest.raises(ValidationError, match="kept writing to this job"):
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    assert not Handover.objects.exists()


def test_the_database_keeps_one_handover_and_never_alters_it(ready, keeper, lead):
    acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    with pytest.raises(IntegrityError), transaction.atomic():
        Handover.objects.update(keys_returned=0)
    with pytest.raises(IntegrityError), transaction.atomic():
        Handover.objects.create(
            **by(lead).stamp(), job=ready, collected_by=keeper, identified_by="x", left_how="driven",
            keys_returned=0, odometer=ready.handover.odometer,
        )  # fmt: skip


# Screens


def test_the_handover_page_shows_gate_preview_and_form(client, ready, keeper, lead):
    client.force_login(lead)
    page = client.get(f"/jobs/{ready.pk}/handover/").content.decode()
    assert "Nothing blocks handover" in page
    assert "Squeals when braking" in page
    assert 'name="collected_by"' in page
    assert "danger_told" not in page
    answer = hand_over(client, f"/jobs/{ready.pk}/handover/", leaving_form(keeper))
    sheet = SheetRevision.objects.get()
    assert (answer.status_code, answer.url) == (302, f"/sheets/{sheet.pk}/")
    # Afterwards the page leads to the sheet.
    assert client.get(f"/jobs/{ready.pk}/handover/").url == f"/sheets/{sheet.pk}/"


def test_a_refused_handover_comes_back_filled(client, ready, keeper, lead):
    client.force_login(lead)
    answer = client.post(f"/jobs/{ready.pk}/handover/", leaving_form(keeper, keys_returned="1"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Keys handed in: 2; returned: 1" in page
    assert "Pads run in gently &lt;b&gt;for&lt;/b&gt; 200 km." in page
    assert "148223" in page
    assert not Handover.objects.exists()


def test_a_field_that_can_not_be_read_does_not_hide_what_else_is_wrong(client, ready, lead, keeper):
    client.force_login(lead)
    typed = leaving_form(
        keeper,
        odometer_value="about 148000",
        identified_by="",
        keys_returned="",
        left_how="",
        collected_by="",
    )
    answer = client.post(f"/jobs/{ready.pk}/handover/", typed)
    assert answer.status_code == 422
    wrong = answer.context["form"].errors
    assert set(wrong) == {"odometer", "identified_by", "keys_returned", "left_how", "collected_by"}
    assert all(len(sentences) == 1 for sentences in wrong.values()), (
        "what could not be read is not called missing"
    )
    assert "about 148000" in answer.content.decode()


def test_a_handover_sent_after_another_one_leads_to_the_sheet(client, ready, keeper, lead, shop_owner):
    """The other lead had the form open: what they typed comes back, with the way to the sheet that counts."""
    sheet = acts.hand_over(by=by(lead), job=ready, **leaving(keeper))
    client.force_login(shop_owner)
    answer = client.post(f"/jobs/{ready.pk}/handover/", leaving_form(keeper))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "was handed over already, by Lida Marchbank" in page
    assert f'href="/sheets/{sheet.pk}/"' in page
    assert "Pads run in gently &lt;b&gt;for&lt;/b&gt; 200 km." in page


def test_others_may_not_hand_over(client, ready, technician, front_desk):
    for person in (technician, front_desk):
        client.force_login(person)
        assert client.get(f"/jobs/{ready.pk}/handover/").status_code == 403


def test_the_odometer_read_on_the_road_test_still_stands(ready, keeper, lead):
    from vehicles.acts import odometer

    odometer.record_reading(by=by(lead), vehicle=ready.vehicle, amount=OUT, job=ready)
    acts.hand_over(by=by(lead), job=ready, **leaving(keeper, odometer=None))
    assert ready.handover.odometer.value == OUT.value
