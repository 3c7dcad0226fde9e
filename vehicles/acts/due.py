"""Acts on what comes due: a type's maintenance plan, what was done of it, roadworthiness tests, and who is told."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.utils.formats import date_format

from vehicles.acts.odometer import record_reading
from vehicles.acts.past_work import noon, refuse_bad_day
from vehicles.acts.striking import strike
from vehicles.maintenance_plan import Plan, sheet_of
from vehicles.models import (
    DataSheet,
    DueReader,
    FeedAddress,
    MaintenanceDone,
    MaintenanceInterval,
    OdometerReading,
    RoadworthinessTest,
    Vehicle,
)
from workshop.acting import By, ChangedMeanwhile, act, create, note
from workshop.engineering.units import Amount
from workshop.models import Person
from workshop.permissions import May

# What the log and a refusal call the columns of an interval.
_COLUMNS = ("title", "every_km", "every_unit", "every_months", "source", "source_words")


# --- the plan of a data sheet -----------------------------------------------------------------------------------


@act(May.EDIT_FIGURES)
def add_interval(
    *,
    by: By,
    sheet: DataSheet,
    title: str,
    source: str,
    source_words: str,
    every_distance: Amount | None = None,
    every_months: int | None = None,
) -> MaintenanceInterval:
    """Write down what is to be done every so far and every so many months. One that was withdrawn begins again."""
    title = " ".join(title.split())
    last = _locked_lines(sheet).get(line_of(title))
    held = Plan.read().of(sheet.pk).get(line_of(title))
    if held is not None:
        raise ValidationError(
            {"title": f"The plan has “{held.title}”, {held.every_words}: change that one, and say why."}
        )
    row = _interval(by, sheet, line_of(title), title, every_distance, every_months, source, source_words)
    if last is not None:
        row.replaces, row.because = last, "given again after it was withdrawn"
    return _kept(row)


@act(May.EDIT_FIGURES)
def change_interval(
    *,
    by: By,
    sheet: DataSheet,
    interval: MaintenanceInterval,
    because: str,
    title: str,
    source: str,
    source_words: str,
    every_distance: Amount | None = None,
    every_months: int | None = None,
    seen: UUID | None = None,
) -> MaintenanceInterval:
    """Put another interval in one's stead and say why. An inherited one is changed for this sheet alone."""
    last = _standing(sheet, interval, seen)
    if not because.strip():
        raise ValidationError({"because": "Say why this interval is changed."})
    row = _interval(
        by, sheet, last.line, " ".join(title.split()), every_distance, every_months, source, source_words
    )
    if all(getattr(row, name) == getattr(last, name) for name in _COLUMNS):
        raise ValidationError({"every_distance": f"That is what stands already: {last.every_words}."})
    row.because = because.strip()
    row.replaces = last if last.sheet_id == sheet.pk else None
    return _kept(row, before=last)


@act(May.EDIT_FIGURES)
def withdraw_interval(
    *, by: By, sheet: DataSheet, interval: MaintenanceInterval, because: str, seen: UUID | None = None
) -> MaintenanceInterval:
    """Say that an interval does not apply: to this sheet, also where it comes from the one that it is based on."""
    last = _standing(sheet, interval, seen)
    if not because.strip():
        raise ValidationError({"because": "Say why this does not apply."})
    row = MaintenanceInterval(
        **by.stamp(),
        sheet=sheet,
        line=last.line,
        title=last.title,
        source=last.source,
        source_words=last.source_words,
        replaces=last if last.sheet_id == sheet.pk else None,
        withdrawn_because=because.strip(),
    )
    return _kept(row, before=last)


def line_of(title: str) -> str:
    """What names a work through all its records: its first title, large and small letters and blanks aside."""
    return " ".join(title.split()).casefold()[:120]


def _interval(
    by: By,
    sheet: DataSheet,
    line: str,
    title: str,
    distance: Amount | None,
    months: int | None,
    source: str,
    source_words: str,
) -> MaintenanceInterval:
    if distance is not None and not 0 < distance.to("km").value < 1_000_000:
        raise ValidationError({"every_distance": "Give a distance above 0 and below 1 000 000 km."})
    return MaintenanceInterval(
        **by.stamp(),
        sheet=sheet,
        line=line,
        title=title,
        every_km=None if distance is None else distance.to("km").value,
        every_unit="" if distance is None else distance.unit,
        every_months=months,
        source=source,
        source_words=source_words.strip(),
    )


def _locked_lines(sheet: DataSheet) -> dict[str, MaintenanceInterval]:
    """Line → the sheet's own last record of it, the sheet locked: two writers come one after the other."""
    DataSheet.objects.select_for_update(no_key=True).get(pk=sheet.pk)
    rows = MaintenanceInterval.objects.current().filter(sheet=sheet)
    return {row.line: row for row in rows}


def _standing(sheet: DataSheet, interval: MaintenanceInterval, seen: UUID | None) -> MaintenanceInterval:
    """What holds for this sheet now; `ChangedMeanwhile` where that is not what the writer saw."""
    _locked_lines(sheet)
    last = Plan.read().of(sheet.pk).get(interval.line)
    if last is None:
        raise ValidationError("This does not stand in the plan any more: look at the plan as it is now.")
    if last.pk != (seen or interval.pk):
        raise ChangedMeanwhile(
            last,
            {
                "title": last.title,
                "every_months": last.every_months,
                "because": f"{last.every_words}, {last.from_where}: {last.because or last.made_by}",
            },
        )
    return last


def _kept(row: MaintenanceInterval, before: MaintenanceInterval | None = None) -> MaintenanceInterval:
    create(row)
    facts: dict[str, Any] = {
        "sheet": row.sheet,
        **{name: getattr(row, name) for name in ("every_km", "every_unit", "every_months", "source")},
    }
    if before is not None:
        facts["replaces"] = before
    words = {name: getattr(row, name) for name in ("title", "source_words", "because", "withdrawn_because")}
    note(row, facts=facts, words=words)
    return row


# --- done, and tested --------------------------------------------------------------------------------------------


@act(May.RECORD_DUE)
def record_done(
    *,
    by: By,
    vehicle: Vehicle,
    interval: MaintenanceInterval,
    done_on: date,
    odometer: Amount | None = None,
    lower_because: str = "",
    work_line: Any = None,
    elsewhere: str = "",
    source_words: str = "",
) -> MaintenanceDone:
    """Write down that the work of an interval was done: by a work line of this car, or elsewhere and how that is known.

    Without a reading of its own it is done at the reading of the line's job; without that only the months count.
    """
    refuse_bad_day(by, vehicle, done_on)
    held = Plan.read().of(sheet_of(vehicle)).get(interval.line)
    if held is None:
        raise ValidationError(
            {"interval": "This work is not in the plan of this car's data sheet. Choose one that is."}
        )
    twice = MaintenanceDone.objects.filter(
        vehicle=vehicle, line=interval.line, done_on=done_on, entered_in_error=""
    )
    if twice.exists():
        raise ValidationError(
            {"done_on": f"That it was done on {date_format(done_on)} is on record already."}
        )
    reading = _reading(by, vehicle, done_on, odometer, lower_because)
    if reading is None and work_line is not None:
        reading = getattr(getattr(work_line.job, "check_in", None), "odometer", None)
    row = create(
        MaintenanceDone(
            **by.stamp(),
            vehicle=vehicle,
            interval=held,
            line=held.line,
            done_on=done_on,
            reading=reading,
            work_line=work_line,
            elsewhere=" ".join(elsewhere.split()),
            source_words=source_words.strip(),
        )
    )
    facts = {"interval": held, "done_on": done_on, "work_line": work_line, "reading": reading}
    note(row, vehicle=vehicle, facts=facts, words={"elsewhere": row.elsewhere, "known_by": row.source_words})
    return row


@act(May.RECORD_DUE)
def record_test(
    *,
    by: By,
    vehicle: Vehicle,
    done_on: date,
    result: str,
    by_whom: str,
    source_words: str,
    valid_until: date | None = None,
    certificate: str = "",
    deficiencies: str = "",
    odometer: Amount | None = None,
    lower_because: str = "",
) -> RoadworthinessTest:
    """Write down a roadworthiness test as its certificate says it."""
    refuse_bad_day(by, vehicle, done_on)
    row = create(
        RoadworthinessTest(
            **by.stamp(),
            vehicle=vehicle,
            done_on=done_on,
            valid_until=valid_until,
            result=result,
            by_whom=" ".join(by_whom.split()),
            certificate=certificate.strip(),
            deficiencies=deficiencies.strip(),
            source_words=source_words.strip(),
            reading=_reading(by, vehicle, done_on, odometer, lower_because),
        )
    )
    facts = {"done_on": done_on, "valid_until": valid_until, "result": result, "reading": row.reading}
    words = {name: getattr(row, name) for name in ("by_whom", "certificate", "deficiencies", "source_words")}
    note(row, vehicle=vehicle, facts=facts, words=words)
    return row


@act(May.RECORD_DUE)
def strike_done(*, by: By, done: MaintenanceDone, reason: str) -> MaintenanceDone:
    """Say that a work was entered in error: it stays in sight, and the one before it counts again."""
    return strike(done, reason)


@act(May.RECORD_DUE)
def strike_test(*, by: By, test: RoadworthinessTest, reason: str) -> RoadworthinessTest:
    """Say that a test was entered in error: it stays in sight, and the one before it counts again."""
    return strike(test, reason)


def _reading(
    by: By, vehicle: Vehicle, day: date, odometer: Amount | None, lower_because: str
) -> OdometerReading | None:
    """The reading beside it: one that was taken that day and says the same, else a new one."""
    if odometer is None:
        return None
    same = OdometerReading.objects.filter(
        vehicle=vehicle,
        value=odometer.value,
        instrument__unit=odometer.unit,
        misread_because="",
        read_at__date=day,
    ).first()
    if same is not None:
        return same
    try:
        return record_reading(
            by=by, vehicle=vehicle, amount=odometer, lower_because=lower_because, read_at=noon(day, by)
        )
    except ValidationError as refusal:
        if not hasattr(refusal, "error_dict"):
            raise ValidationError({"odometer": refusal.error_list}) from refusal
        names = {"amount": "odometer", "read_at": "done_on", "instrument": "odometer"}
        raise ValidationError(
            {names.get(name, name): rows for name, rows in refusal.error_dict.items()}
        ) from refusal


# --- who is told -------------------------------------------------------------------------------------------------


@act(May.OWN_DUE)
def open_feed(*, by: By, token_hash: str) -> FeedAddress:
    """A private calendar address for whoever asks; one that they had ends with it. Only the token's hash is kept."""
    standing = _locked_feeds(by)
    ended = standing.update(revoked_at=by.made_at)
    row = create(FeedAddress(**by.stamp(), person=by.person, token_hash=token_hash))
    note(row, facts={"replaces_another": bool(ended)})
    return row


@act(May.OWN_DUE)
def revoke_feed(*, by: By) -> FeedAddress:
    """Take the own calendar address back: whoever has it gets nothing from now on."""
    row = _locked_feeds(by).first()
    if row is None:
        raise ValidationError("There is no calendar address to take back.")
    row.revoked_at = by.made_at
    row.save(update_fields=["revoked_at"])
    note(row, facts={"revoked": True})
    return row


def _locked_feeds(by: By) -> Any:
    Person.objects.select_for_update(no_key=True).get(pk=by.person.pk)
    return FeedAddress.objects.filter(person=by.person, revoked_at=None)


@act(May.OWN_DUE)
def choose_mail(*, by: By, wants_mail: bool, also_when_nothing: bool = False) -> DueReader:
    """Say whether one wants the due list by e-mail each day, and also on days on which nothing is due."""
    if wants_mail and not by.person.email:
        raise ValidationError(
            {
                "wants_mail": "No e-mail address of yours is on record. Ask the shop owner to write it down under Shop."
            }
        )
    row, _ = DueReader.objects.update_or_create(
        person=by.person, defaults={"wants_mail": wants_mail, "also_when_nothing": also_when_nothing}
    )
    note(row, facts={"wants_mail": wants_mail, "also_when_nothing": also_when_nothing})
    return row
