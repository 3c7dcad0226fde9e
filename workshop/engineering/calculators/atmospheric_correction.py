"""Measured power corrected to the standard's air, by ISO 1585 and UN R85 or by SAE J1349."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Assumption,
    Calculator,
    Choice,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
)
from workshop.engineering.engine_tests import diesel_factor, sae_factor, spark_factor, vapour_pressure
from workshop.engineering.quantities import Quantity, amount, magnitude
from workshop.engineering.units import show

D = Decimal
# The factors for which each rule is valid. ISO 1585 and UN R85; the rule of SAE J1349 is held to the same, from memory.
VALID = {"spark": (0.93, 1.07), "diesel": (0.90, 1.10), "turbo-diesel": (0.90, 1.10), "sae": (0.93, 1.07)}
NAMES = {
    "spark": "ISO 1585 / UN R85, spark ignition",
    "diesel": "ISO 1585 / UN R85, diesel, naturally aspirated or with a blower",
    "turbo-diesel": "ISO 1585 / UN R85, diesel, turbocharged",
    "sae": "SAE J1349, spark ignition",
}
_DIESELS = ("diesel", "turbo-diesel")


def work(
    rule: str,
    power: Quantity,
    barometer: Quantity,
    temperature: Quantity,
    humidity: Quantity,
    fuel: Quantity | None,
) -> Outcome:
    if rule in _DIESELS and fuel is None:
        raise InputErrors({"fuel": "Give this: the rule for diesel engines needs it."})
    vapour = vapour_pressure(temperature, magnitude(humidity, "1"))
    dry = barometer - vapour
    notes = []
    if rule == "spark":
        factor = spark_factor(dry, temperature)
    elif rule == "sae":
        factor = sae_factor(dry, temperature)
        notes.append("SAE J1349 is held here to the range of ISO 1585.")
    else:
        assert fuel is not None
        delivered = magnitude(fuel, "1")
        factor = diesel_factor(dry, temperature, delivered, turbocharged=rule == "turbo-diesel")
        if delivered < 40:
            notes.append(
                "Below 40 mg per litre and cycle the exponent is held at 0.3; some editions go down to 0.2 at 37.2."
            )
    low, high = VALID[rule]
    valid = low <= factor <= high
    values: dict[str, Quantity | str] = {"factor": f"{factor:.4f}", "dry": dry, "vapour": vapour}
    if not valid:
        return Outcome(
            values,
            f"The factor {factor:.4f} lies outside {low:g} to {high:g}, where the rule is valid: no corrected power is "
            "given. Measure again in air nearer to 25 °C and 99 kPa.",
            odd=True,
            notes=notes,
        )
    corrected = power * factor
    return Outcome(
        {"corrected": corrected, **values},
        f"{show(amount(power, 'kW'))} measured are {show(amount(corrected, 'kW'))} in the standard's air, "
        f"by a factor of {factor:.4f}; the rule is valid from {low:g} to {high:g}.",
        notes=notes,
    )


CALCULATOR = Calculator(
    slug="atmospheric-correction",
    words=("dyno", "rolling road", "horsepower"),
    name="Power corrected for the air",
    group="Engine tests",
    question="What would the engine have given in the standard's air?",
    inputs=(
        Choice("rule", "By which rule", tuple(NAMES.items()), usual="spark"),
        Number("power", "Power measured", "power", "kW", D("0.5"), D(5000)),
        Number(
            "barometer", "Pressure of the air, absolute", "pressure", "kPa", D(60), D(110),
            help="Where the car stands. A weather report's figure is reduced to sea level: take off 1.2 kPa for 100 m.",
        ),
        Number("temperature", "Temperature of the air going in", "temperature", "degC", D(-30), D(60)),
        Number(
            "humidity", "Relative humidity of that air", "ratio", "%", D(0), D(100),
            assumed=Assumption(D(50), D(20), D(90), "not measured"),
        ),
        Number(
            "fuel", "Fuel, mg for each litre and cycle, over the boost ratio", "count", "1", D(5), D(250), optional=True,
            help="For diesel engines: fuel per litre of displacement and cycle, divided by the absolute boost ratio.",
        ),
    ),
    outputs=(
        Output("corrected", "Power in the standard's air", "kW", main=True, follows="power"),
        Output("factor", "Correction factor"),
        Output("dry", "Pressure of the dry air", "kPa"),
        Output("vapour", "Pressure of its water vapour", "kPa"),
    ),
    formula=(
        "spark αa = (99/ps)^1.2 · (T/298)^0.6;  diesel αd = fa^fm, fa = (99/ps)·(T/298)^0.7 or, turbocharged, "
        "(99/ps)^0.7·(T/298)^1.5, fm = 0.036·qc − 1.14;  SAE cf = 1.18·(99/pd)·√((t+273)/298) − 0.18"
    ),
    sources=(
        Source("ISO 1585 and UN R85", "reference state 25 °C, 99 kPa dry", Kind.PUBLISHED),
        Source("ISO 1585 and UN R85", "exponents and range of validity", Kind.FROM_MEMORY),
        Source("SAE J1349", "formula", Kind.FROM_MEMORY),
        Source("WMO-No. 8", "annex 4.B, saturation vapour pressure", Kind.FROM_MEMORY),
    ),
    work=work,
    cautions=("Strap the car on the rollers and lead its exhaust out: carbon monoxide gives no warning.",),
    example={
        "rule": "spark", "power": "80 kW", "barometer": "98 kPa", "temperature": "30 degC", "humidity": "40 %",
    },
)  # fmt: skip
