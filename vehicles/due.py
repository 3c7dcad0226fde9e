"""What comes due, of one car or of the whole shop: by date, by distance at the car's own rate of use, whichever first.

Sources add themselves as on the vehicle page: `add_due_source(name, gather)`, where `gather(ground)` answers `Due`s
in a fixed number of queries. The ground reads cars, plates and odometers once for all of them. What is reckoned
follows from records alone, never from the day on which it is asked: so an event in a calendar moves only when something
was written down, and `sequence` rises then.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Prefetch, TextChoices
from django.urls import reverse
from django.utils import timezone

from vehicles.models import Instrument, OdometerReading, Registration, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.engineering.units import Amount, show
from workshop.engineering.use import (
    KM_OF_MILE,
    Odometer,
    Rate,
    Reckoned,
    Seen,
    Way,
    rate_of,
    reach_after,
    stretches_of,
    way_of,
    whichever_first,
)
from workshop.models import Person
from workshop.permissions import May

_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
# Driven on to the metre, a car is there: floats leave a hair of a whole distance.
_HAIR_KM = 0.001


class Kind(TextChoices):
    ITEM = "item", "Outstanding"
    RECHECK = "recheck", "Check again"
    PARTS = "parts", "Parts awaited"
    SERVICE = "service", "Service"
    TEST = "test", "Roadworthiness test"
    CALIBRATION = "calibration", "Calibration of a tool"
    COMPETENCE = "competence", "Competence"


class Period(TextChoices):
    OVERDUE = "overdue", "Overdue"
    WEEK = "week", "In the next 7 days"
    MONTH = "month", "In the next 31 days"
    LATER = "later", "Later"
    UNKNOWN = "unknown", "Not known when"


@dataclass(frozen=True)
class Distance:
    """A distance by which something is due. `left`: km from the latest reading, below 0 once past, None: not known.

    `shown` is what the odometer shows then; `unit` is the instrument's.
    """

    left: float | None
    shown: str
    unit: str
    now: bool = False

    @property
    def left_words(self) -> str:
        return show(Amount(Decimal(round(abs(self.left or 0))), "km").to(self.unit))

    @property
    def words(self) -> str:
        if self.left is None:
            return "the distance since then is not known"
        if self.now:
            return f"{self.left_words} past" if self.left < -_HAIR_KM else "just reached"
        return f"at {self.shown} on the odometer, {self.left_words} from the last reading"


@dataclass(frozen=True)
class Due:
    """One thing that comes due: what, on which car (or tool, or whose), by when and how sure, and why.

    `reckoned` None: nobody can say when. `key` names it through all its days, in the calendar and in the e-mail.
    `records` and `stamp`: how many records it rests on, and when the newest of them arrived.
    """

    kind: Kind
    title: str
    url: str
    vehicle: Vehicle | None = None
    tool: Any = None
    by_date: date | None = None
    by_distance: Distance | None = None
    reckoned: Reckoned | None = None
    why: str = ""
    words: str = ""
    severity: str = ""
    key: str = ""
    # The interval of a service: what the page of its car writes down as done.
    interval: Any = None
    # A tool, a part that is awaited: nothing for the owner of a car.
    staff_only: bool = False
    # Who of the staff is told: what of a colleague runs out is the leads' to see.
    may: May = May.SEE_SHOP
    records: int = 0
    stamp: datetime = _EPOCH

    @property
    def sequence(self) -> int:
        """Rises with every record and mark that it rests on, and never falls (RFC 5545, 3.8.7.4)."""
        return max(0, int((self.stamp - _EPOCH).total_seconds())) + self.records

    def period(self, today: date) -> Period:
        if self.reckoned is None:
            return Period.UNKNOWN
        days = (self.reckoned.day - today).days
        if days < 0 or (self.by_distance is not None and self.by_distance.now):
            return Period.OVERDUE
        return Period.WEEK if days <= 7 else Period.MONTH if days <= 31 else Period.LATER

    @property
    def whose(self) -> str:
        """Plate and name of the car, or the tool."""
        if self.vehicle is None:
            return str(self.tool or "")
        plate = self.vehicle.current_plate()
        return f"{plate} · {self.vehicle.name}" if plate else self.vehicle.name


def day_words(day: date) -> str:
    """14 March 2027."""
    return f"{day.day} {day.strftime('%B')} {day.year}"


class Ground:
    """What all sources stand on: four queries, whatever the number of cars. `cars` None: the whole shop."""

    def __init__(self, cars: Iterable[Vehicle] | None = None):
        self.keys = None if cars is None else [car.pk for car in cars]
        self._rates: dict[Any, Rate | None] = {}
        self._ways: dict[Any, Way] = {}

    @property
    def whole(self) -> bool:
        """The shop is asked about, its tools and people with it."""
        return self.keys is None

    def of_cars(self, rows: Any, column: str = "vehicle") -> Any:
        """Only those of the cars that are asked about."""
        return rows if self.keys is None else rows.filter(**{f"{column}__in": self.keys})

    @cached_property
    def cars(self) -> dict[Any, Vehicle]:
        rows = self.of_cars(Vehicle.objects.all(), "pk")
        plates = Registration.objects.order_by("-from_on", "-made_at")
        return {row.pk: row for row in rows.prefetch_related(Prefetch("registrations", queryset=plates))}

    @cached_property
    def _read(self) -> tuple[dict[Any, list[Odometer]], dict[Any, int], dict[Any, datetime]]:
        """Instruments and readings as plain tuples, for a whole shop has many: (odometers, records, newest) by car."""
        shown: dict[Any, list[Seen]] = defaultdict(list)
        count: dict[Any, int] = defaultdict(int)
        newest: dict[Any, datetime] = {}
        zone = timezone.get_current_timezone()
        rows = self.of_cars(OdometerReading.objects.order_by("read_at", "made_at")).values_list(
            "vehicle_id",
            "instrument_id",
            "pk",
            "read_at",
            "value",
            "falsified_by",
            "misread_because",
            "received_at",
        )
        for car, instrument, pk, read_at, value, falsified, misread, received in rows:
            # Marks set later are no records of their own: they count as one, so that a number never falls.
            count[car] += 1 + bool(falsified) + bool(misread)
            newest[car] = max(newest.get(car, received), received)
            if value is not None and not misread:
                shown[instrument].append(
                    Seen(read_at.astimezone(zone).date(), float(value), bool(falsified), pk)
                )
        odometers: dict[Any, list[Odometer]] = defaultdict(list)
        for pk, car, unit, first, last, removed in self.of_cars(
            Instrument.objects.order_by("vehicle", "order")
        ).values_list("pk", "vehicle_id", "unit", "first", "last", "removed_on"):
            count[car] += 1 + (first is not None) + (last is not None)
            odometers[car].append(
                Odometer(
                    unit,
                    None if first is None else float(first),
                    None if last is None else float(last),
                    shown.get(pk, ()),
                    removed is not None,
                )
            )
        return odometers, count, newest

    def way(self, car: Any) -> Way:
        if car not in self._ways:
            self._ways[car] = way_of(self._read[0].get(car, ()))
        return self._ways[car]

    def rate(self, car: Any) -> Rate | None:
        """The car's rate of use; None where it is not known, or not true now (tyres that falsify it are fitted)."""
        if car not in self._rates:
            way = self.way(car)
            wrong = bool(way.points) and way.points[-1].falsified
            self._rates[car] = None if wrong else rate_of(stretches_of(way))
        return self._rates[car]

    def since_new(self, car: Any) -> float | None:
        """Km since the car was new, as shown; None where its first instrument isn't known to have begun at 0, or
        where a gap lies since."""
        instruments, way = self._read[0].get(car, ()), self.way(car)
        counts = way.points and way.points[-1].section == 0 and instruments and instruments[0].first == 0
        return way.points[-1].km if counts else None

    def rests_on(self, car: Any) -> tuple[int, datetime | None]:
        """How many odometer records there are, and when the newest arrived."""
        return self._read[1].get(car, 0), self._read[2].get(car)

    def distance(self, car: Any, driven: float | None, due_km: float) -> tuple[Distance, Reckoned | None]:
        """What is left of a due distance, and the day on which the car gets there by its own rate of use."""
        way = self.way(car)
        if driven is None or way.last is None:
            return Distance(None, "", way.unit), None
        left = due_km - driven
        factor = KM_OF_MILE if way.unit == "mi" else 1.0
        last = self._read[0][car][-1].readings
        shown = show(Amount(Decimal(round(last[-1].value + left / factor)), way.unit)) if last else ""
        if left <= _HAIR_KM:
            earlier, later = way.reached(left)
            return Distance(left, shown, way.unit, now=True), Reckoned(later, earlier, later)
        rate = self.rate(car)
        return Distance(left, shown, way.unit), reach_after(rate, left, way.last) if rate else None

    def why_no_rate(self, car: Any) -> str:
        way = self.way(car)
        if way.points and way.points[-1].falsified:
            return "by distance only: rate not known, for what is fitted now falsifies the odometer"
        if self.rate(car) is None:
            return "by distance only: rate not known, too few readings"
        return "by distance only: at its rate of use it does not get there"

    def due(
        self,
        car: Any,
        *,
        by_date: date | None = None,
        due_km: float | None = None,
        driven: float | None = None,
        records: int = 0,
        stamp: datetime | None = None,
        unknown: str = "",
        **fields: Any,
    ) -> Due:
        """A `Due` with its day reckoned and said in words. `unknown`: why no day can be given, where none is set."""
        distance = ahead = None
        newest = [stamp] if stamp else []
        if due_km is not None:
            distance, ahead = self.distance(car, driven, due_km)
            rests, arrived = self.rests_on(car)
            records += rests
            newest += [arrived] if arrived else []
        reckoned = whichever_first(by_date, ahead)
        return Due(
            vehicle=self.cars.get(car),
            by_date=by_date,
            by_distance=distance,
            reckoned=reckoned,
            words=self._words(car, by_date, distance, ahead, reckoned) or unknown,
            records=records,
            stamp=max(newest, default=_EPOCH),
            **fields,
        )

    def _words(
        self,
        car: Any,
        by_date: date | None,
        distance: Distance | None,
        ahead: Reckoned | None,
        reckoned: Reckoned | None,
    ) -> str:
        if distance is None:
            return day_words(by_date) if by_date else ""
        if distance.now:
            seen = f"the distance was reached by {day_words(ahead.day)}: {distance.words}"
            return f"{seen}; by date {day_words(by_date)}" if by_date else seen
        if ahead is None:
            parts = [day_words(by_date)] if by_date else []
            parts.append(distance.words)
            if distance.left is not None:
                parts.append(self.why_no_rate(car))
            return "; ".join(parts)
        unit = self.way(car).unit
        use = f"at {self.rate(car).month_words(unit)} since the reading of {day_words(self.way(car).last)}"
        if by_date is None:
            return f"{_about(ahead)}, {use}; {distance.words}"
        if reckoned.day < by_date:
            return f"{_about(ahead)}, {use}; the distance comes first: {distance.words}; by date {day_words(by_date)}"
        text = f"{day_words(by_date)}: the date comes first"
        if ahead.earliest < by_date:
            text += f", though by distance it may be from {day_words(ahead.earliest)} on"
        return f"{text}; by distance about {day_words(ahead.day)}, {use}"


def _about(found: Reckoned) -> str:
    """The day, and between which days it lies with 95 %."""
    if found.is_sure:
        return f"about {day_words(found.day)}"
    if found.latest is None:
        return (
            f"about {day_words(found.day)}, not before {day_words(found.earliest)} "
            "(it is driven too unevenly to say until when)"
        )
    same = found.earliest.year == found.latest.year
    earliest = (
        day_words(found.earliest).removesuffix(f" {found.latest.year}") if same else day_words(found.earliest)
    )
    return f"about {day_words(found.day)}, between {earliest} and {day_words(found.latest)}"


Gather = Callable[[Ground], Iterable[Due]]
_sources: dict[str, Gather] = {}


def add_due_source(name: str, gather: Gather) -> None:
    """Call in an app's `ready()` or beside the views of the subject. `gather(ground)`: a fixed number of queries."""
    _sources[name] = gather


def in_order(found: Iterable[Due]) -> list[Due]:
    """Whichever first; what has no day comes last."""
    return sorted(
        found,
        key=lambda due: (
            due.reckoned is None,
            due.reckoned.day if due.reckoned else date.max,
            due.whose,
            due.title,
            due.key,
        ),
    )


def due_list(vehicle: Vehicle | None = None, *, cars: Iterable[Vehicle] | None = None) -> list[Due]:
    """Of the whole shop, of one car, or of several."""
    ground = Ground([vehicle] if vehicle is not None else cars)
    return in_order(due for gather in _sources.values() for due in gather(ground))


def for_owner(vehicle: Vehicle) -> list[Due]:
    """What the owner of a car is told: nothing of the shop's own. Links lead to the owner's own page of the car."""
    return _owners(due_list(vehicle))


def for_person(person: Person, shop: Iterable[Due] | None = None) -> list[Due]:
    """What somebody is told by mail and calendar: staff of the whole shop, a car's owner of their own cars alone.

    `shop`: the shop's list, where it is at hand.
    """
    if person.is_staff_member:
        return [due for due in (due_list() if shop is None else shop) if person.may(due.may)]
    return _owners(due_list(cars=list(own_cars(person)))) if person.may(May.SEE_OWN_CARS) else []


def own_cars(person: Person) -> Any:
    """The cars of which somebody is owner or registered keeper today, by name."""
    parts = VehicleKeeper.objects.now().filter(keeper__account=person, part__in=HOLDERS)
    return Vehicle.objects.filter(pk__in=parts.values("vehicle"))


def _owners(rows: Iterable[Due]) -> list[Due]:
    return [
        replace(due, url=reverse("vehicles:my-car", args=[due.vehicle.pk]))
        for due in rows
        if not due.staff_only and due.vehicle is not None
    ]


def by_period(rows: Iterable[Due], today: date) -> list[tuple[Period, list[Due]]]:
    """In groups: overdue, the next week, the month, later, not known; empty ones left out."""
    found: dict[Period, list[Due]] = {period: [] for period in Period}
    for due in rows:
        found[due.period(today)].append(due)
    return [(period, dues) for period, dues in found.items() if dues]
