"""Forced induction: the drive of a blower, the air behind a compressor and behind its cooler.

Air is taken as a perfect gas with γ = 1.4, dry, and no heat lost on the way. Pressures are absolute unless they
are called boost. Public functions take Pint quantities of any unit of the right dimension; what is a bare ratio
is a float. They refuse with `EngineeringError` what has no answer.
Source: textbook mechanics and thermodynamics of gases (Young & Freedman, *University Physics*, ch. 19).
"""

from __future__ import annotations

from workshop.engineering.errors import EngineeringError
from workshop.engineering.plot import Axis, Line, Plot
from workshop.engineering.quantities import Quantity, magnitude, quantity

# Ratio of the specific heats of air.
GAMMA = 1.4
EXPONENT = (GAMMA - 1) / GAMMA

# What the outside of a car is taken to be where nobody measured: 15 °C, 101.325 kPa (ISO 2533, standard atmosphere).
STANDARD_TEMPERATURE = 288.15
STANDARD_PRESSURE_KPA = 101.325


def drive_ratio(crank_pulley: Quantity, blower_pulley: Quantity, internal_ratio: float = 1.0) -> float:
    """Turns of the blower's rotor for one of the crankshaft: crank diameter over blower diameter, times any gear."""
    blower = magnitude(blower_pulley, "mm")
    if blower <= 0 or magnitude(crank_pulley, "mm") <= 0 or internal_ratio <= 0:
        raise EngineeringError("A pulley's diameter and a gear's ratio are greater than zero: measure again.")
    return magnitude(crank_pulley, "mm") / blower * internal_ratio


def pressure_ratio(boost: Quantity, ambient: Quantity) -> float:
    """Absolute pressure behind the compressor over that before it."""
    outside = magnitude(ambient, "kPa")
    if outside <= 0 or outside + magnitude(boost, "kPa") <= 0:
        raise EngineeringError("An absolute pressure is greater than zero: give the pressures again.")
    return (outside + magnitude(boost, "kPa")) / outside


def kelvin(temperature: Quantity) -> float:
    """An absolute temperature in kelvin, greater than zero."""
    found = magnitude(temperature, "K")
    if found <= 0:
        raise EngineeringError("No temperature lies below −273.15 °C: give it again.")
    return found


def outlet_kelvin(inlet: float, ratio: float, efficiency: float) -> float:
    """T2 = T1 · [1 + (PR^((γ−1)/γ) − 1) / η]; kelvin, pressure ratio, isentropic efficiency as a fraction.

    Plain floats: the curves of a plot run through here.
    """
    return inlet * (1 + (float(ratio**EXPONENT) - 1) / efficiency)


def outlet_temperature(inlet: Quantity, ratio: float, efficiency: Quantity) -> Quantity:
    """Temperature behind a compressor of this isentropic efficiency (a share of one, or per cent), in kelvin."""
    share = magnitude(efficiency, "1")
    if not 0 < share <= 1 or ratio < 1:
        raise EngineeringError(
            "A compressor's efficiency lies above 0 and at most at 100 %, and it raises the pressure: look at both."
        )
    return quantity(outlet_kelvin(kelvin(inlet), ratio, share), "K")


def isentropic_efficiency(inlet: Quantity, outlet: Quantity, ratio: float) -> Quantity:
    """The efficiency that a measured outlet temperature speaks of, as a share of one."""
    first, hot = kelvin(inlet), kelvin(outlet)
    if hot <= first:
        raise EngineeringError("Compressed air comes out hotter than it went in: look at both temperatures.")
    return quantity((outlet_kelvin(first, ratio, 1.0) - first) / (hot - first), "1")


def cooled_temperature(hot: Quantity, coolant: Quantity, effectiveness: Quantity) -> Quantity:
    """T3 = T2 − ε · (T2 − Tcool), in kelvin. The coolant is the air or water that takes the heat."""
    share, before, cold = magnitude(effectiveness, "1"), kelvin(hot), kelvin(coolant)
    if not 0 <= share <= 1:
        raise EngineeringError("A cooler's effectiveness lies between 0 and 100 %.")
    return quantity(before - share * (before - cold), "K")


def cooler_effectiveness(hot: Quantity, cooled: Quantity, coolant: Quantity) -> Quantity:
    """ε = (T2 − T3) / (T2 − Tcool), as a share of one."""
    before, after, cold = kelvin(hot), kelvin(cooled), kelvin(coolant)
    if before <= cold:
        raise EngineeringError("The air before the cooler must be hotter than what cools it: look at both.")
    return quantity((before - after) / (before - cold), "1")


def density_ratio(ratio: float, inlet: Quantity, final: Quantity, loss: float = 0.0) -> float:
    """Density of the air that reaches the engine over that outside: (PR − Δp/p1) · T1 / T.

    `loss` is the cooler's pressure loss over the outside pressure.
    """
    if ratio <= loss:
        raise EngineeringError("The cooler can't lose more pressure than there is: look at both pressures.")
    return (ratio - loss) * kelvin(inlet) / kelvin(final)


def blower_speed_plot(
    ratio_now: float, limiter: float, limit: float | None, ratio_factory: float | None
) -> Plot:
    """Blower speed against engine speed up to the limiter, all in min⁻¹, with the factory's pulley and the limit."""
    end = ratio_now * limiter
    top = max(end, (ratio_factory or 0.0) * limiter, limit or 0.0)
    summary = f"The blower's speed grows with the engine's, to {end:.0f} min⁻¹ at {limiter:.0f}"
    lines = [Line("this pulley", ((0.0, 0.0), (limiter, end)), "this")]
    if ratio_factory is not None:
        lines.append(Line("factory pulley", ((0.0, 0.0), (limiter, ratio_factory * limiter)), "factory"))
        summary += f" (factory pulley: {ratio_factory * limiter:.0f} min⁻¹)"
    if limit is not None:
        lines.append(Line("blower's maximum", ((0.0, limit), (limiter, limit)), "limit"))
        crosses = (
            f"crosses its maximum at {limit / ratio_now:.0f}" if end > limit else "stays below its maximum"
        )
        summary += f"; this pulley {crosses}"
    head = ["Engine, min⁻¹", "Blower, this pulley"] + ["Blower, factory pulley"] * (ratio_factory is not None)
    rows = []
    for share in (0.25, 0.5, 0.75, 1.0):
        speed = share * limiter
        row = [f"{speed:.0f}", f"{ratio_now * speed:.0f}"]
        rows.append(tuple(row if ratio_factory is None else [*row, f"{ratio_factory * speed:.0f}"]))
    return Plot(
        slug="blower-speed",
        title="Blower speed against engine speed",
        x=Axis("Engine speed, min⁻¹", 0.0, limiter),
        y=Axis("Blower speed, min⁻¹", 0.0, top * 1.05),
        summary=f"{summary}.",
        lines=tuple(lines),
        head=tuple(head),
        rows=tuple(rows),
    )
