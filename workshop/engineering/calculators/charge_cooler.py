"""What a charge cooler does: its effectiveness, the air behind it and what its pressure loss takes back."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.air_inputs import AMBIENT
from workshop.engineering.declare import (
    Calculator,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.induction import (
    cooled_temperature,
    cooler_effectiveness,
    density_ratio,
    kelvin,
    pressure_ratio,
)
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal


def work(
    boost: Quantity,
    ambient: Quantity,
    inlet: Quantity,
    hot: Quantity,
    coolant: Quantity,
    cooled: Quantity | None,
    effectiveness: Quantity | None,
    loss: Quantity | None,
) -> Outcome:
    if kelvin(hot) <= kelvin(coolant):
        raise InputErrors(
            {"hot": f"Give more than the {_degrees(coolant)} of what cools it: else nothing cools."}
        )
    if loss is not None and magnitude(loss, "kPa") >= magnitude(boost, "kPa"):
        raise InputErrors({"loss": f"The cooler would take all the boost: give less than {_bar(boost)}."})
    if cooled is not None:
        if not kelvin(coolant) <= kelvin(cooled) <= kelvin(hot):
            raise InputErrors(
                {
                    "cooled": f"Behind the cooler it lies between {_degrees(coolant)} and {_degrees(hot)}: measure again."
                }
            )
        share, after = cooler_effectiveness(hot, cooled, coolant), cooled
    elif effectiveness is not None:
        share, after = effectiveness, cooled_temperature(hot, coolant, effectiveness)
    else:
        raise InputErrors({"cooled": "Give this, or the effectiveness of the cooler from its data."})
    lost = 0.0 if loss is None else magnitude(loss, "kPa") / magnitude(ambient, "kPa")
    ratio = pressure_ratio(boost, ambient)
    without, density = density_ratio(ratio, inlet, hot), density_ratio(ratio, inlet, after, lost)
    gain = density / without - 1
    verdict = (
        f"The cooler brings the air from {_degrees(hot)} to {_degrees(after)}: "
        f"{density:.2f} times as dense as outside, {without:.2f} times without it."
    )
    if gain < 0:
        verdict += " It costs more by its pressure loss than it gains by cooling."
    if cooled is not None and effectiveness is not None:
        verdict += f" Measured it does {_percent(share)}; its data say {_percent(effectiveness)}."
    notes = ["No pressure loss of the cooler was given: none is counted."] if loss is None else []
    return Outcome(
        {
            "density_ratio": f"{density:.4f}",
            "share": share,
            "after": after,
            "without": f"{without:.4f}",
            "gain": quantity(gain, "1"),
        },
        verdict,
        gain < 0,
        notes,
    )


def _degrees(temperature: Quantity) -> str:
    return show(amount(temperature, "degC"))


def _percent(share: Quantity) -> str:
    return show(amount(share, "%"))


def _bar(pressure: Quantity) -> str:
    return show(amount(pressure, "bar"))


CALCULATOR = Calculator(
    slug="charge-cooler",
    words=("intercooler", "turbo", "heat soak"),
    name="Charge cooler",
    group="Forced induction",
    question="How well does the charge cooler work, and how much denser does it make the air?",
    inputs=(
        Number(
            "boost", "Boost before the cooler, above the air outside", "pressure", "bar", D("0.01"), D(4),
            item="boost",
        ),
        AMBIENT,
        Number("inlet", "Temperature of the air outside", "temperature", "degC", D(-40), D(60)),
        Number("hot", "Temperature before the cooler", "temperature", "degC", D(-20), D(350)),
        Number(
            "coolant", "Temperature of what cools it", "temperature", "degC", D(-40), D(120),
            help="The air at the cooler's face, or the water going in.",
        ),
        Number(
            "cooled", "Temperature measured behind the cooler", "temperature", "degC", D(-40), D(350), optional=True,
            help="Under steady boost. Left empty, it is worked out from the effectiveness.",
        ),
        Number(
            "effectiveness", "Effectiveness of the charge cooler", "ratio", "%", D(0), D(100),
            item="cooler_effectiveness", optional=True,
        ),
        Number(
            "loss", "Pressure loss in the charge cooler", "pressure", "bar", D(0), D(1),
            item="cooler_pressure_loss", optional=True,
        ),
    ),
    outputs=(
        Output("density_ratio", "Density against the air outside", main=True),
        Output("share", "Effectiveness of the cooler", "%"),
        Output("after", "Temperature behind the cooler", "degC"),
        Output("without", "Density without the cooler"),
        Output("gain", "Gain by the cooler", "%"),
    ),
    formula="ε = (T2 − T3) / (T2 − Tcool);  density ratio = (PR − Δp / p) · T1 / T3  (kelvin)",
    sources=(
        Source("Perfect gas and heat exchangers", "effectiveness as a share of the possible cooling", Kind.MECHANICS),
    ),
    work=work,
    cautions=(
        "Charge pipes burn. Let a water-cooled charge cooler cool before its circuit is opened: it may be under "
        "pressure.",
    ),
    example={
        "boost": "0.6 bar", "ambient": "101.3 kPa", "inlet": "15 degC", "hot": "84 degC", "coolant": "25 degC",
        "effectiveness": "70 %", "loss": "0.05 bar",
    },
)  # fmt: skip
