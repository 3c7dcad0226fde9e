"""A torque taken through an extension: what the wrench was set to, and what the fastener got by it.

The three lengths and angles are kept in mm and degrees with two decimals, and everything is worked out from what
is kept, so that it can be worked out again.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError

from jobs.models import TorqueReading
from workshop.engineering.declare import InputErrors, Number
from workshop.engineering.extension import ANGLE, EXTENSION, LENGTH, decimal_ratio
from workshop.engineering.numbers import plain
from workshop.engineering.units import UNITS, Amount, rounded, show

FIELDS = ("lever_length", "extension_length", "extension_angle")
# What is asked for, with the plausible range of the calculator.
ASKED: dict[str, Number] = dict(zip(FIELDS, (LENGTH, EXTENSION, ANGLE), strict=True))
MISSING = {
    "lever_length": "Measure the wrench too: from the middle of the grip to the square drive.",
    "extension_length": "Measure the extension too: from the square drive to the middle of the fastener.",
    "extension_angle": "Give the angle too: 0° in line with the wrench, 90° square to it.",
}
_ERROR_FIELDS = {"length": "lever_length", "extension": "extension_length"}


@dataclass(frozen=True)
class Through:
    """`lever` from grip to drive and `extension` from drive to fastener in mm, `angle` between them in degrees."""

    lever: Decimal
    extension: Decimal
    angle: Decimal

    @property
    def ratio(self) -> Decimal:
        """Torque at the fastener over what the wrench is set to."""
        return decimal_ratio(self.lever, self.extension, self.angle)

    def at_fastener(self, setting: Decimal) -> Decimal:
        """The torque at the fastener for a setting, both in one unit, with six decimals."""
        return (setting * self.ratio).quantize(Decimal("0.000001"))

    def to_set(self, aim: Amount) -> Amount:
        """What the wrench is set to, for a torque at the fastener, as fine as its unit is shown."""
        return Amount(rounded(aim.value / self.ratio, aim.unit), aim.unit)

    @property
    def amounts(self) -> dict[str, Amount]:
        """By the names of the fields."""
        given = ((self.lever, "mm"), (self.extension, "mm"), (self.angle, "deg"))
        return {
            name: Amount(Decimal(plain(value)), code)
            for name, (value, code) in zip(FIELDS, given, strict=True)
        }

    @property
    def words(self) -> str:
        return (
            f"through {plain(self.extension)} mm at {plain(self.angle)}° on a {plain(self.lever)} mm wrench"
        )


def through_of(
    lever_length: Amount | None, extension_length: Amount | None, extension_angle: Amount | None
) -> Through | None:
    """What was typed, or None where nothing was. Refuses, beside its field, what is missing or not plausible."""
    typed = dict(zip(FIELDS, (lever_length, extension_length, extension_angle), strict=True))
    if all(value is None for value in typed.values()):
        return None
    errors = {name: MISSING[name] for name, value in typed.items() if value is None}
    kept: dict[str, Decimal] = {}
    for name, value in typed.items():
        if value is None:
            continue
        if refusal := _refusal(name, value):
            errors[name] = refusal
        else:
            kept[name] = value.to(ASKED[name].unit).value.quantize(Decimal("0.01"))
    if errors:
        raise ValidationError(errors)
    found = Through(*(kept[name] for name in FIELDS))
    try:
        found.ratio  # noqa: B018 (folded back too far, it has none)
    except InputErrors as refusal:
        raise ValidationError(
            {_ERROR_FIELDS[name]: sentence for name, sentence in refusal.errors.items()}
        ) from refusal
    return found


def _refusal(name: str, value: Amount) -> str:
    asked = ASKED[name]
    if value.dimension != asked.dimension:
        return f"This is measured in {UNITS[asked.unit].label}: choose that unit."
    there = value.to(asked.unit).value
    low, high = (Amount(limit, asked.unit) for limit in (asked.low, asked.high))
    if name == "extension_length" and there <= 0:
        return "An extension of 0 mm is none: leave all three empty."
    if not asked.low <= there <= asked.high:
        return f"Give {show(low)} to {show(high)}: {show(value)} was typed."
    return ""


def of_reading(row: TorqueReading | None) -> Through | None:
    """The extension that a reading was taken through; None without one."""
    if row is None or row.setting is None:
        return None
    return Through(row.lever_length, row.extension_length, row.extension_angle)


def before(readings: list[TorqueReading], step_id: int, tool_id) -> Through | None:
    """What the last reading of this step with this tool was taken through: the next one mostly is too."""
    for row in reversed(readings):
        if row.step_id == step_id and row.tool_id == tool_id and row.stands_for_work:
            return of_reading(row)
    return None
