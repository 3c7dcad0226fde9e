"""True distance over instruments, in the units of each."""

from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.odometer import (
    Falsified,
    InstrumentSpan,
    OdometerError,
    Reading,
    true_distance,
)
from workshop.engineering.units import UnitError

DAY = date(2024, 5, 3)


@pytest.mark.outside("International yard and pound agreement 1959 (NIST SP 811, B.6): 1 mile = 1.609 344 km")
@pytest.mark.parametrize(
    ("miles", "km"), [("1", "1.609344"), ("100000", "160934.4"), ("87654", "141065.438976")]
)
def test_an_instrument_in_miles(published, miles, km):
    found = true_distance([InstrumentSpan("mi", D(0), D(miles))])
    published.close(found.km, D(km), rel=1e-12, unit="km")
    assert found.flags == ()


def test_miles_then_kilometres():
    found = true_distance(
        [InstrumentSpan("mi", D(0), D(84210)), InstrumentSpan("km", D(7), D(12345), fitted_on=DAY)]
    )
    # Worked by hand: 84 210 · 1.609 344 + 12 338.
    assert found.km == D("147860.85824")
    assert found.since_km == found.km
    assert found.known_since is None
    assert found.falsified_km == 0
    assert found.sentence == "True distance 147861 km over 2 instruments."


def test_the_instrument_in_use_ends_at_its_latest_reading():
    readings = (Reading(DAY, D(100)), Reading(DAY + timedelta(9), D(450)))
    assert true_distance([InstrumentSpan("km", D(0), None, readings)]).km == 450
    assert true_distance([InstrumentSpan("km", D(7), None)]).km == 0


@pytest.mark.parametrize(
    "earlier",
    [
        InstrumentSpan("mi", D(0), None),
        InstrumentSpan("mi", None, D(84210)),
        InstrumentSpan("mi", None, None),
    ],
)
def test_not_known_before_the_replacement(earlier):
    found = true_distance([earlier, InstrumentSpan("km", D(7), D(12345), fitted_on=DAY)])
    assert found.km is None
    assert found.since_km == 12338
    assert found.known_since == DAY
    assert found.sentence == "True distance is not known before 3 May 2024; 12338 km since then."
    assert [f.code for f in found.flags] == ["not_counted"]


def test_known_from_the_first_reading_of_an_instrument_that_began_unknown():
    span = InstrumentSpan("mi", None, D(84210), (Reading(DAY, D(80000)),))
    found = true_distance([span, InstrumentSpan("km", D(0), D(1000), fitted_on=date(2025, 1, 1))])
    assert found.km is None
    assert found.known_since == DAY
    assert found.since_km == D(4210) * D("1.609344") + 1000


def test_a_gap_hides_all_that_was_before_it():
    found = true_distance(
        [
            InstrumentSpan("km", D(0), D(90000)),
            InstrumentSpan("km", D(0), None, (Reading(date(2020, 1, 1), D(500)),)),
            InstrumentSpan("km", D(0), D(30), fitted_on=DAY),
        ]
    )
    assert (found.km, found.since_km, found.known_since) == (None, 30, DAY)


def test_nothing_known_at_all():
    found = true_distance([InstrumentSpan("km", None, None)])
    assert (found.km, found.since_km, found.known_since) == (None, 0, None)
    assert "before the first known reading" in found.sentence


def test_a_misreading_that_came_back_is_flagged_and_changes_nothing():
    readings = (
        Reading(DAY, D(50000)),
        Reading(DAY + timedelta(30), D(5100)),
        Reading(DAY + timedelta(60), D(52000)),
    )
    found = true_distance([InstrumentSpan("km", D(0), None, readings)])
    assert found.km == 52000
    [flag] = found.flags
    assert flag.code == "lower_reading"
    assert flag.on == DAY + timedelta(30)
    assert "5100 km on 2 Jun 2024 is lower than 50000 km" in flag.message


def test_a_fall_that_never_came_back_is_a_gap():
    later = DAY + timedelta(30)
    readings = (Reading(DAY, D(80000)), Reading(later, D(60000)), Reading(later + timedelta(30), D(70000)))
    found = true_distance([InstrumentSpan("km", D(0), None, readings)])
    assert (found.km, found.since_km, found.known_since) == (None, 10000, later)
    assert [f.code for f in found.flags] == ["lower_reading", "lower_reading", "not_counted"]


def test_last_below_first_is_never_a_negative_distance():
    found = true_distance(
        [InstrumentSpan("km", D(500), D(20)), InstrumentSpan("km", D(0), D(70), fitted_on=DAY)]
    )
    assert (found.km, found.since_km, found.known_since) == (None, 70, DAY)
    assert [f.code for f in found.flags] == ["lower_reading", "not_counted"]


def test_distance_under_falsifying_tyres_is_apart():
    whole = InstrumentSpan("km", D(0), D(10000), falsified=(Falsified(D(2000), D(3000)), Falsified(D(9500))))
    found = true_distance([whole])
    assert (found.km, found.falsified_km) == (8500, 1500)
    assert found.flags[-1].code == "falsified"
    assert "Besides, 1500 km" in found.sentence
    overlapping = InstrumentSpan(
        "mi", D(0), D(100), falsified=(Falsified(D(10), D(30)), Falsified(D(20), D(40)))
    )
    found = true_distance([overlapping])
    assert found.falsified_km == D(30) * D("1.609344")
    assert found.km == D(70) * D("1.609344")


def test_impossible_spans_are_refused():
    with pytest.raises(OdometerError, match="no odometer"):
        true_distance([])
    with pytest.raises(UnitError, match="kilometres or miles"):
        InstrumentSpan("mm", D(0), D(1))
    with pytest.raises(OdometerError, match="zero or more"):
        InstrumentSpan("km", D(-1), D(1))
    with pytest.raises(OdometerError, match="order of time"):
        InstrumentSpan("km", D(0), None, (Reading(DAY, D(1)), Reading(DAY - timedelta(1), D(2))))
    with pytest.raises(OdometerError, match="tyres"):
        InstrumentSpan("km", D(0), D(1), falsified=(Falsified(D(5), D(2)),))


values = st.decimals(min_value=0, max_value=999999, places=1)


@st.composite
def whole_spans(draw):
    first, start, end, last = sorted([draw(values) for _ in range(4)])
    falsified = (Falsified(start, end),) if draw(st.booleans()) else ()
    return InstrumentSpan(draw(st.sampled_from(["km", "mi"])), first, last, falsified=falsified)


@given(st.lists(whole_spans(), min_size=1, max_size=4), st.lists(whole_spans(), min_size=1, max_size=4))
def test_distances_of_instruments_add_up(before, after):
    all_of_it, one, two = true_distance(before + after), true_distance(before), true_distance(after)
    assert abs(all_of_it.km - one.km - two.km) < D("1e-15")
    assert abs(all_of_it.falsified_km - one.falsified_km - two.falsified_km) < D("1e-15")


@given(
    st.lists(values, max_size=6),
    st.one_of(st.none(), values),
    st.one_of(st.none(), values),
    st.one_of(st.none(), values),
)
def test_no_history_gives_a_negative_distance(shown, first, last, new):
    readings = tuple(Reading(DAY + timedelta(n), value) for n, value in enumerate(shown))
    spans = [InstrumentSpan("km", first, last, readings, falsified=(Falsified(D(1000), D(2000)),))]
    for history in (spans, [*spans, InstrumentSpan("km", D(0), new, fitted_on=DAY + timedelta(99))]):
        found = true_distance(history)
        assert found.since_km >= 0
        assert found.falsified_km >= 0
        assert found.km in {None, found.since_km}
