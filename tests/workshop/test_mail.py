"""Mail: a first look, with one real SMTP conversation (RFC 5321) against a stand-in of thirty lines."""

import socketserver
import threading

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from workshop import checks, mail


class Talk(socketserver.StreamRequestHandler):
    def handle(self):
        def say(text):
            self.wfile.write(text.encode() + b"\r\n")

        say("220 mail.example")
        while line := self.rfile.readline().decode().strip():
            word = line.split()[0].upper()
            if word == "EHLO":
                say("250 mail.example")
            elif word == "RCPT" and "nobody@" in line:
                say("550 no such user")
            elif word == "DATA":
                say("354 go on")
                got = b""
                while not got.endswith(b"\r\n.\r\n"):
                    got += self.rfile.readline()
                self.server.got.append(got)
                say("250 taken")
            elif word == "QUIT":
                say("221 bye")
                return
            else:
                say("250 ok")


@pytest.fixture
def smtp(settings):
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Talk) as server:
        server.got = []
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.MAIL_URL, settings.MAIL_FROM = (
            f"smtp://127.0.0.1:{server.server_address[1]}",
            "Workshop <shop@example.org>",
        )
        yield server
        server.shutdown()


def test_sent(smtp, db, capsys):
    assert (
        mail.send(
            to="a@example.org",
            subject="Grüße",
            text="Zeile\n",
            attachments=[("x.pdf", b"%PDF", "application/pdf")],
        )
        == ""
    )
    text = smtp.got[0]
    assert b"Auto-Submitted: auto-generated" in text
    assert b"To: a@example.org" in text
    assert b"x.pdf" in text
    call_command("mail_try", "a@example.org")
    assert len(smtp.got) == 2
    with pytest.raises(CommandError, match=r"refused this address \(550\)"):
        call_command("mail_try", "nobody@example.org")


@pytest.mark.parametrize(
    ("to", "subject"),
    [
        ("a@example.org\r\nBcc: b@example.org", "x"),
        ("a@example.org,b@example.org", "x"),
        ("a@example.org", "x\nBcc: b@example.org"),
    ],
)
def test_headers(smtp, db, to, subject):
    assert mail.send(to=to, subject=subject, text="x")
    assert not smtp.got


def test_no_starttls(smtp, db, settings, monkeypatch):
    monkeypatch.setattr(mail, "_THIS_MACHINE", ())
    assert "offers no encryption" in mail.send(to="a@example.org", subject="x", text="x")
    assert not smtp.got


def test_nobody_there(settings, db):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.MAIL_URL, settings.MAIL_FROM = "smtp://127.0.0.1:1", "shop@example.org"
    assert "Nothing answers" in mail.send(to="a@example.org", subject="x", text="x")


@pytest.mark.django_db(transaction=True)
def test_never_in_a_transaction(settings, mailoutbox):
    settings.MAIL_URL, settings.MAIL_FROM = "smtp://mail.example", "shop@example.org"
    with transaction.atomic(), pytest.raises(RuntimeError):
        mail.send(to="a@example.org", subject="x", text="x")
    assert mail.send(to="a@example.org", subject="x", text="x") == ""
    assert len(mailoutbox) == 1


@pytest.mark.parametrize(
    "url",
    [
        "http://x",
        "smtp://",
        "smtp://h:99999",
        "smtp://u@h",
        "smtp://h/x",
        "smtp://h?tls=yes",
        "smtps://u:p/w@h",
    ],
)
def test_wrong(settings, url):
    settings.MAIL_URL, settings.MAIL_FROM = url, "shop@example.org"
    assert not mail.configured()
    assert [w.id for w in checks.mail_server(None)] == ["workshop.W004"]
    assert "p/w" not in mail.server().wrong


def test_later_goes_beside_the_answer(caplog):
    """On a thread of its own; what fails there is written down and stops nothing."""
    here, done = threading.current_thread(), threading.Event()

    def task():
        assert threading.current_thread() is not here
        done.set()
        raise OSError("the network is gone")

    mail.later(task)
    assert done.wait(10)
    for thread in threading.enumerate():
        if thread.name == "mail":
            thread.join(10)
    assert "what was to be sent later was not" in caplog.text
