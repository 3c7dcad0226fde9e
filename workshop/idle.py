"""The lock of a tablet that passes from hand to hand: a session on it that nobody touched is refused until its PIN.

The page covers itself (`static/js/lock.js`); here the same is kept for a tablet whose script was stopped. What counts
as a touch is what a person does: opening a page, sending something, and the word that the script sends while
somebody types. Not what pages ask for by themselves (polls, pictures), nor what the tablet's queue sends.
"""

from __future__ import annotations

import time

from django.contrib import messages
from django.contrib.auth import REDIRECT_FIELD_NAME, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.deprecation import MiddlewareMixin
from django.utils.http import urlencode

from workshop.devices import device_of
from workshop.middleware import page_of
from workshop.models import Device

LOCKED = "locked"
TOUCHED = "touched"
# The script tells of a touch twice a minute at most, so the server waits a little longer than the page does.
GRACE = 60
# A session is written at most this often for touches alone.
WRITE_EVERY = 20


def is_locked(request: HttpRequest) -> bool:
    return bool(request.session.get(LOCKED))


def shared_tablet(request: HttpRequest) -> Device | None:
    """The enrolled tablet that this request comes from, where somebody is signed in on it and it is not locked."""
    person, device = getattr(request, "user", None), getattr(request, "device", None)
    if not (person and person.is_authenticated and device and device.pk and device.is_enrolled):
        return None
    return None if is_locked(request) else device_of(request)


def lock(request: HttpRequest) -> None:
    request.session[LOCKED] = True


def unlock(request: HttpRequest) -> None:
    request.session.pop(LOCKED, None)
    request.session[TOUCHED] = int(time.time())


def touch(request: HttpRequest) -> None:
    request.session[TOUCHED] = int(time.time())


def wants_page(request: HttpRequest) -> bool:
    """A browser that goes somewhere says that it takes a page; a script, a picture or a queue does not."""
    if "HX-Request" in request.headers or "X-Outbox" in request.headers:
        return False
    return "text/html" in request.headers.get("Accept", "text/html")


def is_touch(request: HttpRequest) -> bool:
    if "X-Outbox" in request.headers or "If-None-Match" in request.headers:
        return False
    return request.method != "GET" or wants_page(request) or "HX-Request" in request.headers


def refused(request: HttpRequest) -> HttpResponse:
    """423 for a script; the tablet's names for a page, and back here afterwards."""
    if not wants_page(request):
        return HttpResponse(
            "This tablet is locked. Its PIN opens it.",
            status=423,
            content_type="text/plain; charset=utf-8",
            headers={"X-Locked": "1"},
        )
    here = request.get_full_path()
    if request.method == "POST":
        messages.warning(
            request,
            "The tablet had locked itself, so nothing was saved. Type your PIN, and you come back to the form: what "
            "you typed is offered there again. Then send it once more.",
        )
        here = page_of(request, request.headers.get("Referer")) or "/"
    return redirect(f"{reverse('workshop:door')}?{urlencode({REDIRECT_FIELD_NAME: here})}")


class IdleLock(MiddlewareMixin):
    """After `AuthenticationMiddleware`, `device`, and the tablet's queue, which may let a request pass."""

    def process_view(self, request: HttpRequest, view, args, kwargs):
        if getattr(request, "granted", False) or not request.user.is_authenticated:
            return None
        device = device_of(request)
        enrolled = device is not None and device.is_enrolled
        if is_locked(request) and not enrolled and not getattr(view, "public", False):
            # The tablet is the shop's no more: no PIN opens this session.
            logout(request)
            return redirect("workshop:login")
        if not enrolled:
            return None
        if not is_locked(request):
            now = int(time.time())
            last = request.session.get(TOUCHED)
            if last is None:
                touch(request)
            elif now - last > device.lock_minutes * 60 + GRACE:
                lock(request)
            elif now - last >= WRITE_EVERY and is_touch(request):
                touch(request)
        if is_locked(request) and not getattr(view, "public", False):
            return refused(request)
        return None
