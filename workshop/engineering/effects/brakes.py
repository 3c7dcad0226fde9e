"""What non-factory brake parts change: force, balance, which axle locks first, pedal, areas."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

from workshop.engineering.brake_balance import BALANCE_TEXTBOOKS, Lock
from workshop.engineering.brake_figures import (
    Axle,
    Side,
    loaded,
    sides_of,
    taken_over,
)
from workshop.engineering.brake_plots import Drawn, adhesion_plot, first_words, force_plot
from workshop.engineering.brake_r13h import FOR_COMPARISON, LOCK_ORDER, STRICTER, compare
from workshop.engineering.brake_rows import (
    BALANCE_KEYS,
    BRAKE_KEYS,
    PEDAL,
    TYRE_KEYS,
    Both,
    area_rows,
    force_rows,
    pedal_rows,
)
from workshop.engineering.brakes import (
    CAUTION,
    DISC_TEXTBOOK,
    PAD_FRICTION,
    ROLLING,
    STATICS,
    Disc,
)
from workshop.engineering.declare import Spread
from workshop.engineering.effect import CarFigures, Effect, Missing, Row, Standing, Topic
from workshop.engineering.plot import Plot

ROADS = (0.3, 0.5, 0.8, 1.0)


def work(car: CarFigures) -> Topic | None:
    if not car.parts_for((*BRAKE_KEYS, *TYRE_KEYS)):
        return None
    factory, now = sides_of(car)
    both = Both(car, factory, now, loaded(now.figures))
    if not both.ids(BRAKE_KEYS) and (both.balance(factory) is None or both.balance(now) is None):
        # Other tyres alone, and nothing known of the brakes: there is nothing to ask for here.
        return None
    rows = [*_limits(both), *_balance_rows(both), *force_rows(both), *pedal_rows(both), *area_rows(both)]
    notes = [note for axle in (*factory.axles, *now.axles) for note in axle.notes]
    if both.under.load is not None:
        notes.append(f"Both cars are taken with the axle masses {both.under.words}. {FOR_COMPARISON}")
    return Topic(
        "brakes",
        EFFECT.title,
        rows=tuple(rows),
        plots=_plots(both),
        missing=_missing(both),
        assumptions=_assumptions(both),
        notes=tuple(dict.fromkeys((*notes, *taken_over(car)))),
        sources=(STATICS, BALANCE_TEXTBOOKS, DISC_TEXTBOOK, ROLLING, STRICTER.source, LOCK_ORDER),
        cautions=(CAUTION,),
        local_approval=True,
        calculator="brake-balance",
    )


def _limits(both: Both) -> list[Row]:
    """UN R13-H's two rules, apart: a car may meet one and not the other."""
    before, after = both.balance(both.factory), both.balance(both.now)
    if after is None:
        return []
    was, found = compare(before) if before is not None else None, compare(after)
    line_moves, order_moves = _depends_on_friction(both)
    far = "{:.3f} g above it" if found.line_held else "{:.3f} g below it"
    line = Row(
        "Deceleration reached before a wheel locks, against the efficiency line",
        "–" if was is None else f"{abs(was.margin):.3f} g {'above' if was.line_held else 'below'} it",
        far.format(abs(found.margin)),
        "–" if was is None else f"{found.margin - was.margin:+.3f} g".replace("-", "−"),
        Standing.INSIDE if found.line_held else Standing.OUTSIDE,
        f"Nearest at an adhesion of {found.adhesion:.2f}. "
        + ("" if found.line_held else " More of the road's grip is left unused than the line allows.")
        + line_moves,
        STRICTER.name,
        str(STRICTER.source),
        both.ids(BALANCE_KEYS),
    )
    order = Row(
        "Lock order from 0.15 g to 0.8 g",
        "–" if was is None else _order(was.rear_first),
        _order(found.rear_first),
        "–" if was is None else ("none" if was.rear_first == found.rear_first else "changed"),
        Standing.INSIDE if found.order_held else Standing.OUTSIDE,
        ("The front always uses more grip than the rear there." if found.order_held
         else "Where the rear locks first, a car turns round when it is braked hard.") + order_moves,
        "front first",
        str(LOCK_ORDER),
        both.ids(BALANCE_KEYS),
    )  # fmt: skip
    return [line, order]


def _order(rear_first: tuple[tuple[float, float], ...]) -> str:
    if not rear_first:
        return "front first"
    return "rear first " + " and ".join(f"from {low:.2f} g to {high:.2f} g" for low, high in rear_first)


def _balance_rows(both: Both) -> list[Row]:
    def share(side: Side) -> float | None:
        return (
            None if side.brakes is None else 100 * side.brakes.rear / (side.brakes.front + side.brakes.rear)
        )

    def critical(side: Side) -> float | None:
        balance = both.balance(side)
        return None if balance is None else balance.critical

    valve = ", below the valve's knee" if "valve_knee" in both.now.figures else ""
    rows = both.row(f"Rear share of the brake force{valve}", share, "{:.1f} %", BALANCE_KEYS)
    before, after = both.balance(both.factory), both.balance(both.now)
    if after is None:
        return rows
    first = first_words(after)
    rows += both.row(
        "Deceleration from which the rear locks first",
        critical,
        "{:.3f} g",
        BALANCE_KEYS,
        f"{first[:1].upper()}{first[1:]}.",
    )
    for adhesion in ROADS:
        lock, was = after.lock(adhesion), before.lock(adhesion) if before is not None else None
        same = was is not None and _locks(was) == _locks(lock)
        rows.append(
            Row(
                f"First axle to lock at an adhesion of {adhesion:.1f}",
                "–" if was is None else _locks(was),
                _locks(lock),
                "–" if was is None else moved(was.reached, lock.reached),
                Standing.NOT_KNOWN if was is None else (Standing.AS_FACTORY if same else Standing.CHANGED),
                "Another axle than with the factory's brakes."
                if was is not None and was.first != lock.first
                else "",
                parts=both.ids(BALANCE_KEYS),
            )
        )
    return rows


def moved(before: float | None, after: float | None) -> str:
    """The change of a deceleration, "+0.04 g"; None on one side: no such deceleration there."""
    if before is None or after is None:
        return "none" if before is after else "changed"
    more = after - before
    return "none" if abs(more) < 0.005 else f"{more:+.2f} g".replace("-", "−")


def _locks(lock: Lock) -> str:
    return (
        f"{lock.first} at {lock.reached:.2f} g"
        if lock.reached is not None
        else "none before the rear wheels lift"
    )


def _plots(both: Both) -> tuple[Plot, ...]:
    load, weight = both.under.load, both.under.weight
    after, before = both.balance(both.now), both.balance(both.factory)
    if load is None or after is None:
        return ()
    cars: tuple[Drawn, ...] = (Drawn("this car", "this", after.split),)
    if before is not None and before.split != after.split:
        cars = (Drawn("factory", "factory", before.split), *cars)
    return force_plot(load, cars, weight), adhesion_plot(load, cars)


def _missing(both: Both) -> tuple[Missing, ...]:
    found: dict[str, str] = {}
    for side, whose in ((both.now, ""), (both.factory, "as the factory had it, to compare with: ")):
        for axle in side.axles:
            for key in axle.missing:
                found.setdefault(key, f"{whose}for the brake force of the {axle.name} axle")
        if side.half_a_valve:
            found.setdefault(side.half_a_valve, "the rear valve has two figures, and one is known")
    for key in both.under.missing:
        found.setdefault(key, "for the balance: which axle locks first")
    if both.ids(PEDAL):
        for key in PEDAL:
            if key not in both.factory.figures or key not in both.now.figures:
                found.setdefault(key, "for the force on the pedal")
    return tuple(Missing(key, why[:1].upper() + why[1:]) for key, why in found.items())


def _ends(axle: Axle) -> tuple[Axle, ...]:
    """The axle at both ends of what its pads' friction may be; itself where that is known."""
    disc = axle.brake
    if not axle.assumed or not isinstance(disc, Disc):
        return (axle,)
    return tuple(
        replace(axle, brake=replace(disc, friction=float(end)))
        for end in (PAD_FRICTION.low, PAD_FRICTION.high)
    )


def _depends_on_friction(both: Both) -> tuple[str, str]:
    """For each of the two rules a sentence, where an assumed friction could turn the answer."""
    ends = product(_ends(both.now.front), _ends(both.now.rear))
    balances = (both.balance(replace(both.now, front=front, rear=rear)) for front, rear in ends)
    found = [compare(balance) for balance in balances if balance is not None]
    lines, orders = {one.line_held for one in found}, {one.order_held for one in found}
    words = " With other pads than assumed it may be otherwise: give their friction."
    return (words if len(lines) > 1 else ""), (words if len(orders) > 1 else "")


def _assumptions(both: Both) -> tuple[str, ...]:
    sentences = []
    for axle in both.now.axles:
        if not axle.assumed:
            continue
        what, at = f"Brake torque for each bar, {axle.name} axle,", []
        for end in _ends(axle):
            now = replace(both.now, front=end) if axle.name == "front" else replace(both.now, rear=end)
            balance = both.balance(now)
            if balance is None:
                torque = end.brake.torque_per_bar if end.brake is not None else 0
                at.append(f"{torque:.1f} N·m")
            else:
                what = "Deceleration from which the rear locks first"
                at.append(f"{balance.critical:.2f} g")
        low, high, value = (
            f"{each.normalize():f}" for each in (PAD_FRICTION.low, PAD_FRICTION.high, PAD_FRICTION.value)
        )
        sentences.append(
            Spread(
                f"Friction of the pads, {axle.name},", value, low, high, PAD_FRICTION.because, what, *at
            ).sentence
        )
    return tuple(sentences)


EFFECT = Effect("brakes", "Brakes", 10, work)
