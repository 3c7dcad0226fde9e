"""The torque for a wanted preload from the friction in the thread and under the head: the full form, two ways."""

from __future__ import annotations

from workshop.engineering.bolt_inputs import (
    MAKER_FIRST,
    METRIC_THREAD,
    MU_RANGE,
    PROOF_SOURCE,
    VDI,
    D,
    decimals,
)
from workshop.engineering.declare import (
    Assumption,
    Calculator,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
    Table,
)
from workshop.engineering.fasteners import friction_torque, friction_torque_exact, proof_load
from workshop.engineering.fasteners import thread as thread_of
from workshop.engineering.numbers import plain
from workshop.engineering.quantities import Quantity, quantity

# Above the proof load of this class a preload is questioned: no metric bolt of the table bears more.
STRONGEST = "12.9"
MU = Assumption(
    D("0.12"),
    D("0.08"),
    D("0.16"),
    "lightly oiled or zinc-plated steel, VDI 2230 friction class B, from memory",
)


def work(
    preload: Quantity,
    thread: str,
    mu_thread: Quantity,
    mu_head: Quantity,
    face: Quantity | None,
    hole: Quantity | None,
) -> Outcome:
    of = thread_of(thread)
    outer = of.washer_face if face is None else decimals(face, "mm")
    inner = of.clearance_hole if hole is None else decimals(hole, "mm")
    if inner >= outer:
        raise InputErrors(
            {
                "face": f"The bearing face reaches outside the hole: more than {plain(inner)} mm across, "
                f"{plain(outer)} mm was given."
            }
        )
    if inner < of.minor_diameter:
        raise InputErrors({"hole": f"An {of.name} bolt does not go through a hole of {plain(inner)} mm."})
    mean = (outer + inner) / 2
    force, in_thread, under_head = decimals(preload, "N"), decimals(mu_thread, "1"), decimals(mu_head, "1")
    torque = friction_torque(force, of, in_thread, under_head, mean)
    exact = friction_torque_exact(force, of, in_thread, under_head, mean)
    stretch = friction_torque(force, of, D(0), D(0), mean)
    thread_part = friction_torque(force, of, in_thread, D(0), mean) - stretch
    head_part = torque - stretch - thread_part
    rows = tuple(
        (what, f"{plain(part, 1)} N·m", f"{plain(part / torque * 100, 1)} %")
        for what, part in (
            ("stretching the bolt", stretch),
            ("friction in the thread", thread_part),
            ("friction under the head", head_part),
        )
    )
    most = proof_load(of, STRONGEST)
    odd = force > most
    return Outcome(
        {
            "torque": quantity(torque, "N.m"),
            "exact": quantity(exact, "N.m"),
            "nut_factor": f"{torque * 1000 / (force * of.diameter):.3f}",
            "mean": quantity(mean, "mm"),
        },
        verdict=f"{plain(force / 1000, 1)} kN is more than the proof load of an {of.name} bolt of class {STRONGEST}, "
        f"{plain(most / 1000, 1)} kN (ISO 898-1): look at the preload, its unit and the thread."
        if odd
        else "",
        odd=odd,
        tables=[Table("Where the torque goes", ("Part", "Torque", "Share"), rows)],
    )


CALCULATOR = Calculator(
    slug="torque-by-friction",
    words=("lubricated", "oiled", "dry", "bolt"),
    name="Torque for a preload, by friction",
    group="Fasteners",
    question="What torque gives this preload, with this friction in the thread and under the head?",
    inputs=(
        Number("preload", "Preload wanted", "force", "kN", D("0.1"), D(500)),
        METRIC_THREAD,
        Number("mu_thread", "Friction in the thread, µ", "count", "1", *MU_RANGE, assumed=MU),
        Number("mu_head", "Friction under the head, µ", "count", "1", *MU_RANGE, assumed=MU),
        Number(
            "face",
            "Bearing face under the head, outer diameter",
            "length",
            "mm",
            D(5),
            D(60),
            help="Left empty: the face of a hexagon head, ISO 4014.",
            optional=True,
        ),
        Number(
            "hole",
            "Hole under the head, diameter",
            "length",
            "mm",
            D(4),
            D(40),
            help="Left empty: the medium hole of ISO 273.",
            optional=True,
        ),
    ),
    outputs=(
        Output("torque", "Tightening torque", "N.m", main=True),
        Output("exact", "The same by the exact form", "N.m"),
        Output("nut_factor", "Nut factor that this comes to"),
        Output("mean", "Mean diameter of the bearing face", "mm"),
    ),
    formula="T = F · [P/(2π) + 0.577 · d₂ · µthread + µhead · Db/2];  "
    "exact: T = F/2 · [(P + 1.154π · µthread · d₂)/(π − 1.154 · µthread · P/d₂) + µhead · Db]",
    sources=(
        VDI,
        PROOF_SOURCE,
        Source("ISO 16047", "exact form", Kind.FROM_MEMORY),
        Source("ISO 4014 and ISO 273", "smallest washer face; medium clearance hole"),
    ),
    work=work,
    cautions=(MAKER_FIRST,),
    example={"preload": "25 kN", "thread": "M10", "mu_thread": "0.12", "mu_head": "0.14"},
)
