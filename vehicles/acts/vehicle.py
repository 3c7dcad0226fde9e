"""Acts on the car's identity: taking it on, correcting it, reading its numbers, its plates."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.formats import date_format

from vehicles.folding import folded, squeezed
from vehicles.models import IdentityReading, Registration, Vehicle
from workshop.acting import By, act, create, note, save_changes
from workshop.engineering import identity
from workshop.permissions import May

# What a person types of a car besides its number; everything else is derived.
VEHICLE_FIELDS = (
    "make",
    "model",
    "variant",
    "year",
    "engine_number",
    "colour",
    "body",
    "high_voltage",
    "notes",
    "number_unknown_because",
)
# Typed in free words, which may speak of people: it stands beside the log's chain, not in it.
PERSONAL_FIELDS = frozenset({"variant", "colour", "body", "notes", "number_unknown_because"})


@act(May.EDIT_VEHICLE)
def add_vehicle(*, by: By, number: str, as_stamped: bool = False, **fields) -> Vehicle:
    """Take on a car. A questionable number is refused once, with the reasons, and kept when confirmed as stamped."""
    fields = _tidy(by, fields)
    vehicle = Vehicle(**by.stamp(), **fields)
    _set_number(vehicle, number, as_stamped=as_stamped)
    vehicle.search_text = search_text(vehicle)
    create(vehicle)
    facts = {"number": vehicle.number, "car": vehicle.name, "as_stamped": vehicle.as_stamped}
    note(
        vehicle,
        vehicle=vehicle,
        facts=facts,
        words={name: getattr(vehicle, name) for name in PERSONAL_FIELDS},
    )
    return vehicle


@act(May.EDIT_VEHICLE)
def take_on(*, by: By, plate: str = "", country: str = "", **vehicle_fields) -> Vehicle:
    """A car and the plate that it bears, in one act; `vehicle_fields` are those of `add_vehicle`."""
    if country.strip() and not plate.strip():
        raise ValidationError({"plate": "Give the plate of this country, or leave both empty."})
    vehicle = add_vehicle(by=by, **vehicle_fields)
    if plate.strip():
        add_registration(by=by, vehicle=vehicle, plate=plate, country=country)
    return vehicle


@act(May.EDIT_VEHICLE)
def correct_vehicle(
    *,
    by: By,
    vehicle: Vehicle,
    seen_version: int,
    reason: str,
    number: str | None = None,
    as_stamped: bool = False,
    **fields,
) -> Vehicle:
    """Correct what was written of a car, with a reason. Before and after stand in the log.

    Without `number` the number stays; it is then asked about again only where the year or make gives cause.
    """
    if not reason.strip():
        raise ValidationError({"reason": "Say why this is corrected."})
    fields = _tidy(by, fields)
    vehicle.refresh_from_db()
    probe = Vehicle(
        pk=vehicle.pk, **{name: fields.get(name, getattr(vehicle, name)) for name in VEHICLE_FIELDS}
    )
    if number is None:
        number, as_stamped = vehicle.number, as_stamped or vehicle.as_stamped
    _set_number(probe, number, as_stamped=as_stamped)
    changes = save_changes(
        vehicle,
        seen_version=seen_version,
        number=probe.number,
        as_stamped=probe.as_stamped,
        number_questions=probe.number_questions,
        identity_key=probe.identity_key,
        **fields,
    )
    refresh_search_text(vehicle)
    note(
        vehicle,
        vehicle=vehicle,
        facts={"changes": {name: pair for name, pair in changes.items() if name not in PERSONAL_FIELDS}},
        words={
            "reason": reason,
            **{name: pair for name, pair in changes.items() if name in PERSONAL_FIELDS},
        },
    )
    return vehicle


def _tidy(by: By, fields: dict[str, Any]) -> dict[str, Any]:
    if unknown := fields.keys() - set(VEHICLE_FIELDS):
        raise TypeError(f"a vehicle has no {', '.join(sorted(unknown))} to write down")
    year = fields.get("year")
    if year and year > by.day.year + 1:
        raise ValidationError(
            {"year": f"Model year {year} has not begun. Give {by.day.year + 1} or earlier."}
        )
    if fields.get("engine_number"):
        fields = {**fields, "engine_number": identity.normalise_number(fields["engine_number"])}
    return fields


def _set_number(vehicle: Vehicle, number: str, *, as_stamped: bool) -> None:
    vehicle.number = identity.normalise_number(number)
    if len(vehicle.number) > 30:
        raise ValidationError(
            {"number": f"Give at most 30 characters; without blanks this has {len(vehicle.number)}."}
        )
    if number.strip() and not vehicle.number:
        raise ValidationError({"number": "There is no letter and no digit in this number."})
    vehicle.identity_key = Vehicle.key_for(vehicle.number, vehicle.make)
    _refuse_taken(vehicle)
    questions = identity.questions(vehicle.number, vehicle.year) if vehicle.number else []
    if questions and not as_stamped:
        reasons = " ".join(question.message for question in questions)
        sentence = f"{reasons} Look again; if the car bears it exactly so, tick the box below and save."
        raise ValidationError({"number": ValidationError(sentence, code="number_questioned")})
    vehicle.number_questions = "\n".join(question.message for question in questions)
    vehicle.as_stamped = bool(questions)


def _refuse_taken(vehicle: Vehicle) -> None:
    if vehicle.identity_key is None:
        return
    other = Vehicle.objects.filter(identity_key=vehicle.identity_key).exclude(pk=vehicle.pk).first()
    if other is not None:
        # The form turns `other` into a link: see vehicles/forms/vehicle.py.
        error = ValidationError(f"This number is on record already: {other}.", code="number_taken")
        error.other = other
        raise ValidationError({"number": error})


@act(May.EDIT_VEHICLE)
def add_registration(
    *,
    by: By,
    vehicle: Vehicle,
    plate: str,
    country: str = "",
    from_on: date | None = None,
    until_on: date | None = None,
    end_current: bool = True,
) -> Registration:
    """Record a plate. The plate that was in force until then ends the day the new one begins.

    One that is over already (`until_on`) ends nothing: it is an earlier page of the car's history.
    """
    _check_days(by, vehicle, from_on, until_on)
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    ended = []
    if end_current and until_on is None:
        day = from_on or by.day
        for row in vehicle.registrations.filter(until_on=None).select_for_update(no_key=True):
            if row.from_on and row.from_on > day:
                raise ValidationError(
                    {
                        "until_on": f"{row.plate} is in force since {date_format(row.from_on)}. "
                        "Say until when this earlier plate was on the car."
                    }
                )
            row.until_on, row.version = day, row.version + 1
            row.save(update_fields=["until_on", "version"])
            ended.append(row)
    row = create(
        Registration(
            **by.stamp(), vehicle=vehicle, from_on=from_on, until_on=until_on, **_plate(plate, country)
        )
    )
    refresh_search_text(vehicle)
    facts = {"country": row.country, "from": from_on, "until": until_on, "ended": [str(e.pk) for e in ended]}
    note(row, vehicle=vehicle, facts=facts, words={"plate": row.plate})
    return row


@act(May.EDIT_VEHICLE)
def correct_registration(
    *,
    by: By,
    registration: Registration,
    seen_version: int,
    reason: str,
    plate: str,
    country: str = "",
    from_on: date | None = None,
    until_on: date | None = None,
) -> Registration:
    """Correct a plate or its days, or say until when it was on the car, with a reason."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why this is corrected, for instance “exported”."})
    vehicle = registration.vehicle
    _check_days(by, vehicle, from_on, until_on)
    changes = save_changes(
        registration,
        seen_version=seen_version,
        from_on=from_on,
        until_on=until_on,
        **_plate(plate, country),
    )
    refresh_search_text(vehicle)
    facts = {"corrected": sorted(changes), "from": from_on, "until": until_on}
    note(registration, vehicle=vehicle, facts=facts, words={"changes": changes, "reason": reason})
    return registration


def _plate(plate: str, country: str) -> dict[str, str]:
    key = squeezed(plate).upper()
    if not key:
        raise ValidationError({"plate": "There is no letter and no digit on this plate."})
    if len(key) > 20:
        raise ValidationError({"plate": f"Give at most 20 characters; this has {len(key)}."})
    return {
        "plate": " ".join(plate.upper().split()),
        "plate_key": key,
        "country": " ".join(country.split()),
    }


def _check_days(by: By, vehicle: Vehicle, from_on: date | None, until_on: date | None) -> None:
    for name, day in (("from_on", from_on), ("until_on", until_on)):
        if day and day > by.day:
            raise ValidationError(
                {name: f"{date_format(day)} lies in the future. Give today or an earlier day."}
            )
        # A model year begins in the calendar year before.
        if day and day.year < vehicle.year - 1:
            raise ValidationError(
                {name: f"The car is of model year {vehicle.year}: it had no plate on {date_format(day)}."}
            )


@act(May.EDIT_VEHICLE)
def read_identity(
    *,
    by: By,
    vehicle: Vehicle,
    source: str,
    number: str = "",
    not_readable_because: str = "",
    place: str = "",
) -> IdentityReading:
    """Record the number as read in one place. A number that differs is a finding: a fault of severity major.

    It is compared with the car's number; where the car has none on record, with what was read elsewhere on it.
    """
    from vehicles.acts import fault

    read = identity.normalise_number(number)
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    vehicle.refresh_from_db()
    known, where = _known_number(vehicle, source)
    row = create(
        IdentityReading(
            **by.stamp(),
            vehicle=vehicle,
            source=source,
            number=read,
            not_readable_because=not_readable_because.strip(),
            place=place,
            differs=bool(read and known and read != known),
        )
    )
    note(
        row,
        vehicle=vehicle,
        facts={"source": source, "number": read, "differs": row.differs},
        words={"place": row.place, "not_readable": row.not_readable_because},
    )
    told_before = vehicle.identity_readings.filter(source=source, number=read, differs=True)
    if row.differs and not told_before.exclude(pk=row.pk).exists():
        label = row.get_source_display()
        fault.report_fault(
            by=by,
            vehicle=vehicle,
            kind="finding",
            severity="major",
            title=f"Identity: the number differs ({label.lower()})",
            words=f"{label}: {read}. {where}: {known}.",
        )
    return row


def _known_number(vehicle: Vehicle, source: str) -> tuple[str, str]:
    if vehicle.number:
        return vehicle.number, "On record"
    other = vehicle.identity_readings.exclude(source=source).exclude(number="").first()
    return (other.number, other.get_source_display()) if other else ("", "")


def search_text(vehicle: Vehicle) -> str:
    """Everything a car is found by, folded. Reads plates, keepers and job numbers: three queries."""
    parts = [
        vehicle.number,
        vehicle.make,
        vehicle.model,
        vehicle.variant,
        str(vehicle.year or ""),
        vehicle.colour,
        vehicle.engine_number,
    ]
    if not vehicle._state.adding:
        for row in vehicle.registrations.all():
            parts += [row.plate, row.plate_key]
        parts += sorted(set(vehicle.keepers.values_list("keeper__name", flat=True)))
        parts += [job.number for job in vehicle.jobs.all()]
    return " ".join(folded(part) for part in parts if part)


def refresh_search_text(vehicle: Vehicle) -> None:
    """Call inside every act that changes what a car is found by."""
    Vehicle.objects.filter(pk=vehicle.pk).update(search_text=search_text(vehicle))
