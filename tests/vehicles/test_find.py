"""The search box: what it finds, in what order, what it says, and how often it asks the database."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests.factories.fault import FaultFactory
from tests.factories.job import JobFactory
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.vehicle import VehicleFactory
from tests.hand import Hand
from tests.once import once
from tests.people import by
from vehicles import finding
from vehicles.acts import fault as fault_acts
from vehicles.acts import keeper as keepers
from vehicles.acts import outstanding as items
from vehicles.acts import vehicle as acts
from vehicles.models import Fault, OutstandingItem

ADDRESS = "/find/"


@once
def van(lead, front_desk):
    van = acts.add_vehicle(
        by=by(lead), number="WHD45RV0000123456", as_stamped=True, make="Halden", model="Drayman", year=2006
    )
    acts.add_registration(by=by(front_desk), vehicle=van, plate="QL 06-AB")
    person = KeeperFactory.create(front_desk, name="Jörg Kühler", phone="00 555 0177")
    keepers.add_part_for(by=by(front_desk), vehicle=van, keeper=person, part="owner")
    return van


def found(client, text, typing=True):
    headers = {"HX-Request": "true"} if typing else {}
    answer = client.get(ADDRESS, {"q": text}, headers=headers)
    assert answer.status_code == 200
    return answer


def titles(client, text) -> dict[str, list[str]]:
    answer = found(client, text).context["answer"]
    return {group.label: [row.title for row in group.rows] for group in answer.groups}


@pytest.mark.parametrize("text", ["ql06", "QL 06-AB", "06ab", "45RV0", "123456", "kühler", "KUHLER", "draym"])
def test_a_car_is_found_by_plate_number_or_keeper(client, technician, van, text):
    client.force_login(technician)
    assert titles(client, text)["Cars"] == [str(van)]


def test_a_person_is_found_by_name_and_by_phone_with_their_cars(client, technician, van):
    client.force_login(technician)
    for text in ("kuhler", "0177", "555 0177"):
        [row] = found(client, text).context["answer"].groups[-1].rows
        assert row.title == "Jörg Kühler"
        assert "2006 Halden Drayman" in row.detail


def test_a_job_is_found_by_its_number_as_it_is_typed(client, lead, van):
    job = JobFactory(person=lead, vehicle=van, title="First look")
    client.force_login(lead)
    year, serial = str(job.year), f"{job.serial:04d}"
    for text in (
        job.number,
        f"{year}-",
        f"{year}-{serial[:2]}",
        serial,
        f"job {job.number}",
        f"{year}/{serial}",
    ):
        assert titles(client, text).get("Jobs") == ["First look"], text
    for text in (f"{year}-9", "31999", "no 4 job"):
        assert "Jobs" not in titles(client, text), text


def test_faults_and_items_are_found_folded_and_the_open_ones_come_first(client, lead, van):
    old = FaultFactory(person=lead, vehicle=van, title="Kühlwasser fehlt")
    fault_acts.end_normal(by=by(lead), fault=old, seen_version=1, normal_source="maker's data")
    FaultFactory(person=lead, vehicle=van, title="kuhlwasser again")
    item = ItemFactory(person=lead, vehicle=van, title="KÜHLWASSER hose")
    client.force_login(lead)
    rows = found(client, "kühlWASSER").context["answer"].groups[0].rows
    assert {row.title for row in rows[:2]} == {"kuhlwasser again", "KÜHLWASSER hose"}
    assert (rows[2].title, rows[2].past) == ("Kühlwasser fehlt", True)
    items.widen(by=by(lead), item=item, title="Everything else")
    assert OutstandingItem.objects.search("everything").get() == item
    assert not OutstandingItem.objects.search("kuhlwasser").exists()
    assert Fault.objects.search("kuhlwasser").count() == 2


def test_the_plate_that_begins_so_comes_before_whatever_holds_the_text(client, lead, van):
    other = VehicleFactory.create(lead, number="FRAMEQL06", make="Aaa", model="first by name")
    client.force_login(lead)
    assert titles(client, "ql06")["Cars"] == [str(van), str(other)]


def test_an_earlier_plate_is_named_as_such(client, lead, van):
    acts.add_registration(by=by(lead), vehicle=van, plate="TAR H 88", end_current=True)
    client.force_login(lead)
    [row] = found(client, "ql06").context["answer"].groups[0].rows
    assert row.plain == "TAR H 88"
    assert "earlier QL 06-AB" in row.detail


@pytest.mark.parametrize("text", ["%%", "__", "_%", "Q_06", "Q%B", "\\%"])
def test_wildcards_are_letters(client, lead, van, text):
    FaultFactory(person=lead, vehicle=van, title="Battery flat")
    client.force_login(lead)
    assert not found(client, text).context["answer"].groups


@pytest.mark.parametrize(
    ("text", "said"),
    [("q", "Type at least 2 characters"), ("x" * 201, "at most 200 characters"), ("", "Found are cars with")],
)
def test_too_little_and_too_much_is_said(client, lead, van, text, said):
    client.force_login(lead)
    assert said in found(client, text, typing=False).text
    if text:
        assert said in found(client, text).text


@pytest.mark.parametrize(
    ("text", "query"),
    [
        ("zz 77 xy", "?plate=ZZ+77+XY"),
        ("1M8GDM9A1KP042788", "?number=1M8GDM9A1KP042788"),
        ("FRAME-00099-Z", "?number=FRAME-00099-Z"),
        ("Quill Marden", ""),
    ],
)
def test_nothing_found_leads_to_a_new_car_with_what_was_typed(front_desk, van, text, query):
    hand = Hand(front_desk)
    page = hand.client.get(ADDRESS, {"q": text})
    assert f"Nothing found for “{text}”" in page.text
    address = f"{reverse('vehicles:vehicle-add')}{query}"
    assert f'href="{address}"' in page.text
    form = hand.client.get(address).context["form"]
    if query:
        name = query[1:].split("=")[0]
        assert form[name].value() == (text.upper() if name == "plate" else text)


def test_while_typing_it_is_a_list_box_and_otherwise_a_page(client, lead, van):
    client.force_login(lead)
    typing, page = found(client, "ql06"), found(client, "ql06", typing=False)
    assert 'role="listbox"' in typing.text
    assert typing.text.count('role="option"') == 3
    assert "<html" not in typing.text
    assert "HX-Request" in typing.headers["Vary"]
    assert "<h1>Find</h1>" in page.text
    assert 'value="ql06"' in page.text


def test_what_was_typed_is_no_markup(client, lead, van):
    client.force_login(lead)
    for typing in (True, False):
        assert "<b>x" not in found(client, "<b>x</b> 1", typing).text


def test_the_box_is_in_the_bar_of_the_shop_and_not_of_a_cars_owner(client, technician, car_owner):
    client.force_login(technician)
    assert "data-find" in client.get("/floor/").text
    client.force_login(car_owner)
    assert "data-find" not in client.get(reverse("vehicles:my-cars")).text
    assert client.get(ADDRESS, {"q": "ql"}).status_code == 403


def test_it_asks_as_often_for_one_car_as_for_thirty(client, lead, front_desk, django_assert_max_num_queries):
    client.force_login(lead)

    def more(count):
        for _ in range(count):
            car = VehicleFactory.create(lead, make="Halden", model="Drayman")
            acts.add_registration(by=by(lead), vehicle=car, plate=f"HAL {car.number[-4:]}")
            person = KeeperFactory.create(front_desk, name="Halina Orr")
            keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=person, part="owner")
            FaultFactory(person=lead, vehicle=car, title="Halts at lights")
            ItemFactory(person=lead, vehicle=car, title="Half worn")

    def count():
        with django_assert_max_num_queries(30) as captured:
            answer = found(client, "hal").context["answer"]
        return len(captured), answer.count

    more(1)
    few, seen = count()
    more(29)
    many, shown = count()
    assert few == many
    # The van, and of the first car itself, its owner, fault and item.
    assert (seen, shown) == (5, 3 * finding.MOST_WHILE_TYPING)


def test_to_book_a_job_the_car_is_chosen_with_one_tap(lead, van, car_owner):
    hand = Hand(lead)
    floor = hand.see("jobs:floor")
    address = f"{reverse('vehicles:vehicles')}?for=booking"
    assert address in floor
    book = reverse("jobs:job-book", args=[van.pk])
    for headers in ({}, {"HX-Request": "true"}):
        assert book in hand.client.get(address, {"q": "ql06", "for": "booking"}, headers=headers).text
    assert book not in hand.see("vehicles:vehicles", q="ql06")
