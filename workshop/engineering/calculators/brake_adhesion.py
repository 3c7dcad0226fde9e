"""The adhesion that each axle uses at a deceleration, for a given rear share of the brake force."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brake_balance import BALANCE_TEXTBOOKS, Balance, BalanceError, Split, load_of
from workshop.engineering.brake_plots import Drawn, adhesion_plot, comparison_words, first_words, force_plot
from workshop.engineering.brake_r13h import FOR_COMPARISON, LINE_CHOICE, LINES, LOCK_ORDER, compare
from workshop.engineering.brakes import CAUTION, STATICS
from workshop.engineering.declare import Calculator, InputErrors, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal
NEVER = "none before the rear wheels lift"


def work(
    front_mass: Quantity,
    rear_mass: Quantity,
    wheelbase: Quantity,
    cg_height: Quantity,
    rear_share: Quantity,
    deceleration: Quantity,
    efficiency_line: str,
) -> Outcome:
    load, z = load_of(front_mass, rear_mass, wheelbase, cg_height), magnitude(deceleration, "g0")
    balance, limit = Balance(load, Split(magnitude(rear_share, "%") / 100)), LINES[efficiency_line]
    try:
        rear = balance.rear_adhesion(z)
    except BalanceError as error:
        raise InputErrors({"deceleration": str(error)}) from error
    front, found = balance.front_adhesion(z), compare(balance, limit)
    drawn = (Drawn("this car", "this", balance.split),)
    first = first_words(balance)
    busier = "rear" if rear > front else "front"
    return Outcome(
        {
            "front": f"{front:.3f}",
            "rear": f"{rear:.3f}",
            "efficiency": quantity(100 * balance.efficiency(z), "%"),
            "ideal": quantity(100 * load.rear_at(z), "%"),
            "critical": NEVER if balance.crossing is None else quantity(balance.crossing, "g0"),
            "front_load": quantity(100 * load.front_at(z), "%"),
        },
        f"At {z:.2f} g the {busier} axle uses the more adhesion, {max(front, rear):.3f}: on a road with less it would "
        f"lock. Over all, {first}. {comparison_words(found, limit)}",
        odd=not (found.line_held and found.order_held),
        notes=[FOR_COMPARISON],
        plots=[adhesion_plot(load, drawn, limit), force_plot(load, drawn, None, limit)],
    )


CALCULATOR = Calculator(
    slug="brake-adhesion",
    words=("grip", "lock up"),
    name="Adhesion used by each axle",
    group="Brakes",
    question="How much grip does each axle need at a deceleration, for a given rear share of the brake force?",
    inputs=(
        Number(
            "front_mass",
            "Mass on the front axle",
            "mass",
            "kg",
            D(25),
            D(8000),
            item="front.axle_mass_running",
        ),
        Number(
            "rear_mass", "Mass on the rear axle", "mass", "kg", D(25), D(8000), item="rear.axle_mass_running"
        ),
        Number("wheelbase", "Wheelbase", "length", "mm", D(800), D(6000), item="wheelbase"),
        Number(
            "cg_height", "Height of the centre of gravity", "length", "mm", D(150), D(1800), item="cg_height"
        ),
        Number(
            "rear_share",
            "Rear share of the brake force",
            "ratio",
            "%",
            D(0),
            D(100),
            help="From the brake tester: the rear wheels' forces over those of all four.",
        ),
        Number("deceleration", "Deceleration", "deceleration", "g0", D("0.02"), D("1.5")),
        LINE_CHOICE,
    ),
    outputs=(
        Output("front", "Adhesion used by the front"),
        Output("rear", "Adhesion used by the rear"),
        Output("efficiency", "Deceleration over the adhesion used", "%"),
        Output("ideal", "Ideal rear share at this deceleration", "%"),
        Output("front_load", "Share of the weight on the front axle while braking", "%"),
        Output("critical", "Deceleration from which the rear locks first", "g0", main=True),
    ),
    formula="f1 = (1 − Φ)·z·L/(b + z·h); f2 = Φ·z·L/(a − z·h); efficiency = z/max(f1, f2); zc = (a − Φ·L)/h",
    sources=(STATICS, BALANCE_TEXTBOOKS, *(line.source for line in LINES.values()), LOCK_ORDER),
    work=work,
    cautions=(CAUTION,),
    local_approval=True,
    example={
        "front_mass": "720 kg",
        "rear_mass": "480 kg",
        "wheelbase": "2500 mm",
        "cg_height": "520 mm",
        "rear_share": "32.65 %",
        "deceleration": "0.5 g",
        "efficiency_line": "0.85",
    },
)
