"""Toe as a length and as an angle, total and of each wheel, with the cross value and the thrust angle."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Calculator,
    Choice,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.suspension import thrust_angle, toe_angle, toe_length, toe_words

D = Decimal
_ONE_WAY = "Give the toe in one way only: the total or both wheels, in mm or as an angle."


def work(
    axle: str,
    diameter: Quantity,
    total_length: Quantity | None,
    total_angle: Quantity | None,
    left_length: Quantity | None,
    right_length: Quantity | None,
    left_angle: Quantity | None,
    right_angle: Quantity | None,
) -> Outcome:
    by_length = _both("length", left_length, right_length)
    by_angle = _both("angle", left_angle, right_angle)
    ways = [
        name
        for name, value in (
            ("total_length", total_length),
            ("total_angle", total_angle),
            ("left_length", by_length),
            ("left_angle", by_angle),
        )
        if value is not None
    ]
    if len(ways) > 1:
        raise InputErrors(dict.fromkeys(ways[1:], _ONE_WAY))
    if total_length is not None:
        return _total(toe_angle(total_length, diameter), diameter)
    if total_angle is not None:
        return _total(total_angle, diameter)
    if by_length is not None:
        by_angle = toe_angle(by_length[0], diameter), toe_angle(by_length[1], diameter)
    if by_angle is None:
        raise InputErrors({"": "Give the toe: the total, or both wheels, in mm or as an angle."})
    return _wheels(axle, *by_angle, diameter)


def _both(kind: str, left: Quantity | None, right: Quantity | None) -> tuple[Quantity, Quantity] | None:
    """Both wheels, or None where neither is given. One alone is refused beside the other's field."""
    if left is None and right is None:
        return None
    if left is None:
        raise InputErrors({f"left_{kind}": "Give the left wheel too, in the same way as the right."})
    if right is None:
        raise InputErrors({f"right_{kind}": "Give the right wheel too, in the same way as the left."})
    return left, right


def _total(total: Quantity, diameter: Quantity) -> Outcome:
    minutes = magnitude(total, "arcmin")
    return Outcome(
        {"total": total, "total_mm": toe_length(total, diameter)},
        f"In total {toe_words(minutes)}: {toe_words(minutes / 2)} at each wheel, if both stand alike. "
        "Only single values show whether they do.",
    )


def _wheels(axle: str, left: Quantity, right: Quantity, diameter: Quantity) -> Outcome:
    left_minutes, right_minutes = magnitude(left, "arcmin"), magnitude(right, "arcmin")
    total = quantity(left_minutes + right_minutes, "arcmin")
    verdict = (
        f"Left {toe_words(left_minutes)}, right {toe_words(right_minutes)}, "
        f"in total {toe_words(left_minutes + right_minutes)}."
    )
    values: dict[str, Quantity | str] = {
        "total": total,
        "total_mm": toe_length(total, diameter),
        "left": left,
        "left_mm": toe_length(left, diameter),
        "right": right,
        "right_mm": toe_length(right, diameter),
        "cross": quantity(left_minutes - right_minutes, "arcmin"),
    }
    if axle == "rear":
        thrust = thrust_angle(left, right)
        values["thrust"] = thrust
        angle = magnitude(thrust, "arcmin")
        if abs(angle) < 0.05:
            verdict += " The rear axle points straight ahead."
        else:
            verdict += f" The rear axle points {abs(angle):.1f}′ to the {'right' if angle > 0 else 'left'}."
    elif abs(left_minutes - right_minutes) >= 0.05:
        each = abs(left_minutes - right_minutes) / 2
        verdict += f" Both are alike once one wheel is moved by {each:.1f}′ in and the other by as much out."
    return Outcome(values, verdict)


def _length(name: str, label: str) -> Number:
    return Number(name, label, "length", "mm", D(-40), D(40), units=("mm", "in"), optional=True)


def _angle(name: str, label: str, item: str = "") -> Number:
    return Number(name, label, "angle", "arcmin", D(-300), D(300), optional=True, item=item)


CALCULATOR = Calculator(
    slug="toe-mm-and-degrees",
    words=("tracking", "wheel alignment", "toe-in", "toe-out"),
    name="Toe in mm and as an angle",
    group="Alignment and steering",
    question="What is a toe in mm as an angle, or the other way round, in total and for each wheel?",
    inputs=(
        Choice("axle", "Axle", (("front", "front"), ("rear", "rear")), usual="front"),
        Number(
            "diameter", "Diameter at which the mm are measured", "length", "mm", D(200), D(1000), units=("mm", "in"),
            help="The edge of the rim where the gauge touches, or the bare rim size if the maker's data say so. The "
            "edge of a 15 in rim is some 9 % larger than 381 mm.",
        ),
        _length("total_length", "Total toe in mm, toe-in positive"),
        _angle("total_angle", "Total toe as an angle, toe-in positive"),
        _length("left_length", "Left wheel in mm"),
        _length("right_length", "Right wheel in mm"),
        _angle("left_angle", "Left wheel as an angle"),
        _angle("right_angle", "Right wheel as an angle"),
    ),
    outputs=(
        Output("total", "Total toe", "arcmin", main=True),
        Output("total_mm", "Total toe at that diameter", "mm"),
        Output("left", "Left wheel", "arcmin"),
        Output("left_mm", "Left wheel at that diameter", "mm"),
        Output("right", "Right wheel", "arcmin"),
        Output("right_mm", "Right wheel at that diameter", "mm"),
        Output("cross", "Left minus right", "arcmin"),
        Output("thrust", "Thrust angle, to the right positive", "arcmin"),
    ),
    formula="θ = asin(mm / D);  total = left + right;  cross = left − right;  thrust = (rear left − rear right) / 2",
    sources=(
        Source("Geometry of the rim", "", Kind.MECHANICS),
        Source("Signs of toe, cross value and thrust angle", "", Kind.COMMON_PRACTICE),
    ),
    work=work,
    cautions=("Tighten every joint that was loosened to the maker's data, at ride height where they say so.",),
    local_approval=True,
    example={"axle": "rear", "diameter": "406.4 mm", "left_angle": "12 arcmin", "right_angle": "-4 arcmin"},
)  # fmt: skip
