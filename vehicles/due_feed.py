"""The due list as a calendar that programs subscribe to, each at a private address of its person.

They ask again every hour or so. The event log's head says whether anything was written at all since: an unchanged
calendar is answered 304 after two queries. Nothing in it depends on the day on which it is asked for.
"""

from __future__ import annotations

from hashlib import sha256

from django.conf import settings
from django.utils.crypto import salted_hmac
from django.utils.http import parse_etags

from vehicles.calendar import Event, calendar
from vehicles.due import Due, for_person
from vehicles.models import FeedAddress
from workshop import log
from workshop.models import Shop
from workshop.permissions import May
from workshop.tokens import token_hash


def address_of(token: str) -> FeedAddress | None:
    """The address that still holds, with its person: one query. None for whatever else: nobody learns why."""
    wanted = token_hash(token)
    if not wanted:
        return None
    return (
        FeedAddress.objects.filter(token_hash=wanted, revoked_at=None, person__is_active=True)
        .select_related("person")
        .first()
    )


def mark_of(address: FeedAddress) -> str:
    """Stands for all that was written until now, and tells nobody how much that is. Take it before anything is read."""
    about = f"{address.pk}:{log.current_head().hash}"
    return salted_hmac("vehicles.due_feed", about, algorithm="sha256").hexdigest()[:24]


def etag(mark: str, body: bytes) -> str:
    return f'"{mark}.{sha256(body).hexdigest()[:24]}"'


def matching(asked: str, mark: str = "", body: bytes | None = None) -> str:
    """Which of the ETags that the program has (If-None-Match) is still good: by the mark, or by the content; else "".

    A proxy that compresses makes an ETag weak: those compare alike here (RFC 9110, 8.8.3.2).
    """
    wanted = mark if body is None else sha256(body).hexdigest()[:24]
    for tag in parse_etags(asked):
        parts = tag.removeprefix("W/").strip('"').split(".")
        if len(parts) == 2 and parts[0 if body is None else 1] == wanted:
            return tag
    return ""


def feed_of(address: FeedAddress) -> bytes:
    """The calendar of an address: staff get the shop's, a car's owner that of their own cars."""
    person = address.person
    rows = for_person(person) if person.may(May.OWN_DUE) else []
    name = f"Due · {Shop.current().name}" if person.is_staff_member else "Due · your cars"
    return calendar(name, [event_of(due) for due in rows if due.reckoned is not None])


def event_of(due: Due) -> Event:
    said = [
        due.words,
        due.severity.capitalize(),
        due.why,
        f"{settings.SITE_URL}{due.url}" if settings.SITE_URL else "",
    ]
    return Event(
        key=due.key,
        day=due.reckoned.day,
        summary=f"{due.title} · {due.whose}",
        description="\n".join(filter(None, said)),
        url=f"{settings.SITE_URL}{due.url}" if settings.SITE_URL else "",
        category=due.kind.label,
        sequence=due.sequence,
        stamp=due.stamp,
    )
