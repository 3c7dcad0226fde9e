"""Striking a record that was entered in error: inside the act of its subject."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from vehicles.models.struck import StruckOnce
from workshop.acting import note


def strike(record: StruckOnce, reason: str) -> Any:
    """Say once what is wrong with it: it stays in sight, struck out, and counts as nothing."""
    if not reason.strip():
        raise ValidationError({"reason": "Say what is wrong with it, and how you know."})
    row = type(record)._default_manager.select_for_update(no_key=True).get(pk=record.pk)
    if row.entered_in_error:
        raise ValidationError(f"It was struck already: {row.entered_in_error}")
    row.entered_in_error = reason.strip()
    row.full_clean(validate_constraints=False)
    row.save(update_fields=["entered_in_error"])
    note(row, vehicle=row.vehicle, facts={"entered_in_error": True}, words={"reason": reason.strip()})
    return row
