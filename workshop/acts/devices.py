"""Acts on the browsers that people sign in on: a name to tell them by, enrolled as the shop's own, revoked when lost."""

from __future__ import annotations

from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from workshop.acting import By, act, note
from workshop.models import Device
from workshop.permissions import May

# Under this name a session holds the device that it was begun on.
SESSION_DEVICE = "device"


def _locked(device: Device) -> Device:
    return Device.objects.select_for_update(no_key=True).get(pk=device.pk)


def _free_name(name: str, row: Device) -> str:
    name = " ".join(name.split())
    if not name:
        raise ValidationError({"name": "Give it a name by which people know it."})
    other = Device.objects.filter(name__iexact=name, revoked_at=None).exclude(pk=row.pk).first()
    if other is not None:
        raise ValidationError(
            {"name": f"Another device is called “{other.name}” already. Choose another name."}
        )
    return name


@act(May.REVOKE_DEVICE)
def rename_device(*, by: By, device: Device, name: str) -> Device:
    """Give a device the name by which people know it, such as “tablet, bay two”."""
    row = _locked(device)
    name = _free_name(name, row)
    was, row.name = row.name, name
    row.full_clean()
    row.save(update_fields=["name"])
    note(row, words={"name": [was, name]})
    return row


@act(May.REVOKE_DEVICE)
def enrol_tablet(*, by: By, device: Device, name: str, lock_minutes: int) -> Device:
    """The device in hand is the shop's: it passes from hand to hand, and people tap their name and a PIN on it.

    `lock_minutes` (1 to 60): how long it may lie untouched before it locks itself.
    """
    if by.device is None or by.device.pk != device.pk:
        raise ValidationError("A tablet is enrolled on itself: sign in on it, and open this page there.")
    row = _locked(device)
    if row.enrolled_at is not None:
        raise ValidationError(f"“{row.name}” is enrolled already.")
    was, row.name = row.name, _free_name(name, row)
    row.enrolled_at, row.enrolled_by, row.lock_minutes = by.received_at, by.person, lock_minutes
    row.full_clean()
    row.save(update_fields=["name", "enrolled_at", "enrolled_by", "lock_minutes"])
    note(row, facts={"lock_minutes": lock_minutes}, words={"name": [was, row.name]})
    return row


@act(May.REVOKE_DEVICE)
def set_lock_minutes(*, by: By, device: Device, lock_minutes: int) -> Device:
    """How long an enrolled tablet may lie untouched before it locks itself: 1 to 60 minutes."""
    row = _locked(device)
    if row.enrolled_at is None:
        raise ValidationError("Only an enrolled tablet locks itself.")
    was, row.lock_minutes = row.lock_minutes, lock_minutes
    row.full_clean()
    row.save(update_fields=["lock_minutes"])
    note(row, facts={"lock_minutes": [was, lock_minutes]})
    return row


@act(May.REVOKE_DEVICE)
def end_enrolment(*, by: By, device: Device) -> Device:
    """It is the shop's tablet no more: PINs count on it no longer, and whoever was signed in on it is signed out."""
    row = _locked(device)
    if row.enrolled_at is None:
        raise ValidationError("It is not enrolled.")
    row.enrolled_at = row.enrolled_by = None
    row.save(update_fields=["enrolled_at", "enrolled_by"])
    in_hand = by.device is not None and by.device.pk == row.pk
    note(row, facts={"sessions_ended": 0 if in_hand else _end_sessions(row)}, words={"name": row.name})
    return row


@act(May.REVOKE_DEVICE)
def revoke_device(*, by: By, device: Device, reason: str) -> Device:
    """Lost, stolen or sold: its sessions end now, its acts are refused, and nobody signs in on it."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why: lost, stolen, sold, or whose it was."})
    row = _locked(device)
    if row.revoked_at is not None:
        raise ValidationError(
            f"It was revoked already on {date_format(timezone.localtime(row.revoked_at))}: {row.revoked_because}"
        )
    if by.device is not None and by.device.pk == row.pk:
        raise ValidationError(
            "This is the device in your hands. Revoke it from another one, or you could not undo a mistake."
        )
    row.revoked_at, row.revoked_because = by.received_at, reason.strip()
    row.save(update_fields=["revoked_at", "revoked_because"])
    ended = _end_sessions(row)
    note(row, facts={"sessions_ended": ended}, words={"name": row.name, "reason": row.revoked_because})
    return row


@act(May.REVOKE_DEVICE)
def readmit_device(*, by: By, device: Device, reason: str) -> Device:
    """A revoked device was found again: people may sign in on it."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is let in again."})
    row = _locked(device)
    if row.revoked_at is None:
        raise ValidationError("It is not revoked.")
    row.revoked_at, row.revoked_because = None, ""
    row.save(update_fields=["revoked_at", "revoked_because"])
    note(row, words={"name": row.name, "reason": reason.strip()})
    return row


def _end_sessions(device: Device) -> int:
    """A shop has tens of sessions, not thousands: each is opened to see where it was begun."""
    mine = [
        session.pk
        for session in Session.objects.filter(expire_date__gte=timezone.now()).iterator(chunk_size=200)
        if session.get_decoded().get(SESSION_DEVICE) == str(device.pk)
    ]
    return Session.objects.filter(pk__in=mine).delete()[0]
