"""What non-factory brake parts change: force, balance, which axle locks first, pedal, areas."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

from workshop.engineering.brake_balance import BALANCE_TEXTBOOKS, Lock
from workshop.engineering.brake_figures import (
    Axle,
    Side,
    loaded,
    mixed_radii,
    sides_of,
    taken_over,
)
from workshop.engineering.brake_plots import Drawn, adhesion_plot, first_words, force_plot
from workshop.engineering.brake_r13h import FOR_COMPARISON, LOCK_ORDER, STRICTER, Comparison, compare
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
    apart,
)
from workshop.engineering.effect import CarFigures, Effect, Missing, Row, Standing, Topic
from workshop.engineering.items import AXLES
from workshop.engineering.plot import Plot
from workshop.engineering.result import Spread

ROADS = (0.3, 0.5, 0.8, 1.0)
_LOW, _VALUE, _HIGH = (float(each) for each in (PAD_FRICTION.low, PAD_FRICTION.value, PAD_FRICTION.high))
# Between the ends a rule may be met that is met at neither: with too little rear brake, and with too much.
_STEPS = (_LOW, (_LOW + _VALUE) / 2, _VALUE, (_VALUE + _HIGH) / 2, _HIGH)
MAY_BE = " May be inside or outside with other pads than assumed: give their friction."


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
    notes += mixed_radii(factory, now)
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
    line_held, order_held = _whatever_the_friction(both, found)
    line = Row(
        "Deceleration reached before a wheel locks, against the efficiency line",
        "–" if was is None else from_the_line(was),
        from_the_line(found),
        "–" if was is None else moved(was.margin, found.margin, 3),
        _standing(line_held),
        f"Nearest at an adhesion of {found.adhesion:.2f}."
        + ("" if found.line_held else " More of the road's grip is left unused than the line allows.")
        + ("" if line_held is not None else MAY_BE),
        STRICTER.name,
        str(STRICTER.source),
        both.ids(BALANCE_KEYS),
    )
    order = Row(
        "Lock order from 0.15 g to 0.8 g",
        "–" if was is None else _order(was.rear_first),
        _order(found.rear_first),
        "–" if was is None else ("none" if _order(was.rear_first) == _order(found.rear_first) else "changed"),
        _standing(order_held),
        ("The front always uses more grip than the rear there." if found.order_held
         else "Where the rear locks first, a car turns round when it is braked hard.")
        + ("" if order_held is not None else MAY_BE),
        "front first",
        str(LOCK_ORDER),
        both.ids(BALANCE_KEYS),
    )  # fmt: skip
    return [line, order]


def _standing(held: bool | None) -> Standing:
    if held is None:
        return Standing.NOT_KNOWN
    return Standing.INSIDE if held else Standing.OUTSIDE


def from_the_line(found: Comparison) -> str:
    """ "0.039 g above it", with as many decimals as it takes to be more than nothing."""
    if abs(found.margin) < 1e-9:
        return "on it"
    return f"{apart(abs(found.margin), 0, 3)} g {'above' if found.line_held else 'below'} it"


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
        change = "–" if was is None else moved(was.reached, lock.reached)
        if was is not None and was.first != lock.first and change == "none":
            change = "other axle"
        standing = Standing.AS_FACTORY if change == "none" else Standing.CHANGED
        rows.append(
            Row(
                f"First axle to lock at an adhesion of {adhesion:.1f}",
                "–" if was is None else _locks(was),
                _locks(lock),
                change,
                Standing.NOT_KNOWN if was is None else standing,
                "Another axle than with the factory's brakes."
                if was is not None and was.first != lock.first
                else "",
                parts=both.ids(BALANCE_KEYS),
            )
        )
    return rows


def moved(before: float | None, after: float | None, decimals: int = 2) -> str:
    """The change of a deceleration as both are shown, "+0.04 g"; None on one side: no such deceleration there."""
    if before is None or after is None:
        return "none" if before is after else "changed"
    more = round(round(after, decimals) - round(before, decimals), decimals)
    return "none" if more == 0 else f"{more:+.{decimals}f} g".replace("-", "−")


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


def _with_friction(axle: Axle, frictions: tuple[float, ...]) -> tuple[Axle, ...]:
    """The axle with each of these frictions of its pads; itself where that is known."""
    disc = axle.brake
    if not axle.assumed or not isinstance(disc, Disc):
        return (axle,)
    return tuple(replace(axle, brake=replace(disc, friction=friction)) for friction in frictions)


def _whatever_the_friction(both: Both, found: Comparison) -> tuple[bool | None, bool | None]:
    """Whether each of the two rules is met; None where an assumed friction, within its range, turns the answer."""
    now = both.now
    pairs = product(_with_friction(now.front, _STEPS), _with_friction(now.rear, _STEPS))
    balances = (both.balance(replace(now, front=front, rear=rear)) for front, rear in pairs)
    each = [found, *(compare(balance) for balance in balances if balance is not None)]
    line = found.line_held if len({one.line_held for one in each}) == 1 else None
    order = found.order_held if len({one.order_held for one in each}) == 1 else None
    return line, order


def _assumptions(both: Both) -> tuple[str, ...]:
    """What was assumed of the pads in either column: said once where both assume it, with what it does to each."""
    sentences = []
    for place in range(len(AXLES)):
        now, factory = (
            _spread(both, side, place, whose) if side.axles[place].assumed else None
            for side, whose in ((both.now, ""), (both.factory, "factory's "))
        )
        if now is not None and factory is not None and now.output == factory.output:
            least, greatest = factory.between or (factory.at_low, factory.at_high)
            sentences.append(f"{now.sentence} As the factory had it, between {least} and {greatest}.")
        else:
            sentences += [each.sentence for each in (now, factory) if each is not None]
    return tuple(sentences)


def _spread(both: Both, side: Side, place: int, whose: str) -> Spread:
    """What the assumed friction of an axle's pads does to one column."""
    name = AXLES[place]
    axles = _with_friction(side.axles[place], (_LOW, _HIGH))
    ends = [replace(side, rear=axle) if place else replace(side, front=axle) for axle in axles]
    balances = [balance for balance in map(both.balance, ends) if balance is not None]
    if balances:
        what, shown = "Deceleration from which the rear locks first", "{:.2f} g"
        at = [balance.critical for balance in balances]
    else:
        what, shown = f"Brake torque for each bar, {name} axle,", "{:.1f} N·m"
        at = [brake.torque_per_bar for end in ends if (brake := end.axles[place].brake) is not None]
    low, high, value = (
        f"{each.normalize():f}" for each in (PAD_FRICTION.low, PAD_FRICTION.high, PAD_FRICTION.value)
    )
    first, last, least, greatest = (shown.format(value) for value in (at[0], at[-1], min(at), max(at)))
    return Spread(
        f"Friction of the {whose}pads, {name},", value, low, high, PAD_FRICTION.because, what, first, last,
        (least, greatest),
    )  # fmt: skip


EFFECT = Effect("brakes", "Brakes", 10, work)
