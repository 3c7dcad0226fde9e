"""Other arms, links, wheels or spacers: toe and camber against the factory's tolerance, toe under load."""

from __future__ import annotations

from dataclasses import dataclass

from workshop.engineering.declare import Kind, Source
from workshop.engineering.effect import CarFigures, Effect, Figure, Missing, Row, Standing, Topic
from workshop.engineering.effect_figures import Known, plain, said
from workshop.engineering.items import AXLES
from workshop.engineering.plot import Plot
from workshop.engineering.scrub_row import WHEELS, rims_of, scrub_of
from workshop.engineering.suspension import (
    PLOT_FORCE,
    signed,
    toe_plot,
    toe_under_force,
    toe_words,
)
from workshop.engineering.units import Amount, rounded, show

LINKS = ("steering_arm", "toe_link_stiffness")
GEOMETRY = ("toe_total", "camber", "caster_trail", "scrub_radius")
# What stands there settles toe and how it holds under load, by axle.
PLACES = {
    "front": ("front-struts", "front-springs", "front-arms", "track-rods", "steering-gear"),
    "rear": ("rear-dampers", "rear-springs", "rear-arms"),
}
# What replaces a link's bushes; without its own stiffness the factory's no longer holds.
_LINK_PLACES = {"front": ("front-arms", "track-rods"), "rear": ("rear-arms",)}
# The side and the brake force at one wheel at which both cars are compared, in newtons.
FORCE = 3000.0


@dataclass(frozen=True)
class _Link:
    """How the toe of one wheel is held: trail and arm in mm, stiffness in N/mm, scrub radius in mm where known."""

    trail: float
    arm: float
    stiffness: float
    scrub: float | None

    @property
    def aside(self) -> float:
        """Toe change in minutes of arc under the side force."""
        return toe_under_force(FORCE * self.trail / self.arm, self.arm, self.stiffness)

    @property
    def braking(self) -> float | None:
        """Toe change in minutes of arc under the brake force; None where the scrub radius is not known."""
        return (
            None
            if self.scrub is None
            else toe_under_force(FORCE * self.scrub / self.arm, self.arm, self.stiffness)
        )


_COMPARED_SO = (
    f"Toe under load is compared at {FORCE:g} N at one wheel, where only the toe link and its bushes give. Where a "
    "part does not state its arm, the factory's length is taken."
)


def work(figures: CarFigures) -> Topic | None:
    car = Known.of(figures)
    rows: list[Row] = []
    plots: list[Plot] = []
    missing: list[Missing] = []
    notes: list[str] = []
    touched = loaded = False
    for axle in AXLES:
        held = any(part.place in PLACES[axle] for part in car.parts) or bool(
            car.ids(*_keys(axle, (*LINKS, *GEOMETRY)))
        )
        wheels = bool(car.ids(*_keys(axle, WHEELS))) or bool(rims_of(car, axle))
        measured = any(key in car.own and key in car.factory for key in _keys(axle, ("toe_total", "camber")))
        if not (held or wheels or measured):
            continue
        touched = True
        for code in ("toe_total", "camber"):
            row = _set_value(car, f"{axle}.{code}", axle)
            if row is not None:
                rows.append(row)
            elif held:
                if f"{axle}.{code}" not in car.factory:
                    missing.append(Missing(f"{axle}.{code}", "to compare with what is measured on this car"))
                else:
                    notes.append(
                        f"Measure the {axle} {_NAMES[code]} and write it with the car's own figures."
                    )
        found, plot, asked = _load(car, axle)
        rows += found
        plots += plot
        loaded = loaded or any(row.what.startswith("Toe change") for row in found)
        missing += asked
    if not touched:
        return None
    return Topic(
        "suspension",
        "Alignment and steering",
        tuple(rows),
        tuple(plots),
        tuple(missing),
        notes=(*notes, *((_COMPARED_SO,) if loaded else ())),
        sources=(
            Source("Moments about the steering axis", "steering axis taken as upright", Kind.MECHANICS),
        ),
        cautions=(
            "Springs hold enough to kill: support the arm before a joint is undone. Have the alignment measured after "
            "work on arms, links or steering.",
        ),
        local_approval=True,
        calculator="toe-under-load",
    )


_NAMES = {"toe_total": "total toe", "camber": "camber"}


def _keys(axle: str, codes: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"{axle}.{code}" for code in codes)


def _set_value(car: Known, key: str, axle: str) -> Row | None:
    """Toe or camber as measured, against the factory's tolerance. None where one of both is not known."""
    factory, now = car.factory.get(key), car.now.get(key)
    if factory is None or now is None or now is factory:
        return None
    if not isinstance(factory.value, Amount) or not isinstance(now.value, Amount):
        return None
    code = factory.value.unit
    # As read off the page: what differs by less than is shown is the same.
    value = rounded(now.value.to(code).value, code)
    change = _difference(factory, now)
    low, high = _bound(factory.low, code), _bound(factory.high, code)
    below, above = (
        low is not None and value < rounded(low.value, code),
        high is not None and value > rounded(high.value, code),
    )
    if low is None and high is None:
        standing = Standing.AS_FACTORY if change == "none" else Standing.CHANGED
        limit, verdict = "–", "The data sheet names no tolerance."
    else:
        standing = Standing.OUTSIDE if below or above else Standing.INSIDE
        limit = _span(low, high)
        verdict = f"Measured {show(now.value, code)}, where {limit} is wanted." if below or above else ""
    name = _NAMES[key.partition(".")[2]]
    return Row(
        f"{name[:1].upper()}{name[1:]}, {axle}",
        factory.shown,
        show(now.value, code),
        change,
        standing,
        verdict,
        limit,
        factory.words if limit != "–" else "",
        car.ids(key),
    )


def _bound(of: Amount | None, code: str) -> Amount | None:
    return None if of is None else of.to(code)


def _span(low: Amount | None, high: Amount | None) -> str:
    if low is None or high is None:
        return f"up to {show(high)}" if high is not None else f"from {show(low)}" if low is not None else "–"
    return f"{show(low)} to {show(high)}"


def _difference(factory: Figure, now: Figure) -> str:
    """This car less the factory, with its sign: a share of an angle near zero says nothing."""
    assert isinstance(factory.value, Amount)
    assert isinstance(now.value, Amount)
    code = factory.value.unit
    less = rounded(now.value.to(code).value, code) - rounded(factory.value.value, code)
    if not less:
        return "none"
    return f"{'+' if less > 0 else '−'}{show(Amount(abs(less), code))}"


def _load(car: Known, axle: str) -> tuple[list[Row], list[Plot], list[Missing]]:
    """Scrub radius, toe under side force and under braking, with the plot; what is missing for them."""
    moved, scrub_row, asked = scrub_of(car, axle)
    rows = [] if scrub_row is None else [scrub_row]
    silent = [
        part
        for part in car.parts
        if part.place in _LINK_PLACES[axle] and "toe_link_stiffness" not in part.figures
    ]
    factory = _link(car, axle, factory=True)
    now = None if silent else _link(car, axle, factory=False, moved=moved)
    missing = [*asked]
    # Other springs alone say nothing of the links: what holds the toe is asked for where a link is another.
    if now is None and (silent or car.ids(*_keys(axle, (*LINKS, *GEOMETRY[2:])))):
        why = "to say how far the wheel turns under load"
        for code in ("caster_trail", "steering_arm", "toe_link_stiffness"):
            if f"{axle}.{code}" not in car.now and not (silent and code == "toe_link_stiffness"):
                missing.append(Missing(f"{axle}.{code}", why))
        missing += [Missing(f"toe_link_stiffness@{part.id}", why) for part in silent]
    if factory is None and now is not None:
        missing += car.factory_asked(*_keys(axle, ("caster_trail", *LINKS)))
    if factory is None and now is None:
        return rows, [], missing
    parts = car.ids(*_keys(axle, (*LINKS, *GEOMETRY))) or tuple(part.id for part in silent)
    aside = _toe_row(
        f"Toe change of one {axle} wheel under {said(FORCE, 'N')} of side force",
        None if factory is None else factory.aside,
        None if now is None else now.aside,
        parts,
    )
    rows.append(aside)
    braking = None if factory is None else factory.braking, None if now is None else now.braking
    if braking != (None, None):
        what = f"Toe change of one {axle} wheel under {said(FORCE, 'N')} of brake force"
        rows.append(
            _toe_row(what, *braking, car.ids(*_keys(axle, (*LINKS, *WHEELS, "scrub_radius"))) or parts)
        )
    # Two lines on each other say nothing: the rows say that nothing is changed.
    if aside.standing == Standing.AS_FACTORY:
        return rows, [], missing
    curves, words = [], []
    for label, style, link in (("this car", "this", now), ("factory", "factory", factory)):
        if link is not None:
            curves.append((label, style, link.trail, link.arm, link.stiffness, 0.0))
            end = toe_under_force(PLOT_FORCE * link.trail / link.arm, link.arm, link.stiffness)
            words.append(f"{toe_words(end)} ({label})")
    summary = f"Under {said(PLOT_FORCE, 'N')} of side force a {axle} wheel turns to {' and '.join(words)}."
    return rows, [toe_plot(tuple(curves), PLOT_FORCE, summary, f"{axle}-toe-under-load")], missing


def _toe_row(what: str, factory: float | None, now: float | None, parts: tuple[str, ...]) -> Row:
    change = "–" if factory is None or now is None else signed(now - factory)
    if factory is None or now is None:
        standing = Standing.NOT_KNOWN
    else:
        standing = Standing.AS_FACTORY if change == "0.0′" else Standing.CHANGED
    shown = ["–" if one is None else toe_words(one) for one in (factory, now)]
    return Row(what, shown[0], shown[1], change, standing, parts=parts)


def _link(car: Known, axle: str, *, factory: bool, moved: float | None = 0.0) -> _Link | None:
    figures = car.factory if factory else car.now
    trail, arm = (plain(figures, f"{axle}.{code}", "mm") for code in ("caster_trail", "steering_arm"))
    stiffness = plain(figures, f"{axle}.toe_link_stiffness", "N/mm")
    if trail is None or arm is None or stiffness is None:
        return None
    scrub = plain(figures, f"{axle}.scrub_radius", "mm")
    return _Link(trail, arm, stiffness, None if scrub is None or moved is None else scrub + moved)


EFFECT = Effect("suspension", "Alignment and steering", 45, work)
