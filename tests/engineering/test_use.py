"""A car's rate of use and the day on which it reaches a distance, against certified values and another library."""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from workshop.engineering.use import (
    Odometer,
    Rate,
    Reckoned,
    Seen,
    Stretch,
    months_after,
    rate_of,
    reach_after,
    stretches_of,
    way_of,
    whichever_first,
)

DAY = date(2026, 3, 10)


def one(*readings, unit="km", first=0.0, last=None, removed=False):
    """An instrument: (days after the first of 2024, figure[, falsified])."""
    rows = [Seen(date(2024, 1, 1) + timedelta(r[0]), r[1], len(r) > 2, key=r) for r in readings]
    return Odometer(unit, first, last, rows, removed)


@pytest.mark.outside(
    "NIST Statistical Reference Datasets, NoInt1 (line through the origin): certified values, from memory"
)
def test_a_reference_data_set(published):
    """x 60 to 70, y 130 to 140: stretches of x² days and x·y km are just that line."""
    rate = rate_of([Stretch(x * x, x * y, DAY) for x, y in zip(range(60, 71), range(130, 141), strict=True)])
    published.close(rate.km_a_day, 2.07438016528926, rel=1e-13, what="slope")
    published.close(rate.scatter, 3.56753034006338, rel=1e-12, what="residual standard deviation")
    published.close(
        rate.scatter / math.sqrt(rate.days), 0.165289256198347e-01, rel=1e-12, what="deviation of the slope"
    )


@pytest.mark.outside("SciPy: optimize.curve_fit, stats.t.ppf, optimize.brentq on the prediction band")
def test_the_day_against_another_library(published):
    days, km = np.array([190.0, 240, 95, 361, 410]), np.array([9_100.0, 12_400, 3_600, 19_800, 18_700])
    rate = rate_of([Stretch(int(d), float(k), DAY) for d, k in zip(days, km, strict=True)])
    (slope,), covariance = optimize.curve_fit(lambda x, b: b * x, np.sqrt(days), km / np.sqrt(days))
    t = stats.t.ppf(0.975, 4)
    published.close(rate.km_a_day, float(slope), rel=1e-7)
    published.close(rate.margin, float(t * math.sqrt(covariance[0, 0])), rel=1e-6)
    variance = covariance[0, 0] * days.sum()

    def band(h, sign):
        return slope * h + sign * t * math.sqrt(variance * h + covariance[0, 0] * h * h)

    found = reach_after(rate, 15_000.0, DAY)
    published.close((found.day - DAY).days, 15_000 / slope, within=0.5, unit="days")
    early = optimize.brentq(lambda h: band(h, +1) - 15_000, 1, 5000)
    late = optimize.brentq(lambda h: band(h, -1) - 15_000, 1, 5000)
    published.close((found.earliest - DAY).days, math.floor(early), within=0, unit="days")
    published.close((found.latest - DAY).days, math.ceil(late), within=0, unit="days")
    for at, sign in ((early, 1), (late, -1)):
        published.close(rate.reach(at)[(sign + 1) // 2], 15_000, rel=1e-6, unit="km")


@pytest.mark.outside(
    "NumPy: 4000 cars driven at random (normal increments), share of days inside the 95 % interval"
)
def test_how_often_the_interval_holds_the_day(published):
    """A car whose use is really as assumed: the distance after a year lies in the band 95 times of 100."""
    dice = np.random.default_rng(5545)
    inside = 0
    days = np.array([120, 200, 150, 300, 90])
    for _ in range(4000):
        km = 40 * days + 260 * np.sqrt(days) * dice.standard_normal(5)
        rate = rate_of([Stretch(int(d), float(k), DAY) for d, k in zip(days, km, strict=True)])
        low, high = rate.reach(365)
        inside += low <= 40 * 365 + 260 * math.sqrt(365) * dice.standard_normal() <= high
    published.close(inside / 4000, 0.95, within=0.012)


@pytest.mark.outside("python-dateutil: relativedelta(months=…)")
def test_months_against_another_library(published):
    relativedelta = pytest.importorskip("dateutil.relativedelta").relativedelta
    for day in (
        date(2024, 1, 31),
        date(2023, 1, 31),
        date(2024, 2, 29),
        date(2025, 12, 31),
        date(2026, 8, 30),
    ):
        for months in (0, 1, 3, 6, 11, 12, 13, 24, 36, 48, 120):
            published.same(months_after(day, months), day + relativedelta(months=months))


@pytest.mark.outside("RFC 7529, section 4.1: SKIP=BACKWARD takes the last day of the month")
@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (date(2013, 1, 31), 1, date(2013, 2, 28)),
        (date(2012, 1, 31), 1, date(2012, 2, 29)),
        (date(2014, 1, 31), 3, date(2014, 4, 30)),
        (date(2016, 2, 29), 12, date(2017, 2, 28)),
        (date(2016, 2, 29), 48, date(2020, 2, 29)),
        (date(2026, 11, 30), 3, date(2027, 2, 28)),
        (date(2026, 12, 31), 1, date(2027, 1, 31)),
        (date(2026, 12, 15), 12, date(2027, 12, 15)),
    ],
)
def test_months(published, day, months, then):
    published.same(months_after(day, months), then)


def test_the_calendar_has_an_end():
    assert months_after(date(9998, 6, 1), 24) == date.max
    assert months_after(date(9999, 11, 30), 1) == date(9999, 12, 30)


@given(st.dates(date(1900, 1, 1), date(2200, 1, 1)), st.integers(0, 480))
def test_months_go_on_in_order(day, months):
    then = months_after(day, months)
    assert (then.year - day.year) * 12 + then.month - day.month == months
    assert then.day <= day.day
    assert then.day == day.day or (then + timedelta(1)).day == 1


def test_no_reading_or_few_know_no_rate():
    for way in (way_of([]), way_of([one()]), way_of([one((0, 1000))]), way_of([one((0, 1000), (90, 4000))])):
        assert rate_of(stretches_of(way)) is None
    assert way_of([]).last is way_of([]).first is way_of([]).first_km is None
    assert way_of([]).since("nothing") is None
    three = way_of([one((0, 1000), (90, 4000), (200, 8000))])
    assert rate_of(stretches_of(three)).stretches == 2
    assert (three.first, three.first_km) == (date(2024, 1, 1), 7000.0)


def test_readings_of_one_visit_are_one():
    """Read at check-in and at handover, and again a week later: no use of the car in between."""
    way = way_of([one((0, 1000), (1, 1006), (8, 1300), (100, 5000), (200, 9000), (200, 9006))])
    assert [(row.days, row.km) for row in stretches_of(way)] == [(100, 4006.0), (92, 3700.0)]


def test_an_instrument_in_miles_after_kilometres():
    old = one((0, 140_000), (100, 148_000), last=148_190.0, removed=True)
    new = one((150, 1_000), (300, 6_000), unit="mi", first=3.0)
    way = way_of([old, new])
    assert way.unit == "mi"
    assert [row.km for row in stretches_of(way)] == pytest.approx(
        [5000 * 1.609344, 190 + 997 * 1.609344, 8000.0]
    )
    assert way.since((0, 140_000)) == pytest.approx(8190 + 5997 * 1.609344)
    assert way.first_km == pytest.approx(8190 + 5997 * 1.609344)


def test_an_instrument_removed_unread_leaves_a_gap():
    old = one((0, 10_000), (100, 14_000), (200, 18_000), removed=True)
    new = one((300, 500), (400, 4_500), first=0.0)
    way = way_of([old, new])
    assert [row.km for row in stretches_of(way)] == [4000.0, 4000.0, 4000.0]
    assert way.since((200, 18_000)) is None
    assert way.first_km is None
    assert way.since((300, 500)) == 4000.0
    # Neither does one whose first reading nobody knows, nor one that begins above where it ends.
    known = one((0, 10_000), last=12_000.0, removed=True)
    assert way_of([known, one((300, 500), first=None)]).since((0, 10_000)) is None
    assert way_of([known, one((300, 500), first=900.0)]).since((0, 10_000)) is None
    assert way_of([known, Odometer("km", None, None, [])]).since((0, 10_000)) == 0.0


def test_distance_under_falsifying_tyres_is_no_use():
    way = way_of([one((0, 1000), (100, 4000), (200, 9000, "tyres"), (300, 14_000), (400, 17_000))])
    assert [row.km for row in stretches_of(way)] == [3000.0, 3000.0]
    assert way.since((0, 1000)) == 16_000.0


def test_a_reading_that_fell():
    back = way_of([one((0, 10_000), (100, 9_000), (200, 16_000), (300, 20_000))])
    assert [row.km for row in stretches_of(back)] == [4000.0, 6000.0]
    assert back.since((100, 9_000)) == 11_000.0
    for_good = way_of([one((0, 90_000), (100, 95_000), (200, 200), (300, 4_200))])
    assert [row.km for row in stretches_of(for_good)] == [4000.0, 5000.0]
    assert for_good.since((100, 95_000)) is None
    # The removed one ended below what it had shown: what it drove until then leads nowhere.
    ended = way_of([one((0, 9_000), (50, 12_000), last=11_000.0, removed=True), one((90, 500))])
    assert ended.since((50, 12_000)) is None


def test_how_it_is_used_now():
    """Twelve years of readings: the last three years tell; of a car seldom seen the last four stretches."""
    yearly = [(365 * year, 10_000.0 * year) for year in range(9)] + [
        (365 * 9, 85_000.0),
        (365 * 10, 90_000.0),
    ]
    assert len(stretches_of(way_of([one(*yearly)]))) == 4
    monthly = [(30 * month, 900.0 * month) for month in range(100)]
    assert len(stretches_of(way_of([one(*monthly)]))) == 37


def test_reached_between_two_readings():
    way = way_of([one((0, 1000), (100, 4000), (200, 9000))])
    day = date(2024, 1, 1)
    assert way.reached(0.0) == (day + timedelta(100), day + timedelta(200))
    assert way.reached(-5000.0) == (day, day + timedelta(100))
    assert way.reached(-9000.0) == (day, day)
    fell = way_of([one((0, 90_000), (200, 200), (300, 4_200))])
    assert fell.reached(-9000.0) == (day + timedelta(200), day + timedelta(200))


def test_a_car_that_stands():
    assert reach_after(Rate(0.0, 1.0, 300, 3), 500.0, DAY) is None
    assert reach_after(Rate(0.01, 1.0, 300, 3), 5000.0, DAY) is None
    assert Rate(0.0, 1.0, 300, 3).words == "about 0 km a year"
    assert Rate(0.0, 1.0, 300, 3).month_words("km") == "0 km a month"


def test_a_rate_that_scatters_has_no_end():
    found = reach_after(Rate(40.0, 900.0, 300, 2), 5000.0, DAY)
    assert found.latest is None
    assert found.earliest < found.day == DAY + timedelta(125)
    late = reach_after(rate_of([Stretch(300, 3, DAY), Stretch(300, 3.02, DAY)]), 360.0, DAY)
    assert late.latest is None or late.latest > late.day


def test_an_even_rate_is_sure():
    even = rate_of([Stretch(100, 4000, DAY), Stretch(200, 8000, DAY), Stretch(50, 2000, DAY)])
    assert reach_after(even, 4000.0, DAY) == Reckoned(*[DAY + timedelta(100)] * 3)
    assert reach_after(even, 4000.0, DAY).is_sure
    assert even.words == "about 15000 km a year"
    # 40 · 365.25 / 12 = 1217.5 km; / 1.609344 = 756.5 mi
    assert even.month_words("km") == "1220 km a month"
    assert even.month_words("mi") == "757 mi a month"


@pytest.mark.parametrize(
    ("by_date", "early", "day", "late", "found"),
    [
        (None, 20, 40, 70, (40, 20, 70)),
        (10, 20, 40, 70, (10, 10, 10)),
        (30, 20, 40, 70, (30, 20, 30)),
        (50, 20, 40, 70, (40, 20, 50)),
        (90, 20, 40, 70, (40, 20, 70)),
        (90, 20, 40, None, (40, 20, 90)),
    ],
)
def test_whichever_comes_first(by_date, early, day, late, found):
    def on(days):
        return None if days is None else DAY + timedelta(days)

    assert whichever_first(on(by_date), Reckoned(on(day), on(early), on(late))) == Reckoned(*map(on, found))


def test_only_a_day_or_nothing():
    assert whichever_first(DAY, None) == Reckoned(DAY, DAY, DAY)
    assert whichever_first(None, None) is None
