"""Another gearbox, final drive, limiter or tyre: speed for the engine's speed, gear by gear."""

from __future__ import annotations

from dataclasses import dataclass

from workshop.engineering.axle_tyres import (
    TYRE_CODES,
    Figures,
    Rolling,
    as_fitted,
    plain_number,
    rolling_of,
    text_of,
)
from workshop.engineering.declare import Kind, Source
from workshop.engineering.effect import (
    CarFigures,
    Effect,
    Figure,
    Missing,
    Part,
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
# Closer than this to the factory's is the factory's.
ALIKE = 0.0005
_WHY_DRIVEN = "the gearing changes with the tyres of the driven axle alone"
_WHY_LIMITER = "the factory's, to hold the limiter against it"
_WHY = "to work out the speed for the engine's speed"


def work(car: CarFigures) -> Topic | None:
    drive = car.parts_for(OWN)
    driven = _driven(car)
    tyres = car.parts_for(tuple(f"{axle}.{code}" for axle in driven for code in TYRE_CODES))
    # Other tyres alone ask for no gear ratios: what they do stands under the tyres.
    if not drive and not (tyres and "final_drive_ratio" in car.factory):
        return None
    now, dropped = _without_factory_gears(car, as_fitted(car))
    before_ratios, after_ratios = _overall(car.factory), _overall(now)
    rows = _ratio_rows(car, now, before_ratios, after_ratios)
    missing: list[Missing] = []
    if "final_drive_ratio" not in car.factory:
        missing.append(Missing("final_drive_ratio", _WHY))
    if not before_ratios or not after_ratios:
        missing += [Missing(key, _WHY) for key in _gears_asked(car)]
    rolling, asked = _rolling(car, now, driven, bool(drive))
    missing += asked
    plots: tuple[Plot, ...] = ()
    if rolling and before_ratios and after_ratios:
        limiter = plain_number(now, "limiter", "rpm")
        for one in rolling:
            before = {n: per_thousand(one.of.factory, ratio) for n, ratio in before_ratios.items()}
            after = {n: per_thousand(one.of.now, ratio) for n, ratio in after_ratios.items()}
            ids = tuple(dict.fromkeys(part.id for part in (*drive, *one.tyres)))
            rows += _speed_rows(car, now, before, after, ids, one.suffix)
            # One picture: that of the axle that changed most.
            if limiter is not None and one is max(rolling, key=lambda each: abs(each.of.change - 1)):
                plots = (gears_plot(_named(after), limiter, _named(before)),)
        if limiter is None:
            missing.append(Missing("limiter", "to work out the speed at the limiter"))
        elif "limiter" not in car.factory:
            missing.append(Missing("limiter", _WHY_LIMITER))
    return Topic(
        "gearing",
        "Gearing",
        tuple(rows),
        plots,
        tuple(dict.fromkeys(missing)),
        notes=tuple(_notes(car, rolling, bool(drive), dropped)),
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


def _driven(car: CarFigures) -> tuple[str, ...]:
    """The axles that may drive the car: the one on record, else both."""
    known = text_of(car.now, "driven_axle")
    return (known,) if known in AXLES else AXLES


def _without_factory_gears(car: CarFigures, now: dict[str, Figure]) -> tuple[dict[str, Figure], int]:
    """Another gearbox does not have the gears of the factory's above its own highest; that one, 0 if none was dropped."""
    highest = max((n for n, key in enumerate(GEARS, 1) if car.parts_for((key,))), default=len(GEARS))
    above = {key for key in GEARS[highest:] if key in now and now[key] is car.factory.get(key)}
    left = {key: figure for key, figure in now.items() if key not in above}
    return left, highest if len(left) < len(now) else 0


@dataclass(frozen=True)
class Turning:
    """The tyres that may drive the car. `suffix` says "if driven from …" where that is not known and matters."""

    of: Rolling
    tyres: tuple[Part, ...]
    suffix: str = ""


def _rolling(
    car: CarFigures, now: Figures, driven: tuple[str, ...], drive: bool
) -> tuple[list[Turning], list[Missing]]:
    """The circumference of the driven axle; of each that it may be, where they are not alike.

    An axle on which nothing changed is left out where the gearing did not change either.
    """
    known = text_of(car.now, "driven_axle") != ""
    found: list[Turning] = []
    asked: list[Missing] = []
    replaced = False
    for axle in driven:
        one, missing = rolling_of(car, axle, now)
        tyres = car.parts_for(tuple(f"{axle}.{code}" for code in TYRE_CODES))
        replaced = replaced or bool(tyres)
        if one is not None:
            found.append(Turning(one, tyres))
        elif tyres or not asked:
            asked = missing
    whole = len(found) == len(driven)
    if whole and all(_alike(found[0].of, one.of) for one in found):
        tyres = tuple(part for one in found for part in one.tyres)
        return [Turning(found[0].of, tyres)], []
    # Tyres of the other axle are asked for only where they were replaced, or where no axle is known.
    wanted = asked if not found or any("@" in one.key for one in asked) else []
    if not known:
        wanted = [*wanted, Missing("driven_axle", _WHY_DRIVEN)] if found or replaced else wanted
    told = len(found) > 1 or replaced
    lead = ", " if known else ", if driven from the "
    return [
        Turning(one.of, one.tyres, f"{lead}{one.of.axle}" if told else "")
        for one in found
        if drive or one.tyres
    ], wanted


def _alike(one: Rolling, other: Rolling) -> bool:
    return abs(one.now / other.now - 1) < ALIKE and abs(one.factory / other.factory - 1) < ALIKE


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
    return Standing.AS_FACTORY if abs(after / before - 1) < ALIKE else Standing.CHANGED


def _speed_rows(
    car: CarFigures,
    now: Figures,
    before: dict[int, float],
    after: dict[int, float],
    parts: tuple[str, ...],
    suffix: str,
) -> list[Row]:
    one, other = before[max(before)], after[max(after)]
    rows = [
        Row(
            f"Speed for 1000 min⁻¹ in the highest gear{suffix}",
            f"{one:.2f} km/h",
            f"{other:.2f} km/h",
            change_in_percent(one, other),
            _standing(one, other),
            f"At 100 km/h the engine turns {100000 / other:.0f} min⁻¹, before {100000 / one:.0f} min⁻¹.",
            parts=parts,
        )
    ]
    factory, limiter = plain_number(car.factory, "limiter", "rpm"), plain_number(now, "limiter", "rpm")
    for n in sorted(set(before) & set(after)):
        if limiter is None:
            break
        slow, fast = before[n] * factory / 1000 if factory is not None else None, after[n] * limiter / 1000
        rows.append(
            Row(
                f"Speed at the limiter in gear {n}{suffix}",
                f"{slow:.0f} km/h" if slow is not None else "–",
                f"{fast:.0f} km/h",
                change_in_percent(slow, fast) if slow is not None else "–",
                _standing(slow, fast) if slow is not None else Standing.NOT_KNOWN,
                f"At {limiter:.0f} min⁻¹."
                + ("" if slow is not None else " The factory's limiter is not known."),
                parts=parts,
            )
        )
    return rows


def _named(of: dict[int, float]) -> list[tuple[str, float]]:
    return [(f"gear {n}", each) for n, each in of.items()]


def _notes(car: CarFigures, rolling: list[Turning], drive: bool, dropped: int) -> list[str]:
    notes = [
        "Speeds that the gearing gives, without slip; whether the engine's power reaches them is another question."
    ]
    if len(rolling) == 1 and not rolling[0].suffix and not text_of(car.now, "driven_axle"):
        notes.append(f"Worked out with the {rolling[0].of.axle} tyres; look whether these are driven.")
    named = [n for n, key in enumerate(GEARS, 1) if car.parts_for((key,))]
    if any(key in car.factory for n, key in enumerate(GEARS[: max(named, default=0)], 1) if n not in named):
        notes.append("Gears that the fitted part says nothing of are taken as the factory's.")
    if dropped:
        notes.append(
            f"The fitted gearbox is taken to end with gear {dropped}, the highest on record of it: the factory's gears "
            "above that are left out."
        )
    if not drive:
        notes.append("Gearbox and final drive are the factory's: the tyres alone change the gearing.")
    return notes


EFFECT = Effect("gearing", "Gearing", 30, work)
