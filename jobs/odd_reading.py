"""A torque that looks as if it had been typed in the wrong unit: said with the value in the unit that fits.

How far off a number must be to be asked about is the application's own choice, no source. N·m and lbf·ft, the two
that are mostly mixed up, lie 36 % apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError

from jobs.models import StageTarget
from workshop.engineering.units import Amount, show
from workshop.models.shop import TorqueUnit

# Outside this part of the target a number is asked about, where in another unit it is the target's own number: as a
# manual rounds it, to a whole one or to one in a hundred …
LOW, HIGH = Decimal("0.8"), Decimal("1.25")
ROUNDING, SAME = Decimal("0.5"), Decimal("0.01")
# … and outside this one also where in another unit it lies within the limits, or this near to the target.
FAR_LOW, FAR_HIGH = Decimal("0.5"), Decimal("1.5")
NEAR = Decimal("0.1")
# Where only one limit is given, this many times off it is still taken for usual.
OPEN = 3


@dataclass(frozen=True)
class Offer:
    """One tap that puts it right: the field that is sent with another value, and what the button says."""

    name: str
    value: str
    label: str


def question(
    reading: Amount, target: StageTarget, torque: Callable[[Amount], Decimal]
) -> ValidationError | None:
    """Why a reading is asked about, with offers in `params`; None where nothing is odd.

    `torque` gives the torque at the fastener in N·m for what was typed, which is not the same through an extension.
    """
    value, aim = torque(reading), _aim(target)
    if aim is None or _within(value, target) or aim * LOW <= value <= aim * HIGH:
        return None
    far = not aim * FAR_LOW <= value <= aim * FAR_HIGH
    fitting = [
        other
        for unit in TorqueUnit.values
        if unit != reading.unit and _fits(other := Amount(reading.value, unit), target, aim, torque, far=far)
    ]
    if not fitting:
        return None
    tens = [Amount(reading.value * 10, reading.unit), Amount(reading.value / 10, reading.unit)]
    slips = [each for each in tens if _within(torque(each), target)] if far else []
    said = " or ".join(show(each) for each in fitting)
    number = f" Or did you mean {show(slips[0])}?" if slips else ""
    return ValidationError(
        f"{show(reading)} is far from the target. Look at the number and the unit: {said} would fit.{number} "
        "If it is right as typed, tick the box below and send again.",
        code="odd_unit",
        params={
            "offers": [
                *(Offer("reading_unit", each.unit, f"It was {show(each)}") for each in fitting),
                *(Offer("reading_value", f"{each.value:f}", f"It was {show(each)}") for each in slips),
            ]
        },
    )


def _aim(target: StageTarget) -> Decimal | None:
    """What is tightened to, in N·m."""
    if target.base_value is not None:
        return target.base_value
    if target.base_low is not None and target.base_high is not None:
        return (target.base_low + target.base_high) / 2
    return target.base_low if target.base_low is not None else target.base_high


def _within(value: Decimal, target: StageTarget) -> bool:
    """Within the limits; a side that is open ends somewhere all the same."""
    low, high = target.base_low, target.base_high
    if low is None and high is None:
        return False
    return (low if low is not None else high / OPEN) <= value <= (high if high is not None else low * OPEN)


def _fits(
    other: Amount, target: StageTarget, aim: Decimal, torque: Callable[[Amount], Decimal], *, far: bool
) -> bool:
    value = torque(other)
    if not far:
        return abs(value - aim) <= max(torque(Amount(ROUNDING, other.unit)), aim * SAME)
    return _within(value, target) or abs(value - aim) <= aim * NEAR
