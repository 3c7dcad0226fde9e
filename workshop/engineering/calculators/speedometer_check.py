"""A speedometer against true speeds, in the band of UN R39."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, InputErrors, Numbers, Outcome, Output, Table
from workshop.engineering.plot import Axis, Band, Mark, Plot
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.tyres import R39, r39_off

D = Decimal


def work(shown: list[Quantity], true: list[Quantity]) -> Outcome:
    if len(shown) != len(true):
        raise InputErrors(
            {"true": f"Give one true speed for each speed shown: {len(shown)} shown, {len(true)} true."}
        )
    pairs = [(magnitude(v1, "km/h"), magnitude(v2, "km/h")) for v1, v2 in zip(shown, true, strict=True)]
    off = [r39_off(v1, v2) for v1, v2 in pairs]
    outside = sum(x != 0 for x in off)
    errors = [(v1 / v2 - 1) * 100 for v1, v2 in pairs]
    return Outcome(
        {
            "error": quantity(sum(errors) / len(errors), "%"),
            "inside": f"{len(pairs) - outside} of {len(pairs)}",
        },
        _verdict(off),
        odd=outside > 0,
        tables=[
            Table(
                "Reading by reading, km/h",
                ("True", "Shown", "Band of UN R39", "Where"),
                tuple(
                    (_speed(v2), _speed(v1), f"{_speed(v2)} to {_speed(v2 + v2 / 10 + 4)}", _where(x))
                    for (v1, v2), x in zip(pairs, off, strict=True)
                ),
            )
        ],
        plots=[_plot(pairs)],
    )


def _speed(value: float) -> str:
    """With one decimal, or with two where it was read so."""
    return f"{value:.1f}" if abs(value - round(value, 1)) < 1e-6 else f"{value:.2f}"


def _off(value: float) -> str:
    """A difference with as many decimals as it needs not to read as nothing."""
    return f"{value:.1f}" if value >= 0.1 else f"{value:.1g}" if value >= 1e-4 else "less than 0.0001"


def _where(off: float) -> str:
    if off == 0:
        return "in the band"
    return f"{_off(-off)} too little" if off < 0 else f"{_off(off)} above the band"


def _verdict(off: list[float]) -> str:
    low, high = [x for x in off if x < 0], [x for x in off if x > 0]
    if low:
        return f"It shows up to {_off(-min(low))} km/h less than the car does. UN R39 has it never show too little."
    if high:
        return f"It shows up to {_off(max(high))} km/h more than the band of UN R39 has."
    return "Every reading lies in the band of UN R39: not below the true speed, not more than V/10 + 4 km/h above it."


def _plot(pairs: list[tuple[float, float]]) -> Plot:
    fastest = max(v2 for _, v2 in pairs) * 1.15
    differences = [v1 - v2 for v1, v2 in pairs]
    return Plot(
        slug="speedometer-readings",
        title="Readings in the band of UN R39",
        x=Axis("True speed, km/h", 0, fastest),
        y=Axis("Shown too much, km/h", min(0.0, *differences) - 4, max(fastest / 10 + 4, *differences) + 2),
        summary=f"{len(pairs)} readings. {_verdict([r39_off(*pair) for pair in pairs])}",
        bands=(Band("UN R39", ((0, 0), (fastest, 0)), ((0, 4), (fastest, fastest / 10 + 4))),),
        marks=tuple(Mark(f"{v1:.0f}", (v2, v1 - v2)) for v1, v2 in pairs),
        head=("True, km/h", "Shown, km/h"),
        rows=tuple((_speed(v2), _speed(v1)) for v1, v2 in pairs[:8]),
    )


CALCULATOR = Calculator(
    slug="speedometer-check",
    words=("speedo", "clock", "gps"),
    name="Speedometer check",
    group="Wheels and tyres",
    question="Does the speedometer show no less, and not much more, than the car really does?",
    inputs=(
        Numbers("shown", "Speed shown", "speed", "km/h", D(5), D(450), "Reading", at_most=12),
        Numbers(
            "true",
            "True speed",
            "speed",
            "km/h",
            D(5),
            D(450),
            "Reading",
            at_most=12,
            help="From a satellite receiver at steady speed on the level, or from a roller. In the same order.",
        ),
    ),
    outputs=(
        Output("error", "Shows too much, on average", "%", main=True),
        Output("inside", "Readings in the band"),
    ),
    formula="0 ≤ V1 − V2 ≤ V2/10 + 4 km/h, V1 shown, V2 true",
    sources=(R39,),
    work=work,
    cautions=("Have somebody else read and write: the driver drives.",),
    example={"shown": "42 84 125 km/h", "true": "40 80 120 km/h"},
)
