"""Other tyres and wheels: circumference, speedometer, odometer, load, speed, track and edges."""

from __future__ import annotations

from workshop.engineering.axle_tyres import (
    RIM_CODES,
    TYRE_CODES,
    Figures,
    Rolling,
    as_fitted,
    asked_for,
    plain_number,
    rolling_of,
    size_of,
    text_of,
    unreadable,
    wheel_of,
)
from workshop.engineering.declare import Source
from workshop.engineering.effect import (
    CarFigures,
    Effect,
    Missing,
    Row,
    Standing,
    Topic,
    change_in_percent,
)
from workshop.engineering.items import AXLES, ITEMS
from workshop.engineering.plot import Plot
from workshop.engineering.tyre_load import load_rows, speed_rows
from workshop.engineering.tyre_size import MM_PER_INCH
from workshop.engineering.tyres import (
    LOAD_FAST,
    LOAD_MEMORY,
    LOAD_TABLE,
    PLY_WORDS,
    R39,
    SIZE,
    r39_off,
    shown_at,
    speedometer_plot,
)

# Speedometers are set to show a little too much (common practice); what that does is said with its range.
OVERREAD, OVERREAD_LOW, OVERREAD_HIGH = 0.03, 0.0, 0.06

WHEEL_CODES = (*RIM_CODES, "spacer")


_WHY_WHEEL = "to see where the wheel's edges stand"


def work(car: CarFigures) -> Topic | None:
    touched = car.parts_for(tuple(f"{axle}.{code}" for axle in AXLES for code in (*TYRE_CODES, *WHEEL_CODES)))
    weighed = [axle for axle in AXLES if f"{axle}.axle_mass_weighed" in car.own]
    if not touched and not weighed:
        return None
    now = as_fitted(car)
    rows: list[Row] = []
    missing: list[Missing] = []
    rolling: list[Rolling] = []
    for axle in AXLES:
        tyres = _ids(car, axle, TYRE_CODES)
        if tyres:
            found, asked = rolling_of(car, axle, now)
            missing += asked
            if found is not None:
                rolling.append(found)
                rows.append(_circumference(found, car, now, tyres))
        loads, asked = load_rows(car, now, axle, tyres)
        rows += loads
        missing += asked
        speeds, asked = speed_rows(car, now, axle, tyres)
        rows += speeds
        missing += asked
    dials, plots, assumptions = _speedometer(car, rolling)
    rows += dials
    for axle in AXLES:
        wheels, asked = _wheel(car, now, axle)
        rows += wheels
        missing += asked
    return Topic(
        "tyres",
        "Tyres and wheels",
        tuple(rows),
        plots,
        tuple(dict.fromkeys(missing)),
        assumptions,
        tuple(_notes(rolling, now)),
        (R39, SIZE, LOAD_TABLE, LOAD_MEMORY, LOAD_FAST),
        (
            "Whether tyre and wheel clear body, brake and steering stands in no formula: look at full lock and full bump.",
        ),
        local_approval=bool(_ids(car, "front", WHEEL_CODES) or _ids(car, "rear", WHEEL_CODES)),
        calculator="tyre-comparison",
    )


def _ids(car: CarFigures, axle: str, codes: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(part.id for part in car.parts_for(tuple(f"{axle}.{code}" for code in codes)))


def _circumference(found: Rolling, car: CarFigures, now: Figures, parts: tuple[str, ...]) -> Row:
    before, after = text_of(car.factory, f"{found.axle}.tyre_size"), text_of(now, f"{found.axle}.tyre_size")
    changed = abs(found.change - 1) >= 0.0005
    sizes = f"{before} before, {after} now" if before and after else ""
    kind = "as the tyres' makers state it" if found.by_maker else "by the sizes"
    return Row(
        f"Rolling circumference, {found.axle}",
        f"{found.factory:.0f} mm",
        f"{found.now:.0f} mm",
        change_in_percent(found.factory, found.now),
        Standing.CHANGED if changed else Standing.AS_FACTORY,
        f"{sizes or 'Circumference'}, {kind}.",
        parts=parts,
    )


def _speedometer(
    car: CarFigures, rolling: list[Rolling]
) -> tuple[list[Row], tuple[Plot, ...], tuple[str, ...]]:
    """Speedometer and odometer by each axle that rolls otherwise than the factory's; one row where both do alike."""
    if not rolling:
        return [], (), ()
    alike = len(rolling) == 2 and abs(rolling[0].change - rolling[1].change) < 0.0005
    rows, said = [], []
    worst = max(rolling, key=lambda one: abs(one.change - 1))
    for one in rolling[:1] if alike else rolling:
        if abs(one.change - 1) < 0.0005:
            continue
        by = "" if alike else f", if driven from the {one.axle} axle"
        parts = tuple(
            dict.fromkeys(p for r in (rolling if alike else [one]) for p in _ids(car, r.axle, TYRE_CODES))
        )
        shown, before = shown_at(100, OVERREAD, one.change), shown_at(100, OVERREAD, 1)
        ends = [r39_off(shown_at(100, end, one.change), 100) for end in (OVERREAD_LOW, OVERREAD_HIGH)]
        rows.append(
            Row(
                f"Speedometer at a true 100 km/h{by}",
                f"{before:.0f} km/h",
                f"{shown:.1f} km/h",
                change_in_percent(before, shown),
                _dial_standing(ends),
                _dial_words(shown, ends),
                "100 to 114 km/h",
                str(R39),
                parts,
            )
        )
        counts = 1 / one.change
        rows.append(
            Row(
                f"Odometer over 1000 km driven{by}",
                "1000 km",
                f"{1000 * counts:.0f} km",
                change_in_percent(1, counts),
                Standing.CHANGED,
                f"It counts {abs(counts - 1) * 100:.1f} % too {'little' if counts < 1 else 'much'}: mark the readings "
                "as not the true distance.",
                parts=parts,
            )
        )
        low, high = (shown_at(100, end, one.change) for end in (OVERREAD_LOW, OVERREAD_HIGH))
        said.append(
            f"The factory's speedometer is assumed to show 3 % too much (it is set so as a rule). Anywhere from 0 to 6 %, "
            f"it shows between {low:.1f} and {high:.1f} km/h at a true 100 km/h{by}."
        )
    plots = (speedometer_plot(worst.change, OVERREAD, OVERREAD),) if rows else ()
    return rows, plots, tuple(said)


def _dial_standing(ends: list[float]) -> Standing:
    """`ends`: how far it lies outside the band at both ends of what the speedometer may show too much."""
    if ends == [0, 0]:
        return Standing.INSIDE
    return Standing.OUTSIDE if ends[1] < 0 or ends[0] > 0 else Standing.NOT_KNOWN


def _dial_words(shown: float, ends: list[float]) -> str:
    standing = _dial_standing(ends)
    if standing == Standing.NOT_KNOWN:
        which = (
            f"up to {-ends[0]:.1f} km/h less than the car does"
            if ends[0] < 0
            else f"up to {ends[1]:.1f} km/h more than the band has"
        )
        return f"It may be showing {which}: check it against a true speed, and drive by that until then."
    if standing == Standing.INSIDE:
        return f"It shows {shown - 100:.1f} km/h more than the car does."
    if ends[1] < 0:
        return f"It shows at least {-ends[1]:.1f} km/h less than the car does: drive by another speed until it is set right."
    return f"It shows at least {ends[0]:.1f} km/h more than the band has."


def _wheel(car: CarFigures, now: Figures, axle: str) -> tuple[list[Row], list[Missing]]:
    parts = _ids(car, axle, WHEEL_CODES)
    rows = _rim_and_tyre(car, now, axle)
    if not parts:
        return rows, []
    before, after = wheel_of(car.factory, axle), wheel_of(now, axle)
    rows += _rim_widths(car, now, axle)
    if before is None or after is None:
        asked = []
        for code in ("rim_width", "rim_offset"):
            factory, fitted = f"{axle}.{code}" not in car.factory, f"{axle}.{code}" not in now
            asked += asked_for(car, axle, code, _WHY_WHEEL, factory=factory, now=fitted)
        return rows, asked
    outwards = before.offset - after.offset + after.spacer - before.spacer
    wider = (after.width - before.width) / 2
    rows.append(_track(car, axle, 2 * outwards, _ids(car, axle, ("rim_offset", "spacer"))))
    for edge, moved, ways in (
        ("Outer", wider + outwards, ("outwards", "inwards")),
        ("Inner", wider - outwards, ("inwards, towards strut and brake", "outwards")),
    ):
        still = abs(moved) < 0.05
        rows.append(
            Row(
                f"{edge} edge of the rim, {axle}",
                "–",
                "where it was" if still else f"{abs(moved):.1f} mm {ways[0] if moved > 0 else ways[1]}",
                "none" if still else f"{'+' if moved > 0 else '−'}{abs(moved):.1f} mm",
                Standing.AS_FACTORY if still else Standing.CHANGED,
                "" if still else "Look at the clearance at full lock and full bump.",
                parts=parts,
            )
        )
    return rows, []


def _track(car: CarFigures, axle: str, change: float, parts: tuple[str, ...]) -> Row:
    track = plain_number(car.factory, f"{axle}.track", "mm")
    changed = abs(change) >= 0.05
    how = f"{'+' if change > 0 else '−'}{abs(change):.1f} mm" if changed else "none"
    share = f", {change_in_percent(track, track + change)}" if track is not None and changed else ""
    return Row(
        f"Track, {axle}",
        f"{track:.0f} mm" if track is not None else "–",
        f"{track + change:.0f} mm" if track is not None else "–",
        how + share,
        Standing.CHANGED if changed else Standing.AS_FACTORY,
        "From offset and spacers. The wheel bearings and the scrub radius feel it too." if changed else "",
        parts=parts,
    )


def _rim_widths(car: CarFigures, now: Figures, axle: str) -> list[Row]:
    # An offset or a spacer changes no width: the row names the wheel that says one.
    parts = _ids(car, axle, ("rim_width",))
    before = plain_number(car.factory, f"{axle}.rim_width", "in")
    after = plain_number(now, f"{axle}.rim_width", "in")
    if before is None or after is None or before == after:
        return []
    return [
        Row(
            f"{ITEMS['rim_width'].name}, {axle}",
            f"{before:g} in",
            f"{after:g} in",
            f"{'+' if after > before else '−'}{abs(after - before):g} in",
            Standing.CHANGED,
            "Which rim widths the tyre may stand on is in its maker's data.",
            parts=parts,
        )
    ]


def _rim_and_tyre(car: CarFigures, now: Figures, axle: str) -> list[Row]:
    """A tyre that does not belong on the rim's diameter: said only when both are known and differ."""
    size, rim = size_of(now, axle), plain_number(now, f"{axle}.rim_diameter", "in")
    parts = _ids(car, axle, ("tyre_size", "rim_diameter"))
    if size is None or rim is None or not parts or abs(size.rim - rim * MM_PER_INCH) < 2:
        return []
    was, is_ = plain_number(car.factory, f"{axle}.rim_diameter", "in"), f"{rim:g} in"
    return [
        Row(
            f"{ITEMS['rim_diameter'].name}, {axle}",
            f"{was:g} in" if was is not None else "–",
            is_,
            "–" if was is None or was == rim else f"{rim - was:+g} in".replace("-", "−"),
            Standing.OUTSIDE,
            f"The tyre {size.text} is for a rim of {size.rim / MM_PER_INCH:g} in, not of {is_}: read both again.",
            f"{size.rim / MM_PER_INCH:g} in",
            str(Source("Tyre size", "the rim's diameter in it")),
            parts,
        )
    ]


def _notes(rolling: list[Rolling], now: Figures) -> list[str]:
    notes = unreadable(now)
    if any(one.height_assumed for one in rolling):
        notes.append("A size without a height is taken at 82 % of its width; some makers have 80 %.")
    if any((size := size_of(now, axle)) is not None and size.ply for axle in AXLES):
        notes.append(PLY_WORDS)
    if len(rolling) == 2 and abs(rolling[0].now / rolling[1].now - 1) > 0.01:
        notes.append(
            "Front and rear roll differently: with four driven wheels ask the maker how much the transmission bears."
        )
    return notes


EFFECT = Effect("tyres", "Tyres and wheels", 20, work)
