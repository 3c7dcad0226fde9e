"""The page that walks a person through trusting the shop's own certificate. Open to all, and over plain http too."""

from __future__ import annotations

from cryptography.hazmat.primitives.serialization import Encoding
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.safestring import mark_safe

from workshop import sheets, trust
from workshop.pages import public


@public
def page(request: HttpRequest) -> HttpResponse:
    state = trust.look() if settings.LOCAL_TLS else None
    if state is None or state.trusted is None:
        context = {
            "encrypted": request.is_secure(),
            "elsewhere": settings.SITE_URL if settings.SITE_URL.startswith("https:") else "",
            "problem": state.problem if state else "",
        }
        return render(request, "workshop/trust_off.html", context)
    trust_page = f"{trust.plain_address()}{request.path}"
    context = {
        "state": state,
        "address": trust.over_tls()[0],
        "further": trust.over_tls()[1:],
        "trust_page": trust_page,
        "trust_qr": _qr(trust_page, "Code that leads to this page"),
        "shop_qr": _qr(trust.over_tls()[0], "Code that leads to the shop's encrypted address"),
        "encrypted": request.is_secure(),
        "try_it": f"{trust.https_address(request.get_host())}{request.path}#trusted",
    }
    return render(request, "workshop/trust.html", context)


def _qr(address: str, title: str) -> str:
    return mark_safe(sheets.qr_code(address, title, border=4))  # ISO/IEC 18004: four modules of quiet zone


@public
def certificate(request: HttpRequest) -> HttpResponse:
    """As most devices take it: DER, under the type that makes one offer to install it."""
    return _download(Encoding.DER, "application/x-x509-ca-cert", "workshop-server.crt")


@public
def certificate_as_text(request: HttpRequest) -> HttpResponse:
    """As programs without a window take it: PEM."""
    return _download(Encoding.PEM, "application/x-pem-file", "workshop-server.pem")


def _download(encoding: Encoding, kind: str, name: str) -> HttpResponse:
    state = trust.look() if settings.LOCAL_TLS else None
    if state is None or state.trusted is None:
        return redirect("workshop:trust")  # which says why there is none
    response = HttpResponse(state.trusted.public_bytes(encoding), content_type=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    # After --new-ca the old one would lead nowhere.
    response.headers["Cache-Control"] = "no-store"
    return response


urlpatterns = [
    path("trust/", page, name="trust"),
    path("trust/ca.crt", certificate, name="trust-certificate"),
    path("trust/ca.pem", certificate_as_text, name="trust-certificate-text"),
]
