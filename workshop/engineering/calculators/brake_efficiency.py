"""Brake efficiency and imbalance from a brake tester's readings."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.brakes import CAUTION, ROADWORTHINESS, apart, braking_share, weaker_over_stronger
from workshop.engineering.declare import Calculator, Choice, InputErrors, Number, Outcome, Output
from workshop.engineering.quantities import Quantity, quantity

D = Decimal
# Code, words, least efficiency in %. Directive 2014/45/EU, Annex I, 1.2.2 and 1.4.2, from memory.
RULES = {
    "car_new": ("passenger car first registered after 1 January 2012", 58),
    "car_old": ("older passenger car", 50),
    "van_new": ("goods vehicle to 3.5 t", 50),
    "van_old": ("older goods vehicle to 3.5 t", 45),
    "parking": ("parking brake", 16),
}
# In %, the weaker side's force over the stronger's. Directive 2014/45/EU, Annex I, 1.2.1, from memory.
MAJOR, DANGEROUS = 70, 50
# Less than this is drag, not braking (common practice, no source).
ONE_SIDED = 20
# Exactly at a limit is not under it: rounding must not decide.
ROUNDING = 1e-9
# More than this no tyre on a roller gives (common practice, no source).
MOST = 1.5
WHEELS = (
    ("front_left", "Front left"),
    ("front_right", "Front right"),
    ("rear_left", "Rear left"),
    ("rear_right", "Rear right"),
)


def work(mass: Quantity, rule: str, **forces: Quantity) -> Outcome:
    share = braking_share(list(forces.values()), mass)
    if share > MOST:
        raise InputErrors(
            {
                "mass": f"These forces are {share:.0%} of the weight: no tyre gives that. Look at the mass and the units."
            }
        )
    words, least = RULES[rule]
    sentences, odd = [], False
    percent = 100 * share
    if percent >= least - ROUNDING:
        sentences.append(
            f"The brakes make {percent:.1f} % of the weight; the directive asks for {least} % ({words})."
        )
    else:
        odd = True
        half = percent < least / 2 - ROUNDING
        grade = "dangerous, being under half of it" if half else "a major deficiency"
        sentences.append(
            f"The brakes make {apart(percent, least / 2 if half else least)} % of the weight, less than the {least} % that the directive asks for "
            f"({words}): it counts that as {grade}."
        )
    values: dict[str, Quantity | str] = {"efficiency": quantity(percent, "%")}
    for axle in ("front", "rear"):
        sides = forces[f"{axle}_left"], forces[f"{axle}_right"]
        weaker = weaker_over_stronger(*sides)
        if weaker is None:
            if rule == "parking":
                continue
            odd = True
            sentences.append(f"No wheel of the {axle} axle brakes.")
            continue
        weaker *= 100
        values[f"{axle}_imbalance"] = quantity(weaker, "%")
        side = "left" if sides[0] < sides[1] else "right"
        dangerous = axle == "front" and weaker < DANGEROUS - ROUNDING
        limit = ONE_SIDED if rule == "parking" else DANGEROUS if dangerous else MAJOR
        said = f"On the {axle} axle the {side} wheel has {apart(weaker, limit)} % of the other's force"
        if rule == "parking":
            # The directive gives the share for the service brake only; a side that does nothing is named there too.
            if weaker < ONE_SIDED - ROUNDING:
                odd = True
                sentences.append(
                    f"{said}: the directive counts a parking brake that fails on one side as a major deficiency."
                )
        elif weaker < MAJOR - ROUNDING:
            odd = True
            sentences.append(
                f"{said}: under {DANGEROUS} % on a steered axle the directive counts as dangerous."
                if dangerous
                else f"{said}: under {MAJOR} % the directive counts as a major deficiency."
            )
    return Outcome(
        values,
        " ".join(sentences),
        odd,
        notes=[
            "The directive's figures are for comparison, from memory: the rules of the place decide, also about which "
            "mass is taken. Under 50 % imbalance counts as dangerous on a steered axle; the front is taken for one."
        ],
    )


CALCULATOR = Calculator(
    slug="brake-efficiency",
    words=("roller", "rolling road", "brake tester"),
    name="Brake efficiency and imbalance",
    group="Brakes",
    question="What do the brake tester's readings say about efficiency, and about left against right?",
    inputs=(
        Number("mass", "Mass of the car", "mass", "kg", D(50), D(12000), "The one that the test goes by.", item="mass_running"),
        *(
            Number(name, f"Brake force, {label[:1].lower()}{label[1:]}", "force", "N", D(0), D(60000))
            for name, label in WHEELS
        ),
        Choice(
            "rule",
            "Compare with",
            tuple((code, f"{words}: {least} %") for code, (words, least) in RULES.items()),
            usual="car_new",
        ),
    ),
    outputs=(
        Output("efficiency", "Brake efficiency", "%", main=True),
        Output("front_imbalance", "Weaker over stronger, front", "%"),
        Output("rear_imbalance", "Weaker over stronger, rear", "%"),
    ),
    formula="efficiency = (F₁ + F₂ + F₃ + F₄)/(m·g); imbalance = weaker/stronger of an axle",
    sources=(ROADWORTHINESS,),
    work=work,
    cautions=(CAUTION,),
    local_approval=True,
    example={
        "mass": "1500 kg",
        "front_left": "2900 N",
        "front_right": "2700 N",
        "rear_left": "1600 N",
        "rear_right": "1550 N",
        "rule": "car_new",
    },
)  # fmt: skip
