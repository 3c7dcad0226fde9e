"""How another master cylinder, servo, pedal or set of pistons changes the foot's force and way."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import CAUTION, STATICS
from workshop.engineering.declare import Calculator, InputErrors, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, magnitude, quantity

D = Decimal


def ratio(before: Quantity | None, after: Quantity | None, name: str, errors: dict[str, str]) -> float:
    """after/before; 1 where neither is given. One alone goes to `errors`."""
    if before is None and after is None:
        return 1.0
    if before is None or after is None:
        which = "before" if before is None else "after"
        errors[f"{name}_{which}"] = "Give this both before and after, or leave both empty."
        return 1.0
    return float((after / before).to("dimensionless").magnitude)


def work(
    bore_before: Quantity,
    bore_after: Quantity,
    pistons_before: Quantity | None,
    pistons_after: Quantity | None,
    pedal_ratio_before: Quantity | None,
    pedal_ratio_after: Quantity | None,
    servo_before: Quantity | None,
    servo_after: Quantity | None,
) -> Outcome:
    errors: dict[str, str] = {}
    pistons = ratio(pistons_before, pistons_after, "pistons", errors)
    pedal = ratio(pedal_ratio_before, pedal_ratio_after, "pedal_ratio", errors)
    servo = ratio(servo_before, servo_after, "servo", errors)
    if errors:
        raise InputErrors(errors)
    # As areas: the square of the diameters' ratio.
    master = (magnitude(bore_after, "mm") / magnitude(bore_before, "mm")) ** 2
    effort = master / (pistons * pedal * servo)
    travel = pistons * pedal / master
    notes = [
        "The pedal's way here is the fluid's share alone: play, hoses and a swelling caliper come on top."
    ]
    if pistons != 1:
        notes.append(
            "Where the pistons of one axle alone change, the force is taken as if pads and radii were alike on both: "
            "the brake balance works it out exactly."
        )
    words = "as before" if abs(effort - 1) < 5e-4 else f"{abs(effort - 1):.1%} ".replace("%", " %")
    more = "" if words == "as before" else ("more" if effort > 1 else "less")
    way = (
        "as before" if abs(travel - 1) < 5e-4 else f"{abs(travel - 1):.1%} {'more' if travel > 1 else 'less'}"
    )
    return Outcome(
        {
            "effort": quantity(100 * effort, "%"),
            "travel": quantity(100 * travel, "%"),
            "pressure": quantity(100 / pistons, "%"),
        },
        f"For the same deceleration the pedal takes {words}{more}{'' if more == '' else ' force'}, and its way against "
        f"the fluid is {way.replace('%', ' %')}.",
        # A foot notices a fifth; the travel is what runs out first (common practice, no source).
        odd=travel > 1.2 or effort > 1.2,
        notes=notes,
    )


_BEFORE_AFTER = (("before", "before"), ("after", "after"))

CALCULATOR = Calculator(
    slug="brake-pedal-effort",
    words=("master cylinder", "piston", "caliper"),
    name="Pedal effort after a change",
    group="Brakes",
    question="How much harder, and how much further, must one press after another master cylinder or caliper?",
    inputs=(
        *(
            Number(f"bore_{name}", f"Master cylinder bore, {word}", "length", "mm", D(8), D(60))
            for name, word in _BEFORE_AFTER
        ),
        *(
            Number(
                f"pistons_{name}",
                f"Area of all caliper pistons together, {word}",
                "area",
                "cm2",
                D(1),
                D(400),
                help="All that this cylinder feeds, on one side of the discs. Empty: unchanged.",
                optional=True,
            )
            for name, word in _BEFORE_AFTER
        ),
        *(
            Number(f"pedal_ratio_{name}", f"Pedal ratio, {word}", "count", "1", D(1), D(12), optional=True)
            for name, word in _BEFORE_AFTER
        ),
        *(
            Number(f"servo_{name}", f"Servo gain, {word}", "count", "1", D(1), D(12), optional=True)
            for name, word in _BEFORE_AFTER
        ),
    ),
    outputs=(
        Output("effort", "Pedal force, in % of before", "%", main=True),
        Output("travel", "Pedal travel for the fluid, in % of before", "%"),
        Output("pressure", "Line pressure needed, in % of before", "%"),
    ),
    formula="effort = (d₂/d₁)² / (A₂/A₁ · i₂/i₁ · g₂/g₁); travel = (A₂/A₁) · (i₂/i₁) / (d₂/d₁)²",
    sources=(STATICS,),
    work=work,
    cautions=(
        CAUTION,
        "With one circuit failed the pedal must still not reach the floor: the travel counts for that too.",
    ),
    local_approval=True,
    example={"bore_before": "20.64 mm", "bore_after": "22.2 mm"},
)
