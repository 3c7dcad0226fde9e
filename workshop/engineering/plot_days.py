"""An axis of days: years, months or days stand at it, as many as there is room for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from workshop.engineering.plot import Axis

# Words that an axis of the drawing has room for.
MOST_TICKS = 6
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class DayAxis:
    """`axis` for the plot; its values are days since `first`."""

    first: date
    axis: Axis

    def at(self, day: date) -> float:
        return float((day - self.first).days)


def day_axis(first: date, last: date) -> DayAxis:
    """The axis from one day to another; one day alone stands in the middle of sixty. Either order."""
    first, last = sorted((first, last))
    if first == last:
        first, last = _moved(first, -30), _moved(last, 30)
    label, days = _ticks(first, last)
    ticks = tuple((float((day - first).days), words) for day, words in days)
    return DayAxis(first, Axis(label, 0.0, float((last - first).days), ticks))


def _moved(day: date, days: int) -> date:
    return date.fromordinal(min(max(day.toordinal() + days, 1), date.max.toordinal()))


def _ticks(first: date, last: date) -> tuple[str, list[tuple[date, str]]]:
    for step in (12, 24, 60, 120, 240, 600):
        years = _months(first, last, step)
        if 3 <= len(years) <= MOST_TICKS:
            return "Year", [(day, str(day.year)) for day in years]
    for step in (1, 2, 3, 6, 12):
        months = _months(first, last, step)
        if 2 <= len(months) <= 5:
            return "Month", [(day, f"{_MONTHS[day.month - 1]} {day.year % 100:02d}") for day in months]
    few = sorted({first, first + (last - first) // 2, last})
    return "Day", [(day, f"{day.day} {_MONTHS[day.month - 1]} {day.year % 100:02d}") for day in few]


def _months(first: date, last: date, step: int) -> list[date]:
    """The first days of months between two days, every so many months, counted from January of the year 0."""
    begin = first.year * 12 + first.month - 1 + (first.day > 1)
    found = range(-(-begin // step) * step, last.year * 12 + last.month, step)
    return [date(month // 12, month % 12 + 1, 1) for month in found]
