"""Rows of the brake effect on the parts themselves: force and torque for each bar, the pedal, areas.

Also what all its rows share: the two cars side by side, and which keys touch what.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from workshop.engineering.brake_balance import Balance
from workshop.engineering.brake_figures import OF_A_DISC, OF_A_DRUM, Loaded, Side, number
from workshop.engineering.brakes import WHEELS, Disc, circle_mm2, pad_area_mm2, swept_area_mm2
from workshop.engineering.effect import CarFigures, Row, Standing, change_in_percent
from workshop.engineering.items import AXLES

_VALVE = ("valve_knee", "valve_slope")
PEDAL = ("master_bore", "servo_gain", "pedal_ratio")


def _keys(axle: str, *codes: str) -> tuple[str, ...]:
    return tuple(f"{axle}.{code}" for code in codes)


def _force_keys(axle: str) -> tuple[str, ...]:
    return _keys(axle, "brake_kind", *OF_A_DISC, "pad_friction", *OF_A_DRUM)


def _tyre_keys(axle: str) -> tuple[str, ...]:
    return _keys(axle, "tyre_size", "rolling_circumference")


FORCE_KEYS = tuple(key for axle in AXLES for key in _force_keys(axle))
TYRE_KEYS = tuple(key for axle in AXLES for key in _tyre_keys(axle))
BRAKE_KEYS = (*FORCE_KEYS, *_VALVE, "master_bore", "servo_gain", *(f"{axle}.pad_length" for axle in AXLES))
BALANCE_KEYS = (*FORCE_KEYS, *TYRE_KEYS, *_VALVE)


@dataclass(frozen=True)
class Both:
    """The two cars and the load they are compared under."""

    car: CarFigures
    factory: Side
    now: Side
    under: Loaded

    def balance(self, side: Side) -> Balance | None:
        brakes = side.brakes
        if brakes is None or self.under.load is None or self.under.weight is None:
            return None
        return Balance(self.under.load, brakes.split(self.under.weight))

    @cached_property
    def settling(self) -> dict[str, tuple[str, ...]]:
        """The ids of the parts by the keys that they settle; made once, since every row asks."""
        found: dict[str, tuple[str, ...]] = {}
        for part in self.car.parts:
            for key in part.keys:
                found[key] = (*found.get(key, ()), part.id)
        return found

    def ids(self, keys: tuple[str, ...]) -> tuple[str, ...]:
        """The parts that settle one of these keys, each once."""
        return tuple(dict.fromkeys(part for key in keys for part in self.settling.get(key, ())))

    def row(
        self,
        what: str,
        of: Callable[[Side], float | None],
        show: str,
        keys: tuple[str, ...],
        verdict: str = "",
    ) -> list[Row]:
        """A row of one number, or none where this car's is not known. `show`: "{:.1f} mm"."""
        before, after = of(self.factory), of(self.now)
        if after is None:
            return []
        if before is None:
            return [
                Row(what, "–", show.format(after), "–", Standing.NOT_KNOWN, verdict, parts=self.ids(keys))
            ]
        change = change_in_percent(before, after)
        standing = Standing.AS_FACTORY if change == "none" else Standing.CHANGED
        return [
            Row(
                what, show.format(before), show.format(after), change, standing, verdict, parts=self.ids(keys)
            )
        ]


def force_rows(both: Both) -> list[Row]:
    rows = []
    for place, axle in enumerate(AXLES):

        def torque(side: Side, place: int = place) -> float | None:
            brake = side.axles[place].brake
            return None if brake is None else brake.torque_per_bar

        def force(side: Side, place: int = place) -> float | None:
            return side.axles[place].force_per_bar

        was, now = both.factory.axles[place], both.now.axles[place]
        kind = f"From {was.kind} to {now.kind}." if was.brake is not None and was.kind != now.kind else ""
        rows += both.row(
            f"Brake torque for each bar, {axle} axle", torque, "{:.1f} N·m", _force_keys(axle), kind
        )
        rows += both.row(
            f"Brake force at the road for each bar, {axle} axle",
            force,
            "{:.1f} N",
            (*_force_keys(axle), *_tyre_keys(axle)),
        )
    return rows


def pedal_rows(both: Both) -> list[Row]:
    """Pressure and pedal: shown as far as the master cylinder, the servo and the pedal are known."""
    weight = both.under.weight

    def half(side: Side) -> float | None:
        return None if side.brakes is None or weight is None else side.brakes.pressure(0.5, weight)

    def pedal(side: Side) -> float | None:
        pressure, rod, bore = half(side), side.rod_per_newton, number(side.figures, "master_bore", "mm")
        if pressure is None or rod is None or bore is None:
            return None
        return pressure / 10 * circle_mm2(bore) / rod

    def per_bar(side: Side) -> float | None:
        rod, bore = side.rod_per_newton, number(side.figures, "master_bore", "mm")
        return None if rod is None or bore is None else circle_mm2(bore) / 10 / rod

    def fluid(side: Side) -> float | None:
        bore = number(side.figures, "master_bore", "mm")
        front, rear = (axle.brake for axle in side.axles)
        if bore is None or front is None or rear is None:
            return None
        return WHEELS * (front.piston_area + rear.piston_area) / circle_mm2(bore)

    rows = both.row("Line pressure for 0.5 g", half, "{:.1f} bar", BALANCE_KEYS)
    rows += both.row("Pedal force for each bar", per_bar, "{:.2f} N", PEDAL)
    rows += both.row(
        "Pedal force for 0.5 g",
        pedal,
        "{:.0f} N",
        (*BALANCE_KEYS, *PEDAL),
        "Up to where the servo's help ends.",
    )
    # Drums and discs take their fluid differently: shoes travel further than pads.
    if [axle.kind for axle in both.factory.axles] == [axle.kind for axle in both.now.axles]:
        rows += both.row(
            "Piston area over the master cylinder's", fluid, "{:.1f}", (*FORCE_KEYS, "master_bore"),
            "All four wheels, the pistons on one side of each disc. The pedal's way for the fluid goes with it.",
        )  # fmt: skip
    return rows


def area_rows(both: Both) -> list[Row]:
    rows = []
    for place, axle in enumerate(AXLES):
        keys = _keys(axle, *OF_A_DISC, "pad_length")
        if not both.ids(keys):
            continue

        def disc(side: Side, place: int = place) -> Disc | None:
            brake = side.axles[place].brake
            return brake if isinstance(brake, Disc) else None

        def pads(side: Side, axle: str = axle) -> float | None:
            height, length = (
                number(side.figures, f"{axle}.{code}", "mm") for code in ("pad_height", "pad_length")
            )
            return None if height is None or length is None else 4 * pad_area_mm2(height, length) / 100

        def swept(side: Side, disc: Callable[[Side], Disc | None] = disc) -> float | None:
            brake = disc(side)
            return None if brake is None else 2 * swept_area_mm2(brake.diameter / 2, brake.inner) / 100

        def radius(side: Side, disc: Callable[[Side], Disc | None] = disc) -> float | None:
            brake = disc(side)
            return None if brake is None else brake.radius

        rows += both.row(
            f"Effective radius, {axle}", radius, "{:.1f} mm", _keys(axle, "disc_diameter", "pad_height")
        )
        rows += both.row(f"Pad area, {axle} axle", pads, "{:.0f} cm²", _keys(axle, "pad_height", "pad_length"),
                         "It changes heat and wear, not the brake force.")  # fmt: skip
        rows += both.row(
            f"Swept disc area, {axle} axle", swept, "{:.0f} cm²", _keys(axle, "disc_diameter", "pad_height")
        )
    return rows
