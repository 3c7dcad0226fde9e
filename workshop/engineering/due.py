"""Due by date or by distance, whichever comes first (common practice, no source)."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from workshop.engineering.errors import EngineeringError
from workshop.engineering.units import rounded


class DueError(EngineeringError):
    """A due item with neither a date nor a distance."""


class By(StrEnum):
    DATE = "date"
    DISTANCE = "distance"
    BOTH = "both"


@dataclass(frozen=True)
class DueState:
    """`by` says what made it due, None while it isn't. Days and km left are negative once past;
    `in_km` is None where no distance was set or the present one isn't known.
    """

    due: bool
    by: By | None
    in_days: int | None
    in_km: Decimal | None
    sentence: str


def due_state(
    today: date,
    distance_km: Decimal | None,
    due_on: date | None,
    due_at_km: Decimal | None,
) -> DueState:
    """Whether an item is due today at this distance (km). Due on the day and at the distance itself.

    `distance_km` None: not known, then only the date can make it due and the sentence says so.
    Refuses an item with neither date nor distance with `DueError`.
    """
    if due_on is None and due_at_km is None:
        raise DueError("Give a date, a distance, or both.")
    in_days = (due_on - today).days if due_on else None
    in_km = due_at_km - distance_km if due_at_km is not None and distance_km is not None else None
    by_date = in_days is not None and in_days <= 0
    by_distance = in_km is not None and in_km <= 0
    by = By.BOTH if by_date and by_distance else By.DATE if by_date else By.DISTANCE if by_distance else None
    parts = []
    if due_on:
        parts.append(f"on {due_on.isoformat()} ({_days(in_days or 0)})")
    if due_at_km is not None:
        left = "distance now not known" if in_km is None else _distance(in_km)
        parts.append(f"at {rounded(due_at_km, 'km'):f} km ({left})")
    joined = " or ".join(parts) + (", whichever comes first" if len(parts) > 1 else "")
    start = "Due now" if by else "Due"
    return DueState(by is not None, by, in_days, in_km, f"{start}: {joined}.")


def _days(n: int) -> str:
    if n == 0:
        return "today"
    plural = "" if abs(n) == 1 else "s"
    return f"in {n} day{plural}" if n > 0 else f"{-n} day{plural} ago"


def _distance(km: Decimal) -> str:
    text = f"{rounded(abs(km), 'km'):f} km"
    return f"in {text}" if km > 0 else f"{text} past" if km < 0 else "reached"
