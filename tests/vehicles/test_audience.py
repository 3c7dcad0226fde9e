"""Who is shown what of a car: the kinds of things, the reader's own time, how far a link reaches."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.factories.handover import owner_of
from tests.factories.keeper import KeeperFactory
from tests.people import PASSWORD, by
from vehicles.acts import keeper as keepers
from vehicles.audience import DEFAULT, EVERYTHING, OF_THEIR_TIME, Audience, NotTheirs, Shows
from vehicles.models import VehicleKeeper

SINCE, UNTIL = date(2025, 3, 1), date(2026, 3, 1)


def account_of(keeper, person, name: str = "ashby"):
    return keepers.open_account(by=by(person), keeper=keeper, sign_in_name=name, password=PASSWORD)


def test_a_link_shows_no_money_and_no_persons_by_default():
    shown = Audience(DEFAULT, since=SINCE)
    assert [what for what in Shows if not shown.sees(what)] == [
        Shows.PEOPLE, Shows.COSTS, Shows.PAPERS, Shows.KEEPER,
    ]  # fmt: skip


def test_the_work_is_always_shown():
    assert Audience(frozenset()).sees(Shows.WORK)


@pytest.mark.parametrize("what", sorted(OF_THEIR_TIME))
def test_what_is_of_a_keepers_time_is_not_shown_without_one(what):
    assert not Audience(EVERYTHING).sees(what)
    assert Audience(EVERYTHING, since=SINCE).sees(what)


def test_their_time_begins_on_its_first_day_and_ends_where_the_link_does():
    reader = Audience(EVERYTHING, since=SINCE, until=UNTIL)
    day = timedelta(days=1)
    assert [reader.theirs(when) for when in (SINCE - day, SINCE, UNTIL, UNTIL + day, None)] == [
        False, True, True, False, False,
    ]  # fmt: skip
    assert reader.reaches(SINCE - day)  # the technical history goes back further
    assert not reader.reaches(UNTIL + day)
    assert not Audience(EVERYTHING).theirs(UNTIL)


def test_the_owner_of_today_sees_all_from_the_day_it_is_theirs(db, car, front_desk):
    keeper = owner_of(car, front_desk)
    person = account_of(keeper, front_desk)
    VehicleKeeper.objects.filter(keeper=keeper).update(from_on=SINCE)
    reader = Audience.of_owner(person, car)
    assert (reader.shows, reader.since, reader.reader) == (EVERYTHING, SINCE, person)
    preview = Audience.of_holder(car)
    assert (preview.shows, preview.since, preview.reader) == (EVERYTHING, SINCE, None)


def test_who_sold_the_car_and_who_never_had_it_are_told_apart(db, car, front_desk):
    keeper = owner_of(car, front_desk)
    person = account_of(keeper, front_desk)
    stranger = account_of(KeeperFactory.create(front_desk, name="Orla Penn"), front_desk, "penn")
    part = VehicleKeeper.objects.get(keeper=keeper)
    today = by(front_desk).day
    keepers.end_part_for(by=by(front_desk), vehicle_keeper=part, until_on=today, reason="sold")
    with pytest.raises(NotTheirs) as sold:
        Audience.of_owner(person, car)
    assert sold.value.until == today
    with pytest.raises(NotTheirs) as never:
        Audience.of_owner(stranger, car)
    assert never.value.until is None


@pytest.mark.parametrize("part", ["driver", "payer", "authoriser", "collector"])
def test_another_part_than_owner_or_keeper_shows_nothing(db, car, front_desk, part):
    keeper = KeeperFactory.create(front_desk)
    keepers.add_part_for(by=by(front_desk), vehicle=car, keeper=keeper, part=part)
    with pytest.raises(NotTheirs):
        Audience.of_owner(account_of(keeper, front_desk), car)
