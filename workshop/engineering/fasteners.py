"""What a tightening torque does to a bolt: preload, share of the proof load, torque to 90 % of yield.

Informs only: the maker's torque decides, and a nut factor scatters by 25 to 30 %.
Sources: T = K·d·F, a textbook form; VDI 2230-1 (2003, 2015) for tightening to yield; ISO 16047 for the
exact friction form; ISO 898-1:2013 for the loads (see `threads`).
"""

from dataclasses import dataclass
from decimal import Decimal

from workshop.engineering.errors import EngineeringError
from workshop.engineering.numbers import plain
from workshop.engineering.threads import (
    PI,
    PROPERTY_CLASSES,
    SQRT3,
    THREADS,
    PropertyClass,
    Thread,
    UnknownPropertyClass,
    UnknownThread,
    proof_load,
    property_class,
    strength_of,
    thread,
)
from workshop.engineering.units import Amount, UnitError, units_of

D = Decimal
# What VDI 2230-1 tightens to: 90 % of the least yield.
SHARE_OF_YIELD = D("0.9")
LEAST_FRICTION = D("0.01")


class FastenerError(EngineeringError):
    """A torque, friction or load that no bolt could have."""


@dataclass(frozen=True)
class NutFactor:
    """A named friction condition with its nut factor K and the range it scatters in."""

    code: str
    label: str
    value: Decimal
    low: Decimal
    high: Decimal
    source: str


_PAGES = "two suppliers' engineering pages"
NUT_FACTORS: dict[str, NutFactor] = {
    f.code: f
    for f in (
        NutFactor("dry", "clean, dry, plain steel", D("0.20"), D("0.20"), D("0.25"), _PAGES),
        NutFactor("zinc", "zinc plated, as received", D("0.20"), D("0.17"), D("0.22"), _PAGES),
        NutFactor("oiled", "oiled", D("0.16"), D("0.15"), D("0.18"), _PAGES),
        NutFactor(
            "paste", "moly or anti-seize paste", D("0.12"), D("0.10"), D("0.14"), "from memory: Shigley"
        ),
        NutFactor("coated", "wax or PTFE coated", D("0.12"), D("0.10"), D("0.14"), "a supplier's page"),
        NutFactor("black", "black, not plated, dry", D("0.30"), D("0.30"), D("0.30"), "from memory: Shigley"),
    )
}


@dataclass(frozen=True)
class ProofShare:
    """Preload estimated from a torque, against the bolt's proof load. `share` 1 is the proof load."""

    preload_N: Decimal
    proof_load_N: Decimal
    share: Decimal
    questioned: bool
    sentence: str


def _positive(value: Decimal, what: str) -> Decimal:
    if not value.is_finite() or value <= 0:
        raise FastenerError(f"{what} must be above zero.")
    return value


def torque_conversions(amount: Amount) -> dict[str, Amount]:
    """A torque in every other torque unit, by unit code. Refuses what is no torque with `UnitError`."""
    if amount.dimension != "torque":
        raise UnitError(f"{amount} is no torque.")
    return {u.code: amount.to(u.code) for u in units_of("torque") if u.code != amount.unit}


def preload_from_torque(torque_Nm: Decimal, nut_factor: Decimal, diameter_mm: Decimal) -> Decimal:
    """F = T/(K·d) in N, from N·m and mm. Refuses zero and negative values with `FastenerError`."""
    _positive(torque_Nm, "The torque")
    return (
        torque_Nm * 1000 / (_positive(nut_factor, "The nut factor") * _positive(diameter_mm, "The diameter"))
    )


def torque_from_preload(preload_N: Decimal, nut_factor: Decimal, diameter_mm: Decimal) -> Decimal:
    """T = K·d·F in N·m, from N and mm."""
    _positive(preload_N, "The preload")
    return preload_N * _positive(nut_factor, "The nut factor") * _positive(diameter_mm, "The diameter") / 1000


def proof_share(torque_Nm: Decimal, nut_factor: Decimal, of: Thread, code: str) -> ProofShare:
    """How much of its proof load a torque asks of a bolt; above the whole of it, it is questioned.

    `code` is the property class. Tightening to yield goes above it on purpose: the caller knows.
    """
    preload = preload_from_torque(torque_Nm, nut_factor, of.diameter)
    load = proof_load(of, code)
    share = preload / load
    numbers = (
        f"{plain(torque_Nm, 1)} N·m with nut factor {plain(nut_factor)} puts about "
        f"{plain(preload / 1000, 1)} kN into an {of.name} bolt of class {property_class(code).code}: "
        f"{plain(share * 100, 1)} % of its proof load {plain(load / 1000, 1)} kN (ISO 898-1)"
    )
    questioned = share > 1
    end = ". Compare torque, unit, thread and class with the maker's data." if questioned else "."
    return ProofShare(preload, load, share, questioned, numbers + end)


def question_units(value: Decimal, code: str, of: Thread, class_code: str, nut_factor: Decimal) -> list[str]:
    """Other torque units in which this number would be a usual torque (30 to 100 % of proof load).

    Empty unless the number in its own unit is questioned. 30 % is the application's own choice.
    """
    torque = Amount(value, code)
    torque_conversions(torque)
    if not proof_share(torque.base(), nut_factor, of, class_code).questioned:
        return []
    others = [u.code for u in units_of("torque") if u.code != code]
    shares = {u: proof_share(Amount(value, u).base(), nut_factor, of, class_code).share for u in others}
    return [u for u, share in shares.items() if D("0.3") <= share <= 1]


def friction_torque(
    preload_N: Decimal, of: Thread, mu_thread: Decimal, mu_head: Decimal, mean_mm: Decimal
) -> Decimal:
    """T = F·(P/(2π) + 0.577·d2·µth + µb·Db/2) in N·m: the approximate form of VDI 2230-1."""
    _positive(preload_N, "The preload")
    arm = of.pitch / (2 * PI) + of.pitch_diameter * mu_thread / SQRT3 + mu_head * mean_mm / 2
    return preload_N * arm / 1000


def friction_torque_exact(
    preload_N: Decimal, of: Thread, mu_thread: Decimal, mu_head: Decimal, mean_mm: Decimal
) -> Decimal:
    """The same torque by the exact form of ISO 16047, in N·m (formula from memory)."""
    _positive(preload_N, "The preload")
    friction = D("1.154") * PI * mu_thread
    in_thread = (of.pitch + friction * of.pitch_diameter) / (
        PI - D("1.154") * mu_thread * of.pitch / of.pitch_diameter
    )
    return preload_N * (in_thread + mu_head * mean_mm) / 2000


def yield_preload(of: Thread, code: str, mu_thread: Decimal, share: Decimal = SHARE_OF_YIELD) -> Decimal:
    """FM in N: the preload at `share` of the least yield, under tension and torsion together.

    VDI 2230-1: FM = ν·As·Rp0.2 / √(1 + 3·[1.5·(d2/d0)·(P/(π·d2) + 1.155·µ)]²).
    """
    _positive(mu_thread, "The friction")
    _positive(share, "The share of yield")
    d2, d0 = of.pitch_diameter, of.stress_diameter
    torsion = D("1.5") * d2 / d0 * (of.pitch / (PI * d2) + D("1.155") * mu_thread)
    return share * of.stress_area * strength_of(of, code).yield_ / (1 + 3 * torsion**2).sqrt()


def friction_of(nut_factor: Decimal, of: Thread) -> Decimal:
    """µ in the thread and under a hexagon head alike that comes to this nut factor: `friction_torque` solved for µ.

    At least 0.01: a smaller one stands for no surface.
    """
    stretch = of.pitch / (2 * PI)
    arm = of.pitch_diameter / SQRT3 + of.head_bearing_mean / 2
    return max((_positive(nut_factor, "The nut factor") * of.diameter - stretch) / arm, LEAST_FRICTION)


def yield_torque(
    of: Thread, code: str, mu_thread: Decimal, mu_head: Decimal | None = None, share: Decimal = SHARE_OF_YIELD
) -> Decimal:
    """MA in N·m: MA = FM·(0.16·P + 0.58·d2·µth + µhead·DKm/2), hexagon head, hole ISO 273 medium."""
    mu_head = mu_thread if mu_head is None else _positive(mu_head, "The friction")
    arm = (
        D("0.16") * of.pitch + D("0.58") * of.pitch_diameter * mu_thread + mu_head * of.head_bearing_mean / 2
    )
    return yield_preload(of, code, mu_thread, share) * arm / 1000


__all__ = [
    "NUT_FACTORS", "PROPERTY_CLASSES", "THREADS", "FastenerError", "NutFactor", "ProofShare", "PropertyClass",
    "Thread", "UnknownPropertyClass", "UnknownThread", "friction_of", "friction_torque", "friction_torque_exact",
    "preload_from_torque", "proof_load", "proof_share", "property_class", "question_units", "thread",
    "torque_conversions", "torque_from_preload", "yield_preload", "yield_torque",
]  # fmt: skip
