"""Cables, fuses, earths and batteries of a low-voltage vehicle network: formulas and tables.

Functions on quantities for the calculators; those ending in `_at` or said to be plain work on floats in the units
named, so that a report over many circuits stays quick. Direct current throughout.
"""

from __future__ import annotations

import math
from bisect import bisect_left

from workshop.engineering.declare import InputErrors, Kind, Source
from workshop.engineering.quantities import Quantity, magnitude, quantity

COPPER = Source("IEC 60028 (1925)", "standard annealed copper: 1/58 Ω·mm²/m at 20 °C, 0.003 93 per K")
AWG_SOURCE = Source("ASTM B258", "wire gauge: 0.005 in at 36, 0.46 in at 0000", Kind.FROM_MEMORY)
CABLE_MAXIMA = Source("ISO 6722-1", "greatest resistance of a conductor at 20 °C", Kind.FROM_MEMORY)
CARRIES_SOURCE = Source(
    "DIN VDE 0298-4",
    "one insulated flexible cable in free air at 30 °C, conductor at 70 °C, and its factors for other temperatures",
    Kind.FROM_MEMORY,
)
FUSE_SOURCE = Source("ISO 8820-3", "blade fuses, types C, E and F: ratings")
FUSE_TIMES_SOURCE = Source("ISO 8820-3", "colours, opening times of type C", Kind.FROM_MEMORY)
SHARE_SOURCE = Source("A fuse carries some 70 to 80 % of its rating for hours", kind=Kind.COMMON_PRACTICE)
DROP_SOURCE = Source(
    "Voltage drop of 3 % for critical loads, 5 % for others, 10 % for lamps and motors",
    kind=Kind.COMMON_PRACTICE,
)
EARTH_SOURCE = Source(
    "Drop under load of an earth up to 0.1 V, of the engine's earth 0.2 V, of a starter cable 0.5 V",
    kind=Kind.COMMON_PRACTICE,
)
REST_SOURCE = Source("State of charge by rest voltage of a 12 V battery at 25 °C", kind=Kind.COMMON_PRACTICE)

RESISTIVITY = 1 / 58  # Ω·mm²/m of annealed copper at 20 °C
PER_KELVIN = 0.003_93  # at 20 °C

# Greatest resistance of a cable's conductor at 20 °C in mΩ/m by its nominal section in mm²: ISO 6722-1, from memory.
CABLE_MAXIMUM = {
    0.35: 54.4, 0.5: 37.1, 0.75: 24.7, 1.0: 18.5, 1.5: 12.7, 2.5: 7.60, 4.0: 4.71, 6.0: 3.14, 10.0: 1.82,
    16.0: 1.16, 25.0: 0.743, 35.0: 0.527, 50.0: 0.368, 70.0: 0.259, 95.0: 0.196, 120.0: 0.153,
}  # fmt: skip
SECTIONS = tuple(CABLE_MAXIMUM)
GAUGES = {
    "22": 22, "20": 20, "18": 18, "16": 16, "14": 14, "12": 12, "10": 10, "8": 8, "6": 6, "4": 4, "2": 2, "1": 1,
    "0": 0, "00": -1, "000": -2, "0000": -3,
}  # fmt: skip

# Current in A that one cable carries for good, conductor at 70 °C in air of 30 °C, by section: from memory.
CARRIES_AT_30 = {
    0.75: 15.0, 1.0: 19.0, 1.5: 24.0, 2.5: 32.0, 4.0: 42.0, 6.0: 54.0, 10.0: 73.0, 16.0: 98.0, 25.0: 129.0,
    35.0: 158.0, 50.0: 198.0, 70.0: 245.0, 95.0: 292.0, 120.0: 344.0,
}  # fmt: skip
GAUGE_CHOICES = tuple((name, f"AWG {name}") for name in GAUGES)
INSULATIONS = (("70", "PVC, 70 °C"), ("90", "90 °C"), ("105", "thin-wall vehicle cable, 105 °C"))

# Blade fuses in A by type, with the body's colour (colours from memory).
_SMALL = {
    1: "black", 2: "grey", 3: "violet", 4: "pink", 5: "tan", 7.5: "brown", 10: "red", 15: "blue", 20: "yellow",
    25: "clear", 30: "green", 35: "blue-green", 40: "orange",
}  # fmt: skip
FUSES: dict[str, dict[float, str]] = {
    "F": {rating: _SMALL[rating] for rating in (2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30)},
    "C": dict(_SMALL),
    "E": {20: "yellow", 25: "grey", 30: "green", 35: "brown", 40: "orange", 50: "red", 60: "blue", 70: "tan", 80: "clear"},
}  # fmt: skip
FUSE_TYPES = (("C", "type C, medium blade"), ("F", "type F, small blade"), ("E", "type E, large blade"))
# Opening times of type C in s at a percentage of the rating: from memory.
FUSE_TIMES = ((110, 360_000.0, math.inf), (135, 0.75, 600.0), (160, 0.25, 50.0), (200, 0.15, 5.0),
              (350, 0.04, 0.5), (600, 0.02, 0.1))  # fmt: skip
CONTINUOUS_SHARE = 0.75

DROPS = (
    ("3", "critical: control units, pumps, charging (3 %)"),
    ("5", "other loads (5 %)"),
    ("10", "lamps and motors (10 %)"),
)
RETURNS = (("cable", "back through a cable like it"), ("body", "back through the body"))

# Rest voltage in V and state of charge in % of a 12 V battery with liquid acid at 25 °C: common practice.
REST_VOLTAGES = ((11.9, 0.0), (12.06, 25.0), (12.24, 50.0), (12.45, 75.0), (12.65, 100.0))
# A battery with its acid in fleece rests higher by 0.1 to 0.2 V: from memory.
FLEECE_HIGHER = (0.1, 0.15, 0.2)


def resistance_at(section_mm2: float, celsius: float) -> float:
    """Plain: resistance of one metre of copper in Ω at a temperature in °C; linear from 20 °C (IEC 60028)."""
    return RESISTIVITY / section_mm2 * warmth_at(celsius)


def warmth_at(celsius: float) -> float:
    """Plain: resistance at a temperature in °C over that at 20 °C."""
    return 1 + PER_KELVIN * (celsius - 20)


def gauge_section(gauge: int) -> Quantity:
    """Section of a wire gauge number (AWG; 00 is −1, 0000 is −3): 0.127 mm · 92^((36−n)/39) across."""
    diameter = 0.127 * 92 ** ((36 - gauge) / 39)
    return quantity(math.pi / 4 * diameter**2, "mm2")


def section_of(section: Quantity | None, gauge: str | None) -> Quantity:
    """The section, given as such or as a gauge number of `GAUGES`. Refuses both and neither."""
    if section is not None and gauge:
        raise InputErrors({"gauge": "Give the cross-section or the gauge number, not both."})
    if section is None and not gauge:
        raise InputErrors(
            {"section": "Give the cross-section, 0.1 to 150 mm², or choose a gauge number below."}
        )
    return section if section is not None else gauge_section(GAUGES[gauge or ""])


def resistance_per_length(section: Quantity, temperature: Quantity) -> Quantity:
    """ρ · (1 + α · (T − 20 °C)) / A."""
    return quantity(1000 * resistance_at(magnitude(section, "mm2"), magnitude(temperature, "degC")), "mohm/m")


def cable_resistance(section: Quantity, length: Quantity, temperature: Quantity) -> Quantity:
    """Resistance of one conductor from end to end."""
    whole: Quantity = resistance_per_length(section, temperature) * length
    return whole


def voltage_drop(current: Quantity, resistance: Quantity) -> Quantity:
    """U = I · R, over the whole way that the current takes."""
    drop: Quantity = current * resistance
    return drop


def least_section(current: Quantity, way: Quantity, drop: Quantity, temperature: Quantity) -> Quantity:
    """The section at which the way out and back drops no more than that: A = I · ρ(T) · l / U."""
    volts = magnitude(drop, "V")
    if volts <= 0:
        raise InputErrors({"": "With no drop allowed, no cable is thick enough. Allow a little more."})
    square = resistance_at(1.0, magnitude(temperature, "degC"))
    return quantity(magnitude(current, "A") * square * magnitude(way, "m") / volts, "mm2")


def next_section(least_mm2: float) -> float | None:
    """Plain: the next standard section in mm²; None above the largest of the table."""
    # A hair of tolerance, so that 2.5 computed as 2.500 000 000 1 stays 2.5.
    place = bisect_left(SECTIONS, least_mm2 * (1 - 1e-9))
    return SECTIONS[place] if place < len(SECTIONS) else None


def next_gauge(least_mm2: float) -> str | None:
    """Plain: the thinnest wire gauge of at least that section in mm²; None above 0000."""
    for name, number in GAUGES.items():
        if magnitude(gauge_section(number), "mm2") >= least_mm2 * (1 - 1e-9):
            return name
    return None


def carries_at(section_mm2: float, surroundings_celsius: float, conductor_celsius: float = 70) -> float:
    """Plain: the current in A that one cable in free air carries for good. 0 where the air is as hot as it may get.

    The table's current at 30 °C and a conductor of 70 °C, between its rows along a straight line of the
    logarithms; thinner than 0.75 mm² that line goes on. At other temperatures the heat that leaves is taken as
    proportional to the difference of temperatures: √((θ − T) / 40 K), and for a conductor other than 70 °C by its
    resistance there too. At 70 °C these are the factors of DIN VDE 0298-4.
    """
    if surroundings_celsius >= conductor_celsius:
        return 0.0
    rows = list(CARRIES_AT_30.items())
    place = min(max(bisect_left(rows, (section_mm2, 0.0)), 1), len(rows) - 1)
    (low, low_current), (high, high_current) = rows[place - 1], rows[place]
    steep = math.log(high_current / low_current) / math.log(high / low)
    at_30 = low_current * (section_mm2 / low) ** steep
    warmer = (conductor_celsius - surroundings_celsius) / 40 * warmth_at(70) / warmth_at(conductor_celsius)
    return float(at_30 * math.sqrt(warmer))


def least_section_to_carry(current_a: float, surroundings: float, conductor: float = 70) -> float | None:
    """Plain: the first standard section in mm² that carries a current in A; None where none does."""
    return next(
        (each for each in SECTIONS if carries_at(each, surroundings, conductor) >= current_a * (1 - 1e-9)),
        None,
    )


def next_fuse(current_a: float, kind: str = "C", share: float = CONTINUOUS_SHARE) -> float | None:
    """Plain: the least rating in A of this type that carries a current in A for hours; None above the largest."""
    least = current_a / share
    return next((rating for rating in FUSES[kind] if rating >= least * (1 - 1e-9)), None)


def state_of_charge(rest_voltage: float, higher: float = 0.0) -> float:
    """Plain: state of charge in % from a rest voltage in V, on straight lines between the table's rows.

    `higher` is how much higher than liquid acid this battery rests. Held at 0 and 100 % beyond the table's ends.
    """
    volts = rest_voltage - higher
    (first, least), *rest = REST_VOLTAGES
    if volts <= first:
        return least
    for at, charge in rest:
        if volts <= at:
            return least + (charge - least) * (volts - first) / (at - first)
        first, least = at, charge
    return least


def hours_to_flat(capacity_ah: float, usable: float, current_a: float) -> float:
    """Plain: hours in which a current in A takes the usable share (0 to 1) of a capacity in Ah: C · u / I."""
    return capacity_ah * usable / current_a


def time_to_flat(capacity: Quantity, usable: Quantity, current: Quantity) -> Quantity:
    """The same on quantities. Neither the loss within the battery nor its age is in it."""
    time: Quantity = capacity * usable / current
    return time
