"""How often codes are typed and links asked for: counted by where it comes from, so that nobody tries them all.

Neither a network address nor an e-mail address is kept, only a keyed hash, and that goes with the first visit of
anybody after its time is over.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import salted_hmac

from workshop.models import SignInTry, TriedWith

LINK_WINDOW = timedelta(hours=1)
LINKS_PER_ADDRESS = 3
LINKS_PER_PLACE = 10


def code_window() -> timedelta:
    return timedelta(minutes=settings.SIGN_IN_LOCK_MINUTES)


def network_address(request: HttpRequest) -> str:
    """Where the request comes from. Behind a proxy: what that proxy itself wrote down, which is the last in the list."""
    if settings.SECURE_PROXY_SSL_HEADER:
        listed = request.headers.get("X-Forwarded-For", "")
        if last := listed.rpartition(",")[2].strip():
            return last
    return request.META.get("REMOTE_ADDR", "")


def place_of(address: str) -> str:
    """What of a network address is one household's: all of it in IPv4; in IPv6 the first 64 bits, as the rest is the
    device's to choose anew for every try (RFC 4291, section 2.5.4; RFC 8981).
    """
    try:
        found = ip_address(address.strip().partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, IPv6Address):
        return str(found.ipv4_mapped or ip_network((found, 64), strict=False))
    return str(found)


def _hashed(what: str, text: str) -> str:
    return salted_hmac(f"workshop.pass_tries.{what}", text, algorithm="sha256").hexdigest()[:40]


def _place(request: HttpRequest) -> str:
    return _hashed("place", place_of(network_address(request)))


def forget_old() -> None:
    """What no limit needs any more."""
    now = timezone.now()
    SignInTry.objects.filter(
        Q(what=TriedWith.CODE, at__lt=now - code_window()) | Q(what=TriedWith.LINK, at__lt=now - LINK_WINDOW)
    ).delete()


def count_code(request: HttpRequest) -> tuple[SignInTry, int]:
    """Write down that a code is tried, before it is looked at: (this try, how many are left after it).

    Raises ValidationError with a sentence when too many were tried from here.
    """
    forget_old()
    place = _place(request)
    row = SignInTry.objects.create(sign_in_name="", device_ref=place, what=TriedWith.CODE, at=timezone.now())
    # Counted with itself: of many at once none is forgotten, and rather one too many is refused than let through.
    tries = SignInTry.objects.filter(device_ref=place, what=TriedWith.CODE)
    count = tries.count()
    if count > settings.SIGN_IN_TRIES:
        row.delete()
        first = tries.order_by("at").values_list("at", flat=True).first() or row.at
        raise ValidationError(
            f"Too many codes were tried from here. Try again at {_clock(first + code_window())}, or open the link "
            "instead.",
            code="too_many",
        )
    return row, settings.SIGN_IN_TRIES - count


def count_link(request: HttpRequest, address: str) -> bool:
    """Write down that a link was asked for; False when this address had its share, so that nothing is sent.

    Raises ValidationError with a sentence when too many were asked for from here, whoever for.
    """
    forget_old()
    place, who = _place(request), _hashed("address", address.strip().casefold())
    row = SignInTry.objects.create(sign_in_name=who, device_ref=place, what=TriedWith.LINK, at=timezone.now())
    asked = SignInTry.objects.filter(what=TriedWith.LINK)
    from_here = asked.filter(device_ref=place)
    if from_here.count() > LINKS_PER_PLACE:
        row.delete()
        first = from_here.order_by("at").values_list("at", flat=True).first() or row.at
        raise ValidationError(
            f"Too many links were asked for from here. Try again at {_clock(first + LINK_WINDOW)}, or ask the workshop.",
            code="too_many",
        )
    return asked.filter(sign_in_name=who).count() <= LINKS_PER_ADDRESS


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment) + timedelta(minutes=1):%H:%M}"
