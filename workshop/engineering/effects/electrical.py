"""Added circuits: load, fuse and cable beside each other, the alternator, and how long another battery lasts."""

from __future__ import annotations

from collections.abc import Mapping

from workshop.engineering.cable_inputs import AROUND
from workshop.engineering.drain import PRACTICE, USABLE, days_to_flat, days_words
from workshop.engineering.effect import (
    CarFigures,
    Effect,
    Figure,
    Missing,
    Part,
    Row,
    Standing,
    Topic,
    change_in_percent,
)
from workshop.engineering.electrical import (
    CARRIES_SOURCE,
    CONTINUOUS_SHARE,
    COPPER,
    DROP_SOURCE,
    FUSE_SOURCE,
    SHARE_SOURCE,
    carries_at,
    resistance_at,
)
from workshop.engineering.units import Amount

CIRCUIT = ("load_current", "fuse_rating", "cable_section", "cable_length")
DROP = ("load_current", "cable_section", "cable_length")
# Whatever is fitted there has a circuit, so what is missing of it is asked for.
ELECTRICAL_PLACES = ("added-circuits", "second-battery", "tow-socket")
KEYS = (*CIRCUIT, "battery_capacity", "alternator_current")
UNITS = {
    "load_current": "A", "fuse_rating": "A", "cable_section": "mm2", "cable_length": "m", "battery_capacity": "Ah",
    "alternator_current": "A", "quiescent_current": "mA", "system_voltage": "V",
}  # fmt: skip
WHY = {
    "load_current": "to compare the load with its fuse, its cable and the alternator",
    "fuse_rating": "to see whether the fuse suits the load and protects the cable",
    "cable_section": "to see what the cable carries and what voltage it loses",
    "cable_length": "to see what voltage it loses",
}
# Taken where nobody wrote it down; what they do is said in the topic's assumptions.
SURROUNDINGS, COOL, HOT = (float(one) for one in (AROUND.value, AROUND.low, AROUND.high))  # °C
# What the insulation stands: a cable that carries all it may is so hot. One that carries little is as its surroundings.
CONDUCTOR = 70.0  # °C
VOLTAGE, VOLTAGES = 12.0, (6.0, 24.0)  # V
MOST_DROP = 5.0  # %
# Back through the body: half of what is lost there and back, and its joints on top.
LEAST_WAY = 0.5


def _plain(figures: Mapping[str, Figure], code: str) -> float | None:
    """A figure as a plain float in the unit of `UNITS`; None where it is not known."""
    figure = figures.get(code)
    if figure is None or not isinstance(figure.value, Amount):
        return None
    return float(figure.value.to(UNITS[code]).value)


def work(car: CarFigures) -> Topic | None:
    circuits = [
        part
        for part in car.parts
        if any(code in part.figures for code in CIRCUIT) or part.place in ELECTRICAL_PLACES
    ]
    if not circuits and not car.parts_for(KEYS):
        return None
    rows: list[Row] = []
    missing: list[Missing] = []
    voltage = _plain(car.now, "system_voltage")
    dropping = [part for part in circuits if all(_plain(part.figures, code) is not None for code in DROP)]
    for part in circuits:
        rows += _circuit(part)
        if part in dropping:
            rows.append(_lost(part, voltage))
        missing += [
            Missing(f"{code}@{part.id}", WHY[code]) for code in CIRCUIT if _plain(part.figures, code) is None
        ]
    if dropping and voltage is None:
        missing.append(Missing("system_voltage", "to say what share of it is lost in the cables"))
    for found, asked in (_alternator(car, circuits), _battery(car)):
        rows += found
        missing += asked
    return Topic(
        "electrical",
        "Added circuits and battery",
        tuple(rows),
        missing=tuple(missing),
        assumptions=tuple(_assumptions(circuits, bool(dropping), voltage)),
        notes=(
            "Several loads on one fuse add up: look at what else hangs on it.",
            "A cable in a bundle or a tube carries less than in free air.",
        )
        if circuits
        else (),
        sources=(COPPER, FUSE_SOURCE, SHARE_SOURCE, CARRIES_SOURCE, DROP_SOURCE, PRACTICE),
        cautions=("Never fit a larger fuse because the right one opens: find out why it opens.",)
        if circuits
        else (),
        calculator="added-load",
    )


def _circuit(part: Part) -> list[Row]:
    load, fuse, section, _ = (_plain(part.figures, code) for code in CIRCUIT)
    rows = []
    if load is not None and fuse is not None:
        share = load / fuse
        over = share > CONTINUOUS_SHARE * (1 + 1e-9)
        rows.append(
            _row(
                part,
                "load on its fuse",
                f"{load:g} A on {fuse:g} A, {100 * share:.0f} %",
                over,
                f"The fuse may open after a while: it carries some {fuse * CONTINUOUS_SHARE:.1f} A for hours."
                if over
                else "The fuse carries this load for hours.",
                f"up to {100 * CONTINUOUS_SHARE:.0f} % of the fuse",
                str(SHARE_SOURCE),
            )
        )
    if section is not None and (fuse is not None or load is not None):
        carries = carries_at(section, SURROUNDINGS)
        current, what = (fuse, "fuse") if fuse is not None else (load, "load")
        assert current is not None
        over = current > carries * (1 + 1e-9)
        bad = (
            "The cable carries less than its fuse: the fuse does not protect it."
            if what == "fuse"
            else "The cable gets too hot."
        )
        good = "The cable carries its fuse" if what == "fuse" else "The cable carries this load"
        # Warmth takes from what it carries: said where an engine bay may be as warm as that.
        warmest = CONDUCTOR - (CONDUCTOR - SURROUNDINGS) * (current / carries) ** 2
        good += f" up to {warmest:.0f} °C around it." if warmest < HOT else "."
        rows.append(
            _row(
                part,
                f"{what} on its cable",
                f"{what} {current:g} A, cable {section:g} mm²",
                over,
                bad if over else good,
                f"up to {carries:.1f} A",
                str(CARRIES_SOURCE),
            )
        )
    return rows


def _lost(part: Part, voltage: float | None) -> Row:
    """Voltage lost there and back: shown for a hot conductor; judged only where no assumption would change it."""
    load, section, length = (_plain(part.figures, code) or 0.0 for code in DROP)
    most = load * resistance_at(section, CONDUCTOR) * 2 * length
    least = load * resistance_at(section, COOL) * 2 * length * LEAST_WAY
    of = VOLTAGE if voltage is None else voltage
    low, high = (min(VOLTAGES), max(VOLTAGES)) if voltage is None else (of, of)
    now = f"{most:.2f} V, {100 * most / of:.1f} % of {of:g} V"
    if voltage is None:
        others = " and ".join(f"{100 * most / each:.1f} % of {each:g} V" for each in VOLTAGES)
        now += f" (assumed; {others})"
    limit = MOST_DROP / 100 * (1 + 1e-9)
    if most <= limit * low:
        standing, verdict = Standing.INSIDE, ""
    elif least > limit * high:
        standing, verdict = Standing.OUTSIDE, "A thicker or a shorter cable loses less."
    else:
        standing = Standing.NOT_KNOWN
        verdict = f"It may be more than {MOST_DROP:g} %: " + (
            "give the voltage of the car's network."
            if voltage is None and not least <= limit * of < most
            else f"from {least:.2f} V, cool and back through the body, to {most:.2f} V. Measure it under load."
        )
    return Row(
        f"{part.what}: voltage lost in its cable",
        "–",
        now,
        "–",
        standing,
        verdict,
        f"up to {MOST_DROP:g} %",
        str(DROP_SOURCE),
        (part.id,),
    )


def _row(part: Part, what: str, now: str, over: bool, verdict: str, limit: str, source: str) -> Row:
    standing = Standing.OUTSIDE if over else Standing.INSIDE
    return Row(f"{part.what}: {what}", "–", now, "–", standing, verdict, limit, source, (part.id,))


def _against(before: float | None, now: float) -> Standing:
    """How a figure stands beside the factory's; without that, nothing can be said."""
    if before is None:
        return Standing.NOT_KNOWN
    return Standing.AS_FACTORY if before == now else Standing.CHANGED


NO_FACTORY = "Whether it was changed can't be said: give the factory's figure."


def _alternator(car: CarFigures, circuits: list[Part]) -> tuple[list[Row], list[Missing]]:
    """All added loads at once, beside the rating of the alternator that is fitted now."""
    rows: list[Row] = []
    missing: list[Missing] = []
    before, now = _plain(car.factory, "alternator_current"), _plain(car.now, "alternator_current")
    parts = tuple(part.id for part in car.parts_for(("alternator_current",)))
    if parts and now is not None:
        rows.append(
            Row(
                "Rated alternator current",
                "–" if before is None else f"{before:g} A",
                f"{now:g} A",
                "–" if before is None else change_in_percent(before, now),
                _against(before, now),
                NO_FACTORY if before is None else "",
                parts=parts,
            )
        )
        if before is None:
            missing.append(Missing("alternator_current", "to say what another alternator changes"))
    loads = {part.id: load for part in circuits if (load := _plain(part.figures, "load_current")) is not None}
    if not loads:
        return rows, missing
    total = sum(loads.values())
    if now is None:
        missing.append(
            Missing("alternator_current", f"to compare it with the {total:g} A of the added loads")
        )
        return rows, missing
    over = total > now
    rows.append(
        Row(
            "All added loads on the alternator",
            "0 A",
            f"{total:g} A of {now:g} A, {100 * total / now:.0f} %",
            f"+{total:g} A",
            Standing.OUTSIDE if over else Standing.CHANGED,
            "The alternator can't feed them all at once: the battery pays."
            if over
            else "What the car itself uses comes first; at idle an alternator gives far less than its rating.",
            f"up to {now:g} A" if over else "–",
            "the alternator's rating" if over else "",
            tuple(loads),
        )
    )
    return rows, missing


def _battery(car: CarFigures) -> tuple[list[Row], list[Missing]]:
    """Another starter battery: how long it feeds the car's quiescent current."""
    parts = tuple(part.id for part in car.parts_for(("battery_capacity",)))
    if not parts:
        return [], []
    before, now = _plain(car.factory, "battery_capacity"), _plain(car.now, "battery_capacity")
    assert now is not None  # a part carries it
    missing = []
    if before is None:
        missing.append(Missing("battery_capacity", "to say what another battery changes"))
    rows = [
        Row(
            "Battery capacity",
            "–" if before is None else f"{before:g} Ah",
            f"{now:g} Ah",
            "–" if before is None else change_in_percent(before, now),
            _against(before, now),
            NO_FACTORY if before is None else "",
            parts=parts,
        )
    ]
    quiescent = _plain(car.now, "quiescent_current")
    if quiescent is None or quiescent <= 0:
        missing.append(Missing("quiescent_current", "to say how long the battery lasts while the car stands"))
        return rows, missing
    lasts = days_to_flat(now, quiescent) or 0.0
    lasted = None if before is None else days_to_flat(before, quiescent)
    rows.append(
        Row(
            f"Days until {100 * USABLE:.0f} % is taken, at {quiescent:g} mA",
            "–" if lasted is None else _days(lasted),
            _days(lasts),
            "–" if lasted is None else change_in_percent(lasted, lasts),
            _against(before, now),
            parts=parts,
        )
    )
    return rows, missing


def _days(days: float) -> str:
    return f"{days:.0f} days" if days >= 10 else days_words(days)


def _assumptions(circuits: list[Part], dropping: bool, voltage: float | None) -> list[str]:
    """What was taken for the cables, said once with the first cable as the example."""
    section = next((size for part in circuits if (size := _plain(part.figures, "cable_section"))), None)
    if section is None:
        return []
    said = [
        f"{SURROUNDINGS:g} °C around the cables is assumed, and insulation that stands {CONDUCTOR:g} °C. Anywhere from "
        f"{COOL:g} °C to {HOT:g} °C, a cable of {section:g} mm² carries between {carries_at(section, HOT):.1f} A and "
        f"{carries_at(section, COOL):.1f} A."
    ]
    if dropping:
        cooler = 100 * (1 - resistance_at(section, COOL) / resistance_at(section, CONDUCTOR))
        said.append(
            f"The voltage lost is that of a conductor at {CONDUCTOR:g} °C; one at {COOL:g} °C loses {cooler:.0f} % less. "
            "The way back through a cable like the one out is assumed. With the way back through the body half as much "
            "is lost, and what its joints take on top."
        )
        if voltage is None:
            said.append(
                f"{VOLTAGE:g} V is assumed for the car's network: of {VOLTAGES[0]:g} V twice, of {VOLTAGES[1]:g} V half "
                "that share is lost."
            )
    return said


EFFECT = Effect("electrical", "Added circuits and battery", 70, work)
