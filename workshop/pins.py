"""PINs: six digits by which somebody says, on a tablet that passes from hand to hand, that it is they.

A PIN is worth little by itself (a million of them): it counts only on a device that the shop enrolled, and five
wrong ones lock the name on that device. Every try is written down before it is looked at, so that neither two tries
at once nor a form that comes back take one off the count.
"""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac

from workshop import log
from workshop.acting import By
from workshop.models import Device, Person, PinLock, SignInTry, TriedWith

DIGITS = 6
_LEFT = {1: "One more try", 2: "Two more tries", 3: "Three more tries", 4: "Four more tries"}


def has_pin(person: Person) -> bool:
    return bool(person.pin)


def tidy(pin: str) -> str:
    """What was typed, without the spaces that somebody puts between threes."""
    return "".join((pin or "").split())


def refuse_weak(pin: str) -> None:
    """A new PIN: six digits, and none of those that are tried first. Says in words what is wrong with it."""
    pin = tidy(pin)
    if len(pin) != DIGITS or not (pin.isascii() and pin.isdigit()):
        raise ValidationError(f"A PIN has six digits. This has {_what_it_has(pin)}.", code="weak_pin")
    if len(set(pin)) == 1:
        raise ValidationError("Six times the same digit is guessed first. Take another PIN.", code="weak_pin")
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    if steps in ({1}, {9}):
        raise ValidationError(
            "Digits that run up or down one by one are guessed first. Take another PIN.", code="weak_pin"
        )


def _what_it_has(pin: str) -> str:
    if not (pin.isascii() and pin.isdigit()) and pin:
        return "something else in it"
    return {0: "none", 1: "one"}.get(len(pin), str(len(pin)))


def hashed(pin: str) -> str:
    """The hash to be kept, made as a password's is (Argon2 in a shop)."""
    return make_password(tidy(pin))


def mark(person: Person) -> str:
    """Changes when the PIN does, and tells nothing of it: by this a tablet knows that what it keeps is out of date."""
    return salted_hmac("workshop.pin", person.pin, algorithm="sha256").hexdigest()[:16] if person.pin else ""


def locked_until(person: Person, device: Device | None):
    """The moment until which this name is locked on this device, or None. One query."""
    return (
        PinLock.objects.filter(person=person, device=device, locked_until__gt=timezone.now())
        .order_by("-locked_until")
        .values_list("locked_until", flat=True)
        .first()
    )


def check(person: Person, pin: str, device: Device | None) -> None:
    """Refuse in words unless this is the person's PIN. The fifth wrong one locks this name on this device.

    Raises ValidationError with a sentence; its code is "no_pin", "wrong_pin", "pin_locked" or "revoked".
    Called before an act, never inside one or any other transaction (RuntimeError): the count has to outlive it.
    """
    device = device if device is not None and device.pk else None
    pin = tidy(pin)
    if device is not None and device.revoked_at is not None:
        raise ValidationError("This device was revoked. Ask the lead to let it in again.", code="revoked")
    if not person.is_active:
        raise ValidationError(f"{person} may no longer sign in.", code="no_pin")
    if not has_pin(person):
        make_password(pin)  # as long as a check takes, or a little longer
        raise ValidationError(
            f"{person} has no PIN yet: one is chosen on the tablet, with name and password.", code="no_pin"
        )
    if len(pin) != DIGITS or not (pin.isascii() and pin.isdigit()):
        raise ValidationError("A PIN has six digits. Type all six.", code="wrong_pin")
    number, left = _write_down(person, device)
    if check_password(pin, person.pin):
        forget_tries(person, device)
        return
    if left > 0:
        raise ValidationError(
            f"Wrong PIN. {_LEFT.get(left, f'{left} more tries')}, then {person} waits "
            f"{settings.SIGN_IN_LOCK_MINUTES} minutes {_on(device)}.",
            code="wrong_pin",
        )
    until = _lock(person, device, number)
    raise ValidationError(
        f"Wrong PIN, for the {_nth(number)} time. {_locked_words(person, device, until)} The lead is told.",
        code="pin_locked",
    )


def _nth(number: int) -> str:
    return {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth"}.get(number, f"{number}th")


def _on(device: Device | None) -> str:
    if device is None:
        return "in this browser"
    return "on this tablet" if device.is_enrolled else "on this device"


def _locked_words(person: Person, device: Device | None, until) -> str:
    return f"{person} is locked {_on(device)} until {timezone.localtime(until):%H:%M}; elsewhere the name is free."


def _tries(person: Person, device: Device | None):
    return SignInTry.objects.filter(
        sign_in_name=person.sign_in_name,
        device_ref=str(device.pk) if device else "",
        what=TriedWith.PIN,
    )


def _write_down(person: Person, device: Device | None) -> tuple[int, int]:
    """Count this try before it is looked at: (which one it is, how many are left after it).

    `durable`: inside another transaction this is a mistake of ours and says so, before anybody relies on it.
    """
    now = timezone.now()
    with transaction.atomic(durable=True):
        # One after the other: of ten at once five are looked at.
        Person.objects.select_for_update(no_key=True).only("pk").get(pk=person.pk)
        until = locked_until(person, device)
        since = now - timedelta(minutes=settings.SIGN_IN_LOCK_MINUTES)
        before = _tries(person, device).filter(at__gte=since).count()
        refused = until is not None or before >= settings.SIGN_IN_TRIES
        if not refused:
            _tries(person, device).filter(at__lt=since).delete()
            SignInTry.objects.create(
                sign_in_name=person.sign_in_name,
                device_ref=str(device.pk) if device else "",
                what=TriedWith.PIN,
                at=now,
            )
    if refused:
        until = until or now + timedelta(minutes=settings.SIGN_IN_LOCK_MINUTES)
        raise ValidationError(
            f"{_locked_words(person, device, until)} Wait, or ask the lead.", code="pin_locked"
        )
    return before + 1, settings.SIGN_IN_TRIES - before - 1


def _lock(person: Person, device: Device | None, number: int):
    """Write down that the name is locked here, for the lead to be told.

    It stands in the log too, so that the leads' open floors, which ask whether anything was written, hear of it.
    """
    now = timezone.now()
    until = now + timedelta(minutes=settings.SIGN_IN_LOCK_MINUTES)
    with transaction.atomic(durable=True):
        row = PinLock.objects.create(
            person=person, device=device, locked_at=now, locked_until=until, count=number
        )
        entry = log.Entry(
            act="workshop.pins.name_locked_after_wrong_pins",
            subject_kind=row._meta.label_lower,
            subject_id=str(row.pk),
            facts={"wrong_pins": number, "until": until},
        )
        log.append(By(person, device=device), [entry])
    return until


def forget_tries(person: Person, device: Device | None) -> None:
    """The right PIN: what was typed wrong before it counts no more."""
    _tries(person, device).delete()


def lift(person: Person, device: Device | None = None) -> None:
    """Who they are was shown otherwise (by the password): their locks and tries end, on one device or on all."""
    now = timezone.now()
    locks = PinLock.objects.filter(person=person, locked_until__gt=now)
    tries = SignInTry.objects.filter(sign_in_name=person.sign_in_name, what=TriedWith.PIN)
    if device is not None:
        locks, tries = locks.filter(device=device), tries.filter(device_ref=str(device.pk))
    locks.update(locked_until=now)
    tries.delete()
