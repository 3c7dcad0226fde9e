"""Pages that stay up to date by themselves ask again with the mark of what they show.

The event log's head says whether anything was written at all, so an unchanged page costs one small query and 304:
`still_so` answers it before the session and the person are read.
"""

from __future__ import annotations

import json
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac

from workshop import log
from workshop.middleware import DEVICE_COOKIE

BEGINS = '"live-'


def mark(request: HttpRequest, url: str) -> str:
    """The ETag of what `url` (path and query) shows to the one who asks now.

    Take it before anything is read: a mark that is too old only makes the next poll answer in full.

    It is an HMAC, as it stands in for session and person while nothing changes: over the log's head, the session's and
    the device's cookies and the address, so no other browser's mark and no other page's will do, and none can be made
    up. Signing in makes a new session, so a session is one person's. A device shut out, a person who left, other
    roles: each is an event, moves the head, and the next poll is answered by the rules. The quarter of an hour is in
    it because a promise may be overdue by now, and a session that simply ended is noticed by then.
    """
    about = [
        log.current_head().hash,
        request.COOKIES.get(settings.SESSION_COOKIE_NAME, ""),
        request.COOKIES.get(DEVICE_COOKIE, ""),
        url,
        int(timezone.now().timestamp() // 900),
    ]
    return f'{BEGINS}{salted_hmac("workshop.live", json.dumps(about), algorithm="sha256").hexdigest()[:40]}"'


def with_mark(response: HttpResponse, mark: str) -> HttpResponse:
    """The answer to a poll, with the mark that the next one brings."""
    response.headers["ETag"] = mark
    return response


def still_so(get_response: Callable[[HttpRequest], HttpResponse]):
    """Middleware: 304 after exactly one query while the mark that a poll brings still stands."""

    def middleware(request: HttpRequest) -> HttpResponse:
        # Compression on the way made the mark a weak one.
        sent = request.headers.get("If-None-Match", "").removeprefix("W/")
        if (
            sent.startswith(BEGINS)
            and request.method == "GET"
            and request.COOKIES.get(settings.SESSION_COOKIE_NAME)
            and constant_time_compare(sent, mark(request, request.get_full_path()))
        ):
            return HttpResponseNotModified(
                headers={"ETag": sent, "Cache-Control": "private, no-cache", "Vary": "Cookie"}
            )
        return get_response(request)

    return middleware
