"""The thinnest standard cable that loses little enough voltage and carries the load and its fuse."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.cable_inputs import INSULATION, SURROUNDINGS
from workshop.engineering.declare import (
    Calculator,
    Choice,
    InputErrors,
    Number,
    Outcome,
    Output,
    Table,
)
from workshop.engineering.electrical import (
    AWG_SOURCE,
    CARRIES_SOURCE,
    COPPER,
    DROP_SOURCE,
    RETURNS,
    SECTIONS,
    cable_resistance,
    carries_at,
    least_section,
    least_section_to_carry,
    next_gauge,
    next_section,
)
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal


def work(
    current: Quantity,
    length: Quantity,
    back: str,
    voltage: Quantity,
    allowed: Quantity,
    fuse: Quantity | None,
    insulation: str,
    surroundings: Quantity,
) -> Outcome:
    conductor, around = float(insulation), magnitude(surroundings, "degC")
    amps = magnitude(current, "A")
    to_carry = max(amps, magnitude(fuse, "A") if fuse is not None else 0.0)
    if fuse is not None and magnitude(fuse, "A") < amps:
        raise InputErrors(
            {"fuse": f"This fuse opens: the load takes {show(amount(current, 'A'))}. Take a larger one."}
        )
    if around >= conductor:
        raise InputErrors(
            {
                "surroundings": f"The insulation stands {insulation} °C: give less, or choose another insulation."
            }
        )
    way = length * 2 if back == "cable" else length
    # The conductor of a loaded cable may be as hot as its insulation stands: the drop is worked out there.
    hot = quantity(conductor, "degC")
    by_drop = least_section(current, way, voltage * (magnitude(allowed, "%") / 100), hot)
    for_drop = next_section(magnitude(by_drop, "mm2"))
    for_heat = least_section_to_carry(to_carry, around, conductor)
    if for_drop is None or for_heat is None:
        raise InputErrors(
            {
                "": f"No cable up to {SECTIONS[-1]:g} mm² does that. Shorten the way, allow more drop, raise the "
                "voltage, or lay several cables, each with its fuse."
            }
        )
    chosen = max(for_drop, for_heat)
    decides = "the voltage drop" if for_drop >= for_heat else "what the cable must carry"
    drop = current * cable_resistance(quantity(chosen, "mm2"), way, hot)
    what = f"the fuse of {show(amount(fuse, 'A'))}" if fuse is not None else "the load"
    rows = (
        ("no more voltage lost", f"{magnitude(by_drop, 'mm2'):.2f} mm²", f"{for_drop:g} mm²"),
        (f"to carry {what}", "–", f"{for_heat:g} mm²"),
    )
    notes = [
        "The cable must carry the fuse, or the fuse doesn't protect it."
        if fuse is not None
        else "Choose the fuse next: the cable must carry it, not only the load.",
        "In a bundle or a tube a cable carries less than in free air.",
    ]
    if back == "body":
        notes.append("The way back through the body counts as nothing here.")
    return Outcome(
        {
            "section": quantity(chosen, "mm2"),
            "gauge": f"AWG {name}" if (name := next_gauge(chosen)) else "none that thick",
            "least": by_drop,
            "drop": drop,
            "carries": quantity(carries_at(chosen, around, conductor), "A"),
        },
        f"{chosen:g} mm²: {decides} decides. With it {show(amount(drop, 'V'))} is lost, the conductor hot.",
        notes=notes,
        tables=[Table("What each asks for", ("So that", "At least", "Next standard"), rows)],
    )


CALCULATOR = Calculator(
    slug="cable-for-a-load",
    words=("wire", "wiring", "cross-section", "gauge"),
    name="Cable for a load",
    group="Electrical",
    question="What is the thinnest standard cable for this load, so far away?",
    inputs=(
        Number("current", "Current of the load", "current", "A", D("0.01"), D(500), item="load_current", units=("A",)),
        Number(
            "length", "Cable length, one way", "length", "m", D("0.05"), D(40), item="cable_length", units=("m", "mm")
        ),
        Choice("back", "Way back", RETURNS, usual="cable"),
        Number("voltage", "Voltage at the source", "voltage", "V", D(5), D(60), units=("V",)),
        Number(
            "allowed", "Voltage that may be lost", "ratio", "%", D("0.5"), D(20),
            help="3 % for critical loads, 5 % for others, 10 % for lamps and motors (common practice).",
        ),
        Number(
            "fuse", "Rating of its fuse", "current", "A", D("0.1"), D(500), item="fuse_rating", optional=True,
            units=("A",),
        ),
        INSULATION,
        SURROUNDINGS,
    ),
    outputs=(
        Output("section", "Take at least", "mm2", main=True),
        Output("gauge", "Or by gauge number"),
        Output("least", "Least section for the voltage drop", "mm2"),
        Output("drop", "Voltage lost then", "V"),
        Output("carries", "Such a cable carries", "A"),
    ),
    formula="A = I · ρ(θ) · (l out + l back) / ΔU;  I carried = I₃₀(A) · √((θ − T)/40 K · R(70 °C)/R(θ)),  "
    "θ the insulation's, T the surroundings' temperature",
    sources=(COPPER, CARRIES_SOURCE, DROP_SOURCE, AWG_SOURCE),
    work=work,
    cautions=(
        "Every cable from the battery has its fuse at the battery's end. The data of the cable's maker come first.",
    ),
    example={
        "current": "15 A", "length": "4 m", "back": "cable", "voltage": "12 V", "allowed": "3 %", "insulation": "70",
        "surroundings": "40 degC",
    },
)  # fmt: skip
