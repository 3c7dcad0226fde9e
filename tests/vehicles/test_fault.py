"""Faults: reported, examined, ended in exactly one way."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from html import unescape
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.acts import work
from tests.factories.fault import FaultFactory
from tests.factories.job import JobFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.vehicle import VehicleFactory
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles.acts import fault as acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import outstanding as item_acts
from vehicles.forms.fault import StepForm, units_by_kind
from vehicles.models import DiagnosisStep, Fault, FaultCode, FaultEnd, OutstandingItem, Place
from workshop.acting import ChangedMeanwhile
from workshop.engineering.units import UNITS, Amount
from workshop.models import Event


@pytest.fixture
def fault(lead, car):
    return FaultFactory(person=lead, vehicle=car, title="Battery flat", severity="major")


@pytest.fixture
def other(lead, car, fault):
    return FaultFactory(person=lead, vehicle=car, title="Fridge cuts out", severity="minor")


@pytest.fixture
def third(lead, car, other):
    return FaultFactory(person=lead, vehicle=car, title="Radio forgets its stations", severity="minor")


@pytest.fixture
def other_car(lead):
    return VehicleFactory(person=lead)


@pytest.fixture
def line(lead, car):
    job = JobFactory(person=lead, vehicle=car)
    return work.add_line(by=by(lead), job=job, complaint="Battery flat", kind="diagnosis")


def refusal(act, **arguments) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        act(**arguments)
    return caught.value.message_dict


def ended(fault) -> Fault:
    return Fault.objects.get(pk=fault.pk)


# --- reported ---------------------------------------------------------------------------------------------------


def test_faults_are_numbered_per_car(lead, car, fault, other, other_car):
    first_there = FaultFactory(person=lead, vehicle=other_car)
    assert (str(fault), other.order, first_there.order) == ("F1 Battery flat", 2, 1)


def test_what_was_said_stands_beside_the_chain(lead, car):
    FaultFactory(person=lead, vehicle=car, words="My brother says the fridge did it.")
    event = Event.objects.latest("seq")
    assert "My brother" not in event.body
    assert "My brother" in event.detail.words


def test_who_reports_plays_a_part_for_the_car(lead, car):
    keeper = keeper_acts.add_keeper(by=by(lead), name="Corin Ashby")
    with pytest.raises(ValidationError) as caught:
        FaultFactory(person=lead, vehicle=car, reported_by=keeper)
    assert "Corin Ashby plays no part for this car" in caught.value.message_dict["reported_by"][0]
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part="driver")
    assert FaultFactory(person=lead, vehicle=car, reported_by=keeper).reported_by == keeper


@pytest.mark.parametrize(
    ("place", "position", "field"),
    [(None, "left", "place"), ("tow-bar", "left", "position"), ("brake-discs", "left", "position")],
)
def test_a_position_belongs_to_its_place(lead, car, place, position, field):
    with pytest.raises(ValidationError) as caught:
        FaultFactory(
            person=lead,
            vehicle=car,
            place=Place.objects.get(pk=place) if place else None,
            position=position,
        )
    assert list(caught.value.message_dict) == [field]


def test_the_same_key_twice_is_one_fault(lead, car):
    key = uuid4()
    for _ in range(2):
        acts.report_fault(by=by(lead, key=key), vehicle=car, kind="finding", title="Rust", severity="minor")
    assert Fault.objects.count() == 1


def test_a_vehicle_owner_reports_nothing_himself(car_owner, car):
    with pytest.raises(PermissionDenied, match="You may not report a fault"):
        FaultFactory(person=car_owner, vehicle=car)


def test_the_front_desk_reports_but_does_not_end(front_desk, car):
    fault = FaultFactory(person=front_desk, vehicle=car)
    with pytest.raises(PermissionDenied, match="You may not end a fault"):
        acts.end_normal(by=by(front_desk), fault=fault, seen_version=1, normal_source="handbook")


# --- examined ---------------------------------------------------------------------------------------------------


# The structure is that of SAE J2012 (ISO 15031-6): a letter, a figure 0 to 3, three hexadecimal figures.
@pytest.mark.parametrize(
    "code", ["P0133", "P0420", "C0123", "P1500", "P240A", "U0100", "B1234", "P2A00", "U1158"]
)
def test_codes_of_the_standards_structure_are_taken(lead, fault, code):
    assert acts.add_code(by=by(lead), fault=fault, code=f" {code.lower()} ").code == code


# From memory: the failure type of SAE J2012-DA follows a hyphen.
def test_a_failure_type_is_kept(lead, fault):
    assert acts.add_code(by=by(lead), fault=fault, code="u0100-87", present=False).code == "U0100-87"


# Two and three bytes as a reader shows them; decoded by SAE J2012's bits.
@pytest.mark.parametrize(
    ("typed", "code"), [("05 62", "P0562"), ("c1 00 87", "U0100-87"), ("0x92 0x34", "B1234")]
)
def test_a_code_in_bytes_is_kept_with_its_letter_and_its_structure_is_said(client, lead, fault, typed, code):
    row = acts.add_code(by=by(lead), fault=fault, code=typed)
    assert row.code == code
    client.force_login(lead)
    assert row.meaning in unescape(client.get(fault.get_absolute_url()).content.decode())


def test_a_code_without_the_structure_comes_back_filled_with_its_sentence(client, lead, fault):
    client.force_login(lead)
    page = client.post(reverse("vehicles:fault-code", args=[fault.pk]), {"code": "C100", "key": uuid4()})
    assert page.status_code == 422
    text = page.content.decode()
    assert 'value="C100"' in text
    assert "figure missing" in text


@pytest.mark.parametrize(
    "code", ["", "X0133", "P4133", "P013", "P01333", "P0G33", "P0133-1", "P0133-1Z", "C100", "00 00"]
)
def test_other_codes_are_refused(lead, fault, code):
    with pytest.raises(ValidationError):
        acts.add_code(by=by(lead), fault=fault, code=code)
    assert not FaultCode.objects.exists()


def test_a_reading_keeps_what_was_typed_and_the_base_unit(lead, fault):
    step = acts.add_step(
        by=by(lead),
        fault=fault,
        tried="Drain with everything off",
        seen="falls when the fridge fuse is out",
        reading=Amount(Decimal("420"), "mA"),
    )
    step.refresh_from_db()
    assert (step.value, step.unit, step.base_value) == (Decimal("420"), "mA", Decimal("0.42"))


@pytest.mark.parametrize(
    ("value", "sentence"),
    [("0.00001", "at most 4 decimals"), ("10000000000", "below 10000000000")],
)
def test_a_reading_that_can_not_be_kept_is_refused(lead, fault, value, sentence):
    said = refusal(
        acts.add_step, by=by(lead), fault=fault, tried="a", seen="b", reading=Amount(Decimal(value), "V")
    )
    assert sentence in said["reading"][0]


def test_steps_say_what_was_tried_and_seen(lead, fault):
    assert "seen" in refusal(acts.add_step, by=by(lead), fault=fault, tried="Wiggled the loom", seen=" ")


def test_reproduced_and_severity_with_two_people(lead, technician, fault):
    stale = ended(fault)
    acts.set_reproduced(by=by(lead), fault=fault, seen_version=1, reproduced="sometimes")
    with pytest.raises(ChangedMeanwhile):
        acts.set_severity(
            by=by(technician), fault=stale, seen_version=1, severity="dangerous", reason="smoke"
        )
    acts.set_severity(by=by(technician), fault=stale, seen_version=2, severity="dangerous", reason="smoke")
    assert ended(fault).severity == "dangerous"
    assert "reason" in refusal(
        acts.set_severity, by=by(lead), fault=fault, seen_version=3, severity="minor", reason=""
    )


def test_one_cause_explains_several_faults(lead, car, fault, other, third):
    cause = acts.name_cause(by=by(lead), faults=[fault, other], description="Fridge relay sticks")
    assert set(cause.faults.all()) == {fault, other}
    acts.name_cause(by=by(lead), faults=[third], cause=cause)
    assert cause.faults.count() == 3
    acts.withdraw_cause(by=by(lead), fault=third, seen_version=third.version, reason="its own battery")
    assert cause.faults.count() == 2


def test_a_cause_is_of_one_car(lead, fault, other_car):
    stranger = FaultFactory(person=lead, vehicle=other_car)
    assert (
        "faults of one car"
        in refusal(acts.name_cause, by=by(lead), faults=[fault, stranger], description="Moon phase")[
            "faults"
        ][0]
    )
    assert "faults" in refusal(acts.name_cause, by=by(lead), faults=[], description="Moon phase")


# --- ended in exactly one way -------------------------------------------------------------------------------------


def test_no_fault_found_says_what_was_tried(lead, fault):
    said = refusal(acts.end_no_fault_found, by=by(lead), fault=fault, seen_version=1, tried=" ")
    assert "Say what was tried and what was seen" in said["tried"][0]
    acts.end_no_fault_found(by=by(lead), fault=fault, seen_version=1, tried="Two nights at 0.03 A.")
    fault = ended(fault)
    assert (fault.end, fault.tried, fault.ended_by) == ("no_fault_found", "Two nights at 0.03 A.", lead)


def test_normal_needs_its_source(lead, fault):
    assert "normal_source" in refusal(
        acts.end_normal, by=by(lead), fault=fault, seen_version=1, normal_source=""
    )
    acts.end_normal(by=by(lead), fault=fault, seen_version=1, normal_source="maker's handbook, page 12")
    assert ended(fault).end_words == "Normal for this car"


def test_outstanding_as_a_new_item_in_the_same_act(lead, fault):
    acts.end_outstanding(
        by=by(lead), fault=fault, seen_version=1, reason="parts", detail="Relay is on order."
    )
    item = OutstandingItem.objects.get()
    assert (item.title, item.severity, item.detail) == ("Battery flat", "major", "Relay is on order.")
    assert ended(fault).outstanding_item == item
    assert item.key == Event.objects.latest("seq").key


def test_outstanding_as_an_item_that_is_open(lead, car, fault):
    item = ItemFactory(person=lead, vehicle=car, severity="major")
    acts.end_outstanding(by=by(lead), fault=fault, seen_version=1, item=item)
    assert ended(fault).outstanding_item == item
    assert OutstandingItem.objects.count() == 1


def test_a_refused_item_leaves_the_fault_as_it_was(lead, fault):
    said = refusal(acts.end_outstanding, by=by(lead), fault=fault, seen_version=1, reason="recheck")
    assert "A re-check needs a date" in said["__all__"][0]
    assert ended(fault).end == ""
    assert not OutstandingItem.objects.exists()


def test_a_major_fault_does_not_become_mere_advice(lead, car, fault):
    said = refusal(
        acts.end_outstanding, by=by(lead), fault=fault, seen_version=1, reason="deferred", severity="advice"
    )
    assert "The fault is major, the item would be advice" in said["severity"][0]
    item = ItemFactory(person=lead, vehicle=car, severity="advice")
    assert "item" in refusal(acts.end_outstanding, by=by(lead), fault=fault, seen_version=1, item=item)


def test_an_item_of_another_car_is_refused(lead, fault, other_car):
    item = ItemFactory(person=lead, vehicle=other_car, severity="major")
    said = refusal(acts.end_outstanding, by=by(lead), fault=fault, seen_version=1, item=item)
    assert "on another car" in said["item"][0]


def test_the_same_as_another(lead, fault, other):
    acts.end_same_as(by=by(lead), fault=other, seen_version=1, same_as=fault)
    assert ended(other).same_as == fault
    assert (
        "can't be the same as itself"
        in refusal(acts.end_same_as, by=by(lead), fault=fault, seen_version=1, same_as=fault)["same_as"][0]
    )


def test_same_as_goes_round_in_no_circle(lead, fault, other, third):
    acts.end_same_as(by=by(lead), fault=fault, seen_version=1, same_as=other)
    direct = refusal(acts.end_same_as, by=by(lead), fault=other, seen_version=1, same_as=fault)
    assert "go round in a circle: F1, which is the same as F2" in direct["same_as"][0]
    acts.end_same_as(by=by(lead), fault=other, seen_version=1, same_as=third)
    longer = refusal(acts.end_same_as, by=by(lead), fault=third, seen_version=1, same_as=fault)
    assert "F1, which is the same as F2, which is the same as F3" in longer["same_as"][0]


def test_the_same_as_one_of_another_car_or_in_error_is_refused(lead, fault, other, other_car):
    stranger = FaultFactory(person=lead, vehicle=other_car)
    assert (
        "another car"
        in refusal(acts.end_same_as, by=by(lead), fault=fault, seen_version=1, same_as=stranger)["same_as"][0]
    )
    acts.end_error(by=by(lead), fault=other, seen_version=1, error_reason="typed twice")
    assert (
        "entered in error"
        in refusal(acts.end_same_as, by=by(lead), fault=fault, seen_version=1, same_as=other)["same_as"][0]
    )


def test_what_others_lean_on_is_no_error(lead, fault, other):
    acts.end_same_as(by=by(lead), fault=other, seen_version=1, same_as=fault)
    with pytest.raises(ValidationError, match="F2 Fridge cuts out is ended as the same as this one"):
        acts.end_error(by=by(lead), fault=fault, seen_version=1, error_reason="typed twice")


def test_fixed_by_a_line_with_its_check(lead, fault, line):
    assert "check_made" in refusal(acts.end_fixed, by=by(lead), fault=fault, line=line, check_made=" ")
    acts.end_fixed(by=by(lead), fault=fault, line=line, check_made="0.03 A after twenty minutes")
    assert ended(fault).end_words == "Fixed"


def test_fixed_with_a_recheck_is_not_yet_confirmed(lead, car, fault, line):
    item = ItemFactory(
        person=lead,
        vehicle=car,
        severity="major",
        reason="recheck",
        due_on=timezone.localdate() + timedelta(30),
    )
    acts.end_fixed(by=by(lead), fault=fault, line=line, check_made="0.03 A", recheck_item=item)
    assert ended(fault).end_words == "Repaired, not yet confirmed"


def test_fixed_by_a_line_of_another_car_is_refused(lead, other_car, line):
    stranger = FaultFactory(person=lead, vehicle=other_car)
    assert "line" in refusal(acts.end_fixed, by=by(lead), fault=stranger, line=line, check_made="looked")


ENDS = {
    FaultEnd.NO_FAULT_FOUND: (acts.end_no_fault_found, {"tried": "all"}),
    FaultEnd.OUTSTANDING: (acts.end_outstanding, {"reason": "parts"}),
    FaultEnd.NORMAL: (acts.end_normal, {"normal_source": "handbook"}),
    FaultEnd.SAME_AS: (acts.end_same_as, {}),
    FaultEnd.ERROR: (acts.end_error, {"error_reason": "typed twice"}),
}


@pytest.mark.parametrize("first", ENDS)
@pytest.mark.parametrize("second", ENDS)
def test_an_ended_fault_is_not_ended_again(lead, fault, other, first, second):
    def end(which, version):
        act, arguments = ENDS[which]
        if which == FaultEnd.SAME_AS:
            arguments = {"same_as": other}
        act(by=by(lead), fault=ended(fault), seen_version=version, **arguments)

    end(first, 1)
    with pytest.raises(ValidationError, match=r"This fault ended on .*: .* Reopen it first"):
        end(second, 2)
    assert ended(fault).end == first


def test_two_people_end_one_fault(lead, technician, fault):
    stale = ended(fault)
    acts.set_reproduced(by=by(lead), fault=fault, seen_version=1, reproduced="yes")
    with pytest.raises(ChangedMeanwhile):
        acts.end_normal(by=by(technician), fault=stale, seen_version=1, normal_source="handbook")
    assert ended(fault).end == ""


@pytest.mark.parametrize("way", ENDS)
def test_reopened_with_a_reason_the_old_end_stands_in_the_log(lead, fault, other, way):
    act, arguments = ENDS[way]
    act(by=by(lead), fault=fault, seen_version=1, **(arguments or {"same_as": other}))
    assert "reason" in refusal(acts.reopen, by=by(lead), fault=fault, reason=" ")
    acts.reopen(by=by(lead), fault=fault, reason="it came back")
    fault = ended(fault)
    assert {name: getattr(fault, name) for name in acts.END_FIELDS} == acts.END_FIELDS
    event = Event.objects.latest("seq")
    assert f'"end":"{way.value}"' in event.body
    assert "it came back" in event.detail.words
    with pytest.raises(ValidationError, match="nothing to take back"):
        acts.reopen(by=by(lead), fault=fault, reason="again")


def test_found_before_the_end_may_be_written_down_after_it(lead, car):
    now = timezone.now()
    fault = FaultFactory(person=lead, vehicle=car, severity="major", made_at=now - timedelta(hours=1))
    before = now - timedelta(minutes=30)
    acts.end_normal(by=by(lead), fault=fault, seen_version=1, normal_source="handbook")
    acts.add_step(by=by(lead, made_at=before), fault=ended(fault), tried="Charged it", seen="holds")
    with pytest.raises(ValidationError, match="Reopen it first"):
        acts.add_step(by=by(lead), fault=ended(fault), tried="Charged it", seen="holds")


def test_a_fault_does_not_end_on_an_item_that_was_ended_meanwhile(lead, car, fault):
    item = ItemFactory(person=lead, vehicle=car, severity="major")
    item_acts.end_by_finding(
        by=by(lead), item=OutstandingItem.objects.get(pk=item.pk), seen_version=1, ended_finding="was dirt"
    )
    assert item.end == "", "the page was opened before that"
    said = refusal(acts.end_outstanding, by=by(lead), fault=fault, seen_version=1, item=item)
    assert "has ended" in said["item"][0]
    assert Fault.objects.get(pk=fault.pk).end == ""


def test_a_repair_is_not_to_be_confirmed_by_an_item_that_was_ended_meanwhile(lead, car, fault, line):
    item = ItemFactory(person=lead, vehicle=car)
    item_acts.end_by_finding(
        by=by(lead), item=OutstandingItem.objects.get(pk=item.pk), seen_version=1, ended_finding="was dirt"
    )
    said = refusal(
        acts.end_fixed, by=by(lead), fault=fault, line=line, check_made="Driven, dry", recheck_item=item
    )
    assert "has ended" in said["recheck_item"][0]


@pytest.mark.parametrize("state", ["handed_over", "cancelled"])
def test_nothing_is_reported_on_a_closed_job(client, lead, technician, car, state):
    job = JobFactory(person=lead, vehicle=car)
    because = {"cancelled_because": "sold"} if state == "cancelled" else {}
    type(job).objects.filter(pk=job.pk).update(state=state, **because)
    said = refusal(
        acts.report_fault, by=by(lead), vehicle=car, kind="finding", title="x", severity="minor", job=job
    )
    assert "nothing is added to it. Choose an open job" in said["job"][0]
    assert not car.faults.exists()
    client.force_login(technician)
    address = reverse("vehicles:fault-add", args=[car.pk])
    sent = form_of(client, address) | {"kind": "finding", "title": "Play", "severity": "minor"}
    answer = client.post(address, sent | {"job": str(job.pk)})
    assert answer.status_code == 422
    assert "This job is closed" in answer.context["form"].errors["job"][0]
    assert client.post(address, sent | {"job": ""}).status_code == 302


@pytest.mark.parametrize("act", [acts.add_step, acts.add_code])
def test_nothing_is_examined_before_the_fault_was_reported(lead, fault, act):
    what = {"code": "P0562"} if act is acts.add_code else {"tried": "Charged it", "seen": "holds"}
    early = fault.made_at - timedelta(minutes=2)
    said = refusal(act, by=by(lead, made_at=early), fault=fault, **what)
    assert "The fault was reported on" in said["made_at"][0]
    # The minute in which it was reported, as a person types it.
    assert act(by=by(lead, made_at=fault.made_at - timedelta(seconds=50)), fault=fault, **what).pk


def test_no_fault_ends_before_it_was_reported(lead, fault):
    early = by(lead, made_at=fault.made_at - timedelta(hours=1))
    assert "made_at" in refusal(acts.end_normal, by=early, fault=fault, seen_version=1, normal_source="book")


def test_nothing_was_wrong_with_a_car_before_it_was_built(lead, car):
    early = by(lead, made_at=datetime(2004, 12, 30, tzinfo=UTC))
    said = refusal(acts.report_fault, by=early, vehicle=car, kind="complaint", title="Old", severity="minor")
    assert "The car is of model year 2006: nothing was wrong with it in 2004" in said["made_at"][0]
    said = refusal(item_acts.raise_item, by=early, vehicle=car, title="Old", severity="minor", reason="parts")
    assert "2005 or later" in said["made_at"][0]


# --- the database keeps the rules when the form is bypassed -------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"end": "fixed"},
        {"end": "no_fault_found"},
        {"tried": "something"},
        {"end": "closed"},
        {"severity": "awful"},
        {"position": "left"},
        {"title": ""},
    ],
)
def test_the_database_refuses(fault, change):
    with pytest.raises(IntegrityError), transaction.atomic():
        Fault.objects.filter(pk=fault.pk).update(**change)


@pytest.mark.parametrize("column", ["outstanding_item", "recheck_item"])
def test_the_database_ends_no_fault_on_an_ended_item(lead, car, other_car, fault, line, column):
    ended, foreign = ItemFactory(person=lead, vehicle=car), ItemFactory(person=lead, vehicle=other_car)
    item_acts.end_by_finding(by=by(lead), item=ended, seen_version=1, ended_finding="was dirt")
    stamp = {"ended_at": fault.made_at, "ended_by": lead, "version": 2}
    way = {"outstanding_item": {"end": "outstanding"},
           "recheck_item": {"end": "fixed", "fixed_by_line": line, "check_made": "Driven"}}[column]  # fmt: skip
    for item in (ended, foreign):
        with pytest.raises(IntegrityError, match="that is open"), transaction.atomic():
            Fault.objects.filter(pk=fault.pk).update(**way, **stamp, **{column: item})
        copy = Fault.objects.get(pk=fault.pk)
        copy.pk, copy.order = uuid4(), 77
        for name, value in {**way, **stamp, column: item}.items():
            setattr(copy, name, value)
        with pytest.raises(IntegrityError, match="that is open"), transaction.atomic():
            copy.save(force_insert=True)
    open_one = ItemFactory(person=lead, vehicle=car)
    Fault.objects.filter(pk=fault.pk).update(**way, **stamp, **{column: open_one})
    # The item ends later, and the fault goes on to be what it was.
    item_acts.end_by_finding(by=by(lead), item=open_one, seen_version=1, ended_finding="was dirt")
    Fault.objects.filter(pk=fault.pk).update(reproduced="yes")


@pytest.mark.parametrize("way", ENDS)
def test_the_database_holds_one_end_and_what_belongs_to_it(lead, fault, other, third, way):
    act, arguments = ENDS[way]
    act(by=by(lead), fault=fault, seen_version=1, **(arguments or {"same_as": other}))
    row = Fault.objects.filter(pk=fault.pk)
    extra = {"same_as": third} if way == FaultEnd.ERROR else {"error_reason": "as well"}
    for change in (extra, {"end": ""}, {"ended_at": None}, {"ended_by": None}):
        if way == FaultEnd.ERROR and change == {"error_reason": "as well"}:
            continue
        with pytest.raises(IntegrityError), transaction.atomic():
            row.update(**change)


def test_the_database_refuses_the_circle_and_the_other_car(lead, fault, other, other_car):
    acts.end_same_as(by=by(lead), fault=other, seen_version=1, same_as=fault)
    stranger = FaultFactory(person=lead, vehicle=other_car)
    for target in (fault, other, stranger):
        with pytest.raises(IntegrityError), transaction.atomic():
            Fault.objects.filter(pk=fault.pk).update(
                end="same_as", same_as=target, ended_at=timezone.now(), ended_by=lead
            )


def test_steps_and_codes_are_never_altered(lead, fault):
    acts.add_step(by=by(lead), fault=fault, tried="a", seen="b")
    acts.add_code(by=by(lead), fault=fault, code="P0562")
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        DiagnosisStep.objects.update(seen="c")
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        FaultCode.objects.all().delete()


# --- screens --------------------------------------------------------------------------------------------------


def test_reported_on_the_screen(client, front_desk, car):
    client.force_login(front_desk)
    url = reverse("vehicles:fault-add", args=[car.pk])
    answer = client.post(
        url,
        form_of(client, url) | {"kind": "complaint", "title": "Flat battery", "severity": "minor",
                                "words": "Every Monday morning."},
    )  # fmt: skip
    fault = Fault.objects.get()
    assert answer.url == fault.get_absolute_url()
    page = client.get(answer.url).content.decode()
    assert "Every Monday morning." in page
    assert "How it ends" not in page


def test_a_number_without_its_unit_comes_back_filled(client, technician, fault):
    client.force_login(technician)
    url = reverse("vehicles:fault-step", args=[fault.pk])
    sent = form_of(client, url) | {
        "tried": "Drain, all off",
        "seen": "high",
        "reading_value": "0,42",
        "reading_unit": "",
    }
    answer = client.post(url, sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Choose a unit: a number without one can&#x27;t be kept." in page
    assert "Drain, all off" in page
    assert 'value="0,42"' in page
    answer = client.post(url, sent | {"reading_unit": "A"})
    assert answer.status_code == 302
    assert "0.42 A" in client.get(answer.url).content.decode()


def test_the_units_of_a_step_stand_by_kind_each_once_and_the_usual_first():
    """Common practice, no source: what a multimeter and a gauge read comes first."""
    kinds = units_by_kind()
    labels = [label for _, rows in kinds for _, label in rows]
    assert {code for _, rows in kinds for code, _ in rows} == set(UNITS)
    assert len(labels) == len(set(labels)) == len(UNITS), "no two units read alike"
    assert [kind for kind, _ in kinds[:4]] == ["Voltage", "Current", "Resistance", "Pressure"]
    for _, rows in kinds:
        assert len({UNITS[code].dimension for code, _ in rows}) == 1
    assert ("g0", "g (9.81 m/s²)") in dict(kinds)["Deceleration"]
    assert dict(kinds)["Pressure"][0] == ("bar", "bar")
    assert str(StepForm.base_fields["reading"].widget.render("reading", None)).count("<optgroup") == len(
        kinds
    )


def test_steps_are_taken_over_for_no_fault_found(client, technician, fault):
    acts.add_step(by=by(technician), fault=fault, tried="Drain", seen="as it should be",
                  reading=Amount(Decimal("0.03"), "A"))  # fmt: skip
    client.force_login(technician)
    sent = form_of(client, reverse("vehicles:fault-no-fault-found", args=[fault.pk]))
    assert sent["tried"] == "Drain: as it should be (0.03 A)"


def test_outstanding_on_the_screen_asks_for_what_a_new_item_needs(client, technician, fault):
    client.force_login(technician)
    url = reverse("vehicles:fault-outstanding", args=[fault.pk])
    sent = form_of(client, url)
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert answer.context["form"].errors == {"reason": ["Say why it is outstanding."]}
    answer = client.post(
        url, sent | {"reason": "parts", "due_distance_value": "500", "due_distance_unit": "mi"}
    )
    assert answer.url == fault.get_absolute_url()
    assert OutstandingItem.objects.get().due_words == "after 500 mi"


def test_every_end_has_its_screen(client, technician, fault, other):
    client.force_login(technician)
    for name, fields in (
        ("no-fault-found", {"tried": "all of it"}),
        ("normal", {"normal_source": "handbook"}),
        ("same", {"same_as": other.pk}),
        ("error", {"error_reason": "typed twice"}),
    ):
        url = reverse(f"vehicles:fault-{name}", args=[fault.pk])
        assert client.post(url, form_of(client, url) | fields).url == fault.get_absolute_url(), name
        assert client.get(fault.get_absolute_url()).status_code == 200
        url = reverse("vehicles:fault-reopen", args=[fault.pk])
        assert client.post(url, form_of(client, url) | {"reason": "was wrong"}).status_code == 302
    assert ended(fault).end == ""


def test_the_other_screens_of_a_fault(client, technician, fault, other):
    client.force_login(technician)
    for name, fields in (
        ("code", {"code": "p0562", "control_unit": "body"}),
        ("reproduced", {"reproduced": "yes"}),
        ("severity", {"severity": "dangerous", "reason": "smoke"}),
    ):
        url = reverse(f"vehicles:fault-{name}", args=[fault.pk])
        assert client.post(url, form_of(client, url) | fields).status_code == 302, name
    url = reverse("vehicles:fault-cause", args=[fault.vehicle_id]) + f"?fault={fault.pk}"
    sent = form_of(client, url)
    assert sent["faults"] == [fault.pk]
    sent |= {"faults": [fault.pk, other.pk], "description": "Relay sticks"}
    assert client.post(url, sent).url == fault.get_absolute_url()
    url = reverse("vehicles:fault-cause-withdraw", args=[other.pk])
    assert client.post(url, form_of(client, url) | {"reason": "another one"}).status_code == 302
    page = client.get(fault.get_absolute_url()).content.decode()
    assert "P0562" in page
    assert "Relay sticks" in page


def test_a_line_that_takes_the_fault_on_is_linked(client, technician, lead, car, fault):
    job = JobFactory(person=lead, vehicle=car)
    line = work.add_line(by=by(lead), job=job, complaint="Find the drain", kind="diagnosis", faults=[fault])
    client.force_login(technician)
    page = client.get(fault.get_absolute_url()).content.decode()
    assert str(line) in page
    assert "Find the drain" in page


def test_a_vehicle_owner_sees_no_workshop_page(client, car_owner, fault):
    client.force_login(car_owner)
    for url in (fault.get_absolute_url(), reverse("vehicles:faults", args=[fault.vehicle_id])):
        assert client.get(url).status_code in (403, 404)


def test_queries_do_not_grow_with_the_history(client, technician, lead, car, fault):
    client.force_login(technician)
    urls = [
        car.get_absolute_url(),
        reverse("vehicles:faults", args=[car.pk]),
        fault.get_absolute_url(),
    ]

    def count(url):
        with CaptureQueriesContext(connection) as caught:
            assert client.get(url).status_code == 200
        return len(caught)

    def grow(times):
        for number in range(times):
            row = FaultFactory(person=lead, vehicle=car, place=Place.objects.get(pk="tow-bar"))
            acts.add_code(by=by(lead), fault=row, code="P0562")
            acts.add_step(by=by(lead), fault=fault, tried=f"try {number}", seen="b")
            acts.add_code(by=by(lead), fault=fault, code="P0562")
            acts.name_cause(by=by(lead), faults=[row, fault], description="One cause")
            done = FaultFactory(person=lead, vehicle=car)
            acts.end_no_fault_found(by=by(lead), fault=done, seen_version=1, tried="all")

    grow(2)
    few = [count(url) for url in urls]
    grow(8)
    assert [count(url) for url in urls] == few


def test_the_reason_is_taken_from_the_owners_answer(client, technician, lead, car, fault, line):
    address = reverse("vehicles:fault-outstanding", args=[fault.pk])
    client.force_login(technician)

    def offered() -> str:
        return client.get(address).context["form"]["reason"].value() or ""

    assert offered() == ""
    line.faults.add(fault)
    for answer, reason in (("no", "declined"), ("later", "deferred"), ("yes", "")):
        amount = Decimal(50) if answer == "yes" else None
        type(line).objects.filter(pk=line.pk).update(answer=answer, authorised_amount=amount)
        assert offered() == reason


def test_what_is_needed_is_not_called_optional(client, technician, lead, car, fault):
    item = ItemFactory(person=lead, vehicle=car, severity="major")
    client.force_login(technician)
    address = reverse("vehicles:fault-outstanding", args=[fault.pk])
    form = client.get(address).context["form"]
    assert [name for name in ("title", "severity", "reason") if not form.fields[name].required] == []
    sent = form_of(client, address) | {"title": "", "reason": ""}
    assert set(client.post(address, sent).context["form"].errors) == {"title", "reason"}
    assert client.post(address, sent | {"item": str(item.pk)}).status_code == 302
    assert Fault.objects.get(pk=fault.pk).outstanding_item == item


def test_words_that_a_person_understands(client, technician, lead, car, fault):
    client.force_login(technician)
    page = client.get(fault.get_absolute_url()).text
    assert "Still open" in page
    assert "Assess it again" in page
    listed = reverse("vehicles:faults", args=[car.pk])
    assert "One cause for several faults" not in client.get(listed).text
    FaultFactory(person=lead, vehicle=car)
    assert "One cause for several faults" in client.get(listed).text
