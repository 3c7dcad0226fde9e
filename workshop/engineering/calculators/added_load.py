"""A load added to a circuit: on its fuse, on its cable, and on the alternator."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.cable_inputs import FUSE_SHARE, INSULATION, SECTION, SURROUNDINGS
from workshop.engineering.declare import (
    Calculator,
    InputErrors,
    Number,
    Outcome,
    Output,
    Table,
)
from workshop.engineering.electrical import (
    CARRIES_SOURCE,
    SHARE_SOURCE,
    carries_at,
)
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal


def work(
    added: Quantity,
    there: Quantity | None,
    fuse: Quantity,
    share: Quantity,
    section: Quantity | None,
    insulation: str,
    surroundings: Quantity,
    alternator: Quantity | None,
    in_use: Quantity | None,
) -> Outcome:
    if in_use is not None and alternator is None:
        raise InputErrors({"alternator": "Give the alternator's rated current too, 5 to 500 A."})
    load = added if there is None else added + there
    amps, rating, part = magnitude(load, "A"), magnitude(fuse, "A"), magnitude(share, "%") / 100
    values: dict[str, Quantity | str] = {"load": load, "of_fuse": quantity(100 * amps / rating, "%")}
    rows, over, notes = [], [], []

    def compare(what: str, current: float, most: float, name: str) -> None:
        room = most - current
        rows.append((what, f"{current:.1f} A", f"{most:.1f} A", f"{room:.1f} A".replace("-", "−")))
        if room < -1e-9:
            over.append(name)

    compare(
        f"fuse of {show(amount(fuse, 'A'))}, for hours",
        amps,
        rating * part,
        "what the fuse carries for hours",
    )
    if section is not None:
        carries = carries_at(magnitude(section, "mm2"), magnitude(surroundings, "degC"), float(insulation))
        values["of_cable"] = quantity(100 * amps / carries, "%") if carries else "carries nothing this hot"
        compare(f"cable of {show(amount(section, 'mm2'))}", amps, carries, "what the cable carries")
        compare(
            "the same cable, for its fuse",
            rating,
            carries,
            "what the cable carries when only its fuse guards it",
        )
    if alternator is not None:
        used = added if in_use is None else added + in_use
        values["of_alternator"] = quantity(100 * magnitude(used, "A") / magnitude(alternator, "A"), "%")
        what = "alternator, this load alone" if in_use is None else "alternator, with what was in use"
        compare(what, magnitude(used, "A"), magnitude(alternator, "A"), "the alternator's rating")
        notes.append(
            "At idle an alternator gives far less than its rating, and it charges the battery too. Measure the battery "
            "voltage with everything on."
        )
    verdict = f"{show(amount(load, 'A'))} on a fuse of {show(amount(fuse, 'A'))}: "
    verdict += f"more than {', and than '.join(over)}." if over else "within all that was given here."
    return Outcome(
        values,
        verdict,
        bool(over),
        notes,
        [Table("What is asked and what there is", ("Of", "Asked", "There is", "Room"), tuple(rows))],
    )


def _current(
    name: str, label: str, high: int, item: str = "", *, optional: bool = False, help: str = ""
) -> Number:
    return Number(name, label, "current", "A", D("0.01"), D(high), help, ("A",), item, optional)


CALCULATOR = Calculator(
    slug="added-load",
    words=("accessory", "consumer", "lamps", "heater"),
    name="Added load",
    group="Electrical",
    question="Can this circuit and the alternator take one more load?",
    inputs=(
        _current("added", "Current of the added load", 500, "load_current"),
        _current("there", "Current of what is on this fuse already", 500, optional=True),
        _current("fuse", "Rating of the fuse", 500, "fuse_rating"),
        FUSE_SHARE,
        SECTION,
        INSULATION,
        SURROUNDINGS,
        _current("alternator", "Rated current of the alternator", 500, "alternator_current", optional=True),
        _current(
            "in_use", "Current of all that runs at once without it", 500, optional=True,
            help="Measured with a clamp: engine, lamps, heating and wipers on.",
        ),
    ),
    outputs=(
        Output("load", "Load on the fuse", "A"),
        Output("of_fuse", "Of the fuse's rating", "%", main=True),
        Output("of_cable", "Of what the cable carries", "%"),
        Output("of_alternator", "Of the alternator's rating", "%"),
    ),
    formula="I = I there + I added, beside share · I fuse, the current that the cable carries, I alternator",
    sources=(SHARE_SOURCE, CARRIES_SOURCE),
    work=work,
    example={
        "added": "6 A", "there": "4 A", "fuse": "15 A", "share": "75 %", "section": "1.5 mm2", "insulation": "70",
        "surroundings": "40 degC", "alternator": "90 A", "in_use": "55 A",
    },
)  # fmt: skip
