"""Torque and preload at 90 % of a bolt's yield, under tension and torsion together (VDI 2230)."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.bolt_inputs import (
    MAKER_FIRST,
    METRIC_CLASS,
    METRIC_THREAD,
    MU_RANGE,
    PROOF_SOURCE,
    VDI,
    D,
    decimals,
    metric_bolt,
)
from workshop.engineering.calculators.torque_by_friction import MU
from workshop.engineering.declare import Calculator, Number, Outcome, Output, Table
from workshop.engineering.fasteners import SHARE_OF_YIELD, proof_load, yield_preload, yield_torque
from workshop.engineering.numbers import plain
from workshop.engineering.plot import Axis, Line, Mark, Plot
from workshop.engineering.quantities import Quantity, quantity

FRICTIONS = tuple(D(each) / 100 for each in (8, 10, 12, 14, 16, 20))


def work(
    thread: str, strength: str, mu_thread: Quantity, mu_head: Quantity | None, share: Quantity | None
) -> Outcome:
    of, in_thread = metric_bolt(thread, strength), decimals(mu_thread, "1")
    under_head = in_thread if mu_head is None else decimals(mu_head, "1")
    part = SHARE_OF_YIELD if share is None else decimals(share, "%") / 100
    preload = yield_preload(of, strength, in_thread, part)
    torque = yield_torque(of, strength, in_thread, under_head, part)
    rows = tuple(
        (each, yield_preload(of, strength, each, part), yield_torque(of, strength, each, share=part))
        for each in FRICTIONS
    )
    return Outcome(
        {
            "torque": quantity(torque, "N.m"),
            "preload": quantity(preload, "N"),
            "of_proof": quantity(preload / proof_load(of, strength) * 100, "%"),
        },
        tables=[
            Table(
                f"{of.name}, class {strength}, at {plain(part * 100)} % of yield, by friction",
                ("µ, thread and head", "Preload", "Torque"),
                tuple(
                    (f"{mu:.2f}", f"{plain(force / 1000, 1)} kN", f"{plain(moment, 1)} N·m")
                    for mu, force, moment in rows
                ),
            )
        ],
        plots=[_plot(of.name, strength, rows, (in_thread, under_head, torque))],
    )


def _plot(
    name: str,
    strength: str,
    rows: tuple[tuple[Decimal, Decimal, Decimal], ...],
    here: tuple[Decimal, Decimal, Decimal],
) -> Plot:
    first, last = rows[0], rows[-1]
    mu, under_head, torque = here
    highest = float(max(last[2], torque)) * 1.1
    # A point off the line, for another friction under the head, would seem to contradict it.
    alike = mu == under_head and first[0] <= mu <= last[0]
    return Plot(
        "torque-by-friction",
        f"Torque to the same share of yield, {name} {strength}",
        Axis("Friction µ", float(first[0]), float(last[0])),
        Axis("Torque, N·m", 0, highest),
        f"The slipperier, the less torque it takes: {plain(first[2], 0)} N·m at µ {first[0]:.2f}, "
        f"{plain(last[2], 0)} N·m at µ {last[0]:.2f}.",
        lines=(
            Line("torque, same µ in thread and under head", tuple((float(x), float(z)) for x, _, z in rows)),
        ),
        marks=(Mark("this bolt", (float(mu), float(torque))),) if alike else (),
        head=("Friction µ", "Torque"),
        rows=tuple((f"{x:.2f}", f"{plain(z, 1)} N·m") for x, _, z in rows),
    )


CALCULATOR = Calculator(
    slug="torque-to-yield",
    words=("stretch bolt", "bolt", "grade"),
    name="Torque to 90 % of yield",
    group="Fasteners",
    question="What torque and preload use a bolt to 90 % of its yield?",
    inputs=(
        METRIC_THREAD,
        METRIC_CLASS,
        Number("mu_thread", "Friction in the thread, µ", "count", "1", *MU_RANGE, assumed=MU),
        Number(
            "mu_head",
            "Friction under the head, µ",
            "count",
            "1",
            *MU_RANGE,
            help="Left empty: as in the thread.",
            optional=True,
        ),
        Number(
            "share",
            "Share of yield",
            "ratio",
            "%",
            D(20),
            D(100),
            help="Left empty: 90 %, as in the standard's tables.",
            optional=True,
        ),
    ),
    outputs=(
        Output("torque", "Tightening torque", "N.m", main=True),
        Output("preload", "Preload", "kN"),
        Output("of_proof", "Preload as a share of the proof load", "%"),
    ),
    formula="FM = ν · As · Rp0.2 / √(1 + 3 · [1.5 · (d₂/d₀) · (P/(π · d₂) + 1.155 · µthread)]²);  "
    "MA = FM · (0.16 · P + 0.58 · d₂ · µthread + µhead · DKm/2)",
    sources=(VDI, PROOF_SOURCE),
    work=work,
    cautions=(
        MAKER_FIRST,
        "For a hexagon head on a hole of ISO 273 medium. A bolt that was tightened to yield is used once, "
        "unless its maker allows a measured re-use.",
    ),
    example={"thread": "M10", "strength": "10.9", "mu_thread": "0.12"},
)
