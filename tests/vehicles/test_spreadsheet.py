"""Lists from a spreadsheet: what each row would make, row-by-row errors, all or nothing, and undo."""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.base import ContentFile
from django.db import DatabaseError, transaction
from django.urls import reverse

from tests.factories.keeper import KeeperFactory
from tests.hand import Hand
from tests.people import by
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import spreadsheet as acts
from vehicles.models import (
    Instrument,
    Keeper,
    OdometerReading,
    PastWork,
    Registration,
    SpreadsheetList,
    Vehicle,
    VehicleKeeper,
)
from workshop import log
from workshop.models import EventDetail, Undoing

CARS = """VIN;Plate;Make;Model;Year;Owner;Phone;Mileage;Unit;Notes
XHL0W1A246H042170;QL 1;Halden;Drayman;2006;Jo Marsh;0000 31;120000;km;
;QL 2;Ostra;1600 GT;1991;Ann Reed;0000 32;61000;mi;"two; words"
"""


def file(text: str, name: str = "cars.csv") -> ContentFile:
    return ContentFile(text.encode(), name=name)


def put(person, text: str, kind: str = "cars", **choices) -> SpreadsheetList:
    row = acts.put_down(by=by(person), kind=kind, file=file(text))
    if choices:
        row = acts.choose(
            by=by(person), listed=row, seen_version=row.version, choices={**row.choices, **choices}
        )
    return row


def take(person, row, **more) -> SpreadsheetList:
    return acts.take_in(by=by(person), listed=row, seen_version=row.version, **more)


def errors(person, row) -> list[tuple[int, str]]:
    _, judged = acts.judge(row, by(person))
    return [(each.line, f"{label}: {said}") for each in judged.bad for label, said in each.errors]


def counts() -> dict[str, int]:
    models = (Vehicle, Registration, Keeper, VehicleKeeper, Instrument, OdometerReading, PastWork)
    return {model.__name__: model.objects.count() for model in models}


def test_cars_with_owners_and_readings(lead):
    row = take(lead, put(lead, CARS))
    assert row.made == {
        "vehicles.vehicle": 2, "vehicles.registration": 2, "vehicles.keeper": 2, "vehicles.vehiclekeeper": 2,
        "vehicles.instrument": 2, "vehicles.odometerreading": 2,
    }  # fmt: skip
    assert row.content == ""
    van = Vehicle.objects.get(number="XHL0W1A246H042170")
    assert (van.make, van.year) == ("Halden", 2006)
    reading = OdometerReading.objects.get(vehicle__make="Ostra")
    assert (reading.value, reading.instrument.unit) == (Decimal(61000), "mi")
    assert Vehicle.objects.get(make="Ostra").notes == "two; words"
    assert list(log.problems()) == []


def test_a_car_taken_in_is_found_by_its_plate_number_and_owner(lead):
    take(lead, put(lead, CARS))
    desk = Hand(lead)
    for asked in ("ql 1", "Marsh", "246H0421", "drayman"):
        assert "Drayman" in desk.see("vehicles:vehicles", q=asked), asked


def test_rows_with_errors_say_what_to_do_and_stop_the_whole(lead):
    text = CARS + (
        "XHL0W1A246H042170;QL 9;Halden;Drayman;2006;;;;;\n"  # the number of line 2
        ";;Halden;Drayman;2006;;;;;\n"  # nothing to find it by
        ";QL 1;Halden;Drayman;06;;;;;\n"  # the plate of line 2, a short year
        ";QL 7;Halden;Drayman;2006;Al Moss;;120.000;km;\n"
        ";QL 8;;Drayman;2006;;;;;\n"
    )
    row = put(lead, text)
    said = errors(lead, row)
    assert [line for line, _ in said] == [4, 5, 6, 6, 7, 8]
    for (_, sentence), part in zip(
        said, ["stands in line 2", "to be found by", "four digits", "stands in line 2", "write 120000", "Make is needed"],
        strict=True,
    ):  # fmt: skip
        assert part in sentence
    before = counts()
    with pytest.raises(ValidationError, match="5 rows can't be taken in"):
        take(lead, row)
    assert counts() == before
    row = take(lead, row, without_bad=True)
    assert Vehicle.objects.filter(make__in=["Halden", "Ostra"]).count() == 2
    left = list(csv.reader(io.StringIO(row.content)))
    assert [each[-2] for each in left[1:]] == ["4", "5", "6", "7", "8"]
    assert "write 120000" in left[4][-1]


def test_what_is_on_record_already_stays_as_it_is(lead):
    take(lead, put(lead, CARS))
    before = counts()
    again = put(lead, CARS.replace("Drayman", "Other"))
    _, judged = acts.judge(again, by(lead))
    assert [each.line for each in judged.here] == [2]
    assert [each.line for each in judged.bad] == [3]  # without a number: its plate is in force
    with pytest.raises(ValidationError, match="no row to take in"):
        take(lead, again, without_bad=True)
    assert counts() == before


PAST = """Reg,Date,Work,Cost,Km,Workshop
QL 1,2011-05-04,Timing belt,"410,50",60000 km,Mill Garage
QL 1,05/2013,Clutch,900,,
QL 1,2009,Rust on the sills,,,
"""


def test_past_work(lead):
    take(lead, put(lead, CARS))
    row = take(lead, put(lead, PAST, "past", source="owner's own list"))
    belt, clutch, rust = (
        PastWork.objects.order_by("-day_known", "title").filter(day_known="day").first(),
        *(PastWork.objects.get(title=title) for title in ("Clutch", "Rust on the sills")),
    )
    assert (belt.amount, belt.who_did, belt.odometer.value) == (Decimal("410.50"), "Mill Garage", 60000)
    assert belt.source == "owner's own list, line 2"
    assert (clutch.done_on, clutch.day_words) == (date(2013, 5, 1), "May 2013")
    assert (rust.done_on, rust.day_words) == (date(2009, 1, 1), "2009")
    assert row.made["vehicles.pastwork"] == 3
    page = Hand(lead).see("vehicles:past-work", belt.vehicle_id)
    assert "Timing belt" in page
    assert "410.50" in page


@pytest.mark.parametrize(
    ("line", "choices", "said"),
    [
        ("QL 1,03/04/2012,Work,,,", {}, "two ways"),
        ("QL 1,03/04/2012,Work,,,", {"order": "day"}, ""),
        ("QL 1,2012-01-01,Work,,60000,", {}, "no unit"),
        ("QL 1,2012-01-01,Work,,60000,", {"unit": "km"}, ""),
        ("QL 1,2012-01-01,Work,,60000 mi,", {}, "counts in km"),
        ("QL 1,2012-01-01,Work,,130000 km,", {}, "does not go with 120000"),
        ("QL 1,2012-01-01,Work,,130000 km,", {"keep_lower": True}, ""),
        ("QL 1,2012-01,Work,,60000 km,", {}, "needs its day"),
        ("QL 1,2001-01-01,Work,,,", {}, "model year"),
        ("QL 1,2031-01-01,Work,,,", {}, "in the future"),
        ("QL 77,2012-01-01,Work,,,", {}, "Take in the cars first"),
        ("QL 1,2012-01-01,Work,12 GBP,,", {}, "shop's own currency"),
        ("QL 1,2012-01-01,Work,,,,,x", {}, "separator"),
    ],
)
def test_a_row_of_past_work(lead, line, choices, said):
    take(lead, put(lead, CARS))
    row = put(lead, f"Reg,Date,Work,Cost,Km,Workshop\n{line}\n", "past", **choices)
    found = " ".join(sentence for _, sentence in errors(lead, row))
    assert said in found
    assert bool(found) == bool(said)
    if not said:
        assert take(lead, row).made["vehicles.pastwork"] == 1


def test_a_list_is_undone_while_nothing_hangs_on_it(lead):
    before = counts()
    row = take(lead, put(lead, CARS))
    row = acts.undo(by=by(lead), listed=row, reason="wrong file")
    assert counts() == before
    assert (row.state, row.undone_because) == ("undone", "wrong file")
    assert not Undoing.objects.exists()
    assert list(log.problems()) == []
    # The same list may come again.
    assert take(lead, put(lead, CARS)).made["vehicles.vehicle"] == 2


def test_a_list_something_hangs_on_stays(lead):
    cars = take(lead, put(lead, CARS))
    take(lead, put(lead, PAST, "past"))
    before = counts()
    with pytest.raises(ValidationError, match="past work"):
        acts.undo(by=by(lead), listed=cars, reason="wrong file")
    assert counts() == before
    assert not Undoing.objects.exists()


def test_undoing_keepers_takes_their_names_from_the_search(lead, car):
    car_text = Vehicle.objects.get(pk=car.pk).search_text
    text = f"Name,Car\nZebulon Quist,{car.number}\n"
    row = take(lead, put(lead, text, "keepers"))
    assert "zebulon" in Vehicle.objects.get(pk=car.pk).search_text
    acts.undo(by=by(lead), listed=row, reason="wrong file")
    assert Vehicle.objects.get(pk=car.pk).search_text == car_text


def test_without_the_act_nothing_of_a_list_can_be_deleted(lead):
    row = take(lead, put(lead, CARS))
    for model in (Vehicle, Keeper, OdometerReading):
        one = model.objects.filter(pk=model.objects.filter(key=row.taken_key)[0].pk)
        with pytest.raises(DatabaseError), transaction.atomic():
            one._raw_delete(one.db)
    Undoing.objects.create(key=uuid4())  # of another submission
    with pytest.raises(DatabaseError), transaction.atomic():
        one._raw_delete(one.db)


def test_one_person_in_several_rows_is_one_keeper(lead):
    text = CARS + ";QL 3;Veldt;2.4;2014;Jo Marsh;0000 31;;;\n"
    take(lead, put(lead, text))
    assert Keeper.objects.filter(name="Jo Marsh").count() == 1
    assert VehicleKeeper.objects.filter(keeper__name="Jo Marsh").count() == 2


def test_a_car_with_an_owner_gets_no_second_one(lead, front_desk, car):
    keeper_acts.add_part_for(
        by=by(front_desk), vehicle=car, keeper=KeeperFactory.create(front_desk), part="owner"
    )
    row = put(lead, f"Name,Car\nAl Moss,{car.number}\n", "keepers")
    assert "has an owner on record" in errors(lead, row)[0][1]


def test_wrong_columns(lead):
    with pytest.raises(ValidationError, match="None of this list's columns"):
        put(lead, "a,b\n1,2\n")
    row = put(lead, "Make,Model\nHalden,Drayman\n")
    _, judged = acts.judge(row, by(lead))
    assert judged.missing == ["Model year"]
    with pytest.raises(ValidationError, match="Model year"):
        take(lead, row)


def test_who_may(technician, front_desk):
    for person in (technician, front_desk):
        with pytest.raises(PermissionDenied):
            put(person, CARS)


def test_a_list_read_anew_by_somebody_else_is_not_taken_in(lead, shop_owner):
    row = put(lead, CARS)
    acts.choose(
        by=by(shop_owner), listed=row, seen_version=row.version, choices={**row.choices, "unit": "mi"}
    )
    with pytest.raises(ValidationError, match="Somebody else changed"):
        acts.take_in(by=by(lead), listed=row, seen_version=1)


# ----------------------------------------------------------------------------------------------------------- screens
def send(hand, text):
    url = reverse("vehicles:list-add")
    key = hand.client.get(url).context["form"]["key"].value()
    return hand.client.post(url, {"kind": "cars", "key": key, "file": file(text)})


def test_through_the_pages(lead):
    hand = Hand(lead)
    assert send(hand, CARS + ";;Halden;X;2006;;;;;\n").status_code == 302
    row = SpreadsheetList.objects.get()
    page = hand.see("vehicles:list", row)
    assert "to be found by" in page
    good = hand.see("vehicles:list", row, show="good")
    assert "120000 km" in good
    assert "semicolon" in good
    left = hand.client.get(reverse("vehicles:list-left-out", args=[row.pk])).content.decode()
    assert "to be found by" in left
    refused = hand.try_to("vehicles:list-take-in", row)
    assert refused.status_code == 422
    assert "tick that they are left out" in refused.text
    hand.do("vehicles:list-take-in", row, on=page, without_bad=True)
    page = hand.see("vehicles:list", row)
    assert "2 vehicles" in page
    hand.do("vehicles:list-undo", row, on=page, reason="tried it")
    assert "tried it" in hand.see("vehicles:list", row)
    assert not Vehicle.objects.filter(make="Ostra").exists()
    hand.see("vehicles:lists")


def test_choosing_columns_by_hand(lead):
    hand = Hand(lead)
    row = put(lead, "A,Make,C,D\nQL 5,Halden,Drayman,2006\n")
    assert "Say first which column is what" in hand.see("vehicles:list", row)
    refused = hand.try_to("vehicles:list-choose", row, column_plate="0", column_model="2", column_year="2")
    assert refused.status_code == 422
    assert "This column is “Model” already." in refused.text
    hand.do("vehicles:list-choose", row, column_plate="0", column_model="2", column_year="3")
    row.refresh_from_db()
    assert take(lead, row).made["vehicles.vehicle"] == 1


@pytest.mark.parametrize(
    ("text", "said"), [("", "This file is empty."), ("x,y\n1,2\n", "None of this list"), ('a,b\n"1\n', "quotation mark")]
)  # fmt: skip
def test_a_bad_file_comes_back_with_a_sentence(lead, text, said):
    hand = Hand(lead)
    refused = send(hand, text)
    assert refused.status_code == 422
    assert said in refused.text
    assert not SpreadsheetList.objects.exists()


def test_script_in_a_cell_is_shown_as_text(lead):
    row = put(lead, CARS.replace("two; words", "<script>alert(1)</script>"))
    page = Hand(lead).see("vehicles:list", row, show="good")
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_judging_asks_the_same_of_few_and_many(lead, django_assert_num_queries):
    def rows(many):
        return (
            CARS.splitlines()[0]
            + "\n"
            + "".join(f";QL {n};Halden;D;2006;P {n};0000 {n};{n} km;;\n" for n in range(many))
        )

    client = Hand(lead).client
    few, much = put(lead, rows(2)), put(lead, rows(900))
    client.get(reverse("vehicles:list", args=[few.pk]))
    with django_assert_num_queries(8):
        client.get(reverse("vehicles:list", args=[few.pk]))
    with django_assert_num_queries(8):
        client.get(reverse("vehicles:list", args=[much.pk]))


def test_a_drafts_words_are_no_facts_of_the_log(lead):
    row = put(lead, CARS)
    detail = EventDetail.objects.filter(event__subject_id=str(row.pk))
    assert "cars.csv" in str([each.words for each in detail])
    assert "Marsh" not in str([each.words for each in detail])
