"""`serve --tls`: one real start over both ports, and what stands in its way, in words."""

from __future__ import annotations

import contextlib
import http.client
import ipaddress
import os
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from workshop import local_ca, own_names, plain_wsgi, serving_tls, trust
from workshop.own_names import Names

ROOT = Path(__file__).resolve().parents[2]
IP = ipaddress.ip_address
ORIGINS = [
    "https://bench-2.local:8443",
    "https://192.168.1.20:8443",
    "https://[fd12::5]:8443",
    "http://bench-2.local:8000",
    "http://192.168.1.20:8000",
    "http://[fd12::5]:8000",
]


@pytest.fixture
def data(settings, tmp_path, monkeypatch):
    """A data folder of its own, and whatever the server would tell its processes undone afterwards."""
    settings.WORKSHOP_DATA = tmp_path
    settings.LOCAL_TLS = []
    settings.SITE_URL = ""
    for name in ("LOCAL_TLS", "SITE_URL"):
        monkeypatch.setenv(name, "")
    return tmp_path


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return free.getsockname()[1]


def environment(folder: Path, **more: str) -> dict[str, str]:
    kept = {name: os.environ[name] for name in ("PATH", "PYTHONPYCACHEPREFIX") if name in os.environ}
    return {**kept, "WORKSHOP_DATA": str(folder), **more}


def ask(port: int, path: str, trusting: Path | None = None, method: str = "GET"):
    """Status, headers, body; over TLS where an authority to trust is given, as a device would that trusts no other."""
    if trusting:
        only = ssl.create_default_context(cafile=str(trusting))
        connection = http.client.HTTPSConnection("localhost", port, timeout=10, context=only)
    else:
        connection = http.client.HTTPConnection("localhost", port, timeout=10)
    try:
        connection.request(method, path)
        answer = connection.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read()
    finally:
        connection.close()


# Half a minute of migrations on a slow machine, which the demo begins with anyway: here the tables are there already.
# Nor are the static files compressed, and only our own are there.
QUICK = """
from workshop.settings import *

MIGRATION_MODULES = {app.split(".")[-1]: None for app in INSTALLED_APPS}
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
"""


def test_a_whole_start(db, tmp_path):
    """Prepares, serves both, ends both on TERM: with the shop's settings but for what takes long."""
    if connection.vendor != "sqlite":
        pytest.skip("once is enough: it runs on SQLite")
    name = connection.settings_dict["NAME"]
    with (
        contextlib.closing(sqlite3.connect(f"file:{name}?mode=ro", uri=True)) as tables,
        contextlib.closing(sqlite3.connect(tmp_path / "workshop.sqlite3")) as copy,
    ):
        tables.backup(copy)
    https, plain = free_port(), free_port()
    (tmp_path / "quick_settings.py").write_text(QUICK)
    told = environment(tmp_path, DJANGO_SETTINGS_MODULE="quick_settings", PYTHONPATH=str(tmp_path))
    command = [
        sys.executable, "manage.py", "serve", "--tls", "--workers", "1", "--threads", "2",
        "--https-bind", f"127.0.0.1:{https}", "--bind", f"127.0.0.1:{plain}",
    ]  # fmt: skip
    log = tmp_path / "log"
    with log.open("w") as out:
        server = subprocess.Popen(command, cwd=ROOT, env=told, stdout=out, stderr=out)
    try:
        trusted = tmp_path / "tls" / "ca.crt"
        give_up = time.monotonic() + 120
        while True:
            assert server.poll() is None, log.read_text()
            assert time.monotonic() < give_up, log.read_text()
            try:
                assert ask(plain, "/health/")[0] == 200
                status, headers, body = ask(https, "/health/", trusted)
                break
            except (OSError, http.client.HTTPException):
                time.sleep(0.1)
        assert (status, body) == (200, b"ok\n")
        assert "Strict-Transport-Security" not in headers, (
            "a device without trust must still get in over http"
        )

        status, headers, body = ask(plain, "/trust/")
        assert (status, "Location" in headers) == (200, False)
        read = log.read_text().split("this one:\n")[1].splitlines()[0].split()
        assert len(read) == 16
        assert all(group.encode() in body for group in read), "console and page show one fingerprint"
        assert ask(plain, "/trust/ca.crt")[0] == 200
        style = body.split(b"/static/css/tokens")[1].split(b'"')[0].decode()
        assert ask(plain, f"/static/css/tokens{style}")[0] == 200, "the page's own style comes over http too"

        status, headers, _ = ask(plain, "/sign-in/?next=/jobs/%3Fa%3D1")
        assert (status, headers["Location"]) == (
            302,
            f"https://localhost:{https}/sign-in/?next=/jobs/%3Fa%3D1",
        )
        assert ask(plain, "/", method="POST")[0] == 307
        status, headers, _ = ask(https, "/sign-in/", trusted)
        assert status == 200
        assert "secure" in headers["Set-Cookie"].lower()
        with pytest.raises(ssl.SSLCertVerificationError):
            ask(https, "/health/", Path(ssl.get_default_verify_paths().openssl_cafile))
    finally:
        server.send_signal(signal.SIGTERM)
        code = server.wait(30)
    assert code == 0, log.read_text()
    for port in (https, plain):
        with socket.socket() as probe:
            assert probe.connect_ex(("127.0.0.1", port)) != 0, "both ended"


SUPERVISED = """
import subprocess, sys
from workshop import serving_tls
serving_tls.connections.close_all = lambda: None
def start():
    sleeps = "import sys, time; time.sleep(float(sys.argv[1])); sys.exit(int(sys.argv[2]))"
    running = {
        "http": subprocess.Popen([sys.executable, "-c", sleeps, sys.argv[1], sys.argv[2]], start_new_session=True),
        "https": subprocess.Popen([sys.executable, "-c", sleeps, "60", "0"], start_new_session=True),
    }
    print("began", *(one.pid for one in running.values()), flush=True)
    return running
sys.exit(serving_tls.supervise(start, lambda: len(sys.argv) > 3, print, every=0.3))
"""


def supervised(tmp_path, *arguments):
    return subprocess.Popen(
        [sys.executable, "-c", SUPERVISED, *arguments],
        cwd=ROOT,
        env=environment(tmp_path, DJANGO_SETTINGS_MODULE="workshop.settings"),
        stdout=subprocess.PIPE,
        text=True,
    )


def is_there(pid: str) -> bool:
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize(("ended_with", "code"), [("3", 3), ("0", 1)])
def test_where_one_dies_the_other_is_stopped_and_the_code_says_so(tmp_path, ended_with, code):
    watching = supervised(tmp_path, "0.2", ended_with)
    out, _ = watching.communicate(timeout=30)
    assert watching.returncode == code
    assert f"The http process ended by itself ({ended_with}), so the other one was stopped too." in out
    assert not any(map(is_there, out.split("\n")[0].split()[1:]))


def test_told_to_stop_it_stops_both_and_a_new_address_starts_them_anew(tmp_path):
    watching = supervised(tmp_path, "60", "0", "moved")
    first = watching.stdout.readline().split()[1:]
    assert watching.stdout.readline() == "This server has a new address: starting anew.\n"
    second = watching.stdout.readline().split()[1:]
    assert not any(map(is_there, first))
    assert all(map(is_there, second))
    watching.send_signal(signal.SIGINT)
    out, _ = watching.communicate(timeout=30)
    assert watching.returncode == 0
    last = [line.split()[1:] for line in out.splitlines() if line.startswith("began")]
    assert not any(is_there(pid) for pids in [second, *last] for pid in pids)


# ------------------------------------------------------------------------------------- what stands in its way


def test_a_port_in_use_is_a_sentence_and_touches_no_certificate(data):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(
            CommandError, match=rf"port {port} is in use, .* choose another port with --https-bind"
        ):
            call_command("serve", "--tls", "--https-bind", f"127.0.0.1:{port}")
    assert not (data / "tls").exists()


@pytest.mark.parametrize(
    ("bind", "sentence"),
    [
        ("8443", "use address:port"),
        ("0.0.0.0:many", "use address:port"),
        ("203.0.113.7:8443", "this machine has no address 203.0.113.7"),
    ],
)
def test_a_wrong_address_to_listen_on_is_a_sentence(data, bind, sentence):
    with pytest.raises(CommandError, match=sentence):
        serving_tls.listen(bind, "--https-bind")


def test_behind_a_proxy_it_stays_out_of_the_way(data, settings):
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    with pytest.raises(CommandError, match="the proxy in front does the encryption"):
        call_command("serve", "--tls")
    settings.SECURE_PROXY_SSL_HEADER = None
    with pytest.raises(CommandError, match="go with --tls"):
        call_command("serve", "--names", "shop.lan")
    assert not (data / "tls").exists()


def test_a_name_the_authority_may_not_speak_for(data, settings):
    local_ca.make_authority(data / "tls", Names(("bench-2.local",)))
    with pytest.raises(
        CommandError, match=r"may not speak for shop\.example.*--new-ca --names shop\.example"
    ):
        call_command(
            "serve", "--tls", "--https-bind=127.0.0.1:0", "--bind=127.0.0.1:0", "--names", "shop.example"
        )
    settings.SITE_URL = "https://shop"
    with pytest.raises(CommandError, match=r"give it with a domain, such as shop\.lan"):
        call_command("serve", "--tls")


def test_another_authority_is_made_and_no_more(data, capsys):
    before = local_ca.make_authority(data / "tls", Names(("bench-2.local",)))
    call_command("serve", "--tls", "--new-ca", "--names", "shop.example,203.0.113.7")
    after = local_ca.open_authority(data / "tls")
    said = capsys.readouterr().out
    assert "Start the server again, without --new-ca" in said
    assert local_ca.fingerprint(after.trusted) in said
    assert after.trusted != before.trusted
    assert local_ca.covers(after.issuing, "shop.example")
    assert local_ca.covers(after.issuing, IP("203.0.113.7"))


# -------------------------------------------------------------------------------------- while it is running


def test_addresses_that_come_are_taken_up_and_those_that_go_stay(data, settings, monkeypatch):
    there = [IP("192.168.1.20"), IP("127.0.0.1")]
    monkeypatch.setattr(own_names, "addresses_of_this_machine", lambda: there)
    monkeypatch.setattr(own_names, "answers_to_local_name", lambda: False)
    said = []
    https, plain = (serving_tls.listen("0.0.0.0:0", "--bind") for _ in range(2))
    with https, plain:
        port = https.getsockname()[1]
        server = serving_tls.Server(Names(), https, plain, 1, 1, said.append)
        server.certify()
        assert settings.SITE_URL == os.environ["SITE_URL"] == f"https://192.168.1.20:{port}"
        assert f"http://192.168.1.20:{plain.getsockname()[1]}" in os.environ["LOCAL_TLS"].split(",")
        assert not server.look_after(), "nothing has changed"
        there[0] = IP("192.168.1.44")
        assert server.look_after()
        assert f"https://192.168.1.20:{port}" == settings.SITE_URL, (
            "codes that were printed go on leading there"
        )
        assert f"https://192.168.1.44:{port}" in trust.over_tls()
        there[:] = [IP("127.0.0.1")]
        assert not server.look_after(), "a network that comes and goes starts nothing anew"
        (data / "tls" / local_ca.AUTHORITY).write_bytes(b"")
        assert not server.look_after()
        assert "is damaged: put the file back" in said[-1]


def test_a_given_address_is_not_overwritten(data, settings, monkeypatch):
    settings.SITE_URL = "https://garage.lan"
    monkeypatch.setattr(own_names, "addresses_of_this_machine", lambda: [IP("192.168.1.20")])
    said = []
    https, plain = (serving_tls.listen("127.0.0.1:0", "--bind") for _ in range(2))
    with https, plain:
        serving_tls.Server(serving_tls.given_names([]), https, plain, 1, 1, said.append).certify()
    assert settings.SITE_URL == "https://garage.lan"
    assert not any("SITE_URL is not set" in one for one in said)
    assert trust.over_tls()[0] == "https://garage.lan", "as given, by whichever port the network leads there"
    assert trust.plain_address().startswith("http://garage.lan:")


def test_plain_http_leads_to_the_address_that_was_asked_for(settings):
    settings.LOCAL_TLS = ORIGINS
    asked = ["192.168.1.20:8000", "BENCH-2.local", "[fd12::5]:8000", "elsewhere.example", "[", ""]
    assert [trust.https_address(host) for host in asked] == [
        "https://192.168.1.20:8443",
        "https://bench-2.local:8443",
        "https://[fd12::5]:8443",
        *["https://bench-2.local:8443"] * 3,
    ]
    answered = []
    environ = {
        "REQUEST_METHOD": "GET",
        "HTTP_HOST": "192.168.1.20:8000",
        "PATH_INFO": "/vehicles/Türe/".encode().decode("latin-1"),
        "QUERY_STRING": "q=a%20b&x=\r\nSet-Cookie: y",
    }
    body = plain_wsgi.application(environ, lambda *told: answered.append(told))
    [(status, headers)] = answered
    address = "https://192.168.1.20:8443/vehicles/T%C3%BCre/?q=a%20b&x=%0D%0ASet-Cookie:%20y"
    assert (status, dict(headers)["Location"]) == ("302 Found", address), (
        "and no line break gets into a header"
    )
    assert b"".join(body) == f"This is at {address}\n".encode()


def test_what_the_processes_make_of_it(tmp_path):
    code = (
        "from django.conf import settings as s; print(s.ALLOWED_HOSTS, s.CSRF_TRUSTED_ORIGINS, s.SESSION_COOKIE_SECURE,"
        " s.CSRF_COOKIE_SECURE, s.SECURE_SSL_REDIRECT, s.SECURE_HSTS_SECONDS, sep='\\n')"
    )
    told = environment(
        tmp_path,
        DJANGO_SETTINGS_MODULE="workshop.settings",
        LOCAL_TLS=",".join(ORIGINS),
        SITE_URL=ORIGINS[0],
        ALLOWED_HOSTS="shop.example",
    )
    out = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=told, capture_output=True, text=True, check=True
    ).stdout
    assert out.splitlines() == [
        "['shop.example', 'bench-2.local', '192.168.1.20', '[fd12::5]']",
        str([ORIGINS[0], *ORIGINS[:3]]),
        *["True"] * 3,
        "0",
    ]
