"""The words follow the records: made, changed, taken back, erased, brought in bulk or written round the acts."""

from __future__ import annotations

import io

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from tests.factories.fault import FaultFactory
from tests.factories.handover import HandedOverFactory, owner_of
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.once import once
from tests.people import by
from vehicles import apps as vehicles_apps
from vehicles import erasure, words
from vehicles.acts import erasure as erasure_acts
from vehicles.acts import fault as faults
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import vehicle as vehicles
from vehicles.models import Fault, Vehicle, Words, WordsDue
from vehicles.words_found import Asked, page, terms_of
from workshop import acting
from workshop.models import Erasing
from workshop.permissions import May

pytestmark = pytest.mark.words


def found(text: str) -> list[str]:
    return [hit.words.title for hit in page(Asked(terms=terms_of(text)), most=50).hits]


def whole() -> list[str]:
    """What is wrong with the words that are kept, all tables compared; nothing is left due either."""
    assert not WordsDue.objects.exists()
    return list(words.problems())


@once
def fault(car, lead):
    return FaultFactory(person=lead, vehicle=car, title="Quokka whine", severity="minor")


def test_what_was_written_is_found_and_what_was_changed_is_found_as_it_is_now(car, lead):
    vehicles.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=car.version, reason="Smelt it.", notes="Smells of vanilla."
    )
    assert found("vanilla") == ["What the car is"]
    car.refresh_from_db()
    vehicles.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=car.version, reason="Smelt it again.", notes="Smells of clove."
    )
    assert found("vanilla") == []
    assert found("clove") == ["What the car is"]
    assert whole() == []


def test_how_a_fault_ended_is_found_at_the_time_it_ended_and_goes_when_it_is_taken_back(fault, lead):
    number = fault.number
    faults.end_no_fault_found(
        by=by(lead), fault=fault, seen_version=fault.version, tried="Drove it past the mill."
    )
    assert found("past the mill") == [f"Fault {number}, how it ended"]
    assert Words.objects.get(folded__contains="mill").person == lead
    faults.reopen(by=by(lead), fault=fault, reason="It whines again.")
    assert found("past the mill") == []
    assert found("quokka") == [f"Fault {number}"]
    assert whole() == []


def test_an_act_that_fails_leaves_nothing(car, lead):
    @acting.act(May.REPORT_FAULT)
    def breaks_off(*, by):
        FaultFactory(person=lead, vehicle=car, title="Wombat noise")
        raise ValidationError("No.")

    try:
        with pytest.raises(ValidationError):
            breaks_off(by=by(lead))
    finally:
        acting._names.pop(breaks_off.act_name)
    assert not Fault.objects.filter(title="Wombat noise").exists()
    assert found("wombat") == []
    assert whole() == []


def test_a_whole_visit_is_kept_as_it_stands(car, lead):
    HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))
    assert whole() == []
    kinds = set(Words.objects.values_list("kind", flat=True))
    assert {"job", "line", "identity"} <= kinds
    kept = set(Words.objects.values_list("subject_kind", "subject_id", "part", "text", "system", "url"))
    words.rebuild()
    assert (
        set(Words.objects.values_list("subject_kind", "subject_id", "part", "text", "system", "url")) == kept
    )


def test_what_is_written_in_bulk_or_round_the_acts_is_found_after_the_next_act(car, lead, fault):
    """An update of many rows, a bulk of new ones, a plain save and a deletion: triggers see them all."""
    row = Fault.objects.get(pk=fault.pk)
    copies = [
        Fault(
            vehicle=car, order=50 + number, kind="finding", title=f"Numbat {number}", severity="minor",
            made_at=row.made_at, received_at=row.received_at, made_by=lead, key=row.key,
        )
        for number in range(3)
    ]  # fmt: skip
    Fault.objects.bulk_create(copies)
    Fault.objects.filter(pk=fault.pk).update(title="Bandicoot whine")
    row.conditions = "Only in drizzle"
    row.save(update_fields=["conditions"])
    assert WordsDue.objects.count() == 5
    ItemFactory(person=lead, vehicle=car, title="Anything")
    assert len(found("numbat")) == 3
    assert found("quokka") == []
    assert len(found("bandicoot drizzle")) == 1
    assert whole() == []


def test_a_record_that_goes_takes_its_words_along(lead):
    """Only what came with a list can go again; here the guard is put aside to see the trigger alone."""
    from workshop.models.undoing import Undoing

    car = vehicles.add_vehicle(
        by=by(lead), number="", number_unknown_because="plate painted over", make="Halden", model="Echidna", year=1999
    )  # fmt: skip
    assert found("echidna") == ["What the car is"]
    with transaction.atomic():
        Undoing.objects.create(key=car.key)
        car.instruments.all().delete()
        Vehicle.objects.filter(pk=car.pk)._raw_delete("default")
        Undoing.objects.all().delete()
        words.index_due()
    assert found("echidna") == []
    assert whole() == []


def test_an_erased_person_is_not_found(car, lead, shop_owner, front_desk):
    keeper = KeeperFactory.create(front_desk, name="Zephyrine Kanarell", phone="0177 4455 8899")
    keeper_acts.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part="driver")
    item = ItemFactory(person=lead, vehicle=car, title="Hose", detail="Zephyrine Kanarell knows of it.")
    FaultFactory(
        person=lead, vehicle=car, title="Rattle", words="My late husband said it would.", reported_by=keeper
    )
    assert len(found("kanarell")) == 1
    assert len(found("late husband")) == 1
    places = {occurrence.model for occurrence in erasure.erasing.occurrences(["Kanarell"])}
    assert Words not in places
    erasure_acts.erase_person(by=by(shop_owner), keeper=keeper, reason="Asked for it by letter.")
    assert found("kanarell") == found("zephyrine") == found("late husband") == []
    assert not Words.objects.filter(text__icontains="kanarell").exists()
    assert not Words.objects.filter(folded__contains="kanarell").exists()
    assert len(found("knows of it")) == 1
    assert item.pk
    assert not Erasing.objects.exists()
    assert whole() == []


def test_what_is_missing_or_wrong_is_named_and_put_right_by_the_command(fault):
    Words.objects.filter(subject_kind="vehicles.fault").update(text="something else", folded="something else")
    [problem] = words.problems()
    assert "rebuild_words" in problem
    Words.objects.all().delete()
    assert list(words.problems())
    Words.objects.create(
        subject_kind="vehicles.fault", subject_id="0" * 32, at=fault.made_at, kind="fault", title="gone",
        url="/", text="ghost", folded="ghost",
    )  # fmt: skip
    said = io.StringIO()
    call_command("rebuild_words", stdout=said)
    assert "knows the words of" in said.getvalue()
    assert found("ghost") == []
    assert found("quokka") == [f"Fault {fault.number}"]
    assert list(words.problems()) == []


def test_a_shop_that_is_older_than_the_search_is_copied_when_it_is_upgraded(fault):
    from django.apps import apps

    Words.objects.all().delete()
    for config in apps.get_app_configs():
        if config.models_module is not None:
            vehicles_apps.copy_earlier_words(config, "default")
    assert found("quokka") == [f"Fault {fault.number}"]
    Words.objects.filter(subject_kind="vehicles.fault").delete()
    for config in apps.get_app_configs():
        if config.models_module is not None:
            vehicles_apps.copy_earlier_words(config, "default")
    # Not again: the words are kept at each act, and the command mends what is missing.
    assert found("quokka") == []


def test_what_it_costs_an_act(car, lead):
    """Of a new record: what is due, the record, its words, and that it is due no longer. Many cost no more than one."""

    def asked(count: int) -> int:
        @acting.act(May.REPORT_FAULT)
        def reports(*, by):
            made = [FaultFactory(person=lead, vehicle=car, title=f"Bilby {each}") for each in range(count)]
            return made[0]

        with CaptureQueriesContext(
            connection,
        ) as captured:
            reports(by=by(lead))
        acting._names.pop(reports.act_name, None)
        return sum("vehicles_words" in query["sql"] for query in captured.captured_queries)

    assert (asked(1), asked(30)) == (3, 3)


def test_an_act_that_writes_no_words_asks_once(lead):
    @acting.act(May.REPORT_FAULT)
    def does_nothing(*, by):
        acting.note(lead)

    with CaptureQueriesContext(connection) as captured:
        does_nothing(by=by(lead))
    acting._names.pop(does_nothing.act_name)
    assert sum("vehicles_words" in query["sql"] for query in captured.captured_queries) == 1
