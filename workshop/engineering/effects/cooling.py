"""More power or another coolant pump: heat for the coolant, and how warm it leaves the engine."""

from __future__ import annotations

from dataclasses import dataclass

from workshop.engineering.cooling import (
    COOLANTS,
    HEAT_SHARE,
    HEAT_SHARE_HIGH,
    HEAT_SHARE_LOW,
    coolant_flow,
    coolant_rise,
    heat_to_coolant,
)
from workshop.engineering.declare import Kind, Source
from workshop.engineering.effect import CarFigures, Effect, Missing, Row, Topic
from workshop.engineering.effect_figures import FACTORYS, Known, compared, plain, said
from workshop.engineering.quantities import Quantity, magnitude, quantity

# What raises the power of an engine, besides what states it.
RAISES_POWER = ("boost", "blower_pulley", "crank_pulley")
# What stands there is another engine, or another blower: the factory's power is not this car's any more.
POWER_PLACES = ("engine", "supercharger")
PLACES = ("cooling-fan", "radiator")
# The rise of temperature at which both cars are compared, in K (common practice, no source).
RISE = 8.0
COOLANT = COOLANTS["half"]


def work(figures: CarFigures) -> Topic | None:
    car = Known.of(figures)
    here = [part for part in car.parts if part.place in PLACES]
    raised = "boost" in car.now or "blower_pulley" in car.now
    others = [part for part in car.parts if part.place in POWER_PLACES]
    stronger = tuple(
        dict.fromkeys((*(car.ids(*RAISES_POWER) if raised else ()), *(part.id for part in others)))
    )
    own = "engine_power" in car.own or bool(car.ids("engine_power"))
    if not (here or stronger or car.ids("coolant_flow") or own):
        return None
    before, now = plain(car.factory, "engine_power", "kW"), plain(car.now, "engine_power", "kW")
    # A part that changes the power without saying how far: the factory's power is not this car's.
    if stronger and not own:
        now = None
    missing = (
        [] if before is not None else [Missing("engine_power", "to say how much heat the coolant takes")]
    )
    notes = []
    if now is None:
        missing += [
            Missing(f"engine_power@{part.id}", "with it the factory's power is not this car's")
            for part in others
        ]
    if now is None and before is not None:
        notes.append("Measure this car's power and write it with the car's own figures: its parts change it.")
    rows: list[Row] = []
    assumptions: tuple[str, ...] = ()
    if before is not None or now is not None:
        rows = _rows(car, before, now, stronger)
        known = now if now is not None else before
        assert known is not None
        low, high = (_kw(_heat(known, share)) for share in (HEAT_SHARE_LOW, HEAT_SHARE_HIGH))
        assumptions = (
            f"The coolant is assumed to take {HEAT_SHARE * 100:.0f} % of the engine's power as heat (energy balances of "
            f"car engines at full power). Anywhere from {HEAT_SHARE_LOW * 100:.0f} to {HEAT_SHARE_HIGH * 100:.0f} %, "
            f"it takes between {said(low, 'kW')} and {said(high, 'kW')}.",
        )
    if (before is not None or now is not None) and "coolant_flow" not in car.factory:
        why = "to say how much warmer the coolant leaves the engine"
        missing.append(Missing("coolant_flow", FACTORYS if "coolant_flow" in car.now else why))
    return Topic(
        "cooling",
        "Cooling",
        tuple(rows),
        missing=tuple(missing),
        assumptions=assumptions,
        notes=(*notes, f"Coolant taken as {COOLANT.name}, at 80 °C."),
        sources=(
            Source("Heywood, Internal Combustion Engine Fundamentals, 1988", "table 12.1", Kind.FROM_MEMORY),
            Source("ASHRAE Handbook Fundamentals", "aqueous ethylene glycol", Kind.FROM_MEMORY),
        ),
        cautions=("Never open a hot cooling system: it is under pressure, and what comes out boils.",),
        calculator="heat-to-reject",
    )


def _heat(power: float, share: float = HEAT_SHARE) -> Quantity:
    return heat_to_coolant(quantity(power, "kW"), quantity(share, "1"))


def _kw(heat: Quantity) -> float:
    return magnitude(heat, "kW")


@dataclass(frozen=True)
class _Side:
    """The factory's car or this one: heat in kW, flow for the common rise in l/min, rise at its own flow in K."""

    heat: float | None = None
    needed: float | None = None
    rise: float | None = None


def _side(power: float | None, flow: float | None) -> _Side:
    if power is None:
        return _Side()
    heat = _heat(power)
    return _Side(
        _kw(heat),
        magnitude(coolant_flow(heat, quantity(RISE, "K"), COOLANT), "l/min"),
        None if flow is None else magnitude(coolant_rise(heat, quantity(flow, "l/min"), COOLANT), "K"),
    )


def _rows(car: Known, before: float | None, now: float | None, stronger: tuple[str, ...]) -> list[Row]:
    parts = tuple(dict.fromkeys((*car.ids("engine_power"), *stronger)))
    old = _side(before, plain(car.factory, "coolant_flow", "l/min"))
    new = _side(now, plain(car.now, "coolant_flow", "l/min"))
    rows = [
        compared("Heat to the coolant at full power", old.heat, new.heat, "kW", parts),
        compared(f"Coolant flow for a rise of {RISE:g} K", old.needed, new.needed, "l/min", parts),
    ]
    if old.rise is not None or new.rise is not None:
        warmer = old.rise is not None and new.rise is not None and new.rise > old.rise * 1.0005
        verdict = (
            "The coolant runs warmer than in the factory's car: watch it on the road test." if warmer else ""
        )
        flow_parts = (*parts, *car.ids("coolant_flow"))
        rows.append(
            compared("The coolant leaves the engine warmer by", old.rise, new.rise, "K", flow_parts, verdict)
        )
    return rows


EFFECT = Effect("cooling", "Cooling", 60, work)
