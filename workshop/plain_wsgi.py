"""Plain http beside `serve --tls`: the trust page and what it needs; everything else is led to https."""

from __future__ import annotations

import re
from urllib.parse import quote

from workshop import trust
from workshop.wsgi import application as whole_app

OPEN = re.compile(r"/(trust(/.*)?|health/|static/.*|favicon\.ico)")


def application(environ, start_response):
    # WSGI's texts are bytes read as Latin-1.
    path = environ.get("PATH_INFO", "/")
    if OPEN.fullmatch(path):
        return whole_app(environ, start_response)
    address = trust.https_address(environ.get("HTTP_HOST", "")) + quote(path.encode("latin-1"))
    if query := environ.get("QUERY_STRING"):
        address += f"?{quote(query, safe='=&%+;/:?@!$,()*~-._[]')}"
    # Not for ever (301): the shop may turn TLS off again, and a tablet would go on being led astray. A form that was
    # sent here is led on as it is (307).
    status = "302 Found" if environ["REQUEST_METHOD"] in ("GET", "HEAD") else "307 Temporary Redirect"
    body = f"This is at {address}\n".encode()
    start_response(
        status,
        [
            ("Location", address),
            ("Content-Type", "text/plain; charset=utf-8"),
            ("Content-Length", str(len(body))),
            ("Cache-Control", "no-store"),
        ],
    )
    return [] if environ["REQUEST_METHOD"] == "HEAD" else [body]
