"""A battery's state of charge from its rest voltage."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Calculator,
    Choice,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.electrical import FLEECE_HIGHER, REST_SOURCE, REST_VOLTAGES, state_of_charge
from workshop.engineering.plot import Axis, Line, Mark, Plot
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal
BATTERIES = (("6", "6 V, three cells"), ("12", "12 V, six cells"), ("24", "24 V, two of 12 V in a row"))
# What a battery of 12 V rests at, from one destroyed to one just charged; others by their cells.
LEAST_AT_REST, MOST_AT_REST = 8.0, 15.0  # V
KINDS = (("liquid", "liquid acid"), ("fleece", "acid in fleece (AGM)"))
# Reading error of the method, in percentage points of charge: common practice.
SPREAD = 15.0
REST_HOURS = 6.0


def work(voltage: Quantity, kind: str, battery: str | None, rested: Quantity | None) -> Outcome:
    measured = magnitude(voltage, "V")
    # As many cells' worth as the table's battery of 12 V has.
    part = float(battery or "12") / 12
    volts = measured / part
    if not LEAST_AT_REST <= volts <= MOST_AT_REST:
        raise InputErrors(
            {
                "voltage": f"A battery of {12 * part:g} V rests anywhere from {LEAST_AT_REST * part:g} V to "
                f"{MOST_AT_REST * part:g} V: {measured:g} V is not plausible. Look at the battery chosen below too."
            }
        )
    least, middle, most = FLEECE_HIGHER if kind == "fleece" else (0.0, 0.0, 0.0)
    charge = state_of_charge(volts, middle)
    # A battery that rests higher is emptier at the same voltage.
    low = max(state_of_charge(volts, most) - SPREAD, 0.0)
    high = min(state_of_charge(volts, least) + SPREAD, 100.0)
    top, bottom = REST_VOLTAGES[-1][0] + middle, REST_VOLTAGES[0][0] + middle
    notes = []
    if volts > top + 0.1:
        notes.append(
            "Higher than a full battery rests: surface charge. Switch the lamps on for two minutes and wait."
        )
    if volts < bottom:
        notes.append(
            "Lower than an empty battery rests: it may be damaged. Charge it, let it rest, then load-test it."
        )
    if rested is None or magnitude(rested, "hours") < REST_HOURS:
        notes.append(
            f"Let it rest at least {REST_HOURS:g} hours first: shortly after charging it reads too high."
        )
    if kind == "fleece":
        notes.append(
            f"Fleece batteries rest {least * part:g} to {most * part:g} V higher; {middle * part:g} V is taken off, the "
            "range has both."
        )
    if part > 1:
        notes.append("Measure each of the two batteries too: one may be empty while the other is full.")
    odd = charge < 50
    verdict = f"About {charge:.0f} % charged, somewhere from {low:.0f} to {high:.0f} %."
    verdict += " Charge it before you test anything else." if odd else ""
    return Outcome(
        {"charge": quantity(charge, "%"), "range": f"{low:.0f} to {high:.0f} %"},
        verdict,
        odd,
        notes,
        plots=[_plot(measured, charge, middle, part)],
    )


def _plot(volts: float, charge: float, higher: float, part: float) -> Plot:
    """`volts` of the whole battery, `higher` of one of 12 V, `part` how many of those it is."""
    curve = tuple(((at + higher) * part, percent) for at, percent in REST_VOLTAGES)
    return Plot(
        "charge",
        "State of charge over rest voltage",
        Axis("Rest voltage, V", min(11.5 * part, volts), max(13.0 * part, volts)),
        Axis("State of charge, %", 0, 100),
        f"At {volts:.2f} V about {charge:.0f} %; {0.4 * part:g} V make half the charge.",
        lines=(Line("common practice", curve),),
        marks=(Mark("measured", (volts, charge)),),
        head=("Rest voltage", "State of charge"),
        rows=tuple((f"{at:.2f} V", f"{percent:.0f} %") for at, percent in curve),
    )


CALCULATOR = Calculator(
    slug="charge-state",
    words=("battery", "soc", "resting voltage"),
    name="State of charge",
    group="Electrical",
    question="How full is this battery, from the voltage at rest?",
    inputs=(
        Number(
            "voltage", "Rest voltage", "voltage", "V", D(4), D(30), units=("V",),
            help="At the poles, nothing switched on, to two decimals. Lead and acid.",
        ),
        Choice("kind", "Kind of battery", KINDS, usual="liquid"),
        Choice("battery", "Battery of", BATTERIES, "Left empty: 12 V.", usual="12", optional=True),
        Number("rested", "At rest for", "duration", "hours", D(0), D(10000), optional=True, units=("hours", "d")),
    ),
    outputs=(
        Output("charge", "State of charge", "%", main=True),
        Output("range", "Somewhere from"),
    ),
    formula="straight lines between 11.9 V 0 %, 12.06 V 25 %, 12.24 V 50 %, 12.45 V 75 %, 12.65 V 100 %; 6 V and 24 V by their cells",
    sources=(REST_SOURCE, Source("Fleece batteries rest 0.1 to 0.2 V higher", kind=Kind.FROM_MEMORY)),
    work=work,
    example={"voltage": "12.35 V", "kind": "liquid", "rested": "8 hours"},
)  # fmt: skip
