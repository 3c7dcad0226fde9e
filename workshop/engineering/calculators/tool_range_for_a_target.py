"""To which settings a torque tool proves its reading within the limits, with its own deviation taken off."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from workshop.engineering.bolt_inputs import D, decimals, torque_unit
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
from workshop.engineering.numbers import plain
from workshop.engineering.quantities import Quantity, amount, quantity
from workshop.engineering.tools import TOOL_CLASSES, permissible_deviation, working_range
from workshop.engineering.units import Amount, show, with_label
from workshop.engineering.verdict import Limits, proven_range, widest_provable_deviation


def work(
    low: Quantity,
    high: Quantity,
    tool_max: Quantity,
    tool_class: str | None,
    deviation: Quantity | None,
) -> Outcome:
    unit, bottom, top = torque_unit(low), decimals(low, "N.m"), decimals(high, "N.m")
    if bottom > top:
        raise InputErrors({"high": f"The highest value is at least the lowest, {show(amount(low, unit))}."})
    largest = decimals(tool_max, "N.m")
    percent = _deviation(tool_class, deviation, largest)
    limits = Limits.between(bottom, top)
    widest = _down(widest_provable_deviation(limits) or D(0))
    values: dict[str, Quantity | Amount | str] = {
        "taken_off": quantity(percent, "%"),
        "widest": quantity(widest, "%"),
    }
    proven, within = proven_range(limits, percent), working_range(largest)
    if proven is None or proven.low is None or proven.high is None:
        return Outcome(
            {"range": "no value", **values},
            verdict=f"With ±{plain(percent)} % no setting is proven within these limits: take a tool with "
            f"±{plain(widest)} % or better."
            if widest
            else "These limits leave no room: no tool can prove one single value. Ask for the tolerance.",
            odd=True,
        )
    usable = proven.low <= within.high and proven.high >= within.low
    counts = f"{show(Amount(within.low, 'N.m'), unit)} to {show(Amount(within.high, 'N.m'), unit)}"
    if not usable:
        return Outcome(
            {"range": "no value", **values},
            verdict=f"Outside the working range of this tool, {counts}: take another one.",
            odd=True,
        )
    words = _inwards(max(proven.low, within.low), min(proven.high, within.high), unit)
    notes = []
    if not (within.holds(proven.low) and within.holds(proven.high)):
        notes = [
            f"Cut to where the tool counts without its certificate, {counts} (20 to 100 % of its highest torque). "
            f"The limits alone would give {_inwards(proven.low, proven.high, unit)}."
        ]
    return Outcome(
        {"range": words, **values},
        verdict=f"Set or shown anywhere from {words}, a tool with ±{plain(percent)} % proves the torque within the "
        "limits.",
        notes=notes,
    )


def _down(percent: Decimal) -> Decimal:
    """A deviation rounded down as it is shown, so that a tool of that deviation does prove something."""
    return percent.quantize(D("0.1") if percent >= 1 else D("0.01"), ROUND_FLOOR)


def _inwards(low: Decimal, high: Decimal, code: str) -> str:
    """A range in N·m as words in a unit, rounded inwards, so that no value of the words lies outside it."""
    bottom, top = Amount(low, "N.m").to(code).value, Amount(high, "N.m").to(code).value
    for places in range(1, 7):
        step = Decimal(1).scaleb(-places)
        least, most = bottom.quantize(step, ROUND_CEILING), top.quantize(step, ROUND_FLOOR)
        if least <= most:
            return with_label(f"{plain(least)} to {plain(most)}", code)
    return with_label(plain(bottom, 6), code)


def _deviation(tool_class: str | None, typed: Quantity | None, largest: Decimal) -> Decimal:
    """Percent: the certificate's, else what the standard permits the class."""
    if typed is not None:
        return decimals(typed, "%")
    if tool_class is None:
        raise InputErrors(
            {"tool_class": "Choose the class of the tool, or give the deviation of its certificate below."}
        )
    return permissible_deviation(tool_class, largest)


CALCULATOR = Calculator(
    slug="tool-range-for-a-target",
    words=("torque wrench", "click wrench", "which wrench"),
    name="Tool range for a target",
    group="Fasteners",
    question="To what may this torque tool be set, so that it proves the torque within the limits?",
    inputs=(
        Number("low", "Lowest torque that is accepted", "torque", "N.m", D("0.1"), D(5000)),
        Number("high", "Highest torque that is accepted", "torque", "N.m", D("0.1"), D(5000)),
        Number("tool_max", "Highest torque of the tool", "torque", "N.m", D("0.2"), D(5000)),
        Choice(
            "tool_class",
            "Class of the tool",
            tuple((code, f"{of.name} ({of.designation})") for code, of in TOOL_CLASSES.items()),
            usual="II-A",
            optional=True,
        ),
        Number(
            "deviation",
            "Deviation by its certificate",
            "ratio",
            "%",
            D("0.1"),
            D(20),
            help="Left empty: what the standard permits its class.",
            optional=True,
        ),
    ),
    outputs=(
        Output("range", "Proven when set to, or shown", main=True),
        Output("taken_off", "Deviation taken off, either way", "%"),
        Output("widest", "Widest deviation that could prove anything here", "%"),
    ),
    formula="low · (1 + δ) to high · (1 − δ), within 20 to 100 % of the tool's highest torque",
    sources=(
        Source("ISO 6789-1:2017", "permissible deviation; Type II class A as in a tool maker's manual"),
        Source("ISO 14253-1", "decision rule with a guard band", Kind.FROM_MEMORY),
    ),
    work=work,
    example={"low": "90 N.m", "high": "110 N.m", "tool_max": "200 N.m", "tool_class": "II-A"},
)
