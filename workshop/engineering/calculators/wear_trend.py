"""How fast a part wears, and how far it is to its limit."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from workshop.engineering.declare import (
    Calculator,
    Choice,
    InputErrors,
    Kind,
    Number,
    Numbers,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.trends import (
    LEAST_READINGS,
    Fit,
    Forecast,
    Reading,
    fit,
    forecast,
    forecast_words,
    parts_of,
    plot_of,
    step_of,
    wear_rate,
)

D = Decimal
MOST = 40


def work(distances: list[Quantity], values: list[Quantity], limit: Quantity, way: str) -> Outcome:
    falling = way == "falls"
    readings = _readings(distances, values)
    step = step_of([reading.value for reading in readings])
    parts = parts_of(readings, falling=falling, step=step)
    latest, end = parts[-1], magnitude(limit, "mm")
    if len(latest) < LEAST_READINGS:
        raise InputErrors(
            {
                "values": f"The value jumps back before the last {len(latest)} readings, so they are a new part's: "
                f"a trend needs {LEAST_READINGS} readings of one part."
                if len(parts) > 1
                else f"A trend needs {LEAST_READINGS} readings of one part."
            }
        )
    line = fit(latest, step)
    ahead = forecast(line, latest[-1], end, falling=falling)
    words = forecast_words(ahead, falling=falling)
    notes = []
    if len(parts) > 1:
        notes.append(
            f"The value jumps back {len(parts) - 1} time{'s' if len(parts) > 2 else ''}: a part was replaced. "
            f"Only the last {len(latest)} readings count."
        )
    if len(latest) == LEAST_READINGS:
        notes.append("Three readings are the least: one more makes this much surer.")
    earlier = [reading for part in parts[:-1] for reading in part]
    return Outcome(
        _values(line, ahead, latest),
        words,
        odd=ahead.reached,
        notes=notes,
        plots=[
            plot_of(
                latest,
                line,
                end,
                ahead,
                title="Wear over distance",
                unit="mm",
                summary=words,
                earlier=earlier,
            )
        ],
    )


def _readings(distances: list[Quantity], values: list[Quantity]) -> list[Reading]:
    if len(distances) != len(values):
        raise InputErrors(
            {"values": f"Give one value for each distance: {len(distances)} distances, {len(values)} values."}
        )
    readings = [
        Reading(magnitude(at, "km"), magnitude(value, "mm"))
        for at, value in zip(distances, values, strict=True)
    ]
    if any(later.at <= earlier.at for earlier, later in pairwise(readings)):
        raise InputErrors({"distances": "Give the distances in order, each larger than the one before."})
    return readings


def _values(line: Fit, ahead: Forecast, latest: list[Reading]) -> dict[str, Quantity | str]:
    values: dict[str, Quantity | str] = {
        "rate": wear_rate(line, "mm"),
        "rate_margin": quantity(line.rate_margin, "mm") / quantity(1, "km"),
        "used": f"{len(latest)}, from {latest[0].at:.0f} to {latest[-1].at:.0f} km",
    }
    for name, km in (("left", ahead.left), ("earliest", ahead.earliest), ("latest", ahead.latest)):
        if km is not None:
            values[name] = quantity(km, "km")
    return values


CALCULATOR = Calculator(
    slug="wear-trend",
    words=("pads", "discs", "tread", "worn"),
    name="Wear and distance left",
    group="Wear",
    question="How fast does this part wear, and how far is it to the limit?",
    inputs=(
        Numbers(
            "distances",
            "True distance at each reading",
            "distance",
            "km",
            D(0),
            D(3000000),
            "Reading",
            at_least=LEAST_READINGS,
            at_most=MOST,
            help="Over replaced odometers the true distance, not what the dial shows.",
        ),
        Numbers(
            "values",
            "Thickness, depth or play",
            "length",
            "mm",
            D(0),
            D(500),
            "Reading",
            at_least=LEAST_READINGS,
            at_most=MOST,
            help="In the same order, each at the thinnest place.",
        ),
        Number(
            "limit", "Limit", "length", "mm", D(0), D(500), "The maker's, or the one that the shop works by."
        ),
        Choice(
            "way",
            "The reading",
            (("falls", "wears down to the limit"), ("grows", "grows to the limit (play, run-out)")),
            usual="falls",
        ),
    ),
    outputs=(
        Output("left", "Distance left to the limit", "km", main=True),
        Output("earliest", "At the earliest (95 %)", "km"),
        Output("latest", "At the latest (95 %)", "km"),
        Output("rate", "Rate", "mm/10Mm"),
        Output("rate_margin", "Rate, 95 % give or take", "mm/10Mm"),
        Output("used", "Readings used"),
    ),
    formula=(
        "least squares y = a + b · x;  the limit meets the 95 % prediction band: "
        "(limit − a − b · x)² = t² · s² · (1 + 1/n + (x − x̄)²/Sxx);  s at least the step of the readings / √12"
    ),
    sources=(
        Source("NIST/SEMATECH e-Handbook of Statistical Methods", "4.1.4.1 and 4.5", Kind.FROM_MEMORY),
        Source("JCGM 100:2008", "4.3.7, steps of a scale", Kind.FROM_MEMORY),
        Source("A jump back by more than 5 % is a new part", "", Kind.COMMON_PRACTICE),
    ),
    work=work,
    cautions=(
        "Wear need not go on at the same rate: a seized caliper or a wrong pressure changes it from one day to the next.",
    ),
    example={
        "distances": "0 8000 16000 24000 km",
        "values": "12.0 11.4 10.9 10.4 mm",
        "limit": "9.5 mm",
        "way": "falls",
    },
)
