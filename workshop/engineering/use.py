"""A car's own rate of use, and the day on which it reaches a distance.

Distance grows by what is driven from reading to reading. Each stretch between two readings adds km ~ rate · days with
a scatter that grows with the days, so dividing both by √days makes an ordinary straight line through the origin:

    km / √days = rate · √days + scatter

(weighted least squares; NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.3, from memory). The day on which a
distance is reached is the inverse prediction of that line, 95 %, with Student's t, counted from the last reading: so it
never lies before a day on which the odometer was seen below that distance. Loops run on plain floats: km and days.
"""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from workshop.engineering.trends import CONFIDENCE, t_quantile

# Common practice, no source: readings closer together than this are one visit to a workshop, not a use of the car;
# how a car is used now is seen in its last three years.
LEAST_DAYS = 28
RECENT_DAYS = 1096
LEAST_STRETCHES = 2
KM_OF_MILE = 1.609344  # exactly
# Nobody plans further: a day beyond this is no day any more.
MOST_DAYS = 36525


@dataclass(frozen=True, slots=True)
class Seen:
    """A reading in its instrument's unit. `falsified`: what was fitted then makes its distance untrue."""

    on: date
    value: float
    falsified: bool = False
    key: object = None


@dataclass(frozen=True, slots=True)
class Odometer:
    """One instrument: `unit` km or mi, `first` and `last` when fitted and removed (None: not known, or still in)."""

    unit: str
    first: float | None
    last: float | None
    readings: Sequence[Seen]
    removed: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """What was driven in so many days, up to `until`."""

    days: int
    km: float
    until: date


@dataclass(slots=True)
class _Point:
    on: date
    km: float
    section: int
    falsified: bool


@dataclass(slots=True)
class Way:
    """A car's readings laid end to end over its instruments. Distances count within one section: between two
    sections lies a gap that nobody can count (an instrument removed unread, a reading that fell for good).
    """

    points: list[_Point] = field(default_factory=list)
    places: dict[object, tuple[int, float]] = field(default_factory=dict)
    unit: str = "km"

    @property
    def last(self) -> date | None:
        """The day of the latest reading that counts."""
        return self.points[-1].on if self.points else None

    @property
    def first(self) -> date | None:
        return self.points[0].on if self.points else None

    @property
    def first_km(self) -> float | None:
        """Driven since the first reading; None without one, or where it can't be counted since."""
        if not self.points or self.points[0].section != self.points[-1].section:
            return None
        return self.points[-1].km - self.points[0].km

    def since(self, key: object) -> float | None:
        """Km from a reading to the latest one, as shown (also under tyres that falsify it: rather too early)."""
        place = self.places.get(key)
        if place is None or not self.points or place[0] != self.points[-1].section:
            return None
        return self.points[-1].km - place[1]

    def reached(self, left: float) -> tuple[date, date]:
        """Between which two readings a distance was reached that lies `left` (≤ 0) before the latest one."""
        end = self.points[-1]
        wanted = end.km + left
        earlier = later = end.on
        for point in reversed(self.points):
            if point.section != end.section:
                break
            earlier = point.on
            if point.km < wanted:
                break
            later = point.on
        return earlier, later


def way_of(instruments: Iterable[Odometer]) -> Way:
    """Lay the readings of a car's instruments end to end, the oldest first; readings in order of time.

    As with true distance: of one instrument counts what follows the last reading that is above its end, and a
    reading that fell and came back is passed over.
    """
    way = Way()
    section, end_km, open_end = 0, 0.0, False
    for number, one in enumerate(instruments):
        way.unit = one.unit
        per_unit = KM_OF_MILE if one.unit == "mi" else 1.0
        base = end_km - (one.first or 0.0) * per_unit
        rows = list(one.readings)
        end = one.last if one.last is not None else rows[-1].value if rows else one.first
        if number and (not open_end or one.first is None or (end is not None and one.first > end)):
            section += 1
        after_fall = 0
        for index, row in enumerate(rows):
            if end is not None and row.value > end:
                after_fall = index + 1
        if rows and after_fall:
            # What stood before the fall is a way of its own, that leads nowhere.
            _lay(way, rows[:after_fall], section, base, per_unit)
            section += 1
        _lay(way, rows[after_fall:], section, base, per_unit)
        if end is not None:
            end_km = base + end * per_unit
        open_end = (
            end is not None and (one.last is not None or not one.removed) and after_fall < max(1, len(rows))
        )
    return way


def _lay(way: Way, rows: Sequence[Seen], section: int, base: float, per_unit: float) -> None:
    highest = -math.inf
    for row in rows:
        km = base + row.value * per_unit
        way.places[row.key] = (section, km)
        if row.value >= highest:
            highest = row.value
            way.points.append(_Point(row.on, km, section, row.falsified))


def stretches_of(way: Way) -> list[Stretch]:
    """What was driven between readings at least 28 days apart, the newest first, as far as it is known to be true:
    not across a gap, not under tyres that falsify it. The last three years, or the last four stretches if those are
    fewer.
    """
    found: list[Stretch] = []
    end: _Point | None = None
    for point in reversed(way.points):
        if point.falsified:
            end = None
        elif end is None or point.section != end.section:
            end = point
        elif (days := (end.on - point.on).days) >= LEAST_DAYS:
            found.append(Stretch(days, end.km - point.km, end.on))
            end = point
    if not found:
        return []
    newest = found[0].until
    recent = [one for one in found if (newest - one.until).days < RECENT_DAYS]
    return recent if len(recent) >= 4 else found[:4]


@dataclass(frozen=True, slots=True)
class Rate:
    """`km_a_day` with what it was found from: `days` in all, `stretches` of them; `scatter` is km per √day."""

    km_a_day: float
    scatter: float
    days: int
    stretches: int

    @property
    def t(self) -> float:
        return t_quantile((1 + CONFIDENCE) / 2, self.stretches - 1)

    @property
    def margin(self) -> float:
        """Half the width of the 95 % interval of the rate, km a day."""
        return self.t * self.scatter / math.sqrt(self.days)

    def reach(self, days: float) -> tuple[float, float]:
        """The km between which a car is expected after so many days (95 %)."""
        wide = self.t * self.scatter * math.sqrt(days + days * days / self.days)
        return self.km_a_day * days - wide, self.km_a_day * days + wide

    @property
    def words(self) -> str:
        """A year's distance to two figures."""
        year = self.km_a_day * 365.25
        digits = 1 - math.floor(math.log10(year)) if year >= 1 else 0
        return f"about {round(year, min(0, digits)):.0f} km a year"

    def month_words(self, unit: str) -> str:
        """A month's distance (a twelfth of 365.25 days) to three figures, in km or mi: "1150 km a month"."""
        month = self.km_a_day * 365.25 / 12 / (KM_OF_MILE if unit == "mi" else 1.0)
        digits = 2 - math.floor(math.log10(month)) if month >= 1 else 0
        return f"{round(month, min(0, digits)):.0f} {unit} a month"


def rate_of(stretches: Sequence[Stretch]) -> Rate | None:
    """The rate of use; None where there are fewer than two stretches: then how sure it is can't be said."""
    if len(stretches) < LEAST_STRETCHES:
        return None
    days = sum(one.days for one in stretches)
    rate = math.fsum(one.km for one in stretches) / days
    left = math.fsum((one.km - rate * one.days) ** 2 / one.days for one in stretches)
    return Rate(rate, math.sqrt(left / (len(stretches) - 1)), days, len(stretches))


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A day with the earliest and the latest (95 %). `latest` None: no end to it can be given."""

    day: date
    earliest: date
    latest: date | None

    @property
    def is_sure(self) -> bool:
        return self.earliest == self.day == self.latest


def reach_after(rate: Rate, left: float, since: date) -> Reckoned | None:
    """The day on which `left` km (above 0) will have been driven from the reading of `since` on, at this rate.

    None: the car isn't driven, or that day lies more than a hundred years off.
    """
    if rate.km_a_day <= 0 or left / rate.km_a_day > MOST_DAYS:
        return None
    ts = (rate.t * rate.scatter) ** 2
    # (left − rate·h)² = t²s²·(h + h²/days), in h: the earlier root always is, the later one where the rate can be
    # told from none.
    a = rate.km_a_day**2 - ts / rate.days
    b = rate.km_a_day * left + ts / 2
    root = math.sqrt(max(0.0, b * b - a * left * left))
    early = left * left / (b + root)
    late = (b + root) / a if a > 0 else math.inf
    return Reckoned(
        since + timedelta(round(left / rate.km_a_day)),
        since + timedelta(math.floor(early + 1e-9)),
        since + timedelta(math.ceil(late - 1e-9)) if late <= MOST_DAYS else None,
    )


def whichever_first(by_date: date | None, by_distance: Reckoned | None) -> Reckoned | None:
    """The earlier of a set day and a reckoned one, with what is left of the uncertainty."""
    if by_date is None or by_distance is None:
        return by_distance if by_date is None else Reckoned(by_date, by_date, by_date)
    latest = by_distance.latest
    return Reckoned(
        min(by_date, by_distance.day),
        min(by_date, by_distance.earliest),
        by_date if latest is None else min(by_date, latest),
    )


def months_after(day: date, months: int) -> date:
    """The same day so many months on; where that month has no such day its last one (31 January + 1 month is the
    28th or 29th of February): RFC 7529, section 4.1, SKIP=BACKWARD. Beyond the calendar it is the calendar's end.
    """
    count = day.year * 12 + day.month - 1 + months
    year, month = count // 12, count % 12 + 1
    if year > date.max.year:
        return date.max
    return date(year, month, min(day.day, monthrange(year, month)[1]))
