"""How much heat the coolant must carry away at full power, and the flow that it needs for that."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.cooling import (
    COOLANTS,
    HEAT_SHARE,
    HEAT_SHARE_HIGH,
    HEAT_SHARE_LOW,
    coolant_flow,
    coolant_rise,
    heat_to_coolant,
)
from workshop.engineering.declare import (
    Assumption,
    Calculator,
    Choice,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.plot import Axis, Line, Plot
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal


def work(
    power: Quantity, share: Quantity, rise: Quantity, coolant: str, known_flow: Quantity | None
) -> Outcome:
    fluid = COOLANTS[coolant]
    heat = heat_to_coolant(power, share)
    flow = coolant_flow(heat, rise, fluid)
    values: dict[str, Quantity | str] = {"heat": heat, "flow": flow}
    verdict = (
        f"At full power the coolant carries away {show(amount(heat, 'kW'))}. To leave the engine only "
        f"{show(amount(rise, 'K'))} warmer than it came, {show(amount(flow, 'l/min'))} must flow."
    )
    odd = False
    if known_flow is not None:
        known = coolant_rise(heat, known_flow, fluid)
        values["known_rise"] = known
        odd = magnitude(known_flow, "l/min") < magnitude(flow, "l/min") * (1 - 1e-9)
        verdict += f" At {show(amount(known_flow, 'l/min'))} it leaves {show(amount(known, 'K'))} warmer."
    rises = [4 + place for place in range(17)]
    flows = [magnitude(coolant_flow(heat, quantity(each, "K"), fluid), "l/min") for each in rises]
    plot = Plot(
        slug="coolant-flow",
        title="Coolant flow against its rise of temperature",
        x=Axis("Rise of temperature in the engine, K", 4.0, 20.0),
        y=Axis("Flow, l/min", 0.0, flows[0] * 1.05),
        summary=f"The less the coolant may warm up, the more must flow: {flows[0]:.0f} l/min for 4 K, "
        f"{flows[-1]:.0f} l/min for 20 K.",
        lines=(Line("flow needed", tuple(zip(map(float, rises), flows, strict=True))),),
        head=("Rise, K", "Flow, l/min"),
        rows=tuple((f"{rises[at]}", f"{flows[at]:.0f}") for at in (0, 4, 8, 12, 16)),
    )
    return Outcome(values, verdict, odd, plots=[plot])


CALCULATOR = Calculator(
    slug="heat-to-reject",
    words=("radiator", "overheating", "cooling"),
    name="Heat for the coolant",
    group="Engine and cooling",
    question="How much heat must the cooling system take at full power, and how much coolant must flow?",
    inputs=(
        Number("power", "Engine power", "power", "kW", D(1), D(1500), item="engine_power"),
        Number(
            "share", "Heat to the coolant as a share of the engine's power", "ratio", "%", D(20), D(200),
            assumed=Assumption(
                D(str(HEAT_SHARE)) * 100, D(str(HEAT_SHARE_LOW)) * 100, D(str(HEAT_SHARE_HIGH)) * 100,
                "energy balances of car engines at full power",
            ),
        ),
        Number(
            "rise", "The coolant leaves the engine warmer by", "temperature difference", "K", D(1), D(40),
            help="Between the hoses of the radiator at full power; 5 to 10 K are usual (common practice, no source).",
        ),
        Choice("coolant", "Coolant", tuple((one.code, one.name) for one in COOLANTS.values()), usual="half"),
        Number(
            "known_flow", "Coolant flow of the pump", "flow", "l/min", D(1), D(1000), item="coolant_flow",
            optional=True, help="At the engine speed of full power, with the thermostat open.",
        ),
    ),
    outputs=(
        Output("heat", "Heat to the coolant", "kW", main=True),
        Output("flow", "Coolant flow needed", "l/min"),
        Output("known_rise", "Rise of temperature at the pump's flow", "K"),
    ),
    formula="Q = P · share;  flow = Q / (ρ · c · ΔT), coolant at 80 °C",
    sources=(
        Source(
            "Heywood, Internal Combustion Engine Fundamentals, 1988", "table 12.1, energy balances", Kind.FROM_MEMORY
        ),
        Source("IAPWS Industrial Formulation 1997", "water at 80 °C", Kind.FROM_MEMORY),
        Source("ASHRAE Handbook Fundamentals", "aqueous ethylene glycol, 50 % by volume, at 80 °C", Kind.FROM_MEMORY),
    ),
    work=work,
    cautions=("Never open a hot cooling system: it is under pressure, and what comes out boils. Fans start by themselves.",),
    example={"power": "100 kW", "share": "80 %", "rise": "8 K", "coolant": "half", "known_flow": "120 l/min"},
)  # fmt: skip
