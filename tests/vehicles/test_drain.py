"""The guided parasitic drain test: begun, read asleep, fuse by fuse, ended on the fault."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.utils import DatabaseError
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.acts import job as job_acts
from tests.factories.fault import FaultFactory
from tests.factories.job import JobFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles import timeline, timeline_sources
from vehicles.acts import drain as acts
from vehicles.acts import fault as fault_acts
from vehicles.drain import picture_of
from vehicles.models import DiagnosisStep, DrainStep, DrainTest
from workshop.engineering.units import Amount
from workshop.models import Event


def mA(text) -> Amount:
    return Amount(Decimal(text), "mA")


@once
def fault(lead, car):
    return FaultFactory(person=lead, vehicle=car, title="Battery flat", severity="minor")


@pytest.fixture
def begun(lead, car, fault):
    return acts.begin_drain_test(
        by=by(lead),
        vehicle=car,
        fault=fault,
        limit=mA(50),
        limit_source="practice",
        capacity=Amount(Decimal(60), "Ah"),
    )


@pytest.fixture(name="test")  # a function of that name would be taken for a test that never runs
def asleep(lead, begun):
    """Read asleep: 350 mA."""
    return read(lead, begun, Amount(Decimal("0.35"), "A"))


def read(person, test, reading, minutes=40) -> DrainTest:
    """The current asleep of a car that was locked so long before."""
    locked_at = timezone.now() - timedelta(minutes=minutes)
    return acts.read_asleep(
        by=by(person), test=test, reading=reading, asleep_after=minutes, locked_at=locked_at
    )


def pull(person, test, circuit, reading, came="back", **more) -> DrainStep:
    return acts.pull_fuse(by=by(person), test=test, circuit=circuit, reading=mA(reading), came=came, **more)


def refusal(act, **arguments) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        act(**arguments)
    error = caught.value
    return error.message_dict if hasattr(error, "error_dict") else {"": error.messages}


# --- the acts


def test_the_whole_way_ends_on_the_fault(lead, fault, test):
    pull(lead, test, "F3 radio", "343")
    pull(lead, test, "fridge", "18")
    acts.end_drain_test(by=by(lead), test=test, conclusion="The fridge's relay never drops out.")
    test.refresh_from_db()
    step = fault.steps.get()
    assert test.step == step
    assert step.tried == "Parasitic drain test: 0.35 A after 40 minutes asleep, 2 fuses pulled"
    assert step.seen == "The fridge's relay never drops out."
    # 350 mA less the 332 mA that the fridge takes.
    assert (step.value, step.unit) == (18, "mA")
    assert test.ended_by == lead


def test_the_end_and_its_step_are_one_submission(lead, fault, test):
    key = uuid4()
    for _ in range(2):
        acts.end_drain_test(by=by(lead, key=key), test=test, conclusion="Nothing found.")
    assert fault.steps.count() == 1
    assert DiagnosisStep.objects.get().key == DrainTest.objects.get().step.key == key


def test_a_reading_sent_twice_is_one(lead, test):
    key = uuid4()
    for _ in range(2):
        acts.pull_fuse(by=by(lead, key=key), test=test, circuit="F1", reading=mA(340), came="back")
    assert test.steps.count() == 1


def test_without_a_fault_or_unwished_no_step_is_written(lead, fault, test):
    acts.end_drain_test(by=by(lead), test=test, conclusion="Broken off.", on_fault=False)
    assert not fault.steps.exists()
    other = acts.begin_drain_test(by=by(lead), vehicle=test.vehicle, limit=mA(30), limit_source="maker")
    acts.end_drain_test(by=by(lead), test=other, conclusion="Broken off.")
    assert not DiagnosisStep.objects.exists()


def test_broken_off_before_it_slept(lead, fault, begun):
    acts.end_drain_test(by=by(lead), test=begun, conclusion="Collected early.")
    step = fault.steps.get()
    assert "broken off before" in step.tried
    assert step.value is None


def test_currents_are_kept_as_typed_and_in_one_unit(lead, test):
    test.refresh_from_db()
    assert (test.baseline, test.baseline_unit, test.baseline_base) == (Decimal("0.35"), "A", Decimal("0.35"))
    step = pull(lead, test, "F1", "343")
    assert (step.reading, step.unit, step.base_value) == (343, "mA", Decimal("0.343"))


def test_what_begins_it_is_refused_in_words(lead, car, fault):
    good = {"vehicle": car, "limit": mA(50), "limit_source": "practice"}
    elsewhere = VehicleFactory(person=lead)
    for changed, field, words in (
        ({"limit": mA(0)}, "limit", "more than 0"),
        ({"limit": Amount(Decimal(60), "A")}, "limit", "to 50 A"),
        ({"limit": Amount(Decimal(12), "V")}, "limit", "in mA or A"),
        ({"limit": mA("1.00001")}, "limit", "4 decimals"),
        ({"limit_source": "hearsay"}, "limit_source", "where the limit comes from"),
        ({"capacity": Amount(Decimal(500), "Ah")}, "capacity", "1 to 400 Ah"),
        ({"capacity": Amount(Decimal("60.25"), "Ah")}, "capacity", "one decimal"),
        ({"fault": FaultFactory(person=lead, vehicle=elsewhere)}, "fault", "another car"),
        ({"job": JobFactory(person=lead, vehicle=elsewhere)}, "job", "another car"),
    ):
        told = refusal(acts.begin_drain_test, by=by(lead), **{**good, **changed})
        assert words in told[field][0], changed
    fault_acts.end_normal(by=by(lead), fault=fault, seen_version=1, normal_source="handbook")
    fault.refresh_from_db()
    assert "has ended" in refusal(acts.begin_drain_test, by=by(lead), **good, fault=fault)["fault"][0]


def test_a_closed_job_takes_no_test(lead, car):
    job = JobFactory(person=lead, vehicle=car)
    job_acts.cancel(by=by(lead), job=job, reason="The owner changed his mind.")
    told = refusal(
        acts.begin_drain_test, by=by(lead), vehicle=car, limit=mA(50), limit_source="practice", job=job
    )
    assert "is closed" in told["job"][0]


def test_one_test_of_a_car_at_a_time(lead, car, begun):
    told = refusal(acts.begin_drain_test, by=by(lead), vehicle=car, limit=mA(50), limit_source="practice")
    assert "is open" in told[""][0]
    acts.end_drain_test(by=by(lead), test=begun, conclusion="Broken off.")
    acts.begin_drain_test(by=by(lead), vehicle=car, limit=mA(50), limit_source="practice")
    with pytest.raises(IntegrityError), transaction.atomic():
        DrainTest.objects.bulk_create([DrainTest(**by(lead).stamp(), vehicle=car, limit=50, limit_unit="mA",
                                                 limit_base="0.05", limit_source="practice")])  # fmt: skip


def test_the_order_of_the_test_is_kept(lead, begun):
    told = refusal(acts.pull_fuse, by=by(lead), test=begun, circuit="F1", reading=mA(5), came="back")
    assert "Read the current asleep first" in told[""][0]
    read(lead, begun, mA(350))
    told = refusal(acts.read_asleep, by=by(lead), test=begun, reading=mA(340), asleep_after=50)
    assert "350 mA" in told[""][0]
    acts.end_drain_test(by=by(lead), test=begun, conclusion="Nothing.")
    told = refusal(acts.pull_fuse, by=by(lead), test=begun, circuit="F1", reading=mA(5), came="back")
    assert "begin another one" in told[""][0]


def test_a_fuse_is_refused_in_words(lead, test):
    good = {"test": test, "circuit": "F1", "reading": mA(300), "came": "back"}
    other = pull(lead, test, "F2", "340")
    for changed, field, words in (
        ({"circuit": "  "}, "circuit", "which fuse"),
        ({"reading": mA(-1)}, "reading", "swap the meter's leads"),
        ({"came": "gone"}, "came", "once the fuse was back"),
        ({"after": mA(3)}, "after", "stays low"),
    ):
        assert words in refusal(acts.pull_fuse, by=by(lead), **{**good, **changed})[field][0]
    assert (
        "Say what it is"
        in refusal(acts.end_drain_test, by=by(lead), test=test, conclusion=" ")["conclusion"][0]
    )
    pull(lead, test, "F2", "34", instead_of=other)
    assert "put right already" in refusal(acts.pull_fuse, by=by(lead), **good, instead_of=other)[""][0]


def test_who_may(car, front_desk, test):
    with pytest.raises(PermissionDenied):
        pull(front_desk, test, "F1", "300")


def test_typed_words_stand_beside_the_chain(lead, test):
    pull(lead, test, "Zilpzalp", "300", remark="Zilpzalp too")
    acts.end_drain_test(by=by(lead), test=test, conclusion="Zilpzalp again")
    assert not any("Zilpzalp" in event.body for event in Event.objects.all())


# --- below the acts


def test_a_reading_is_never_altered(lead, test):
    step = pull(lead, test, "F1", "300")
    for write in (
        lambda: DrainStep.objects.filter(pk=step.pk).update(reading=1),
        lambda: DrainStep.objects.filter(pk=step.pk).delete(),
        lambda: DrainTest.objects.filter(pk=test.pk).update(baseline=1),
        lambda: DrainTest.objects.filter(pk=test.pk).update(limit_base=1),
    ):
        with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
            write()


def test_nothing_is_added_to_one_that_ended(lead, car, test):
    first = pull(lead, test, "F1", "300")
    acts.end_drain_test(by=by(lead), test=test, conclusion="Nothing.")
    with pytest.raises(DatabaseError, match="has ended"), transaction.atomic():
        DrainStep.objects.bulk_create([DrainStep(**by(lead).stamp(), test=test, order=2, circuit="F2", reading=1,
                                                 unit="mA", base_value="0.001", came="back")])  # fmt: skip
    with pytest.raises(DatabaseError, match="stays ended"), transaction.atomic():
        DrainTest.objects.filter(pk=test.pk).update(conclusion="Something.")
    again = acts.begin_drain_test(by=by(lead), vehicle=car, limit=mA(50), limit_source="practice")
    read(lead, again, mA(90))
    assert (
        "another test"
        in refusal(
            acts.pull_fuse,
            by=by(lead),
            test=again,
            circuit="F1",
            reading=mA(1),
            came="back",
            instead_of=first,
        )[""][0]
    )


def test_it_belongs_to_a_fault_and_a_job_of_its_own_car(lead, car):
    elsewhere = VehicleFactory(person=lead)
    for wrong in (
        {"fault": FaultFactory(person=lead, vehicle=elsewhere)},
        {"job": JobFactory(person=lead, vehicle=elsewhere)},
    ):
        with pytest.raises(DatabaseError, match="of its own car"), transaction.atomic():
            DrainTest.objects.bulk_create([DrainTest(**by(lead).stamp(), vehicle=car, limit=50, limit_unit="mA",
                                                     limit_base="0.05", limit_source="practice", **wrong)])  # fmt: skip


# --- what the readings say


def test_a_slip_put_right_counts_in_its_place(lead, test):
    slip = pull(lead, test, "F1 radio", "34", "stayed_low")
    pull(lead, test, "F2 pump", "40")
    right = pull(lead, test, "F1 radio", "340", instead_of=slip)
    once_more = pull(lead, test, "F1 radio", "341", instead_of=right)
    picture = picture_of(test)
    assert [line.step for line in picture.lines] == [once_more, test.steps.get(circuit="F2 pump")]
    assert [(line.before, line.without) for line in picture.lines] == [
        ("350 mA", "341 mA"),
        ("350 mA", "40 mA"),
    ]
    assert picture.found


def test_asleep_and_left_out_lower_the_level(lead, test):
    pull(lead, test, "F1", "300", "stayed_low", after=mA(310))
    pull(lead, test, "F2", "200", "left_out")
    picture = picture_of(test)
    assert picture.level == "200 mA"
    assert picture.left_out == ("F2",)
    assert [line.words for line in picture.lines] == ["fell asleep: doesn't count", "takes part of it"]


def test_days_until_flat(lead, test):
    """60 Ah, half usable: 30 Ah at 350 mA are 3.6 days, at 18 mA 69 days."""
    pull(lead, test, "fridge", "18")
    picture = picture_of(test)
    assert (picture.days_before, picture.days_after) == ("3.6 days", "69 days")
    pull(lead, test, "all of it", "0")
    assert picture_of(test).days_after == "no end"


# --- the screens


def test_the_screens_lead_through_it(client, lead, car, fault):
    client.force_login(lead)
    url = reverse("vehicles:drain-begin", args=[car.pk])
    page = client.get(f"{url}?fault={fault.pk}")
    assert "Clip a bridge" in page.content.decode()
    sent = form_of(client, f"{url}?fault={fault.pk}")
    assert (sent["limit_value"], sent["limit_unit"], sent["limit_source"]) == ("50", "mA", "practice")
    assert str(sent["fault"]) == str(fault.pk)
    client.post(url, {**sent, "capacity_value": "60", "capacity_unit": "Ah"})
    test = DrainTest.objects.get()
    assert client.get(url).url == test.get_absolute_url()
    page = client.get(test.get_absolute_url()).content.decode()
    assert "Let it fall asleep" in page
    sent = form_of(client, test.get_absolute_url())
    client.post(
        reverse("vehicles:drain-asleep", args=[test.pk]),
        {
            **sent,
            "reading_value": "350",
            "reading_unit": "mA",
            "asleep_after": "40",
            "locked_at": timezone.localtime(timezone.now() - timedelta(minutes=40)).strftime(
                "%Y-%m-%dT%H:%M"
            ),
        },
    )
    for circuit, reading, expected in (
        ("F3 radio", "343", "Pull one fuse"),
        ("fridge", "18", "Found: prove it"),
    ):
        sent = form_of(client, test.get_absolute_url())
        answer = client.post(
            reverse("vehicles:drain-pull", args=[test.pk]),
            {**sent, "circuit": circuit, "reading_value": reading, "reading_unit": "mA"},
        )
        assert answer.status_code == 302
        page = client.get(test.get_absolute_url()).content.decode()
        assert expected in page
    assert "look here" in page
    assert "69 days" in page
    end = reverse("vehicles:drain-end", args=[test.pk])
    sent = form_of(client, end)
    assert "“fridge” (332 mA)" in sent["conclusion"]
    answer = client.post(end, sent)
    assert answer.url == f"{fault.get_absolute_url()}#try"
    assert "2 fuses pulled" in client.get(fault.get_absolute_url()).content.decode()
    page = client.get(test.get_absolute_url()).content.decode()
    assert "written on the fault" in page
    assert 'name="key"' not in page


def test_a_refused_reading_comes_back_filled(client, lead, test):
    client.force_login(lead)
    url = reverse("vehicles:drain-pull", args=[test.pk])
    sent = form_of(client, test.get_absolute_url())
    answer = client.post(url, {**sent, "circuit": "F7 pump", "reading_value": "-3", "reading_unit": "mA"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "F7 pump" in page
    assert "Fuse by fuse" in page
    assert "Give 0 mA or more" in page
    assert "leads swapped?" in page
    assert client.post(url, {**sent, "circuit": "", "reading_value": "nan"}).status_code == 422
    asleep = reverse("vehicles:drain-asleep", args=[test.pk])
    sent = {**form_of(client, asleep), "reading_value": "9", "reading_unit": "mA", "asleep_after": "1"}
    assert "is on record" in client.post(asleep, sent).content.decode()


def test_no_fuse_left(client, lead, test):
    pull(lead, test, "F1", "340")
    client.force_login(lead)
    assert "No fuse is left" in client.get(test.get_absolute_url()).content.decode()
    end = reverse("vehicles:drain-end", args=[test.pk])
    assert "alternator, starter" in form_of(client, f"{end}?all_tried=1")["conclusion"]
    assert not form_of(client, end)["conclusion"].endswith("fuse.")
    client.post(end, {**form_of(client, f"{end}?all_tried=1"), "on_fault": ""})
    test.refresh_from_db()
    assert test.all_tried
    assert test.step is None


def test_what_is_still_out_is_said_at_the_end(client, lead, test):
    step = pull(lead, test, "F9 pump", "30", "left_out")
    client.force_login(lead)
    assert (
        "Put back first what is still out: F9 pump"
        in client.get(reverse("vehicles:drain-end", args=[test.pk])).content.decode()
    )
    right = reverse("vehicles:drain-put-right", args=[step.pk])
    sent = {**form_of(client, right), "came": "back"}
    assert sent["circuit"] == "F9 pump"
    client.post(right, sent)
    assert picture_of(test).left_out == ()


def test_asleep_within_the_limit_says_so(client, lead, begun):
    read(lead, begun, mA(30))
    client.force_login(lead)
    assert "Nothing to find" in client.get(begun.get_absolute_url()).content.decode()


def test_who_only_looks_has_no_form(client, front_desk, car, test):
    client.force_login(front_desk)
    assert 'name="key"' not in client.get(test.get_absolute_url()).content.decode()


def test_a_car_with_high_voltage_is_warned_of(client, lead, car, begun):
    type(car).objects.filter(pk=car.pk).update(high_voltage=True)
    client.force_login(lead)
    assert "high-voltage" in client.get(begun.get_absolute_url()).content.decode()


def test_the_history_tells_of_it(lead, car, test):
    entries = list(timeline_sources.drain_tests(car, timeline.Window()))
    assert [(entry.title, entry.figure) for entry in entries] == [("Parasitic drain test", "0.35 A")]


def test_as_many_queries_for_many_fuses(client, lead, test):
    client.force_login(lead)

    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(test.get_absolute_url()).status_code == 200
        return len(queries)

    pull(lead, test, "F0", "345")
    count()
    few = count()
    for number in range(1, 12):
        pull(lead, test, f"F{number}", "345")
    assert count() == few <= 14
