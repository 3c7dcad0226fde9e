"""The devices that the tests hold in their hands, who is signed in on them, and what their pages complain of."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import urlsplit

from django.conf import settings
from django.test import Client

TABLET = {"has_touch": True, "viewport": {"width": 1180, "height": 820}, "device_scale_factor": 1}
PHONE = {
    "has_touch": True,
    "is_mobile": True,
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 1,
}

PRINTED = 60_000  # ms: on a busy machine the PDF engine takes as long as that


def new_page(browser, url, **options):
    # A service worker would answer pages of its own and pass by `page.route`: only where a test is about it.
    options.setdefault("service_workers", "block")
    context = browser.new_context(base_url=url, locale="en-GB", timezone_id="Europe/Berlin", **options)
    context.set_default_timeout(20_000)  # 30 s by default: a failing run would take minutes
    return context.new_page()


def sign_in(page, person, url: str) -> None:
    """Give the browser a session of this person, or of nobody. The door itself has a test of its own."""
    page.context.clear_cookies()
    if person is None:
        return
    client = Client()
    client.force_login(person)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": url}])


@dataclass
class Watch:
    """Writes down what every page of a browser's context complains of.

    `expected` is the status that the page itself is meant to answer with: Chromium writes a line on the
    console for a 403 or a 404 too, and that one line is no complaint.
    """

    page: object
    url: str
    complaints: list[str] = field(default_factory=list)
    expected: int = 200

    def __post_init__(self):
        context = self.page.context
        # Said on the console, which is listened to: the browser's own line about it names less.
        context.add_init_script(
            "document.addEventListener('securitypolicyviolation', event => console.error("
            "`policy: ${event.violatedDirective} ${event.blockedURI} ${event.sourceFile}:${event.lineNumber}`))"
        )
        context.on("console", self._console)
        context.on("weberror", lambda error: self._say(f"script: {error.error}"))
        context.on("request", self._request)
        context.on("requestfailed", self._failed)
        context.on("response", self._response)

    def _say(self, text: str) -> None:
        self.complaints.append(f"{urlsplit(self.page.url).path}: {text}")

    def _console(self, message) -> None:
        status = f"status of {self.expected} "
        meant = (
            self.expected != 200
            and message.text.startswith("Failed to load resource")
            and status in message.text
        )
        # A request that the next page cut off; one that failed says so under a name of its own besides.
        cut_off = message.text.startswith(("htmx:afterRequest", "htmx:sendAbort"))
        if message.type == "error" and not (meant or cut_off):
            self._say(f"console: {message.text}")

    def _request(self, request) -> None:
        if not request.url.startswith((f"{self.url}/", "data:", "blob:")):
            self._say(f"asks another host: {request.url}")

    def _failed(self, request) -> None:
        if request.failure != "net::ERR_ABORTED":  # what the next page cut off
            self._say(f"not loaded: {request.url} {request.failure}")

    def _response(self, response) -> None:
        if response.status >= 400 and not (
            response.request.is_navigation_request() and response.status == self.expected
        ):
            self._say(f"{response.status}: {response.url}")
