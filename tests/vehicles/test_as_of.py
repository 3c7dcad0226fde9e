"""What a car looked like on a day: replayed against a plain dictionary, and what changed between two days."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.factories.fault import FaultFactory
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.part import PartFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from vehicles.acts import fault as fault_acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import odometer as odometer_acts
from vehicles.acts import outstanding as item_acts
from vehicles.acts import part as part_acts
from vehicles.acts import vehicle as vehicle_acts
from vehicles.as_of import NotKnown, Whole, as_of
from vehicles.as_of_changes import compare
from vehicles.models import Place
from workshop.engineering.units import Amount

FIRST = date(2015, 3, 1)


def noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 11, tzinfo=UTC)


def on(person, day):
    return by(person, made_at=noon(day), received_at=noon(day))


def read(person, car, day, value, unit="km", **more):
    return odometer_acts.record_reading(
        by=on(person, day), vehicle=car, amount=Amount(Decimal(value), unit), read_at=noon(day), **more
    )


# --- against a dictionary ------------------------------------------------------------------------------------------

PLACES = ("tow-bar", "exhaust", "alternator", "starter-battery")
acts = st.lists(
    st.tuples(
        st.sampled_from(["fit", "fit", "swap", "swap", "remove", "again", "error", "seen"]),
        st.integers(0, 3),
        st.integers(1, 4),
        st.booleans(),
    ),
    min_size=1,
    max_size=8,
)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=acts)
def test_every_day_is_what_a_dictionary_says(lead, steps):
    """Parts are fitted, swapped, taken off, fitted again elsewhere, found there and struck out. A dictionary of what is
    in each place is kept beside it and copied at the end of each day: the state of every day is that day's copy."""
    with transaction.atomic():
        car = VehicleFactory.create(person=lead, number=f"F{uuid4().hex[:12]}")
        places = [Place.objects.get(pk=PLACES[n]) for n in range(4)]
        read(lead, car, FIRST, 1000)
        day, now, off, number = FIRST + timedelta(1), {}, [], 0
        daily = {FIRST: {}}
        struck: set[str] = set()
        seen: list[tuple[str, str, date]] = []
        off_on: dict[str, date] = {}

        def record(kind, place, **more):
            nonlocal number
            number += 1
            part = kind(
                by=on(lead, day), vehicle=car, place=place, description=f"part {number}",
                provenance="aftermarket", **more,
            )  # fmt: skip
            now[place.pk] = part
            return part

        for what, at, wait, late in steps:
            place, there = places[at], now.get(places[at].pk)
            if what == "fit" and there is None:
                # Written down on the day, or long after: it counts by the day that it is about.
                who = by(lead) if late else on(lead, day)
                number += 1
                now[place.pk] = part_acts.record_part(
                    by=who, vehicle=car, place=place, description=f"part {number}", provenance="aftermarket",
                    fitted_at=noon(day),
                )  # fmt: skip
            elif what == "seen" and there is None:
                part = record(part_acts.record_part, place)
                seen.append((part.description, place.pk, off_on.get(place.pk, date.min)))
            elif what in ("swap", "remove") and there is not None:
                part_acts.end_part(by=on(lead, day), part=there, whereabouts="kept")
                off.append(there)
                off_on[place.pk] = day
                del now[place.pk]
                if what == "swap":
                    record(part_acts.open_part, place, replaces=there)
            elif what == "again" and there is None and off:
                old = off.pop()
                now[place.pk] = part_acts.open_part(
                    by=on(lead, day), vehicle=car, place=place, earlier_record=old,
                    description=old.description, provenance=old.provenance,
                )  # fmt: skip
            elif what == "error" and there is not None:
                part_acts.correct_in_error(by=on(lead, day), part=there, reason="never there")
                struck.add(str(there.pk))
                del now[place.pk]
            for n in range(wait):
                daily[day + timedelta(n)] = dict(now)
            day += timedelta(wait)
        wanted = {
            when: {(place, part.description) for place, part in there.items() if str(part.pk) not in struck}
            for when, there in daily.items()
        }
        left = {
            (place, part.description)
            for there in daily.values()
            for place, part in there.items()
            if str(part.pk) not in struck
        }
        # What was found there without a word of since when was there before too, but not while another part was.
        for description, place, since in seen:
            if (place, description) in left:
                first = min(when for when, there in wanted.items() if (place, description) in there)
                for when, there in wanted.items():
                    if since <= when < first:
                        there.add((place, description))

        whole = Whole.of(car)
        states = {when: as_of(car, when, whole=whole) for when in daily}
        for when, state in states.items():
            assert {(one.what.place_id, one.what.description) for one in state.parts} == wanted[when], when
        days = sorted(daily)
        for first, last in zip(days[::3], reversed(days[::2]), strict=False):
            first, last = min(first, last), max(first, last)
            changes = compare(states[last], states[first])
            came = {(pair.new.place_id, pair.new.description) for pair in (*changes.replaced, *changes.moved)}
            went = {(pair.old.place_id, pair.old.description) for pair in (*changes.replaced, *changes.moved)}
            assert (
                came | {(p.place_id, p.description) for p in changes.fitted} == wanted[last] - wanted[first]
            )
            assert (
                went | {(p.place_id, p.description) for p in changes.removed} == wanted[first] - wanted[last]
            )
        transaction.set_rollback(True)


# --- one car by hand ------------------------------------------------------------------------------------------------


@once
def lived(car, lead, technician):
    """A car from 2015 to 2021: two instruments, parts replaced and moved, items and faults come and gone."""
    read(technician, car, date(2015, 3, 1), 50_000, "mi", since_new=True)
    vehicle_acts.add_registration(
        by=on(lead, date(2015, 3, 1)), vehicle=car, plate="QL 1207", from_on=date(2014, 1, 1)
    )
    keeper_acts.add_part_for(
        by=by(lead), vehicle=car, keeper=KeeperFactory(person=lead, name="Orrin Vale"), part="owner",
        from_on=date(2016, 1, 1),
    )  # fmt: skip
    day = date(2015, 3, 1)
    factory = part_acts.record_part(
        by=on(technician, day),
        vehicle=car,
        place=Place.objects.get(pk="tow-bar"),
        description="factory bar",
        provenance="factory_standard",
    )
    part_acts.record_part(
        by=on(technician, day),
        vehicle=car,
        place=Place.objects.get(pk="exhaust"),
        description="steel box",
        provenance="aftermarket",
    )
    ItemFactory(person=technician, vehicle=car, title="Hose weeps", made_at=noon(date(2015, 3, 1)))
    FaultFactory(person=technician, vehicle=car, title="Hums", made_at=noon(date(2016, 1, 1)))
    odometer_acts.replace_instrument(
        by=on(technician, date(2017, 1, 1)), vehicle=car, replaced_on=date(2017, 1, 1),
        old_last=Amount(Decimal(60_000), "mi"), new_first=Amount(Decimal(0), "km"), replaced_because="dark",
    )  # fmt: skip
    part_acts.end_part(by=on(technician, date(2018, 1, 1)), part=factory, whereabouts="kept")
    part_acts.open_part(
        by=on(technician, date(2018, 1, 1)), vehicle=car, place=factory.place, description="bar of another maker",
        provenance="aftermarket", replaces=factory,
    )  # fmt: skip
    read(technician, car, date(2019, 1, 1), 8_000)
    return car


def test_a_day_in_between(lived):
    state = as_of(lived, date(2016, 6, 1), keepers=True)
    assert [one.what.description for one in state.parts] == ["steel box", "factory bar"]
    assert [one.what.description for one in state.not_factory] == ["steel box"]
    assert [one.what.plate for one in state.plates] == ["QL 1207"]
    assert [item.title for item in state.open_items] == ["Hose weeps"]
    assert [fault.title for fault in state.open_faults] == ["Hums"]
    assert state.reading.what.figure == 50_000
    assert state.odometer.sentence == "True distance 80467 km."
    assert [(one.what.keeper.name, one.later) for one in state.keepers] == [
        ("Orrin Vale", timezone.localdate())
    ]
    assert as_of(lived, date(2015, 12, 31), keepers=True).keepers == ()
    assert as_of(lived, date(2016, 6, 1)).keepers is None


def test_the_distance_between_is_true_over_two_instruments(lived):
    a, b = as_of(lived, date(2016, 6, 1)), as_of(lived, date(2020, 1, 1))
    # By hand: 10 000 mi on the first instrument, then 8000 km on the second.
    changes = compare(a, b)
    assert changes.distance.km == Decimal("24093.44")
    assert changes.distance_words == (
        "Between the readings of 1 Mar 2015 and 1 Jan 2019: true distance 24093 km over 2 instruments."
    )
    assert [(pair.old.description, pair.new.description) for pair in changes.replaced] == [
        ("factory bar", "bar of another maker")
    ]
    assert not changes.fitted
    assert not changes.removed
    # On the day of the replacement the new instrument is in the car, and what the old one counted is known.
    assert as_of(lived, date(2017, 1, 1)).odometer.sentence == "True distance 96561 km over 2 instruments."
    assert as_of(lived, date(2016, 12, 31)).odometer.sentence == "True distance 80467 km."
    same = compare(a, as_of(lived, date(2016, 7, 1)))
    assert same.nothing
    assert same.distance is None
    assert "was last read on 1 Mar 2015" in same.distance_words


def test_a_day_is_taken_at_its_end(lived):
    assert [one.what.description for one in as_of(lived, date(2018, 1, 1)).parts] == [
        "steel box",
        "bar of another maker",
    ]
    assert [one.what.description for one in as_of(lived, date(2017, 12, 31)).parts][1] == "factory bar"


def test_what_was_written_down_later_counts_by_its_day_and_is_marked(lived, technician):
    PartFactory(
        person=technician, vehicle=lived, place="alternator", description="rebuilt one",
        fitted_at=noon(date(2016, 1, 1)),
    )  # fmt: skip
    odometer_acts.record_reading(
        by=by(technician), vehicle=lived, amount=Amount(Decimal(55_000), "mi"), read_at=noon(date(2016, 2, 1)),
    )  # fmt: skip
    state = as_of(lived, date(2016, 6, 1))
    later = {one.what.description: one.later for one in state.parts}
    assert later["rebuilt one"] == timezone.localdate()
    assert later["factory bar"] is None
    assert state.reading.what.figure == 55_000
    assert state.reading.later == timezone.localdate()
    assert as_of(lived, timezone.localdate()).reading.later is None


def test_items_and_faults_end_on_their_day_and_what_came_and_went_is_told(lived, lead, technician):
    state = as_of(lived, date(2020, 1, 1))
    (item,), (fault,) = state.open_items, state.open_faults
    item_acts.end_by_finding(
        by=on(technician, date(2020, 2, 1)), item=item, ended_finding="dry now", seen_version=item.version
    )
    fault_acts.end_no_fault_found(
        by=on(technician, date(2020, 2, 1)), fault=fault, tried="driven 40 km", seen_version=fault.version
    )
    passing = ItemFactory(person=technician, vehicle=lived, title="Bulb", made_at=noon(date(2020, 1, 10)))
    item_acts.end_by_finding(
        by=on(technician, date(2020, 1, 20)),
        item=passing,
        ended_finding="works",
        seen_version=passing.version,
    )
    new = ItemFactory(person=technician, vehicle=lived, title="Boot torn", made_at=noon(date(2020, 3, 1)))
    changes = compare(as_of(lived, date(2020, 1, 1)), as_of(lived, date(2020, 4, 1)))
    assert [row.title for row in changes.items_ended] == ["Hose weeps"]
    assert [row.title for row in changes.items_between] == ["Bulb"]
    assert [row.title for row in changes.items_opened] == [new.title]
    assert [row.title for row in changes.faults_ended] == ["Hums"]
    assert changes.faults_opened == changes.faults_between == ()
    assert as_of(lived, date(2020, 1, 31)).open_items
    assert [row.title for row in as_of(lived, date(2020, 2, 1)).open_items] == []


def test_days_that_cannot_be_shown_are_refused_in_a_sentence(lived):
    tomorrow = timezone.localdate() + timedelta(1)
    with pytest.raises(NotKnown, match=r"lies ahead\. Give today or an earlier day"):
        as_of(lived, tomorrow)
    with pytest.raises(NotKnown) as refused:
        as_of(lived, date(2013, 12, 31))
    assert str(refused.value) == (
        "Nothing is known of this car on 31 Dec 2013. What is first known is of 1 Jan 2014: its plate, QL 1207."
    )
    as_of(lived, date(2014, 1, 1))
    with pytest.raises(NotKnown):
        as_of(lived, date.max)
    with pytest.raises(NotKnown):
        as_of(lived, date.min)


def test_of_two_cars_nothing_is_compared(lived, lead):
    other = VehicleFactory.create(person=lead)
    with pytest.raises(ValueError, match="two cars"):
        compare(as_of(lived, timezone.localdate()), as_of(other, timezone.localdate()))


# --- the page ------------------------------------------------------------------------------------------------------


def page(client, car, **asked):
    return client.get(reverse("vehicles:as-of", args=[car.pk]), asked)


def test_the_page_of_a_day_and_of_two(client, lived, technician, lead):
    client.force_login(technician)
    asked = page(client, lived).content.decode()
    assert "Known from 1 January 2014 on: its plate, QL 1207." in asked
    assert "field-error" not in asked
    html = page(client, lived, day="2016-06-01").content.decode()
    assert "1 June 2016" in html
    assert "True distance 80467 km." in html
    assert "steel box" in html
    assert "bar of another maker" not in html
    two = page(client, lived, day="2020-01-01", other="2016-06-01").content.decode()
    assert two.index("1 June 2016") < two.index("1 January 2020")
    assert "factory bar → " in two
    assert "true distance 24093 km over 2 instruments" in two


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"day": "2999-01-01"}, "lies ahead"),
        ({"day": "1999-01-01"}, "What is first known is of 1 Jan 2014"),
        ({"day": "2016-01-01", "other": "1999-01-01"}, "What is first known is of 1 Jan 2014"),
        ({"day": "soon"}, "valid date"),
        ({"other": "2016-01-01"}, "required"),
        ({"day": "0001-01-01"}, "What is first known"),
        ({"day": "9999-12-31"}, "lies ahead"),
    ],
)
def test_unknown_days_have_a_sentence_beside_the_field(client, lived, technician, asked, sentence):
    client.force_login(technician)
    answer = page(client, lived, **asked)
    assert answer.status_code == 200
    assert sentence in answer.content.decode()
    assert answer.context["states"] == []


def test_queries_are_fixed_for_one_day_and_two_and_any_history(
    client, lead, technician, django_assert_num_queries
):
    car = VehicleFactory.create(person=lead)
    read(technician, car, date(2015, 1, 1), 5)
    client.force_login(technician)
    page(client, car, day="2016-01-01")
    with django_assert_num_queries(QUERIES):
        page(client, car, day="2016-01-01")
    for n, place in enumerate(PLACES):
        PartFactory(person=technician, vehicle=car, place=place, fitted_at=noon(date(2015, 1, 1 + n)))
        ItemFactory(person=technician, vehicle=car, made_at=noon(date(2015, 2, 1 + n)))
        FaultFactory(person=technician, vehicle=car, made_at=noon(date(2015, 2, 1 + n)))
        read(technician, car, date(2015, 3, 1 + n), 100 + n)
        vehicle_acts.add_registration(by=by(lead), vehicle=car, plate=f"QL {n}", from_on=date(2015, 1, 1 + n))
        keeper_acts.add_part_for(
            by=by(lead),
            vehicle=car,
            keeper=KeeperFactory(person=lead),
            part="driver",
            from_on=date(2015, 1, 1),
        )
    with django_assert_num_queries(QUERIES):
        page(client, car, day="2016-01-01", other="2017-01-01")


QUERIES = 13
