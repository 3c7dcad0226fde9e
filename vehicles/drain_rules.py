"""What is refused in a drain test because it does not go together: a limit and its source, a time and its minutes."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.figures import figures_of
from vehicles.models import DrainTest, Vehicle
from vehicles.models.drain import LimitSource
from workshop.engineering.drain import USUAL_LIMIT
from workshop.engineering.effect import Figure
from workshop.engineering.units import Amount, show

WORDS = 160
# More than this many times what the data sheet says is asked about: common practice, no source.
FAR_ABOVE = 2
# Between reading a meter and typing it.
SLACK = 2  # min
LONGEST = 1440  # min


def known_limit(vehicle: Vehicle) -> Figure | None:
    """The greatest quiescent current that the data sheet, a fitted part or a measurement of the car gives."""
    return figures_of(vehicle).now.get("quiescent_current")


def refuse_false_limit(
    vehicle: Vehicle, limit: Amount, source: str, words: str, above_sheet: bool = False
) -> None:
    """Refuse a limit whose source doesn't say that number; one far above the sheet's is asked about once."""
    known = known_limit(vehicle)
    if source == LimitSource.SHEET:
        if known is None:
            raise _changed("The data sheet gives no quiescent current: choose where this one comes from.")
        if known.value.base() != limit.base():
            raise _changed(
                f"The data sheet says {show(known.value)}, {show(limit)} was typed. Choose where that comes from, "
                "or give the sheet's."
            )
        return
    if source == LimitSource.PRACTICE and limit.base() * 1000 > int(USUAL_LIMIT):
        raise _changed(
            f"Common practice is up to {USUAL_LIMIT:g} mA, {show(limit)} was typed. Choose where that comes from."
        )
    if known is None:
        return
    if words.strip() and words.strip() == known.words[:WORDS].strip():
        raise ValidationError(
            {
                "limit_words": f"That is where the data sheet's {show(known.value)} stand. "
                f"Say where {show(limit)} comes from, or leave it empty."
            }
        )
    if limit.base() > FAR_ABOVE * known.value.base() and not above_sheet:
        raise ValidationError(
            {
                "above_sheet": f"{show(limit)} is far above the {show(known.value)} of the data sheet. "
                "Look again; if it is right, tick this."
            }
        )


def _changed(sentence: str) -> ValidationError:
    return ValidationError({"limit_source": ValidationError(sentence, code="limit_changed")})


def minutes_between(earlier: datetime, later: datetime) -> int:
    return max(int((later - earlier).total_seconds() // 60), 0)


def minutes_asleep(test: DrainTest, now: datetime, typed: int, locked_at: datetime | None) -> int:
    """How long the car had been locked, in min; refused where it can't have been that long."""
    begun = minutes_between(test.made_at, now)
    if locked_at is None:
        if typed > begun + SLACK:
            raise ValidationError(
                {
                    "locked_at": f"You began {begun} min ago, {typed} min were typed. Was it locked earlier? "
                    "Give the time here, or put the minutes right."
                }
            )
        return typed
    if locked_at > now + timedelta(minutes=1):
        raise ValidationError({"locked_at": "That is later than now. Give the time at which it was locked."})
    whole = minutes_between(locked_at, now)
    if whole > LONGEST:
        raise ValidationError({"locked_at": "Give a time within the last 24 hours."})
    if typed > whole + SLACK:
        when = date_format(timezone.localtime(locked_at), "H:i")
        raise ValidationError(
            {"asleep_after": f"Locked at {when}, that is {whole} min ago: {typed} min were typed."}
        )
    # The minutes that stood in the form count from the beginning of the test.
    untouched = abs(typed - begun) <= SLACK and locked_at < test.made_at
    return whole if untouched else typed
