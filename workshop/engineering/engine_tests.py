"""Engine tests: compression and leak-down by cylinder, power from torque, and power corrected for the day's air.

Pressures, temperatures, torques and powers are Pint quantities; shares and factors are floats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workshop.engineering.errors import EngineeringError
from workshop.engineering.quantities import Quantity, magnitude, quantity

# The older and the stricter rule for a compression test; both are shop practice, and a set can meet only the first.
LEAST_RATIO = 0.75
MOST_SPREAD = 0.10
# Bands of leak-down: shop practice. The aviation rule: FAA AC 43.13-1B, differential test at 80 psi, least 60/80.
GOOD_LEAK, FAIR_LEAK = 0.10, 0.20
AVIATION_LEAK, AVIATION_SUPPLY_PSI = 0.25, 80.0

# The dry air and the intake temperature to which ISO 1585 and UN R85 correct.
REFERENCE_KPA, REFERENCE_KELVIN = 99.0, 298.0


@dataclass(frozen=True)
class Spread:
    """How evenly cylinders read, in the unit of the readings; `ratio`, `spread`, `from_mean` are shares of one."""

    lowest: float
    highest: float
    mean: float

    @property
    def ratio(self) -> float:
        return self.lowest / self.highest

    @property
    def spread(self) -> float:
        return (self.highest - self.lowest) / self.highest

    @property
    def from_mean(self) -> float:
        return self.lowest / self.mean - 1


def spread_of(readings: Sequence[float]) -> Spread:
    """The spread of readings of one test, all in one unit."""
    if not readings or min(readings) < 0 or max(readings) <= 0:
        raise EngineeringError(
            "No cylinder shows any pressure: look at the gauge, the valves and the timing first."
        )
    return Spread(min(readings), max(readings), sum(readings) / len(readings))


def leak(supply: Quantity, held: Quantity) -> float:
    """Share of the supplied pressure that a cylinder loses: (supply − held) / supply."""
    given, kept = magnitude(supply, "kPa"), magnitude(held, "kPa")
    if given <= 0 or not 0 <= kept <= given:
        raise EngineeringError("A cylinder holds at most the pressure that is supplied: look at both gauges.")
    return (given - kept) / given


def leak_band(share: float) -> str:
    """The shop-practice word for a leak: "good", "fair", "poor"."""
    if share <= GOOD_LEAK:
        return "good"
    return "fair" if share <= FAIR_LEAK else "poor"


def power_from_torque(torque: Quantity, speed: Quantity) -> Quantity:
    """P = T · ω, in kW."""
    return quantity(magnitude(torque, "N.m") * radians_per_second(speed) / 1000, "kW")


def torque_from_power(power: Quantity, speed: Quantity) -> Quantity:
    """T = P / ω, in N·m."""
    turning = radians_per_second(speed)
    if turning <= 0:
        raise EngineeringError("An engine that stands still gives no power: give its speed.")
    return quantity(magnitude(power, "kW") * 1000 / turning, "N.m")


def radians_per_second(speed: Quantity) -> float:
    """An engine speed as an angular velocity."""
    return magnitude(speed, "rpm") * 2 * math.pi / 60


def vapour_pressure(temperature: Quantity, humidity: float) -> Quantity:
    """Pressure of the water vapour in air, in kPa; humidity as a share of one.

    Magnus formula over water, 0.6112 · exp(17.62 · t / (243.12 + t)) kPa: WMO-No. 8, annex 4.B, from memory.
    """
    celsius = magnitude(temperature, "degC")
    return quantity(humidity * 0.6112 * math.exp(17.62 * celsius / (243.12 + celsius)), "kPa")


def spark_factor(dry: Quantity, temperature: Quantity) -> float:
    """ISO 1585, UN R85, spark ignition: αa = (99 / ps)^1.2 · (T / 298)^0.6."""
    return float(_air(dry) ** 1.2 * _warmth(temperature) ** 0.6)


def diesel_air_factor(dry: Quantity, temperature: Quantity, *, turbocharged: bool) -> float:
    """ISO 1585, UN R85, compression ignition: fa = (99/ps)·(T/298)^0.7, turbocharged (99/ps)^0.7·(T/298)^1.5.

    A mechanically charged engine counts with the naturally aspirated.
    """
    if turbocharged:
        return float(_air(dry) ** 0.7 * _warmth(temperature) ** 1.5)
    return float(_air(dry) * _warmth(temperature) ** 0.7)


def diesel_engine_exponent(fuel: float) -> float:
    """fm = 0.036 · qc − 1.14; 0.3 below qc = 40 and 1.2 above 65 mg per litre and cycle."""
    return min(max(0.036 * fuel - 1.14, 0.3), 1.2)


def diesel_factor(dry: Quantity, temperature: Quantity, fuel: float, *, turbocharged: bool) -> float:
    """αd = fa^fm. `fuel` is qc: mg of fuel per litre of displacement and cycle, over the boost pressure ratio."""
    return float(
        diesel_air_factor(dry, temperature, turbocharged=turbocharged) ** diesel_engine_exponent(fuel)
    )


def sae_factor(dry: Quantity, temperature: Quantity) -> float:
    """SAE J1349: cf = 1.18 · (99 / pd) · √((t + 273) / 298) − 0.18, t in °C."""
    return 1.18 * _air(dry) * math.sqrt((magnitude(temperature, "degC") + 273) / REFERENCE_KELVIN) - 0.18


def _air(dry: Quantity) -> float:
    pressure = magnitude(dry, "kPa")
    if pressure <= 0:
        raise EngineeringError(
            "The air's pressure without its water vapour is greater than zero: give both again."
        )
    return REFERENCE_KPA / pressure


def _warmth(temperature: Quantity) -> float:
    found = magnitude(temperature, "K")
    if found <= 0:
        raise EngineeringError("No temperature lies below −273.15 °C: give it again.")
    return found / REFERENCE_KELVIN
