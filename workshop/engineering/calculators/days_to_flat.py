"""How long a battery lasts while the car stands."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Assumption, Calculator, Kind, Number, Outcome, Output, Source
from workshop.engineering.drain import PRACTICE, days_words
from workshop.engineering.electrical import hours_to_flat, time_to_flat
from workshop.engineering.plot import Axis, Line, Mark, Plot
from workshop.engineering.quantities import Quantity, amount, magnitude
from workshop.engineering.units import show

D = Decimal
POINTS = 41


def work(capacity: Quantity, usable: Quantity, current: Quantity, standing: Quantity | None) -> Outcome:
    share = magnitude(usable, "%") / 100
    time = time_to_flat(capacity, usable, current)
    days = magnitude(time, "d")
    values: dict[str, Quantity | str] = {"time": time, "taken": capacity * usable}
    verdict = f"At {show(amount(current, 'mA'))} the battery lasts {days_words(days)} until {usable_words(share)} is taken."
    odd = False
    if standing is not None:
        most = capacity * usable / standing
        values["most"] = most
        # A hair of tolerance, so that just as long is not less.
        odd = magnitude(standing, "d") > days * (1 + 1e-9)
        verdict += (
            f" That is {'less' if odd else 'no less'} than the {days_words(magnitude(standing, 'd'))} it has to stand; "
            f"for those it may take {show(amount(most, 'mA'))}."
        )
    return Outcome(
        values,
        verdict,
        odd,
        ["An old or a cold battery holds less than is printed on it, and loses some by itself."],
        plots=[_plot(magnitude(capacity, "Ah"), share, magnitude(current, "mA"), days)],
    )


def usable_words(share: float) -> str:
    return f"{100 * share:.0f} % of its charge"


def _plot(capacity_ah: float, share: float, current_ma: float, days: float) -> Plot:
    """Days over the current, from a fifth of it to twice it."""
    currents = [current_ma * (0.2 + 1.8 * step / (POINTS - 1)) for step in range(POINTS)]
    curve = tuple((each, hours_to_flat(capacity_ah, share, each / 1000) / 24) for each in currents)
    shown = curve[:: (POINTS - 1) // 5]
    return Plot(
        "days",
        "Days until flat over the current",
        Axis("Current, mA", 0, currents[-1]),
        Axis("Days", 0, curve[0][1]),
        f"{days_words(days)} at {current_ma:.3g} mA; half the current lasts twice as long.",
        lines=(Line("this battery", curve),),
        marks=(Mark("this current", (current_ma, days)),),
        head=("Current", "Days"),
        rows=tuple((f"{at:.3g} mA", f"{value:.1f}" if value >= 1 else f"{value:.2g}") for at, value in shown),
    )


CALCULATOR = Calculator(
    slug="days-to-flat",
    words=("battery", "standing", "parked"),
    name="Days to flat",
    group="Electrical",
    question="How many days can the car stand before it no longer starts?",
    inputs=(
        Number("capacity", "Battery capacity", "charge", "Ah", D(1), D(400), item="battery_capacity"),
        Number(
            "usable", "Share that may be taken", "ratio", "%", D(5), D(100),
            assumed=Assumption(D(50), D(30), D(70), "with half of it gone most engines still start, in summer"),
        ),
        Number("current", "Current while it sleeps", "current", "mA", D("0.1"), D(50000), units=("mA", "A")),
        Number("standing", "It has to stand for", "duration", "d", D("0.1"), D(1000), optional=True, units=("d", "hours")),
    ),
    outputs=(
        Output("time", "Flat after", "d", main=True),
        Output("taken", "Charge taken until then", "Ah"),
        Output("most", "Most it may take to stand that long", "mA"),
    ),
    formula="t = C · u / I",
    sources=(Source("Charge is current times time", kind=Kind.MECHANICS), PRACTICE),
    work=work,
    example={"capacity": "60 Ah", "usable": "50 %", "current": "350 mA", "standing": "14 d"},
)  # fmt: skip
