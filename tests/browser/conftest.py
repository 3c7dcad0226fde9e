"""Chromium for the tests in this folder: Debian's own, driven by Playwright, against a live server."""

import os
import shutil
import threading
import time
from pathlib import Path

import pytest
from django.db.backends.signals import connection_created

from tests.browser.devices import PHONE, TABLET, new_page

HERE = Path(__file__).resolve().parent
ARGUMENTS = [
    "--no-sandbox",  # CI runs as root, where Chromium's sandbox does not start
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.hookimpl(tryfirst=True)  # before -m chooses by the mark
def pytest_collection_modifyitems(items):
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.browser)
    _longest_first(items)


# One to three minutes each: begun last, one of them would keep one core busy while the others wait.
LONGEST = (
    "test_the_main_pages",
    "test_a_days_outbox_drains",
    "test_cuts_at_each_moment",
    "test_two_people_do_one_car",
)


def _longest_first(items):
    """Each of the four workers gets a part of the list as it stands: the longest go to the heads of these parts."""
    here = [item for item in items if HERE in item.path.parents]
    if len(here) != len(items):
        return
    long = [item for item in here if item.name.startswith(LONGEST)]
    items[:] = [item for item in here if item not in long]
    for number, item in enumerate(long):
        items.insert(number * len(here) // len(long), item)


def pytest_collection_finish(session):
    # Playwright's event loop runs in the test's thread, where Django refuses its database as if it were
    # called from async code. Only where browser tests are part of the run: elsewhere the refusal is right.
    if any(item.get_closest_marker("browser") for item in session.items):
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"


@pytest.fixture(scope="session")  # one Playwright per process
def browser():
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=20_000)  # 5 s by default: less than a busy machine needs now and then
    # The same Chromium without its windows, where it is installed: it takes a third of the processor time.
    chromium = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    assert chromium, "no chromium on the PATH: apt-get install chromium-headless-shell"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, headless=True, args=ARGUMENTS)
        yield browser
        browser.close()


class Counted:
    """The app of the live server, and how many requests it is at."""

    def __init__(self, app):
        self.app, self.at, self.lock = app, 0, threading.Lock()

    def __call__(self, environ, start_response):
        with self.lock:
            self.at += 1
        try:
            return self.app(environ, start_response)
        finally:
            with self.lock:
                self.at -= 1


@pytest.fixture(scope="session")
def live_server(live_server):
    live_server.thread.httpd.set_app(Counted(live_server.thread.httpd.get_app()))
    return live_server


@pytest.fixture(autouse=True)
def _answered(live_server):
    """The database is brought back when the server is through with what the browser asked last."""
    yield
    end = time.monotonic() + 10
    while live_server.thread.httpd.application.at and time.monotonic() < end:
        time.sleep(0.01)


def _no_sync(connection, **_):
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous=OFF")


@pytest.fixture(scope="module", autouse=True)
def _nothing_waits_for_the_disk():
    """A shop's commit is on the disk when it is answered; no test here pulls the plug."""
    connection_created.connect(_no_sync)
    yield
    connection_created.disconnect(_no_sync)


@pytest.fixture
def tablet(browser, live_server):
    """A page on the shop's tablet, lying across: touch, 1180 × 820."""
    page = new_page(browser, live_server.url, **TABLET)
    yield page
    page.context.close()


@pytest.fixture
def phone(browser, live_server):
    """A page on a telephone: touch, 390 × 844."""
    page = new_page(browser, live_server.url, **PHONE)
    yield page
    page.context.close()
