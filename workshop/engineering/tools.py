"""Hand torque tools by ISO 6789-1:2017: classes, permissible deviation, working range.

Marks: types and class letters from an article on the 2017 edition; ±6/±4 % for Type II class A from a
tool maker's manual that reviews the standard; the other classes from memory. A tool's own calibration
certificate goes before all of this.
"""

from dataclasses import dataclass
from decimal import Decimal

from workshop.engineering.errors import EngineeringError
from workshop.engineering.numbers import plain

FINE_UP_TO_NM = Decimal(10)
# Fallback only: since 2017 the range begins at the lowest marked value, so the certificate decides.
FALLBACK_LOW = Decimal("0.2")


class ToolError(EngineeringError):
    """A tool class that isn't known, or a range that can't be."""


@dataclass(frozen=True)
class ToolClass:
    """One class of the standard. `sets`: it is set and releases (Type II); else it indicates (Type I)."""

    code: str
    designation: str
    name: str
    sets: bool
    deviation_small: Decimal
    deviation: Decimal


def _tool_class(letter: str, name: str, *, sets: bool, above_10: int) -> ToolClass:
    kind = "II" if sets else "I"
    return ToolClass(
        f"{kind}-{letter}", f"Type {kind} class {letter}", name, sets, Decimal(6), Decimal(above_10)
    )


TOOL_CLASSES: dict[str, ToolClass] = {
    c.code: c
    for c in (
        _tool_class("A", "Bending or torsion bar wrench with pointer", sets=False, above_10=6),
        _tool_class("B", "Rigid-housing wrench with scale or dial", sets=False, above_10=4),
        _tool_class("C", "Electronic wrench with display", sets=False, above_10=4),
        _tool_class("D", "Screwdriver with scale or dial", sets=False, above_10=6),
        _tool_class("E", "Electronic screwdriver with display", sets=False, above_10=4),
        _tool_class("A", "Click wrench, adjustable, with scale", sets=True, above_10=4),
        _tool_class("B", "Click wrench, fixed value", sets=True, above_10=4),
        _tool_class("C", "Click wrench, adjustable, without scale", sets=True, above_10=4),
        _tool_class("D", "Release screwdriver, adjustable, with scale", sets=True, above_10=6),
        _tool_class("E", "Release screwdriver, fixed value", sets=True, above_10=6),
        _tool_class("F", "Release screwdriver, adjustable, without scale", sets=True, above_10=6),
        _tool_class("G", "Bending bar wrench, adjustable, with scale", sets=True, above_10=6),
    )
}


def permissible_deviation(tool_class: str, max_torque_Nm: Decimal) -> Decimal:
    """The largest deviation, in percent of the true value, that the standard permits such a tool."""
    try:
        chosen = TOOL_CLASSES[tool_class]
    except KeyError:
        raise ToolError(f"“{tool_class}” is no class of ISO 6789-1. Choose one from the list.") from None
    if not max_torque_Nm.is_finite() or max_torque_Nm <= 0:
        raise ToolError("The tool's highest torque must be above zero.")
    return chosen.deviation_small if max_torque_Nm <= FINE_UP_TO_NM else chosen.deviation


@dataclass(frozen=True)
class WorkingRange:
    """The torques, in N·m and inclusive, within which a reading of this tool counts."""

    low: Decimal
    high: Decimal
    from_certificate: bool

    def holds(self, torque_Nm: Decimal) -> bool:
        return self.low <= torque_Nm <= self.high

    @property
    def sentence(self) -> str:
        origin = "from its certificate" if self.from_certificate else "20 to 100 % of its highest torque"
        return f"{plain(self.low)} to {plain(self.high)} N·m, {origin}"


def working_range(
    max_torque_Nm: Decimal,
    certificate_range: tuple[Decimal, Decimal] | None = None,
) -> WorkingRange:
    """The certificate's range where there is one, else 20 to 100 % of the highest torque. All in N·m.

    Refuses with `ToolError` a range that is reversed, empty of torque, or above the highest torque.
    """
    if not max_torque_Nm.is_finite() or max_torque_Nm <= 0:
        raise ToolError("The tool's highest torque must be above zero.")
    if certificate_range is None:
        return WorkingRange(max_torque_Nm * FALLBACK_LOW, max_torque_Nm, from_certificate=False)
    low, high = certificate_range
    if not (low.is_finite() and high.is_finite() and 0 <= low < high):
        raise ToolError("The certificate's range goes from a lower torque to a higher one.")
    if high > max_torque_Nm:
        raise ToolError(
            f"The certificate's range ends at {high:f} N·m, above the tool's highest torque "
            f"{max_torque_Nm:f} N·m."
        )
    return WorkingRange(low, high, from_certificate=True)
