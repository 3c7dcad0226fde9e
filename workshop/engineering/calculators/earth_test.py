"""What resistance an earth or a cable has, from the voltage that drops over it under load."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, Choice, Number, Outcome, Output
from workshop.engineering.electrical import EARTH_SOURCE
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.units import show

D = Decimal
# Greatest drop in V under load by what is tested: common practice.
LIMITS = {"earth": 0.1, "engine": 0.2, "starter": 0.5}
KINDS = (
    ("earth", "an earth point or strap (0.1 V)"),
    ("engine", "engine to battery, cranking (0.2 V)"),
    ("starter", "starter cable, cranking (0.5 V)"),
)


def work(drop: Quantity, current: Quantity, kind: str, full: Quantity | None) -> Outcome:
    resistance = drop / current
    values: dict[str, Quantity | str] = {"resistance": resistance, "heat": drop * current}
    at = drop
    words = f"{show(amount(drop, 'mV'))} at {show(amount(current, 'A'))}"
    if full is not None:
        at = resistance * full
        values["at_full"] = at
        words += f", so {show(amount(at, 'mV'))} at {show(amount(full, 'A'))}"
    limit = LIMITS[kind]
    odd = magnitude(at, "V") > limit * (1 + 1e-9)
    verdict = (
        f"{words}: {'more than' if odd else 'within'} the {limit:g} V of common practice."
        f"{' Look for a loose, rusty or painted joint, part by part.' if odd else ''}"
    )
    values["limit"] = quantity(limit, "V")
    return Outcome(
        values,
        verdict,
        odd,
        ["Measured while the current flows: a meter's ohm range can't see a few milliohms."],
    )


CALCULATOR = Calculator(
    slug="earth-test",
    words=("ground", "strap", "ground strap"),
    name="Earth and cable test",
    group="Electrical",
    question="Is this earth or cable sound, from the voltage that drops over it under load?",
    inputs=(
        Number(
            "drop", "Voltage over it under load", "voltage", "mV", D("0.1"), D(20000),
            help="One probe on the battery's negative pole, one on the load's earth, with the load on.",
        ),
        Number("current", "Current at that moment", "current", "A", D("0.01"), D(2000), units=("A",)),
        Choice("kind", "What is tested", KINDS, usual="earth"),
        Number(
            "full", "Current under full load", "current", "A", D("0.01"), D(2000), optional=True, units=("A",),
            help="Where the test was made with less than that.",
        ),
    ),
    outputs=(
        Output("resistance", "Resistance", "mohm", main=True),
        Output("at_full", "Voltage lost under full load", "mV"),
        Output("heat", "Heat in it during the test", "W"),
        Output("limit", "Common practice", "V"),
    ),
    formula="R = U / I;  U full = R · I full",
    sources=(EARTH_SOURCE,),
    work=work,
    cautions=("Before cranking: out of gear, parking brake on, hands and leads clear of belts and fan.",),
    example={"drop": "350 mV", "current": "20 A", "kind": "earth"},
)  # fmt: skip
