"""The plots of a car: distance and what was outstanding, with the same in their tables, for much, one and nothing."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.template.loader import render_to_string

from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from vehicles import odometer
from vehicles.acts import odometer as acts
from vehicles.acts import outstanding as item_acts
from vehicles.audience import Audience, Shows
from vehicles.models import OutstandingItem, Severity
from vehicles.plots import MOST_ROWS, plots_of
from vehicles.plots_distance import FALSIFIED, LOWER, REPLACED, SHAPES, UNKNOWN, UNREAD, distance_plot
from vehicles.plots_items import Open, items_plot
from workshop.engineering.units import Amount
from workshop.templatetags.plots import sign_path


def noon(year, month=1, day=1):
    return datetime(year, month, day, 11, tzinfo=UTC)


def read(person, car, value, moment, unit="km", **more):
    amount = None if value is None else Amount(Decimal(str(value)), unit)
    return acts.record_reading(by=by(person), vehicle=car, amount=amount, read_at=moment, **more)


def swap(person, car, day, old_last, new_first):
    return acts.replace_instrument(
        by=by(person),
        vehicle=car,
        replaced_on=day,
        old_last=None if old_last is None else Amount(Decimal(old_last), "mi"),
        new_first=None if new_first is None else Amount(Decimal(new_first), "km"),
        replaced_because="display dark",
        **({"estimate_note": "display was dark"} if None in (old_last, new_first) else {}),
    )


def drawn_days(shown):
    """The days of the table, as the axis of the drawing counts them."""
    days = [datetime.strptime(row[0], "%d %b %Y").date() for row in shown.table[1]]  # noqa: DTZ007
    return [float((day - days[0]).days) for day in days]


@pytest.fixture
def bare(lead):
    """A car of which nothing is on record yet."""
    return VehicleFactory.create(person=lead)


@once
def long_lived(car, technician):
    """Two instruments, miles then kilometres, a reading that was lower, one not readable, one under wrong tyres."""
    read(technician, car, 10_000, noon(2010), "mi", since_new=True)
    read(technician, car, 20_000, noon(2012), "mi")
    read(technician, car, 15_000, noon(2013), "mi", lower_because="misread by the garage before")
    read(technician, car, 30_000, noon(2014), "mi")
    swap(technician, car, date(2015, 1, 1), "35000", "5")
    read(technician, car, 12_005, noon(2017))
    read(technician, car, None, noon(2018), not_readable_because="display dark")
    read(technician, car, 24_005, noon(2019), falsified_by="tyres one size up")
    read(technician, car, 36_005, noon(2021))
    read(technician, car, 46_005, noon(2023))
    return car


@pytest.mark.outside("International yard and pound agreement 1959 (NIST SP 811, B.6): 1 mile = 1.609 344 km")
def test_distance_is_a_sum_over_instruments(published, long_lived):
    shown = distance_plot(odometer.instruments_of(long_lived))
    # By hand: 35 000 mi are 56 327.04 km; then 12 000 km up to 2017; nothing counts until 2021; 10 000 km after.
    wanted = [
        16093.44,
        32186.88,
        32186.88,
        48280.32,
        56327.04,
        68327.04,
        68327.04,
        68327.04,
        68327.04,
        78327.04,
    ]
    for row, km in zip(shown.table[1], wanted, strict=True):
        published.close(Decimal(row[2]), Decimal(str(km)), rel=1e-4, unit="km")
    known = {row[0]: row[3] for row in shown.table[1]}
    assert known["1 Jan 2013"] == LOWER
    assert known["1 Jan 2015"] == REPLACED
    assert known["1 Jan 2018"] == UNREAD
    assert known["1 Jan 2019"] == FALSIFIED
    assert known["1 Jan 2023"] == ""
    assert odometer.truth(long_lived).sentence in shown.words
    assert "replaced once, last on 1 Jan 2015" in shown.words
    assert "24000 km" in shown.words


def test_the_line_runs_through_the_points_of_the_table(long_lived):
    shown = distance_plot(odometer.instruments_of(long_lived))
    true, not_counted = shown.plot.lines
    days, km = drawn_days(shown), [float(row[2]) for row in shown.table[1]]
    whole = [point for point in true.points if not math.isnan(point[0])]
    # Between two of its points the drawn line is what an independent library interpolates between rows of the table.
    at = np.linspace(days[0], days[5], 200)
    counts = [n for n, row in enumerate(shown.table[1]) if LOWER not in row[3] and UNREAD not in row[3]]
    assert np.interp(at, *zip(*whole, strict=True)) == pytest.approx(
        np.interp(at, [days[n] for n in counts], [km[n] for n in counts]), abs=0.6
    )
    # What was shown under wrong tyres is apart, in another style, and flat.
    assert (true.style, not_counted.style) == ("this", "factory")
    pieces = [point for point in not_counted.points if not math.isnan(point[0])]
    assert {round(y) for _, y in pieces} == {68327}
    assert [x for x, _ in pieces] == [days[5], days[7], days[7], days[8]]


def test_what_is_doubtful_is_marked_by_shape_and_words(long_lived):
    shown = distance_plot(odometer.instruments_of(long_lived))
    marks = {mark.means: mark for mark in shown.plot.marks if mark.shape}
    assert set(marks) == {REPLACED, LOWER, UNREAD, FALSIFIED}
    assert all(marks[means].shape == SHAPES[means] for means in marks)
    assert len({sign_path(shape, 0, 0) for shape in SHAPES.values()}) == len(SHAPES) == 5
    html = render_to_string("vehicles/_plots.html", {"plots": [shown]})
    for means in marks:
        assert f"{means}</li>" in html
        assert f'class="sign {SHAPES[means]}"' in html
    assert "style=" not in html
    assert 'role="img"' in html
    assert "<title>Distance over time</title>" in html
    assert html.count("<tr>") == len(shown.table[1]) + 1
    assert "<details>" in html
    paper = render_to_string("vehicles/_plots.html", {"plots": [shown], "paper": True})
    assert "<details>" not in paper
    assert paper.count("<tr>") == len(shown.table[1]) + 1


def test_what_is_not_known_is_a_gap(bare, technician):
    read(technician, bare, 50_000, noon(2012), "mi")
    read(technician, bare, 51_000, noon(2013), "mi")
    swap(technician, bare, date(2014, 6, 1), None, "7")
    read(technician, bare, 1_007, noon(2015))
    shown = distance_plot(odometer.instruments_of(bare))
    assert [row[2] for row in shown.table[1]] == ["0", "1609", "0", "1000"]
    assert [row[3] for row in shown.table[1]] == [UNKNOWN, "", f"{UNKNOWN}; {REPLACED}", ""]
    (line,) = shown.plot.lines
    assert [math.isnan(x) for x, _ in line.points] == [True, False, False, True, False, False]
    assert shown.plot.y.label == "True distance, km, from 0 after each gap"
    assert shown.words.startswith("True distance is not known before 1 Jun 2014; 1000 km since then.")


def test_one_reading_alone_and_none(bare, technician):
    (nothing,) = (one for one in plots_of(bare) if one.slug == "distance")
    assert nothing.plot is None
    assert nothing.table is None
    assert nothing.words == "Nothing to draw yet, because no odometer reading with a figure is on record."
    assert nothing.words in render_to_string("vehicles/_plots.html", {"plots": [nothing]})
    read(technician, bare, None, noon(2019), not_readable_because="battery flat")
    read(technician, bare, 80_000, noon(2020))
    shown = distance_plot(odometer.instruments_of(bare))
    assert [row[1:] for row in shown.table[1]] == [
        ("not readable", "", UNREAD),
        ("80000 km", "0", UNKNOWN),
    ]
    assert shown.plot.y.label == "True distance since 1 Jan 2020, km"
    assert "<svg" in render_to_string("vehicles/_plots.html", {"plots": [shown]})


def test_twenty_years_of_readings_are_drawn_and_told_by_period_and_nothing_doubtful_is_lost(bare, technician):
    read(technician, bare, 1, noon(2005), since_new=True)
    instruments = odometer.instruments_of(bare)
    like = instruments[0].shown[0]
    for n in range(1, 1040):
        row = type(like)(**{f.attname: getattr(like, f.attname) for f in like._meta.concrete_fields})
        row.read_at, row.value = noon(2005) + timedelta(7 * n), Decimal(200 * n)
        instruments[0].shown.append(row)
    instruments[0].shown[300].value = Decimal(5)
    shown = distance_plot(instruments)
    assert len(shown.table[1]) <= MOST_ROWS
    assert [row[3] for row in shown.table[1]].count(LOWER) == 1
    assert shown.table[1][-1][2] == str(200 * 1039)
    assert "the last of each half-year" in shown.words
    line = [point for point in shown.plot.lines[0].points if not math.isnan(point[0])]
    assert [f"{y:.0f}" for _, y in line] == [row[2] for row in shown.table[1] if row[3] != LOWER]


# --- what was outstanding ----------------------------------------------------------------------------------------

DAY = date(2020, 1, 1)


def an(severity, since, until=None):
    return Open(severity, DAY + timedelta(since), None if until is None else DAY + timedelta(until))


def test_open_items_are_counted_as_a_grid_of_days_counts_them():
    items = [
        an("major", 0, 40),
        an("minor", 10),
        an("minor", 10, 30),
        an("dangerous", 20, 20),
        an("advice", 90),
    ]
    shown = items_plot(items, DAY + timedelta(120))
    head, rows = shown.table
    assert head == ("From", "Major", "Minor", "Advice", "Together")
    # Day by day, by another way of counting: what began less what ended, summed up by numpy.
    for severity, label in (("major", "Major"), ("minor", "Minor"), ("advice", "Advice")):
        change = np.zeros(121, dtype=int)
        for one in items:
            if one.severity == severity:
                change[(one.since - DAY).days] += 1
                if one.until is not None:
                    change[(one.until - DAY).days] -= 1
        daily = np.cumsum(change)
        days = drawn_days(shown)
        assert [int(row[head.index(label)]) for row in rows] == [daily[int(day)] for day in days]
        # The drawn area of that severity is the sum of its days.
        area = 0.0
        for band in shown.plot.bands:
            if band.label == label:
                low, high = (np.array(side) for side in (band.lower, band.upper))
                area += np.trapezoid(high[:, 1] - low[:, 1], low[:, 0])
        assert area == pytest.approx(daily[:-1].sum())
    assert shown.words.startswith(
        "On 30 Apr 2020 2 are open: 1 minor, 1 advice. The most were 3, from 11 Jan 2020."
    )


def test_severities_are_told_apart_without_colour():
    items = [an(severity, 0) for severity in Severity.values]
    shown = items_plot(items, DAY + timedelta(10))
    assert [band.pattern for band in shown.plot.bands] == ["solid", "cross", "slant", "plain"]
    html = render_to_string("vehicles/_plots.html", {"plots": [shown]})
    for pattern, label in zip(("solid", "cross", "slant", "plain"), Severity.labels, strict=True):
        assert f'class="amount {pattern}" points=' in html
        assert f" {label}</li>" in html


def test_items_of_one_day_and_none_and_many():
    assert items_plot([], DAY).words.startswith("Nothing to draw yet, because nothing has been outstanding")
    assert items_plot([an("minor", 1)], DAY).plot is None
    one = items_plot([an("minor", 0)], DAY)
    assert one.table[1] == (("1 Jan 2020", "1", "1"),)
    assert "<svg" in render_to_string("vehicles/_plots.html", {"plots": [one]})
    many = items_plot([an("minor", 20 * n, 20 * n + 10) for n in range(300)], DAY + timedelta(6000))
    assert len(many.table[1]) <= MOST_ROWS
    assert "The table gives the last change of each half-year." in many.words
    assert "nothing is open" in many.words


# --- who sees them -------------------------------------------------------------------------------------------------


def raise_item(person, car, severity="minor", **more):
    return item_acts.raise_item(
        by=by(person), vehicle=car, title="Rear hose weeps", severity=severity, reason="beyond", **more
    )


def test_an_audience_sees_what_it_may(long_lived, technician, lead):
    raise_item(lead, long_lived)
    slugs = [one.slug for one in plots_of(long_lived)]
    assert slugs == ["distance", "wear", "costs", "outstanding"]
    assert plots_of(long_lived, Audience(frozenset({Shows.WORK}))) == []
    assert [one.slug for one in plots_of(long_lived, Audience(frozenset({Shows.PLOTS})))] == [
        "distance",
        "wear",
    ]
    more = Audience(frozenset({Shows.PLOTS, Shows.OUTSTANDING, Shows.COSTS}))
    assert [one.slug for one in plots_of(long_lived, more)] == ["distance", "wear", "outstanding"]
    paying = Audience(frozenset({Shows.PLOTS, Shows.COSTS}), since=date(2012, 1, 1))
    assert [one.slug for one in plots_of(long_lived, paying)] == ["distance", "wear", "costs"]


def test_nothing_later_than_an_audience_reaches(long_lived, lead):
    raise_item(lead, long_lived)
    until = Audience(frozenset({Shows.PLOTS, Shows.OUTSTANDING}), until=date(2014, 12, 31))
    distance, _, items = plots_of(long_lived, until)
    assert [row[0] for row in distance.table[1]] == ["1 Jan 2010", "1 Jan 2012", "1 Jan 2013", "1 Jan 2014"]
    assert "True distance 48280 km." in distance.words
    assert items.plot is None


def test_queries_do_not_grow_with_the_history(bare, technician, lead, django_assert_num_queries):
    with django_assert_num_queries(6):
        plots_of(bare)
    read(technician, bare, 1000, noon(2007), since_new=True)
    raise_item(lead, bare)
    with django_assert_num_queries(7):
        plots_of(bare)
    for n in range(1, 12):
        read(technician, bare, 1000 + 9000 * n, noon(2007 + n))
        raise_item(lead, bare, "advice")
    with django_assert_num_queries(7):
        plots_of(bare)
    assert OutstandingItem.objects.filter(vehicle=bare).count() == 12


def test_of_two_readings_of_a_day_the_last_is_drawn_and_it_says_so(bare, technician):
    read(technician, bare, 1000, noon(2015), since_new=True)
    for hours, value in ((0, 2000), (6, 2007)):
        read(technician, bare, value, noon(2016) + timedelta(hours=hours))
    shown = distance_plot(odometer.instruments_of(bare))
    assert [row[1] for row in shown.table[1]] == ["1000 km", "2007 km"]
    assert "3 readings from 1 Jan 2015 to 1 Jan 2016. Drawn are the last of each day" in shown.words


def test_a_gap_within_one_day_keeps_the_order_in_which_things_happened(bare, technician):
    read(technician, bare, 50_000, noon(2012), "mi")
    read(technician, bare, 51_000, noon(2013, 6, 1), "mi")
    swap(technician, bare, date(2013, 6, 1), None, "7")
    read(technician, bare, 1_007, noon(2015))
    shown = distance_plot(odometer.instruments_of(bare))
    assert [row[1] for row in shown.table[1]] == ["50000 mi", "51000 mi", "began at 7 km", "1007 km"]
    assert [row[2] for row in shown.table[1]] == ["0", "1609", "0", "1000"]
