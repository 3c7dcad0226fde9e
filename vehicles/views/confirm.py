"""Is this paper the one that was issued? To anybody who holds its code; nothing of the car, nothing of people."""

from __future__ import annotations

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.crypto import salted_hmac
from django.views.decorators.http import require_safe

from vehicles import issuing
from workshop.pages import public
from workshop.pass_tries import network_address

# Codes have 128 bits: nobody guesses one. This only keeps who tries from being work for the server.
UNKNOWN, WITHIN = 60, 600  # so many unknown codes from one place in so many seconds


@public
@require_safe
def confirm(request: HttpRequest, token: str) -> HttpResponse:
    """Says number, revision and hashes of a handover sheet or a numbered print. Every code that was not issued here
    gets one and the same answer, whatever it looks like. Two queries for a code, one more for each kind of paper."""
    place = f"confirm-{salted_hmac('vehicles.confirm', network_address(request)).hexdigest()[:32]}"
    tried = cache.get(place, 0)
    if tried >= UNKNOWN:
        return _answer(request, "vehicles/confirm_later.html", {}, 429)
    found = issuing.confirmed(token)
    if found is None:
        cache.set(place, tried + 1, WITHIN)
    return _answer(request, "vehicles/confirm.html", {"found": found}, 200 if found else 404)


def _answer(request: HttpRequest, template: str, page: dict, status: int) -> HttpResponse:
    response = render(request, template, page, status=status)
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Robots-Tag"] = "noindex, nofollow"
    response.headers["Referrer-Policy"] = "no-referrer"
    return response


urlpatterns = [path("confirm/<str:token>/", confirm, name="confirm")]
