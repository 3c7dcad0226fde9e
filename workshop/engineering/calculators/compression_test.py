"""A compression test: how evenly the cylinders read, by both rules that shops use, and against the least pressure."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Calculator,
    InputErrors,
    Kind,
    Number,
    Numbers,
    Outcome,
    Output,
    Source,
    Table,
)
from workshop.engineering.engine_tests import LEAST_RATIO, MOST_SPREAD, spread_of
from workshop.engineering.quantities import Quantity, magnitude, number, pint_unit, quantity
from workshop.engineering.units import Amount, show

D = Decimal
UNITS_OF_GAUGES = ("bar", "kPa", "psi")
# Room for floats: 9.3 over 12.4 is exactly 75 %, and counts as it.
HAIR = 1e-9


def work(pressures: list[Quantity], least: Quantity | None) -> Outcome:
    # All through in the unit of the gauge.
    code = next(each for each in UNITS_OF_GAUGES if pint_unit(each) == pressures[0].units)
    readings = [magnitude(one, code) for one in pressures]
    if max(readings) <= 0:
        raise InputErrors({"pressures": "No cylinder shows any: look at gauge, valves and timing first."})
    found = spread_of(readings)
    alone = len(readings) == 1
    even_by_ratio = found.ratio >= LEAST_RATIO - HAIR
    even_by_spread = found.spread <= MOST_SPREAD + HAIR
    limit = None if least is None else magnitude(least, code)
    too_low = [] if limit is None else [n for n, one in enumerate(readings, 1) if one < limit - HAIR]
    rows = []
    for cylinder, one in enumerate(readings, 1):
        marks = []
        if found.lowest < found.highest:
            marks += ["highest"] * (one == found.highest) + ["lowest"] * (one == found.lowest)
        marks += ["below 75 % of the highest"] * (one < found.highest * LEAST_RATIO - HAIR)
        marks += ["below the least pressure"] * (cylinder in too_low)
        rows.append(
            (
                f"{cylinder}",
                show(number(one, code)),
                "–" if alone else f"{one / found.highest * 100:.1f} %",
                "–" if alone else _signed(one / found.mean - 1),
                ", ".join(marks) or "–",
            )
        )
    lowest = " and ".join(str(n) for n, one in enumerate(readings, 1) if one == found.lowest)
    which_one = f" ({lowest})" if found.lowest < found.highest else ""
    verdict = (
        f"The lowest cylinder{which_one} has {_apart(found.ratio, LEAST_RATIO)} of the highest: by the 75 % rule the cylinders are "
        f"{'even' if even_by_ratio else 'not even'}. From highest to lowest it is {_apart(found.spread, MOST_SPREAD)}: by the "
        f"stricter 10 % rule they are {'even' if even_by_spread else 'not even'}."
    )
    if alone:
        verdict = (
            f"One cylinder with {show(number(found.lowest, code))}: there is no other to compare it with."
        )
        if limit is not None:
            verdict += f" The least pressure is {show(number(limit, code))}."
    notes = []
    if too_low:
        which = ", ".join(map(str, too_low))
        verdict += f" Below the least pressure: cylinder {which}."
    if not even_by_spread:
        low = [n for n, one in enumerate(readings, 1) if one < found.highest * (1 - MOST_SPREAD) - HAIR]
        if any(n + 1 in low for n in low):
            notes.append(
                "Low cylinders next to each other: if they are neighbours in the engine too, look at the head gasket "
                "between them."
            )
        notes.append(
            "With spark ignition, test the low ones again with a spoon of oil: a rise speaks of rings, none of valves or "
            "gasket."
        )
    values: dict[str, Quantity | Amount | str] = {
        "lowest": number(found.lowest, code),
        "highest": number(found.highest, code),
        "mean": number(found.mean, code),
    }
    if not alone:
        values |= {
            "ratio": quantity(found.ratio, "1"),
            "spread": quantity(found.spread, "1"),
            "from_mean": quantity(found.from_mean, "1"),
        }
    return Outcome(
        values,
        verdict,
        not even_by_spread or bool(too_low),
        notes,
        [
            Table(
                "By cylinder",
                ("Cylinder", "Pressure", "Of the highest", "From the mean", "Mark"),
                tuple(rows),
            )
        ],
    )


def _apart(share: float, rule: float) -> str:
    """A share in per cent, with as many decimals as tell it from the rule: not "75.0 %, not even"."""
    decimals = 1
    while (
        decimals < 6
        and abs(share - rule) > HAIR
        and f"{share:.{decimals + 2}f}" == f"{rule:.{decimals + 2}f}"
    ):
        decimals += 1
    return f"{share * 100:.{decimals}f} %"


def _signed(share: float) -> str:
    text = f"{abs(share) * 100:.1f}"
    return f"{'' if text == '0.0' else '+' if share > 0 else '−'}{text} %"


CALCULATOR = Calculator(
    slug="compression-test",
    words=("cylinder", "compression tester"),
    name="Compression test",
    group="Engine tests",
    question="Are the cylinders even, and is none below the least pressure?",
    inputs=(
        Numbers(
            "pressures", "Compression pressure of each cylinder", "pressure", "bar", D(0), D(80), "Cylinder",
            units=UNITS_OF_GAUGES,
            at_most=16, help="Gauge readings of one test, engine warm, throttle open, the same cranking for each.",
        ),
        Number(
            "least", "Least pressure by the maker's data", "pressure", "bar", D(1), D(80),
            item="compression_pressure_low", optional=True,
        ),
    ),
    outputs=(
        Output("ratio", "Lowest as a share of the highest", "%", main=True),
        Output("spread", "From highest to lowest, as a share of the highest", "%"),
        Output("lowest", "Lowest", "bar"),
        Output("highest", "Highest", "bar"),
        Output("mean", "Mean", "bar"),
        Output("from_mean", "Lowest against the mean", "%"),
    ),
    formula="ratio = lowest / highest (rule: 75 % or more);  spread = (highest − lowest) / highest (rule: 10 % or less)",
    sources=(
        Source("The 75 % rule and the 10 % rule", "some makers take 70 %", Kind.COMMON_PRACTICE),
    ),
    work=work,
    cautions=(
        "Ignition and fuel off before the engine is cranked: a spark lights what comes out of the plug holes. A diesel "
        "needs its own gauge and adapters, and no oil in its cylinders: it may fire.",
        "Keep hands, hair and clothes off belts and fans.",
    ),
    example={"pressures": "12.4 12.1 11.9 9.6 bar", "least": "9 bar"},
)  # fmt: skip
