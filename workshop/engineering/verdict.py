"""The verdict on a torque reading: within, below, above, or not proven by this tool.

Source of the rule: ISO 14253-1 (decision rule with a guard band) with the permissible deviation of
ISO 6789-1:2017 as the uncertainty; the arithmetic was checked, the wording of both is from memory.
With a deviation d the true torque for a set or shown X lies in [X/(1+d), X/(1-d)], because
ISO 6789 relates the deviation to the true value: d = (X - true) / true.
"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal, localcontext
from enum import StrEnum

from workshop.engineering.errors import EngineeringError
from workshop.engineering.numbers import plain
from workshop.engineering.units import factor, with_label

# A comparison at a limit must be exact: products of typed numbers fit, and no quotient is compared.
DIGITS = 60
MOST_DECIMALS = 30
# As many a sentence gives, where no more are needed to tell a number from its limit.
MOST_SAID = 3


class LimitsError(EngineeringError):
    """Limits that no value could be compared with."""


class ReadingError(EngineeringError):
    """A reading or a deviation that can't be judged."""


class DecisionRule(StrEnum):
    """How a shop accepts a reading near a limit; the printed sheet names the one that was used."""

    GUARDED = "guarded"
    PLAIN = "plain"

    @property
    def label(self) -> str:
        return {
            "guarded": "guarded acceptance (ISO 14253-1, with the tool's ISO 6789 deviation)",
            "plain": "plain acceptance (the value alone, without the tool's deviation)",
        }[self]


class Verdict(StrEnum):
    WITHIN = "within"
    BELOW = "below"
    ABOVE = "above"
    NOT_PROVEN = "not_proven"

    @property
    def label(self) -> str:
        return "not proven by this tool" if self is Verdict.NOT_PROVEN else self.value


@dataclass(frozen=True)
class Limits:
    """Lowest and highest accepted value in the base unit, both inclusive; one of them may be open."""

    low: Decimal | None
    high: Decimal | None

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise LimitsError("Give a lowest value, a highest value, or both.")
        if any(x is not None and not x.is_finite() for x in (self.low, self.high)):
            raise LimitsError("A limit must be an ordinary number.")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise LimitsError(f"The lowest value {plain(self.low)} is above the highest {plain(self.high)}.")

    @classmethod
    def around(cls, target: Decimal, plus: Decimal, minus: Decimal | None = None) -> "Limits":
        """Target with its tolerance in the same unit; `minus` is the size of the lower one, not signed."""
        minus = plus if minus is None else minus
        if plus < 0 or minus < 0:
            raise LimitsError("Give both tolerances as sizes, without a minus sign.")
        return cls(target - minus, target + plus)

    @classmethod
    def around_percent(cls, target: Decimal, percent: Decimal) -> "Limits":
        """Target with the same tolerance both ways, in percent of the target."""
        return cls.around(target, abs(target) * percent / 100)

    @classmethod
    def between(cls, low: Decimal, high: Decimal) -> "Limits":
        return cls(low, high)

    @classmethod
    def at_least(cls, low: Decimal) -> "Limits":
        """A minimum only, as for a castle nut that goes on to the next hole."""
        return cls(low, None)

    @classmethod
    def at_most(cls, high: Decimal) -> "Limits":
        return cls(None, high)

    def __str__(self) -> str:
        if self.low is None:
            return f"at most {plain(self.high)}"
        if self.high is None:
            return f"at least {plain(self.low)}"
        return f"{plain(self.low)} to {plain(self.high)}"


@dataclass(frozen=True)
class Judgement:
    """A verdict with all that led to it. True values and limits in the unit of `value` (N·m).

    Under plain acceptance the true values still say what the tool's deviation leaves open.
    """

    verdict: Verdict
    value: Decimal
    true_low: Decimal
    true_high: Decimal
    limits: Limits
    deviation_percent: Decimal
    rule: DecisionRule
    sentence: str


@dataclass(frozen=True)
class _Words:
    """Numbers of one unit said in another, for a sentence: `ratio` of the shown unit to one of them.

    `fewest` decimals of a number that was worked out: more only where they tell it from a limit.
    """

    ratio: Decimal
    code: str
    judged_by: Limits
    fewest: int = MOST_SAID

    def _text(self, value: Decimal, decimals: int = MOST_SAID) -> str:
        return with_label(plain(value * self.ratio, decimals), self.code)

    def value(self, value: Decimal) -> str:
        return self._text(value, self._decimals(value))

    def _decimals(self, value: Decimal) -> int:
        """The fewest with which the text lies on the same side of both limits, as they are said, as the value."""
        for decimals in range(self.fewest, MOST_SAID):
            said = round(value * self.ratio, decimals)
            if all(
                (said > round(limit * self.ratio, MOST_SAID)) == (value > limit)
                and (said < round(limit * self.ratio, MOST_SAID)) == (value < limit)
                for limit in (self.judged_by.low, self.judged_by.high)
                if limit is not None
            ):
                return decimals
        return MOST_SAID

    def pair(self, value: Decimal, limit: Decimal) -> tuple[str, str]:
        """Two different numbers as texts that differ, so that no sentence says "90 is below 90"."""
        if self._text(value) != self._text(limit):
            return self.value(value), self._text(limit)
        decimals = MOST_SAID
        while self._text(value, decimals) == self._text(limit, decimals):
            decimals += 1
        return self._text(value, decimals), self._text(limit, decimals)

    def limits(self, limits: Limits) -> str:
        shown = (None if x is None else x * self.ratio for x in (limits.low, limits.high))
        return with_label(str(Limits(*shown)), self.code)

    def proven(self, limits: Limits) -> str:
        """A proven range rounded inwards, so that no value of the text lies outside it."""
        decimals = 3
        while True:
            step = Decimal(1).scaleb(-decimals)
            low = limits.low and (limits.low * self.ratio).quantize(step, ROUND_CEILING)
            high = limits.high and (limits.high * self.ratio).quantize(step, ROUND_FLOOR)
            # A single value needs all its digits; after so many it is shown as it is.
            if low is None or high is None or low <= high:
                return with_label(str(Limits(low, high)), self.code)
            if decimals == MOST_DECIMALS:
                return self.limits(limits)
            decimals += 1


def _fraction(deviation_percent: Decimal) -> Decimal:
    if not deviation_percent.is_finite() or not 0 <= deviation_percent < 100:
        raise ReadingError("A tool's permissible deviation is a percentage from 0 to below 100.")
    return deviation_percent / 100


def proven_range(limits: Limits, deviation_percent: Decimal) -> Limits | None:
    """The values that a tool of this deviation proves within the limits; None when there are none."""
    with localcontext(prec=DIGITS):
        d = _fraction(deviation_percent)
        low = None if limits.low is None else limits.low * (1 + d)
        high = None if limits.high is None else limits.high * (1 - d)
        if low is not None and high is not None and low > high:
            return None
        return Limits(low, high)


def widest_provable_deviation(limits: Limits) -> Decimal | None:
    """The largest deviation, in percent, with which a tool can prove some value within the limits.

    None when a limit is open: then any tool can. For finding a tolerance that no tool could prove.
    """
    if limits.low is None or limits.high is None:
        return None
    if limits.high <= 0:
        raise LimitsError("A torque limit must be above zero.")
    return max(Decimal(0), limits.high - limits.low) / (limits.high + max(Decimal(0), limits.low)) * 100


def with_running_torque(limits: Limits, running: Decimal) -> Limits:
    """Limits raised by the running (prevailing) torque of a self-locking nut, measured while turning."""
    if not running.is_finite() or running < 0:
        raise ReadingError("Running torque is zero or more.")
    with localcontext(prec=DIGITS):
        return Limits(
            None if limits.low is None else limits.low + running,
            None if limits.high is None else limits.high + running,
        )


def judge(
    value: Decimal,
    limits: Limits,
    deviation_percent: Decimal = Decimal(0),
    rule: DecisionRule = DecisionRule.GUARDED,
    *,
    unit: str = "N.m",
    shown_in: str | None = None,
    fewest_decimals: int = MOST_SAID,
) -> Judgement:
    """Judge one torque or angle against its limits; limits are inclusive.

    `value` is what the tool was set to or showed; it and the limits are in `unit`, best the base unit.
    The sentence speaks in `shown_in`, such as the tool's own unit; a value that was worked out is given with
    `fewest_decimals`, or as many more, to three, as put it on its side of a limit. Refuses zero and negative values, and
    deviations outside 0 to 100 %, with `ReadingError`.
    """
    if not value.is_finite() or value <= 0:
        raise ReadingError("A reading must be above zero.")
    with localcontext(prec=DIGITS):
        shown = shown_in or unit
        say = _Words(factor(unit, shown), shown, limits, fewest_decimals)
        d = _fraction(deviation_percent)
        true_low, true_high = value / (1 + d), value / (1 - d)
        proven = proven_range(limits, deviation_percent)
        if limits.low is not None and value < limits.low:
            verdict = Verdict.BELOW
            sentence = "{} is below the lowest accepted value {}.".format(*say.pair(value, limits.low))
        elif limits.high is not None and value > limits.high:
            verdict = Verdict.ABOVE
            sentence = "{} is above the highest accepted value {}.".format(*say.pair(value, limits.high))
        elif rule is DecisionRule.PLAIN or d == 0:
            verdict, sentence = (
                Verdict.WITHIN,
                f"{say.value(value)} is within the limits ({say.limits(limits)}).",
            )
        elif proven is not None and _inside(value, proven):
            verdict = Verdict.WITHIN
            sentence = (
                f"{say.value(value)} is within the limits ({say.limits(limits)}): "
                f"with ±{plain(deviation_percent)} % the true value lies between "
                f"{say.value(true_low)} and {say.value(true_high)}."
            )
        else:
            verdict = Verdict.NOT_PROVEN
            sentence = (
                f"{say.value(value)} is within the limits ({say.limits(limits)}), "
                f"but with ±{plain(deviation_percent)} % the true value may be anywhere "
                f"from {say.value(true_low)} to {say.value(true_high)}. "
            ) + (
                f"Proven by this tool: {say.proven(proven)}."
                if proven
                else "No value is proven by this tool: take one with a smaller deviation."
            )
        return Judgement(verdict, value, true_low, true_high, limits, deviation_percent, rule, sentence)


def _inside(value: Decimal, limits: Limits) -> bool:
    return (limits.low is None or value >= limits.low) and (limits.high is None or value <= limits.high)
