"""Measurements against limits; items due by date or distance."""

from datetime import date
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.due import By, DueError, due_state
from workshop.engineering.limits import LimitsError, ReadingError, Verdict, check

TODAY = date(2026, 3, 10)


@pytest.mark.parametrize(
    ("value", "low", "high", "verdict"),
    [
        ("9.5", "9.5", None, Verdict.WITHIN),
        ("9.49", "9.5", None, Verdict.BELOW),
        ("0.05", None, "0.05", Verdict.WITHIN),
        ("0.06", None, "0.05", Verdict.ABOVE),
        ("-1.5", "-2", "-1", Verdict.WITHIN),
        ("0", "-1", "1", Verdict.WITHIN),
        ("-3", "-2", None, Verdict.BELOW),
    ],
)
def test_measurements(value, low, high, verdict):
    assert check(D(value), low and D(low), high and D(high)) is verdict


def test_measurements_without_sense_are_refused():
    with pytest.raises(LimitsError):
        check(D(1), None, None)
    with pytest.raises(LimitsError):
        check(D(1), D(2), D(1))
    with pytest.raises(ReadingError):
        check(D("nan"), D(1), None)


@pytest.mark.parametrize(
    ("distance", "on", "at", "by", "in_days", "in_km"),
    [
        (None, date(2026, 3, 11), None, None, 1, None),
        (None, date(2026, 3, 10), None, By.DATE, 0, None),
        (None, date(2026, 3, 9), None, By.DATE, -1, None),
        (D(99_999), None, D(100_000), None, None, D(1)),
        (D(100_000), None, D(100_000), By.DISTANCE, None, D(0)),
        (D(100_200), None, D(100_000), By.DISTANCE, None, D(-200)),
        (D(100_200), date(2026, 9, 1), D(100_000), By.DISTANCE, 175, D(-200)),
        (D(90_000), date(2026, 3, 1), D(100_000), By.DATE, -9, D(10_000)),
        (D(100_000), date(2026, 3, 1), D(100_000), By.BOTH, -9, D(0)),
        (D(90_000), date(2026, 9, 1), D(100_000), None, 175, D(10_000)),
        (None, None, D(100_000), None, None, None),
        (None, date(2026, 3, 1), D(100_000), By.DATE, -9, None),
    ],
)
def test_whichever_comes_first(distance, on, at, by, in_days, in_km):
    found = due_state(TODAY, distance, on, at)
    assert (found.by, found.in_days, found.in_km) == (by, in_days, in_km)
    assert found.due is (by is not None)


@pytest.mark.parametrize(
    ("distance", "on", "at", "sentence"),
    [
        (
            D(90_000),
            date(2026, 3, 11),
            D(100_000),
            "Due: on 2026-03-11 (in 1 day) or at 100000 km (in 10000 km), ",
        ),
        (None, None, D(100_000), "Due: at 100000 km (distance now not known)."),
        (D(100_200), TODAY, D(100_000), "Due now: on 2026-03-10 (today) or at 100000 km (200 km past), "),
        (
            D(100_000),
            date(2026, 3, 1),
            D(100_000),
            "Due now: on 2026-03-01 (9 days ago) or at 100000 km (reached), ",
        ),
    ],
)
def test_sentences(distance, on, at, sentence):
    assert due_state(TODAY, distance, on, at).sentence.startswith(sentence)


def test_an_item_that_is_never_due_is_refused():
    with pytest.raises(DueError, match="a date, a distance"):
        due_state(TODAY, D(1), None, None)


@given(
    st.dates(date(2020, 1, 1), date(2030, 1, 1)),
    st.dates(date(2020, 1, 1), date(2030, 1, 1)),
    st.decimals(min_value=0, max_value=500_000, places=0),
    st.decimals(min_value=0, max_value=500_000, places=0),
)
def test_once_due_always_due(day, later, km, more):
    day, later = sorted([day, later])
    if due_state(day, km, date(2025, 1, 1), D(200_000)).due:
        assert due_state(later, km + more, date(2025, 1, 1), D(200_000)).due
