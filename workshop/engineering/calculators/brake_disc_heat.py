"""How much hotter one hard stop makes the discs, at the least time to cool."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import CAUTION, STATICS
from workshop.engineering.declare import (
    Assumption,
    Calculator,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal
# Grey cast iron near room temperature, J/(kg·K); it rises with the heat. From memory.
CAST_IRON_J_KG_K = 460
# Wet brake fluid boils from some 150 °C, pads fade from some 300 °C upwards (common practice, no source).
MUCH_K = 250


def work(
    mass: Quantity,
    speed_from: Quantity,
    speed_to: Quantity,
    axle_share: Quantity,
    disc_mass: Quantity,
    into_discs: Quantity,
) -> Outcome:
    if not speed_from > speed_to:
        raise InputErrors({"speed_to": "This must be the lower speed: braking makes the car slower."})
    energy = mass * (speed_from**2 - speed_to**2) / 2
    one_disc = energy * magnitude(axle_share, "%") / 100 * magnitude(into_discs, "%") / 100 / 2
    rise = magnitude(one_disc, "N.m") / (magnitude(disc_mass, "kg") * CAST_IRON_J_KG_K)
    return Outcome(
        {
            "rise": quantity(rise, "K"),
            "energy": f"{magnitude(energy, 'N.m') / 1000:.0f} kJ",
            "disc": f"{magnitude(one_disc, 'N.m') / 1000:.0f} kJ",
        },
        f"One such stop makes each disc {rise:.0f} K hotter, before it has cooled at all"
        + (
            ": several in a row may be too much for pads and fluid (common practice)."
            if rise > MUCH_K
            else "."
        ),
        odd=rise > MUCH_K,
        notes=["A lighter disc or a faster car shows here; a larger caliper does not."],
    )


CALCULATOR = Calculator(
    slug="brake-disc-heat",
    words=("fade", "rotor"),
    name="Heat of one stop in the discs",
    group="Brakes",
    question="How much hotter does one hard stop make the discs?",
    inputs=(
        Number("mass", "Mass of the car", "mass", "kg", D(50), D(12000), item="mass_running"),
        Number("speed_from", "Speed before", "speed", "km/h", D(5), D(400)),
        Number("speed_to", "Speed after", "speed", "km/h", D(0), D(395)),
        Number("axle_share", "This axle's share of the brake force", "ratio", "%", D(1), D(100)),
        Number("disc_mass", "Mass of one disc's ring", "mass", "kg", D("0.5"), D(40), "The part that the pads rub and the ring behind it, weighed without the bell."),
        Number(
            "into_discs", "Part of the heat that goes into the disc", "ratio", "%", D(50), D(100),
            assumed=Assumption(D(95), D(85), D(99), "most of it, as pads conduct badly; common practice"),
        ),
    ),
    outputs=(
        Output("rise", "Each disc gets hotter by", "K", main=True),
        Output("energy", "Energy of the stop"),
        Output("disc", "Of it in each disc of this axle"),
    ),
    formula="ΔT = ½·m·(v₁² − v₂²) · share · part / (2 · m_disc · 460 J/(kg·K))",
    sources=(
        STATICS,
        Source("Specific heat of grey cast iron, 460 J/(kg·K)", "materials handbooks", Kind.FROM_MEMORY),
    ),
    work=work,
    cautions=(CAUTION, "On a long descent heat comes in without a pause: this says nothing of that."),
    local_approval=True,
    example={
        "mass": "1200 kg",
        "speed_from": "120 km/h",
        "speed_to": "0 km/h",
        "axle_share": "75 %",
        "disc_mass": "4.5 kg",
    },
)  # fmt: skip
