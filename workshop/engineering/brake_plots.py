"""The two pictures of a brake balance: axle against axle beside the ideal curve, and the adhesion that each uses.

Both take the same load and one division of brake force for each car drawn: this one, and the factory's. In plain
floats; decelerations over g.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from workshop.engineering.brake_balance import Balance, Load, Split
from workshop.engineering.brake_r13h import ORDER_FROM, STRICTER, Comparison, Line, compare
from workshop.engineering.plot import Axis, Band, Mark, Plot, Point
from workshop.engineering.plot import Line as Curve

# Up to here a dry road goes; a car whose rear wheels lift earlier is drawn to just below that.
FAR = 1.0
STEPS = 40
MOST_ADHESION = 1.2


@dataclass(frozen=True)
class Drawn:
    """One car of a plot. `name` stands in the labels ("this car"), `style` is the line's (see `plot.Line`)."""

    name: str
    style: str
    split: Split


def farthest(load: Load) -> float:
    """The greatest deceleration worth drawing."""
    return min(FAR, 0.95 * load.lift)


def _decelerations(load: Load, split: Split) -> list[float]:
    """Even steps, with the knee itself: a corner is drawn as one."""
    far = farthest(load)
    points = {far * step / STEPS for step in range(STEPS + 1)}
    if split.knee < far:
        points.add(split.knee)
    return sorted(points)


def force_plot(
    load: Load, cars: tuple[Drawn, ...], weight: float | None = None, line: Line = STRICTER
) -> Plot:
    """Rear over front brake force, in kN where the weight (N) is known, otherwise in % of the weight."""
    factor, unit = (100.0, "% of the weight") if weight is None else (weight / 1000, "kN")

    def scaled(points: list[Point]) -> tuple[Point, ...]:
        return tuple((x * factor, y * factor) for x, y in points)

    far = farthest(load)
    even = [far * step / STEPS for step in range(STEPS + 1)]
    ideal = scaled([(z * load.front_at(z), z * load.rear_at(z)) for z in even])
    curves, marks = [Curve("ideal", ideal, "ideal")], []
    for car in cars:
        forces = scaled(
            [(car.split.front_force(z), car.split.rear_force(z)) for z in _decelerations(load, car.split)]
        )
        curves.append(Curve(car.name, forces, car.style))
        z = Balance(load, car.split).critical
        if 0 < z < far:
            crossing = (car.split.front_force(z) * factor, car.split.rear_force(z) * factor)
            marks.append(Mark(f"{z:.2f} g", crossing))
    everything = [point for curve in curves for point in curve.points]
    rows = _table_decelerations(load)
    shown = cars[-1]
    return Plot(
        slug="brake-forces",
        title="Brake force, rear over front",
        x=Axis(f"Front brake force, {unit}", 0, 1.05 * max(x for x, _ in everything)),
        y=Axis(f"Rear brake force, {unit}", 0, 1.1 * max(y for _, y in everything)),
        summary=_force_words(load, cars),
        lines=tuple(curves),
        bands=_wanted(load, line, scaled),
        marks=tuple(marks),
        head=("Deceleration", f"Front, {unit}", f"Rear, {unit}", f"Ideal rear, {unit}"),
        rows=tuple(
            (
                f"{z:.1f} g",
                f"{shown.split.front_force(z) * factor:.2f}",
                f"{shown.split.rear_force(z) * factor:.2f}",
                f"{z * load.rear_at(z) * factor:.2f}",
            )
            for z in rows
        ),
    )


def _wanted(load: Load, line: Line, scaled: Callable[[list[Point]], tuple[Point, ...]]) -> tuple[Band, ...]:
    """Where both rules of UN R13-H are met: below the ideal curve, above what the efficiency line leaves the front.

    Over the same front forces x: the ideal z solves χ·z² + front·z = x, the line's χ·z² + (front + χ·c)·z + c·front
    = slope·x with c = 0.2·slope − 0.1.
    """
    offset = 0.2 * line.slope - 0.1
    start = ORDER_FROM * load.front_at(ORDER_FROM)
    last = line.deceleration(line.high)
    end = line.high * load.front_at(last)
    lower: list[Point] = []
    upper: list[Point] = []
    for step in range(STEPS + 1):
        x = start + (end - start) * step / STEPS
        ideal = _positive_root(load.chi, load.front, -x)
        least = _positive_root(load.chi, load.front + load.chi * offset, offset * load.front - line.slope * x)
        upper.append((x, max(0.0, ideal - x)))
        lower.append((x, min(max(0.0, least - x), upper[-1][1])))
    return (Band("UN R13-H", scaled(lower), scaled(upper)),)


def _positive_root(square: float, linear: float, constant: float) -> float:
    """The root above zero of a rising parabola that starts below it."""
    return (-linear + math.sqrt(linear**2 - 4 * square * constant)) / (2 * square)


def adhesion_plot(load: Load, cars: tuple[Drawn, ...], line: Line = STRICTER) -> Plot:
    """The adhesion that each axle uses over the deceleration, with the line that R13-H draws above it."""
    far = farthest(load)
    curves = []
    for car in cars:
        balance = Balance(load, car.split)
        steps = _decelerations(load, car.split)
        front = tuple((z, balance.front_adhesion(z)) for z in steps)
        rear = tuple((z, balance.rear_adhesion(z)) for z in steps)
        curves += [Curve(f"front, {car.name}", front, car.style), Curve(f"rear, {car.name}", rear, car.style)]
    low, high = line.deceleration(line.low), line.deceleration(line.high)
    limit = ((low, line.low), (high, line.high))
    shown = Balance(load, cars[-1].split)
    return Plot(
        slug="brake-adhesion",
        title="Adhesion used by each axle",
        x=Axis("Deceleration, g", 0, far),
        y=Axis("Adhesion used", 0, MOST_ADHESION),
        summary=_adhesion_words(load, cars, line),
        lines=(*curves, Curve("UN R13-H", limit, "limit")),
        bands=(Band("wanted", ((low, low), (high, high)), limit),),
        head=("Deceleration", "Front", "Rear", "Line"),
        rows=tuple(
            (
                f"{z:.1f} g",
                f"{shown.front_adhesion(z):.2f}",
                f"{shown.rear_adhesion(z):.2f}",
                f"{line.adhesion(z):.2f}" if low <= z <= high else "–",
            )
            for z in _table_decelerations(load)
        ),
    )


def _table_decelerations(load: Load) -> list[float]:
    far = farthest(load)
    return [z for z in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0) if z <= far]


def first_words(balance: Balance) -> str:
    """Which axle locks first, over all decelerations that a road gives: a clause."""
    load = balance.load
    top = min(1.2, load.lift)
    spans = [(low, min(high, top)) for low, high in balance.rear_first if low < top - 1e-9]
    if not spans:
        return f"the front axle locks first at every deceleration up to {top:.2f} g"
    texts = []
    for low, high in spans:
        if high >= top:
            texts.append("at every deceleration" if low == 0 else f"above {low:.3f} g")
        else:
            texts.append(f"from {low:.3f} g to {high:.3f} g" if low > 0 else f"below {high:.3f} g")
    where = " and ".join(texts)
    return f"the rear axle locks first {where}" + (
        "" if where == "at every deceleration" else ", otherwise the front"
    )


def comparison_words(found: Comparison, line: Line) -> str:
    """Both rules in a sentence, as a comparison."""
    used = (
        f"the deceleration reached stays above the efficiency line (nearest, {found.margin:.3f} g, at an adhesion of "
        f"{found.adhesion:.2f})"
        if found.line_held
        else f"the deceleration reached falls {-found.margin:.3f} g below the efficiency line at an adhesion of "
        f"{found.adhesion:.2f}"
    )
    if found.order_held:
        order = "the front's curve lies above the rear's throughout 0.15 g to 0.8 g"
    else:
        spans = " and ".join(f"from {low:.2f} g to {high:.2f} g" for low, high in found.rear_first)
        order = (
            f"the rear's curve lies above the front's {spans}, where the lock order asks for the front first"
        )
    return f"Beside UN R13-H ({line.name}): {used}; {order}."


def _force_words(load: Load, cars: tuple[Drawn, ...]) -> str:
    said = [f"{car.name}: {first_words(Balance(load, car.split))}" for car in reversed(cars)]
    return f"Above the ideal curve the rear locks first. {_sentences(said)}"


def _adhesion_words(load: Load, cars: tuple[Drawn, ...], line: Line) -> str:
    said = []
    for car in reversed(cars):
        found = compare(Balance(load, car.split), line)
        held = "stays below" if found.line_held else "goes above"
        order = "the front above the rear" if found.order_held else "the rear above the front"
        where = "from 0.15 g to 0.8 g" if found.order_held else f"from {found.rear_first[0][0]:.2f} g"
        said.append(f"{car.name}: the adhesion used {held} the line, with {order} {where}")
    return _sentences(said)


def _sentences(said: list[str]) -> str:
    return " ".join(f"{one[:1].upper()}{one[1:]}." for one in said)
