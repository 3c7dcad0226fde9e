"""Signing in: the backend that loads a person with their roles, and the lock after wrong passwords."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.contrib.auth.backends import BaseBackend
from django.utils import timezone

from workshop.copies import erasures
from workshop.models import Device, Person, SignInTry, TriedWith


class PersonBackend(BaseBackend):
    def authenticate(self, request, username=None, password=None, **_):
        if username is None or password is None:
            return None
        try:
            person = Person.objects.get_by_natural_key(username)
        except Person.DoesNotExist:
            # Take as long as for a known name, so that names can't be told apart by time.
            Person().set_password(password)
            return None
        return person if person.check_password(password) and person.is_active else None

    def get_user(self, user_id):
        # With what every page tells the device: no query of its own.
        people = Person.objects.with_roles().annotate(erasures=erasures())
        return people.filter(pk=user_id, is_active=True).first()


def _tries(sign_in_name: str, device: Device | None):
    since = timezone.now() - timedelta(minutes=settings.SIGN_IN_LOCK_MINUTES)
    return SignInTry.objects.filter(
        sign_in_name=sign_in_name.strip().casefold()[:60],
        device_ref=str(device.pk) if device else "",
        what=TriedWith.PASSWORD,
        at__gte=since,
    )


def is_locked(sign_in_name: str, device: Device | None) -> bool:
    """True after too many wrong passwords for this name on this device (or on devices not seen before)."""
    return _tries(sign_in_name, device).count() >= settings.SIGN_IN_TRIES


def count_wrong_try(sign_in_name: str, device: Device | None) -> None:
    SignInTry.objects.create(
        sign_in_name=sign_in_name.strip().casefold()[:60],
        device_ref=str(device.pk) if device else "",
        what=TriedWith.PASSWORD,
        at=timezone.now(),
    )


def forget_tries(sign_in_name: str, device: Device | None) -> None:
    _tries(sign_in_name, device).delete()
