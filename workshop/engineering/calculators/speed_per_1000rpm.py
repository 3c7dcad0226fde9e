"""How fast a car runs in a gear at an engine speed."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, Kind, Number, Outcome, Output, Source
from workshop.engineering.gearing import overall_ratio, speed_per_engine_speed
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal


def work(circumference: Quantity, gear: Quantity, final: Quantity, engine_speed: Quantity | None) -> Outcome:
    each = speed_per_engine_speed(circumference, gear, final)
    overall = overall_ratio(gear, final)
    thousand = magnitude(each, "kmh/krpm")
    values: dict[str, Quantity | str] = {
        "each": each,
        "overall": f"{overall:.3f}",
        "at_100": quantity(100 / thousand * 1000, "rpm"),
    }
    verdict = f"In this gear the car runs {thousand:.2f} km/h for every 1000 min⁻¹"
    if engine_speed is not None:
        values["speed"] = each * engine_speed
        verdict += f", {magnitude(each * engine_speed, 'km/h'):.0f} km/h at {magnitude(engine_speed, 'rpm'):.0f} min⁻¹"
    return Outcome(
        values,
        f"{verdict}.",
        notes=["Without slip of clutch, converter and tyre. Under load a tyre rolls a few per cent less."],
    )


CALCULATOR = Calculator(
    slug="speed-per-1000rpm",
    words=("rpm", "revs", "gearing"),
    name="Speed per 1000 min⁻¹",
    group="Gearing",
    question="How fast does the car run in a gear for every 1000 turns of the engine in a minute?",
    inputs=(
        Number(
            "circumference",
            "Circumference of the driven tyres",
            "length",
            "mm",
            D(700),
            D(4000),
            # Not filled in from a car: which axle is driven decides whose tyres these are.
            "Of the axle that drives, as the tyre's maker states it, or from the size.",
        ),
        Number(
            "gear",
            "Ratio of the gear",
            "count",
            "1",
            D("0.3"),
            D(8),
            "Turns of the engine for one of the gearbox output.",
        ),
        Number("final", "Final drive ratio", "count", "1", D(1), D(9), item="final_drive_ratio"),
        Number(
            "engine_speed", "Engine speed", "rotation", "rpm", D(300), D(20000), item="limiter", optional=True
        ),
    ),
    outputs=(
        Output("each", "Speed for every 1000 min⁻¹", "kmh/krpm", main=True),
        Output("speed", "Speed at this engine speed", "km/h"),
        Output("overall", "Overall ratio"),
        Output("at_100", "Engine speed at 100 km/h", "rpm"),
    ),
    formula="v/n = C / (i gear · i final)",
    sources=(Source("Gearing without slip", "", Kind.MECHANICS),),
    work=work,
    example={"circumference": "1985 mm", "gear": "0.80 1", "final": "4.10 1", "engine_speed": "3000 rpm"},
)
