"""What certificates are made of, and how their files are written. What they say is decided in local_ca.py."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import secrets
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from workshop.own_names import PRIVATE_DOMAINS, PRIVATE_NETWORKS, Names

AUTHORITY = "authority.pem"  # issuing key, issuing and trusted certificate: one file, so never half of them
TRUSTED = "ca.crt"  # the trusted certificate alone, to be handed out
SERVER = "server.pem"  # the server's key and chain: one file, so both change at the same instant


class LocalCAError(Exception):
    """Why there can be no certificate, as a sentence that says what to do."""


def new_key() -> ec.EllipticCurvePrivateKey:
    return ec.generate_private_key(ec.SECP256R1())


def authority_certificate(
    subject, key, issuer, issuer_key, period, limits, *, path_length
) -> x509.Certificate:
    made = (
        builder(subject, key, issuer, period)
        .add_extension(x509.BasicConstraints(ca=True, path_length=path_length), critical=True)
        .add_extension(usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(limits, critical=True)
        .add_extension(issued_by(issuer_key), critical=False)
    )
    if path_length == 0:
        made = made.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    return made.sign(issuer_key, hashes.SHA256())


def builder(subject, key, issuer, period) -> x509.CertificateBuilder:
    public = key.public_key()
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(period[0])
        .not_valid_after(period[1])
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def constraints(found: Names) -> x509.NameConstraints:
    bases = [*PRIVATE_DOMAINS, *(name for name in found.names if not under(name, PRIVATE_DOMAINS))]
    networks = [*PRIVATE_NETWORKS]
    networks += [ipaddress.ip_network(one) for one in found.addresses if not within(one, PRIVATE_NETWORKS)]
    permitted = [*map(x509.DNSName, dict.fromkeys(bases)), *map(x509.IPAddress, dict.fromkeys(networks))]
    return x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None)


def under(name, bases) -> bool:
    return any(name == base or name.endswith(f".{base}") for base in bases)


def within(address, networks) -> bool:
    return any(address in network for network in networks if network.version == address.version)


def issued_by(key) -> x509.AuthorityKeyIdentifier:
    return x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key())


def usage(**wanted: bool) -> x509.KeyUsage:
    every = (
        "digital_signature content_commitment key_encipherment data_encipherment key_agreement key_cert_sign "
        "crl_sign encipher_only decipher_only"
    )
    return x509.KeyUsage(**{name: wanted.get(name, False) for name in every.split()})


def subject(text: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Witness Mark"),
            x509.NameAttribute(NameOID.COMMON_NAME, text[:64]),
        ]
    )


def pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def private(key) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


# ---------------------------------------------------------------------------------------------------- files


def make_folder(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise LocalCAError(f"The folder {folder} can't be made ({error.strerror}).") from error
    keep_private(folder)


def keep_private(folder: Path) -> None:
    """A backup put back may have other permissions: the folder and the keys are for the service alone."""
    for path, mode in ((folder, 0o700), (folder / AUTHORITY, 0o600), (folder / SERVER, 0o600)):
        with contextlib.suppress(OSError):
            path.chmod(mode)


def write(file: Path, content: bytes, *, mode: int = 0o600) -> None:
    """Written aside, on the disk, then renamed: nobody reads half a file, and a cut leaves the old one whole."""
    draft = file.with_name(f"{file.name}.{secrets.token_hex(8)}")
    try:
        handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        draft.replace(file)
        folder = os.open(file.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        draft.unlink(missing_ok=True)
        raise LocalCAError(f"{file} can't be written ({error.strerror}).") from error
