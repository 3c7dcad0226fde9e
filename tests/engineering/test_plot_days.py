"""An axis of days: its words stand at the days that they name, and there are two to six of them."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from workshop.engineering.plot_days import day_axis

days = st.dates(date(1950, 1, 1), date(2090, 1, 1))
READ = {"Year": "%Y", "Month": "%b %y", "Day": "%d %b %y"}


@given(first=days, span=st.integers(0, 20_000))
@example(first=date(2020, 1, 1), span=365)
@example(first=date(2020, 3, 31), span=40)
def test_its_words_name_the_days_that_they_stand_at(first, span):
    axis = day_axis(first, first + timedelta(span))
    found = axis.axis.ticks
    assert 2 <= len(found) <= 6
    at = [value for value, _ in found]
    assert at == sorted(set(at))
    assert axis.axis.low <= at[0]
    assert at[-1] <= axis.axis.high
    for value, words in found:
        day = axis.first + timedelta(value)
        # The words are read back by the standard library, in the C locale.
        assert datetime.strptime(words, READ[axis.axis.label]).strftime("%j%y") in (  # noqa: DTZ007
            day.strftime("%j%y"),
            day.replace(day=1).strftime("%j%y"),
        )
        assert axis.at(day) == value


@pytest.mark.parametrize(
    ("first", "last", "label", "words"),
    [
        (date(2012, 5, 3), date(2025, 2, 1), "Year", ["2014", "2016", "2018", "2020", "2022", "2024"]),
        (date(2019, 5, 3), date(2024, 2, 1), "Year", ["2020", "2021", "2022", "2023", "2024"]),
        (date(1985, 1, 1), date(2025, 1, 1), "Year", ["1990", "2000", "2010", "2020"]),
        (date(2023, 5, 3), date(2024, 2, 1), "Month", ["Jul 23", "Sep 23", "Nov 23", "Jan 24"]),
        (date(2024, 3, 3), date(2024, 3, 13), "Day", ["3 Mar 24", "8 Mar 24", "13 Mar 24"]),
    ],
)
def test_years_months_or_days(first, last, label, words):
    axis = day_axis(last, first).axis
    assert axis.label == label
    assert [text for _, text in axis.ticks] == words


def test_one_day_alone_stands_in_the_middle():
    axis = day_axis(date(2024, 3, 3), date(2024, 3, 3))
    assert axis.at(date(2024, 3, 3)) == 30
    assert axis.axis.high == 60
    assert day_axis(date.min, date.min).axis.high == 30
