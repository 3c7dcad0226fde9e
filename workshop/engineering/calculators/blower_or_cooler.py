"""What helps more: a compressor that heats the air less, or a cooler that takes more of the heat away."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.air_inputs import AMBIENT, EFFICIENCY
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
from workshop.engineering.induction import (
    cooled_temperature,
    density_ratio,
    kelvin,
    outlet_temperature,
    pressure_ratio,
)
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal


def work(
    boost: Quantity,
    ambient: Quantity,
    inlet: Quantity,
    coolant: Quantity,
    efficiency: Quantity,
    better_efficiency: Quantity,
    effectiveness: Quantity,
    better_effectiveness: Quantity,
    loss: Quantity | None,
    better_loss: Quantity | None,
) -> Outcome:
    errors = {}
    for name, each in (("loss", loss), ("better_loss", better_loss)):
        if each is not None and magnitude(each, "kPa") >= magnitude(boost, "kPa"):
            errors[name] = (
                f"The cooler would take all the boost: give less than {show(amount(boost, 'bar'))}."
            )
    ratio = pressure_ratio(boost, ambient)
    old_loss = 0.0 if loss is None else magnitude(loss, "kPa") / magnitude(ambient, "kPa")
    new_loss = old_loss if better_loss is None else magnitude(better_loss, "kPa") / magnitude(ambient, "kPa")
    hot = outlet_temperature(inlet, ratio, efficiency)
    less_hot = outlet_temperature(inlet, ratio, better_efficiency)
    if kelvin(coolant) >= min(kelvin(hot), kelvin(less_hot)):
        coolest = hot if kelvin(hot) < kelvin(less_hot) else less_hot
        errors["coolant"] = (
            f"Give less than the {_degrees(coolest)} behind the compressor: else nothing cools."
        )
    if errors:
        raise InputErrors(errors)
    first_rise = kelvin(hot) - kelvin(inlet)
    ways = (
        ("as it is", hot, effectiveness, old_loss),
        ("other compressor", less_hot, effectiveness, old_loss),
        ("other cooler", hot, better_effectiveness, new_loss),
        ("both", less_hot, better_effectiveness, new_loss),
    )
    densities, rows = [], []
    for name, outlet, share, lost in ways:
        cooled = cooled_temperature(outlet, coolant, share)
        densities.append(density_ratio(ratio, inlet, cooled, lost))
        effort = (kelvin(outlet) - kelvin(inlet)) / first_rise
        rows.append(
            (
                name,
                _degrees(outlet),
                _degrees(cooled),
                f"{densities[-1]:.4f}",
                _percent(densities[-1] / densities[0] - 1),
                _percent(effort - 1),
            )
        )
    _, compressor, cooler, _ = densities
    difference = compressor / cooler - 1
    if abs(difference) < 0.0005:
        verdict = (
            "Both give the same density. The compressor of the better efficiency also takes less to drive."
        )
    else:
        more, other = ("compressor", "cooler") if difference > 0 else ("cooler", "compressor")
        verdict = (
            f"The other {more} gives {max(compressor, cooler):.4f} times the density of the air outside, "
            f"the other {other} {min(compressor, cooler):.4f}: the {more} helps the air more."
        )
    return Outcome(
        {
            "compressor": f"{compressor:.4f}",
            "cooler": f"{cooler:.4f}",
            "difference": quantity(difference, "1"),
            "now": f"{densities[0]:.4f}",
            "both": f"{densities[3]:.4f}",
        },
        verdict,
        notes=[
            "All at the same boost before the cooler. What it takes to drive the compressor goes with the rise of "
            "temperature in it, for the same amount of air."
        ],
        tables=[
            Table(
                "Side by side",
                (
                    "",
                    "Behind the compressor",
                    "Behind the cooler",
                    "Density ratio",
                    "Density",
                    "Work to drive it",
                ),
                tuple(rows),
            )
        ],
    )


def _degrees(temperature: Quantity) -> str:
    return show(amount(temperature, "degC"))


def _percent(change: float) -> str:
    """A change against the first row, with its sign."""
    rounded = f"{abs(change) * 100:.1f} %"
    return "as it is" if rounded == "0.0 %" else f"{'+' if change > 0 else '−'}{rounded}"


CALCULATOR = Calculator(
    slug="blower-or-cooler",
    words=("intercooler", "supercharger", "turbo"),
    name="Better compressor or bigger cooler",
    group="Forced induction",
    question="Does a more efficient compressor or a better charge cooler give the engine denser air?",
    inputs=(
        Number("boost", "Boost before the cooler", "pressure", "bar", D("0.01"), D(4), item="boost"),
        AMBIENT,
        Number("inlet", "Temperature of the air going in", "temperature", "degC", D(-40), D(80)),
        Number("coolant", "Temperature of what cools it", "temperature", "degC", D(-40), D(120)),
        Number(
            "efficiency", "Isentropic efficiency of the compressor as it is", "ratio", "%", D(20), D(95),
            item="compressor_efficiency",
            assumed=EFFICIENCY,
        ),
        Number("better_efficiency", "Efficiency of the other compressor", "ratio", "%", D(20), D(95)),
        Number(
            "effectiveness", "Effectiveness of the cooler as it is", "ratio", "%", D(0), D(100),
            help="0 % where there is none.", item="cooler_effectiveness",
        ),
        Number("better_effectiveness", "Effectiveness of the other cooler", "ratio", "%", D(0), D(100)),
        Number(
            "loss", "Pressure loss in the cooler as it is", "pressure", "bar", D(0), D(1),
            item="cooler_pressure_loss", optional=True, help="Left empty, none is counted.",
        ),
        Number(
            "better_loss", "Pressure loss in the other cooler", "pressure", "bar", D(0), D(1), optional=True,
            help="Left empty, the same as the cooler's as it is.",
        ),
    ),
    outputs=(
        Output("difference", "Density with the other compressor against the other cooler", "%", main=True),
        Output("now", "Density ratio as it is"),
        Output("compressor", "Density ratio with the other compressor"),
        Output("cooler", "Density ratio with the other cooler"),
        Output("both", "Density ratio with both"),
    ),
    formula="T2 = T1 · [1 + (PR^0.2857 − 1) / η];  T3 = T2 − ε · (T2 − Tcool);  density ratio = (PR − Δp / p) · T1 / T3",
    sources=(
        Source("Young & Freedman, University Physics, 12th ed.", "ch. 19, adiabatic compression", Kind.PUBLISHED),
        Source("Usual efficiencies of blowers", "", Kind.COMMON_PRACTICE),
    ),
    work=work,
    cautions=("More air needs more fuel and the right ignition: without both the engine burns its pistons.",),
    example={
        "boost": "0.6 bar", "ambient": "101.3 kPa", "inlet": "15 degC", "coolant": "25 degC", "efficiency": "60 %",
        "better_efficiency": "72 %", "effectiveness": "70 %", "better_effectiveness": "80 %",
    },
)  # fmt: skip
