"""How far a wheel turns under side force and braking, because its toe link and the bushes give."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, InputErrors, Kind, Number, Outcome, Output, Source
from workshop.engineering.plot import Plot
from workshop.engineering.quantities import Quantity, amount, magnitude, quantity
from workshop.engineering.suspension import link_force, toe_length, toe_plot, toe_under_force, toe_words
from workshop.engineering.units import show

D = Decimal


def work(
    side_force: Quantity,
    trail: Quantity,
    arm: Quantity,
    stiffness: Quantity,
    brake_force: Quantity | None,
    scrub: Quantity | None,
    play: Quantity | None,
    diameter: Quantity | None,
    factory_arm: Quantity | None,
    factory_stiffness: Quantity | None,
) -> Outcome:
    if brake_force is not None and scrub is None:
        raise InputErrors({"scrub": "Give this too: a brake force turns the wheel by its scrub radius."})
    none, no_length = quantity(0, "N"), quantity(0, "mm")
    brake, offset = (none, no_length) if brake_force is None or scrub is None else (brake_force, scrub)
    force = link_force(side_force, trail, brake, offset, arm)
    newtons, arm_mm, gives = magnitude(force, "N"), magnitude(arm, "mm"), magnitude(stiffness, "N/mm")
    play_mm = 0.0 if play is None else magnitude(play, "mm")
    movement = abs(newtons) / gives + (play_mm if newtons else 0.0)
    if movement > arm_mm / 2:
        raise InputErrors(
            {
                "stiffness": f"So soft, the link would give {movement:.0f} mm at an arm of {arm_mm:.0f} mm: give more."
            }
        )
    toe = toe_under_force(newtons, arm_mm, gives, play_mm)
    turned = quantity(toe, "arcmin")
    values: dict[str, Quantity | str] = {
        "toe": turned,
        "force": force,
        "movement": quantity(movement, "mm"),
    }
    if diameter is not None:
        values["toe_mm"] = toe_length(turned, diameter)
    verdict = (
        f"The toe link carries {show(amount(quantity(abs(newtons), 'N'), 'N'))} and gives {movement:.3f} mm: the wheel changes by "
        f"{toe_words(toe)}."
    )
    other: tuple[float, float] | None = None
    if factory_arm is not None or factory_stiffness is not None:
        f_arm, f_stiff = factory_arm or arm, factory_stiffness or stiffness
        other = magnitude(f_arm, "mm"), magnitude(f_stiff, "N/mm")
        there = toe_under_force(magnitude(link_force(side_force, trail, brake, offset, f_arm), "N"), *other)
        values["factory_toe"] = quantity(there, "arcmin")
        verdict += f" With the factory's link it would be {toe_words(there)}."
    notes = ["Only the link and its bushes give here: what else in the suspension gives comes on top."]
    if play is not None:
        notes.append("The play is counted whole, in the direction of the force.")
    plot = _plot(magnitude(side_force, "N"), magnitude(trail, "mm"), (arm_mm, gives, play_mm), other)
    return Outcome(values, verdict, notes=notes, plots=[] if plot is None else [plot])


def _plot(
    top: float, trail: float, now: tuple[float, float, float], factory: tuple[float, float] | None
) -> Plot | None:
    """Toe against side force alone; None where no side force was given."""
    if top <= 0:
        return None
    arm, gives, play = now
    curves = [("this car", "this", trail, arm, gives, play)]
    end = toe_under_force(top * trail / arm, arm, gives, play)
    summary = f"From side force alone, up to {top:.0f} N, the wheel goes to {toe_words(end)}"
    if factory is not None:
        curves.append(("factory", "factory", trail, *factory, 0.0))
        there = toe_under_force(top * trail / factory[0], *factory)
        summary += f", with the factory's link to {toe_words(there)}"
    return toe_plot(tuple(curves), top, f"{summary}.", "toe-under-load")


CALCULATOR = Calculator(
    slug="toe-under-load",
    words=("toe-in", "toe-out", "tracking", "bush"),
    name="Toe change under load",
    group="Alignment and steering",
    question="How far does a wheel turn under side force and braking, because its link and bushes give?",
    inputs=(
        Number(
            "side_force", "Side force at the wheel", "force", "N", D(0), D(20000),
            help="At one wheel, towards the middle of the car: the outer wheel in a bend.",
        ),
        Number(
            "trail", "Caster trail with pneumatic trail", "length", "mm", D(-50), D(200), item="front.caster_trail"
        ),
        Number("arm", "Length of the steering arm or toe link arm", "length", "mm", D(30), D(400), item="front.steering_arm"),
        Number(
            "stiffness", "Stiffness of the toe link with its bushes", "stiffness", "kN/mm", D("0.01"), D(100),
            help="Force along the link for each millimetre that it gives.", item="front.toe_link_stiffness",
        ),
        Number("brake_force", "Brake force at the wheel", "force", "N", D(0), D(20000), optional=True),
        Number("scrub", "Scrub radius", "length", "mm", D(-100), D(150), item="front.scrub_radius", optional=True),
        Number(
            "play", "Free play at the link, from stop to stop", "length", "mm", D(0), D(10), optional=True,
        ),
        Number(
            "diameter", "Diameter for toe in mm", "length", "mm", D(200), D(1000), units=("mm", "in"), optional=True,
        ),
        Number(
            "factory_arm", "Factory's arm", "length", "mm", D(30), D(400), optional=True,
            factory_item="front.steering_arm",
        ),
        Number(
            "factory_stiffness", "Factory's stiffness of the link", "stiffness", "kN/mm", D("0.01"), D(100),
            optional=True, factory_item="front.toe_link_stiffness",
        ),
    ),
    outputs=(
        Output("toe", "Toe change of this wheel, toe-in positive", "arcmin", main=True),
        Output("toe_mm", "Toe change at that diameter", "mm"),
        Output("force", "Force along the toe link, towards toe-out positive", "N"),
        Output("movement", "The link gives", "mm"),
        Output("factory_toe", "Toe change with the factory's link", "arcmin"),
    ),
    formula="F link = (Fy · trail + Fb · scrub) / arm;  x = F / k + play;  toe change = −atan(x / arm)",
    sources=(Source("Moments about the steering axis", "steering axis taken as upright", Kind.MECHANICS),),
    work=work,
    cautions=(
        "A joint with play is replaced, not calculated with. Springs hold enough to kill: support the arm before "
        "a joint is undone.",
    ),
    local_approval=True,
    example={
        "side_force": "3000 N", "trail": "30 mm", "arm": "130 mm", "stiffness": "5 kN/mm", "brake_force": "3000 N",
        "scrub": "15 mm", "diameter": "406.4 mm", "factory_stiffness": "8 kN/mm",
    },
)  # fmt: skip
