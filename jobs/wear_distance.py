"""The true distance at many odometer readings of one car, so that two of them can be compared."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from vehicles import odometer
from vehicles.models import Instrument, OdometerReading
from workshop.engineering.odometer import TrueDistance
from workshop.engineering.units import factor


@dataclass(frozen=True)
class Known:
    """A true distance in km, with what it is counted from: two of one `origin` can be compared."""

    km: float
    origin: tuple


def known(of: TrueDistance) -> Known | None:
    """What lies under tyres that falsify is no true distance: past any of it, the origin is another one.

    None where not even the day is known from which it counts.
    """
    if of.km is None and of.known_since is None:
        return None
    return Known(float(of.since_km), (of.km is not None, of.known_since, of.falsified_km))


def distances(instruments: list[Instrument], readings: Iterable[OdometerReading]) -> dict[Any, Known | None]:
    """The true distance at each reading, by its id; None for one without a figure or set aside as misread.

    No query: `instruments` as `odometer.instruments_of` reads them. Where an instrument simply counted on, only the
    last reading is added up in full, and those before it are counted back from there.
    """
    wanted = {reading.pk: reading for reading in readings}
    found: dict[Any, Known | None] = dict.fromkeys(wanted)
    for instrument in instruments:
        for run in _runs(instrument):
            here = [reading for reading in run if reading.pk in wanted]
            if not here:
                continue
            last = known(odometer.truth_at(here[-1], instruments))
            for reading in here if last is not None else ():
                back = float((here[-1].value - reading.value) * factor(instrument.unit, "km"))
                found[reading.pk] = Known(last.km - back, last.origin)
    return found


def _runs(instrument: Instrument) -> list[list[OdometerReading]]:
    """The readings that count, in runs in which the instrument counted on and nothing falsified it.

    What is lower than before or falsified stands by itself: the distance to it and from it isn't certain.
    """
    runs: list[list[OdometerReading]] = []
    highest, alone = instrument.first, True
    for reading in instrument.shown:
        if reading.value is None or reading.misread_because:
            continue
        odd = bool(reading.falsified_by) or (highest is not None and reading.value < highest)
        if odd or alone:
            runs.append([])
        runs[-1].append(reading)
        alone = odd
        highest = reading.value if highest is None else max(highest, reading.value)
    return runs
