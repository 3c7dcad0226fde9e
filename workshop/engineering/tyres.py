"""Tyres and wheels: circumference, speedometer, load, and where another wheel puts the tyre.

Sources: diameter by the size itself (ISO 4000-1); speedometer UN R39, 5.3; load indices and the loads above
210 km/h UN R30 (ISO 4000-1). A circumference here is π times the diameter; under the car a radial rolls a few
per cent less, so a comparison uses the same kind on both sides.
"""

from __future__ import annotations

import math

from workshop.engineering.declare import Kind, Source
from workshop.engineering.plot import Axis, Band, Line, Plot, Point
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.tyre_size import MM_PER_INCH, TyreError, TyreSize, speed_of

# Dynamic rolling circumference of a radial over its diameter (ETRTO). From memory.
ROLLING_FACTOR = 3.05

# kg for one tyre. 71 to 110 from two public tables; 50 to 70 and 111 to 160 from memory, all within 2 % of the
# series 45 · 10^(LI/80) that the index is built on.
LOADS: dict[int, int] = dict(
    enumerate(
        (
            190, 195, 200, 206, 212, 218, 224, 230, 236, 243,
            250, 257, 265, 272, 280, 290, 300, 307, 315, 325,
            335, 345, 355, 365, 375, 387, 400, 412, 425, 437,
            450, 462, 475, 487, 500, 515, 530, 545, 560, 580,
            600, 615, 630, 650, 670, 690, 710, 730, 750, 775,
            800, 825, 850, 875, 900, 925, 950, 975, 1000, 1030,
            1060, 1090, 1120, 1150, 1180, 1215, 1250, 1285, 1320, 1360,
            1400, 1450, 1500, 1550, 1600, 1650, 1700, 1750, 1800, 1850,
            1900, 1950, 2000, 2060, 2120, 2180, 2240, 2300, 2360, 2430,
            2500, 2575, 2650, 2725, 2800, 2900, 3000, 3075, 3150, 3250,
            3350, 3450, 3550, 3650, 3750, 3875, 4000, 4125, 4250, 4375, 4500,
        ),
        start=50,
    )
)  # fmt: skip

PUBLISHED_INDICES = range(71, 111)

# km/h: up to this speed every tyre may carry its whole load.
FULL_LOAD_TO = 210
# Above this speed (km/h) the load falls by so much (a share) for each km/h: V to 91 % at 240, W to 85 % at 270.
_FULL_LOAD_TO: dict[str, tuple[float, float]] = {"V": (210, 0.003), "W": (240, 0.005), "Y": (270, 0.005)}

R39 = Source("UN Regulation No. 39", "5.3, as quoted: 0 ≤ V1 − V2 ≤ V2/10 + 4 km/h")
SIZE = Source(
    "ISO 4000-1", "designation of a tyre: diameter = rim + 2 · width · height/100", Kind.FROM_MEMORY
)
LOAD_TABLE = Source("UN Regulation No. 30, load capacity indices (ISO 4000-1)", "indices 71 to 110")
LOAD_MEMORY = Source(
    "UN Regulation No. 30, load capacity indices", "indices outside 71 to 110", Kind.FROM_MEMORY
)
LOAD_FAST = Source(
    "UN Regulation No. 30", "load above 210 km/h: the steps between the ends", Kind.FROM_MEMORY
)

PLY_WORDS = "A ply rating (PR) is read past: what the tyre carries says its load index."

# Room for what a float leaves of an exact sum.
_HAIR = 1e-9


def circumference(diameter: Quantity) -> Quantity:
    """The way of one turn, π times a diameter; a length."""
    return quantity(math.pi * magnitude(diameter, "mm"), "mm")


def turns_per(distance: Quantity, round_: Quantity) -> float:
    """How often a tyre of a circumference turns over a distance."""
    return magnitude(distance, "km") * 1e6 / magnitude(round_, "mm")


def size_circumference(size: TyreSize) -> float:
    """The circumference by the size, mm."""
    return math.pi * size.diameter


def shown_speed(true: Quantity, overread: Quantity, change: float) -> Quantity:
    """What the speedometer shows. `overread`: how much too high it showed with the factory's tyre (a ratio);
    `change`: circumference now over the factory's."""
    share = magnitude(overread, "%") / 100
    shown: Quantity = true * ((1 + share) / change)
    return shown


def shown_at(true: float, overread: float, change: float) -> float:
    """`shown_speed` in plain numbers, for the points of a curve: both speeds in km/h, `overread` as a fraction."""
    return true * (1 + overread) / change


def r39_excess(shown: Quantity, true: Quantity) -> Quantity:
    """How far a speedometer lies outside UN R39's band at one speed: negative below it, positive above, 0 inside."""
    return quantity(r39_off(magnitude(shown, "km/h"), magnitude(true, "km/h")), "km/h")


def r39_off(shown: float, true: float) -> float:
    """`r39_excess` in plain numbers, km/h."""
    over = shown - true
    most = true / 10 + 4
    if over < -_HAIR:
        return over
    return over - most if over > most + _HAIR else 0.0


def load_of(index: int) -> Quantity:
    """What one tyre of a load index carries, a mass. Refuses an index outside the table with `TyreError`."""
    return quantity(load_kg(index), "kg")


def load_kg(index: int) -> int:
    """`load_of` in kg."""
    if index not in LOADS:
        raise TyreError(f"Load index {index} is not in the table: it goes from {min(LOADS)} to {max(LOADS)}.")
    return LOADS[index]


def load_share(symbol: str, speed: Quantity) -> float:
    """The part of its load that a tyre may carry at a speed, as a fraction. Refuses a speed above the symbol's."""
    return share_at(symbol, magnitude(speed, "km/h"))


def share_at(symbol: str, speed: float) -> float:
    """`load_share` with the speed in km/h."""
    tidy, most = symbol.strip().upper(), speed_of(symbol)
    if speed > most + _HAIR:
        raise TyreError(f"{speed:.0f} km/h is faster than speed symbol {tidy} goes: {most} km/h.")
    if tidy not in _FULL_LOAD_TO:
        return 1.0
    full, fall = _FULL_LOAD_TO[tidy]
    return 1 - max(0.0, speed - full) * fall


def share_range(symbol: str, speed: float | None) -> tuple[float, float]:
    """The least and the greatest part of its load that counts, where symbol ("") or speed in km/h may not be known.

    A car faster than its tyres is taken at their speed. Without a symbol it may be each of those that lose load.
    """
    symbols = (symbol,) if symbol else tuple(_FULL_LOAD_TO)
    shares = [share_at(one, min(speed if speed is not None else math.inf, speed_of(one))) for one in symbols]
    return min(shares), shares[0] if symbol and speed is not None else 1.0


def needed_index(load: float, share: float, tyres: int) -> str:
    """The lowest load index with which so many tyres carry a load in kg at a share; "over 160" past the table."""
    for index, each in LOADS.items():
        if each * share * tyres >= load:
            return str(index)
    return f"over {max(LOADS)}"


def track_change(offset_from: Quantity, offset_to: Quantity, spacers: Quantity) -> Quantity:
    """How much wider the track gets: less offset or a spacer moves each wheel outwards, so twice that.

    `spacers`: spacer now less spacer before, one side; all lengths.
    """
    each: Quantity = offset_from - offset_to + spacers
    both: Quantity = each + each
    return both


def edges_moved(
    width_from: Quantity, width_to: Quantity, offset_from: Quantity, offset_to: Quantity, spacers: Quantity
) -> tuple[Quantity, Quantity]:
    """How far the rim's outer edge moves outwards, and its inner edge inwards (towards strut and chassis)."""
    outwards = offset_from - offset_to + spacers
    wider = (width_to - width_from) / 2
    return wider + outwards, wider - outwards


def inches_as_mm(inches: float) -> float:
    return inches * MM_PER_INCH


def speedometer_plot(
    change: float, overread: float, factory_overread: float | None = None, highest: float = 180
) -> Plot:
    """Speedometer error over the true speed, km/h, with the band of UN R39.

    `overread` and `factory_overread` as fractions; the factory's line is drawn where the tyre's size changed.
    """
    speeds = [highest * step / 18 for step in range(19)]
    now: list[Point] = [(v, shown_at(v, overread, change) - v) for v in speeds]
    lines = [Line("this car", tuple(now), "this")]
    if factory_overread is not None:
        before = tuple((v, shown_at(v, factory_overread, 1) - v) for v in speeds)
        lines.append(Line("factory tyre", before, "factory"))
    floor, roof = tuple((v, 0.0) for v in speeds), tuple((v, v / 10 + 4) for v in speeds)
    values = [y for line in lines for _, y in line.points]
    at = [v for v in (40, 80, 120) if v <= highest]
    return Plot(
        slug="speedometer-error",
        title="Speedometer error over the true speed",
        x=Axis("True speed, km/h", 0, highest),
        y=Axis("Shown too much, km/h", min(0.0, *values) - 4, max(roof[-1][1], *values) + 2),
        summary=_speedometer_words(change, overread, at),
        lines=tuple(lines),
        bands=(Band("UN R39", floor, roof),),
        head=("True, km/h", "Shown, km/h", "UN R39 band, km/h"),
        rows=tuple(
            (f"{v}", f"{shown_at(v, overread, change):.1f}", f"{v} to {v + v / 10 + 4:.0f}") for v in at
        ),
    )


def _speedometer_words(change: float, overread: float, at: list[int]) -> str:
    drawn = f"Drawn for a speedometer that showed {overread * 100:.3g} % too much with the factory's tyre. "
    off = [(v, r39_off(shown_at(v, overread, change), v)) for v in at]
    low, high = [v for v, x in off if x < 0], [v for v, x in off if x > 0]
    if low:
        return f"{drawn}The line lies below zero at {_listed(low)} km/h: the speedometer shows less than the car does there."
    if high:
        return f"{drawn}The line lies above the band of UN R39 at {_listed(high)} km/h: the speedometer shows too much there."
    return f"{drawn}At {_listed(at)} km/h the line lies in the band of UN R39: never below the true speed, never far above it."


def _listed(speeds: list[int]) -> str:
    texts = [str(v) for v in speeds]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"
