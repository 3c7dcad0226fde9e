"""The preload that an angle adds after a snug torque, estimated from the springs of bolt and joint."""

from __future__ import annotations

from workshop.engineering.bolt_inputs import (
    FRICTION_SOURCE,
    MAKER_FIRST,
    METRIC_CLASS,
    METRIC_THREAD,
    NUT_FACTOR,
    PROOF_SOURCE,
    SURFACE,
    VDI,
    D,
    decimals,
    metric_bolt,
    nut_factor_of,
)
from workshop.engineering.declare import Calculator, Choice, Kind, Number, Outcome, Output, Source
from workshop.engineering.fasteners import friction_of, preload_from_torque, proof_load
from workshop.engineering.plot import Axis, Line, Mark, Plot
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.torque_angle import HELD_BY, MODULI, AngleGain, angle_gain, joint, stiffness


def work(
    torque: Quantity,
    angle: Quantity,
    thread: str,
    strength: str,
    surface: str,
    nut_factor: Quantity | None,
    grip: Quantity,
    shank: Quantity | None,
    sleeve: Quantity | None,
    material: str,
    held_by: str,
) -> Outcome:
    of, factor = metric_bolt(thread, strength), nut_factor_of(surface, nut_factor)
    bolted = joint(of, grip, shank, sleeve, material, held_by)
    snug = quantity(preload_from_torque(decimals(torque, "N.m"), factor.value, of.diameter), "N")
    friction = friction_of(factor.value, of)
    gain = angle_gain(bolted, strength, snug, angle, friction)
    proof = float(proof_load(of, strength))
    bolt, clamped = stiffness(bolted)
    degrees = magnitude(angle, "deg")
    notes = [
        "An estimate: the faces settle, so the gain in the car is somewhat lower.",
        f"The twist of tightening is reckoned with µ {friction:.2f} in the thread, which is what nut factor "
        f"{factor.value:f} comes to with the same µ under the head.",
    ]
    if shank is None:
        notes.append(
            "No plain shank given: the bolt is taken as threaded all through the grip, a softer one."
        )
    if sleeve is None:
        notes.append(
            f"No size of the clamped part given: taken as a sleeve {bolted.sleeve:.1f} mm across, "
            "the head's face and a tenth of the grip (common practice, no source)."
        )
    return Outcome(
        {
            "preload": quantity(gain.after, "N"),
            "capped": _end(gain),
            "snug": quantity(gain.snug, "N"),
            "per_degree": quantity(gain.per_degree, "N"),
            "of_proof": quantity(gain.after / proof * 100, "%"),
            "twisted": quantity(gain.twisted_load, "N"),
            "twisted_angle": quantity(gain.twisted_angle, "deg"),
            "yield_angle": quantity(gain.yield_angle, "deg"),
            "bolt": bolt,
            "clamped": clamped,
        },
        verdict=angle_words(gain, degrees, proof),
        odd=gain.yields or gain.may_yield,
        notes=notes,
        plots=[_plot(gain, degrees, proof)],
    )


def _end(gain: AngleGain) -> str:
    if gain.yields:
        return "the yield of the bolt"
    return "the angle, the bolt may already yield" if gain.may_yield else "the angle, the bolt stays elastic"


def angle_words(gain: AngleGain, degrees: float, proof: float) -> str:
    """What the angle does, in a sentence with the numbers; loads in N."""
    start = (
        f"From about {gain.snug / 1000:.1f} kN at the snug torque, {degrees:g}° would add "
        f"{(gain.elastic - gain.snug) / 1000:.1f} kN"
    )
    twisted = f"about {gain.twisted_load / 1000:.1f} kN, after {gain.twisted_angle:.0f}°"
    if gain.yields:
        return (
            f"{start}, but the bolt yields at about {gain.yield_load / 1000:.1f} kN, after {gain.yield_angle:.0f}°, and "
            f"while friction twists it from {twisted}: the preload stays near that, and the bolt is used once."
        )
    reached = (
        f"{start}: about {gain.after / 1000:.1f} kN, {gain.after / proof * 100:.0f} % of the proof load "
        f"{proof / 1000:.1f} kN."
    )
    if gain.may_yield:
        return (
            f"{reached} The bolt may already yield: while friction twists it, it does from {twisted}. "
            f"It does at {gain.yield_angle:.0f}° without a twist. Use it once."
        )
    return f"{reached} The bolt stays elastic; while friction twists it, it would yield from {twisted}."


def _plot(gain: AngleGain, degrees: float, proof: float) -> Plot:
    end = max(degrees, gain.yield_angle) * 1.15
    at_yield = gain.yield_load / 1000
    corner = (gain.yield_angle, at_yield)
    steps = [degrees * part / 4 for part in range(5)]
    return Plot(
        "preload-by-angle",
        "Preload by angle after the snug torque",
        Axis("Angle, °", 0, end),
        Axis("Preload, kN", 0, at_yield * 1.15),
        f"The preload rises by {gain.per_degree / 1000:.2f} kN for each degree, straight, until the bolt yields at "
        f"{gain.yield_angle:.0f}°, and from {gain.twisted_angle:.0f}° while friction twists it.",
        lines=(
            Line("preload, elastic up to yield", ((0.0, gain.snug / 1000), corner, (end, at_yield))),
            Line("proof load", ((0.0, proof / 1000), (end, proof / 1000)), "limit"),
            Line(
                "yield while twisted",
                ((0.0, gain.twisted_load / 1000), (end, gain.twisted_load / 1000)),
                "limit",
            ),
        ),
        marks=(Mark("this angle", (degrees, gain.after / 1000)),),
        head=("Angle", "Preload"),
        rows=tuple(
            (f"{step:.0f}°", f"{min(gain.snug + step * gain.per_degree, gain.yield_load) / 1000:.1f} kN")
            for step in steps
        ),
    )


CALCULATOR = Calculator(
    slug="torque-and-angle",
    words=("stretch bolt", "torque-to-yield", "angle tightening", "degrees"),
    name="Torque and angle",
    group="Fasteners",
    question="How much preload does the angle add after the snug torque, and does the bolt yield?",
    inputs=(
        Number("torque", "Snug torque", "torque", "N.m", D("0.1"), D(2000)),
        Number("angle", "Angle after it", "angle", "deg", D(1), D(720)),
        METRIC_THREAD,
        METRIC_CLASS,
        SURFACE,
        NUT_FACTOR,
        Number(
            "grip",
            "Clamped length",
            "length",
            "mm",
            D(3),
            D(500),
            help="From under the head to the face of the nut, or to the first thread that holds.",
        ),
        Number(
            "shank",
            "Plain shank within the clamped length",
            "length",
            "mm",
            D(0),
            D(500),
            help="Left empty: none, threaded all through.",
            optional=True,
        ),
        Number(
            "sleeve",
            "Width of the clamped part round the bolt",
            "length",
            "mm",
            D(6),
            D(200),
            help="Left empty: the head's face and a tenth of the clamped length.",
            optional=True,
        ),
        Choice(
            "material",
            "What is clamped is of",
            tuple((code, label) for code, (label, _) in MODULI.items()),
            usual="steel",
        ),
        Choice("held_by", "The bolt is held by", tuple(HELD_BY.items()), usual="nut"),
    ),
    outputs=(
        Output("preload", "Preload after the angle, estimated", "kN", main=True),
        Output("capped", "It ends at"),
        Output("snug", "Preload at the snug torque", "kN"),
        Output("per_degree", "Gain for each degree", "N"),
        Output("of_proof", "Share of the proof load", "%"),
        Output("twisted", "Yield while friction twists the bolt", "kN"),
        Output("twisted_angle", "Angle from which it may yield", "deg"),
        Output("yield_angle", "Angle at which it yields at the latest", "deg"),
        Output("bolt", "Stiffness of the bolt", "kN/mm"),
        Output("clamped", "Stiffness of what is clamped", "kN/mm"),
    ),
    formula="ΔF = (θ/360°) · P / (δS + δP), at most As · Rp0.2, twisted As · Rp0.2 / √(1 + 3 · (τ/σ)²);  δS = (1/E) · Σ(l/A), δP = lK / (E · Asleeve)",
    sources=(
        Source("VDI 2230-1", "compliance of bolt and joint", Kind.FROM_MEMORY),
        VDI,
        PROOF_SOURCE,
        FRICTION_SOURCE,
    ),
    work=work,
    cautions=(
        MAKER_FIRST,
        "Angle-tightened bolts are used once, unless the maker allows a measured re-use.",
    ),
    example={
        "torque": "20 N.m",
        "angle": "45 deg",
        "thread": "M10",
        "strength": "10.9",
        "surface": "oiled",
        "grip": "50 mm",
        "shank": "30 mm",
        "sleeve": "25 mm",
        "material": "steel",
        "held_by": "nut",
    },
)
