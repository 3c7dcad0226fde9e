"""What the pages and checks know of `serve --tls`: where it answers, and how its certificate stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from urllib.parse import urlsplit

from cryptography import x509
from django.conf import settings

from workshop import local_ca


def folder() -> Path:
    return settings.WORKSHOP_DATA / "tls"


def over_tls() -> list[str]:
    """The https origins, the one to show people first; empty where the server was started without --tls."""
    return [origin for origin in settings.LOCAL_TLS if origin.startswith("https:")]


def plain_address() -> str:
    """The http origin at which the trust page stands, by the name that is shown to people."""
    plain = [origin for origin in settings.LOCAL_TLS if origin.startswith("http:")]
    shown = urlsplit(over_tls()[0]).hostname
    return next((origin for origin in plain if urlsplit(origin).hostname == shown), plain[0])


def https_address(asked: str) -> str:
    """The https origin for a Host header: the same name where it is one of ours, else the one shown to people."""
    try:
        host = urlsplit(f"//{asked}").hostname
    except ValueError:
        host = None
    return next((origin for origin in over_tls() if urlsplit(origin).hostname == host), over_tls()[0])


@dataclass(frozen=True)
class State:
    """The certificate that devices trust and the server's own, or what is wrong with them as a sentence."""

    trusted: x509.Certificate | None = None
    ends: datetime | None = None  # the server's certificate
    problem: str = ""

    @property
    def groups(self) -> list[str]:
        return local_ca.fingerprint(self.trusted).split() if self.trusted else []

    @property
    def authority_ends(self) -> datetime | None:
        return self.trusted.not_valid_after_utc if self.trusted else None

    def in_words(self) -> str:
        return (
            f"The server's own certificate ends on {local_ca.day(self.ends)} and is renewed by itself "
            f"{local_ca.RENEW_BEFORE.days} days before; its authority ends on {local_ca.day(self.authority_ends)}."
        )


def look() -> State | None:
    """How the certificates in WORKSHOP_DATA/tls stand; None where none were ever made."""
    if not any((folder() / name).exists() for name in (local_ca.TRUSTED, local_ca.AUTHORITY)):
        return None
    again = "start the server again with --tls: it says what to do"
    try:
        trusted = x509.load_pem_x509_certificate((folder() / local_ca.TRUSTED).read_bytes())
    except (OSError, ValueError):
        return State(
            problem=f"The authority's certificate {folder() / local_ca.TRUSTED} can't be read: {again}."
        )
    try:
        ends = x509.load_pem_x509_certificates((folder() / local_ca.SERVER).read_bytes())[
            0
        ].not_valid_after_utc
    except (OSError, ValueError):
        return State(trusted, None, f"The server's certificate can't be read: {again}.")
    problem = local_ca.authority_ends_soon(trusted)
    if ends < local_ca.now() + local_ca.RENEW_BEFORE and ends < trusted.not_valid_after_utc:
        problem = (
            f"The server's certificate ends on {local_ca.day(ends)} and was not renewed: start the server again with "
            "--tls, and look at what it says."
        )
    return State(trusted, ends, problem)
