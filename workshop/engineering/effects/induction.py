"""Another pulley, blower or charge cooler: the blower's speed against its maximum, the air behind it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from workshop.engineering.charge_air import air_of
from workshop.engineering.declare import Kind, Source
from workshop.engineering.effect import CarFigures, Effect, Figure, Missing, Row, Standing, Topic
from workshop.engineering.effect_figures import FACTORYS, Known, compared, plain, said
from workshop.engineering.induction import blower_speed_plot, drive_ratio
from workshop.engineering.induction_parts import AIR, DRIVE, Fitted
from workshop.engineering.plot import Plot
from workshop.engineering.quantities import quantity

BLOWER = ("blower_pulley", "blower_internal_ratio", "blower_limit", *AIR)
# An internal ratio that nobody knows is taken as 1, the pulley on the rotor itself; blowers with a gear step up to
# about 5 times (common practice, no source).
GEAR, GEAR_HIGH = 1.0, 5.0
PLACES = ("supercharger", "charge-cooler")


def work(figures: CarFigures) -> Topic | None:
    known = Known.of(figures)
    # A crankshaft pulley or a limiter concerns a blower only where there is one.
    driven = "blower_pulley" in known.now and bool(known.ids("crank_pulley", "limiter"))
    if not (any(part.place in PLACES for part in known.parts) or known.ids(*BLOWER) or driven):
        return None
    fitted = Fitted.of(known)
    found = _drive(fitted)
    changed = found.changed or bool(fitted.units)
    air = air_of(fitted, changed)
    # A crankshaft pulley can't carry the boost: that is measured on the car.
    unasked = changed and not fitted.own_boost and not any(p.place == "supercharger" for p in known.parts)
    missing = {one.key: one for one in (*found.missing, *air.missing)}
    return Topic(
        "induction",
        "Forced induction",
        (*found.rows, *air.rows),
        found.plots,
        tuple(missing.values()),
        (*found.assumptions, *air.assumptions),
        (
            *fitted.taken,
            *(("Measure this car's boost and write it with the car's own figures.",) if unasked else ()),
            "More air needs more fuel and the right ignition. Pulleys are compared without slip; the air for 15 °C and "
            "101.3 kPa outside.",
        ),
        (
            Source("Belt drives without slip; perfect gas", "", Kind.MECHANICS),
            Source("Usual efficiencies and internal ratios of blowers", "", Kind.COMMON_PRACTICE),
        ),
        ("A blower above its maximum can burst. Keep hands, hair and clothes off a running belt.",),
        calculator="blower-drive",
    )


@dataclass(frozen=True)
class _Drive:
    rows: tuple[Row, ...] = ()
    plots: tuple[Plot, ...] = ()
    missing: tuple[Missing, ...] = ()
    assumptions: tuple[str, ...] = ()
    changed: bool = False


def _ratio(figures: Mapping[str, Figure]) -> float | None:
    """Turns of the rotor for one of the crankshaft, an internal ratio that is not known taken as 1."""
    crank, blower = (plain(figures, key, "mm") for key in DRIVE[:2])
    if crank is None or blower is None:
        return None
    gear = plain(figures, "blower_internal_ratio", "1")
    return drive_ratio(quantity(crank, "mm"), quantity(blower, "mm"), GEAR if gear is None else gear)


def _asked(fitted: Fitted) -> list[Missing]:
    """What the drive needs and nobody gave: of the fitted unit where it is another, else of the car."""
    car = fitted.car
    # Whoever has only a cooler or a turbocharger is not asked for pulleys.
    if not any(key in fitted.known.now for key in (*DRIVE[:2], "blower_limit")):
        return []
    turns = "to say how fast the blower turns"
    wanted = {
        "crank_pulley": turns,
        "blower_pulley": turns,
        "limiter": f"{turns} at the highest engine speed",
        "blower_limit": "to compare the blower's speed with its maximum",
        "blower_internal_ratio": f"{turns}; 1 where the pulley sits on the rotor itself",
    }
    return [Missing(fitted.key(key), why) for key, why in wanted.items() if key not in car.now]


def _drive(fitted: Fitted) -> _Drive:
    """Rows and plot of the drive, what is missing and assumed, and whether the drive is another than the factory's."""
    car = fitted.car
    before, now = _ratio(car.factory), _ratio(car.now)
    told = bool(car.ids(*DRIVE)) or any(key in car.own for key in DRIVE)
    changed = told and before != now
    missing = _asked(fitted)
    if now is None:
        return _Drive(missing=tuple(missing), changed=changed)
    open_now, open_before = ("blower_internal_ratio" not in figures for figures in (car.now, car.factory))
    missing += car.factory_asked(*DRIVE[:2])
    if open_before and before is not None and (fitted.units or not open_now):
        missing.append(Missing("blower_internal_ratio", FACTORYS))
    ids = (*car.ids(*DRIVE), *(part.id for part in fitted.units))
    rows = [compared("Drive ratio of the blower", before, now, "1", tuple(dict.fromkeys(ids)), decimals=3)]
    # One blower with an internal ratio that nobody knows is the same before and after; of two blowers or with one
    # known it is not.
    if before is not None and (open_now or open_before) and (fitted.units or open_now != open_before):
        words = "May be another: give the internal ratio that is not known."
        rows = [replace(rows[0], standing=Standing.NOT_KNOWN, verdict=words)]
    sides = [
        name
        for name, is_open in (
            ("the factory's blower", open_before and before is not None),
            ("this car's blower", open_now),
        )
        if is_open
    ]
    assumptions = []
    if sides:
        assumptions.append(
            f"The internal ratio of {' and '.join(sides)} is taken as {GEAR:g}, the pulley on the rotor itself. Blowers "
            f"with a gear step up to {GEAR_HIGH:g} times: {said(now, '1')} turns for one of the crankshaft may be "
            f"{said(now * GEAR_HIGH, '1')}."
            if open_now
            else f"The internal ratio of {sides[0]} is taken as {GEAR:g}, the pulley on the rotor itself."
        )
    top = plain(car.now, "limiter", "rpm")
    if top is None:
        return _Drive(tuple(rows), (), tuple(missing), tuple(assumptions), changed)
    missing += car.factory_asked("limiter")
    rows += _speed_rows(fitted, before, now, top, GEAR_HIGH if open_now else 1.0)
    plot = blower_speed_plot(now, top, plain(car.now, "blower_limit", "rpm"), before if changed else None)
    return _Drive(tuple(rows), (plot,), tuple(missing), tuple(assumptions), changed)


def _speed_rows(fitted: Fitted, before: float | None, now: float, top: float, more: float) -> list[Row]:
    """Blower speed at the limiter and engine speed at its maximum; the ratio may be as much as `more` times greater."""
    car = fitted.car
    top_before = plain(car.factory, "limiter", "rpm")
    limit, limit_before = plain(car.now, "blower_limit", "rpm"), plain(car.factory, "blower_limit", "rpm")
    speed = now * top
    speed_before = None if before is None or top_before is None else before * top_before
    ids = (*car.ids(*DRIVE, "limiter", "blower_limit"), *(part.id for part in fitted.units))
    parts = tuple(dict.fromkeys(ids))
    row = compared("Blower speed at the limiter", speed_before, speed, "rpm", parts)
    verdict = f"At {said(top, 'rpm')} of the engine the blower turns {said(speed, 'rpm')}."
    if limit is None:
        if row.standing == Standing.AS_FACTORY and not fitted.units:
            return [replace(row, verdict=verdict)]
        verdict += " Whether that is above its maximum can't be said: give the blower's greatest speed."
        return [replace(row, standing=Standing.NOT_KNOWN, verdict=verdict)]
    reached = limit / now
    over = speed > limit * (1 + 1e-9)
    may_be = not over and speed * more > limit * (1 + 1e-9)
    standing = Standing.OUTSIDE if over else Standing.NOT_KNOWN if may_be else Standing.INSIDE
    if over:
        verdict += (
            f" That is {said(speed - limit, 'rpm')} above its maximum, which it reaches with the engine at "
            f"{said(reached, 'rpm')}: fit a larger blower pulley or lower the limiter."
        )
        if limit_before == limit and speed_before is not None and speed_before > limit * (1 + 1e-9):
            verdict += " The factory's drive was above it too: look at both figures again."
    elif may_be:
        verdict += (
            f" With an internal ratio above {said(limit / speed, '1')} it may be above its maximum: give the internal "
            "ratio."
        )
    else:
        verdict += f" It would reach its maximum with the engine at {said(reached, 'rpm')}."
    reached_before = None if before is None or limit_before is None else limit_before / before
    return [
        replace(
            row,
            standing=standing,
            verdict=verdict,
            limit=f"up to {said(limit, 'rpm')}",
            limit_source=car.now["blower_limit"].words or "blower's own data",
        ),
        # The same finding seen from the engine: judged once, above.
        compared("Engine speed at the blower's maximum", reached_before, reached, "rpm", parts),
    ]


EFFECT = Effect("induction", "Forced induction", 50, work)
