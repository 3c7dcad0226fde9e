"""A tablet of the shop in the tests: enrolled, carried by a client, and people with PINs on it."""

from __future__ import annotations

from django.core.signing import get_cookie_signer
from django.utils import timezone

from workshop import pins
from workshop.middleware import DEVICE_COOKIE
from workshop.models import Device, Person

PIN = "493817"
OTHER_PIN = "206158"


def enrolled(lead: Person, name: str = "Bay 2") -> Device:
    return Device.objects.create(name=name, enrolled_at=timezone.now(), enrolled_by=lead)


def cookie_of(device: Device) -> str:
    """What the browser of this device carries, as `set_signed_cookie` writes it."""
    return get_cookie_signer(salt=f"{DEVICE_COOKIE}device").sign(str(device.pk))


def carry(client, device: Device) -> None:
    client.cookies[DEVICE_COOKIE] = cookie_of(device)


def give_pin(person: Person, pin: str = PIN) -> Person:
    person.pin = pins.hashed(pin)
    person.save(update_fields=["pin"])
    return person


def put_in_hand(page, person: Person, device: Device, url: str) -> None:
    """The browser holds this person's session, on this device."""
    from tests.browser.devices import sign_in

    sign_in(page, person, url)
    page.context.add_cookies([{"name": DEVICE_COOKIE, "value": cookie_of(device), "url": url}])
