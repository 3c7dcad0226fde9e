"""What this tablet keeps and has not sent: a page that is the same for everybody, filled on the tablet itself."""

from __future__ import annotations

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_safe

from workshop.pages import public


@public
@require_safe
def waiting(request: HttpRequest) -> HttpResponse:
    """A mere shell: it holds nobody's name or words, so one copy of it serves everybody on the tablet."""
    return render(
        request,
        "workshop/waiting.html",
        {"user": AnonymousUser(), "nav": [], "messages": [], "saved_keys": [], "grant": "", "shared": None},
    )


@public
@require_safe
def token(request: HttpRequest) -> HttpResponse:
    """Gives the cookie without which nothing that was kept can be sent."""
    get_token(request)
    return HttpResponse(status=204, headers={"Cache-Control": "no-store"})


urlpatterns = [
    path("tablet/waiting/", waiting, name="waiting"),
    path("tablet/token/", token, name="token"),
]
