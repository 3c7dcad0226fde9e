"""Opening a share link: what every answer bears, every bad link, what is counted and what is not, and how much is asked."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.factories.handover import HandedOverFactory, owner_of
from tests.factories.photo import PhotoFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import PASSWORD, by
from vehicles import shares
from vehicles.acts import keeper as keepers
from vehicles.acts import share as acts
from vehicles.audience import DEFAULT, Shows
from vehicles.models import OpenedOn, Share, ShareOpening
from workshop.tokens import new_token

PHONE = "Mozilla/5.0 (Linux; Android 14; Mobile) Gecko"
COMPUTER = "Mozilla/5.0 (X11; Linux x86_64) Gecko"


@once
def keeper(front_desk, car):
    return owner_of(car, front_desk)


@once
def share(front_desk, car, keeper):
    return acts.make_share(
        by=by(front_desk), vehicle=car, label="for the buyer", shows=sorted(DEFAULT), made_for=keeper
    )


@once
def photo(technician, car):
    return PhotoFactory(person=technician, vehicle=car, caption="Front")


def opened(address: str, browser: str = COMPUTER, **extra) -> HttpResponse:
    return Client(headers={"User-Agent": browser}).get(address, **extra)


def rows(share) -> list[tuple[str, str, int]]:
    return sorted(ShareOpening.objects.filter(share=share).values_list("what", "opened_on", "count"))


def every_address(token: str, photo, sheet_id=None) -> list[str]:
    return [
        reverse("vehicles:shared", args=[token]),
        reverse("vehicles:shared-photo", args=[token, photo.pk]),
        reverse("vehicles:shared-thumb", args=[token, photo.pk]),
        reverse("jobs:shared-sheet", args=[token, sheet_id or uuid4()]),
    ]


# -------------------------------------------------------------------------------------------------- every answer


def assert_kept_nowhere(answer: HttpResponse) -> None:
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"
    assert answer.headers["Cache-Control"] == "no-store"
    assert "X-Keep-Copy" not in answer.headers  # what the service worker keeps bears it


def test_every_answer_is_kept_nowhere_and_tells_no_other_site_of_it(share, photo, front_desk):
    addresses = every_address(share.token, photo)
    for address, status in zip(addresses, (200, 200, 200, 404), strict=True):
        answer = opened(address)
        assert answer.status_code == status, address
        assert_kept_nowhere(answer)
    acts.end_share(by=by(front_desk), share=share)
    for address in [*addresses, *every_address(new_token(), photo)]:
        answer = opened(address)
        assert answer.status_code in (404, 410)
        assert_kept_nowhere(answer)


def test_the_page_bears_no_form_and_no_other_referrer(share, photo):
    """Without a referrer the browser says `Origin: null`, which the check of forms refuses: so there is none."""
    text = opened(share.address()).content.decode()
    assert '<meta name="referrer" content="no-referrer">' in text
    assert "<form" not in text.split("<main", 1)[1]
    assert 'method="post"' not in text
    assert '<meta name="robots" content="noindex, nofollow">' in text


def test_a_signed_in_reader_gets_the_strangers_page(client, car, share, lead, photo):
    client.force_login(lead)
    text = client.get(share.address()).content.decode()
    assert lead.name not in text
    assert "data-person" not in text
    assert 'method="post"' not in text
    assert reverse("vehicles:photo", args=[photo.pk]) not in text


# ------------------------------------------------------------------------------------------------------ bad links


def one_letter_other(token: str) -> str:
    return token[:-1] + ("A" if token[-1] != "A" else "B")


def test_unknown_tampered_guessed_cut_and_absurd_links_get_the_one_page(share, photo):
    tokens = [
        new_token(),
        one_letter_other(share.token),
        share.token[:-1],
        f"{share.token}x",
        share.token.swapcase(),
        share.token_hash,  # what is kept opens nothing
        str(share.pk),
        "a",
        "x" * 5000,
        "%00",
        "ключ",
        "' OR 1=1 --",
    ]
    pages = set()
    for token in tokens:
        for address in every_address(token, photo):
            answer = opened(address)
            assert answer.status_code in ((404, 400) if "\x00" in token or token == "%00" else (404,)), (
                address
            )
            if answer.status_code == 404:
                pages.add(answer.content)
    assert len(pages) == 1
    assert b"There is nothing at this address" in pages.pop()
    assert not ShareOpening.objects.exists()


def test_what_a_link_does_not_show_gets_the_same_page_as_what_there_is_not(
    share, photo, car, keeper, lead, technician, front_desk
):
    def page(address: str) -> bytes:
        answer = opened(address)
        assert answer.status_code == 404
        return answer.content

    other = PhotoFactory(person=technician, vehicle=VehicleFactory(person=lead))
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    blind = acts.make_share(by=by(front_desk), vehicle=car, label="no photos", shows=["parts"])
    early = acts.make_share(
        by=by(front_desk),
        vehicle=car,
        label="until the day before",
        shows=["photos"],
        until=timezone.localdate() - timedelta(days=1),
    )
    unknown = page(reverse("vehicles:shared", args=[new_token()]))
    for token, row in (
        (share.token, other),
        (blind.token, photo),
        (early.token, photo),
        (share.token, sheet),
    ):
        name, key = (
            ("jobs:shared-sheet", "sheet_id") if row is sheet else ("vehicles:shared-photo", "photo_id")
        )
        assert page(reverse(name, kwargs={"token": token, key: row.pk})) == unknown
    assert page(reverse("vehicles:shared-thumb", args=[blind.token, photo.pk])) == unknown


def test_a_photo_set_aside_is_gone_from_the_link(share, photo, technician):
    from vehicles.acts import photo as photos

    address = reverse("vehicles:shared-photo", args=[share.token, photo.pk])
    assert opened(address).status_code == 200
    photos.set_aside(by=by(technician), attachment=photo, because="shows a face")
    assert opened(address).status_code == 404


def test_ended_while_it_is_open_the_next_look_says_so(share, photo, car, front_desk):
    reader = Client(headers={"User-Agent": COMPUTER})
    addresses = every_address(share.token, photo)
    assert reader.get(addresses[0]).status_code == 200
    acts.end_share(by=by(front_desk), share=share)
    for address in addresses:
        answer = reader.get(address)
        assert answer.status_code == 410
        text = answer.content.decode()
        assert "This link was ended" in text
        for word in (car.make, car.model, car.number, "Front", "for the buyer"):
            assert word not in text


# -------------------------------------------------------------------------------------------------------- counting


def test_looking_is_counted_on_get_alone_and_once_an_hour_on_one_row(share, photo):
    reader = Client(headers={"User-Agent": COMPUTER})
    assert reader.head(share.address()).status_code == 200
    assert reader.options(share.address()).status_code == 405
    assert reader.post(share.address()).status_code == 405
    assert rows(share) == []
    for _ in range(3):
        reader.get(share.address())
    reader.get(reverse("vehicles:shared-thumb", args=[share.token, photo.pk]))
    reader.get(reverse("vehicles:shared-photo", args=[share.token, photo.pk]))
    reader.head(reverse("vehicles:shared-photo", args=[share.token, photo.pk]))
    assert rows(share) == [("account", "computer", 3), ("photo", "computer", 1)]
    log = shares.logs_of([share])[share.pk]
    assert (log.times, log.devices, log.photos) == (3, 1, 1)
    assert log.words == "Opened 3 times on 1 device"


def test_another_hour_is_another_row_and_the_same_device(share, monkeypatch):
    opened(share.address())
    later = timezone.now() + timedelta(hours=1, minutes=1)
    monkeypatch.setattr(shares.timezone, "now", lambda: later)
    opened(share.address())
    assert len(rows(share)) == 2
    log = shares.logs_of([share])[share.pk]
    assert (log.times, log.devices, log.last_at) == (2, 1, later)


def test_devices_are_told_apart_on_one_link_and_not_followed_to_another(share, car, front_desk):
    other = acts.make_share(by=by(front_desk), vehicle=car, label="another", shows=[])
    for browser, place in (
        (PHONE, "192.0.2.7"),
        (PHONE, "192.0.2.8"),
        (COMPUTER, "192.0.2.7"),
        (PHONE, "192.0.2.7"),
    ):
        opened(share.address(), browser, REMOTE_ADDR=place)
    opened(other.address(), PHONE, REMOTE_ADDR="192.0.2.7")
    assert shares.logs_of([share])[share.pk].devices == 3
    devices = [
        set(ShareOpening.objects.filter(share=each).values_list("device", flat=True))
        for each in (share, other)
    ]
    assert not devices[0] & devices[1]
    kept = [str(value) for row in ShareOpening.objects.values_list() for value in row]
    assert not any("192.0.2" in value or "Android" in value for value in kept)


@pytest.mark.parametrize(
    ("browser", "word"),
    [
        (PHONE, OpenedOn.PHONE),
        (COMPUTER, OpenedOn.COMPUTER),
        ("Mozilla/5.0 (Linux; Android 14) Gecko", OpenedOn.TABLET),
        ("LinkPreviewBot/2.1", OpenedOn.PROGRAM),
        ("", OpenedOn.PROGRAM),
        ("A browser of my own", OpenedOn.OTHER),
    ],
)
def test_a_coarse_word_on_what_it_was_opened_with(browser, word):
    assert shares.opened_on(browser) == word


def test_a_messengers_preview_works_and_is_told_apart_from_a_reader(share):
    answer = opened(share.address(), "MessengerPreview/3.0 (bot; +about)")
    assert answer.status_code == 200
    log = shares.logs_of([share])[share.pk]
    assert (log.times, log.programs) == (0, 1)
    assert log.words == "Not opened yet; looked at by a program once"


def test_a_flood_of_openings_fills_no_disk(share, monkeypatch):
    monkeypatch.setattr(shares, "MOST_DEVICES", 3)
    for number in range(12):
        opened(share.address(), f"{COMPUTER} {number}")
    found = ShareOpening.objects.filter(share=share)
    assert found.count() == 4
    assert sum(row.count for row in found) == 12
    assert found.get(device="").count == 9


# ---------------------------------------------------------------------------------------------------------- queries


def test_the_page_asks_as_often_for_much_history_as_for_little(
    share, car, keeper, lead, django_assert_max_num_queries
):
    def count() -> int:
        with django_assert_max_num_queries(60) as asked:
            assert opened(share.address()).status_code == 200
        return len(asked)

    HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    count()
    few = count()
    for number in range(2, 14):
        # Earlier ones, so that the same visit stays on the first page.
        stamp = by(lead, made_at=timezone.now() - timedelta(days=30 * number)).stamp()
        car.jobs.create(
            **stamp, year=2026, serial=number + 20, title=f"Service {number}", state="handed_over"
        )
    assert count() == few
    assert few <= 42


def test_a_photo_costs_two_queries_and_its_counting_one(share, photo, django_assert_num_queries):
    address = reverse("vehicles:shared-photo", args=[share.token, photo.pk])
    opened(address)
    with django_assert_num_queries(3):  # the link, the photo, the count
        opened(address)


def test_a_guess_costs_one_query(django_assert_num_queries, db):
    with django_assert_num_queries(2):  # the link; the shop's name for the page
        opened(reverse("vehicles:shared", args=[new_token()]))


# ------------------------------------------------------------------------------------------------- the new keeper


def test_a_new_keepers_link_reaches_back_technically_and_not_into_the_former_ones_money(
    car, keeper, lead, front_desk
):
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    new = owner_of(car, front_desk, name="Orla Penn")
    person = keepers.open_account(by=by(front_desk), keeper=new, sign_in_name="penn", password=PASSWORD)
    tomorrow = timezone.localdate() + timedelta(days=1)
    made = acts.make_share(
        by=by(person), vehicle=car, label="for the next", shows=Shows.values, since=tomorrow
    )
    text = opened(made.address()).content.decode()
    assert "Front pads renewed" in text
    for word in ("Corin", "It squeals when I brake", "100.00", str(sheet.pk)):
        assert word not in text
    assert opened(reverse("jobs:shared-sheet", args=[made.token, sheet.pk])).status_code == 404
    assert Share.objects.get(pk=made.pk).made_for == new
