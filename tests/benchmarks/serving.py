"""The demo served as a shop's own server serves it, for what is measured here from outside."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
START_SECONDS = 300  # the first start plays the demo


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return listener.getsockname()[1]


@contextlib.contextmanager
def demo(folder: Path, *arguments: str) -> Iterator[tuple[str, int]]:
    """Address and process number of `manage.py demo` on its data in `folder` (played on first use), stopped at the end.

    Sets this process's environment to the same data: call before Django is set up.
    """
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    os.environ["WORKSHOP_DATA"] = str(folder)
    command = [sys.executable, "manage.py", "demo", "--bind", f"127.0.0.1:{port}", *arguments]
    with (folder / "serve.log").open("ab") as out:
        server = subprocess.Popen(command, cwd=ROOT, stdout=out, stderr=out)
        try:
            _wait_for(url, server, folder / "serve.log")
            yield url, server.pid
        finally:
            server.terminate()
            server.wait(timeout=30)


def _wait_for(url: str, server: subprocess.Popen, said: Path) -> None:
    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        if server.poll() is not None:
            raise SystemExit(f"the server ended by itself: see {said}")
        with contextlib.suppress(OSError), urllib.request.urlopen(f"{url}/health/", timeout=2):
            return
        time.sleep(0.5)
    raise SystemExit(f"the server did not answer within {START_SECONDS} s: see {said}")


def set_up_django(folder: Path) -> None:
    """This process reads the same records as the server does."""
    os.environ["WORKSHOP_DATA"] = str(folder / "demo")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    # Playwright's event loop runs in this thread, where Django refuses its database as if called from async code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    import django

    django.setup()
