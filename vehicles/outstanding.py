"""Reads of what is outstanding on a car: how soon each item is due, at today's distance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Prefetch

from vehicles.models import OutstandingItem, Telling, Vehicle
from vehicles.odometer import distance_since, instruments_of
from workshop.engineering.due import DueState, due_state
from workshop.engineering.units import Amount, show


@dataclass(frozen=True)
class Due:
    """`words`: by when. `left`: how far off that is now, or that it can't be known. `state` None: no date, no distance."""

    words: str
    left: str
    state: DueState | None

    @property
    def now(self) -> bool:
        return self.state is not None and self.state.due


def open_items(vehicle: Vehicle, day: date) -> list[OutstandingItem]:
    """The car's open items, most severe first, each with `due` and `told` (its tellings, newest first)."""
    items = list(
        OutstandingItem.objects.filter(vehicle=vehicle)
        .open()
        .most_severe_first()
        .select_related("place", "from_reading", "made_by")
        .prefetch_related(
            Prefetch(
                "tellings",
                queryset=Telling.objects.order_by("-made_at").select_related("told_to"),
                to_attr="told",
            )
        )
    )
    add_due(vehicle, items, day)
    return items


def add_due(vehicle: Vehicle, items: list[OutstandingItem], day: date) -> None:
    """Give each item its `due` on that day: two queries for all of them, none where no distance was set."""
    by_distance = any(item.due_km is not None for item in items)
    instruments = instruments_of(vehicle) if by_distance else []
    for item in items:
        driven = None
        if item.due_km is not None and item.from_reading is not None:
            driven = _driven(item, instruments)
        item.due = due_of(item, driven, day)


def due_of(item: OutstandingItem, driven: Decimal | None, day: date) -> Due:
    """How soon the item is due. `driven`: km since the reading it counts from; None where not known."""
    if item.due_on is None and item.due_km is None:
        by_hand = bool(item.due_words) and not item.end
        return Due(item.due_words, "hours and runs are counted by hand" if by_hand else "", None)
    state = due_state(day, driven, item.due_on, item.due_km)
    left = []
    if state.in_days is not None:
        left.append(_days(state.in_days))
    if item.due_km is not None:
        left.append(_distance(state.in_km, item.due_km_unit))
    return Due(item.due_words, ", ".join(left), state)


def _driven(item: OutstandingItem, instruments) -> Decimal | None:
    """Distance since the item's reading. What was shown under tyres that falsify it counts too: rather too early."""
    if item.from_reading.value is None or item.from_reading.misread_because:
        return None
    distance = distance_since(item.from_reading, instruments)
    return None if distance.km is None else distance.km + distance.falsified_km


def _days(days: int) -> str:
    if days == 0:
        return "today"
    word = "day" if abs(days) == 1 else "days"
    return f"in {days} {word}" if days > 0 else f"{-days} {word} past"


def _distance(km: Decimal | None, unit: str) -> str:
    if km is None:
        return "distance since then not known"
    text = show(Amount(abs(km), "km").to(unit))
    return f"{text} to go" if km > 0 else f"{text} past" if km < 0 else "distance reached"
