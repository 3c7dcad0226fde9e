"""Settings of the gunicorns that `serve --tls` starts, in gunicorn's own form: names it reads, hooks it calls."""

import ctypes
import signal
import ssl
import sys
from pathlib import Path

# Seconds that an idle connection stays open. A tablet asks every few seconds: it need not greet anew each time.
keepalive = 20

_kept: tuple[object, ssl.SSLContext] | None = None


def on_starting(server) -> None:
    end_with_parent()


def end_with_parent() -> None:
    """Where the process above dies without a word, this one ends too, and the port is free again (Linux, prctl(2))."""
    if sys.platform.startswith("linux"):
        tell_me_when_my_parent_dies = 1
        ctypes.CDLL(None).prctl(tell_me_when_my_parent_dies, signal.SIGTERM)


def ssl_context(config, default_ssl_context_factory) -> ssl.SSLContext:
    """Asked for each connection: the same one until the certificate's file changes, so a renewed one is used at once."""
    global _kept
    told = Path(config.certfile).stat()
    stamp = (told.st_ino, told.st_mtime_ns)
    kept = _kept
    if kept is None or kept[0] != stamp:
        kept = _kept = (stamp, default_ssl_context_factory())
    return kept[1]
