"""Heat that the coolant carries away, and the flow that it needs for that.

Properties at 80 °C and near atmospheric pressure. Source of water: IAPWS Industrial Formulation 1997, from memory;
of half water, half ethylene glycol by volume: ASHRAE Handbook Fundamentals, tables of secondary coolants, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from workshop.engineering.errors import EngineeringError
from workshop.engineering.quantities import Quantity, magnitude, quantity

# Heat to the coolant over the engine's power, and the range in which it lies at full load. From the energy balance
# of car engines at full power: brake work 25 to 28 % of the fuel's heat and coolant 17 to 26 % with spark ignition,
# 34 to 38 % and 16 to 35 % with compression ignition (Heywood, Internal Combustion Engine Fundamentals, 1988,
# table 12.1, from memory).
HEAT_SHARE, HEAT_SHARE_LOW, HEAT_SHARE_HIGH = 0.80, 0.50, 1.10


@dataclass(frozen=True)
class Coolant:
    """`density` in kg/m³ and `heat` in J/(kg·K), both at 80 °C."""

    code: str
    name: str
    density: float
    heat: float


COOLANTS = {
    one.code: one
    for one in (
        Coolant("half", "half water, half ethylene glycol by volume", 1038.0, 3518.0),
        Coolant("water", "water alone", 971.8, 4196.0),
    )
}


def heat_to_coolant(power: Quantity, share: Quantity) -> Quantity:
    """Q = P · share, in kW."""
    return quantity(magnitude(power, "kW") * magnitude(share, "1"), "kW")


def coolant_flow(heat: Quantity, rise: Quantity, coolant: Coolant) -> Quantity:
    """Volume flow = Q / (ρ · c · ΔT), in l/min, at 80 °C. `rise` is a difference of temperatures."""
    difference = magnitude(rise, "K")
    if difference <= 0:
        raise EngineeringError("The coolant leaves the engine warmer than it comes: give a rise above zero.")
    cubic_metres = magnitude(heat, "W") / (coolant.density * coolant.heat * difference)
    return quantity(cubic_metres * 60e3, "l/min")


def coolant_rise(heat: Quantity, flow: Quantity, coolant: Coolant) -> Quantity:
    """How much warmer the coolant leaves the engine at this flow, in K."""
    litres = magnitude(flow, "l/min")
    if litres <= 0:
        raise EngineeringError(
            "Without a flow of coolant the heat stays in the engine: give a flow above zero."
        )
    return quantity(magnitude(heat, "W") / (coolant.density * coolant.heat * litres / 60e3), "K")
