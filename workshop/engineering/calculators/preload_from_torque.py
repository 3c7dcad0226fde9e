"""The preload that a torque gives a bolt, by the nut factor of its surface, with the range that this leaves open."""

from __future__ import annotations

from workshop.engineering.bolt_inputs import (
    ANY_THREAD,
    FRICTION_SOURCE,
    MAKER_FIRST,
    NUT_FACTOR,
    SHORT_FORM,
    SURFACE,
    D,
    decimals,
    diameter_of,
    nut_factor_of,
    spread_of,
)
from workshop.engineering.declare import Calculator, Number, Outcome, Output
from workshop.engineering.fasteners import preload_from_torque
from workshop.engineering.numbers import plain
from workshop.engineering.quantities import Quantity, quantity


def work(torque: Quantity, thread: str, surface: str, nut_factor: Quantity | None) -> Outcome:
    factor = nut_factor_of(surface, nut_factor)
    low, high = spread_of(factor)
    newton_metres, diameter = decimals(torque, "N.m"), diameter_of(thread)
    preload, least, most = (
        quantity(preload_from_torque(newton_metres, each, diameter), "N")
        for each in (factor.value, high, low)
    )
    return Outcome(
        {"preload": preload, "least": least, "most": most, "used": plain(factor.value)},
        notes=[
            f"Reckoned with nut factors from {plain(low)} to {plain(high)}: the surface's own range ({factor.source}), "
            "and at least 25 % either way, which no torque wrench does better without measuring the friction."
        ],
    )


CALCULATOR = Calculator(
    slug="preload-from-torque",
    words=("clamp load", "clamping force", "bolt"),
    name="Preload from torque",
    group="Fasteners",
    question="How hard does this torque clamp?",
    inputs=(
        Number("torque", "Tightening torque", "torque", "N.m", D("0.1"), D(5000)),
        ANY_THREAD,
        SURFACE,
        NUT_FACTOR,
    ),
    outputs=(
        Output("preload", "Preload", "kN", main=True),
        Output("least", "Preload at the highest friction", "kN"),
        Output("most", "Preload at the lowest friction", "kN"),
        Output("used", "Nut factor"),
    ),
    formula="F = T / (K · d)",
    sources=(SHORT_FORM, FRICTION_SOURCE),
    work=work,
    cautions=(MAKER_FIRST,),
    example={"torque": "50 N.m", "thread": "M10", "surface": "dry"},
)
