"""The trust page, its downloads, and what the Shop page and the checks say of the certificate."""

from __future__ import annotations

import ipaddress
from datetime import timedelta

import pytest
import time_machine
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from django.urls import reverse
from django.utils import timezone

from workshop import checks, local_ca
from workshop.own_names import Names

FOUND = Names(("bench-2.local",), (ipaddress.ip_address("192.168.1.20"),))


@pytest.fixture
def authority(settings, tmp_path):
    """As the processes of `serve --tls` find things."""
    settings.WORKSHOP_DATA = tmp_path
    settings.LOCAL_TLS = [
        "https://bench-2.local:8443",
        "https://192.168.1.20:8443",
        "http://bench-2.local:8000",
        "http://192.168.1.20:8000",
    ]
    settings.ALLOWED_HOSTS = ["testserver", "192.168.1.20"]
    made = local_ca.make_authority(tmp_path / "tls", FOUND)
    local_ca.ensure_server(tmp_path / "tls", made, FOUND)
    return made


def test_over_http_it_walks_through_and_leads_to_the_encrypted_address(client, db, authority):
    page = client.get("/trust/", headers={"host": "192.168.1.20:8000"}).content.decode()
    digest = authority.trusted.fingerprint(hashes.SHA256()).hex().upper()
    shown = [part.split("</span>")[0] for part in page.split('class="fingerprint')[1].split("<span>")[1:17]]
    assert "".join(shown) == digest
    assert 'href="https://192.168.1.20:8443/trust/#trusted"' in page, (
        "by the address that this device can reach"
    )
    assert "http://bench-2.local:8000/trust/" in page, "on the wall, the address shown to people"
    assert page.count("<svg") - page.count('class="mark"') == 2, "two codes"
    assert "js/trust.js" not in page
    assert " style=" not in page


def test_over_https_it_says_whether_it_is_trusted(client, db, authority):
    page = client.get("/trust/", secure=True).content.decode()
    assert "js/trust.js" in page
    assert 'id="not-yet" hidden' in page


def test_the_certificate_in_both_forms(client, db, authority):
    for name, kind, read in (
        ("trust-certificate", "application/x-x509-ca-cert", x509.load_der_x509_certificate),
        ("trust-certificate-text", "application/x-pem-file", x509.load_pem_x509_certificate),
    ):
        response = client.get(reverse(f"workshop:{name}"))
        assert response["Content-Type"] == kind
        assert read(response.content) == authority.trusted
        assert b"PRIVATE" not in response.content


@pytest.mark.parametrize(
    ("site", "sentence"),
    [
        ("http://shop.example", "starts it with <strong>manage.py serve --tls</strong>"),
        ("https://shop.example", "Nothing to trust here"),
    ],
)
def test_without_a_certificate_of_its_own(client, db, settings, tmp_path, site, sentence):
    settings.WORKSHOP_DATA, settings.SITE_URL, settings.LOCAL_TLS = tmp_path, site, []
    assert sentence in client.get("/trust/").content.decode()
    assert client.get("/trust/ca.crt").url == "/trust/"


def test_without_tls_an_older_certificate_is_not_offered(client, db, settings, authority):
    settings.LOCAL_TLS = []
    assert "does not encrypt" in client.get("/trust/").content.decode()
    assert client.get("/trust/ca.crt").url == "/trust/"


def test_a_file_that_cant_be_read_is_no_error_page(client, db, authority, tmp_path):
    (tmp_path / "tls" / "ca.crt").write_bytes(b"half")
    response = client.get("/trust/")
    assert response.status_code == 200
    assert "can't be read: start the server again with --tls" in response.content.decode().replace(
        "&#x27;", "'"
    )


def test_leads_read_when_it_ends(client, lead, authority, tmp_path):
    client.force_login(lead)
    ends = x509.load_pem_x509_certificates((tmp_path / "tls" / "server.pem").read_bytes())[
        0
    ].not_valid_after_utc
    page = client.get(reverse("workshop:shop")).content.decode()
    # The day of the shop, which is not always the day of UTC.
    assert f"own certificate until {timezone.localtime(ends):%-d %b %Y}, renewed by itself" in page
    with time_machine.travel(ends - timedelta(days=20), tick=False):
        client.force_login(lead)
        assert (
            "was not renewed: start the server again" in client.get(reverse("workshop:shop")).content.decode()
        )


def test_without_tls_leads_read_that_too(client, lead, settings, tmp_path):
    settings.WORKSHOP_DATA, settings.LOCAL_TLS = tmp_path, []
    client.force_login(lead)
    assert "none: other devices keep no pages" in client.get(reverse("workshop:shop")).content.decode()


def test_the_checks_say_it(authority, settings, tmp_path):
    [told] = checks.own_certificate(None)
    ends = local_ca.day(authority.trusted.not_valid_after_utc)
    assert (told.id, ends in told.msg) == ("workshop.I003", True)
    with time_machine.travel(authority.trusted.not_valid_after_utc - timedelta(days=300), tick=False):
        local_ca.ensure_server(tmp_path / "tls", authority, FOUND)
        [told] = checks.own_certificate(None)
    assert (told.id, "--new-ca" in told.msg) == ("workshop.W003", True)
    settings.WORKSHOP_DATA = tmp_path / "never"
    assert checks.own_certificate(None) == []
