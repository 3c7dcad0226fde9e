"""A battery's state of charge from its rest voltage."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, Choice, Kind, Number, Outcome, Output, Source
from workshop.engineering.electrical import FLEECE_HIGHER, REST_SOURCE, REST_VOLTAGES, state_of_charge
from workshop.engineering.plot import Axis, Line, Mark, Plot
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal
KINDS = (("liquid", "liquid acid"), ("fleece", "acid in fleece (AGM)"))
# Reading error of the method, in percentage points of charge: common practice.
SPREAD = 15.0
REST_HOURS = 6.0


def work(voltage: Quantity, kind: str, rested: Quantity | None) -> Outcome:
    volts = magnitude(voltage, "V")
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
        notes.append("Fleece batteries rest 0.1 to 0.2 V higher; 0.15 V is taken off, the range has both.")
    odd = charge < 50
    verdict = f"About {charge:.0f} % charged, somewhere from {low:.0f} to {high:.0f} %."
    verdict += " Charge it before you test anything else." if odd else ""
    return Outcome(
        {"charge": quantity(charge, "%"), "range": f"{low:.0f} to {high:.0f} %"},
        verdict,
        odd,
        notes,
        plots=[_plot(volts, charge, middle)],
    )


def _plot(volts: float, charge: float, higher: float) -> Plot:
    curve = tuple((at + higher, percent) for at, percent in REST_VOLTAGES)
    return Plot(
        "charge",
        "State of charge over rest voltage",
        Axis("Rest voltage, V", min(11.5, volts), max(13.0, volts)),
        Axis("State of charge, %", 0, 100),
        f"At {volts:.2f} V about {charge:.0f} %; four tenths of a volt make half the charge.",
        lines=(Line("common practice", curve),),
        marks=(Mark("measured", (volts, charge)),),
        head=("Rest voltage", "State of charge"),
        rows=tuple((f"{at:.2f} V", f"{percent:.0f} %") for at, percent in curve),
    )


CALCULATOR = Calculator(
    slug="charge-state",
    name="State of charge",
    group="Electrical",
    question="How full is this 12 V battery, from the voltage at rest?",
    inputs=(
        Number(
            "voltage", "Rest voltage", "voltage", "V", D(8), D(15), units=("V",),
            help="At the poles, nothing switched on, to two decimals. One 12 V battery, lead and acid.",
        ),
        Choice("kind", "Kind of battery", KINDS, usual="liquid"),
        Number("rested", "At rest for", "duration", "hours", D(0), D(10000), optional=True, units=("hours", "d")),
    ),
    outputs=(
        Output("charge", "State of charge", "%", main=True),
        Output("range", "Somewhere from"),
    ),
    formula="straight lines between 11.9 V 0 %, 12.06 V 25 %, 12.24 V 50 %, 12.45 V 75 %, 12.65 V 100 %",
    sources=(REST_SOURCE, Source("Fleece batteries rest 0.1 to 0.2 V higher", kind=Kind.FROM_MEMORY)),
    work=work,
    example={"voltage": "12.35 V", "kind": "liquid", "rested": "8 hours"},
)  # fmt: skip
