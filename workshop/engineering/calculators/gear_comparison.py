"""What another final drive, or another tyre, does to the speed in each gear."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from workshop.engineering.declare import Calculator, InputErrors, Kind, Number, Outcome, Output, Source, Table
from workshop.engineering.gearing import gears_plot, per_thousand
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal
GEARS = range(1, 9)


def work(
    final_from: Quantity,
    final_to: Quantity,
    circumference_from: Quantity,
    circumference_to: Quantity | None,
    limiter: Quantity,
    **gears: Quantity | None,
) -> Outcome:
    ratios = _ratios(gears)
    rolls_from = magnitude(circumference_from, "mm")
    rolls_to = magnitude(circumference_to, "mm") if circumference_to is not None else rolls_from
    drive_from, drive_to = magnitude(final_from, "1"), magnitude(final_to, "1")
    most = magnitude(limiter, "rpm")
    before = [(f"gear {n}", per_thousand(rolls_from, ratio * drive_from)) for n, ratio in ratios]
    after = [(f"gear {n}", per_thousand(rolls_to, ratio * drive_to)) for n, ratio in ratios]
    change = after[0][1] / before[0][1]
    fastest_from, fastest_to = (max(each for _, each in side) * most / 1000 for side in (before, after))
    return Outcome(
        {
            "change": quantity((change - 1) * 100, "%"),
            "top": quantity(fastest_to, "km/h"),
            "top_from": quantity(fastest_from, "km/h"),
            "each": quantity(after[-1][1], "kmh/krpm"),
            "force": quantity((1 / change - 1) * 100, "%"),
        },
        _verdict(change, fastest_from, fastest_to, most),
        notes=[
            "Speeds that the gearing gives, without slip; whether the engine's power reaches them is another question.",
            "Where the speedometer is driven from the gearbox, another final drive makes it wrong by as much.",
        ],
        tables=[_table(ratios, before, after, most)],
        plots=[gears_plot(after, most, before)],
    )


def _ratios(gears: dict[str, Quantity | None]) -> list[tuple[int, float]]:
    """The gears given, in order. Refuses one that is longer geared by accident: each must be smaller than the last."""
    given = [(n, magnitude(each, "1")) for n in GEARS if (each := gears.get(f"gear_{n}")) is not None]
    for (lower, ratio), (higher, next_ratio) in pairwise(given):
        if next_ratio >= ratio:
            raise InputErrors(
                {
                    f"gear_{higher}": f"Gear {higher} must have a smaller ratio than gear {lower} ({ratio:.3f}): look at both."
                }
            )
    return given


def _verdict(change: float, before: float, after: float, most: float) -> str:
    percent = (change - 1) * 100
    if abs(percent) < 0.05:
        return f"The car is geared as before: {after:.0f} km/h at {most:.0f} min⁻¹ in the highest gear."
    return (
        f"The car is geared {abs(percent):.1f} % {'longer' if percent > 0 else 'shorter'}: at {most:.0f} min⁻¹ in the "
        f"highest gear it runs {after:.0f} km/h, before {before:.0f} km/h."
    )


def _table(
    ratios: list[tuple[int, float]],
    before: list[tuple[str, float]],
    after: list[tuple[str, float]],
    most: float,
) -> Table:
    rows, last = [], None
    for (n, ratio), (_, one), (_, other) in zip(ratios, before, after, strict=True):
        falls = "–" if last is None else f"{most * ratio / last:.0f}"
        rows.append(
            (
                str(n),
                f"{ratio:.3f}",
                f"{one:.2f}",
                f"{other:.2f}",
                f"{one * most / 1000:.0f}",
                f"{other * most / 1000:.0f}",
                falls,
            )
        )
        last = ratio
    return Table(
        "Gear by gear",
        (
            "Gear",
            "Ratio",
            "km/h at 1000 before",
            "km/h at 1000 now",
            "km/h at limiter before",
            "km/h at limiter now",
            "min⁻¹ after changing up at the limiter",
        ),
        tuple(rows),
    )


def _gear(n: int) -> Number:
    return Number(
        f"gear_{n}",
        f"Ratio of gear {n}",
        "count",
        "1",
        D("0.3"),
        D(8),
        item=f"gear_ratio_{n}",
        optional=n > 1,
    )


def _circumference(name: str, label: str, optional: bool, help: str) -> Number:
    return Number(name, label, "length", "mm", D(700), D(4000), help, optional=optional)


CALCULATOR = Calculator(
    slug="gear-comparison",
    words=("differential", "axle ratio", "gearbox"),
    name="Another final drive or tyre in each gear",
    group="Gearing",
    question="How fast does the car run in each gear with another final drive or other tyres?",
    inputs=(
        Number(
            "final_from", "Final drive before", "count", "1", D(1), D(9), factory_item="final_drive_ratio"
        ),
        Number("final_to", "Final drive now", "count", "1", D(1), D(9), item="final_drive_ratio"),
        _circumference("circumference_from", "Circumference of the driven tyres before", False, ""),
        # Not filled in from a car: which axle is driven decides whose tyres these are.
        _circumference(
            "circumference_to", "Circumference of the driven tyres now", True, "Left empty: as before."
        ),
        Number("limiter", "Engine speed limiter", "rotation", "rpm", D(500), D(20000), item="limiter"),
        *(_gear(n) for n in GEARS),
    ),
    outputs=(
        Output("change", "Speed at the same engine speed, change", "%", main=True),
        Output("top", "Highest gear at the limiter now", "km/h"),
        Output("top_from", "Highest gear at the limiter before", "km/h"),
        Output("each", "Highest gear for every 1000 min⁻¹ now", "kmh/krpm"),
        Output("force", "Pull at the wheels in the same gear, change", "%"),
    ),
    formula="v/n = C / (i gear · i final);  pull at the wheels ∝ i gear · i final / C",
    sources=(Source("Gearing without slip", "", Kind.MECHANICS),),
    work=work,
    example={
        "final_from": "4.06 1",
        "final_to": "4.43 1",
        "circumference_from": "1832 mm",
        "limiter": "7000 rpm",
        "gear_1": "3.25 1",
        "gear_2": "1.95 1",
        "gear_3": "1.37 1",
        "gear_4": "1.03 1",
        "gear_5": "0.84 1",
    },
)
