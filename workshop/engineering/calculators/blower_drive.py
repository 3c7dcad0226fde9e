"""How fast a belt-driven blower turns at the limiter, against the greatest speed that its maker allows."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, Kind, Number, Outcome, Output, Source
from workshop.engineering.induction import blower_speed_plot, drive_ratio
from workshop.engineering.quantities import Quantity, amount, magnitude
from workshop.engineering.units import show

D = Decimal


def work(
    crank_pulley: Quantity,
    blower_pulley: Quantity,
    limiter: Quantity,
    internal_ratio: Quantity | None,
    blower_limit: Quantity | None,
    factory_pulley: Quantity | None,
) -> Outcome:
    gear = 1.0 if internal_ratio is None else magnitude(internal_ratio, "1")
    ratio = drive_ratio(crank_pulley, blower_pulley, gear)
    speed = limiter * ratio
    values: dict[str, Quantity | str] = {"ratio": f"{ratio:.4f}", "speed": speed}
    verdict = f"At {_rpm(limiter)} of the engine the blower turns {_rpm(speed)}."
    odd = False
    if blower_limit is not None:
        reached = blower_limit / ratio
        values |= {"share": speed / blower_limit, "reached": reached}
        odd = magnitude(speed, "rpm") > magnitude(blower_limit, "rpm")
        if odd:
            verdict += (
                f" That is {_rpm(speed - blower_limit)} above its maximum of {_rpm(blower_limit)}, which it reaches "
                f"with the engine at {_rpm(reached)}: a larger blower pulley or a lower limiter brings it below."
            )
        else:
            verdict += (
                f" Its maximum of {_rpm(blower_limit)} would be reached with the engine at {_rpm(reached)}."
            )
    factory = None
    if factory_pulley is not None:
        factory = drive_ratio(crank_pulley, factory_pulley, gear)
        values |= {"factory_speed": limiter * factory}
    notes = [
        "Measure both pulleys in the same way: over the ribs, or at the belt's pitch line. Slip is left out."
    ]
    if internal_ratio is None:
        notes.append("No gear inside the blower was given: its pulley is taken to sit on the rotor.")
    plot = blower_speed_plot(
        ratio,
        magnitude(limiter, "rpm"),
        None if blower_limit is None else magnitude(blower_limit, "rpm"),
        factory,
    )
    return Outcome(values, verdict, odd, notes, plots=[plot])


def _rpm(speed: Quantity) -> str:
    return show(amount(speed, "rpm"))


CALCULATOR = Calculator(
    slug="blower-drive",
    words=("supercharger", "compressor", "belt"),
    name="Blower speed from its pulleys",
    group="Forced induction",
    question="How fast does the blower turn at the limiter, and at which engine speed does it reach its maximum?",
    inputs=(
        Number("crank_pulley", "Crankshaft pulley diameter", "length", "mm", D(30), D(400), item="crank_pulley"),
        Number("blower_pulley", "Blower pulley diameter", "length", "mm", D(20), D(300), item="blower_pulley"),
        Number("limiter", "Engine speed limiter", "rotation", "rpm", D(500), D(20000), item="limiter"),
        Number(
            "internal_ratio", "Internal ratio of the blower's drive", "count", "1", D("0.2"), D(20),
            help="Left empty, the pulley is taken to sit on the rotor itself: 1.",
            item="blower_internal_ratio", optional=True,
        ),
        Number(
            "blower_limit", "Greatest speed of the blower", "rotation", "rpm", D(1000), D(300000),
            help="From the blower's own data.", item="blower_limit", optional=True,
        ),
        Number(
            "factory_pulley", "Factory's blower pulley diameter", "length", "mm", D(20), D(300),
            help="To see both side by side.", optional=True, factory_item="blower_pulley",
        ),
    ),
    outputs=(
        Output("speed", "Blower speed at the limiter", "rpm", main=True),
        Output("ratio", "Turns of the blower for one of the engine"),
        Output("share", "Share of the blower's maximum", "%"),
        Output("reached", "Engine speed at which the maximum is reached", "rpm"),
        Output("factory_speed", "Blower speed at the limiter with the factory's pulley", "rpm"),
    ),
    formula="i = D crank / D blower · i internal;  n blower = i · n engine",
    sources=(Source("Belt drives without slip", "ratio of the pitch diameters", Kind.MECHANICS),),
    work=work,
    cautions=(
        "Measure with the engine off and the key out: a belt drive takes hands and hair. A blower above its maximum "
        "can burst.",
    ),
    example={
        "crank_pulley": "150 mm", "blower_pulley": "60 mm", "limiter": "6500 rpm", "blower_limit": "14000 rpm",
        "factory_pulley": "65 mm",
    },
)  # fmt: skip
