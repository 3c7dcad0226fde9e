"""Acts on the odometer: reading it, setting a reading aside, replacing the instrument.

A figure that does not go with its neighbours on the same instrument is refused once, naming `lower_because`;
with a reason it is kept and flagged.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.models import Instrument, OdometerReading, Vehicle
from vehicles.models.odometer import HIGHEST_KM
from vehicles.odometer import counting, instrument_at
from workshop.acting import By, act, create, note
from workshop.engineering.units import Amount, with_label
from workshop.models import Shop
from workshop.permissions import May


@act(May.RECORD_ODOMETER)
def record_reading(
    *,
    by: By,
    vehicle: Vehicle,
    amount: Amount | None,
    not_readable_because: str = "",
    lower_because: str = "",
    falsified_by: str = "",
    job: Any = None,
    read_at: datetime | None = None,
    since_new: bool = False,
    instrument: Instrument | None = None,
) -> OdometerReading:
    """Record what the odometer showed, or why it could not be read.

    The first reading makes the car's first instrument; `since_new` says that it has counted from 0 since the car
    was new, else its beginning is not known. `instrument` is needed only where the moment leaves it open (the day
    of a replacement): without it, it is the one that was in the car at `read_at`.
    """
    read_at = read_at or by.made_at
    day = timezone.localtime(read_at).date()
    if (amount is None) == (not not_readable_because.strip()):
        raise ValidationError(
            {
                "amount": "Give the reading with its unit, or say why the odometer is not readable: one of the two."
            }
        )
    _refuse_impossible_moment(by, vehicle, "read_at", read_at)
    if amount is not None:
        _refuse_absurd("amount", amount)
    # One lock for the car's odometer: two readings at once are looked at one after the other.
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    chosen = _instrument_for(by, vehicle, amount, day, since_new=since_new, instrument=instrument)
    why = lower_because.strip()
    if amount is not None:
        doubt = _does_not_go_with(chosen, amount.value, read_at)
        if doubt and not why:
            sentence = (
                f"{doubt} Look again. If it is right, say here why: it is kept and flagged. "
                "If the other one was mistyped, set that one aside first."
            )
            raise ValidationError({"lower_because": ValidationError(sentence, code="lower_reading")})
        # Mended after the question: the reason then belongs to nothing.
        why = why if doubt else ""
    reading = create(
        OdometerReading(
            **by.stamp(),
            vehicle=vehicle,
            instrument=chosen,
            read_at=read_at,
            value=amount.value if amount else None,
            not_readable_because=not_readable_because.strip(),
            lower_because=why if amount is not None else "",
            falsified_by=falsified_by.strip(),
            job=job,
        )
    )
    facts = {
        "reading": amount,
        "instrument": chosen.order,
        "read_at": read_at,
        "out_of_order": bool(reading.lower_because),
        "since_new": since_new,
        "falsified": bool(reading.falsified_by),
    }
    words = {
        "not_readable": reading.not_readable_because,
        "lower_because": reading.lower_because,
        "falsified_by": reading.falsified_by,
    }
    note(reading, vehicle=vehicle, job=job, facts=facts, words=words)
    return reading


@act(May.RECORD_ODOMETER)
def set_aside(*, by: By, reading: OdometerReading, reason: str) -> OdometerReading:
    """Set a reading aside as misread or mistyped: it stays in sight and counts as nothing."""
    return _mark(by, reading, "misread_because", "reason", reason, "Say what was misread, and how you know.")


@act(May.RECORD_ODOMETER)
def mark_falsified(*, by: By, reading: OdometerReading, falsified_by: str) -> OdometerReading:
    """Say afterwards that the distance shown at a reading is not true, for instance by the tyres found fitted."""
    return _mark(
        by,
        reading,
        "falsified_by",
        "falsified_by",
        falsified_by,
        "Say what falsifies it: the tyre size, the gearing.",
    )


@act(May.RECORD_ODOMETER)
def state_first(*, by: By, instrument: Instrument, first: Amount, estimate_note: str) -> Instrument:
    """Say what an instrument showed when it was fitted, where that was not known, and how it is known now."""
    row = (
        Instrument.objects.select_for_update(no_key=True, of=("self",))
        .select_related("vehicle")
        .get(pk=instrument.pk)
    )
    if row.first is not None:
        raise ValidationError(f"Its first reading is on record already: {_figure(row.first, row.unit)}.")
    if not estimate_note.strip():
        raise ValidationError(
            {"estimate_note": "Say how this is known: papers, an invoice, the owner's word."}
        )
    _refuse_absurd("first", first)
    _refuse_other_unit("first", first, row)
    lowest = counting(row.readings).order_by("value").first()
    if lowest is not None and first.value > lowest.value:
        raise ValidationError(
            {
                "first": f"{_figure(first.value, row.unit)} is above {_figure(lowest.value, row.unit)}, read on "
                f"{_day(lowest)}: an instrument counts up from its first reading."
            }
        )
    row.first, row.estimate_note = first.value, _joined(row.estimate_note, estimate_note)
    row.full_clean()
    row.save(update_fields=["first", "estimate_note"])
    note(row, vehicle=row.vehicle, facts={"first": first}, words={"how_known": estimate_note})
    return row


@act(May.REPLACE_INSTRUMENT)
def replace_instrument(
    *,
    by: By,
    vehicle: Vehicle,
    replaced_on: date,
    old_last: Amount | None,
    new_first: Amount,
    replaced_because: str,
    estimate_note: str = "",
    notice: str = "",
    old_instrument: Instrument | None = None,
) -> Instrument:
    """Record that the odometer was replaced: the old one's last reading (None: not known) and the new one's first.

    `old_instrument` is the one that the person saw as the car's: a replacement recorded meanwhile by somebody else
    is then not followed by a second one.
    """
    if replaced_on > by.day:
        raise ValidationError(
            {"replaced_on": f"{date_format(replaced_on)} lies in the future. Give today or an earlier day."}
        )
    _refuse_before_built(vehicle, "replaced_on", replaced_on)
    if not replaced_because.strip():
        raise ValidationError({"replaced_because": "Say why it was replaced, or “not known”."})
    _refuse_absurd("new_first", new_first)
    if old_last is not None:
        _refuse_absurd("old_last", old_last)
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    old = Instrument.objects.select_for_update(no_key=True).filter(vehicle=vehicle, removed_on=None).first()
    if old_instrument is not None and old != old_instrument:
        raise ValidationError(
            "Somebody recorded a replacement of this instrument meanwhile. Look at the car's odometer as it is now."
        )
    if old is None:
        unit = old_last.unit if old_last else Shop.current().distance_unit
        old = create(Instrument(**by.stamp(), vehicle=vehicle, order=1, unit=unit))
    _check_old(old, replaced_on, old_last)
    old.last = old_last.value if old_last else None
    old.removed_on = replaced_on
    old.replaced_because = replaced_because.strip()
    old.estimate_note = _joined(old.estimate_note, estimate_note)
    old.full_clean()
    old.save(update_fields=["last", "removed_on", "replaced_because", "estimate_note"])
    new = create(
        Instrument(
            **by.stamp(),
            vehicle=vehicle,
            order=old.order + 1,
            unit=new_first.unit,
            first=new_first.value,
            fitted_on=replaced_on,
            notice=notice.strip(),
        )
    )
    note(
        new,
        vehicle=vehicle,
        facts={"on": replaced_on, "old_last": old_last, "new_first": new_first},
        words={"because": old.replaced_because, "notice": new.notice, "estimate": estimate_note},
    )
    return new


def _mark(by: By, reading: OdometerReading, column: str, field: str, text: str, ask: str) -> OdometerReading:
    if not text.strip():
        raise ValidationError({field: ask})
    row = (
        OdometerReading.objects.select_for_update(no_key=True, of=("self",))
        .select_related("vehicle")
        .get(pk=reading.pk)
    )
    if there := getattr(row, column):
        raise ValidationError({field: f"This is on record for the reading already: {there}"})
    if row.value is None:
        raise ValidationError({field: "This reading has no figure: it counts as nothing already."})
    setattr(row, column, text.strip())
    row.full_clean()
    row.save(update_fields=[column])
    note(row, vehicle=row.vehicle, facts={column: bool(text)}, words={column: text.strip()})
    return row


def _instrument_for(
    by: By,
    vehicle: Vehicle,
    amount: Amount | None,
    day: date,
    *,
    since_new: bool,
    instrument: Instrument | None,
) -> Instrument:
    known = list(Instrument.objects.filter(vehicle=vehicle).order_by("order"))
    if not known:
        return create(
            Instrument(
                **by.stamp(),
                vehicle=vehicle,
                order=1,
                unit=amount.unit if amount else Shop.current().distance_unit,
                first=Decimal(0) if since_new else None,
            )
        )
    if instrument is not None and instrument not in known:
        raise ValidationError({"instrument": "This instrument is another car's."})
    chosen = instrument or instrument_at(known, day)
    if (chosen.fitted_on and day < chosen.fitted_on) or (chosen.removed_on and day > chosen.removed_on):
        raise ValidationError({"instrument": "This instrument was not in the car on that day."})
    if since_new and chosen.order == 1 and chosen.first is None and chosen.fitted_on is None:
        chosen.first = Decimal(0)
        chosen.save(update_fields=["first"])
    if amount is not None and amount.unit != chosen.unit:
        # A dark display on the first visit left the unit open: the shop's was taken until a figure is seen.
        known = chosen.fitted_on or chosen.first or chosen.last is not None
        if known or chosen.readings.filter(value__isnull=False).exists():
            _refuse_other_unit("amount", amount, chosen)
        chosen.unit = amount.unit
        chosen.save(update_fields=["unit"])
    return chosen


def _does_not_go_with(instrument: Instrument, value: Decimal, read_at: datetime) -> str:
    """Why a figure is doubtful between its neighbours in time on the same instrument; empty when it is not."""
    others = counting(instrument.readings)
    before = others.filter(read_at__lte=read_at).order_by("-read_at", "-made_at").first()
    after = others.filter(read_at__gt=read_at).order_by("read_at", "made_at").first()
    shown = _figure(value, instrument.unit)
    if before is not None and value < before.value:
        return f"{shown} is lower than {_figure(before.value, instrument.unit)}, read on {_day(before)}."
    if before is None and instrument.first is not None and value < instrument.first:
        return f"{shown} is lower than {_figure(instrument.first, instrument.unit)}, its reading when fitted."
    if after is not None and not after.lower_because and value > after.value:
        return (
            f"{shown} is higher than {_figure(after.value, instrument.unit)}, read later, on {_day(after)}."
        )
    if after is None and instrument.last is not None and value > instrument.last:
        return (
            f"{shown} is higher than {_figure(instrument.last, instrument.unit)}, its reading when removed."
        )
    return ""


def _check_old(old: Instrument, replaced_on: date, old_last: Amount | None) -> None:
    if old.fitted_on and replaced_on < old.fitted_on:
        raise ValidationError(
            {
                "replaced_on": f"This instrument was fitted on {date_format(old.fitted_on)}. Give that day or later."
            }
        )
    latest = old.readings.filter(misread_because="").order_by("-read_at", "-made_at").first()
    if latest is not None and timezone.localtime(latest.read_at).date() > replaced_on:
        raise ValidationError(
            {
                "replaced_on": f"The old instrument was read on {_day(latest)}. Give that day or later; if that was "
                "the new instrument already, set that reading aside first."
            }
        )
    if old_last is None:
        return
    _refuse_other_unit("old_last", old_last, old)
    latest = counting(old.readings).order_by("-read_at", "-made_at").first()
    if latest is not None and old_last.value < latest.value:
        raise ValidationError(
            {
                "old_last": f"{_figure(old_last.value, old.unit)} is lower than {_figure(latest.value, old.unit)}, "
                f"read on {_day(latest)}. Look again; if it really fell, record that reading with its reason first."
            }
        )
    if old.first is not None and old_last.value < old.first:
        raise ValidationError(
            {"old_last": f"It showed {_figure(old.first, old.unit)} when it was fitted: give that or more."}
        )


def _refuse_impossible_moment(by: By, vehicle: Vehicle, field: str, moment: datetime) -> None:
    if moment > by.received_at + timedelta(minutes=2):
        raise ValidationError({field: "This time lies in the future. Give the time at which it was read."})
    _refuse_before_built(vehicle, field, timezone.localtime(moment).date())


def _refuse_before_built(vehicle: Vehicle, field: str, day: date) -> None:
    # A model year begins in the calendar year before.
    if day.year < vehicle.year - 1:
        raise ValidationError(
            {field: f"The car is of model year {vehicle.year}: it had no odometer on {date_format(day)}."}
        )


def _refuse_absurd(field: str, amount: Amount) -> None:
    if amount.dimension != "distance":
        raise ValidationError({field: "An odometer counts kilometres or miles: choose one of them."})
    shown = _figure(amount.value, amount.unit)
    if amount.value < 0:
        raise ValidationError({field: f"An odometer shows 0 or more; {shown} was typed."})
    if amount.base() > HIGHEST_KM:
        limit = Amount(Decimal(HIGHEST_KM), "km").to(amount.unit)
        most = _figure(limit.value.quantize(Decimal(1), rounding="ROUND_DOWN"), amount.unit)
        raise ValidationError({field: f"Give {most} or less; {shown} was typed. Look at the digits again."})
    if amount.value != amount.value.quantize(Decimal("0.1")):
        raise ValidationError({field: "Give at most one decimal: odometers show no more."})


def _refuse_other_unit(field: str, amount: Amount, instrument: Instrument) -> None:
    if amount.unit != instrument.unit:
        raise ValidationError(
            {
                field: f"This instrument counts in {instrument.unit}; {_figure(amount.value, amount.unit)} was typed. "
                f"Choose {instrument.unit}; if another instrument is in the car now, record its replacement first."
            }
        )


def _joined(there: str, more: str) -> str:
    return "; ".join(part for part in (there, more.strip()) if part)


def _figure(value: Decimal, unit: str) -> str:
    whole = value.to_integral_value()
    return with_label(f"{whole if whole == value else value.normalize():f}", unit)


def _day(reading: OdometerReading) -> str:
    return date_format(timezone.localtime(reading.read_at).date())


__all__ = ["mark_falsified", "record_reading", "replace_instrument", "set_aside", "state_first"]
