"""Another pulley, blower or charge cooler: the blower's speed against its maximum, the air behind it."""

from __future__ import annotations

from dataclasses import replace

from workshop.engineering.declare import Kind, Source
from workshop.engineering.effect import CarFigures, Effect, Missing, Row, Standing, Topic
from workshop.engineering.effect_figures import Known, compared, plain, said
from workshop.engineering.induction import (
    STANDARD_PRESSURE_KPA,
    STANDARD_TEMPERATURE,
    blower_speed_plot,
    cooled_temperature,
    density_ratio,
    drive_ratio,
    outlet_temperature,
    pressure_ratio,
)
from workshop.engineering.plot import Plot
from workshop.engineering.quantities import magnitude, quantity

DRIVE = ("crank_pulley", "blower_pulley", "blower_internal_ratio")
AIR = ("boost", "compressor_efficiency", "cooler_effectiveness", "cooler_pressure_loss")
BLOWER = ("blower_pulley", "blower_internal_ratio", "blower_limit", *AIR)
PLACES = ("supercharger", "charge-cooler")
# In per cent, where nobody knows better: usual for a belt-driven blower (common practice).
EFFICIENCY, EFFICIENCY_LOW, EFFICIENCY_HIGH = 60.0, 50.0, 72.0


def work(figures: CarFigures) -> Topic | None:
    car = Known.of(figures)
    here = [part for part in car.parts if part.place in PLACES]
    # A crankshaft pulley or a limiter concerns a blower only where there is one.
    driven = "blower_pulley" in car.now and bool(car.ids("crank_pulley", "limiter"))
    if not (here or car.ids(*BLOWER) or driven):
        return None
    drive_rows, plots, missing, changed = _drive(car)
    air_rows, air_missing, assumptions = _air(car, changed)
    # A crankshaft pulley can't carry the boost: that is measured on the car.
    unasked = changed and not _own_boost(car) and not any(part.place == "supercharger" for part in car.parts)
    return Topic(
        "induction",
        "Forced induction",
        (*drive_rows, *air_rows),
        plots,
        (*missing, *air_missing),
        assumptions,
        (
            *(("Measure this car's boost and write it with the car's own figures.",) if unasked else ()),
            "More air needs more fuel and the right ignition. Pulleys are compared without slip; the air for 15 °C and "
            "101.3 kPa outside.",
        ),
        (
            Source("Belt drives without slip; perfect gas", "", Kind.MECHANICS),
            Source("Usual efficiencies of blowers", "", Kind.COMMON_PRACTICE),
        ),
        ("A blower above its maximum can burst. Keep hands, hair and clothes off a running belt.",),
        calculator="blower-drive",
    )


def _ratio(car: Known, *, factory: bool) -> float | None:
    figures = car.factory if factory else car.now
    crank, blower = (plain(figures, key, "mm") for key in DRIVE[:2])
    if crank is None or blower is None:
        return None
    gear = plain(figures, "blower_internal_ratio", "1")
    return drive_ratio(quantity(crank, "mm"), quantity(blower, "mm"), 1.0 if gear is None else gear)


def _drive(car: Known) -> tuple[list[Row], tuple[Plot, ...], list[Missing], bool]:
    """Rows and plot of the drive, what is missing, and whether the drive is another than the factory's."""
    before, now = _ratio(car, factory=True), _ratio(car, factory=False)
    changed = bool(car.ids(*DRIVE)) and before != now
    wanted = {
        "crank_pulley": "to say how fast the blower turns",
        "blower_pulley": "to say how fast the blower turns",
        "limiter": "to say how fast the blower turns at the highest engine speed",
        "blower_limit": "to compare the blower's speed with its maximum",
    }
    # Whoever has only a cooler or a turbocharger is not asked for pulleys.
    belt = any(key in car.now for key in (*DRIVE[:2], "blower_limit"))
    missing = [Missing(key, why) for key, why in wanted.items() if belt and key not in car.now]
    if now is None:
        return [], (), missing, changed
    drive_parts = car.ids(*DRIVE)
    rows = [compared("Drive ratio of the blower", before, now, "1", drive_parts, decimals=3)]
    top, top_before = plain(car.now, "limiter", "rpm"), plain(car.factory, "limiter", "rpm")
    limit = plain(car.now, "blower_limit", "rpm")
    limit_before = plain(car.factory, "blower_limit", "rpm")
    if top is None:
        return rows, (), missing, changed
    speed = now * top
    speed_before = None if before is None or top_before is None else before * top_before
    parts = car.ids(*DRIVE, "limiter", "blower_limit")
    row = compared("Blower speed at the limiter", speed_before, speed, "rpm", parts)
    verdict = f"At {said(top, 'rpm')} of the engine the blower turns {said(speed, 'rpm')}."
    if limit is not None:
        reached = limit / now
        over = speed > limit * (1 + 1e-9)
        standing = Standing.OUTSIDE if over else Standing.INSIDE
        verdict += (
            f" That is {said(speed - limit, 'rpm')} above its maximum, which it reaches with the engine at "
            f"{said(reached, 'rpm')}: fit a larger blower pulley or lower the limiter."
            if over
            else f" It would reach its maximum with the engine at {said(reached, 'rpm')}."
        )
        if over and limit_before == limit and speed_before is not None and speed_before > limit * (1 + 1e-9):
            verdict += " The factory's drive was above it too: look at both figures again."
        row = replace(
            row,
            standing=standing,
            limit=f"up to {said(limit, 'rpm')}",
            limit_source=car.now["blower_limit"].words or "blower's own data",
        )
        reached_before = None if before is None or limit_before is None else limit_before / before
        at_limit = compared("Engine speed at the blower's maximum", reached_before, reached, "rpm", parts)
        rows.append(replace(row, verdict=verdict))
        rows.append(
            replace(
                at_limit,
                standing=standing,
                limit=f"not below {said(top, 'rpm')}",
                limit_source="engine speed limiter",
            )
        )
    else:
        rows.append(replace(row, verdict=verdict))
    plot = blower_speed_plot(now, top, limit, before if changed else None)
    return rows, (plot,), missing, changed


def _air(car: Known, changed: bool) -> tuple[list[Row], list[Missing], tuple[str, ...]]:
    """Rows of the air behind compressor and cooler, what is missing, and what was assumed.

    With another drive the factory's boost is not this car's: then only a boost written with a part or the car counts.
    """
    before = plain(car.factory, "boost", "bar")
    now = None if changed and not _own_boost(car) else plain(car.now, "boost", "bar")
    missing = []
    if now is None:
        maker = next((part for part in car.parts if part.place == "supercharger"), None)
        if maker is not None:
            why = "with another drive the factory's boost is not this car's"
            missing.append(Missing(f"boost@{maker.id}", why if changed else "to say how hot the air gets"))
        elif not changed:
            missing.append(Missing("boost", "to say how hot the air gets"))
    if before is None and now is None:
        return [], missing, ()
    old, new = _behind(car, before, None, factory=True), _behind(car, now, None, factory=False)
    parts = car.ids(*DRIVE, *AIR)
    rows = [
        compared("Pressure ratio", old[0], new[0], "1", parts, decimals=3),
        replace(
            compared("Temperature behind the compressor", old[1], new[1], "degC", parts),
            # A share of degrees Celsius means nothing.
            change="–" if old[1] is None or new[1] is None else _kelvins(new[1] - old[1]),
        ),
        compared("Density behind the compressor, against outside", old[2], new[2], "1", parts, decimals=3),
    ]
    if old[3] is not None or new[3] is not None:
        rows.append(
            compared(
                "Density behind the charge cooler, against outside", old[3], new[3], "1", parts, decimals=3
            )
        )
    elif any(part.place == "charge-cooler" for part in car.parts):
        missing.append(Missing("cooler_effectiveness", "to say how dense the air is behind the cooler"))
    boost, one_is_factory = (before, True) if now is None else (now, False)
    figures = car.factory if one_is_factory else car.now
    if "compressor_efficiency" in figures:
        return rows, missing, ()
    # The better compressor leaves the air the cooler.
    low, high = (
        _behind(car, boost, each, factory=one_is_factory)[1] for each in (EFFICIENCY_HIGH, EFFICIENCY_LOW)
    )
    return (
        rows,
        missing,
        (
            f"The compressor's efficiency is assumed to be {EFFICIENCY:g} % (usual for a belt-driven blower). Anywhere "
            f"from {EFFICIENCY_LOW:g} to {EFFICIENCY_HIGH:g} %, the temperature behind it lies between "
            f"{said(low, 'degC')} and {said(high, 'degC')}.",
        ),
    )


def _own_boost(car: Known) -> bool:
    """Whether the boost was written with the car or with a part of it."""
    return "boost" in car.own or bool(car.ids("boost"))


def _behind(
    car: Known, boost: float | None, efficiency: float | None, *, factory: bool
) -> tuple[float | None, float | None, float | None, float | None]:
    """Pressure ratio, temperature behind the compressor in °C, density there, density behind the cooler if known."""
    if boost is None:
        return None, None, None, None
    figures = car.factory if factory else car.now
    outside, inlet = quantity(STANDARD_PRESSURE_KPA, "kPa"), quantity(STANDARD_TEMPERATURE, "K")
    share = efficiency or plain(figures, "compressor_efficiency", "%") or EFFICIENCY
    ratio = pressure_ratio(quantity(boost, "bar"), outside)
    hot = outlet_temperature(inlet, ratio, quantity(share, "%"))
    cooler = plain(figures, "cooler_effectiveness", "%")
    behind = None
    if cooler is not None:
        loss = (plain(figures, "cooler_pressure_loss", "kPa") or 0.0) / STANDARD_PRESSURE_KPA
        behind = density_ratio(ratio, inlet, cooled_temperature(hot, inlet, quantity(cooler, "%")), loss)
    return ratio, magnitude(hot, "degC"), density_ratio(ratio, inlet, hot), behind


def _kelvins(difference: float) -> str:
    rounded = f"{abs(difference):.1f}"
    return "none" if rounded == "0.0" else f"{'+' if difference > 0 else '−'}{rounded} K"


EFFECT = Effect("induction", "Forced induction", 50, work)
