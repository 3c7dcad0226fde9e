"""Measurements on a work line, before and after, with a verdict that is computed."""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError

from jobs.lines import line_to_work_on, lock_line, refuse_closed
from jobs.models import Measurement, WorkLine
from jobs.models.measurement import LimitVerdict
from vehicles.acts.part import check_position
from vehicles.models import Place
from workshop.acting import By, act, create, note
from workshop.engineering import limits
from workshop.engineering.units import Amount
from workshop.permissions import May

# As many as the columns hold: more would be rounded without a word.
MOST_DECIMALS = 4
TOO_LARGE = 10**8


@act(May.MEASURE)
def measure(
    *,
    by: By,
    line: WorkLine,
    what: str,
    phase: str,
    reading: Amount,
    low: Decimal | None = None,
    high: Decimal | None = None,
    limit_source: str = "",
    place: Place | None = None,
    position: str = "",
    instrument: str = "",
    note: str = "",
) -> Measurement:
    """Record a measured value. `low` and `high` are in the unit of the reading; a limit names its source."""
    line_to_work_on(line, by)
    for name, value in (("reading", reading.value), ("low", low), ("high", high)):
        if value is not None and -value.as_tuple().exponent > MOST_DECIMALS:
            raise ValidationError(
                {
                    name: f"Give at most {MOST_DECIMALS} decimals, or choose a smaller unit: more can't be kept."
                }
            )
        if value is not None and abs(value) >= TOO_LARGE:
            raise ValidationError({name: f"Give a figure below {TOO_LARGE}: choose a larger unit."})
    if low is not None and high is not None and low > high:
        raise ValidationError({"high": "The highest allowed value can't be below the lowest."})
    if (low is not None or high is not None) and not limit_source.strip():
        raise ValidationError(
            {
                "limit_source": "Say where the limit comes from: the maker's data, a plate on the car, a standard."
            }
        )
    if position and place is None:
        raise ValidationError({"place": "Choose the place that this position belongs to."})
    if place is not None:
        check_position(place, position)
    if low is None and high is None:
        verdict = LimitVerdict.NO_LIMIT
    else:
        verdict = LimitVerdict(limits.check(reading.value, low, high).value)
    row = create(
        Measurement(
            **by.stamp(),
            line=line,
            what=what.strip(),
            place=place,
            position=position,
            phase=phase,
            value=reading.value,
            unit=reading.unit,
            base_value=reading.base().quantize(Decimal("0.000001")),
            low=low,
            high=high,
            limit_source=limit_source.strip(),
            instrument=instrument.strip(),
            verdict=verdict,
            note=note.strip(),
        )
    )
    _note(
        row,
        line,
        {
            "phase": phase,
            "reading": reading,
            "low": low,
            "high": high,
            "place": place,
            "position": position,
            "verdict": verdict,
        },
        {"what": row.what, "source": row.limit_source, "instrument": row.instrument, "note": row.note},
    )
    return row


@act(May.MEASURE)
def strike_measurement(*, by: By, measurement: Measurement, reason: str) -> Measurement:
    """Take back a measurement that was entered in error; it stays to be seen and counts as nothing."""
    line = lock_line(measurement.line)
    refuse_closed(line.job)
    row = Measurement.objects.select_for_update(no_key=True).get(pk=measurement.pk)
    if row.entered_in_error:
        raise ValidationError("This was taken back already.", code="struck_already")
    if not reason.strip():
        raise ValidationError({"reason": "Say why this was entered in error."})
    row.entered_in_error = reason.strip()
    row.full_clean()
    row.save(update_fields=["entered_in_error"])
    _note(row, line, {"entered_in_error": True}, {"reason": row.entered_in_error})
    return row


def _note(row: Measurement, line: WorkLine, facts: dict, words: dict | None = None) -> None:
    note(row, vehicle=line.job.vehicle_id, job=line.job, facts={"line": line, **facts}, words=words)
