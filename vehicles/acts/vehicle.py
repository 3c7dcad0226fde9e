"""Acts on the car's identity: taking it on, correcting it, reading its numbers, its plates."""

from __future__ import annotations

from datetime import date

from django.core.exceptions import ValidationError

from vehicles.folding import folded, squeezed
from vehicles.models import IdentityReading, Registration, Vehicle
from workshop.acting import By, act, create, note, save_changes
from workshop.engineering import identity
from workshop.permissions import May

# What a person types of a car; everything else is derived.
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


@act(May.EDIT_VEHICLE)
def add_vehicle(*, by: By, number: str, as_stamped: bool = False, **fields) -> Vehicle:
    """Take on a car. A questionable number is refused once, with the reasons, and kept when confirmed as stamped."""
    vehicle = Vehicle(**by.stamp(), **fields)
    if vehicle.year and vehicle.year > by.day.year + 1:
        raise ValidationError(
            {"year": f"Model year {vehicle.year} has not begun. Give {by.day.year + 1} or earlier."}
        )
    _set_number(vehicle, number, as_stamped=as_stamped)
    vehicle.search_text = search_text(vehicle)
    create(vehicle)
    note(vehicle, vehicle=vehicle, facts={"number": vehicle.number, "car": str(vehicle)})
    return vehicle


@act(May.EDIT_VEHICLE)
def correct_vehicle(
    *,
    by: By,
    vehicle: Vehicle,
    seen_version: int,
    number: str,
    reason: str,
    as_stamped: bool = False,
    **fields,
) -> Vehicle:
    """Correct what was written of a car, with a reason. Before and after stand in the log."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why this is corrected."})
    probe = Vehicle(
        pk=vehicle.pk, **{name: fields.get(name, getattr(vehicle, name)) for name in VEHICLE_FIELDS}
    )
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
    note(vehicle, vehicle=vehicle, facts={"changes": changes}, words={"reason": reason})
    return vehicle


def _set_number(vehicle: Vehicle, number: str, *, as_stamped: bool) -> None:
    vehicle.number = identity.normalise_number(number)
    vehicle.identity_key = Vehicle.key_for(vehicle.number, vehicle.make)
    questions = identity.questions(vehicle.number, vehicle.year) if vehicle.number else []
    if questions and not as_stamped:
        reasons = " ".join(question.message for question in questions)
        raise ValidationError(
            {"number": f"{reasons} Look again; if the car bears it exactly so, tick the box below and save."},
            code="number_questioned",
        )
    vehicle.number_questions = "\n".join(question.message for question in questions)
    vehicle.as_stamped = bool(questions)
    if vehicle.identity_key:
        other = Vehicle.objects.filter(identity_key=vehicle.identity_key).exclude(pk=vehicle.pk).first()
        if other is not None:
            # The form's template turns `other` into a link: see vehicles/forms/vehicle.py.
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
    """Record a plate. The plate that was in force until then ends the day the new one begins."""
    if from_on and from_on > by.day:
        raise ValidationError({"from_on": "This day lies in the future."})
    if from_on and from_on.year < vehicle.year - 1:
        raise ValidationError(
            {"from_on": f"The car is of model year {vehicle.year}: it had no plate before that."}
        )
    if end_current and until_on is None:
        for row in vehicle.registrations.filter(until_on=None):
            row.until_on = from_on or by.day
            row.full_clean()
            row.save(update_fields=["until_on"])
    row = create(
        Registration(
            **by.stamp(),
            vehicle=vehicle,
            plate=" ".join(plate.upper().split()),
            plate_key=squeezed(plate).upper(),
            country=country.strip(),
            from_on=from_on,
            until_on=until_on,
        )
    )
    refresh_search_text(vehicle)
    note(row, vehicle=vehicle, facts={"country": country, "from": from_on}, words={"plate": row.plate})
    return row


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
    """Record the number as read in one place. A number that differs from the car's is a finding."""
    from vehicles.acts import fault

    read = identity.normalise_number(number)
    row = create(
        IdentityReading(
            **by.stamp(),
            vehicle=vehicle,
            source=source,
            number=read,
            not_readable_because=not_readable_because,
            place=place,
            differs=bool(read and vehicle.number and read != vehicle.number),
        )
    )
    note(row, vehicle=vehicle, facts={"source": source, "number": read, "differs": row.differs})
    if row.differs:
        fault.report_fault(
            by=by,
            vehicle=vehicle,
            kind="finding",
            severity="major",
            title=f"Identity: {row.get_source_display().lower()} differs",
            words=f"{row.get_source_display()} says {read}; on record is {vehicle.number}.",
        )
    return row


def search_text(vehicle: Vehicle) -> str:
    """Everything a car is found by, folded. Reads plates, keepers and job numbers: three queries."""
    parts = [
        vehicle.number,
        vehicle.make,
        vehicle.model,
        vehicle.variant,
        str(vehicle.year or ""),
        vehicle.colour,
    ]
    if not vehicle._state.adding:
        for row in vehicle.registrations.all():
            parts += [row.plate, row.plate_key]
        parts += vehicle.keepers.values_list("keeper__name", flat=True)
        parts += [job.number for job in vehicle.jobs.all()]
    return " ".join(folded(part) for part in parts if part)


def refresh_search_text(vehicle: Vehicle) -> None:
    """Call inside every act that changes what a car is found by."""
    Vehicle.objects.filter(pk=vehicle.pk).update(search_text=search_text(vehicle))
