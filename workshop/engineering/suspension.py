"""Wheel alignment: toe as a length and as an angle, the thrust line, and what a load does to toe.

Toe-in is positive. Lengths and angles are Pint quantities. A toe in millimetres means nothing without the diameter
at which it was measured. Under load only the toe link and its bushes give: what the rest of the suspension gives
is left out, and the small inclinations of the steering axis with it.
"""

from __future__ import annotations

import math

from workshop.engineering.errors import EngineeringError
from workshop.engineering.plot import Axis, Line, Plot
from workshop.engineering.quantities import Quantity, magnitude, quantity

ARCMIN = math.degrees(1) * 60
# The side forces at one wheel over which a plot runs, in newtons: up to a small car's loaded front wheel in a bend.
PLOT_FORCE = 4000.0
_POINTS = 17


def toe_angle(difference: Quantity, diameter: Quantity) -> Quantity:
    """θ = asin(difference / D), in minutes of arc."""
    share = magnitude(difference, "mm") / _length(diameter, "diameter")
    if abs(share) >= 1:
        raise EngineeringError(
            "The toe can't be as large as the diameter at which it was measured: look at both."
        )
    return quantity(math.asin(share) * ARCMIN, "arcmin")


def toe_length(angle: Quantity, diameter: Quantity) -> Quantity:
    """Difference = D · sin θ, in millimetres."""
    return quantity(math.sin(magnitude(angle, "deg") * math.pi / 180) * _length(diameter, "diameter"), "mm")


def thrust_angle(rear_left: Quantity, rear_right: Quantity) -> Quantity:
    """(rear left − rear right) / 2: positive when the rear axle steers to the right."""
    return quantity((magnitude(rear_left, "arcmin") - magnitude(rear_right, "arcmin")) / 2, "arcmin")


def toe_from_movement(movement: Quantity, arm: Quantity) -> Quantity:
    """atan(movement / arm): how far a wheel turns when its link moves by so much at the end of this arm."""
    return quantity(math.atan(magnitude(movement, "mm") / _length(arm, "arm")) * ARCMIN, "arcmin")


def link_force(
    side_force: Quantity, trail: Quantity, brake_force: Quantity, scrub: Quantity, arm: Quantity
) -> Quantity:
    """Force along the toe link of one wheel: (Fy · trail + Fb · scrub radius) / arm, in newtons.

    Positive turns the wheel towards toe-out: a side force towards the middle of the car behind the steering axis
    (trail positive), a brake force outside it (scrub radius positive).
    """
    turning = magnitude(side_force, "N") * magnitude(trail, "mm") + magnitude(brake_force, "N") * magnitude(
        scrub, "mm"
    )
    return quantity(turning / _length(arm, "arm"), "N")


def toe_under_force(force: float, arm: float, stiffness: float, play: float = 0.0) -> float:
    """The toe in minutes of arc that a link's force makes: −atan((F / k + play) / arm), play the way of the force.

    Plain floats in N, mm and N/mm: the curve of a plot runs through here.
    """
    movement = force / stiffness
    if force:
        movement += math.copysign(play, force)
    return -math.atan(movement / arm) * ARCMIN


def scrub_change(factory_offset: Quantity, offset: Quantity, spacer: Quantity) -> Quantity:
    """How far the wheel's middle moves outwards, and the scrub radius with it: offset lost, and a spacer put in."""
    return quantity(magnitude(factory_offset, "mm") - magnitude(offset, "mm") + magnitude(spacer, "mm"), "mm")


def toe_plot(
    curves: tuple[tuple[str, str, float, float, float, float], ...], top: float, summary: str, slug: str
) -> Plot:
    """Toe against side force at one wheel, from 0 to `top` N.

    Each curve is (label, style, trail mm, arm mm, stiffness N/mm, play mm).
    """
    forces = [top * place / (_POINTS - 1) for place in range(_POINTS)]
    lines, columns = [], []
    for label, style, trail, arm, stiffness, play in curves:
        toes = [toe_under_force(force * trail / arm, arm, stiffness, play) for force in forces]
        lines.append(Line(label, tuple(zip(forces, toes, strict=True)), style))
        columns.append(toes)
    every = [toe for column in columns for toe in column]
    low, high = min(0.0, *every), max(0.0, *every)
    room = (high - low) * 0.08 or 1.0
    return Plot(
        slug=slug,
        title="Toe of one wheel against its side force",
        x=Axis("Side force, N", 0.0, top),
        y=Axis("Toe-in, minutes of arc", low - room, high + room),
        summary=summary,
        lines=tuple(lines),
        head=("Side force, N", *(line.label for line in lines)),
        rows=tuple(
            (f"{forces[at]:.0f}", *(signed(column[at]) for column in columns)) for at in (0, 4, 8, 12, 16)
        ),
    )


def signed(minutes: float) -> str:
    """Minutes of arc with their sign: "−4.2′"."""
    rounded = f"{abs(minutes):.1f}"
    return f"{'' if float(rounded) == 0 else '−' if minutes < 0 else '+'}{rounded}′"


def toe_words(minutes: float) -> str:
    """A toe in words: "4.2′ toe-out"."""
    rounded = f"{abs(minutes):.1f}"
    if float(rounded) == 0:
        return "no toe"
    return f"{rounded}′ {'toe-in' if minutes > 0 else 'toe-out'}"


def _length(of: Quantity, name: str) -> float:
    found = magnitude(of, "mm")
    if found <= 0:
        raise EngineeringError(f"The {name} is greater than zero: measure it again.")
    return found
