"""What a tyre size says: width, height, diameter, circumference, turns in a kilometre."""

from __future__ import annotations

from workshop.engineering.declare import Calculator, InputErrors, Kind, Outcome, Output, Source, Text
from workshop.engineering.quantities import magnitude, quantity
from workshop.engineering.tyre_size import TyreError, parse_size, speed_of
from workshop.engineering.tyres import (
    LOADS,
    PLY_WORDS,
    ROLLING_FACTOR,
    SIZE,
    circumference,
    load_kg,
    turns_per,
)


def work(size: str) -> Outcome:
    try:
        read = parse_size(size)
        diameter = quantity(read.diameter, "mm")
    except TyreError as error:
        raise InputErrors({"size": str(error)}) from error
    round_ = circumference(diameter)
    values = {
        "diameter": diameter,
        "circumference": round_,
        "width": quantity(read.width, "mm"),
        "sidewall": quantity(read.sidewall, "mm"),
        "rim": quantity(read.rim, "mm"),
        "turns": quantity(turns_per(quantity(1, "km"), round_), "1"),
    }
    if read.radial:
        values["rolling"] = ROLLING_FACTOR * diameter
    notes = []
    load = ""
    if read.load_index in LOADS:
        load = f"{load_kg(read.load_index)} kg each"
    elif read.load_index is not None:
        notes.append(
            f"Load index {read.load_index} is not in the table, which goes from {min(LOADS)} to {max(LOADS)}: read it "
            "again, or ask the tyre's maker."
        )
    if read.ply:
        notes.append(PLY_WORDS)
    texts = {"load": load, "speed": f"{speed_of(read.symbol)} km/h" if read.symbol else ""}
    if read.height_assumed:
        notes.append("This size names no height: 82 % of the width is taken, some makers have 80 %.")
    if read.zr and not read.symbol:
        notes.append(
            "ZR without a speed symbol behind it means over 240 km/h: the tyre's maker says how fast."
        )
    if read.kind == "T":
        notes.append("T is a temporary spare: drive with it only as far and as fast as is written on it.")
    return Outcome(
        {**values, **{name: text for name, text in texts.items() if text}},
        f"By its size this tyre is {read.diameter:.0f} mm high and rolls {magnitude(round_, 'mm'):.0f} mm in one turn "
        "of its free outside.",
        notes=notes,
    )


CALCULATOR = Calculator(
    slug="tyre-size",
    words=("tire", "sidewall", "aspect ratio"),
    name="Tyre size",
    group="Wheels and tyres",
    question="How high and wide is a tyre by its size, and how far does it roll in one turn?",
    inputs=(Text("size", "Tyre size", "205/55 R16 91V", "As on the sidewall.", item="front.tyre_size"),),
    outputs=(
        Output("diameter", "Outside diameter", "mm", main=True),
        Output("circumference", "Circumference, π times the diameter", "mm"),
        Output("rolling", "Rolling circumference of a radial, about", "mm"),
        Output("turns", "Turns in a kilometre", "1"),
        Output("width", "Width of the section", "mm"),
        Output("sidewall", "Height of the sidewall", "mm"),
        Output("rim", "Rim diameter", "mm"),
        Output("load", "Load by the load index"),
        Output("speed", "Greatest speed by the speed symbol"),
    ),
    formula="D = rim + 2 · width · height/100;  C = π · D;  rolling, radial: 3.05 · D",
    sources=(
        SIZE,
        Source("ETRTO Standards Manual", "rolling circumference of a radial = 3.05 · D", Kind.FROM_MEMORY),
    ),
    work=work,
    example={"size": "205/55 R16 91V"},
)
