"""The course of the true distance over time: the same counting as the distance itself, reading by reading."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal as D

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.odometer import Falsified, InstrumentSpan, Reading, true_distance
from workshop.engineering.odometer_course import course

DAY = date(2012, 3, 1)


def read(*values, begin=0):
    return tuple(Reading(DAY + timedelta(begin + 100 * n), D(value)) for n, value in enumerate(values))


def heights(run):
    return [point.km for point in run.points]


@pytest.mark.outside("International yard and pound agreement 1959 (NIST SP 811, B.6): 1 mile = 1.609 344 km")
def test_over_two_instruments_the_count_goes_on(published):
    miles = InstrumentSpan("mi", D(0), D(50_000), read(20_000, 40_000))
    new = InstrumentSpan("km", D(12), None, read(5_012, 9_012, begin=300), fitted_on=DAY + timedelta(250))
    (run,) = course([miles, new])
    assert run.from_new
    # The sum in the interpolation of an independent library: miles at each reading, then kilometres on top.
    wanted = [*np.array([20_000, 40_000, 50_000]) * 1.609344, *(80_467.2 + np.array([5_000, 9_000]))]
    for found, km in zip(heights(run), wanted, strict=True):
        published.close(found, D(str(km)), rel=1e-12, unit="km")
    assert [(point.span, point.reading) for point in run.points] == [
        (0, 0),
        (0, 1),
        (1, None),
        (1, 0),
        (1, 1),
    ]
    assert run.points[2].on == DAY + timedelta(250)


def test_an_instrument_removed_unread_leaves_a_gap():
    runs = course(
        [
            InstrumentSpan("km", D(0), None, read(1000, 2000)),
            InstrumentSpan("km", D(5), None, read(505, begin=300), fitted_on=DAY + timedelta(250)),
        ]
    )
    assert [heights(run) for run in runs] == [[1000, 2000], [0, 500]]
    assert [run.from_new for run in runs] == [True, False]


def test_one_that_began_unknown_and_one_that_ends_above_its_last_reading():
    runs = course(
        [
            InstrumentSpan("km", D(0), D(2500), read(1000, 2000)),
            InstrumentSpan("km", None, None, read(7000, 7100, begin=300)),
        ]
    )
    assert [heights(run) for run in runs] == [[1000, 2000], [0, 100]]


def test_a_lower_reading_that_came_back_counts_as_nothing():
    (run,) = course([InstrumentSpan("km", D(0), None, read(1000, 400, 1500))])
    assert heights(run) == [1000, 1000, 1500]
    assert [point.lower for point in run.points] == [False, True, False]


def test_one_that_never_came_back_begins_anew():
    runs = course([InstrumentSpan("km", D(0), None, read(1000, 9000, 2000, 2600))])
    assert [heights(run) for run in runs] == [[1000, 9000], [0, 600]]
    # A last reading below all others is no count; nor is one below the first.
    runs = course(
        [InstrumentSpan("km", D(0), D(500), read(1000)), InstrumentSpan("km", D(0), None, read(70))]
    )
    assert [heights(run) for run in runs] == [[1000], [70]]
    runs = course([InstrumentSpan("km", D(900), None, read(100, 300))])
    assert [heights(run) for run in runs] == [[0, 200]]
    assert not runs[0].from_new


def test_nothing_read_has_no_course():
    assert course([]) == ()
    assert course([InstrumentSpan("km", None, None)]) == ()
    assert course([InstrumentSpan("km", None, D(80))]) == ()
    assert course([InstrumentSpan("km", D(900), D(800))]) == ()
    assert course([InstrumentSpan("km", D(9), D(80))]) == ()
    assert course([InstrumentSpan("km", D(9), None), InstrumentSpan("km", D(9), None)]) == ()


def test_distance_under_falsifying_tyres_is_flat():
    span = InstrumentSpan(
        "km", D(0), None, read(1000, 2000, 3000, 4000), falsified=(Falsified(D(1000), D(3000)), Falsified(D(2000), D(2500)))
    )  # fmt: skip
    (run,) = course([span])
    assert heights(run) == [1000, 1000, 1000, 2000]
    assert [point.falsified for point in run.points] == [False, True, True, False]


@st.composite
def spans(draw):
    values = draw(st.lists(st.integers(0, 900_000), max_size=6))
    if draw(st.booleans()):
        values.sort()
    first = draw(st.none() | st.integers(0, 300_000))
    known = [value for value in values if first is None or value >= first]
    falsified = []
    if values and draw(st.booleans()):
        low = draw(st.sampled_from(values))
        falsified.append(Falsified(D(low), draw(st.none() | st.just(D(max(low, *values, low))))))
    return InstrumentSpan(
        draw(st.sampled_from(["km", "mi"])),
        None if first is None else D(first),
        draw(st.none() | st.sampled_from([D(value) for value in [*known, 900_001]])),
        read(*values),
        falsified=tuple(falsified),
    )


@given(st.lists(spans(), min_size=1, max_size=4))
def test_its_end_is_the_true_distance(found):
    """Against the distance's own counting, which goes backwards: the two ways were written apart."""
    newest = found[-1]
    found[-1] = InstrumentSpan(newest.unit, newest.first, None, newest.readings, None, newest.falsified)
    whole = true_distance(found)
    runs = course(found)
    for run in runs:
        assert heights(run) == sorted(heights(run))
    if newest.readings:
        assert runs[-1].points[-1].km == pytest.approx(whole.since_km, rel=D("1e-20"))
        assert runs[-1].from_new == (whole.km is not None)
    shown = [(point.span, point.reading) for run in runs for point in run.points if point.reading is not None]
    assert shown == [(n, m) for n, span in enumerate(found) for m in range(len(span.readings))]
