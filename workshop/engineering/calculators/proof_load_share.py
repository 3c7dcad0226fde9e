"""How much of its proof load a torque asks of a bolt; questioned above it, with the unit that would fit."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.bolt_inputs import (
    ANY_CLASS,
    ANY_THREAD,
    FRICTION_SOURCE,
    INCH_SOURCE,
    MAKER_FIRST,
    NUT_FACTOR,
    PROOF_SOURCE,
    SHORT_FORM,
    SURFACE,
    Bolt,
    D,
    any_bolt,
    decimals,
    nut_factor_of,
    torque_unit,
)
from workshop.engineering.declare import Calculator, Number, Outcome, Output
from workshop.engineering.fasteners import preload_from_torque, torque_from_preload
from workshop.engineering.numbers import plain
from workshop.engineering.quantities import Quantity, quantity
from workshop.engineering.units import Amount, show, units_of

# From this share on a torque is a usual one: the application's own choice, as in `fasteners.question_units`.
USUAL_FROM = D("0.3")


def share_of(bolt: Bolt, torque_Nm: Decimal, nut_factor: Decimal) -> Decimal:
    """Preload over proof load; 1 is the proof load."""
    return preload_from_torque(torque_Nm, nut_factor, bolt.diameter) / bolt.proof_load


def work(torque: Quantity, thread: str, strength: str, surface: str, nut_factor: Quantity | None) -> Outcome:
    bolt, factor = any_bolt(thread, strength), nut_factor_of(surface, nut_factor)
    newton_metres, code = decimals(torque, "N.m"), torque_unit(torque)
    number = decimals(torque, code)
    share = share_of(bolt, newton_metres, factor.value)
    preload = share * bolt.proof_load
    at_proof = torque_from_preload(bolt.proof_load, factor.value, bolt.diameter)
    sentence = (
        f"{plain(newton_metres, 1)} N·m with nut factor {plain(factor.value)} puts about "
        f"{plain(preload / 1000, 1)} kN into this bolt ({bolt.name}, {bolt.strength}): {plain(share * 100, 1)} % of its "
        f"proof load {plain(bolt.proof_load / 1000, 1)} kN ({bolt.source})."
    )
    odd, notes = share > 1, []
    if odd:
        sentence += " Compare torque, unit, thread and class with the maker's data."
        notes = [
            f"Was {show(Amount(number, other.code))} meant? {_same(Amount(number, other.code))} "
            f"{plain(there * 100, 1)} % of the proof load."
            for other in units_of("torque")
            if other.code != code
            and USUAL_FROM <= (there := share_of(bolt, Amount(number, other.code).base(), factor.value)) <= 1
        ]
    return Outcome(
        {
            "share": quantity(share * 100, "%"),
            "preload": quantity(preload, "N"),
            "proof_load": quantity(bolt.proof_load, "N"),
            "at_proof": quantity(at_proof, "N.m"),
        },
        verdict=sentence,
        odd=odd,
        notes=notes,
    )


def _same(meant: Amount) -> str:
    return "That is" if meant.unit == "N.m" else f"That is {show(meant, 'N.m')},"


CALCULATOR = Calculator(
    slug="proof-load-share",
    words=("bolt", "grade", "property class", "strength"),
    name="Share of the proof load",
    group="Fasteners",
    question="Is this torque usual for such a bolt, or is something mixed up?",
    inputs=(
        Number("torque", "Tightening torque", "torque", "N.m", D("0.1"), D(5000)),
        ANY_THREAD,
        ANY_CLASS,
        SURFACE,
        NUT_FACTOR,
    ),
    outputs=(
        Output("share", "Share of the proof load", "%", main=True),
        Output("preload", "Preload", "kN"),
        Output("proof_load", "Proof load of the bolt", "kN"),
        Output("at_proof", "Torque that reaches the proof load", "N.m", follows="torque"),
    ),
    formula="share = T / (K · d · Fproof)",
    sources=(PROOF_SOURCE, INCH_SOURCE, SHORT_FORM, FRICTION_SOURCE),
    work=work,
    cautions=(
        MAKER_FIRST,
        "A bolt that is meant to be tightened to yield goes above its proof load on purpose.",
    ),
    example={"torque": "36 N.m", "thread": "M8", "strength": "8.8", "surface": "zinc"},
)
