"""The jobs' plots of a car: how its parts wear, and what it cost by year. They hang themselves into `vehicles.plots`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal

from django.db.models import F, Q
from django.utils import timezone

from jobs import wear
from jobs.models import WorkLine
from vehicles.audience import Audience, Shows
from vehicles.models import PastWork, Vehicle
from vehicles.plots import PlotShown, add_plots, nothing_to_draw, shown
from workshop.engineering.plot import Axis, Band, Plot
from workshop.models import Shop

COSTS, COSTS_TITLE = "costs", "Cost by year"
HERE, ELSEWHERE = "by this shop", "past work, as written down"
WIDE = 0.35
# Years that have room for their words under a column.
MOST_YEARS = 6


def wear_plots(vehicle: Vehicle, audience: Audience | None) -> Iterator[PlotShown]:
    """A plot for each thing that was measured often enough; see `wear.series_of` for its queries."""
    series = wear.series_of(vehicle, until=None if audience is None else audience.until)
    drawn = [(one, plot) for one in series if (plot := one.plot) is not None]
    if not drawn:
        yield nothing_to_draw(
            "wear", "Wear over distance", "nothing was measured twice on one part at a known distance"
        )
    for number, (one, plot) in enumerate(drawn, start=1):
        words = " ".join(filter(None, (one.sentence, one.driven_words, plot.summary)))
        slug = f"wear-{number}"
        yield shown(
            slug,
            replace(plot, slug=slug, summary=words, head=(*plot.head, "Of which part"), rows=_readings(one)),
        )


def _readings(one: wear.Series) -> tuple[tuple[str, ...], ...]:
    """Every reading that is drawn, also of the parts before: the same points as a table."""
    return tuple(
        (f"{reading.at:.0f}", f"{reading.value:g}", which)
        for which, readings in (("an earlier one", one.earlier), ("the one now fitted", one.part))
        for reading in readings
    )


def cost_plots(vehicle: Vehicle, audience: Audience | None) -> Iterator[PlotShown]:
    """Three queries. Of a reader's own time with the car only; the shop's people see all."""
    if audience is not None and not audience.sees(Shows.COSTS):
        return
    here, elsewhere = _by_year(_here(vehicle), audience), _by_year(_elsewhere(vehicle), audience)
    yield costs_plot(here, elsewhere, Shop.current().currency)


def costs_plot(here: dict[int, Decimal], elsewhere: dict[int, Decimal], currency: str) -> PlotShown:
    """A column for each year, what was paid elsewhere on top and in another pattern."""
    known = sorted({*here, *elsewhere})
    if not known:
        return nothing_to_draw(COSTS, COSTS_TITLE, "no work with a price is on record")
    years = range(known[0], known[-1] + 1)
    highest = max(here.get(year, 0) + elsewhere.get(year, 0) for year in years)
    every = -(-len(years) // MOST_YEARS)
    total = sum(here.values()) + sum(elsewhere.values())
    dearest = max(years, key=lambda year: here.get(year, 0) + elsewhere.get(year, 0))
    said = [f"{total:.2f} {currency} in {_span(years)}."]
    if len(years) > 1:
        said.append(f"The most in {dearest}: {highest:.2f} {currency}.")
    if elsewhere:
        said.append(f"Of it {sum(elsewhere.values()):.2f} {currency} for past work, as it was written down.")
    plot = Plot(
        slug=COSTS,
        title=COSTS_TITLE,
        x=Axis(
            "Year",
            years[0] - 0.5,
            years[-1] + 0.5,
            tuple((float(year), str(year)) for year in years if (years[-1] - year) % every == 0),
        ),
        y=Axis(f"Cost, {currency}", 0.0, max(float(highest) * 1.06, 1.0)),
        summary=" ".join(said),
        bands=tuple(_columns(years, here, elsewhere)),
        head=("Year", f"By this shop, {currency}", f"Past work, {currency}", f"Together, {currency}"),
        rows=tuple(
            (str(year), *(f"{amount:.2f}" for amount in (a, b, a + b)))
            for year in years
            for a, b in [(here.get(year, Decimal(0)), elsewhere.get(year, Decimal(0)))]
        ),
    )
    return shown(COSTS, plot)


def _span(years: range) -> str:
    return str(years[0]) if len(years) == 1 else f"{years[0]} to {years[-1]}"


def _columns(years: range, here: dict[int, Decimal], elsewhere: dict[int, Decimal]) -> Iterator[Band]:
    for year in years:
        ends = (year - WIDE, year + WIDE)
        base = 0.0
        for amounts, label, pattern in ((here, HERE, "solid"), (elsewhere, ELSEWHERE, "slant")):
            top = base + float(amounts.get(year, 0))
            if top > base:
                yield Band(label, tuple((x, base) for x in ends), tuple((x, top) for x in ends), pattern)
            base = top


def _here(vehicle: Vehicle) -> Iterator[tuple[date, Decimal]]:
    """What counts in a sheet's total too: of what is done the cost, else the estimate; of what is begun the cost so far."""
    lines = (
        WorkLine.objects.filter(job__vehicle=vehicle)
        .filter(Q(done_at__isnull=False) | Q(cost__isnull=False))
        .annotate(booked=F("job__made_at"))
    )
    for line in lines:
        amount = line.amount if line.done_at else line.cost
        if line.billable and amount is not None:
            yield timezone.localdate(line.done_at or line.booked), amount


def _elsewhere(vehicle: Vehicle) -> Iterator[tuple[date, Decimal]]:
    yield from PastWork.objects.filter(
        vehicle=vehicle, amount__isnull=False, entered_in_error=""
    ).values_list("done_on", "amount")


def _by_year(paid: Iterator[tuple[date, Decimal]], audience: Audience | None) -> dict[int, Decimal]:
    found: dict[int, Decimal] = defaultdict(Decimal)
    for day, amount in paid:
        if audience is None or audience.theirs(day):
            found[day.year] += amount
    return dict(found)


def register() -> None:
    add_plots("wear", 20, wear_plots)
    add_plots(COSTS, 30, cost_plots)
