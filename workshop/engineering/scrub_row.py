"""How far other wheels or spacers move the scrub radius of an axle: the row of it, and what is missing for it."""

from __future__ import annotations

from dataclasses import replace

from workshop.engineering.effect import Missing, Part, Row, Standing
from workshop.engineering.effect_figures import Known, compared, plain, said
from workshop.engineering.items import axle_of
from workshop.engineering.quantities import magnitude, quantity
from workshop.engineering.suspension import scrub_change

WHEELS = ("rim_offset", "spacer")
_SCRUB_MATTERS = {
    "front": "uneven braking pulls at the steering differently",
    "rear": "brake forces turn the wheel against its links differently",
}


def rims_of(car: Known, axle: str) -> list[Part]:
    """The wheels of an axle that are not the factory's, whatever they say of themselves."""
    return [
        part for part in car.parts if part.place == "wheels" and axle_of(part.place, part.position) == axle
    ]


def scrub_of(car: Known, axle: str) -> tuple[float | None, Row | None, list[Missing]]:
    """How far other wheels or spacers move the wheel's middle outwards in mm, and the row of the scrub radius.

    None where that can't be said: other wheels do not inherit the factory's offset; what is missing is asked for.
    """
    offset, spacer = (f"{axle}.{code}" for code in WHEELS)
    radius_key = f"{axle}.scrub_radius"
    rims = rims_of(car, axle)
    wheels = car.less(offset) if rims else car
    parts = tuple(dict.fromkeys((*car.ids(offset, spacer), *(part.id for part in rims))))
    others = bool(rims) or offset in car.own
    if not parts and not others:
        return 0.0, None, []
    factory, now = plain(car.factory, offset, "mm"), plain(wheels.now, offset, "mm")
    what, radius = f"Scrub radius, {axle}", plain(car.factory, radius_key, "mm")
    if radius_key in car.own or car.ids(radius_key):
        return 0.0, _measured(what, radius, plain(car.now, radius_key, "mm"), parts), []
    missing = []
    if others:
        why = "to say how far the wheel's middle has moved"
        missing += [Missing(offset, why)] * (factory is None)
        missing += [Missing(f"rim_offset@{part.id}", why) for part in rims[:1] if now is None]
    if missing:
        words = "Other wheels may move it: give the offset of both."
        row = Row(what, said(radius, "mm"), "–", "–", Standing.NOT_KNOWN, words, parts=parts)
        return None, None if radius is None else row, missing
    # Where the wheels are the factory's, a spacer alone moves them, whatever their offset is.
    before, after = (factory or 0.0, now or 0.0) if others else (0.0, 0.0)
    thickness = (plain(car.now, spacer, "mm") or 0.0) - (plain(car.factory, spacer, "mm") or 0.0)
    change = scrub_change(quantity(before, "mm"), quantity(after, "mm"), quantity(thickness, "mm"))
    out = magnitude(change, "mm")
    if not out:
        return 0.0, None, missing
    row = Row(
        what,
        said(radius, "mm"),
        said(None if radius is None else radius + out, "mm"),
        _millimetres(out),
        Standing.CHANGED,
        f"The wheel's middle lies {said(abs(out), 'mm')} further {'out' if out > 0 else 'in'}, and the scrub radius "
        f"with it: {_SCRUB_MATTERS[axle]}.",
        parts=parts,
    )
    return out, row, missing


def _measured(what: str, factory: float | None, now: float | None, parts: tuple[str, ...]) -> Row:
    """The row of a scrub radius that is given: its change in mm, for a share of a signed length says nothing."""
    change = "–" if factory is None or now is None else _millimetres(now - factory)
    return replace(
        compared(what, factory, now, "mm", parts),
        change=change,
        standing={"–": Standing.NOT_KNOWN, "none": Standing.AS_FACTORY}.get(change, Standing.CHANGED),
    )


def _millimetres(difference: float) -> str:
    """ "+15 mm", "−2.5 mm", "none" below a hundredth."""
    size = round(abs(difference), 2)
    return f"{'+' if difference > 0 else '−'}{said(size, 'mm')}" if size else "none"
