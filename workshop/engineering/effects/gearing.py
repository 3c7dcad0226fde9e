"""Another gearbox, final drive, limiter or tyre: speed for the engine's speed, gear by gear."""

from __future__ import annotations

from workshop.engineering.axle_tyres import (
    TYRE_CODES,
    Figures,
    Rolling,
    as_fitted,
    plain_number,
    rolling_of,
)
from workshop.engineering.declare import Kind, Source
from workshop.engineering.effect import (
    CarFigures,
    Effect,
    Missing,
    Row,
    Standing,
    Topic,
    change_in_percent,
)
from workshop.engineering.gearing import gears_plot, per_thousand
from workshop.engineering.items import AXLES
from workshop.engineering.plot import Plot

GEARS = tuple(f"gear_ratio_{n}" for n in range(1, 9))
OWN = (*GEARS, "final_drive_ratio", "limiter")
TYRES = tuple(f"{axle}.{code}" for axle in AXLES for code in TYRE_CODES)
_WHY = "to work out the speed for the engine's speed"


def work(car: CarFigures) -> Topic | None:
    drive = car.parts_for(OWN)
    tyres = car.parts_for(TYRES)
    # Other tyres alone ask for no gear ratios: what they do stands under the tyres.
    if not drive and not (tyres and "final_drive_ratio" in car.factory):
        return None
    now = as_fitted(car)
    before_ratios, after_ratios = _overall(car.factory), _overall(now)
    rows = _ratio_rows(car, now, before_ratios, after_ratios)
    missing: list[Missing] = []
    if "final_drive_ratio" not in car.factory:
        missing.append(Missing("final_drive_ratio", _WHY))
    if not before_ratios or not after_ratios:
        missing += [Missing(key, _WHY) for key in _gears_asked(car)]
    rolling, asked = _rolling(car, now)
    missing += asked
    plots: tuple[Plot, ...] = ()
    if rolling is not None and before_ratios and after_ratios:
        parts = tuple(part.id for part in (*drive, *tyres))
        before = {n: per_thousand(rolling.factory, ratio) for n, ratio in before_ratios.items()}
        after = {n: per_thousand(rolling.now, ratio) for n, ratio in after_ratios.items()}
        rows += _speed_rows(car, now, before, after, parts)
        limiter = plain_number(now, "limiter", "rpm")
        if limiter is None:
            missing.append(Missing("limiter", "to work out the speed at the limiter"))
        else:
            plots = (gears_plot(_named(after), limiter, _named(before)),)
    return Topic(
        "gearing",
        "Gearing",
        tuple(rows),
        plots,
        tuple(dict.fromkeys(missing)),
        notes=tuple(_notes(car, rolling, bool(drive))),
        sources=(Source("Gearing without slip", "", Kind.MECHANICS),),
        calculator="gear-comparison",
    )


def _overall(figures: Figures) -> dict[int, float]:
    """Turns of the engine for one of the wheel, by gear; empty without final drive or gears."""
    final = plain_number(figures, "final_drive_ratio", "1")
    if final is None:
        return {}
    found = {}
    for n, key in enumerate(GEARS, start=1):
        ratio = plain_number(figures, key, "1")
        if ratio is not None:
            found[n] = ratio * final
    return found


def _gears_asked(car: CarFigures) -> list[str]:
    """The first and the highest usual gear, where no gear is known at all."""
    known = any(key in car.factory for key in GEARS)
    return [] if known else [GEARS[0], GEARS[4]]


def _rolling(car: CarFigures, now: Figures) -> tuple[Rolling | None, list[Missing]]:
    """The driven axle is not on record: the front one's circumference, else the rear one's."""
    asked: list[Missing] = []
    for axle in AXLES:
        found, missing = rolling_of(car, axle, now)
        if found is not None:
            return found, []
        asked = asked or missing
    return None, asked


def _ratio_rows(
    car: CarFigures, now: Figures, before: dict[int, float], after: dict[int, float]
) -> list[Row]:
    rows = []
    final = car.parts_for(("final_drive_ratio",))
    old, new = (plain_number(side, "final_drive_ratio", "1") for side in (car.factory, now))
    if final and old is not None and new is not None:
        rows.append(
            Row(
                "Final drive ratio",
                f"{old:.3f}",
                f"{new:.3f}",
                change_in_percent(old, new),
                Standing.AS_FACTORY if old == new else Standing.CHANGED,
                "Where the speedometer is driven from the gearbox, it is wrong by as much."
                if old != new
                else "",
                parts=tuple(part.id for part in final),
            )
        )
    if before and after:
        top_before, top_after = max(before), max(after)
        parts = tuple(part.id for part in car.parts_for((*GEARS, "final_drive_ratio")))
        if parts:
            rows.append(
                Row(
                    f"Overall ratio in gear {top_after}",
                    f"{before[top_before]:.3f}",
                    f"{after[top_after]:.3f}",
                    change_in_percent(before[top_before], after[top_after]),
                    _standing(before[top_before], after[top_after]),
                    "" if top_before == top_after else f"The factory's highest gear is gear {top_before}.",
                    parts=parts,
                )
            )
    return rows


def _standing(before: float, after: float) -> Standing:
    return Standing.AS_FACTORY if abs(after / before - 1) < 0.0005 else Standing.CHANGED


def _speed_rows(
    car: CarFigures, now: Figures, before: dict[int, float], after: dict[int, float], parts: tuple[str, ...]
) -> list[Row]:
    one, other = before[max(before)], after[max(after)]
    rows = [
        Row(
            "Speed for 1000 min⁻¹ in the highest gear",
            f"{one:.2f} km/h",
            f"{other:.2f} km/h",
            change_in_percent(one, other),
            _standing(one, other),
            f"At 100 km/h the engine turns {100000 / other:.0f} min⁻¹, before {100000 / one:.0f} min⁻¹.",
            parts=parts,
        )
    ]
    limits = plain_number(car.factory, "limiter", "rpm"), plain_number(now, "limiter", "rpm")
    for n in sorted(set(before) & set(after)):
        if limits[0] is None or limits[1] is None:
            break
        slow, fast = before[n] * limits[0] / 1000, after[n] * limits[1] / 1000
        rows.append(
            Row(
                f"Speed at the limiter in gear {n}",
                f"{slow:.0f} km/h",
                f"{fast:.0f} km/h",
                change_in_percent(slow, fast),
                _standing(slow, fast),
                f"At {limits[1]:.0f} min⁻¹.",
                parts=parts,
            )
        )
    return rows


def _named(of: dict[int, float]) -> list[tuple[str, float]]:
    return [(f"gear {n}", each) for n, each in of.items()]


def _notes(car: CarFigures, rolling: Rolling | None, drive: bool) -> list[str]:
    notes = [
        "Speeds that the gearing gives, without slip; whether the engine's power reaches them is another question."
    ]
    if rolling is not None:
        notes.append(f"Worked out with the {rolling.axle} tyres; look whether these are driven.")
    if 0 < sum(bool(car.parts_for((key,))) for key in GEARS) < sum(key in car.now for key in GEARS):
        notes.append("Gears that the fitted part says nothing of are taken as the factory's.")
    if not drive:
        notes.append("Gearbox and final drive are the factory's: the tyres alone change the gearing.")
    return notes


EFFECT = Effect("gearing", "Gearing", 30, work)
