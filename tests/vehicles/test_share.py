"""Share links: who makes them, what they settle, who ends them; the list, the log, and that no token is kept."""

from __future__ import annotations

import logging
import re
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.factories.handover import owner_of
from tests.factories.keeper import KeeperFactory
from tests.once import once
from tests.people import PASSWORD, by
from vehicles import shares
from vehicles.acts import erasure
from vehicles.acts import keeper as keepers
from vehicles.acts import share as acts
from vehicles.audience import ALWAYS, DEFAULT, Shows
from vehicles.models import Opened, OpenedOn, Share, ShareOpening, VehicleKeeper
from vehicles.models.share import MOST_DAYS
from workshop.models import Event, EventDetail, Submission

SINCE = date(2025, 3, 1)
PHONE = "Mozilla/5.0 (Linux; Android 14; Mobile) Gecko"
COMPUTER = "Mozilla/5.0 (X11; Linux x86_64) Gecko"


@once
def owned(front_desk, car):
    """The car's owner of today, with an account."""
    keeper = owner_of(car, front_desk)
    VehicleKeeper.objects.filter(keeper=keeper).update(from_on=SINCE)
    person = keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="ashby", password=PASSWORD)
    return keeper, person


def make(person, car, **fields) -> Share:
    values = {"label": "for the buyer", "shows": sorted(DEFAULT), **fields}
    return acts.make_share(by=by(person), vehicle=car, **values)


def send(**fields) -> dict:
    ticked = [what.value for what in Shows if what in DEFAULT - ALWAYS]
    return {"key": str(uuid4()), "label": "for the buyer", "shows": ticked, "days": "30", **fields}


def read(share, **headers):
    return Client(headers={"User-Agent": COMPUTER, **headers}).get(share.address())


# ------------------------------------------------------------------------------------------------------ made


def test_the_owner_makes_one_for_their_own_car_and_it_is_for_them(car, owned):
    keeper, person = owned
    share = make(person, car)
    assert (share.made_for, share.made_by, share.days) == (keeper, person, 30)
    assert share.valid_until == timezone.localdate() + timedelta(days=30)
    assert share.shows == [what.value for what in Shows if what in DEFAULT]
    assert share.since is None  # nothing of a keeper's time is shown, so there is none
    assert len(share.token) == 22


def test_a_stranger_a_technician_and_a_former_owner_make_none(
    car, owned, other_owner, technician, front_desk
):
    _, person = owned
    with pytest.raises(PermissionDenied, match="only for a car that is yours"):
        make(other_owner, car)
    with pytest.raises(PermissionDenied):
        make(technician, car)
    part = VehicleKeeper.objects.get(vehicle=car, part="owner")
    keepers.end_part_for(by=by(front_desk), vehicle_keeper=part, until_on=by(front_desk).day, reason="sold")
    with pytest.raises(PermissionDenied):
        make(person, car)


def test_an_owner_makes_none_in_another_keepers_name(car, owned, front_desk):
    other = KeeperFactory.create(front_desk, name="Orla Penn")
    with pytest.raises(PermissionDenied, match="only for yourself"):
        make(owned[1], car, made_for=other)


def test_the_desk_makes_one_for_whoever_has_the_car_only(car, owned, front_desk):
    assert make(front_desk, car, made_for=owned[0]).made_for == owned[0]
    assert make(front_desk, car).made_for is None
    other = KeeperFactory.create(front_desk, name="Orla Penn")
    with pytest.raises(ValidationError) as refused:
        make(front_desk, car, made_for=other)
    assert refused.value.message_dict == {
        "made_for": ["The car is not theirs now: choose its owner or registered keeper, or nobody."]
    }


@pytest.mark.parametrize("what", [Shows.COSTS, Shows.KEEPER])
def test_what_is_a_keepers_needs_a_keeper(car, owned, front_desk, what):
    with pytest.raises(ValidationError) as refused:
        make(front_desk, car, shows=[what])
    assert "made_for" in refused.value.message_dict
    assert make(front_desk, car, shows=[what], made_for=owned[0]).since == SINCE


def test_their_time_begins_when_the_car_became_theirs_or_later_and_never_before(car, owned):
    _, person = owned
    later = SINCE + timedelta(days=40)
    assert make(person, car, shows=["costs"], since=later).since == later
    with pytest.raises(ValidationError) as refused:
        make(person, car, shows=["costs"], since=SINCE - timedelta(days=1))
    assert "since" in refused.value.message_dict
    with pytest.raises(ValidationError) as refused:
        make(person, car, shows=["costs"], until=SINCE - timedelta(days=1))
    assert "until" in refused.value.message_dict


def test_a_sheet_is_not_shown_without_what_stands_on_it(car, owned):
    with pytest.raises(ValidationError) as refused:
        make(owned[1], car, shows=["papers", "costs"])
    assert "“Names of who did the work” and “The keeper's own name and address”" in str(refused.value)
    assert "papers" in make(owned[1], car, shows=["papers", "costs", "people", "keeper"]).shows


@pytest.mark.parametrize("days", [0, -1, MOST_DAYS + 1])
def test_it_opens_one_to_so_many_days(car, owned, days):
    with pytest.raises(ValidationError) as refused:
        make(owned[1], car, days=days)
    assert refused.value.message_dict == {"days": [f"Give 1 to {MOST_DAYS} days."]}


def test_what_a_link_can_not_show_and_a_link_for_nobody_are_refused(car, owned):
    with pytest.raises(ValidationError, match="can't show"):
        make(owned[1], car, shows=["everything"])
    with pytest.raises(ValidationError) as refused:
        make(owned[1], car, label="  ")
    assert "label" in refused.value.message_dict


def test_so_many_links_are_open_at_most(car, owned, monkeypatch):
    monkeypatch.setattr(acts, "MOST_OPEN", 2)
    first = make(owned[1], car)
    make(owned[1], car)
    with pytest.raises(ValidationError, match="2 links to this car are open"):
        make(owned[1], car)
    acts.end_share(by=by(owned[1]), share=first)
    make(owned[1], car)


# ------------------------------------------------------------------------------------------------------ ended


def test_ended_it_opens_nothing_from_that_moment_and_is_ended_once(car, owned, front_desk):
    share = make(owned[1], car)
    assert read(share).status_code == 200
    acts.end_share(by=by(front_desk), share=share)
    answer = read(share)
    assert answer.status_code == 410
    text = answer.content.decode()
    assert "This link was ended" in text
    assert "Ask whoever gave it to you" in text
    assert car.make not in text
    assert car.number not in text
    with pytest.raises(ValidationError, match="ended already"):
        acts.end_share(by=by(owned[1]), share=share)
    row = Share.objects.get(pk=share.pk)
    assert (row.revoked_by, row.revoked_because) == (front_desk, "ended")


def test_who_has_no_part_in_the_car_ends_nothing(car, owned, other_owner):
    with pytest.raises(PermissionDenied):
        acts.end_share(by=by(other_owner), share=make(owned[1], car))


def test_on_its_last_day_it_opens_and_on_the_next_it_does_not(car, owned, monkeypatch):
    share = make(owned[1], car, days=1)
    last = share.valid_until
    monkeypatch.setattr(timezone, "localdate", lambda *args: last)
    assert Share.objects.get(pk=share.pk).is_open
    monkeypatch.setattr(timezone, "localdate", lambda *args: last + timedelta(days=1))
    assert not Share.objects.get(pk=share.pk).is_open
    answer = read(share)
    assert answer.status_code == 410
    assert "This link has run out" in answer.content.decode()


def test_when_the_car_changes_hands_the_former_keepers_links_end(car, owned, front_desk):
    """Not cut at that day: whoever holds the address has it from somebody without a say in the car any more."""
    for_them, for_nobody = make(owned[1], car), make(front_desk, car)
    new = KeeperFactory.create(front_desk, name="Orla Penn")
    keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=new, part="owner")
    for share in (for_them, for_nobody):
        assert Share.objects.get(pk=share.pk).revoked_because == "hands"
        assert read(share).status_code == 410
    assert Event.objects.filter(subject_kind="vehicles.share", subject_id=str(for_them.pk)).count() == 2


def test_who_still_has_the_car_keeps_their_links(car, owned, front_desk):
    keeper, person = owned
    share = make(person, car)
    other = KeeperFactory.create(front_desk, name="Orla Penn")
    registered = keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=other, part="registered_keeper")
    keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=other, part="owner", end_current=False)
    keepers.end_part_for(
        by=by(front_desk), vehicle_keeper=registered, until_on=by(front_desk).day, reason="-"
    )
    driver = keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part="driver")
    keepers.end_part_for(by=by(front_desk), vehicle_keeper=driver, until_on=by(front_desk).day, reason="-")
    assert read(share).status_code == 200


def test_a_part_that_ends_without_a_follower_ends_them_too(car, owned, front_desk):
    share = make(owned[1], car)
    part = VehicleKeeper.objects.get(vehicle=car, part="owner")
    keepers.end_part_for(by=by(front_desk), vehicle_keeper=part, until_on=by(front_desk).day, reason="sold")
    assert read(share).status_code == 410


def test_erasing_a_person_ends_their_links_and_takes_the_words(car, owned, front_desk, shop_owner):
    keeper, person = owned
    share = make(person, car, label="for my cousin Wendel Ashby-Rooke")
    named = make(front_desk, car, label="asked for by Corin Ashby")
    digest = share.token_hash
    erasure.erase_person(by=by(shop_owner), keeper=keeper, reason="asked for it")
    row = Share.objects.get(pk=share.pk)
    assert (row.label, row.revoked_because, row.token_hash) == ("(…)", "erased", digest)
    assert "Corin" not in Share.objects.get(pk=named.pk).label
    assert not EventDetail.objects.filter(words__contains="Ashby-Rooke").exists()


# --------------------------------------------------------------------------------------------- below the acts


@pytest.mark.parametrize(
    "changes",
    [
        {"token_hash": "0" * 64},
        {"shows": ["work", "costs"]},
        {"valid_until": date(2099, 1, 1)},
        {"since": date(2000, 1, 1)},
        {"label": "for somebody else"},
    ],
)
def test_the_database_keeps_a_link_as_it_was_made(car, owned, changes):
    share = make(owned[1], car)
    with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
        Share.objects.filter(pk=share.pk).update(**changes)


def test_the_database_opens_no_ended_link_again(car, owned):
    share = make(owned[1], car)
    acts.end_share(by=by(owned[1]), share=share)
    with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
        Share.objects.filter(pk=share.pk).update(revoked_at=None, revoked_by=None, revoked_because="")


@pytest.mark.parametrize("shows", [[], ["costs"], ["work", "all"], {"work": 1}, "work"])
def test_the_database_takes_no_list_that_it_does_not_know(car, owned, shows):
    share = make(owned[1], car)
    share.pk, share.token_hash, share.shows = uuid4(), uuid4().hex, shows
    share._state.adding = True
    with pytest.raises(DatabaseError, match="kinds of things that are known"), transaction.atomic():
        Share.objects.bulk_create([share])


def test_the_log_of_openings_is_only_counted_up(car, owned):
    share = make(owned[1], car)
    read(share)
    rows = ShareOpening.objects.filter(share=share)
    for changes in (
        {"count": 1},
        {"what": "paper"},
        {"device": ""},
        {"last_at": timezone.now() - timedelta(1)},
    ):
        with pytest.raises(DatabaseError, match="only counted"), transaction.atomic():
            rows.update(**{"count": 5, **changes})
    with pytest.raises(DatabaseError, match="never deleted"), transaction.atomic():
        rows.delete()


# ------------------------------------------------------------------------------------------------ the token


def everything_written() -> str:
    """Each text of the database, as it stands there."""
    with connection.cursor() as cursor:
        found = []
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            found += [str(value) for row in cursor.fetchall() for value in row]
    return "\n".join(found)


def test_no_token_stands_in_the_database_or_in_a_log(client, car, owned, caplog):
    from workshop.tokens import Masked

    client.force_login(owned[1])
    text = client.post(reverse("vehicles:share-make", args=[car.pk]), send()).content.decode()
    token = re.search(r"/shared/([\w-]{22})/", text)[1]
    share = Share.objects.get()
    assert shares.find(token) == share
    caplog.handler.addFilter(Masked())  # as the app's own handler has it
    with caplog.at_level(logging.DEBUG):
        for path in ("", f"photo/{uuid4()}/", f"sheet/{uuid4()}/", "nothing/"):
            client.get(f"/shared/{token}/{path}")
        acts.end_share(by=by(owned[1]), share=share)
        client.get(f"/shared/{token}/")
    assert "/shared/(token)/" in caplog.text
    assert token not in caplog.text
    written = everything_written()
    assert share.token_hash in written
    assert token not in written


def test_the_address_is_shown_once(client, car, owned):
    client.force_login(owned[1])
    fields = send()
    first = client.post(reverse("vehicles:share-make", args=[car.pk]), fields)
    text = first.content.decode()
    assert first.status_code == 200
    assert first.headers["Cache-Control"] == "no-store"
    assert re.search(r'value="http://testserver/shared/[\w-]{22}/"', text)
    assert "<svg" in text
    assert "shown this once" in text
    again = client.post(reverse("vehicles:share-make", args=[car.pk]), fields)
    assert again.status_code == 302
    assert again.url == Share.objects.get().get_absolute_url()
    assert "/shared/" not in client.get(again.url).content.decode()


# ------------------------------------------------------------------------------------------------ the pages


def test_the_form_begins_without_money_and_persons_and_comes_back_filled(client, car, owned):
    client.force_login(owned[1])
    address = reverse("vehicles:share-make", args=[car.pk])
    text = client.get(address).content.decode()
    ticked = re.findall(r'name="shows" value="(\w+)"[^>]* checked', text)
    assert ticked == ["parts", "photos", "outstanding", "faults", "plots"]
    for value, sentence in (("costs", "What was paid in the present keeper"), ("keeper", "its plate")):
        assert f'name="shows" value="{value}"' in text
        assert sentence in text
    answer = client.post(address, send(label="", days="900", shows=["costs"]))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Say who it is for" in text
    assert f"Give {MOST_DAYS} or less." in text
    assert re.findall(r'name="shows" value="(\w+)"[^>]* checked', text) == ["costs"]
    assert not Share.objects.exists()


def test_the_preview_is_what_the_reader_sees_and_makes_nothing(client, car, owned):
    keeper, person = owned
    client.force_login(person)
    address = reverse("vehicles:share-make", args=[car.pk])
    fields = send(shows=["parts"], step="preview")
    text = client.post(address, fields).content.decode()
    assert "This is what the reader will see" in text
    assert car.number in text
    assert keeper.name not in main_of(text)
    assert car.number not in client.post(address, {**fields, "shows": []}).content.decode()
    assert not Share.objects.exists()
    back = client.post(address, {**fields, "step": "change"}).content.decode()
    assert 'value="for the buyer"' in back
    assert re.findall(r'name="shows" value="(\w+)"[^>]* checked', back) == ["parts"]
    refused = client.post(address, {**fields, "shows": ["papers"]})
    assert refused.status_code == 422
    assert "A handover sheet says these too" in refused.content.decode()
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', text))
    client.post(address, {**fields, **hidden, "step": "make"})
    assert Share.objects.get().shows == ["work", "parts"]


def main_of(text: str) -> str:
    return text.split("<main", 1)[1]


def test_the_list_says_how_often_on_how_many_devices_and_ends_a_link(client, car, owned):
    share = make(owned[1], car)
    client.force_login(owned[1])
    listed = reverse("vehicles:shares", args=[car.pk])
    assert "Not opened yet" in client.get(listed).content.decode()
    for browser in (COMPUTER, COMPUTER, PHONE, PHONE):
        read(share, **{"User-Agent": browser})
    read(share, **{"User-Agent": "LinkPreviewBot/1.0"})
    text = client.get(listed).content.decode()
    assert "Opened 4 times on 2 devices; looked at by a program once, last on" in text
    assert (
        "Opened 4 times on 2 devices"
        in client.get(reverse("vehicles:my-car", args=[car.pk])).content.decode()
    )
    log = client.get(share.get_absolute_url()).content.decode()
    assert "Phone" in log
    assert "Computer" in log
    assert "A program" in log
    answer = client.post(reverse("vehicles:share-end", args=[share.pk]), {"key": str(uuid4())}, follow=True)
    assert "It opens nothing any more" in answer.content.decode()
    assert "Ended by hand" in answer.content.decode()
    assert read(share).status_code == 410


def test_a_stranger_sees_no_link_and_the_new_keeper_not_the_former_ones_words(
    client, car, owned, other_owner, technician, front_desk
):
    share = make(owned[1], car, label="for my sister")
    addresses = [
        reverse("vehicles:shares", args=[car.pk]),
        reverse("vehicles:share-make", args=[car.pk]),
        share.get_absolute_url(),
        reverse("vehicles:share-end", args=[share.pk]),
    ]
    for person, status in ((other_owner, 404), (technician, 403)):
        client.force_login(person)
        assert [client.get(address).status_code for address in addresses] == [status] * 4
    client.force_login(technician)
    text = client.get(car.get_absolute_url()).content.decode()
    assert "1 link to this car's history is open" in text
    assert "for my sister" not in text
    assert addresses[0] not in text
    new = KeeperFactory.create(front_desk, name="Orla Penn")
    keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=new, part="owner")
    person = keepers.open_account(by=by(front_desk), keeper=new, sign_in_name="penn", password=PASSWORD)
    client.force_login(person)
    assert "for my sister" not in client.get(addresses[0]).content.decode()
    assert client.get(addresses[2]).status_code == 404
    client.force_login(front_desk)
    assert "for my sister" in client.get(addresses[0]).content.decode()


def test_the_desk_finds_them_on_the_page_of_the_car(client, car, owned, front_desk):
    make(owned[1], car)
    client.force_login(front_desk)
    text = client.get(car.get_absolute_url()).content.decode()
    assert 'id="shares"' in text
    assert "for the buyer" in text
    assert reverse("vehicles:share-make", args=[car.pk]) in text


def test_the_pages_ask_as_often_for_one_link_as_for_many(client, car, owned, django_assert_max_num_queries):
    client.force_login(owned[1])

    def count() -> list[int]:
        found = []
        for address in (reverse("vehicles:shares", args=[car.pk]), reverse("vehicles:my-car", args=[car.pk])):
            with django_assert_max_num_queries(60) as asked:
                assert client.get(address).status_code == 200
            found.append(len(asked))
        return found

    read(make(owned[1], car))
    few = count()
    for _ in range(8):
        share = make(owned[1], car)
        for number in range(3):
            shares_opened(share, number)
    assert count() == few
    assert few[0] <= 12


def shares_opened(share, number: int) -> None:
    at = timezone.now()
    ShareOpening.objects.create(
        share=share, hour=at, what=Opened.ACCOUNT, opened_on=OpenedOn.PHONE, device=f"{number}",
        first_at=at, last_at=at,
    )  # fmt: skip


def test_making_and_ending_stand_in_the_log_without_the_label(car, owned):
    share = make(owned[1], car, label="for Wendel")
    acts.end_share(by=by(owned[1]), share=share)
    events = Event.objects.filter(subject_id=str(share.pk)).order_by("seq")
    assert [event.act for event in events] == ["vehicles.share.make_share", "vehicles.share.end_share"]
    assert not any("Wendel" in event.body for event in events)
    assert EventDetail.objects.filter(event=events[0], words__contains="Wendel").exists()
    assert Submission.objects.filter(act="vehicles.share.make_share").count() == 1
