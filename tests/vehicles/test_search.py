"""Finding a car: by plate, any part of its number, the people around it, make and model."""

from __future__ import annotations

from time import perf_counter

import pytest
from django.urls import reverse

from tests.factories.keeper import KeeperFactory
from tests.factories.vehicle import VehicleFactory
from tests.people import by
from vehicles.acts import keeper as keepers
from vehicles.acts import vehicle as acts
from vehicles.folding import folded, squeezed
from vehicles.models import Keeper, Vehicle


@pytest.fixture
def van(lead, front_desk):
    van = acts.add_vehicle(
        by=by(lead), number="WHD45RV0000123456", as_stamped=True, make="Halden", model="Drayman", year=2006
    )
    acts.add_registration(by=by(front_desk), vehicle=van, plate="QL 06-AB")
    person = KeeperFactory.create(front_desk, name="Jörg Kühler")
    keepers.add_part_for(by=by(front_desk), vehicle=van, keeper=person, part="owner")
    return van


@pytest.mark.parametrize(
    "asked",
    [
        "ql 06-ab",
        "QL06AB",
        "06-AB",
        "ql06",
        "5RV0000",
        "whd 45rv 000",
        "Kuhler",
        "KÜHLER jorg",
        "drayman hald",
        "2006",
        "",
    ],
)
def test_a_car_is_found_by(lead, van, asked):
    VehicleFactory.create(lead, make="Ostra", model="1600 GT")
    assert van in Vehicle.objects.search(asked)


@pytest.mark.parametrize("asked", ["ql 07", "kuhler ostra", "%", "_", "'; --", "\x00"])
def test_a_car_is_not_found_by(van, asked):
    assert not Vehicle.objects.search(asked.replace("\x00", "zz")).exists()


def test_folding_is_the_same_whatever_the_database():
    assert folded("  KÜHLER \n Żur") == "kuhler zur"
    assert squeezed("QL 06-AB") == "ql06ab"


def test_a_keepers_new_name_finds_their_cars(front_desk, van):
    person = Keeper.objects.get()
    keepers.correct_keeper(
        by=by(front_desk), keeper=person, seen_version=1, reason="married", name="Jörg Ashby"
    )
    assert Vehicle.objects.search("ashby").get() == van
    assert not Vehicle.objects.search("kuhler").exists()


def test_people_are_found_folded(front_desk, van):
    assert Keeper.objects.search("KUHLER").exists()
    assert Keeper.objects.search("0000").exists()
    assert not Keeper.objects.search("nobody").exists()


def test_the_list_finds_pages_and_keeps_what_was_asked(client, lead):
    for _ in range(30):
        VehicleFactory.create(lead, make="Ostra", model="1600 GT")
    client.force_login(lead)
    address = reverse("vehicles:vehicles")
    first = client.get(address, {"q": "ostra"})
    assert "30 cars with “ostra”" in first.content.decode()
    assert "Page 1 of 2" in first.content.decode()
    assert "q=ostra&amp;page=2" in first.content.decode()
    assert len(client.get(address, {"q": "ostra", "page": "2"}).context["page_obj"].object_list) == 5
    assert client.get(address, {"page": "no number"}).status_code == 200


def test_a_script_gets_the_list_alone(client, lead, van):
    client.force_login(lead)
    text = client.get(
        reverse("vehicles:vehicles"), {"q": "ql06"}, headers={"HX-Request": "true"}
    ).content.decode()
    assert text.lstrip().startswith('<div class="stack" id="found"')
    assert "Drayman" in text


def test_the_empty_list_leads_to_the_first_car(client, lead):
    client.force_login(lead)
    text = client.get(reverse("vehicles:vehicles")).content.decode()
    assert "No car is on record yet." in text
    assert reverse("vehicles:vehicle-add") in text
    assert "Take on the first car" in text


def test_nothing_found_is_said(client, lead, van):
    client.force_login(lead)
    assert (
        "No car has all of these words"
        in client.get(reverse("vehicles:vehicles"), {"q": "xyz"}).content.decode()
    )


def test_the_list_is_for_staff(client, car_owner):
    client.force_login(car_owner)
    assert client.get(reverse("vehicles:vehicles")).status_code == 403


def test_the_list_asks_as_often_for_three_cars_as_for_thirty(
    client, lead, front_desk, django_assert_max_num_queries, monkeypatch
):
    monkeypatch.setattr("vehicles.views.vehicle.PER_PAGE", 50)
    client.force_login(lead)
    person = KeeperFactory.create(front_desk)

    def more(cars):
        for _ in range(cars):
            car = VehicleFactory.create(lead)
            acts.add_registration(by=by(lead), vehicle=car, plate=f"P {car.number}")
            keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=person, part="owner")

    def count():
        with django_assert_max_num_queries(50) as captured:
            assert client.get(reverse("vehicles:vehicles")).status_code == 200
        return len(captured)

    more(3)
    few = count()
    more(27)
    assert count() == few


@pytest.mark.parametrize("name", ["vehicles:vehicles", "vehicles:keepers"])
@pytest.mark.parametrize(
    "asked",
    [
        "a " * 100,
        "a b " * 20_000,
        "x" * 200_000,
        "\ufdfa" * 200,  # one character that folds into four words
        "%" * 300,
        "_%\\'\";--",
        "\u202e\u0301\ud83d\ude97".encode("utf-16", "surrogatepass").decode("utf-16"),
        "\U000e0001\uffff\u2028\x7f\x1b",
        "-" * 200,
    ],
    ids=range(9),
)
def test_whatever_is_asked_the_page_answers_quickly(client, lead, van, name, asked):
    client.force_login(lead)
    began = perf_counter()
    answer = client.get(reverse(name), {"q": asked})
    assert answer.status_code == 200
    # Some hundred times what it takes: only work that grows with the text would reach it.
    assert perf_counter() - began < 2


@pytest.mark.parametrize("name", ["vehicles:vehicles", "vehicles:keepers"])
def test_a_text_too_long_to_search_for_is_said_to_be_so(client, lead, van, name):
    client.force_login(lead)
    answer = client.get(reverse(name), {"q": "kuhler " * 40})
    assert "That is too long to search for: give at most 200 characters" in answer.text
    assert not answer.context["page_obj"].object_list
    assert "kuhler kuhler" in answer.text, "what was typed is still there to be shortened"
    shorter = client.get(reverse(name), {"q": "kuhler " * 20})
    assert len(shorter.context["page_obj"].object_list) == 1
