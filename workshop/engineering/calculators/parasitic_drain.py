"""Which circuit drains the battery, from the current with one fuse after another pulled."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Calculator,
    Choice,
    InputErrors,
    Kind,
    Number,
    Numbers,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.declare import Table as Rows
from workshop.engineering.drain import (
    PRACTICE,
    USABLE,
    USUAL_LIMIT,
    Came,
    Found,
    Pull,
    days_to_flat,
    find,
    milliamps,
)
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal
ORDERS = (("back", "each put back before the next"), ("out", "each left out"))


def work(readings: list[Quantity], order: str, limit: Quantity | None, capacity: Quantity | None) -> Outcome:
    baseline, *without = [magnitude(each, "mA") for each in readings]
    if baseline <= 0:
        raise InputErrors(
            {"readings": "The first reading is what flows with every fuse in: it must be more than nothing."}
        )
    came = Came.BACK if order == "back" else Came.LEFT_OUT
    pulls = [Pull(f"Fuse {number}", each, came) for number, each in enumerate(without, 1)]
    most = USUAL_LIMIT if limit is None else magnitude(limit, "mA")
    findings = find(baseline, pulls, most, all_tried=True)
    values: dict[str, Quantity | str] = {
        "circuit": ", ".join(each.circuit for each in findings.circuits)
        if findings.found in (Found.ONE, Found.SEVERAL)
        else {Found.NOTHING_TO_FIND: "nothing to find", Found.AGAIN: "not known: measure again"}.get(
            findings.found, "none of these"
        ),
    }
    if findings.found is not Found.AGAIN:
        values["left"] = quantity(max(findings.left, 0.0), "mA")
    notes = [] if limit is not None else [f"No limit was given: {USUAL_LIMIT:g} mA is common practice."]
    notes.append(
        "A fall counts only when the reading comes back with the fuse: otherwise a control unit fell asleep meanwhile."
    )
    if capacity is not None:
        days = days_to_flat(magnitude(capacity, "Ah"), baseline)
        after = (
            None if findings.found is Found.AGAIN else days_to_flat(magnitude(capacity, "Ah"), findings.left)
        )
        values["before"] = quantity(days or 0, "d")
        notes.append(
            f"Flat means here that {100 * USABLE:.0f} % of the capacity is taken: with half of it gone most engines still "
            "start, in summer. An old or a cold battery holds less than is printed on it."
        )
        if after is not None:
            values["after"] = quantity(after, "d")
    rows = tuple(
        (
            each.circuit,
            milliamps(each.before),
            milliamps(each.without),
            milliamps(each.drop),
            each.words or "falls",
        )
        for each in findings.drops
    )
    return Outcome(
        values,
        findings.sentence,
        findings.found is not Found.NOTHING_TO_FIND,
        notes,
        [Rows("Fuse by fuse", ("Pulled", "Before", "Without it", "Difference", "What it says"), rows)],
    )


CALCULATOR = Calculator(
    slug="parasitic-drain",
    words=("battery", "quiescent current", "flat battery"),
    name="Parasitic drain",
    group="Electrical",
    question="Which circuit drains the battery, from the current with one fuse after another pulled?",
    inputs=(
        Numbers(
            "readings", "Current with all fuses in, then with each fuse out", "current", "mA", D(0), D(50000),
            "Reading", at_least=2, units=("mA", "A"),
            help="After the car fell asleep. The first reading is the one before any fuse was pulled.",
        ),
        Choice("order", "The fuses", ORDERS, usual="back"),
        Number(
            "limit", "Greatest quiescent current", "current", "mA", D(1), D(1000), item="quiescent_current",
            optional=True, units=("mA", "A"),
        ),
        Number("capacity", "Battery capacity", "charge", "Ah", D(1), D(400), item="battery_capacity", optional=True),
    ),
    outputs=(
        Output("circuit", "Look at", main=True),
        Output("left", "Left without it", "mA"),
        Output("before", "Half of it taken after, as it is", "d"),
        Output("after", "Half of it taken after, without it", "d"),
    ),
    formula="drop of a fuse = reading before − reading without it;  t = 0.5 · C / I",
    sources=(PRACTICE, Source("Currents that meet in one cable add up", kind=Kind.MECHANICS)),
    work=work,
    cautions=(
        "Do not start the engine or switch a large load on through the meter. Keep off airbag and high-voltage circuits "
        "(orange cables).",
    ),
    example={"readings": "350 348 349 18 347 mA", "order": "back", "capacity": "95 Ah"},
)  # fmt: skip
