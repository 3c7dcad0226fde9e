"""One-time links on their way: their address, the message, and what happens where it could not be sent."""

from __future__ import annotations

import logging

from django.conf import settings
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from workshop import mail
from workshop.acting import By
from workshop.acts import passes as acts
from workshop.models import OneTimePass, Person, Shop
from workshop.permissions import Role

logger = logging.getLogger(__name__)

# A household may share an address: each of them gets a link. More than these is no household.
MOST_OF_ONE_ADDRESS = 4


def can_send() -> bool:
    """Whether links can go out by e-mail: a mail server is set, and the address that they would lead to is known."""
    return bool(settings.SITE_URL) and mail.configured()


def link(token: str, base: str = "") -> str:
    """The address of a one-time link. `base` stands in where the shop has not said under which address it is reached."""
    return f"{settings.SITE_URL or base}{reverse('workshop:pass', args=[token])}"


def send(one: OneTimePass, to: str) -> str:
    """Send a pass that was just issued: "" when the mail server took it, else the sentence for the desk."""
    shop, until = Shop.current().name, date_format(timezone.localtime(one.expires_at), "j F, H:i")
    return mail.send(
        to=to,
        subject=" ".join(f"Your car at {shop}: a link that lets you in".split()),
        text=f"With this link you read the history of your car at {shop}. It opens once, until {until}:\n\n"
        f"{link(one.token)}\n\n"
        "Open it on the device on which you want to read. There you stay signed in.\n"
        "Do not pass it on: whoever opens it first is let in in your place.\n\n"
        "If you did not ask for it, there is nothing you have to do.\n",
    )


def send_own(address: str) -> None:
    """Somebody asked for a link to this address: whoever it belongs to gets one. Says nothing of what it found."""
    wanted = Person.objects.with_roles().filter(
        email__iexact=address, is_active=True, roles_held__role=Role.VEHICLE_OWNER
    )
    for person in wanted[:MOST_OF_ONE_ADDRESS]:
        by = By(person)
        try:
            one = acts.ask_for_pass(by=by)
        except (ValidationError, PermissionDenied):
            continue  # one who works here, or whose access the workshop ended
        if refusal := send(one, person.email):
            logger.warning("a one-time link could not be sent: %s", refusal)
            acts.void_own_unsent(by=By(person), one=one)
