"""What the tyres of an axle carry, against the load on it."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, Choice, InputErrors, Number, Outcome, Output, Text
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.tyre_size import TyreError, speed_of
from workshop.engineering.tyres import (
    FULL_LOAD_TO,
    LOAD_FAST,
    LOAD_MEMORY,
    LOAD_TABLE,
    load_kg,
    needed_index,
    share_at,
    share_range,
)

D = Decimal


def work(
    index: Quantity, symbol: str | None, tyres: str, axle_load: Quantity, top_speed: Quantity | None
) -> Outcome:
    each = float(load_kg(round(magnitude(index, "1"))))
    share = _share(symbol, top_speed)
    count = int(tyres)
    carries, load = each * share * count, magnitude(axle_load, "kg")
    spare = carries - load
    verdict = f"The tyres of this axle carry {carries:.0f} kg together; {load:.0f} kg lie on it. "
    verdict += (
        f"That leaves {spare:.0f} kg."
        if spare >= 0
        else f"The load index is too low by {-spare:.0f} kg: tyres with index {needed_index(load, share, count)} or more carry it."
    )
    values: dict[str, Quantity | str] = {
        "carries": quantity(carries, "kg"),
        "each": quantity(each * share, "kg"),
        "use": quantity(load / carries * 100, "%"),
        "needed": needed_index(load, share, count),
    }
    if symbol:
        values["speed"] = quantity(speed_of(symbol), "km/h")
    notes = []
    if share < 1:
        notes.append(f"At this speed a tyre with symbol {symbol} carries {share * 100:.0f} % of its load.")
    if top_speed is None and symbol and share_range(symbol, None)[0] < 1:
        notes.append(
            f"100 % of the load was assumed: with speed symbol {symbol.strip().upper()} it is less in a car that runs "
            "faster than 210 km/h. Give the car's greatest speed."
        )
    if count == 4:
        notes.append("For twinned tyres take the second load index, the lower one: 104/102 gives 102.")
    return Outcome(values, verdict, odd=spare < 0, notes=notes)


def _share(symbol: str | None, top_speed: Quantity | None) -> float:
    if not symbol:
        if top_speed is not None and magnitude(top_speed, "km/h") > FULL_LOAD_TO:
            raise InputErrors({"symbol": "Give the speed symbol too: above 210 km/h the load depends on it."})
        return 1.0
    try:
        fastest = speed_of(symbol)
    except TyreError as error:
        raise InputErrors({"symbol": str(error)}) from error
    if top_speed is None:
        return share_at(symbol, min(fastest, FULL_LOAD_TO))
    speed = magnitude(top_speed, "km/h")
    if speed > fastest:
        raise InputErrors(
            {
                "top_speed": f"The car runs {speed:.0f} km/h, the speed symbol {symbol.upper()} goes to {fastest} km/h: "
                "the tyres are too slow for it, whatever they carry."
            }
        )
    return share_at(symbol, speed)


CALCULATOR = Calculator(
    slug="load-index",
    words=("axle weight",),
    name="Load index against axle load",
    group="Wheels and tyres",
    question="Do the tyres carry what lies on the axle?",
    inputs=(
        Number("index", "Load index", "count", "1", D(50), D(160), item="front.load_index", whole=True),
        Text(
            "symbol",
            "Speed symbol",
            "V",
            "The letter behind the load index.",
            item="front.speed_symbol",
            max_length=4,
            optional=True,
        ),
        Choice("tyres", "Tyres on this axle", (("2", "two"), ("4", "four, twinned")), usual="2"),
        Number(
            "axle_load",
            "Load on the axle",
            "mass",
            "kg",
            D(25),
            D(8000),
            "As weighed, as the car is used; or the greatest permitted axle mass.",
            item="front.axle_mass_weighed",
        ),
        Number(
            "top_speed",
            "Greatest speed of the car",
            "speed",
            "km/h",
            D(20),
            D(450),
            "Left empty, the load up to 210 km/h is taken.",
            item="driven_top_speed",
            optional=True,
        ),
    ),
    outputs=(
        Output("carries", "The tyres of this axle carry", "kg", main=True),
        Output("each", "Each tyre carries", "kg"),
        Output("use", "Of that in use", "%"),
        Output("needed", "Least load index for this load"),
        Output("speed", "Greatest speed by the symbol", "km/h"),
    ),
    formula="load = tyres · load of the index · share at the greatest speed",
    sources=(LOAD_TABLE, LOAD_MEMORY, LOAD_FAST),
    work=work,
    cautions=(
        "The load index holds at the pressure that the tyre's maker gives for it: less pressure carries less.",
    ),
    example={
        "index": "91 1",
        "symbol": "V",
        "tyres": "2",
        "axle_load": "1050 kg",
        "top_speed": "205 km/h",
    },
)
