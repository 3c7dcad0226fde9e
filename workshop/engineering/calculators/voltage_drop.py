"""How much voltage is lost on the way to a load and back."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Assumption,
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
    CABLE_MAXIMA,
    CABLE_MAXIMUM,
    COPPER,
    DROP_SOURCE,
    DROPS,
    GAUGE_CHOICES,
    RETURNS,
    cable_resistance,
    section_of,
    warmth_at,
)
from workshop.engineering.electrical import voltage_drop as drop_over
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal


def work(
    current: Quantity,
    section: Quantity | None,
    gauge: str | None,
    length: Quantity,
    back: str,
    body: Quantity | None,
    voltage: Quantity,
    load: str,
    temperature: Quantity,
) -> Outcome:
    of = section_of(section, gauge)
    way = length * 2 if back == "cable" else length
    resistance = cable_resistance(of, way, temperature)
    notes = []
    if back == "cable":
        if body is not None:
            raise InputErrors(
                {"body": "Leave this empty, or choose that the current goes back through the body."}
            )
    elif body is None:
        notes.append(
            "The way back through the body counts as nothing here. Measure it: the drop from the load's earth to the "
            "battery's negative pole, over the current."
        )
    else:
        resistance = resistance + body
    drop = drop_over(current, resistance)
    volts, source = magnitude(drop, "V"), magnitude(voltage, "V")
    if volts >= source:
        raise InputErrors(
            {
                "current": f"Through this cable {show(amount(current, 'A'))} would take {show(amount(drop, 'V'))}, "
                "more than there is: the load can't draw that. Look at the figures one by one."
            }
        )
    share, usual = 100 * volts / source, float(load)
    odd = share > usual * (1 + 1e-9)
    verdict = (
        f"{show(amount(drop, 'V'))} is lost, {share:.1f} % of {show(amount(voltage, 'V'))}: "
        f"{'more than' if odd else 'within'} the {load} % that common practice gives such a load."
    )
    square = magnitude(of, "mm2")
    tables = []
    greatest = next((most for size, most in CABLE_MAXIMUM.items() if abs(size - square) < 0.001), None)
    if greatest is not None:
        poor = quantity(greatest * warmth_at(magnitude(temperature, "degC")), "mohm/m") * way
        most = magnitude(current * (poor if body is None else poor + body), "V")
        rows = (
            ("pure copper of this section", show(amount(drop, "V")), f"{share:.1f} %"),
            ("greatest resistance of the standard", f"{most:.2f} V", f"{100 * most / source:.1f} %"),
        )
        tables.append(
            Table("The best and the poorest cable of this section", ("Cable", "Lost", "Share"), rows)
        )
    return Outcome(
        {
            "drop": drop,
            "share": quantity(share, "%"),
            "there": voltage - drop,
            "resistance": resistance,
            "heat": drop * current,
        },
        verdict,
        odd,
        notes,
        tables,
    )


CALCULATOR = Calculator(
    slug="voltage-drop",
    words=("wiring", "volt drop", "corroded", "contact"),
    name="Voltage drop",
    group="Electrical",
    question="How much of the voltage is lost on the way to this load and back?",
    inputs=(
        Number("current", "Current of the load", "current", "A", D("0.01"), D(1500), item="load_current", units=("A",)),
        Number(
            "section", "Copper cross-section", "area", "mm2", D("0.1"), D(150), item="cable_section", optional=True
        ),
        Choice("gauge", "Or gauge number", GAUGE_CHOICES, optional=True),
        Number(
            "length", "Cable length, one way", "length", "m", D("0.05"), D(40), item="cable_length", units=("m", "mm")
        ),
        Choice("back", "Way back", RETURNS, usual="cable"),
        Number(
            "body", "Resistance of the way back through the body", "resistance", "mohm", D("0.01"), D(5000),
            optional=True, help="As measured: drop over current. Only for the way back through the body.",
        ),
        Number(
            "voltage", "Voltage at the source under load", "voltage", "V", D(5), D(60), units=("V",),
            help="Across the battery while the load runs; with the engine running more.",
        ),
        Choice("load", "Kind of load", DROPS, usual="5"),
        Number(
            "temperature", "Temperature of the conductor", "temperature", "degC", D(-40), D(150),
            assumed=Assumption(D(20), D(0), D(80), "a cable lightly loaded; a hot one has a quarter more"),
        ),
    ),
    outputs=(
        Output("drop", "Voltage lost", "V", main=True),
        Output("share", "Share of the source", "%"),
        Output("there", "Left at the load", "V"),
        Output("resistance", "Resistance of the whole way", "mohm"),
        Output("heat", "Heat in the cable", "W"),
    ),
    formula="ΔU = I · ρ(T) · (l out + l back) / A;  through the body: ΔU = I · (ρ(T) · l / A + R body)",
    sources=(COPPER, CABLE_MAXIMA, AWG_SOURCE, DROP_SOURCE),
    work=work,
    example={
        "current": "15 A", "section": "2.5 mm2", "length": "4 m", "back": "cable", "voltage": "12.6 V", "load": "5",
        "temperature": "20 degC",
    },
)  # fmt: skip
