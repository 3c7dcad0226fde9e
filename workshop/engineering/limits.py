"""Measurements against their limits: wear, play, pressures. The value alone, without a tool's deviation."""

from decimal import Decimal

from workshop.engineering.verdict import Limits, LimitsError, ReadingError, Verdict


def check(value: Decimal, low: Decimal | None, high: Decimal | None) -> Verdict:
    """`within`, `below` or `above`; limits inclusive, all in one unit, negative values allowed (camber).

    Refuses two open limits or reversed ones with `LimitsError`, a value that is no number with
    `ReadingError`.
    """
    if not value.is_finite():
        raise ReadingError("A measured value must be an ordinary number.")
    limits = Limits(low, high)
    if limits.low is not None and value < limits.low:
        return Verdict.BELOW
    if limits.high is not None and value > limits.high:
        return Verdict.ABOVE
    return Verdict.WITHIN


__all__ = ["Limits", "LimitsError", "ReadingError", "Verdict", "check"]
