"""Gearing: speed over engine speed by tyre, gear and final drive. Textbook mechanics, without slip."""

from __future__ import annotations

import math

from workshop.engineering.plot import Axis, Line, Mark, Plot
from workshop.engineering.quantities import Quantity, magnitude


def overall_ratio(gear: Quantity, final: Quantity) -> float:
    """Turns of the engine for one turn of the wheel."""
    return magnitude(gear, "1") * magnitude(final, "1")


def speed_per_engine_speed(circumference: Quantity, gear: Quantity, final: Quantity) -> Quantity:
    """Road speed over engine speed: the circumference rolled for each turn of the engine ("gearing")."""
    # An engine speed is an angle over time for Pint, one turn being 2π.
    found: Quantity = circumference / (gear * final * 2 * math.pi)
    return found


def per_thousand(circumference: float, overall: float) -> float:
    """`speed_per_engine_speed` in plain numbers: mm for one turn, ratio; km/h at 1000 min⁻¹."""
    return circumference * 1e-6 * 60 * 1000 / overall


def gears_plot(
    now: list[tuple[str, float]], limiter: float, factory: list[tuple[str, float]] | None = None
) -> Plot:
    """Speed over engine speed in each gear. `now` and `factory`: a gear's name with its km/h at 1000 min⁻¹.

    Of the factory's gears only the fastest is drawn: all of them would hide the others.
    """
    lines = [
        Line(f"{name} factory", ((0.0, 0.0), (limiter, each * limiter / 1000)), "factory")
        for name, each in sorted(factory or [], key=lambda one: one[1])[-1:]
    ]
    lines += [Line(name, ((0.0, 0.0), (limiter, each * limiter / 1000)), "this") for name, each in now]
    fastest_name, fastest = max(now, key=lambda one: one[1])
    top = max(line.points[-1][1] for line in lines)
    slowest = min(each for _, each in now) * limiter / 1000
    return Plot(
        slug="speed-in-gears",
        title="Road speed over engine speed in each gear",
        x=Axis("Engine speed, min⁻¹", 0, limiter),
        y=Axis("Road speed, km/h", 0, top * 1.05),
        summary=(
            f"At {limiter:.0f} min⁻¹ the car runs {slowest:.0f} km/h in its lowest gear and "
            f"{fastest * limiter / 1000:.0f} km/h in {fastest_name}, as far as the engine's power carries it."
        ),
        lines=tuple(lines),
        marks=(Mark(f"{fastest * limiter / 1000:.0f} km/h", (limiter, fastest * limiter / 1000)),),
        head=("Gear", "km/h at 1000 min⁻¹", f"km/h at {limiter:.0f} min⁻¹"),
        rows=tuple((name, f"{each:.2f}", f"{each * limiter / 1000:.0f}") for name, each in now[:8]),
    )
