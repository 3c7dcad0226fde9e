"""What a length of copper cable has as resistance, cold and warm, beside what a standard lets it have."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Assumption, Calculator, Choice, Number, Outcome, Output, Table
from workshop.engineering.electrical import (
    AWG_SOURCE,
    CABLE_MAXIMA,
    CABLE_MAXIMUM,
    COPPER,
    GAUGE_CHOICES,
    cable_resistance,
    resistance_per_length,
    section_of,
    warmth_at,
)
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal
TEMPERATURES = (-20.0, 20.0, 60.0, 80.0, 100.0)


def work(section: Quantity | None, gauge: str | None, length: Quantity, temperature: Quantity) -> Outcome:
    of = section_of(section, gauge)
    whole = cable_resistance(of, length, temperature)
    values: dict[str, Quantity | str] = {
        "resistance": whole,
        "per_length": resistance_per_length(of, temperature),
        "used": of,
    }
    notes = ["One conductor, from end to end. Crimps, joints and the way back come on top."]
    square, celsius = magnitude(of, "mm2"), magnitude(temperature, "degC")
    greatest = next((most for size, most in CABLE_MAXIMUM.items() if abs(size - square) < 0.001), None)
    if greatest is None:
        notes.append(
            "This is no nominal section of the standard's table, so there is no greatest value to compare."
        )
    else:
        values["greatest"] = quantity(greatest * warmth_at(celsius), "mohm/m") * length
    rows = tuple(
        (
            show(amount(quantity(each, "degC"), "degC")),
            show(amount(cable_resistance(of, length, quantity(each, "degC")), "mohm")),
        )
        for each in TEMPERATURES
    )
    return Outcome(values, notes=notes, tables=[Table("Cold and warm", ("Conductor", "Resistance"), rows)])


CALCULATOR = Calculator(
    slug="cable-resistance",
    words=("wire", "wiring", "copper"),
    name="Resistance of a cable",
    group="Electrical",
    question="What resistance does this length of copper cable have, and is a measured one plausible?",
    inputs=(
        Number(
            "section", "Copper cross-section", "area", "mm2", D("0.1"), D(150), optional=True,
            help="From the cable's data, or counted and measured strands. Not the thickness over the insulation.",
        ),
        Choice("gauge", "Or gauge number", GAUGE_CHOICES, optional=True),
        Number("length", "Length of the cable", "length", "m", D("0.05"), D(40), units=("m", "mm")),
        Number(
            "temperature", "Temperature of the conductor", "temperature", "degC", D(-40), D(150),
            assumed=Assumption(D(20), D(0), D(80), "a cable at rest in a workshop; loaded under a bonnet it is hotter"),
        ),
    ),
    outputs=(
        Output("resistance", "Resistance", "mohm", main=True),
        Output("per_length", "Resistance of each metre", "mohm/m"),
        Output("used", "Cross-section", "mm2"),
        Output("greatest", "Greatest that the standard lets such a cable have", "mohm"),
    ),
    formula="R = ρ₂₀ · (1 + α · (T − 20 °C)) · l / A,  ρ₂₀ = 1/58 Ω·mm²/m,  α = 0.003 93 /K,  "
    "A(AWG n) = π/4 · (0.127 mm · 92^((36 − n)/39))²",
    sources=(COPPER, CABLE_MAXIMA, AWG_SOURCE),
    work=work,
    example={"section": "2.5 mm2", "length": "4 m", "temperature": "20 degC"},
)  # fmt: skip
