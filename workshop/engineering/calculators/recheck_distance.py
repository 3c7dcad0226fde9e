"""When wheel nuts and other joints are checked again: as their maker says, else by the shop's rule."""

from __future__ import annotations

from workshop.engineering.bolt_inputs import D
from workshop.engineering.declare import Assumption, Calculator, Choice, Kind, Number, Outcome, Output, Source
from workshop.engineering.quantities import Quantity, amount, pint_unit
from workshop.engineering.units import Amount, show

USUAL = Assumption(D(50), D(50), D(100), "usual shop rule, common practice, no source")


def work(joint: str, maker: Quantity | None, shop: Quantity, odometer: Quantity | None) -> Outcome:
    distance = shop if maker is None else maker
    notes = [
        "Same torque, same class of tool, not loosened first (common practice). A fastener that turns is a finding."
    ]
    if joint == "angle":
        return Outcome(
            {"whose": "none: a joint tightened by angle"},
            verdict="A joint that was tightened by angle is not tightened again by torque: look at its paint mark, "
            "and follow the maker's data.",
            odd=True,
        )
    # Said as the odometer shows it; without one as the distance was typed.
    code = "mi" if (distance if odometer is None else odometer).units == pint_unit("mi") else "km"
    words = "the maker's" if maker is not None else "the shop's own, no maker's given"
    values: dict[str, Quantity | Amount | str] = {"distance": amount(distance, code), "whose": words}
    verdict = f"Check again after {show(amount(distance, code))} ({words})."
    if odometer is not None:
        due = amount(odometer + distance, code)
        values["due"] = due
        verdict = f"Check again after {show(amount(distance, code))} ({words}), at {show(due)}."
    if maker is None:
        notes.append(
            "Makers disagree: a tyre maker advises 50 km, a truck maker 80 to 160 km, and one car maker none where "
            "every step was done. Ask the maker's data first."
        )
    return Outcome(values, verdict=verdict, notes=notes)


CALCULATOR = Calculator(
    slug="recheck-distance",
    words=("retorque", "re-torque", "wheel nuts"),
    name="Distance to the re-check",
    group="Fasteners",
    question="After what distance is this joint checked again?",
    inputs=(
        Choice(
            "joint",
            "Joint",
            (("wheel", "wheel nuts or bolts"), ("other", "another joint by torque"), ("angle", "by angle")),
            usual="wheel",
        ),
        Number(
            "maker",
            "The maker's distance",
            "distance",
            "km",
            D(1),
            D(5000),
            help="Goes before the shop's, where there is one.",
            optional=True,
        ),
        Number("shop", "The shop's distance", "distance", "km", D(10), D(1000), assumed=USUAL),
        Number("odometer", "Odometer at the work", "distance", "km", D(0), D(2_000_000), optional=True),
    ),
    outputs=(
        Output("distance", "Check again after", "km", main=True, follows="odometer"),
        Output("due", "At the odometer", "km", follows="odometer"),
        Output("whose", "Whose distance"),
    ),
    formula="the maker's distance, else the shop's; odometer at the work + distance",
    sources=(
        Source("Makers' and tyre makers' advice, 50 to 160 km", "compared", Kind.COMMON_PRACTICE),
        Source("50 to 100 km after a wheel was fitted", kind=Kind.COMMON_PRACTICE),
    ),
    work=work,
    cautions=(
        "A wheel nut that has come loose once is looked at: stud, seat and thread, before it is tightened.",
    ),
    example={"joint": "wheel", "odometer": "123400 km"},
)
