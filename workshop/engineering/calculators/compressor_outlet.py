"""How hot and how dense the air leaves a compressor, by its isentropic efficiency."""

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
)
from workshop.engineering.induction import (
    density_ratio,
    isentropic_efficiency,
    kelvin,
    outlet_kelvin,
    outlet_temperature,
    pressure_ratio,
)
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal


def work(
    boost: Quantity,
    inlet: Quantity,
    ambient: Quantity,
    efficiency: Quantity,
    outlet_measured: Quantity | None,
) -> Outcome:
    ratio = pressure_ratio(boost, ambient)
    ideal = quantity(outlet_kelvin(kelvin(inlet), ratio, 1.0), "K")
    outlet = outlet_temperature(inlet, ratio, efficiency)
    density = density_ratio(ratio, inlet, outlet)
    values: dict[str, Quantity | str] = {
        "outlet": outlet,
        "pressure_ratio": f"{ratio:.4f}",
        "density_ratio": f"{density:.4f}",
        "ideal": ideal,
        "rise": outlet - quantity(kelvin(inlet), "K"),
    }
    verdict = (
        f"The air leaves the compressor at {_degrees(outlet)}, {density:.2f} times as dense as outside; "
        f"without any loss it would be {_degrees(ideal)}."
    )
    odd = False
    if outlet_measured is not None:
        if kelvin(outlet_measured) <= kelvin(inlet):
            raise InputErrors(
                {
                    "outlet_measured": f"Compressed air is hotter than the {_degrees(inlet)} at which it went in."
                }
            )
        measured = isentropic_efficiency(inlet, outlet_measured, ratio)
        values |= {"measured_efficiency": measured}
        odd = magnitude(measured, "1") > 1
        verdict += (
            f" The measured {_degrees(outlet_measured)} would be better than any compressor can do: look at where "
            "the temperature and the boost were taken, and whether the sensor had time."
            if odd
            else f" The measured {_degrees(outlet_measured)} speaks of an efficiency of {show(amount(measured, '%'))}."
        )
    return Outcome(values, verdict, odd)


def _degrees(temperature: Quantity) -> str:
    return show(amount(temperature, "degC"))


CALCULATOR = Calculator(
    slug="compressor-outlet",
    words=("turbo", "supercharger", "boost"),
    name="Air behind a compressor",
    group="Forced induction",
    question="How hot and how dense does the air leave a blower or turbocharger?",
    inputs=(
        Number("boost", "Boost above the air outside", "pressure", "bar", D("0.01"), D(4), item="boost"),
        Number("inlet", "Temperature of the air going in", "temperature", "degC", D(-40), D(80)),
        AMBIENT,
        Number(
            "efficiency", "Isentropic efficiency of the compressor", "ratio", "%", D(20), D(95),
            item="compressor_efficiency",
            assumed=EFFICIENCY,
        ),
        Number(
            "outlet_measured", "Temperature measured behind the compressor", "temperature", "degC", D(-40), D(350),
            help="Under steady boost. Then the efficiency that it speaks of is worked out.", optional=True,
        ),
    ),
    outputs=(
        Output("outlet", "Temperature behind the compressor", "degC", main=True),
        Output("rise", "Rise of temperature", "K"),
        Output("pressure_ratio", "Pressure ratio"),
        Output("density_ratio", "Density against the air outside"),
        Output("ideal", "Temperature without any loss", "degC"),
        Output("measured_efficiency", "Efficiency from the measured temperature", "%"),
    ),
    formula="PR = (p + boost) / p;  T2 = T1 · [1 + (PR^0.2857 − 1) / η];  density ratio = PR · T1 / T2  (kelvin)",
    sources=(
        Source("Young & Freedman, University Physics, 12th ed.", "ch. 19, adiabatic compression", Kind.PUBLISHED),
        Source("Usual efficiencies of blowers", "", Kind.COMMON_PRACTICE),
    ),
    work=work,
    cautions=("Compressors, charge pipes and exhausts burn: let them cool, or fit the sensor on a cold engine.",),
    example={"boost": "0.6 bar", "inlet": "15 degC", "ambient": "101.3 kPa", "efficiency": "60 %"},
)  # fmt: skip
