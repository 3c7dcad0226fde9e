"""A car's brakes from what is known of it: each axle in plain floats, and what is missing or was assumed.

Used for the factory's figures and for the car as it stands, so that both are worked out alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from workshop.engineering.brake_balance import Brakes, G, Load
from workshop.engineering.brakes import (
    PAD_FRICTION,
    BrakeError,
    Disc,
    Drum,
    rolling_radius_of_size_mm,
)
from workshop.engineering.effect import CarFigures, Figure, Part
from workshop.engineering.items import AXLES
from workshop.engineering.tyre_size import TyreError
from workshop.engineering.units import Amount

Figures = Mapping[str, Figure]
# By axle, what a rolling radius is taken from: the first that is known.
Kinds = Mapping[str, tuple[str, ...]]

# What a rolling radius comes from, in words.
BY_MAKER, BY_SIZE = "the maker's circumference", "the size"

OF_A_DISC = ("piston_diameter", "pistons", "disc_diameter", "pad_height")
OF_A_DRUM = ("wheel_cylinder_diameter", "drum_diameter", "drum_factor")


def number(figures: Figures, key: str, unit: str) -> float | None:
    """A figure's number in a unit; None where it is not known."""
    figure = figures.get(key)
    if figure is None or not isinstance(figure.value, Amount):
        return None
    return float(figure.value.to(unit).value)


def kind_of(figures: Figures, axle: str, parts: Iterable[Part] = ()) -> str:
    """ "disc" or "drum". A fitted part's own disc or drum counts before what the data sheet says of the kind."""
    kind = figures.get(f"{axle}.brake_kind")
    fitted = {key for part in parts for key in part.keys}
    if f"{axle}.brake_kind" not in fitted:
        for code, answer in (("disc_diameter", "disc"), ("drum_diameter", "drum")):
            if f"{axle}.{code}" in fitted:
                return answer
    if kind is not None and isinstance(kind.value, str):
        return kind.value
    return "drum" if f"{axle}.drum_diameter" in figures and f"{axle}.disc_diameter" not in figures else "disc"


@dataclass
class Axle:
    """One axle's brakes. `brake` is None where figures are `missing`; `assumed`: the pads' friction was."""

    name: str
    kind: str
    brake: Disc | Drum | None = None
    radius: float | None = None
    # What the radius is from: `BY_MAKER`, `BY_SIZE`, or "" where it is not known.
    radius_by: str = ""
    missing: list[str] = field(default_factory=list)
    assumed: bool = False
    notes: list[str] = field(default_factory=list)

    @property
    def force_per_bar(self) -> float | None:
        """At the road, N/bar."""
        if self.brake is None or self.radius is None:
            return None
        return 1000 * self.brake.torque_per_bar / self.radius


def axle_of(figures: Figures, axle: str, kind: str, radius_kinds: tuple[str, ...]) -> Axle:
    """An axle from its figures, by the car's keys. `radius_kinds`: which rolling radius counts before which."""
    found = Axle(axle, kind)
    units = {"pistons": "1", "drum_factor": "1"}
    codes = OF_A_DISC if kind == "disc" else OF_A_DRUM
    values = {code: number(figures, f"{axle}.{code}", units.get(code, "mm")) for code in codes}
    found.missing = [f"{axle}.{code}" for code, value in values.items() if value is None]
    known = {code: value for code, value in values.items() if value is not None}
    if not found.missing and kind == "drum":
        found.brake = Drum(known["wheel_cylinder_diameter"], known["drum_factor"], known["drum_diameter"])
    elif not found.missing:
        friction = number(figures, f"{axle}.pad_friction", "1")
        try:
            found.brake = Disc(
                known["piston_diameter"],
                known["pistons"],
                known["disc_diameter"],
                known["pad_height"],
                float(PAD_FRICTION.value) if friction is None else friction,
            )
            found.assumed = friction is None
        except BrakeError as error:
            found.notes.append(f"{axle.capitalize()}: {error} Look at both figures again.")
    _take_radius(figures, found, radius_kinds)
    return found


def _take_radius(figures: Figures, found: Axle, kinds: tuple[str, ...]) -> None:
    """The rolling radius, of the first of these kinds that is known: `BY_MAKER` or `BY_SIZE`."""
    for kind in kinds:
        known = _radius_by(figures, found.name, kind)
        if known is not None:
            found.radius, found.radius_by = known, kind
            return
    size = figures.get(f"{found.name}.tyre_size")
    if size is None:
        found.missing.append(f"{found.name}.tyre_size")
        return
    try:
        rolling_radius_of_size_mm(size.shown)
    except TyreError as error:
        found.notes.append(f"{found.name.capitalize()} tyre: {error}")


def _radius_by(figures: Figures, axle: str, kind: str) -> float | None:
    """Rolling radius in mm of one kind; None where that figure is not known or can't be read."""
    if kind == BY_MAKER:
        circumference = number(figures, f"{axle}.rolling_circumference", "mm")
        return None if circumference is None else circumference / (2 * math.pi)
    size = figures.get(f"{axle}.tyre_size")
    try:
        return None if size is None else rolling_radius_of_size_mm(size.shown)
    except TyreError:
        return None


@dataclass(frozen=True)
class Side:
    """The brakes of a car, or of the car as the factory built it."""

    figures: Figures
    front: Axle
    rear: Axle
    # A valve of which only one figure is known.
    half_a_valve: str = ""

    @property
    def axles(self) -> tuple[Axle, Axle]:
        return self.front, self.rear

    @property
    def brakes(self) -> Brakes | None:
        front, rear = self.front.force_per_bar, self.rear.force_per_bar
        if front is None or rear is None or self.half_a_valve:
            return None
        slope = number(self.figures, "valve_slope", "%")
        return Brakes(
            front, rear, number(self.figures, "valve_knee", "bar"), 1.0 if slope is None else slope / 100
        )

    @property
    def rod_per_newton(self) -> float | None:
        """Force on the master cylinder for each newton on the pedal."""
        ratio, servo = number(self.figures, "pedal_ratio", "1"), number(self.figures, "servo_gain", "1")
        return None if ratio is None or servo is None else ratio * servo


def sides_of(car: CarFigures) -> tuple[Side, Side]:
    """The brakes as the factory built them, and as they are now."""
    before, after = _kinds_of_radius(car)
    return _side(car.factory, (), before), _side(car.now, car.parts, after)


def _outdated(parts: Iterable[Part], axle: str) -> str:
    """The kind of radius that a fitted tyre leaves unsaid: what the data sheet says of it is not that tyre's."""
    fitted = {key for part in parts for key in part.keys}
    by_maker, by_size = f"{axle}.rolling_circumference" in fitted, f"{axle}.tyre_size" in fitted
    if by_maker == by_size:
        return ""
    return BY_SIZE if by_maker else BY_MAKER


def _kinds_of_radius(car: CarFigures) -> tuple[Kinds, Kinds]:
    """By axle the kinds of rolling radius in their order, for the factory and for now: what both have comes first.

    The maker's circumference and the size's differ by some per cent: mixed, that would pass for a change. The
    same kind for both axles, where there is one.
    """
    kinds = (BY_MAKER, BY_SIZE)
    now = car.now
    outdated = {axle: _outdated(car.parts, axle) for axle in AXLES}
    known = {
        axle: [
            kind for kind in kinds
            if kind != outdated[axle] and all(_radius_by(one, axle, kind) is not None for one in (car.factory, now))
        ]
        for axle in AXLES
    }  # fmt: skip
    everywhere = [kind for kind in kinds if all(kind in found for found in known.values())]
    order = {axle: tuple(dict.fromkeys((*everywhere, *found, *kinds))) for axle, found in known.items()}
    fresh = {axle: tuple(kind for kind in found if kind != outdated[axle]) for axle, found in order.items()}
    return order, fresh


def _side(figures: Figures, parts: tuple[Part, ...], kinds: Kinds) -> Side:
    front, rear = (axle_of(figures, axle, kind_of(figures, axle, parts), kinds[axle]) for axle in AXLES)
    valve = [key for key in ("valve_knee", "valve_slope") if key not in figures]
    return Side(figures, front, rear, valve[0] if len(valve) == 1 else "")


def mixed_radii(factory: Side, now: Side) -> list[str]:
    """Sentences on rolling radii of different kinds: by the maker's circumference, and by the size."""
    found = []
    for was, axle in zip(factory.axles, now.axles, strict=True):
        if was.radius_by and axle.radius_by and was.radius_by != axle.radius_by:
            found.append(
                f"{axle.name.capitalize()} tyres: the factory's rolling radius is from {was.radius_by}, this car's from "
                f"{axle.radius_by}. That alone can make some per cent: give the same of both."
            )
    kinds = {axle.radius_by for axle in now.axles}
    if not found and len(kinds) == len(AXLES) and "" not in kinds:
        front, rear = (axle.radius_by for axle in now.axles)
        found.append(
            f"The rolling radius is from {front} in front, from {rear} at the rear. That alone can move the balance by "
            "some per cent: give the same of both."
        )
    return found


def taken_over(car: CarFigures) -> list[str]:
    """Sentences on what a fitted part leaves unsaid, so that the factory's figure was used for it."""
    found = []
    for part in car.parts:
        for said, unsaid, words in (
            ("piston_diameter", "pistons", "number of pistons"),
            ("pad_height", "pad_friction", "friction"),
        ):
            axle = next((key.partition(".")[0] for key, code in part.keys.items() if code == said), "")
            if axle and unsaid not in part.figures and f"{axle}.{unsaid}" in car.factory:
                found.append(
                    f"{part.what}, {axle}: its {words} is not given, so the factory's was used. Look at it."
                )
    return found


@dataclass(frozen=True)
class Loaded:
    """The load that both columns are worked out with. `words` say which masses; `weight` in N."""

    load: Load | None
    weight: float | None
    words: str
    missing: tuple[str, ...]


def loaded(figures: Figures) -> Loaded:
    """From the axle masses as weighed, or else in running order. What is missing is named, never invented."""
    missing: list[str] = []
    words, masses = "", {}
    for code, how in (("axle_mass_weighed", "as weighed"), ("axle_mass_running", "in running order")):
        found = {axle: number(figures, f"{axle}.{code}", "kg") for axle in AXLES}
        masses = {axle: mass for axle, mass in found.items() if mass is not None}
        words = how
        if len(masses) == len(AXLES):
            break
    else:
        missing += [f"{axle}.axle_mass_running" for axle in AXLES if axle not in masses]
    wheelbase, height = number(figures, "wheelbase", "mm"), number(figures, "cg_height", "mm")
    missing += [key for key, value in (("wheelbase", wheelbase), ("cg_height", height)) if value is None]
    weight = sum(masses.values()) * G if len(masses) == len(AXLES) else None
    load = None
    if weight is not None and wheelbase is not None and height is not None:
        load = Load(masses["front"] * G / weight, height / wheelbase)
    return Loaded(load, weight, words, tuple(missing))
