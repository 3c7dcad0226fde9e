"""Load index and speed symbol of an axle's tyres against the axle's loads and the car's speed, as rows.

What is not known is taken at both of its ends: a row is inside or outside only where each end says the same.
"""

from __future__ import annotations

from dataclasses import dataclass

from workshop.engineering.axle_tyres import (
    Figures,
    asked_for,
    index_of,
    plain_number,
    size_of,
    symbol_of,
    text_of,
    twin_index_of,
)
from workshop.engineering.effect import CarFigures, Missing, Row, Standing
from workshop.engineering.tyre_size import speed_of
from workshop.engineering.tyres import (
    LOAD_MEMORY,
    LOAD_TABLE,
    LOADS,
    PUBLISHED_INDICES,
    needed_index,
    share_range,
)

_WHY_SPEED = "to hold the tyres' speed symbol against the car's greatest speed"
_WHY_LOAD = "to hold what the tyres carry against the axle's load"
_WHY_SHARE = "above 210 km/h a tyre carries less, by its speed symbol"
_WHY_TWIN = "twinned tyres carry by the second load index, such as 102 of 104/102"
INNER = ("inner_left", "inner_right")


@dataclass(frozen=True)
class Carrying:
    """What an axle's tyres carry, kg, at least and at most, by what is known. `words` name the load indices.

    `low` None: a second load index is not known, so that nothing can be said of the least. `share` and `tyres` are
    those of `high`. `unsure` are the keys' codes that would settle it, each with why.
    """

    low: float | None
    high: float
    words: str
    index: int
    share: float
    tyres: int
    unsure: tuple[tuple[str, str], ...]
    # The least share counted, where speed or symbol is not known; else that share itself.
    least_share: float

    @property
    def shown(self) -> str:
        if self.low is None:
            return f"at most {self.high:.0f} kg, {self.words}"
        between = "" if self.low == self.high else f"{self.low:.0f} to "
        return f"{between}{self.high:.0f} kg, {self.words}"

    def standing(self, mass: float) -> Standing:
        if self.high < mass:
            return Standing.OUTSIDE
        return Standing.INSIDE if self.low is not None and self.low >= mass else Standing.NOT_KNOWN


def counts_of(car: CarFigures, figures: Figures, axle: str) -> tuple[int, ...]:
    """How many tyres the axle has: as said, else two; two or four where a rear tyre may be twinned."""
    if said := text_of(figures, f"{axle}.tyres_on_axle"):
        return (int(said),)
    size = size_of(figures, axle)
    named = size is not None and size.twin_index is not None
    inner = any(part.position in INNER for part in car.parts)
    return (2, 4) if axle == "rear" and (named or inner) else (2,)


def carrying_of(car: CarFigures, figures: Figures, axle: str) -> Carrying | None:
    """None where the load index is not known, or is not in the table."""
    single = index_of(figures, axle)
    if single is None or single not in LOADS:
        return None
    speed, symbol = plain_number(figures, "driven_top_speed", "km/h"), symbol_of(figures, axle)
    low_share, high_share = share_range(symbol, speed)
    twin, counts = twin_index_of(figures, axle), counts_of(car, figures, axle)
    if twin not in LOADS:
        twin = None
    unsure: list[tuple[str, str]] = []
    if len(counts) > 1:
        unsure.append(("tyres_on_axle", "two or four tyres carry differently"))
    elif counts == (4,) and twin is None:
        unsure.append(("tyre_size", _WHY_TWIN))
    if low_share != high_share:
        unsure += [("speed_symbol", _WHY_SHARE)] if not symbol else []
        unsure += [("driven_top_speed", _WHY_SHARE)] if speed is None else []
    used = {count: twin if count == 4 and twin is not None else single for count in counts}
    each = {count: count * LOADS[index] for count, index in used.items()}
    most = max(counts)
    indices = "/".join(str(index) for index in dict.fromkeys(used.values()))
    return Carrying(
        None if 4 in counts and twin is None and len(counts) == 1 else min(each.values()) * low_share,
        each[most] * high_share,
        f"index {indices}",
        used[most],
        high_share,
        most,
        tuple(unsure),
        low_share,
    )


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
    carries, before = carrying_of(car, now, axle), carrying_of(car, car.factory, axle)
    if carries is None:
        return [], asked_for(car, axle, "load_index", _WHY_LOAD, factory=False, now=True)
    rows = []
    for mass, name, source in (
        (weighed, "weighed", "axle mass as weighed"),
        (permitted, "permitted", "greatest permitted axle mass"),
    ):
        if mass is None or (name == "permitted" and not parts):
            continue
        rows.append(
            Row(
                f"What the {axle} tyres carry, against the {name} axle mass",
                before.shown if before is not None else "–",
                carries.shown,
                _difference(before, carries),
                carries.standing(mass),
                _words(axle, name, carries, mass),
                f"{mass:.0f} kg",
                f"{source}; {LOAD_TABLE if carries.index in PUBLISHED_INDICES else LOAD_MEMORY}",
                parts,
            )
        )
    open_ = any(row.standing == Standing.NOT_KNOWN for row in rows)
    missing = _asked(car, axle, carries) if open_ else []
    # What the axle may weigh is no reason to weigh it, unless the tyres would not carry that.
    if rows and (weighed is not None or rows[0].standing == Standing.INSIDE):
        return rows, missing
    return rows, [*missing, Missing(f"{axle}.axle_mass_weighed", _WHY_LOAD)]


def _asked(car: CarFigures, axle: str, carries: Carrying) -> list[Missing]:
    asked: list[Missing] = []
    for code, why in carries.unsure:
        if code == "driven_top_speed":
            asked.append(Missing(code, why))
        elif code == "tyres_on_axle":
            asked.append(Missing(f"{axle}.{code}", why))
        else:
            asked += asked_for(car, axle, code, why, factory=False, now=True)
    return asked


def _difference(before: Carrying | None, after: Carrying) -> str:
    if before is None:
        return "–"
    return (
        "none" if before.words == after.words else f"{before.words} to {after.words.removeprefix('index ')}"
    )


# What is asked for, as it stands in a sentence.
_ASKED = {
    "tyres_on_axle": "how many tyres the axle has",
    "tyre_size": "the tyre size with both load indices",
    "speed_symbol": "the speed symbol",
    "driven_top_speed": "the car's greatest speed",
}


def _words(axle: str, name: str, carries: Carrying, mass: float) -> str:
    give = " and ".join(_ASKED[code] for code, _ in carries.unsure)
    needed = needed_index(mass, carries.share, carries.tyres)
    standing = carries.standing(mass)
    if standing == Standing.NOT_KNOWN:
        low = "less" if carries.low is None else f"as little as {carries.low:.0f} kg"
        return (
            f"May be too low for the {name} mass: they carry {carries.high:.0f} kg at the most, but it may be {low}. "
            f"Give {give}."
        )
    taken = ""
    if carries.least_share != carries.share:
        taken = (
            f" {carries.share * 100:.0f} % of their load was assumed; at {carries.least_share * 100:.0f} %, the least "
            "that it may be at the car's greatest speed, the answer is the same."
        )
    if standing == Standing.INSIDE:
        return f"They carry {carries.high - mass:.0f} kg more than the {name} mass.{taken}"
    if name == "weighed":
        return (
            f"The load index of the {axle} tyres is too low for the weighed load: {mass:.0f} kg lie on tyres that carry "
            f"{carries.high:.0f} kg. Unload the car, or fit tyres with index {needed} or more.{taken}"
        )
    return (
        f"They carry {mass - carries.high:.0f} kg less than the axle may weigh: weigh it as the car is used, or fit tyres "
        f"with index {needed} or more.{taken}"
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
