"""The shop's own certificate authority, and the server's certificate from it: made, checked, renewed.

Browsers keep pages for when the network is gone only over TLS, and a shop's server has no public name that a public
authority would certify. So the shop makes its own, which each device is told to trust once (the trust page).

What a stolen key could do is kept small in two ways. The key of the authority that devices trust is thrown away as
soon as it has signed one issuing authority, whose key is the one on the disk. And the issuing authority may speak only
for private addresses and names (RFC 5280, 4.2.1.10): programs that do not look at the constraints of an authority
they were told to trust do look at those of one in between.
"""

from __future__ import annotations

import contextlib
import ipaddress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID
from django.utils import timezone

from workshop.certificates import (
    AUTHORITY,
    SERVER,
    TRUSTED,
    LocalCAError,
    authority_certificate,
    builder,
    constraints,
    issued_by,
    keep_private,
    make_folder,
    new_key,
    pem,
    private,
    subject,
    usage,
    write,
)
from workshop.own_names import Names

AUTHORITY_DAYS = 3652
# Public authorities keep to 397 days, and some browsers refuse longer ones; a day of it lies before now, for devices
# whose clock is behind.
SERVER_DAYS, BACK = 397, timedelta(days=1)
RENEW_BEFORE = timedelta(days=30)
WARN_BEFORE = timedelta(days=365)

NEW_ONE = "Or make another with: manage.py serve --tls --new-ca. Then every device has to be told to trust the new one."


@dataclass(frozen=True)
class Authority:
    trusted: x509.Certificate  # what devices trust
    issuing: x509.Certificate
    key: ec.EllipticCurvePrivateKey


def now() -> datetime:
    return timezone.now().astimezone(UTC)


def day(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%-d %B %Y}"


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of the certificate in groups of four, as devices show it but for the spacing."""
    text = certificate.fingerprint(hashes.SHA256()).hex().upper()
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


# ------------------------------------------------------------------------------------------ the authority


def make_authority(folder: Path, found: Names) -> Authority:
    """A new authority for these names, in place of any before. The key of its trusted certificate is not kept."""
    begins = now() - BACK
    ends = begins + timedelta(days=AUTHORITY_DAYS)
    limits = constraints(found)
    made = day(now())
    root_key, key = (new_key() for _ in range(2))
    root_name = subject(f"Workshop server {found.names[0] if found.names else ''}, {made}".replace(" ,", ","))
    trusted = authority_certificate(
        root_name, root_key, root_name, root_key, (begins, ends), limits, path_length=1
    )
    name = subject(f"Issuing certificates, {made}")
    issuing = authority_certificate(name, key, root_name, root_key, (begins, ends), limits, path_length=0)
    text = private(key) + pem(issuing) + pem(trusted)
    make_folder(folder)
    write(folder / AUTHORITY, text)
    write(folder / TRUSTED, pem(trusted), mode=0o644)
    return Authority(trusted, issuing, key)


def open_authority(folder: Path) -> Authority | None:
    """The authority kept in the folder; None where none was ever made. LocalCAError where it can't be used."""
    file = folder / AUTHORITY
    if not file.exists():
        if any((folder / name).exists() for name in (TRUSTED, SERVER)):
            raise LocalCAError(
                f"The certificate authority {file} is missing, though there was one: put the folder back from the "
                f"backup. {NEW_ONE}"
            )
        return None
    damaged = f"The certificate authority {file} is damaged: put the file back from the backup. {NEW_ONE}"
    try:
        text = file.read_bytes()
    except OSError as error:
        raise LocalCAError(
            f"The certificate authority {file} can't be read ({error.strerror}): it has to belong to the user that "
            "runs the server."
        ) from error
    try:
        key = serialization.load_pem_private_key(text, password=None)
        issuing, trusted = x509.load_pem_x509_certificates(text)
        issuing.verify_directly_issued_by(trusted)
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != issuing.public_key():
            raise LocalCAError(damaged)
    except (ValueError, TypeError, InvalidSignature) as error:
        raise LocalCAError(damaged) from error
    if now() < trusted.not_valid_before_utc:
        raise LocalCAError(
            f"This server's clock says {day(now())}, but its certificate authority was made on "
            f"{day(trusted.not_valid_before_utc + BACK)}: set the clock, then start again."
        )
    if now() > trusted.not_valid_after_utc:
        raise LocalCAError(
            f"The certificate authority ended on {day(trusted.not_valid_after_utc)}, or this server's clock is wrong: "
            f"it says {day(now())}. {NEW_ONE}"
        )
    keep_private(folder)
    with contextlib.suppress(OSError):
        if not (folder / TRUSTED).exists() or (folder / TRUSTED).read_bytes() != pem(trusted):
            write(folder / TRUSTED, pem(trusted), mode=0o644)
    return Authority(trusted, issuing, key)


def authority_ends_soon(certificate: x509.Certificate) -> str:
    """A sentence in the authority's last year, so that there is time to go round with the new one; else empty."""
    ends = certificate.not_valid_after_utc
    if now() < ends - WARN_BEFORE:
        return ""
    return (
        f"The certificate authority ends on {day(ends)}, and no device opens the shop's pages after that. On a quiet "
        "day before it, make another with: manage.py serve --tls --new-ca, and tell each device to trust it."
    )


def covers(certificate: x509.Certificate, one: str | ipaddress.IPv4Address | ipaddress.IPv6Address) -> bool:
    """Whether an authority may speak for a name or address, as RFC 5280, 4.2.1.10 reads its permitted subtrees."""
    permitted = certificate.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees
    if isinstance(one, str):
        bases = [each.value for each in permitted or () if isinstance(each, x509.DNSName)]
        return any(one == base or one.endswith(f".{base}") for base in bases)
    networks = [each.value for each in permitted or () if isinstance(each, x509.IPAddress)]
    return any(one in network for network in networks if network.version == one.version)


def sort_out(certificate: x509.Certificate, found: Names) -> tuple[Names, list[str]]:
    """What of the names found the authority may speak for, and what it may not, in text.

    One foreign name would make every device refuse the whole certificate. LocalCAError where somebody asked for it.
    """
    left = [str(one) for one in (*found.names, *found.addresses) if not covers(certificate, one)]
    if asked := [one for one in left if one in found.asked]:
        raise LocalCAError(
            f"The certificate authority may not speak for {' or '.join(asked)}: it was made for this server's own names "
            "and addresses, and for those given when it was made. Make another with: manage.py serve --tls --new-ca "
            f"--names {' '.join(asked)}. Then every device has to be told to trust the new one."
        )
    names = tuple(one for one in found.names if str(one) not in left)
    addresses = tuple(one for one in found.addresses if str(one) not in left)
    return Names(names, addresses, found.asked), left


# -------------------------------------------------------------------------------- the server's certificate


def ensure_server(folder: Path, authority: Authority, found: Names) -> tuple[x509.Certificate, str]:
    """The server's certificate, and why it was made anew (empty: the one that was there goes on)."""
    certificate, why = _kept_server(folder, authority, found)
    if certificate is None:
        certificate = _make_server(folder, authority, found)
    return certificate, why


def names_of(certificate: x509.Certificate) -> Names:
    wanted = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return Names(
        tuple(wanted.get_values_for_type(x509.DNSName)), tuple(wanted.get_values_for_type(x509.IPAddress))
    )


def _kept_server(folder: Path, authority: Authority, found: Names) -> tuple[x509.Certificate | None, str]:
    file = folder / SERVER
    if not file.exists():
        return None, "there was none"
    try:
        text = file.read_bytes()
        key = serialization.load_pem_private_key(text, password=None)
        certificate, _issuing = x509.load_pem_x509_certificates(text)
        if key.public_key() != certificate.public_key():
            return None, "its file was damaged"
        certificate.verify_directly_issued_by(authority.issuing)
        has = names_of(certificate)
    except InvalidSignature:
        return None, "another authority had signed it"
    except (OSError, ValueError, TypeError, x509.ExtensionNotFound):
        return None, "its file was damaged"
    if set(has.names) != set(found.names) or set(has.addresses) != set(found.addresses):
        return None, "the server's names or addresses changed"
    if now() > certificate.not_valid_after_utc - RENEW_BEFORE:
        return None, f"it would have ended on {day(certificate.not_valid_after_utc)}"
    if now() < certificate.not_valid_before_utc:
        return None, "it was made while the server's clock was ahead"
    return certificate, ""


def _make_server(folder: Path, authority: Authority, found: Names) -> x509.Certificate:
    key = new_key()
    begins = max(now() - BACK, authority.trusted.not_valid_before_utc)
    # Both ends count (RFC 5280, 4.1.2.5), hence the second.
    ends = min(begins + timedelta(days=SERVER_DAYS, seconds=-1), authority.trusted.not_valid_after_utc)
    wanted = [*map(x509.DNSName, found.names), *map(x509.IPAddress, found.addresses)]
    certificate = (
        builder(subject("Workshop server"), key, authority.issuing.subject, (begins, ends))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName(wanted), critical=False)
        .add_extension(usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(issued_by(authority.key), critical=False)
        .sign(authority.key, hashes.SHA256())
    )
    make_folder(folder)
    write(folder / SERVER, private(key) + pem(certificate) + pem(authority.issuing))
    return certificate
