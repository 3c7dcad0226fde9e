"""The limit that a measurement wears to: its own, or the data sheet's."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from jobs.models import Measurement
from vehicles.figures import figures_of
from vehicles.models import Vehicle
from workshop.engineering.items import axle_of
from workshop.engineering.units import UNITS, Amount, factor

# A data sheet's limit, as an amount, with its source; by the item's key.
SheetLimits = dict[str, tuple[Amount, str]]

# Where the data sheet has a wear limit: the place, a word that what was measured must hold, the item.
_SHEET_LIMITS = (
    ("brake-discs", ("thick",), "disc_thickness_limit"),
    ("brake-pads", ("thick",), "pad_thickness_limit"),
    ("tyres", ("tread", "profile"), "tread_limit"),
)
_PER_AXLE = ("disc_thickness_limit", "pad_thickness_limit")


@dataclass(frozen=True)
class Limit:
    """`value` in the series' unit; `falling`: the least one, which the part wears down to."""

    value: float
    falling: bool
    source: str


def limit_of(rows: list[Measurement], unit: str, sheet: SheetLimits) -> Limit | None:
    """The limit of the newest measurement that has one, else the data sheet's. Of two limits the one it goes to."""
    row = next((one for one in reversed(rows) if one.low is not None or one.high is not None), None)
    if row is not None:
        to_unit = float(factor(row.unit, unit))
        falls = row.high is None or (row.low is not None and rows[-1].base_value <= rows[0].base_value)
        value = row.low if falls else row.high
        return Limit(float(value) * to_unit, falls, row.limit_source)
    key = _sheet_key(rows[-1])
    if key in sheet:
        amount, source = sheet[key]
        return Limit(float(amount.to(unit).value), True, source)
    return None


def _sheet_key(row: Measurement) -> str:
    """The data sheet's item that is this measurement's limit, by its key; "" where there is none."""
    if UNITS[row.unit].dimension != "length":
        return ""
    words = row.what.casefold()
    for place, holds, code in _SHEET_LIMITS:
        if row.place_id == place and any(word in words for word in holds):
            if code not in _PER_AXLE:
                return code
            axle = axle_of(place, row.position)
            return f"{axle}.{code}" if axle else ""
    return ""


def sheet_limits(vehicle: Vehicle, groups: Iterable[list[Measurement]]) -> SheetLimits:
    """The data sheet's wear limits with their source; asked only where a measurement without a limit may use one."""
    wanted = {
        key
        for rows in groups
        if (key := _sheet_key(rows[-1])) and all(row.low is None and row.high is None for row in rows)
    }
    if not wanted:
        return {}
    figures = figures_of(vehicle).now
    return {
        key: (figures[key].value, figures[key].words)
        for key in wanted
        if key in figures and isinstance(figures[key].value, Amount)
    }
