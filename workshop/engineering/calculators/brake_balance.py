"""Which axle locks first, from the parts: pistons, discs or drums, friction, valve, tyres, masses."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

from workshop.engineering.brake_balance import BALANCE_TEXTBOOKS, Balance, Brakes, G, load_of
from workshop.engineering.brake_plots import (
    Drawn,
    adhesion_plot,
    comparison_words,
    first_words,
    force_plot,
)
from workshop.engineering.brake_r13h import FOR_COMPARISON, LINE_CHOICE, LINES, LOCK_ORDER, compare
from workshop.engineering.brakes import (
    CAUTION,
    DISC_TEXTBOOK,
    PAD_FRICTION,
    ROLLING,
    STATICS,
    BrakeError,
    Disc,
    Drum,
    rolling_radius_of_size_mm,
)
from workshop.engineering.declare import (
    Calculator,
    Choice,
    Input,
    InputErrors,
    Number,
    Outcome,
    Output,
    Table,
    Text,
)
from workshop.engineering.quantities import magnitude, quantity
from workshop.engineering.tyre_size import TyreError

D = Decimal
AXLES = ("front", "rear")
ROADS = (0.3, 0.5, 0.8, 1.0)

# name: (label, dimension, unit, low, high); which kind of brake needs it.
_OF_A_DISC = ("piston_diameter", "pistons", "disc_diameter", "pad_height")
_OF_A_DRUM = ("wheel_cylinder_diameter", "drum_diameter", "drum_factor")


def _axle(axle: str) -> tuple[Input, ...]:
    def number(name: str, label: str, low: str, high: str, help: str = "", **more: Any) -> Number:
        kind = ("count", "1") if name in ("pistons", "pad_friction", "drum_factor") else ("length", "mm")
        more.setdefault("optional", True)
        return Number(
            f"{axle}_{name}", f"{label}, {axle}", *kind, D(low), D(high), help, item=f"{axle}.{name}", **more
        )

    return (
        Number(
            f"{axle}_mass", f"Mass on the {axle} axle", "mass", "kg", D(25), D(8000),
            "As the car is driven: from a weighbridge, or in running order.", item=f"{axle}.axle_mass_running",
        ),
        Choice(f"{axle}_kind", f"Kind of brake, {axle}", (("disc", "disc"), ("drum", "drum")), item=f"{axle}.brake_kind", usual="disc"),
        number("piston_diameter", "Caliper piston diameter", "15", "80", "Disc brakes."),
        number("pistons", "Pistons on one side of the disc", "1", "8", "A sliding caliper with one piston: 1.", whole=True),
        number("disc_diameter", "Disc diameter", "100", "500"),
        number("pad_height", "Pad height on the disc", "15", "120", "The friction material along the disc's radius."),
        number("pad_friction", "Friction of the pads", "0.15", "0.80", optional=False, assumed=PAD_FRICTION),
        number("wheel_cylinder_diameter", "Wheel cylinder diameter", "8", "60", "Drum brakes."),
        number("drum_diameter", "Drum diameter", "100", "500"),
        number("drum_factor", "Brake factor of the drum brake", "1", "8", "Friction force at the drum over the force of the wheel cylinder."),
        Text(f"{axle}_tyre", f"Tyre size, {axle}", "205/55 R16", "Or the rolling circumference below.", item=f"{axle}.tyre_size", optional=True),
        number("rolling_circumference", "Rolling circumference", "700", "4000", "As the tyre's maker states it; it counts before the size."),
    )  # fmt: skip


def _brake(axle: str, given: dict[str, Any], errors: dict[str, str]) -> Disc | Drum | None:
    """The axle's brakes in plain floats; what is missing goes to `errors`."""
    kind = given[f"{axle}_kind"]
    needed = _OF_A_DISC if kind == "disc" else _OF_A_DRUM
    missing = [name for name in needed if given[f"{axle}_{name}"] is None]
    for name in missing:
        errors[f"{axle}_{name}"] = f"Give this: the balance of a {kind} brake needs it."
    if missing:
        return None

    def of(name: str) -> float:
        return magnitude(
            given[f"{axle}_{name}"], "1" if name in ("pistons", "pad_friction", "drum_factor") else "mm"
        )

    if kind == "drum":
        return Drum(of("wheel_cylinder_diameter"), of("drum_factor"), of("drum_diameter"))
    try:
        return Disc(
            of("piston_diameter"), of("pistons"), of("disc_diameter"), of("pad_height"), of("pad_friction")
        )
    except BrakeError as error:
        errors[f"{axle}_pad_height"] = str(error)
        return None


def _radius(axle: str, given: dict[str, Any], errors: dict[str, str]) -> float:
    """Rolling radius in mm."""
    if given[f"{axle}_rolling_circumference"] is not None:
        return magnitude(given[f"{axle}_rolling_circumference"], "mm") / (2 * math.pi)
    if given[f"{axle}_tyre"] is None:
        errors[f"{axle}_tyre"] = "Give the tyre size, or the rolling circumference."
        return 0
    try:
        return rolling_radius_of_size_mm(given[f"{axle}_tyre"])
    except TyreError as error:
        errors[f"{axle}_tyre"] = str(error)
        return 0


def _valve(given: dict[str, Any], errors: dict[str, str]) -> tuple[float | None, float]:
    knee, slope = given["valve_knee"], given["valve_slope"]
    if (knee is None) != (slope is None):
        errors["valve_slope" if slope is None else "valve_knee"] = (
            "Give both figures of the rear valve, or neither."
        )
    if knee is None or slope is None:
        return None, 1.0
    return magnitude(knee, "bar"), magnitude(slope, "%") / 100


def work(**given: Any) -> Outcome:
    errors: dict[str, str] = {}
    brakes = {axle: _brake(axle, given, errors) for axle in AXLES}
    radii = {axle: _radius(axle, given, errors) for axle in AXLES}
    knee, slope = _valve(given, errors)
    front, rear = brakes["front"], brakes["rear"]
    if errors or front is None or rear is None:
        raise InputErrors(errors)
    hardware = Brakes(
        1000 * front.torque_per_bar / radii["front"], 1000 * rear.torque_per_bar / radii["rear"], knee, slope
    )
    load = load_of(given["front_mass"], given["rear_mass"], given["wheelbase"], given["cg_height"])
    weight = (magnitude(given["front_mass"], "kg") + magnitude(given["rear_mass"], "kg")) * G
    balance, line = Balance(load, hardware.split(weight)), LINES[given["efficiency_line"]]
    found = compare(balance, line)
    first = first_words(balance)
    drawn = (Drawn("this car", "this", balance.split),)
    notes = [FOR_COMPARISON]
    if knee is not None:
        notes.append(f"The rear valve begins at {balance.split.knee:.2f} g with this load.")
    notes += [
        f"The {axle} has drums: the friction of pads is not used for it."
        for axle in AXLES
        if given[f"{axle}_kind"] == "drum"
    ]
    return Outcome(
        {
            "critical": quantity(balance.critical, "g0"),
            "rear_share" if knee is None else "rear_share_before": quantity(balance.split.rear * 100, "%"),
            "front_force": f"{hardware.front:.1f} N",
            "rear_force": f"{hardware.rear:.1f} N",
            "half": quantity(hardware.pressure(0.5, weight), "bar"),
            "lift": quantity(load.lift, "g0"),
        },
        f"{first[:1].upper()}{first[1:]}. {comparison_words(found, line)}",
        odd=not (found.line_held and found.order_held),
        notes=notes,
        tables=[_by_road(balance), *_by_deceleration(balance, hardware, weight)],
        plots=[force_plot(load, drawn, weight, line), adhesion_plot(load, drawn, line)],
    )


def _by_road(balance: Balance) -> Table:
    rows = []
    for adhesion in ROADS:
        lock = balance.lock(adhesion)
        rows.append(
            (
                f"{adhesion:.1f}",
                "–" if lock.front is None else f"{lock.front:.3f} g",
                "–" if lock.rear is None else f"{lock.rear:.3f} g",
                lock.first or "none before the rear wheels lift",
            )
        )
    return Table(
        "Which axle locks first",
        ("Adhesion of the road", "Front locks at", "Rear locks at", "First"),
        tuple(rows),
    )


def _by_deceleration(balance: Balance, hardware: Brakes, weight: float) -> list[Table]:
    """Two tables over the same decelerations, narrow enough for a tablet; they end before the rear wheels lift."""
    load, split = balance.load, balance.split
    steps = [step / 10 for step in range(1, 11) if step / 10 < load.lift]
    forces = [
        (
            f"{z:.1f} g",
            f"{hardware.pressure(z, weight):.1f}",
            f"{split.front_force(z) * weight:.0f}",
            f"{split.rear_force(z) * weight:.0f}",
            f"{load.front_at(z) * weight:.0f}",
            f"{load.rear_at(z) * weight:.0f}",
        )
        for z in steps
    ]
    adhesions = [
        (
            f"{z:.1f} g",
            f"{balance.front_adhesion(z):.3f}",
            f"{balance.rear_adhesion(z):.3f}",
            f"{100 * split.rear_share(z):.1f} %",
            f"{100 * load.rear_at(z):.1f} %",
            f"{100 * balance.efficiency(z):.1f} %",
        )
        for z in steps
    ]
    return [
        Table(
            "Forces by deceleration",
            (
                "Deceleration",
                "Pressure, bar",
                "Front brakes, N",
                "Rear brakes, N",
                "Front load, N",
                "Rear load, N",
            ),
            tuple(forces),
        ),
        Table(
            "Adhesion by deceleration",
            ("Deceleration", "Front uses", "Rear uses", "Rear share", "Ideal share", "Efficiency"),
            tuple(adhesions),
        ),
    ]


CALCULATOR = Calculator(
    slug="brake-balance",
    words=("bias", "proportioning", "lock up"),
    name="Brake balance",
    group="Brakes",
    question="Which axle locks first, and at what deceleration, with these pistons, discs, pads and tyres?",
    inputs=(
        *_axle("front"),
        *_axle("rear"),
        Number("wheelbase", "Wheelbase", "length", "mm", D(800), D(6000), item="wheelbase"),
        Number(
            "cg_height",
            "Height of the centre of gravity",
            "length",
            "mm",
            D(150),
            D(1800),
            help="Above the road, as loaded. Where it is only estimated, try the lowest and the highest too.",
            item="cg_height",
        ),
        Number(
            "valve_knee",
            "Pressure at which the rear valve begins",
            "pressure",
            "bar",
            D(1),
            D(150),
            help="Only with a valve that reduces the rear pressure.",
            item="valve_knee",
            optional=True,
        ),
        Number(
            "valve_slope",
            "Rear pressure above that, as a share",
            "ratio",
            "%",
            D(5),
            D(100),
            item="valve_slope",
            optional=True,
        ),
        LINE_CHOICE,
    ),
    outputs=(
        Output("critical", "Deceleration from which the rear locks first", "g0", main=True),
        Output("rear_share", "Rear share of the brake force", "%"),
        Output("rear_share_before", "Rear share of the brake force, below the valve's knee", "%"),
        Output("front_force", "Front brake force at the road for each bar"),
        Output("rear_force", "Rear brake force at the road for each bar"),
        Output("half", "Line pressure for 0.5 g", "bar"),
        Output("lift", "The rear wheels would leave the road at", "g0"),
    ),
    formula=(
        "Disc axle: F/p = 4·µ·A·r/R; drum axle: F/p = 2·C*·A·r/R. N1 = G·(b + z·h)/L, N2 = G·(a − z·h)/L; "
        "f1 = F1/N1, f2 = F2/N2; without a valve zc = (a − Φ·L)/h with Φ = F2/(F1 + F2)"
    ),
    sources=(
        STATICS,
        BALANCE_TEXTBOOKS,
        DISC_TEXTBOOK,
        ROLLING,
        *(line.source for line in LINES.values()),
        LOCK_ORDER,
    ),
    work=work,
    cautions=(
        CAUTION,
        "Anti-lock, a servo past its limit, fade and a load other than this one are not in these figures.",
    ),
    local_approval=True,
    example={
        "front_mass": "720 kg",
        "front_kind": "disc",
        "front_piston_diameter": "54 mm",
        "front_pistons": "1",
        "front_disc_diameter": "256 mm",
        "front_pad_height": "36 mm",
        "front_rolling_circumference": "1822 mm",
        "rear_mass": "480 kg",
        "rear_kind": "disc",
        "rear_piston_diameter": "36 mm",
        "rear_pistons": "1",
        "rear_disc_diameter": "276 mm",
        "rear_pad_height": "36 mm",
        "rear_rolling_circumference": "1822 mm",
        "wheelbase": "2500 mm",
        "cg_height": "520 mm",
        "efficiency_line": "0.85",
    },
)
