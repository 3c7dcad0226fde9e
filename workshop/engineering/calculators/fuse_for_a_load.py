"""The next blade fuse for a load that runs for hours, and whether the cable carries that fuse."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.cable_inputs import FUSE_SHARE, INSULATION, SECTION, SURROUNDINGS
from workshop.engineering.declare import (
    Calculator,
    Choice,
    InputErrors,
    Number,
    Outcome,
    Output,
    Table,
)
from workshop.engineering.electrical import (
    CARRIES_SOURCE,
    FUSE_SOURCE,
    FUSE_TIMES,
    FUSE_TIMES_SOURCE,
    FUSE_TYPES,
    FUSES,
    SHARE_SOURCE,
    carries_at,
    next_fuse,
)
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal


def work(
    current: Quantity,
    kind: str,
    share: Quantity,
    section: Quantity | None,
    insulation: str,
    surroundings: Quantity,
) -> Outcome:
    part = magnitude(share, "%") / 100
    rating = next_fuse(magnitude(current, "A"), kind, part)
    if rating is None:
        largest = max(FUSES[kind])
        raise InputErrors(
            {
                "current": f"The largest fuse of this type, {largest:g} A, carries {largest * part:.1f} A for hours. "
                "Choose a larger type, or share the load out."
            }
        )
    fuse = quantity(rating, "A")
    values: dict[str, Quantity | str] = {
        "fuse": fuse,
        "colour": FUSES[kind][rating],
        "least": current / part,
        "used": quantity(100 * magnitude(current, "A") / rating, "%"),
    }
    verdict, odd, notes = f"{rating:g} A is the next standard fuse.", False, []
    if section is None:
        notes.append("The cable must carry the fuse, not only the load: give its cross-section to compare.")
    else:
        carries = carries_at(magnitude(section, "mm2"), magnitude(surroundings, "degC"), float(insulation))
        values["carries"] = quantity(carries, "A")
        odd = carries < rating * (1 - 1e-9)
        verdict += (
            f" This cable carries only some {carries:.1f} A: the fuse would not protect it. Lay a thicker cable."
            if odd
            else f" This cable carries some {carries:.1f} A, no less than the fuse's rating."
        )
        notes.append(
            f"A fuse may carry 110 % of its rating, here {1.1 * rating:.4g} A, for 100 hours (type C, from memory): a cable "
            "that carries that too stays cool enough."
        )
    notes.append(
        "Read the number on the fuse; its colour is only a help. Motors and lamps draw more when they start."
    )
    tables = []
    if kind == "C":
        rows = tuple(
            (
                f"{percent} %",
                f"{percent / 100 * rating:.4g} A",
                f"no sooner than {low / 3600:.0f} h" if high == float("inf") else f"{low:g} s to {high:g} s",
            )
            for percent, low, high in FUSE_TIMES
        )
        tables.append(Table("When it opens", ("Of its rating", "Current", "Opens in"), rows))
    return Outcome(values, verdict, odd, notes, tables)


CALCULATOR = Calculator(
    slug="fuse-for-a-load",
    words=("fuses", "blown"),
    name="Fuse for a load",
    group="Electrical",
    question="Which fuse does this load need, and does the cable carry that fuse?",
    inputs=(
        Number("current", "Current of the load", "current", "A", D("0.01"), D(100), item="load_current", units=("A",)),
        Choice("kind", "Kind of fuse", FUSE_TYPES, usual="C"),
        FUSE_SHARE,
        SECTION,
        INSULATION,
        SURROUNDINGS,
    ),
    outputs=(
        Output("fuse", "Fuse", "A", main=True),
        Output("colour", "Colour of the fuse"),
        Output("least", "Least rating", "A"),
        Output("used", "Load, of the fuse's rating", "%"),
        Output("carries", "The cable carries", "A"),
    ),
    formula="I fuse ≥ I load / share, the next standard rating;  I fuse ≤ I that the cable carries",
    sources=(FUSE_SOURCE, FUSE_TIMES_SOURCE, SHARE_SOURCE, CARRIES_SOURCE),
    work=work,
    cautions=("Never fit a larger fuse because the right one opens: find out why it opens.",),
    example={
        "current": "8 A", "kind": "C", "share": "75 %", "section": "1.5 mm2", "insulation": "70",
        "surroundings": "40 degC",
    },
)  # fmt: skip
