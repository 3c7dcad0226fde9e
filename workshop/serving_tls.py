"""`serve --tls`: the app over https with the shop's own certificate, and beside it plain http for the trust page.

Two gunicorns under this process. It holds both ports, so a port in use is said before anything starts and no
connection is refused while they are started anew; it looks after the certificate; and they end together.
"""

from __future__ import annotations

import errno
import os
import select
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from urllib.parse import urlsplit

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connections

from workshop import local_ca, own_names, serving
from workshop.own_names import Names
from workshop.trust import folder

LOOK_EVERY = (
    600  # seconds: a new address of the server is served within so much; the certificate ends in days
)
END_WITHIN = 25  # seconds: gunicorn lets what is under way finish for 20


def given_names(texts: list[str]) -> Names:
    """What was named by hand: by --names, and by SITE_URL."""
    site = urlsplit(settings.SITE_URL).hostname
    try:
        return own_names.read_given([*([site] if site else []), *texts])
    except ValueError as error:
        raise CommandError(str(error)) from error


def listen(bind: str, option: str) -> socket.socket:
    """A listening socket on address:port; what stands in the way, as a sentence."""
    host, colon, port = bind.rpartition(":")
    host = host.strip("[]") or "0.0.0.0"
    if not colon or not port.isdecimal() or int(port) > 65535:
        raise CommandError(f"{option} is {bind!r}: use address:port, such as 0.0.0.0:8443.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, int(port)))
        listening.listen(2048)
    except OSError as error:
        listening.close()
        reasons = {
            errno.EADDRINUSE: f"port {port} is in use, perhaps by this very server: stop the other program, or "
            f"choose another port with {option}",
            errno.EACCES: f"ports below 1024 need special rights: choose a higher one with {option}",
            errno.EADDRNOTAVAIL: f"this machine has no address {host}: choose one it has with {option}",
        }
        reason = reasons.get(error.errno or 0, f"{error.strerror or error}; {option} takes another")
        raise CommandError(f"Can't listen on {bind}: {reason}.") from error
    return listening


def origins(found: Names, shown: str, https_port: int, http_port: int) -> list[str]:
    """Where the app answers, https first, the one to show people at the head; then where plain http does."""
    hosts = list(dict.fromkeys([shown, *found.hosts()]))
    site = urlsplit(settings.SITE_URL)
    first = [f"https://{site.netloc}"] if site.scheme == "https" else []
    over_tls = [f"https://{host}{'' if https_port == 443 else f':{https_port}'}" for host in hosts]
    plain = [f"http://{host}{'' if http_port == 80 else f':{http_port}'}" for host in hosts]
    return list(dict.fromkeys([*first, *over_tls, *plain]))


@dataclass
class Server:
    """What is served, and the certificate it is served with."""

    given: Names
    https: socket.socket
    http: socket.socket
    workers: int
    threads: int
    say: Callable[[str], None]
    found: Names = field(default_factory=Names)

    def certify(self) -> str:
        """Authority and certificate as they have to be now. CommandError with the sentence where they can't."""
        try:
            authority = local_ca.open_authority(folder())
            wanted = self._found_now()
            if authority is None:
                authority = local_ca.make_authority(folder(), wanted)
                self.say("Made the shop's own certificate authority.")
            self.found, left = local_ca.sort_out(authority.issuing, wanted)
            _, why = local_ca.ensure_server(folder(), authority, self.found)
        except local_ca.LocalCAError as error:
            raise CommandError(str(error)) from error
        if left:
            self.say(f"Not in the certificate, as its authority may not speak for it: {', '.join(left)}.")
        if why:
            self.say(f"Made a new certificate for the server: {why}.")
        if soon := local_ca.authority_ends_soon(authority.trusted):
            self.say(soon)
        self._tell_settings()
        return local_ca.fingerprint(authority.trusted)

    def look_after(self) -> bool:
        """Renew what has to be. True where the server has an address that its processes do not know yet.

        An address that is gone stays in the certificate until the next start: a network that comes and goes
        must not make the server start anew each time.
        """
        before = self.found
        try:
            authority = local_ca.open_authority(folder())
            if authority is None:
                raise local_ca.LocalCAError(f"{folder()} is gone: stop the server, and put the folder back.")
            now, _ = local_ca.sort_out(authority.issuing, self._found_now())
            self.found = replace(
                before,
                names=tuple(dict.fromkeys([*before.names, *now.names])),
                addresses=tuple(dict.fromkeys([*before.addresses, *now.addresses])),
            )
            _, why = local_ca.ensure_server(folder(), authority, self.found)
        except local_ca.LocalCAError as error:
            self.say(str(error))
            self.found = before
            return False
        if why:
            self.say(f"Made a new certificate for the server: {why}.")
        if self.found == before:
            return False
        self._tell_settings()
        return True

    def start(self) -> dict[str, subprocess.Popen]:
        """Both gunicorns, each with its socket; they learn where they answer from the environment."""
        child = ["--config", "python:workshop.gunicorn_child"]
        over_tls = serving.gunicorn(
            "workshop.wsgi:application",
            f"fd://{self.https.fileno()}",
            workers=self.workers,
            threads=self.threads,
        )
        over_tls += [*child, "--certfile", str(folder() / local_ca.SERVER)]
        plain = serving.gunicorn(
            "workshop.plain_wsgi:application", f"fd://{self.http.fileno()}", workers=1, threads=4
        )
        return {
            "https": self._run(over_tls, self.https),
            "http": self._run([*plain, *child], self.http),
        }

    def _run(self, command: list[str], listening: socket.socket) -> subprocess.Popen:
        # A session of its own: Ctrl+C reaches this process alone, which then ends both in good order.
        return subprocess.Popen(
            command,
            cwd=settings.BASE_DIR,
            env=serving.environment(),
            pass_fds=[listening.fileno()],
            start_new_session=True,
        )

    def _found_now(self) -> Names:
        return own_names.answering(own_names.find(self.given), self.https.getsockname()[0])

    def _tell_settings(self) -> None:
        """For the processes in the environment, for the checks at the start in this one's settings."""
        site = urlsplit(settings.SITE_URL).hostname
        shown = own_names.in_url(site) if site else own_names.best_host(self.found)
        where = origins(self.found, shown, self.https.getsockname()[1], self.http.getsockname()[1])
        settings.LOCAL_TLS = where
        os.environ["LOCAL_TLS"] = ",".join(where)
        if shown == "localhost" and not site:
            self.say(
                "No private address of this machine is open to the shop's network, so no tablet finds it. If there is "
                "one, give it with --names, and see that --https-bind lets it in."
            )
        if not settings.SITE_URL:
            self.say(
                f"SITE_URL is not set: the codes on sheets and labels lead to {where[0]}. Set SITE_URL to an address "
                "that stays the same, and that car owners can reach, where there is one."
            )
            settings.SITE_URL = os.environ["SITE_URL"] = where[0]


def supervise(
    start: Callable[[], dict[str, subprocess.Popen]],
    look: Callable[[], bool],
    say: Callable[[str], None],
    every: float = LOOK_EVERY,
) -> int:
    """Run the processes until told to stop (0), or until one of them ends by itself (its exit code, or 1)."""
    connections.close_all()
    told: list[int] = []
    # Signals arrive as bytes in a socket: a handler that takes a lock could meet itself.
    ear, mouth = socket.socketpair()
    ear.setblocking(False)
    mouth.setblocking(False)
    signal.set_wakeup_fd(mouth.fileno(), warn_on_full_buffer=False)
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda number, _: told.append(number))
    signal.signal(signal.SIGCHLD, lambda *_: None)

    running = start()
    due = time.monotonic() + every
    while True:
        _wait(ear, due - time.monotonic())
        if told:
            end(running)
            return 0
        for name, process in running.items():
            if (code := process.poll()) is None:
                continue
            # A service manager stops all at once, and the child may have been quicker.
            _wait(ear, 1)
            end(running)
            if told:
                return 0
            say(f"The {name} process ended by itself ({code}), so the other one was stopped too.")
            return code if code > 0 else 1
        if time.monotonic() >= due:
            due = time.monotonic() + every
            if look():
                say("This server has a new address: starting anew.")
                end(running)
                running = start()


def end(running: dict[str, subprocess.Popen]) -> None:
    """Stop all: first asked, then, what has not ended in time, by force."""
    for process in running.values():
        if process.poll() is None:
            process.terminate()
    last = time.monotonic() + END_WITHIN
    for process in running.values():
        try:
            process.wait(max(0.1, last - time.monotonic()))
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait(ear: socket.socket, seconds: float) -> None:
    """Until a signal arrives, or so long."""
    if select.select([ear], [], [], max(0, seconds))[0]:
        ear.recv(4096)
