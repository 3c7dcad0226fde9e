"""A calendar that any program subscribes to: RFC 5545, all-day events.

Lines end with CRLF and are folded at 75 octets, never inside a character (3.1); text is escaped (3.3.11). Nothing of
it depends on when it is asked for, so that an unchanged list is the same file, byte for byte.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

_NAMESPACE = UUID("6f0f2a3e-8d0c-4c6b-9f44-1f4f0f6c5545")
_LONGEST = 75


@dataclass(frozen=True)
class Event:
    """One day. `key` is the stable name its UID is made of (RFC 7986, 5.3: a UUID, that tells nobody's host)."""

    key: str
    day: date
    summary: str
    description: str
    url: str
    category: str
    sequence: int
    stamp: datetime


def calendar(name: str, events: Iterable[Event]) -> bytes:
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Witness Mark//Due list//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"NAME:{text(name)}",
        f"X-WR-CALNAME:{text(name)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT6H",
    ]
    for event in events:
        lines += _event(event)
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) for line in lines)


def _event(event: Event) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{uuid5(_NAMESPACE, event.key)}"
    yield f"DTSTAMP:{event.stamp.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART;VALUE=DATE:{_day(event.day)}"
    # The end is the first day that is no longer of it (3.6.1).
    if event.day < date.max:
        yield f"DTEND;VALUE=DATE:{_day(event.day + timedelta(1))}"
    yield f"SEQUENCE:{event.sequence}"
    yield f"SUMMARY:{text(event.summary)}"
    yield f"DESCRIPTION:{text(event.description)}"
    if event.url:
        yield f"URL:{event.url}"
    yield f"CATEGORIES:{text(event.category)}"
    yield "STATUS:CONFIRMED"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _day(day: date) -> str:
    return f"{day.year:04d}{day.month:02d}{day.day:02d}"


def text(value: str) -> str:
    """A value of type TEXT (3.3.11): backslash, semicolon, comma and line end escaped, controls left out."""
    value = value.replace("\r\n", "\n").replace("\r", "\n")
    value = "".join(char for char in value if char in "\n\t" or unicodedata.category(char) != "Cc")
    for plain, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        value = value.replace(plain, escaped)
    return value


def folded(line: str) -> bytes:
    """One content line in pieces of at most 75 octets, its CRLF included in none of them."""
    pieces, piece = [], b""
    for char in line:
        octets = char.encode("utf-8", "replace")
        # The pieces after the first begin with the blank that marks them.
        if len(piece) + len(octets) > _LONGEST - bool(pieces):
            pieces.append(piece)
            piece = b""
        piece += octets
    return b"\r\n ".join([*pieces, piece]) + b"\r\n"
