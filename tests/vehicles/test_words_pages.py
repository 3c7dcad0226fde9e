"""The page of the words: who reads it, what it says, what is marked, where it leads, and how often it asks."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from django.urls import reverse

from tests.factories.fault import FaultFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from vehicles import words_found
from vehicles.acts import vehicle as vehicles
from vehicles.models import Words
from workshop.models import Event

pytestmark = pytest.mark.words

ADDRESS = "/find/words/"


@once
def fault(car, lead):
    return FaultFactory(
        person=lead, vehicle=car, title="Quokka whine <b>loud</b>", severity="major",
        words="It whines & <script>alert('quokka')</script> when cold.", made_at=datetime(2024, 3, 3, 9, tzinfo=UTC),
    )  # fmt: skip


def see(client, **query):
    answer = client.get(ADDRESS, query)
    assert answer.status_code == 200
    return answer


def shown(answer) -> list[str]:
    return [hit.words.title for hit in answer.context["page"].hits]


def test_a_hit_says_what_where_when_by_whom_and_leads_there(client, technician, lead, car, fault):
    client.force_login(technician)
    answer = see(client, q="quokka")
    assert shown(answer) == [f"Fault {fault.number}"]
    page = re.sub(r"\s+", " ", answer.text)
    for piece in (
        f'href="{fault.get_absolute_url()}"', f'href="{car.get_absolute_url()}"', "3 Mar 2024", str(lead),
        "<mark>Quokka</mark> whine", "1 found: the words “quokka”",
    ):  # fmt: skip
        assert piece in page, piece


def test_nothing_that_was_written_or_typed_is_markup(client, technician, fault):
    client.force_login(technician)
    page = see(client, q="quokka").text
    assert "<mark>quokka</mark>&#x27;)&lt;/script&gt;" in page
    assert "<b>loud" not in page
    page = see(client, q="<script>alert").text
    assert "<mark>&lt;script&gt;alert</mark>" in page
    assert "<script>alert" not in page


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"q": "x"}, "“x” is too short to look for"),
        ({"q": "y" * 201}, "Give at most 200 characters"),
        ({"q": "quokka", "since": "2020", "until": "2019"}, "Give 2020 or later"),
        ({"q": "quokka", "since": "yesterday"}, "Give a year, such as 2019, or a day"),
        ({"q": "quokka", "since": "2019-13"}, "2019-13 is no day of the calendar"),
        ({"q": "quokka", "until": "2019-02-30"}, "2019-02-30 is no day of the calendar"),
        ({"q": "quokka", "until": "0000"}, "Give a year from 1885 to 2100"),
        (
            {"q": "quokka", "person": "00000000-0000-0000-0000-000000000000"},
            "Nobody of that name wrote anything here",
        ),
        ({"q": "quokka", "person": "zz"}, "Nobody of that name wrote anything here"),
        ({"q": "quokka", "system": "flux"}, "That is none of the list"),
        ({"q": "quokka", "severity": "awful"}, "That is none of the list"),
        ({"q": "quokka", "kind": "nonsense"}, "That is none of the list"),
    ],
)
def test_what_is_wrong_is_said_and_the_filled_form_comes_back(client, technician, fault, query, said):
    client.force_login(technician)
    answer = see(client, **query)
    assert said in answer.text.replace("&#x27;", "'")
    assert "Nothing was looked for yet" in answer.text
    assert shown(answer) == []
    assert f'value="{query["q"]}"' in answer.text
    for name in ("since", "until"):
        if name in query:
            assert f'value="{query[name]}"' in answer.text


def test_what_narrows_it_down_works_alone(client, technician, lead, car, fault):
    client.force_login(technician)
    ItemFactory(person=lead, vehicle=car, title="Numbat hose", severity="minor")
    assert shown(see(client, severity="major")) == [f"Fault {fault.number}"]
    assert shown(see(client, since="2024-03-03", until="2024-03-03")) == [f"Fault {fault.number}"]
    assert shown(see(client, until="2023")) == []
    assert shown(see(client, kind="outstanding", person=lead.pk)) == ["Outstanding O1"]


def test_an_empty_search_says_what_may_be_let_go(client, technician, fault):
    client.force_login(technician)
    page = see(client, q="quokka", severity="minor", since="2020").text
    assert "Nothing answers to the words “quokka”, severity: minor, from 2020." in page
    assert '<a href="?q=quokka&amp;since=2020">severity</a>' in page
    assert '<a href="?q=quokka&amp;severity=minor">from</a>' in page
    alone = see(client, q="zebra").text
    assert "Nothing answers to the words “zebra”." in alone
    assert "Without" not in alone
    asked_nothing = see(client).text
    assert "Looked through is all that was ever written" in asked_nothing


def test_of_one_car_alone(client, technician, lead, car, fault):
    other = VehicleFactory.create(lead)
    FaultFactory(person=lead, vehicle=other, title="Quokka too")
    client.force_login(technician)
    assert len(shown(see(client, q="quokka"))) == 2
    assert shown(see(client, q="quokka", car=car.pk)) == [f"Fault {fault.number}"]
    # A wrong key is as good as none.
    for key in ("zz", "00000000-0000-0000-0000-000000000000"):
        assert len(shown(see(client, q="quokka", car=key))) == 2


def test_the_next_page_keeps_what_is_asked(client, technician, lead, car, monkeypatch):
    for number in range(3):
        FaultFactory(person=lead, vehicle=car, title=f"Wombat {number}")
    monkeypatch.setattr(words_found, "PER_PAGE", 2)
    monkeypatch.setattr(words_found.page, "__defaults__", (None, 2))
    client.force_login(technician)
    first = see(client, q="wombat", kind="fault")
    [older] = re.findall(r'rel="next" href="([^"]+)"', first.text)
    second = client.get(ADDRESS + older.replace("&amp;", "&"))
    assert len(shown(first)) == 2
    assert len(shown(second)) == 1
    assert "Newest" in second.text


def test_the_search_box_finds_cars_first_then_the_words(client, technician, car, fault):
    client.force_login(technician)
    answer = client.get(reverse("vehicles:find"), {"q": "when cold"})
    assert "it stands in the words below" in answer.text
    assert "<mark>when</mark> <mark>cold</mark>" in answer.text
    assert f'href="{ADDRESS}?q=when+cold"' in answer.text
    answer = client.get(reverse("vehicles:find"), {"q": car.model})
    assert answer.text.index(">Cars<") < answer.text.index(">In the words<")


def test_a_history_is_narrowed_to_a_person_a_system_and_a_severity(client, technician, lead, car, fault):
    from vehicles.models import Place

    brakes = Place.objects.get(slug="brake-pads")
    FaultFactory(person=technician, vehicle=car, title="Squeals", place=brakes, severity="minor")
    vehicles.add_registration(by=by(technician), vehicle=car, plate="QL 99 ZZ")
    client.force_login(technician)

    def titles(**query):
        answer = client.get(reverse("vehicles:history", args=[car.pk]), query)
        return {entry.title for group in answer.context["page"].groups for entry in group.entries}

    assert titles(system="brakes") == {"F2 Squeals reported"}
    assert titles(severity="major") == {f"{fault} reported"}
    assert titles(person=technician.pk) == {"F2 Squeals reported", "Written down: bears the plate QL 99 ZZ"}
    assert titles(person=technician.pk, kind="fault", since="2025") == {"F2 Squeals reported"}
    assert titles(q='"QL 99"') == {"Written down: bears the plate QL 99 ZZ"}
    empty = client.get(reverse("vehicles:history", args=[car.pk]), {"system": "wheels", "q": "squeals"}).text
    assert "answers to the words “squeals”, system: wheels and tyres" in re.sub(r"\s+", " ", empty)
    assert f"{ADDRESS}?system=wheels&amp;q=squeals&amp;car={car.pk}" in empty


def test_a_cars_owner_reaches_no_words(client, car_owner, fault):
    client.force_login(car_owner)
    assert client.get(ADDRESS, {"q": "quokka"}).status_code == 403
    client.logout()
    assert client.get(ADDRESS, {"q": "quokka"}).status_code in (302, 403)


def test_what_only_some_of_the_staff_may_read_is_no_part_of_the_words(lead, shop_owner, technician, fault):
    """The log, the people of the shop and its settings: their tables are not in it at all."""
    kinds = set(Words.objects.values_list("subject_kind", flat=True))
    assert Event.objects.exists()
    assert not kinds & {
        "workshop.event", "workshop.eventdetail", "workshop.person", "workshop.competence", "workshop.device",
        "workshop.shop", "vehicles.keeper", "vehicles.spreadsheetlist", "vehicles.share",
    }  # fmt: skip


def test_it_asks_as_often_for_little_as_for_much(
    client, technician, lead, car, fault, django_assert_max_num_queries
):
    client.force_login(technician)

    def count(**query):
        with django_assert_max_num_queries(20) as captured:
            answer = see(client, q="quokka", **query)
        return len(captured), len(shown(answer))

    few, one = count()
    for number in range(30):
        other = VehicleFactory.create(lead)
        FaultFactory(person=(lead, technician)[number % 2], vehicle=other, title="Quokka")
    many, full = count()
    assert (one, full) == (1, 25)
    assert few == many
