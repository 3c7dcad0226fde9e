"""Figures read again: what no constraint reaches, since the list of items and units is the application's own."""

from __future__ import annotations

from collections.abc import Iterator

from vehicles.models import Figure
from workshop.engineering.items import ITEMS, KEYS
from workshop.engineering.units import UNITS

CHUNK = 500


def problems() -> Iterator[str]:
    """Each figure is of an item that there is, in a unit of its dimension, and its two numbers are one value."""
    rows = Figure.objects.select_related("sheet", "vehicle", "part").order_by("made_at", "pk")
    for row in rows.iterator(chunk_size=CHUNK):
        name = f"figure of {row.sheet or row.vehicle or row.part}, {row.key_of_item}"
        item = (ITEMS if row.part_id else KEYS).get(row.key_of_item)
        if item is None:
            yield f"{name}: no such item"
        elif row.value is not None:
            unit = UNITS.get(row.unit)
            if unit is None or unit.dimension != item.dimension:
                yield f"{name}: {row.unit} is no unit of {item.dimension}"
            elif row.amount.base().quantize(row.base_value) != row.base_value:
                yield f"{name}: typed and stored value differ"
        elif row.text and item.dimension not in ("text", "choice"):
            yield f"{name}: a text where a number belongs"
