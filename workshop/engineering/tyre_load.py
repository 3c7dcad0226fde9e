"""Load index and speed symbol of an axle's tyres against the axle's loads and the car's speed, as rows."""

from __future__ import annotations

from workshop.engineering.axle_tyres import Figures, asked_for, index_of, plain_number, symbol_of
from workshop.engineering.effect import CarFigures, Missing, Row, Standing
from workshop.engineering.tyre_size import speed_of
from workshop.engineering.tyres import (
    LOAD_MEMORY,
    LOAD_TABLE,
    LOADS,
    PUBLISHED_INDICES,
    needed_index,
    share_at,
)

_WHY_SPEED = "to hold the tyres' speed symbol against the car's greatest speed"
_WHY_LOAD = "to hold what the tyres carry against the axle's load"
INNER = ("inner_left", "inner_right")


def load_rows(
    car: CarFigures, now: Figures, axle: str, parts: tuple[str, ...]
) -> tuple[list[Row], list[Missing]]:
    """What the tyres of an axle carry, against the weighed and the permitted mass of it; a row for each that is known.

    Asked only where a tyre was changed or the axle was weighed: otherwise nothing differs from the factory.
    """
    weighed = plain_number(now, f"{axle}.axle_mass_weighed", "kg")
    permitted = plain_number(now, f"{axle}.axle_mass_limit", "kg")
    if not parts and weighed is None:
        return [], []
    twinned = any(part.position in INNER for part in car.parts) and axle == "rear"
    tyres = 4 if twinned else 2
    index = index_of(now, axle, twinned)
    if index is None or index not in LOADS:
        return [], asked_for(car, axle, "load_index", _WHY_LOAD, factory=False, now=True)
    share = _share(now, axle)
    carries = tyres * LOADS[index] * share
    before = index_of(car.factory, axle, twinned)
    factory = (
        f"{tyres * LOADS[before] * _share(car.factory, axle):.0f} kg, index {before}"
        if before in LOADS
        else "–"
    )
    rows = []
    for mass, name, source in (
        (weighed, "weighed", "axle mass as weighed"),
        (permitted, "permitted", "greatest permitted axle mass"),
    ):
        if mass is None or (name == "permitted" and not parts):
            continue
        low = carries < mass
        rows.append(
            Row(
                f"What the {axle} tyres carry, against the {name} axle mass",
                factory,
                f"{carries:.0f} kg, index {index}",
                _difference(before, index),
                Standing.OUTSIDE if low else Standing.INSIDE,
                _words(axle, name, carries, mass, needed_index(mass, share, tyres)),
                f"{mass:.0f} kg",
                f"{source}; {LOAD_TABLE if index in PUBLISHED_INDICES else LOAD_MEMORY}",
                parts,
            )
        )
    # What the axle may weigh is no reason to weigh it, unless the tyres would not carry that.
    if rows and (weighed is not None or rows[0].standing == Standing.INSIDE):
        return rows, []
    return rows, [Missing(f"{axle}.axle_mass_weighed", _WHY_LOAD)]


def _share(figures: Figures, axle: str) -> float:
    """The part of the load that counts at the car's greatest speed; 1 where speed or symbol is not known."""
    speed, symbol = plain_number(figures, "driven_top_speed", "km/h"), symbol_of(figures, axle)
    if speed is None or not symbol:
        return 1.0
    return share_at(symbol, min(speed, speed_of(symbol)))


def _difference(before: int | None, after: int) -> str:
    if before is None:
        return "–"
    return "none" if before == after else f"index {before} to {after}"


def _words(axle: str, name: str, carries: float, mass: float, needed: str) -> str:
    if carries >= mass:
        return f"They carry {carries - mass:.0f} kg more than the {name} mass."
    if name == "weighed":
        return (
            f"The load index of the {axle} tyres is too low for the weighed load: {mass:.0f} kg lie on tyres that carry "
            f"{carries:.0f} kg. Unload the car, or fit tyres with index {needed} or more."
        )
    return (
        f"They carry {mass - carries:.0f} kg less than the axle may weigh: weigh it as the car is used, or fit tyres "
        f"with index {needed} or more."
    )


def speed_rows(
    car: CarFigures, now: Figures, axle: str, parts: tuple[str, ...]
) -> tuple[list[Row], list[Missing]]:
    """The speed symbol against the car's greatest speed, where a tyre was changed and both are known."""
    speed, symbol = plain_number(now, "driven_top_speed", "km/h"), symbol_of(now, axle)
    if not parts:
        return [], []
    if not symbol:
        return [], asked_for(car, axle, "speed_symbol", _WHY_SPEED, factory=False, now=True)
    if speed is None:
        return [], [Missing("driven_top_speed", _WHY_SPEED)]
    goes, before = speed_of(symbol), symbol_of(car.factory, axle)
    slow = goes < speed
    return [
        Row(
            f"Speed symbol, {axle}",
            f"{before}, {speed_of(before)} km/h" if before else "–",
            f"{symbol}, {goes} km/h",
            "–" if not before else "none" if before == symbol else f"{before} to {symbol}",
            Standing.OUTSIDE if slow else Standing.INSIDE,
            f"The tyres go to {goes} km/h, the car runs {speed:.0f} km/h."
            + (" Drive no faster than the tyres go." if slow else ""),
            f"{speed:.0f} km/h",
            "greatest speed of the car",
            parts,
        )
    ], []
