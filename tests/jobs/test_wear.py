"""Wear over true distance on a car's page: what is measured, left out, judged, and how it looks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs import wear
from jobs.acts import measurement as measurement_acts
from jobs.wear_distance import distances, known
from tests.factories.job import CheckInFactory, JobFactory
from tests.factories.work import MeasurementFactory, WorkLineFactory
from tests.people import by
from vehicles import odometer
from vehicles.acts import datasheet
from vehicles.acts import odometer as odometer_acts
from vehicles.models import Instrument, OdometerReading, Place
from workshop.engineering.units import Amount

D = Decimal
FIRST = datetime(2022, 3, 1, 9, tzinfo=UTC)


@pytest.fixture
def visit(car, lead):
    """Check the car in at so many kilometres, on the first of March 2022 and so many days later, with a line."""

    def visit(days, km, **check_in):
        at = FIRST + timedelta(days=days)
        job = JobFactory(person=lead, vehicle=car, made_at=at, limit=100)
        if km is not None:
            check_in["odometer"] = Amount(D(km), check_in.pop("unit", "km"))
        CheckInFactory(person=lead, job=job, made_at=at, **check_in)
        return WorkLineFactory(person=lead, job=job, made_at=at, kind="diagnosis")

    return visit


@pytest.fixture
def measure(lead):
    def measure(line, value, unit="mm", **more):
        more = {
            "what": "Disc thickness",
            "place": "brake-discs",
            "position": "front_left",
            "low": "9.5",
            **more,
        }
        low, high = (D(more[name]) if more.get(name) else None for name in ("low", "high"))
        given = {**more, "low": low, "high": high, "reading": Amount(D(value), unit)}
        given["place"] = Place.objects.get(pk=given["place"]) if given["place"] else None
        given["limit_source"] = "maker's data, sheet 12" if low is not None or high is not None else ""
        return MeasurementFactory(person=lead, line=line, made_at=line.made_at, **given)

    return measure


DISC = [(0, 80_000, "12.0"), (200, 88_000, "11.4"), (400, 96_000, "10.9"), (600, 104_000, "10.4")]


@pytest.fixture
def disc(visit, measure):
    return [measure(visit(days, km), value) for days, km, value in DISC]


def only(car):
    [series] = wear.series_of(car)
    return series


def test_a_car_without_measurements(car):
    assert wear.series_of(car) == []


def test_a_disc_is_followed_to_its_limit(car, disc):
    series = only(car)
    assert series.name.startswith("Disc thickness, ")
    assert [round(one.km) for one in series.measured] == [0, 8000, 16000, 24000]
    # The same figures as the calculator's example.
    assert series.ahead.left == pytest.approx(13283, rel=0.001)
    assert "about 13000 km" in series.sentence
    assert series.limit_words == "at least 9.5 mm"
    assert series.limit.source == "maker's data, sheet 12"
    assert series.rate.startswith("0.662 mm per 10 000 km")
    assert not series.needs_hand
    assert series.driven == 0
    assert series.plot.summary == (
        "4 readings of the part now fitted, from 12 mm to 10.4 mm; the line through them meets the limit at 37283 km."
    )


def test_driving_on_uses_up_what_was_left(car, lead, disc):
    read = {"vehicle": car, "by": by(lead, made_at=FIRST + timedelta(days=700))}
    odometer_acts.record_reading(amount=Amount(D(109_000), "km"), **read)
    assert only(car).driven_words == "5000 km driven since that reading."
    assert not only(car).needs_hand
    later = {"vehicle": car, "by": by(lead, made_at=FIRST + timedelta(days=900))}
    odometer_acts.record_reading(amount=Amount(D(120_000), "km"), **later)
    assert only(car).needs_hand


def test_two_readings_say_nothing_yet(car, visit, measure):
    for days, km, value in DISC[:2]:
        measure(visit(days, km), value)
    series = only(car)
    assert series.line is None
    assert "takes 3 readings, and there are 2" in series.sentence
    assert series.plot is not None
    assert series.rate == ""


def test_readings_at_one_distance_are_no_trend(car, visit, measure):
    line = visit(0, 80_000)
    for value in ("12.0", "12.1", "12.0"):
        measure(line, value)
    assert "one distance" in only(car).sentence


def test_a_new_part_begins_anew(car, visit, measure):
    for days, km, value in DISC:
        measure(visit(days, km), value)
    line = visit(800, 112_000)
    measure(line, "9.8")
    measure(line, "12.0", phase="after")
    series = only(car)
    assert series.renewed == 1
    assert len(series.part) == 1
    assert len(series.earlier) == 5
    assert "there is 1 since it was renewed" in series.sentence
    assert series.plot is None


def test_what_was_entered_in_error_counts_as_nothing(car, lead, visit, measure):
    rows = [measure(visit(days, km), value) for days, km, value in DISC]
    measurement_acts.strike_measurement(by=by(lead), measurement=rows[0], reason="the other side")
    assert len(only(car).measured) == 3


def test_miles_and_another_unit_are_the_same_wear(car, visit, measure):
    # 12.0, 11.4, 10.9, 10.4 mm in inches at 0, 8 000, 16 000, 24 000 km in miles.
    inches = [("0", "0.4724"), ("4970.9", "0.4488"), ("9941.9", "0.4291"), ("14912.9", "0.4094")]
    for days, (miles, value) in enumerate(inches):
        measure(visit(200 * days, miles, unit="mi"), value, unit="in", low="0.374")
    series = only(car)
    assert series.unit == "in"
    assert series.ahead.left == pytest.approx(13283, rel=0.01)


def test_different_things_are_kept_apart(car, visit, measure):
    line = visit(0, 80_000)
    measure(line, "12.0")
    measure(line, "12.0", position="front_right")
    measure(line, "12.0", what="disc  THICKNESS")
    measure(line, "0.05", what="Disc run-out", low=None, high="0.1")
    measure(line, "2.4", unit="bar", what="Disc thickness", low=None)
    measure(line, "3", what="Play", place=None, position="", low=None)
    assert sorted(len(one.measured) for one in wear.series_of(car)) == [1, 1, 1, 1, 2]


def test_the_distance_under_a_replaced_odometer(car, lead, visit, measure):
    for days, km, value in DISC[:2]:
        measure(visit(days, km), value)
    odometer_acts.replace_instrument(
        by=by(lead, made_at=FIRST + timedelta(days=300)),
        vehicle=car,
        replaced_on=date(2022, 12, 26),
        old_last=Amount(D(92_000), "km"),
        new_first=Amount(D(0), "km"),
        replaced_because="display dead",
    )
    # 4 000 km on the old one and 4 000 on the new.
    for days, km, value in ((400, 4_000, "10.9"), (600, 12_000, "10.4")):
        measure(visit(days, km), value)
    series = only(car)
    assert series.left_out == 0
    assert [round(one.km) for one in series.measured] == [0, 8000, 16000, 24000]


def test_an_odometer_removed_unread_leaves_out_what_was_before(car, lead, visit, measure):
    for days, km, value in DISC[:2]:
        measure(visit(days, km), value)
    odometer_acts.replace_instrument(
        by=by(lead, made_at=FIRST + timedelta(days=300)),
        vehicle=car,
        replaced_on=date(2022, 12, 26),
        old_last=None,
        new_first=Amount(D(0), "km"),
        replaced_because="display dead",
    )
    for days, km, value in ((400, 4_000, "10.9"), (600, 12_000, "10.4"), (700, 16_000, "10.2")):
        measure(visit(days, km), value)
    series = only(car)
    assert series.left_out == 2
    assert [one.left_out for one in series.measured][:2] == ["the distance since is not truly known"] * 2
    assert len(series.part) == 3
    assert series.line is not None


def test_tyres_that_falsify_leave_out_what_was_before(car, disc, lead):
    reading = disc[-1].line.job.check_in.odometer
    odometer_acts.mark_falsified(by=by(lead), reading=reading, falsified_by="oversize tyres")
    series = only(car)
    assert series.left_out == 3
    assert "there is 1 at a known distance" in series.sentence


def test_an_unreadable_or_misread_odometer_gives_no_distance(car, lead, visit, measure):
    measure(visit(0, None, odometer=None, odometer_not_readable="display dead"), "12.0")
    assert only(car).measured[0].left_out == "no odometer reading with it"
    assert "there are none at a known distance" in only(car).sentence
    row = measure(visit(200, 88_000), "11.4")
    odometer_acts.set_aside(by=by(lead), reading=row.line.job.check_in.odometer, reason="typed 8 for 9")
    assert [bool(one.left_out) for one in only(car).measured] == [True, True]


def test_play_grows_to_its_highest(car, visit, measure):
    for days, km, value in ((0, 80_000, "0.10"), (200, 90_000, "0.21"), (400, 100_000, "0.30")):
        measure(visit(days, km), value, what="Play", low=None, high="0.5")
    series = only(car)
    assert not series.limit.falling
    assert series.limit_words == "at most 0.5 mm"
    assert series.ahead.left > 10_000


def test_of_two_limits_the_one_that_it_goes_to(car, visit, measure):
    for days, km, value in ((0, 80_000, "2.5"), (200, 90_000, "2.45"), (400, 100_000, "2.38")):
        measure(visit(days, km), value, what="Pressure", unit="bar", low="2.2", high="2.6")
    assert only(car).limit_words == "at least 2.2 bar"


def test_without_a_limit_only_the_rate_is_said(car, visit, measure):
    for days, km, value in DISC:
        measure(visit(days, km), value, what="Disc thickness over all", low=None, place=None, position="")
    series = only(car)
    assert series.limit is None
    assert series.ahead is None
    assert "No limit is on record" in series.sentence
    assert "0.662 mm" in series.rate


@pytest.fixture
def sheet(car, lead):
    return datasheet.add_sheet(by=by(lead), name="Drayman, high roof", vehicle=car, because="plate")


@pytest.mark.parametrize(
    ("what", "place", "position", "key", "found"),
    [
        ("Disc thickness", "brake-discs", "front_left", "front.disc_thickness_limit", True),
        ("Thickness of the pad", "brake-pads", "front_left", "front.pad_thickness_limit", True),
        ("Tread depth", "tyres", "front_left", "tread_limit", True),
        ("Disc thickness", "brake-discs", "rear_left", "front.disc_thickness_limit", False),
        ("Disc run-out", "brake-discs", "front_left", "front.disc_thickness_limit", False),
    ],
)
def test_the_data_sheets_limit_is_taken_where_the_measurement_has_none(
    car, lead, visit, measure, sheet, what, place, position, key, found
):
    datasheet.give_figure(
        by=by(lead),
        owner=sheet,
        key=key,
        value=Amount(D(2), "mm"),
        source="maker",
        source_words="workshop manual, p. 12",
        confidence="likely",
    )
    for days, km, value in DISC[:3]:
        measure(visit(days, km), value, what=what, place=place, position=position, low=None)
    series = only(car)
    assert (series.limit is not None) is found
    if found:
        assert series.limit_words == "at least 2 mm"
        assert "workshop manual, p. 12" in series.limit.source


def test_what_needs_a_hand_comes_first(car, visit, measure, disc):
    for days, km, value in ((0, 80_000, "6.0"), (200, 88_000, "4.1"), (400, 96_000, "2.9")):
        line = visit(days + 1, km + 10)
        measure(line, value, what="Pad thickness", place="brake-pads", low="3")
    first, second = wear.series_of(car)
    assert first.what == "Pad thickness"
    assert first.needs_hand
    assert not second.needs_hand


def test_the_page_and_the_panel(client, lead, car, disc):
    client.force_login(lead)
    page = client.get(reverse("jobs:wear", args=[car.pk])).content.decode()
    assert "about 13000 km" in page
    assert "<svg" in page
    assert "24000 km" in page
    panel = client.get(car.get_absolute_url()).content.decode()
    assert 'id="wear"' in panel
    assert "about 13000 km" in panel
    assert panel.count("wear-trend") == 0


def test_the_page_of_a_car_without_measurements_and_with_few(client, lead, car, visit, measure):
    client.force_login(lead)
    address = reverse("jobs:wear", args=[car.pk])
    assert "Nothing was measured on this car yet" in client.get(address).content.decode()
    assert "Nothing was measured on this car yet" in client.get(car.get_absolute_url()).content.decode()
    measure(visit(0, 80_000), "12.0")
    assert "takes 3 readings, and there is 1" in client.get(address).content.decode()
    assert "1 thing measured" in client.get(car.get_absolute_url()).content.decode()


def test_only_the_shop_sees_it(client, car, car_owner):
    client.force_login(car_owner)
    assert client.get(reverse("jobs:wear", args=[car.pk])).status_code in (403, 404)


def test_as_many_queries_for_twenty_visits_as_for_four(car, visit, measure, disc):
    def queries():
        with CaptureQueriesContext(
            connection,
        ) as captured:
            wear.series_of(car)
        return len(captured)

    few = queries()
    for n in range(16):
        measure(visit(610 + n, 104_100 + 100 * n), f"{10.39 - 0.01 * n:.2f}")
    assert len(only(car).measured) == 20
    assert queries() == few <= 3


# --- distances at many readings -----------------------------------------------------------------------------------


def made_up(rows, first, unit="km", order=1):
    """An instrument with readings, none of them in the database: (value or None, falsified, misread)."""
    instrument = Instrument(order=order, unit=unit, first=first)
    instrument.shown = [
        OdometerReading(
            instrument=instrument,
            value=None if value is None else D(value),
            falsified_by="tyres" if falsified else "",
            misread_because="misread" if misread else "",
            read_at=FIRST + timedelta(days=100 * order + n),
            made_at=FIRST + timedelta(days=100 * order + n),
        )
        for n, (value, falsified, misread) in enumerate(rows)
    ]
    return instrument


histories = st.lists(
    st.tuples(
        st.one_of(st.none(), st.integers(0, 400)),
        st.sampled_from([False] * 5 + [True]),
        st.sampled_from([False] * 5 + [True]),
    ),
    min_size=1,
    max_size=8,
)


@settings(deadline=None, max_examples=60)
@given(
    histories,
    histories,
    st.sampled_from([None, D(0)]),
    st.sampled_from([None, D(500)]),
    st.sampled_from(["km", "mi"]),
)
def test_counting_back_gives_what_adding_up_each_reading_gives(old, new, first, last, unit):
    one, two = made_up(old, first), made_up(new, D(0), unit, order=2)
    one.last, one.removed_on = last, date(2022, 12, 26)
    two.fitted_on = date(2022, 12, 26)
    instruments = [one, two]
    readings = [reading for instrument in instruments for reading in instrument.shown]
    found = distances(instruments, readings)
    for reading in readings:
        if reading.value is None or reading.misread_because:
            assert found[reading.pk] is None
            continue
        alone = known(odometer.truth_at(reading, instruments))
        assert (found[reading.pk] is None) == (alone is None)
        if alone is not None:
            assert found[reading.pk].origin == alone.origin
            assert found[reading.pk].km == pytest.approx(alone.km, abs=1e-6)
