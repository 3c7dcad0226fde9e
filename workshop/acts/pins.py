"""Acts on PINs: chosen by the person alone, cleared by the shop owner, and a lead who has seen that one was locked.

No act is given the PIN that stands; who they are is looked at before (`workshop.pins.check`).
"""

from __future__ import annotations

from django.core.exceptions import ValidationError

from workshop import pins
from workshop.acting import By, act, note
from workshop.models import Person, PinLock
from workshop.permissions import May


@act(May.SEE_SHOP)
def set_pin(*, by: By, pin: str) -> Person:
    """Choose one's own PIN. Whoever calls this has looked at the password or at the PIN before.

    The log says that it was chosen, never what. Wrong tries at the old one count no more.
    """
    try:
        pins.refuse_weak(pin)
    except ValidationError as refusal:
        raise ValidationError({"pin": refusal.messages}) from refusal
    row = Person.objects.select_for_update(no_key=True).get(pk=by.person.pk)
    had_one = pins.has_pin(row)
    row.pin = pins.hashed(pin)
    row.save(update_fields=["pin"])
    by.person.pin = row.pin
    pins.lift(row)
    note(row, facts={"had_one": had_one})
    return row


@act(May.EDIT_PEOPLE)
def clear_pin(*, by: By, person: Person) -> Person:
    """Take somebody's PIN away: they choose another with their password. Nobody sets or sees another's PIN."""
    row = Person.objects.select_for_update(no_key=True).get(pk=person.pk)
    if not pins.has_pin(row):
        raise ValidationError(f"{row} has no PIN.")
    row.pin = ""
    row.save(update_fields=["pin"])
    pins.lift(row)
    note(row)
    return row


@act(May.REVOKE_DEVICE)
def acknowledge_pin_lock(*, by: By, lock: PinLock) -> PinLock:
    """A lead has seen that a name was locked on a tablet after wrong PINs. The lock itself runs out by its time."""
    row = PinLock.objects.select_for_update(no_key=True).get(pk=lock.pk)
    if row.told_at is not None:
        raise ValidationError("Somebody else has seen this already.")
    row.told_to, row.told_at = by.person, by.received_at
    row.save(update_fields=["told_to", "told_at"])
    note(row, facts={"person": str(row.person_id), "device": str(row.device_id or ""), "count": row.count})
    return row
