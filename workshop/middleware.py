"""What every request passes: content security policy, device, declared permission, refusals in words."""

from __future__ import annotations

import logging
from urllib.parse import urlsplit
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import REDIRECT_FIELD_NAME
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.db import OperationalError
from django.http import HttpResponse
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import render, resolve_url
from django.urls import reverse
from django.utils.deprecation import MiddlewareMixin
from django.utils.functional import SimpleLazyObject
from django.utils.http import url_has_allowed_host_and_scheme, urlencode

from workshop.models import Device
from workshop.permissions import May, require

logger = logging.getLogger(__name__)

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)
DEVICE_COOKIE = "device"
DEVICE_COOKIE_AGE = 5 * 365 * 24 * 3600


def content_security_policy(get_response):
    def middleware(request):
        response = get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        return response

    return middleware


class SignedIn(LoginRequiredMiddleware):
    """Signed-in by default. A script's request gets 401 and the way to sign in, not a page in place of its part."""

    def handle_no_permission(self, request, view_func):
        if "HX-Request" in request.headers or "X-Outbox" in request.headers:
            here = page_of(request, request.headers.get("HX-Current-URL")) or request.path
            address = f"{way_in(request)}?{urlencode({REDIRECT_FIELD_NAME: here})}"
            return HttpResponse(status=401, headers={"HX-Redirect": address})
        if request.method == "POST":
            messages.warning(
                request,
                "You had been signed out, so nothing was saved. Sign in, and you come back to the form: what you "
                "typed is offered there again, or is still in it one page further back. Then send it again.",
            )
            # The address of an act may show no form: the one that held it does.
            here = page_of(request, request.headers.get("Referer")) or request.get_full_path()
            return redirect_to_login(here, way_in(request))
        return redirect_to_login(request.get_full_path(), way_in(request))


def way_in(request) -> str:
    """Where one signs in: on the shop's own tablet by tapping a name, elsewhere with name and password."""
    device = getattr(request, "device", None)
    return reverse("workshop:door") if device and device.enrolled_at else resolve_url(settings.LOGIN_URL)


def page_of(request, address: str | None) -> str:
    """Path and query of the page that a request came from; empty where that is not ours, or the door itself."""
    if not address or not url_has_allowed_host_and_scheme(address, {request.get_host()}):
        return ""
    parts = urlsplit(address)
    doors = (reverse("workshop:login"), reverse("workshop:logout"), door := reverse("workshop:door"))
    if not parts.path.startswith("/") or parts.path in doors or parts.path.startswith(f"{door}in/"):
        return ""
    return f"{parts.path}?{parts.query}" if parts.query else parts.path


class CompressedText(GZipMiddleware):
    """Pages and other text are sent compressed; photos and PDFs are so already.

    A page holds secrets (the token of its forms) beside what an address brought in, which is what the BREACH attack
    measures through a compressed answer's length. Here every answer bears a new mask over the token, Django's
    middleware adds up to 100 random bytes ("Heal The Breach"), and no other site's page can have a signed-in page
    fetched: the session's cookie is SameSite=Lax, and no page can be framed. The mark of a live page becomes a weak
    one, which `live.still_so` reads as well.
    """

    TEXT = (
        "text/",
        "application/json",
        "application/javascript",
        "application/manifest+json",
        "image/svg+xml",
    )

    def process_response(self, request, response):
        if response.streaming or not response.get("Content-Type", "").startswith(self.TEXT):
            return response
        return super().process_response(request, response)


def no_nul(get_response):
    """A NUL in the address is nobody's typing, and PostgreSQL refuses it anywhere: answered before any view."""

    def middleware(request):
        if (
            "\x00" in request.path
            or "%00" in request.META.get("QUERY_STRING", "")
            or "\x00" in request.META.get("QUERY_STRING", "")
        ):
            return render(
                request, "400.html", {"messages_to_show": ["This address can't be read."]}, status=400
            )
        return get_response(request)

    return middleware


def device(get_response):
    """`request.device`: the enrolled browser, or None. Read from a signed cookie, looked up when first used."""

    def find(request):
        text = request.get_signed_cookie(DEVICE_COOKIE, default="", salt="device")
        try:
            return Device.objects.filter(pk=UUID(text)).first() if text else None
        except ValueError:
            return None

    def middleware(request):
        request.device = SimpleLazyObject(lambda: find(request))
        return get_response(request)

    return middleware


class DeclaredPermission(MiddlewareMixin):
    """Every view declares who may open it (`@may(May.…)` or `@public`); one that declares nothing is a mistake."""

    def process_view(self, request, view_func, view_args, view_kwargs):
        if getattr(view_func, "public", False):
            return
        if request.resolver_match.app_name == "admin":
            # The emergency pages are not ours to mark; they are here only where the server was told to have them.
            if request.user.is_authenticated:
                require(request.user, May.EMERGENCY)
            return
        what = getattr(view_func, "may", None)
        if what is None:
            if view_func.__module__.startswith(("django.views.static", "django.contrib.staticfiles")):
                return
            raise ImproperlyConfigured(f"{view_func.__module__}.{view_func.__name__} declares no permission")
        if request.user.is_authenticated:
            require(request.user, what)


class Refusals(MiddlewareMixin):
    """An act's refusal that no form caught is a page in words, and a busy database asks to try again."""

    def process_exception(self, request, exception):
        if isinstance(exception, ValidationError):
            return render(request, "400.html", {"messages_to_show": exception.messages}, status=400)
        if isinstance(exception, OperationalError) and "locked" in str(exception):
            logger.warning("database busy at %s", request.path)
            sentence = (
                "The database was busy for ten seconds. Nothing was saved: go back and send the form again."
            )
            return render(request, "400.html", {"messages_to_show": [sentence]}, status=503)
        return None
