"""The jobs' plots of a car: wear under the same door as the others, and what it cost by year."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import numpy as np
import pytest
from django.template.loader import render_to_string

from jobs.acts import work as work_acts
from jobs.plots import ELSEWHERE, HERE, costs_plot
from tests.factories.job import CheckInFactory, JobFactory
from tests.factories.work import LineAnswerFactory, MeasurementFactory, WorkLineFactory, owner_of
from tests.once import once
from tests.people import by
from vehicles.acts import past_work
from vehicles.audience import Audience, Shows
from vehicles.models import Place
from vehicles.plots import plots_of
from workshop.engineering.units import Amount


def d(**years):
    return {int(year[1:]): Decimal(amount) for year, amount in years.items()}


def test_columns_hold_what_the_table_says():
    shown = costs_plot(d(y2019="350.50", y2021="1200"), d(y2012="90.25", y2019="49.50"), "EUR")
    head, rows = shown.table
    assert head == ("Year", "By this shop, EUR", "Past work, EUR", "Together, EUR")
    assert [row[0] for row in rows] == [str(year) for year in range(2012, 2022)]
    assert rows[7] == ("2019", "350.50", "49.50", "400.00")
    assert rows[1] == ("2013", "0.00", "0.00", "0.00")
    # Each column's area over its width is the figure: integrated by an independent library.
    heights = {}
    for band in shown.plot.bands:
        low, high = np.array(band.lower), np.array(band.upper)
        width = low[1, 0] - low[0, 0]
        heights[(round(low[:, 0].mean()), band.label)] = (
            np.trapezoid(high[:, 1] - low[:, 1], low[:, 0]) / width
        )
    assert heights == pytest.approx(
        {(2012, ELSEWHERE): 90.25, (2019, HERE): 350.5, (2019, ELSEWHERE): 49.5, (2021, HERE): 1200}
    )
    assert {band.pattern for band in shown.plot.bands} == {"solid", "slant"}
    assert shown.words == (
        "1690.25 EUR in 2012 to 2021. The most in 2021: 1200.00 EUR. Of it 139.75 EUR for past work, as it was "
        "written down."
    )
    html = render_to_string("vehicles/_plots.html", {"plots": [shown]})
    assert f"{ELSEWHERE}</li>" in html
    assert "Cost, EUR" in html


def test_one_year_twenty_years_and_none():
    one = costs_plot(d(y2020="10"), {}, "CHF")
    assert one.words == "10.00 CHF in 2020."
    assert [words for _, words in one.plot.x.ticks] == ["2020"]
    twenty = costs_plot({year: Decimal(year) for year in range(2003, 2024)}, {}, "EUR")
    assert [words for _, words in twenty.plot.x.ticks] == ["2003", "2007", "2011", "2015", "2019", "2023"]
    assert len(twenty.table[1]) == 21
    nothing = costs_plot({}, {}, "EUR")
    assert nothing.plot is None
    assert nothing.words == "Nothing to draw yet, because no work with a price is on record."


# Day of the visit, odometer, disc thickness: the reference example of the trend's own tests.
DISC = [(2019, 80_000, "12.0"), (2020, 88_000, "11.4"), (2021, 96_000, "10.9"), (2022, 104_000, "10.4")]


@once
def visited(car, lead):
    """Four visits on which a disc was measured and 120.50 was paid; one repair declined; a belt done elsewhere."""
    owner = owner_of(car, lead)
    for year, km, value in DISC:
        at = datetime(year, 3, 1, 9, tzinfo=UTC)
        job = JobFactory(person=lead, vehicle=car, made_at=at, limit=500)
        CheckInFactory(person=lead, job=job, made_at=at, odometer=Amount(Decimal(km), "km"))
        line = WorkLineFactory(
            person=lead,
            job=job,
            made_at=at,
            kind="diagnosis",
            estimate=Decimal("120.50"),
        )
        MeasurementFactory(
            person=lead, line=line, made_at=at, what="Disc thickness", place=Place.objects.get(pk="brake-discs"),
            position="front_left", low=Decimal("9.5"), reading=Amount(Decimal(value), "mm"),
        )  # fmt: skip
        line.refresh_from_db()
        work_acts.finish_line(
            by=by(lead, made_at=at), line=line, seen_version=line.version, correction="looked at"
        )
    declined = WorkLineFactory(person=lead, job=job, made_at=at, kind="repair", estimate=Decimal(900))
    LineAnswerFactory(person=lead, line=declined, given_by=owner, answer="no", amount=None, made_at=at)
    past_work.add_past_work(
        by=by(lead), vehicle=car, title="Belt", done_on=date(2017, 5, 1), day_known="day", source="service book",
        amount=Decimal(300),
    )  # fmt: skip
    return car


def of(vehicle, slug, audience=None):
    return next((one for one in plots_of(vehicle, audience) if one.slug == slug), None)


def test_wear_comes_under_the_same_door_with_limit_forecast_and_band(visited):
    shown = of(visited, "wear-1")
    assert shown.title.startswith("Disc thickness")
    assert "about 13000 km" in shown.words
    assert {line.label for line in shown.plot.lines} == {"trend", "limit"}
    assert [band.label for band in shown.plot.bands] == ["95 % of readings"]
    assert [row[:2] for row in shown.table[1]] == [
        ("0", "12"),
        ("8000", "11.4"),
        ("16000", "10.9"),
        ("24000", "10.4"),
    ]
    assert [mark.at for mark in shown.plot.marks] == [(float(km), float(mm)) for km, mm, _ in shown.table[1]]
    # The drawn line is least squares, as numpy fits it to the rows of the table.
    rate, start = np.polyfit(*zip(*[(float(km), float(mm)) for km, mm, _ in shown.table[1]], strict=True), 1)
    trend = next(line for line in shown.plot.lines if line.label == "trend")
    for x, y in trend.points:
        assert y == pytest.approx(start + rate * x)


def test_wear_reaches_no_further_than_its_audience(visited):
    shown = of(visited, "wear-1", Audience(frozenset({Shows.PLOTS}), until=date(2020, 12, 31)))
    assert [row[1] for row in shown.table[1]] == ["12", "11.4"]


def test_costs_are_what_was_done_and_paid_here_and_what_was_written_down_of_elsewhere(visited):
    rows = of(visited, "costs").table[1]
    assert [(row[0], row[1], row[2]) for row in rows] == [
        ("2017", "0.00", "300.00"),
        ("2018", "0.00", "0.00"),
        *((str(year), "120.50", "0.00") for year, _, _ in DISC),
    ]


def test_costs_are_shown_from_the_reader_s_own_time_on(visited):
    may = frozenset({Shows.PLOTS, Shows.COSTS})
    assert of(visited, "costs", Audience(may)) is None
    rows = of(visited, "costs", Audience(may, since=date(2021, 1, 1))).table[1]
    assert [row[0] for row in rows] == ["2021", "2022"]
    none = of(visited, "costs", Audience(may, since=date(2023, 1, 1)))
    assert none.plot is None
    assert "no work with a price" in none.words
