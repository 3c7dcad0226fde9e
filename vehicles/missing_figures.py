"""Figures that something would need: where each is to be written, so that it is asked for on the spot."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from vehicles.figures import chain_of
from vehicles.models import DataSheet, FittedPart, Vehicle
from workshop.engineering.effect import Missing
from workshop.engineering.items import ITEMS, KEYS, Item, items_at, key_name


@dataclass(frozen=True)
class Target:
    """One figure to be asked for. `asked` is its key as `Missing` has it; `key` as its owner holds it.

    `owners` are where it may be written, the nearest first; none where the car has no data sheet yet.
    """

    asked: str
    key: str
    item: Item
    label: str
    owners: tuple[DataSheet | Vehicle | FittedPart, ...]
    why: str = ""


def target_of(
    asked: str, vehicle: Vehicle, sheet: DataSheet | None, fitted: Iterable[FittedPart], why: str = ""
) -> Target | None:
    """Where a missing figure belongs; None for what is no item, or a part that is not on the car."""
    code, at, part_id = asked.partition("@")
    if at:
        part = next((one for one in fitted if str(one.pk) == part_id), None)
        if part is None or code not in {item.code for item in items_at(part.place_id)}:
            return None
        label = f"{ITEMS[code].name}: {part.description}, {part.where}"
        return Target(asked, code, ITEMS[code], label, (part,), why)
    item = KEYS.get(asked)
    if item is None or item.per == "part":
        return None
    owners = (vehicle,) if item.of_car else tuple(chain_of(sheet))
    return Target(asked, asked, item, key_name(asked), owners, why)


def targets_of(
    missing: Iterable[Missing], vehicle: Vehicle, sheet: DataSheet | None, fitted: Iterable[FittedPart]
) -> list[Target]:
    """Each missing figure once, with all that it is wanted for."""
    whys: dict[str, list[str]] = {}
    for one in missing:
        rows = whys.setdefault(one.key, [])
        if one.why and one.why not in rows:
            rows.append(one.why)
    fitted = list(fitted)
    found = [target_of(key, vehicle, sheet, fitted, " ".join(rows)) for key, rows in whys.items()]
    return [one for one in found if one is not None]
