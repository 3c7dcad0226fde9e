"""Jobs in the search box: by their number, or by the part of it that was typed so far."""

from __future__ import annotations

import re

from django.db.models import Prefetch, Q

from jobs.models import Job
from vehicles.finding import Found, add_finder
from vehicles.models import Registration

_DIGITS = 4  # of a serial, filled up with zeros
_NUMBER = re.compile(r"(?:job\s+)?(?:(?P<year>\d{4})\s*[-/ ]\s*)?(?P<serial>\d{1,9})?", re.IGNORECASE)


def find_jobs(text: str, most: int) -> list[Found]:
    """“2026-0004”, “2026-00” while it is typed, or the serial alone. Two queries; none where it is no number."""
    asked = _NUMBER.fullmatch(text.strip())
    if not asked or not (asked["year"] or asked["serial"]):
        return []
    wanted = Q(year=asked["year"]) if asked["year"] else Q()
    if (serial := asked["serial"]) is not None:
        typed = Q(serial=int(serial))
        if asked["year"] and len(serial) < _DIGITS:
            # The first digits of a number that is filled up with zeros: 2026-00 is 1 to 99.
            room = 10 ** (_DIGITS - len(serial))
            typed |= Q(serial__gte=max(int(serial) * room, 1), serial__lt=(int(serial) + 1) * room)
        elif len(serial) == _DIGITS:
            typed |= Q(year=int(serial))
        wanted &= typed
    plates = Registration.objects.filter(until_on=None)
    rows = (
        Job.objects.filter(wanted)
        .select_related("vehicle")
        .prefetch_related(Prefetch("vehicle__registrations", plates))
        .order_by("-year", "-serial")[:most]
    )
    return [
        Found(
            title=job.title,
            url=job.get_absolute_url(),
            plain=job.number,
            detail=" · ".join(
                filter(None, (job.vehicle.current_plate(), job.vehicle.name, job.get_state_display()))
            ),
            past=job.is_closed,
        )
        for job in rows
    ]


add_finder(30, "Jobs", find_jobs)
