"""A leak-down test: what share of the supplied pressure each cylinder loses."""

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
from workshop.engineering.engine_tests import AVIATION_LEAK, AVIATION_SUPPLY_PSI, leak, leak_band
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal


def work(supply: Quantity, held: list[Quantity]) -> Outcome:
    given = magnitude(supply, "kPa")
    above = [n for n, one in enumerate(held, 1) if magnitude(one, "kPa") > given]
    if above:
        raise InputErrors(
            {"held": f"Cylinder {above[0]}: it can't hold more than is supplied. Look at both gauges."}
        )
    leaks = [leak(supply, one) for one in held]
    worst = max(leaks)
    numbers = [n for n, one in enumerate(leaks, 1) if one == worst]
    if len(numbers) == len(leaks) and len(leaks) > 1:
        which = "Every cylinder loses"
    elif len(numbers) > 1:
        which = f"Cylinders {', '.join(map(str, numbers))} lose most:"
    else:
        which = f"Cylinder {numbers[0]} loses" + (" most:" if len(leaks) > 1 else "")
    verdict = f"{which} {worst * 100:.1f} %, {leak_band(worst)} by shop practice."
    # The aviation rule is for its own supply pressure; another pressure gives another flow through the orifice.
    if abs(magnitude(supply, "psi") - AVIATION_SUPPLY_PSI) < 1:
        less = worst > AVIATION_LEAK + 1e-9
        verdict += (
            " By the aviation rule for a supply of 80 psi, 60 psi or more must stay: "
            f"the worst cylinder {'holds less' if less else 'holds that'}."
        )
    mean = sum(leaks) / len(leaks)
    rows = tuple(
        (
            f"{n}",
            f"{one * 100:.1f} %",
            leak_band(one) + (", loses most" if one == worst and worst > min(leaks) else ""),
        )
        for n, one in enumerate(leaks, 1)
    )
    return Outcome(
        {"worst": quantity(worst, "1"), "mean": quantity(mean, "1"), "apart": quantity(worst - min(leaks), "1")},
        verdict,
        leak_band(worst) == "poor",
        ["Listen where the air goes: intake valve at the throttle, exhaust valve at the pipe, rings at the oil filler, "
         "gasket in the coolant or the next cylinder.",
         "Readings of two gauges compare only where their orifices are the same."],
        [Table("By cylinder", ("Cylinder", "Leak", "Mark"), rows)],
    )  # fmt: skip


CALCULATOR = Calculator(
    slug="leak-down",
    words=("leakdown", "leak down", "cylinder leakage", "blow-by"),
    name="Leak-down test",
    group="Engine tests",
    question="What share of the pressure does each cylinder lose?",
    inputs=(
        Number("supply", "Pressure supplied", "pressure", "kPa", D(50), D(1500)),
        Numbers(
            "held", "Pressure that each cylinder holds", "pressure", "kPa", D(0), D(1500), "Cylinder", at_most=16,
            help="A gauge marked in per cent of leak: give 100 kPa as supplied, and 100 less its reading for each.",
        ),
    ),
    outputs=(
        Output("worst", "Largest leak", "%", main=True),
        Output("mean", "Mean leak", "%"),
        Output("apart", "From the tightest to the leakiest cylinder", "%"),
    ),
    formula="leak = (supplied − held) / supplied;  shop practice: up to 10 % good, up to 20 % fair, above poor",
    sources=(
        Source("Bands of leak-down", "some take 25 % before poor", Kind.COMMON_PRACTICE),
        Source("FAA AC 43.13-1B", "differential compression test at 80 psi, least 60", Kind.FROM_MEMORY),
    ),
    work=work,
    cautions=(
        "Ignition and fuel off, each piston at its top dead centre and the crankshaft held: the air turns the engine "
        "with whatever spanner is on it.",
    ),
    example={"supply": "700 kPa", "held": "651 637 620 525 kPa"},
)  # fmt: skip
