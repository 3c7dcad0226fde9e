"""Reads over a car's odometers: its true distance, and the distance between two readings.

Each reads the car's instruments with their readings: two queries, whatever the length of the history.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Prefetch
from django.utils import timezone

from vehicles.models import Instrument, OdometerReading, Vehicle
from workshop.engineering.odometer import Falsified, InstrumentSpan, Reading, TrueDistance, true_distance

NO_READING = TrueDistance(
    km=None,
    since_km=Decimal(0),
    known_since=None,
    falsified_km=Decimal(0),
    flags=(),
    sentence="True distance is not known: there is no odometer reading on record.",
)


def instruments_of(vehicle: Vehicle) -> list[Instrument]:
    """The car's instruments, oldest first, each with `shown`: its readings in order of time."""
    readings = OdometerReading.objects.order_by("read_at", "made_at").select_related("made_by")
    return list(
        Instrument.objects.filter(vehicle=vehicle)
        .order_by("order")
        .prefetch_related(Prefetch("readings", queryset=readings, to_attr="shown"))
    )


def truth(vehicle: Vehicle, instruments: list[Instrument] | None = None) -> TrueDistance:
    """True distance up to the latest reading, with its sentence and flags."""
    return _summed(instruments_of(vehicle) if instruments is None else instruments)


def truth_of(instruments: list[Instrument]) -> TrueDistance:
    """The same out of the car's instruments. No query."""
    return _summed(instruments)


def truth_at(reading: OdometerReading, instruments: list[Instrument] | None = None) -> TrueDistance:
    """True distance up to one reading. A reading without a figure, or set aside, counts as the one before it."""
    return _summed(instruments_of(reading.vehicle) if instruments is None else instruments, until=reading)


def true_km_at(reading: OdometerReading) -> Decimal | None:
    """True kilometres since new at one reading; None where the distance is not known that far back."""
    return truth_at(reading).km


def distance_between(earlier: OdometerReading, later: OdometerReading) -> TrueDistance:
    """True distance from one reading of a car to a later one.

    `km` is None where a gap lies between (an instrument removed unread, a reading that fell). Distance shown
    under tyres that falsify is apart, in `falsified_km`. Refuses with `ValueError` readings of two cars, in the
    wrong order, without a figure or set aside as misread.
    """
    if earlier.vehicle_id != later.vehicle_id:
        raise ValueError("these readings are of two cars")
    if any(reading.value is None or reading.misread_because for reading in (earlier, later)):
        raise ValueError("a reading without a figure measures no distance")
    if _moment(earlier) > _moment(later):
        raise ValueError("the first reading is the later one")
    return distance_of(instruments_of(earlier.vehicle), earlier, later)


def distance_of(
    instruments: list[Instrument], earlier: OdometerReading, later: OdometerReading
) -> TrueDistance:
    """True distance from one reading with a figure to a later one, out of the car's instruments. No query."""
    return _summed(instruments, since=earlier, until=later)


def distance_since(reading: OdometerReading, instruments: list[Instrument] | None = None) -> TrueDistance:
    """True distance from a reading with a figure until the latest one; no query with the car's `instruments` given."""
    return _summed(instruments_of(reading.vehicle) if instruments is None else instruments, since=reading)


def latest_reading(vehicle: Vehicle) -> OdometerReading | None:
    """The latest reading with a figure that was not set aside."""
    return (
        counting(OdometerReading.objects.filter(vehicle=vehicle))
        .select_related("instrument")
        .order_by("-read_at", "-made_at")
        .first()
    )


def current_instrument(vehicle: Vehicle) -> Instrument | None:
    return Instrument.objects.filter(vehicle=vehicle, removed_on=None).first()


def instrument_at(instruments: Iterable[Instrument], day: date) -> Instrument | None:
    """The instrument that was in the car on a day; on the day of a replacement the new one."""
    found = None
    for instrument in sorted(instruments, key=lambda each: each.order):
        if found is None or (instrument.fitted_on is not None and instrument.fitted_on <= day):
            found = instrument
    return found


def until(instruments: Iterable[Instrument], day: date) -> list[Instrument]:
    """The instruments as far as a day: without what was fitted or read later, and those taken out later still in.

    Copies: what was given stays whole. No query.
    """
    found = []
    for instrument in instruments:
        if instrument.fitted_on is not None and instrument.fitted_on > day:
            continue
        cut = copy(instrument)
        cut.shown = [row for row in instrument.shown if _day(row.read_at) <= day]
        if cut.removed_on is not None and cut.removed_on > day:
            cut.removed_on = cut.last = None
        found.append(cut)
    return found


def spans_of(instruments: Iterable[Instrument]) -> list[InstrumentSpan]:
    """What the engineering counts, an instrument each; its readings are those of `counted`, in that order. No query."""
    stretches = [_stretch(instrument, None, None) for instrument in instruments]
    _carry(stretches)
    return [_span(stretch) for stretch in stretches]


def counted(instrument: Instrument) -> list[OdometerReading]:
    """An instrument's readings that say a distance, in order of time. No query."""
    return [row for row in instrument.shown if row.value is not None and not row.misread_because]


def counting(readings):
    """Readings that say a distance: with a figure, and not set aside as misread."""
    return readings.filter(value__isnull=False, misread_because="")


@dataclass
class _Stretch:
    """One instrument as far as it is asked about. `before` and `after`: falsified at the nearest reading of the
    instrument before, of the one after."""

    instrument: Instrument
    first: Decimal | None
    last: Decimal | None
    readings: list[OdometerReading]
    before: bool = False
    after: bool = False


def _summed(
    instruments: list[Instrument],
    *,
    since: OdometerReading | None = None,
    until: OdometerReading | None = None,
) -> TrueDistance:
    orders = {instrument.pk: instrument.order for instrument in instruments}
    lowest = orders[since.instrument_id] if since else 0
    highest = orders[until.instrument_id] if until else max(orders.values(), default=0)
    stretches = [
        _stretch(instrument, since, until)
        for instrument in instruments
        if lowest <= instrument.order <= highest
    ]
    _carry(stretches)
    spans = [_span(stretch) for stretch in stretches]
    return true_distance(spans) if spans and _anything_known(spans) else NO_READING


def _anything_known(spans: list[InstrumentSpan]) -> bool:
    return any(span.readings or span.first is not None or span.last is not None for span in spans)


def _stretch(
    instrument: Instrument, since: OdometerReading | None, until: OdometerReading | None
) -> _Stretch:
    stretch = _Stretch(instrument, instrument.first, instrument.last, counted(instrument))
    if since is not None and instrument.pk == since.instrument_id:
        stretch.first = since.value
        stretch.readings = [row for row in stretch.readings if _moment(row) >= _moment(since)]
    if until is not None and instrument.pk == until.instrument_id:
        # Without a last reading the engineering takes the latest: `until`, or the one before an unread one.
        stretch.last = None
        stretch.readings = [row for row in stretch.readings if _moment(row) <= _moment(until)]
    return stretch


def _carry(stretches: list[_Stretch]) -> None:
    """Tyres that falsify stay on when the instrument is replaced."""
    falsified = False
    for stretch in stretches:
        stretch.before = falsified
        if stretch.readings:
            falsified = bool(stretch.readings[-1].falsified_by)
    falsified = False
    for stretch in reversed(stretches):
        stretch.after = falsified
        if stretch.readings:
            falsified = bool(stretch.readings[0].falsified_by)


def _span(stretch: _Stretch) -> InstrumentSpan:
    instrument = stretch.instrument
    return InstrumentSpan(
        unit=instrument.unit,
        first=_as_typed(stretch.first),
        last=_as_typed(stretch.last),
        readings=tuple(Reading(_day(row.read_at), _as_typed(row.value)) for row in stretch.readings),
        fitted_on=instrument.fitted_on,
        falsified=tuple(_falsified(stretch)),
    )


def _falsified(stretch: _Stretch) -> Iterator[Falsified]:
    """Parts of the instrument's count that can't be summed as true.

    What was seen fitted at a reading was fitted somewhere between the reading before and this one, and taken off
    somewhere before the next: both parts are doubtful. A misreading between them is passed over.
    """
    rows = stretch.readings
    for index, row in enumerate(rows):
        if not row.falsified_by:
            continue
        below = [earlier.value for earlier in rows[:index] if earlier.value <= row.value]
        if stretch.first is not None and stretch.first <= row.value:
            below.append(stretch.first)
        above = [later.value for later in rows[index + 1 :] if later.value >= row.value]
        yield Falsified(since=max(below, default=row.value), until=above[0] if above else None)
    if stretch.before and stretch.first is not None:
        reached = [row.value for row in rows if row.value >= stretch.first]
        yield Falsified(since=stretch.first, until=reached[0] if reached else None)
    if stretch.after:
        starts = [row.value for row in rows[-1:]] or ([stretch.first] if stretch.first is not None else [])
        for start in starts:
            yield Falsified(since=start)


def _as_typed(value: Decimal | None) -> Decimal | None:
    """Without the decimal that the database column adds: flags quote the figure."""
    if value is None or value != value.to_integral_value():
        return value
    return value.quantize(Decimal(1))


def _moment(reading: OdometerReading) -> tuple[datetime, datetime]:
    return reading.read_at, reading.made_at


def _day(moment: datetime) -> date:
    return timezone.localtime(moment).date()
