"""What differs between left and right: camber, caster and ride height."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Calculator,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
    Table,
)
from workshop.engineering.quantities import Quantity, amount, magnitude
from workshop.engineering.units import show

D = Decimal
# What shops take for camber and caster where the maker states nothing. Common practice, no source.
USUAL_LIMIT_DEG = 0.5


def work(
    camber_left: Quantity,
    camber_right: Quantity,
    caster_left: Quantity | None,
    caster_right: Quantity | None,
    height_left: Quantity | None,
    height_right: Quantity | None,
    limit: Quantity | None,
) -> Outcome:
    largest = USUAL_LIMIT_DEG if limit is None else magnitude(limit, "deg")
    camber = camber_left - camber_right
    values: dict[str, Quantity | str] = {"camber": camber}
    sentences, odd = [], _beyond(camber, largest)
    rows = [_row("Camber", camber_left, camber_right, camber, "deg", largest)]
    if magnitude(camber, "deg"):
        more = "left" if magnitude(camber, "deg") > 0 else "right"
        sentences.append(f"A car tends to pull to the side of the more positive camber: the {more}.")
    caster = _pair("caster", caster_left, caster_right)
    if caster is not None:
        left, right, difference = caster
        values["caster"] = difference
        odd = odd or _beyond(difference, largest)
        rows.append(_row("Caster", left, right, difference, "deg", largest))
        if magnitude(difference, "deg"):
            less = "left" if magnitude(difference, "deg") < 0 else "right"
            sentences.append(f"It tends to pull to the side of the lesser caster: the {less}.")
    height = _pair("height", height_left, height_right)
    if height is not None:
        values["height"] = height[2]
        rows.append(_row("Ride height", *height, "mm", None))
    beyond = "is more than" if odd else "stays within"
    said = "the limit given" if limit is not None else "what shops usually allow"
    verdict = f"The difference from side to side {beyond} {said}, {largest:g}°."
    notes = [*sentences]
    if limit is None:
        notes.append("No limit was given: 0.5° is common practice, no source. The maker's data come first.")
    return Outcome(
        values,
        verdict,
        odd,
        notes,
        [Table("Left against right", ("", "Left", "Right", "Left minus right", "Mark"), tuple(rows))],
    )


def _pair(
    name: str, left: Quantity | None, right: Quantity | None
) -> tuple[Quantity, Quantity, Quantity] | None:
    if left is None and right is None:
        return None
    if left is None:
        raise InputErrors({f"{name}_left": "Give both sides, or neither."})
    if right is None:
        raise InputErrors({f"{name}_right": "Give both sides, or neither."})
    return left, right, left - right


def _beyond(difference: Quantity, largest: float) -> bool:
    # A hair of room: 1.3° − 0.8° is a little more than 0.5° in floats.
    return abs(magnitude(difference, "deg")) > largest + 1e-9


def _row(
    name: str, left: Quantity, right: Quantity, difference: Quantity, code: str, largest: float | None
) -> tuple[str, ...]:
    mark = "–" if largest is None else "too far apart" if _beyond(difference, largest) else "within"
    return name, *(show(amount(one, code)) for one in (left, right, difference)), mark


def _degrees(name: str, label: str, low: int, high: int, *, optional: bool = True) -> Number:
    return Number(name, label, "angle", "deg", D(low), D(high), optional=optional)


CALCULATOR = Calculator(
    slug="cross-values",
    words=("side to side", "camber", "caster", "castor"),
    name="Left against right",
    group="Alignment and steering",
    question="How far do camber, caster and ride height differ from left to right?",
    inputs=(
        _degrees("camber_left", "Camber, left", -10, 10, optional=False),
        _degrees("camber_right", "Camber, right", -10, 10, optional=False),
        _degrees("caster_left", "Caster, left", -5, 20),
        _degrees("caster_right", "Caster, right", -5, 20),
        Number("height_left", "Ride height, left", "length", "mm", D(20), D(1500), optional=True),
        Number("height_right", "Ride height, right", "length", "mm", D(20), D(1500), optional=True),
        Number(
            "limit", "Greatest difference that the maker allows", "angle", "deg", D("0.05"), D(5), optional=True,
            help="Left empty, 0.5° is taken: common practice, no source.",
        ),
    ),
    outputs=(
        Output("camber", "Camber, left minus right", "deg", main=True),
        Output("caster", "Caster, left minus right", "deg"),
        Output("height", "Ride height, left minus right", "mm"),
    ),
    formula="cross = left − right",
    sources=(Source("Signs, usual difference and pull", "", Kind.COMMON_PRACTICE),),
    work=work,
    cautions=("Before adjusting, look for what is bent or worn: tyre pressures, springs, bushes, the ride height.",),
    local_approval=True,
    example={
        "camber_left": "-0.5 deg", "camber_right": "-1.2 deg", "caster_left": "3.1 deg", "caster_right": "3.4 deg",
    },
)  # fmt: skip
