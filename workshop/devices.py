"""The device of a request: the browser in somebody's hands, taken on when somebody signs in on it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from workshop.acts.devices import SESSION_DEVICE
from workshop.middleware import DEVICE_COOKIE, DEVICE_COOKIE_AGE
from workshop.models import Device


def device_of(request: HttpRequest) -> Device | None:
    device = request.device
    return device if device and device.pk else None


def take_on(request: HttpRequest, whose: str = "") -> Device:
    """The device, made when this browser has none yet. `remember` puts it into the answer. `whose` begins its name."""
    if (device := device_of(request)) is None:
        device = request.device = Device.objects.create(name=_name_for(request, whose))
    # By this a revoked device's sessions are found and ended.
    request.session[SESSION_DEVICE] = str(device.pk)
    return device


def remember(request: HttpRequest, response: HttpResponse, device: Device) -> HttpResponse:
    response.set_signed_cookie(
        DEVICE_COOKIE,
        str(device.pk),
        salt="device",
        max_age=DEVICE_COOKIE_AGE,
        httponly=True,
        samesite="Lax",
        secure=request.is_secure(),
    )
    return response


def _name_for(request: HttpRequest, whose: str) -> str:
    """A name that somebody can tell the device by, until they give it a better one."""
    agent = request.headers.get("User-Agent", "")
    kind = "Tablet or telephone" if "Mobile" in agent or "Tablet" in agent else "Desk computer"
    kind = f"{whose} {kind.lower()}" if whose else kind
    alike = Device.objects.filter(name__startswith=kind).count()
    return f"{kind} {alike + 1}" if alike else kind
