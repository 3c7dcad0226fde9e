"""Keeping the result of a calculator with what it is about. It is worked out again here, on the server."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Model

from vehicles.calculations import Value, given_of, known_of
from vehicles.models import Calculation, Fault, FittedPart, Survey, Vehicle
from workshop.acting import By, act, create, note
from workshop.canonical import canonical, sha256
from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import find
from workshop.engineering.declare import InputErrors
from workshop.engineering.result import Result
from workshop.permissions import May


@act(May.KEEP_RESULT)
def keep_result(
    *,
    by: By,
    vehicle: Vehicle,
    calculator: str,
    inputs: dict[str, Value],
    line: Model | None = None,
    fault: Fault | None = None,
    part: FittedPart | None = None,
    survey: Survey | None = None,
    said: str = "",
    seen: str = "",
) -> Calculation:
    """Work a calculator out and keep its result with the car, or with one thing of it.

    `inputs` are amounts, tuples of amounts or texts by the calculator's names; what equals the car's record is said
    to come from it. `seen` is the digest of the result that was looked at: another one is not kept in its stead.
    """
    vehicle = Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    given = {"line": line, "fault": fault, "part": part, "survey": survey}
    subject = {name: row for name, row in given.items() if row is not None}
    _refuse_subject(vehicle, subject)
    chosen = find(calculator)
    if chosen is None:
        raise ValidationError("There is no such calculator any more.", code="no_calculator")
    known = known_of(vehicle, part).of(chosen)
    try:
        result = calculate(chosen, given_of(inputs, known))
    except InputErrors as refused:
        raise ValidationError(
            {name or "__all__": sentence for name, sentence in refused.errors.items()}
        ) from refused
    record, digest = frozen(result)
    if seen and seen != digest:
        raise ValidationError(
            "What is on record of the car, or the formula, changed since this result was shown. Nothing was kept. The "
            "result as it is now stands above: look at it, then keep that one.",
            code="another_result",
        )
    row = create(
        Calculation(
            **by.stamp(),
            **subject,
            vehicle=vehicle,
            calculator=chosen.slug,
            formula_version=chosen.version,
            record=record,
            digest=digest,
            said=said.strip(),
        )
    )
    facts = {"calculator": chosen.slug, "version": chosen.version, "digest": digest, **subject}
    note(row, vehicle=vehicle, job=getattr(line, "job", None), facts=facts, words={"said": row.said})
    return row


@act(May.KEEP_RESULT)
def set_aside(*, by: By, calculation: Calculation, reason: str) -> Calculation:
    """Say that a result was kept in error: it stays to be seen, crossed out, and is printed no more."""
    Vehicle.objects.select_for_update(no_key=True).get(pk=calculation.vehicle_id)
    row = Calculation.objects.select_for_update(no_key=True, of=("self",)).get(pk=calculation.pk)
    if row.entered_in_error:
        raise ValidationError("This was set aside already.", code="set_aside_already")
    if not reason.strip():
        raise ValidationError({"reason": "Say why this was kept in error."})
    row.entered_in_error = reason.strip()
    row.full_clean()
    row.save(update_fields=["entered_in_error"])
    note(
        row,
        vehicle=row.vehicle_id,
        job=row.line.job if row.line_id else None,
        facts={"entered_in_error": True},
        words={"reason": row.entered_in_error},
    )
    return row


def frozen(result: Result) -> tuple[str, str]:
    """The record of a result as the text that is kept, and its digest."""
    record = canonical(result.record())
    return record, sha256(record)


def _refuse_subject(vehicle: Vehicle, subject: dict[str, Any]) -> None:
    if len(subject) > 1:
        raise ValidationError("A result is kept with one thing: a work line, a fault, a part or a survey.")
    for name, row in subject.items():
        # As it stands now that the car is locked: a job may have been closed meanwhile.
        row.refresh_from_db()
        owner = row.job.vehicle_id if name == "line" else row.vehicle_id
        if owner != vehicle.pk:
            raise ValidationError("That is of another car. Open the calculator from this car's own page.")
        if name == "line" and row.job.is_closed:
            raise ValidationError(
                f"Job {row.job.number} is closed: its lines stand as they are. Keep the result with the car, or with "
                "the line of an open job."
            )
        if name == "part" and row.entered_in_error:
            raise ValidationError(f"{row} was entered in error: keep the result with the part that counts.")
