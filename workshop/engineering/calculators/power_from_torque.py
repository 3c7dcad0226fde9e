"""Power from torque and speed, or torque from power, in every unit that a data sheet may use."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, InputErrors, Kind, Number, Outcome, Output, Source
from workshop.engineering.engine_tests import power_from_torque, torque_from_power
from workshop.engineering.quantities import Quantity, amount
from workshop.engineering.units import show

D = Decimal


def work(speed: Quantity, torque: Quantity | None, power: Quantity | None) -> Outcome:
    if torque is not None and power is not None:
        raise InputErrors({"power": "Give the torque or the power: the other one is worked out."})
    if torque is not None:
        power = power_from_torque(torque, speed)
    elif power is not None:
        torque = torque_from_power(power, speed)
    else:
        raise InputErrors({"torque": "Give the torque or the power."})
    return Outcome(
        {"kw": power, "ps": power, "hp": power, "newton_metres": torque, "pound_feet": torque},
        f"{show(amount(torque, 'N.m'))} at {show(amount(speed, 'rpm'))} are {show(amount(power, 'kW'))}.",
    )


CALCULATOR = Calculator(
    slug="power-from-torque",
    words=("bhp", "horsepower", "dyno"),
    name="Power and torque",
    group="Engine tests",
    question="What power is a torque at this speed, and the other way round?",
    inputs=(
        Number("speed", "Engine speed", "rotation", "rpm", D(50), D(30000)),
        Number("torque", "Torque", "torque", "N.m", D("0.1"), D(10000), optional=True),
        Number("power", "Power", "power", "kW", D("0.01"), D(5000), optional=True),
    ),
    outputs=(
        Output("kw", "Power", "kW", main=True),
        Output("ps", "Power in metric horsepower", "PS"),
        Output("hp", "Power in mechanical horsepower", "hp"),
        Output("newton_metres", "Torque", "N.m"),
        Output("pound_feet", "Torque in lbf·ft", "lbf.ft"),
    ),
    formula="P = T · 2π · n",
    sources=(
        Source("Power of a turning shaft", "", Kind.MECHANICS),
        Source("NIST SP 811, 2008", "appendix B.8, horsepower of 550 ft·lbf/s and metric horsepower", Kind.FROM_MEMORY),
    ),
    work=work,
    example={"speed": "4500 rpm", "torque": "150 N.m"},
)  # fmt: skip
