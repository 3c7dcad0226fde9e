"""The keys of what was just saved: the next page names them, so that the device forgets what was typed for them."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

SESSION_KEY = "saved_keys"
AT_MOST = 20  # two or three are usual; whoever never opens another page must not fill the session


def remember_saved(request: HttpRequest, key: Any) -> None:
    """Called when an act was done under this key. A script is told by the header of the answer itself."""
    session = getattr(request, "session", None)
    if session is None or request.htmx:
        return
    session[SESSION_KEY] = [*session.get(SESSION_KEY, []), str(key)][-AT_MOST:]


def take_saved(request: HttpRequest) -> list[str]:
    """The keys saved since the last page, once. Called when a page names them, so that a part of a page does not
    take them away, nor a page that is only fetched to be kept as a copy.
    """
    session = getattr(request, "session", None)
    if session is None or not session.get(SESSION_KEY) or getattr(request, "for_copy", False):
        return []
    return session.pop(SESSION_KEY)
