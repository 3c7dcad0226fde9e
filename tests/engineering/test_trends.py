"""Wear over distance, against certified values of a reference data set and another library."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from tests.worked import number, worked
from workshop.engineering.declare import InputErrors
from workshop.engineering.quantities import magnitude
from workshop.engineering.trends import (
    Forecast,
    Reading,
    TrendError,
    fit,
    forecast,
    forecast_words,
    kilometres,
    parts_of,
    plot_of,
    step_of,
    t_quantile,
    wear_rate,
    wear_words,
)

# y, x of the linear reference data set "Norris".
NORRIS = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0
559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1
998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0
10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
"""


@pytest.mark.outside(
    "NIST Statistical Reference Datasets, Norris (linear regression): certified values, from memory"
)
def test_a_reference_data_set(published):
    numbers = [float(text) for text in NORRIS.split()]
    line = fit([Reading(x, y) for y, x in zip(numbers[::2], numbers[1::2], strict=True)])
    published.same(line.readings, 36)
    published.close(line.rate, 1.00211681802045, rel=1e-12, what="slope")
    published.close(line.start, -0.262323073774029, rel=1e-11, what="intercept")
    published.close(line.scatter, 0.884796396144373, rel=1e-12, what="residual standard deviation")
    slope_deviation = line.scatter / math.sqrt(line.spread)
    published.close(slope_deviation, 0.429796848199937e-03, rel=1e-12, what="deviation of the slope")


@pytest.mark.outside("Student's t, 97.5 %, as tabled in statistics handbooks (from memory)")
def test_students_t(published):
    table = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 10: 2.228, 20: 2.086, 30: 2.042, 60: 2.000}
    for freedom, value in table.items():
        published.close(t_quantile(0.975, freedom), value, within=0.0005, what=f"{freedom} degrees")


@pytest.mark.outside("SciPy: stats.t.ppf, stats.linregress")
def test_another_library(published):
    for freedom in (1, 2, 3, 4, 7, 12, 31, 58):
        for p in (0.6, 0.9, 0.975, 0.999):
            published.close(t_quantile(p, freedom), float(stats.t.ppf(p, freedom)), rel=1e-9)
    x, y = [0, 7900, 16100, 23800, 31000], [12.02, 11.45, 10.91, 10.38, 9.97]
    line, other = fit([Reading(*pair) for pair in zip(x, y, strict=True)]), stats.linregress(x, y)
    published.close(line.rate, float(other.slope), rel=1e-9)
    published.close(line.start, float(other.intercept), rel=1e-12)
    published.close(line.rate_margin, float(other.stderr * stats.t.ppf(0.975, 3)), rel=1e-9)


@pytest.mark.outside("Worked by hand: a disc of 12.0 mm, 10.4 mm after 24 000 km, least 9.5 mm")
def test_a_disc(published):
    readings = [Reading(0, 12.0), Reading(12000, 11.2), Reading(24000, 10.4)]
    line = fit(readings, 0.1)
    published.close(
        magnitude(wear_rate(line, "mm"), "mm/10Mm"), 0.6667, within=0.0001, unit="mm per 10 000 km"
    )
    ahead = forecast(line, readings[-1], 9.5, falling=True)
    published.close(ahead.left, 13500, rel=1e-9, unit="km")
    # Three readings on a line by chance are no more exact than a tenth.
    assert line.scatter == pytest.approx(0.1 / math.sqrt(12))
    assert 0 < ahead.earliest < 13500 < ahead.latest


def brute_interval(x, y, limit):
    """Between which distances a single reading may lie on the limit, by trying every distance, with SciPy alone."""
    other = stats.linregress(x, y)
    n, middle = len(x), sum(x) / len(x)
    spread = sum((each - middle) ** 2 for each in x)
    left = sum((b - other.intercept - other.slope * a) ** 2 for a, b in zip(x, y, strict=True))
    t, s = stats.t.ppf(0.975, n - 2), math.sqrt(left / (n - 2))
    possible = [
        at
        for at in range(0, 120000, 10)
        if abs(limit - other.intercept - other.slope * at)
        <= t * s * math.sqrt(1 + 1 / n + (at - middle) ** 2 / spread)
    ]
    return possible[0], possible[-1]


@pytest.mark.outside("SciPy: the prediction band searched for the limit, in steps of 10 km")
def test_the_interval(published):
    x, y = [0, 8000, 16000, 24000, 32000], [8.0, 7.1, 6.4, 5.4, 4.7]
    readings = [Reading(*pair) for pair in zip(x, y, strict=True)]
    ahead = forecast(fit(readings), readings[-1], 1.6, falling=True)
    first, last = brute_interval(x, y, 1.6)
    published.close(ahead.earliest + 32000, first, within=10, unit="km")
    published.close(ahead.latest + 32000, last, within=10, unit="km")


@given(
    st.lists(st.integers(0, 200), min_size=3, max_size=12, unique=True),
    st.floats(-0.3, -0.01),
    st.lists(st.floats(-0.05, 0.05), min_size=12, max_size=12),
)
def test_the_line_meets_its_own_readings(places, rate, noise):
    places = sorted(places)
    readings = [Reading(1000 * at, 20 + rate * at + off) for at, off in zip(places, noise, strict=False)]
    line, other = fit(readings), stats.linregress([r.at for r in readings], [r.value for r in readings])
    assert line.rate == pytest.approx(other.slope, rel=1e-6, abs=1e-12)
    ahead = forecast(line, readings[-1], -100, falling=True)
    assume(ahead.left is not None)
    # Unless the line has met it before the last reading.
    assume(ahead.left > 0)
    assert line.at(readings[-1].at + ahead.left) == pytest.approx(-100, rel=1e-6)
    # A hair's breadth for what floats leave where the readings lie on the line exactly.
    hair = 1e-6 * (1 + ahead.left)
    assert 0 <= ahead.earliest <= ahead.left + hair
    assert ahead.latest is None or ahead.latest >= ahead.left - hair


def test_growing_flat_and_the_wrong_way():
    growing = [Reading(0, 0.1), Reading(10000, 0.2), Reading(20000, 0.31)]
    ahead = forecast(fit(growing), growing[-1], 0.5, falling=False)
    assert ahead.left == pytest.approx(18254, rel=0.01)
    flat = [Reading(0, 5.0), Reading(10000, 5.0), Reading(20000, 5.0)]
    assert forecast(fit(flat), flat[-1], 2, falling=True) == Forecast(None, None, None, False)
    assert forecast(fit(growing), growing[-1], 0, falling=True).left is None
    worn = [Reading(0, 3.0), Reading(10000, 2.0), Reading(20000, 1.6)]
    assert forecast(fit(worn), worn[-1], 1.6, falling=True).reached
    assert forecast(fit(growing), growing[-1], 0.31, falling=False).reached


def test_scatter_that_hides_the_rate():
    readings = [Reading(0, 5.0), Reading(10000, 4.2), Reading(20000, 4.8)]
    ahead = forecast(fit(readings), readings[-1], 2, falling=True)
    assert ahead.left > 0
    assert ahead.earliest == 0
    assert ahead.latest is None
    assert "may be any time" in forecast_words(ahead, falling=True)


def test_words():
    line = fit([Reading(0, 12.0), Reading(12000, 11.2), Reading(24000, 10.4)], 0.1)
    assert wear_words(line, "mm") == "0.667 mm per 10 000 km, give or take 0.22 (95 %)"
    assert "at the limit" in forecast_words(Forecast(0, 0, 0, True), falling=True)
    assert "do not wear down" in forecast_words(Forecast(None, None, None, False), falling=True)
    assert "do not grow" in forecast_words(Forecast(None, None, None, False), falling=False)
    words = forecast_words(Forecast(13283.4, 9186, 18400, False), falling=True)
    assert "about 13000 km" in words
    # What is left is never said to be more than was worked out.
    assert "between 9100 km and 18000 km" in words
    assert "about 13000 km" in forecast_words(Forecast(13999.9, 9186, 18400, False), falling=True)
    assert "about 13000 km" in forecast_words(Forecast(13500, 9186, 18400, False), falling=True)
    assert kilometres(13000 - 1e-9, downwards=True) == "13000 km"
    assert kilometres(7.9, downwards=True) == "7 km"
    assert kilometres(199, downwards=True) == "190 km"
    assert kilometres(0.4) == "0 km"
    assert kilometres(94999) == "95000 km"
    assert kilometres(7.3) == "7 km"


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([], "is none"),
        ([(0, 1)], "is one"),
        ([(0, 1), (1, 1)], "are 2"),
        ([(5, 1), (5, 2), (5, 3)], "one distance"),
    ],
)
def test_too_little_for_a_trend(readings, words):
    with pytest.raises(TrendError, match=words):
        fit([Reading(*pair) for pair in readings])


@pytest.mark.parametrize(("p", "freedom"), [(0.5, 3), (1, 3), (0.9, 0)])
def test_no_quantile(p, freedom):
    with pytest.raises(TrendError):
        t_quantile(p, freedom)


def test_a_replaced_part_begins_anew():
    tread = [Reading(at, value) for at, value in [(0, 8.0), (9, 6.1), (18, 4.2), (27, 8.0), (36, 6.2)]]
    assert [len(part) for part in parts_of(tread, falling=True)] == [3, 2]
    # A reading that is a little higher than the one before is scatter.
    level = [Reading(0, 8.0), Reading(9, 7.2), Reading(18, 7.3), Reading(27, 6.8)]
    assert [len(part) for part in parts_of(level, falling=True)] == [4]
    play = [Reading(0, 0.1), Reading(9, 0.4), Reading(18, 0.1)]
    assert [len(part) for part in parts_of(play, falling=False)] == [2, 1]
    # Read in whole millimetres, a step or two back is no new part.
    coarse = [Reading(0, 12), Reading(9, 10), Reading(18, 12)]
    assert [len(part) for part in parts_of(coarse, falling=True, step=1.0)] == [3]
    assert parts_of([], falling=True) == []


def test_the_step_of_a_scale():
    assert step_of([12, 11]) == 1
    assert step_of([12, 11.4]) == pytest.approx(0.1)
    assert step_of([0.25, 1]) == pytest.approx(0.01)
    assert step_of([0.123, 1]) == pytest.approx(0.001)
    assert step_of([1 / 3]) == pytest.approx(1e-4)


def test_the_page_of_a_trend():
    typed = {"values": "12.0 11.4 10.9 10.4 mm", "limit": "9.5 mm", "way": "falls"}
    result = worked("wear-trend", distances="0 8000 16000 24000 km", **typed)
    assert number(result, "rate", "mm/10Mm") == pytest.approx(0.6625)
    assert number(result, "left", "km") == pytest.approx(13283, rel=0.001)
    assert number(result, "earliest", "km") < 13283 < number(result, "latest", "km")
    assert result.values["used"] == "4, from 0 to 24000 km"
    miles = worked("wear-trend", distances="0 4970.96954 9941.93908 14912.90862 mi", **typed)
    assert number(miles, "left", "km") == pytest.approx(number(result, "left", "km"), rel=1e-6)
    [plot] = result.outcome.plots
    assert {line.style for line in plot.lines} == {"this", "limit"}
    assert plot.x.high > 24000 + 13283


def test_the_page_says_what_does_not_fit():
    base = {"limit": "1.6 mm", "way": "falls"}
    replaced = worked("wear-trend", distances="0 9 18 27 36 45 km", values="8 6 4 8 6 4 mm", **base)
    assert "1 time:" in replaced.outcome.notes[0]
    assert "Three readings are the least" in replaced.outcome.notes[1]
    assert len(replaced.outcome.plots[0].marks) == 6
    twice = worked(
        "wear-trend", distances="0 9 18 27 36 45 54 km", values="8.0 6.1 8.0 4.2 8.0 6.1 4.2 mm", **base
    )
    assert "2 times" in twice.outcome.notes[0]
    worn = worked("wear-trend", distances="0 9 18 km", values="8 4 1 mm", **base)
    assert worn.outcome.odd
    growing = worked(
        "wear-trend", distances="0 9 18 km", values="0.1 0.2 0.3 mm", limit="0.2 mm", way="grows"
    )
    assert growing.outcome.odd
    still = worked("wear-trend", distances="0 9 18 km", values="8 8 8 mm", **base)
    assert "left" not in still.values
    for wrong, field in (
        ({"distances": "0 9 18 km", "values": "8 6 mm"}, "values"),
        ({"distances": "0 9 18 km", "values": "8 6 5 4 mm"}, "values"),
        ({"distances": "0 9 9 km", "values": "8 6 5 mm"}, "distances"),
        ({"distances": "0 9 18 27 km", "values": "8.0 6.1 8.0 6.1 mm"}, "values"),
    ):
        with pytest.raises(InputErrors) as refused:
            worked("wear-trend", **wrong, **base)
        assert list(refused.value.errors) == [field]


def test_fewer_than_three_are_no_trend():
    from workshop.engineering.calculators.wear_trend import work
    from workshop.engineering.quantities import quantity

    km, mm = [quantity(0, "km"), quantity(9, "km")], [quantity(8, "mm"), quantity(6, "mm")]
    with pytest.raises(InputErrors, match="needs 3 readings of one part"):
        work(km, mm, quantity(1, "mm"), "falls")


def test_the_picture_of_readings_without_line_or_limit():
    plot = plot_of([Reading(5, 0.0)], None, None, None, title="t", unit="", summary="s")
    assert plot.x.low < plot.x.high
    assert plot.y.low < plot.y.high
    assert plot.y.label == "Reading"
    assert not plot.lines
