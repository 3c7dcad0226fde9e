"""The network is cut at every moment of a reading, tabs are closed, the browser is killed: no reading is lost, none
stands twice, each has the value that was typed at its fastener, in the order in which they were made.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import time
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest
from django.urls import reverse
from playwright.sync_api import Error, expect

from jobs.models import TorqueReading
from tests.browser.conftest import ARGUMENTS
from tests.browser.devices import TABLET, sign_in
from tests.factories.run import RunFactory
from tests.factories.tool import ToolFactory
from workshop.models import Submission

CUTS = 200
KILLS = 6
TRIES = 20  # to send what was kept through a bad network, before it is good again
FASTENERS = 24
SEED = int(os.environ.get("CUTS_SEED") or random.SystemRandom().randrange(10**6))
STEP = {
    "title": "Carrier bolts",
    "fasteners": FASTENERS,
    "pattern": "line",
    "stages": [{"name": "Final", "value": "120", "tolerance_percent": "15", "unit": "N.m"}],
}
# Where the network is cut, by how often. "answered": the answer comes, and whatever is asked next gets none.
WAYS = {
    "before": 8,
    "after": 8,
    "answered": 3,
    "closed before": 1,
    "closed after": 1,
    "closed answered": 1,
    "": 6,
}

LOOK = """() => {
  const form = document.querySelector("form[data-torque]");
  const work = document.getElementById("work");
  if (!work || !("looked" in work.dataset)) return null;
  const button = form && form.querySelector(".record");
  const said = document.querySelector("[data-unsent]");
  return { mode: work.dataset.mode, said: said ? said.textContent : "", at: form && !form.hidden ? Number(form.elements.fastener.value) : 0,
    busy: Boolean(button && button.disabled), through: Boolean(document.querySelector(".kept-panel")) };
}"""

# Looked at and tapped in one go, or the tap would meet the next fastener.
AGAIN = """([fastener, number]) => {
  const form = document.querySelector("form[data-torque]");
  const button = form.querySelector(".record");
  const here = Number(form.elements.fastener.value) === fastener && form.elements.reading_value.value === number;
  if (here && !button.disabled) button.click();
}"""


class Hands:
    """Types readings into the run and knows what was typed. `value`: fastener → number, in the order of making."""

    def __init__(self, run, tool, url: str, chance: random.Random):
        self.run, self.tool, self.url, self.chance = run, tool, url, chance
        self.value: dict[int, str] = {}
        self.cuts: Counter = Counter()
        self.way = ""
        self.down = 0
        self.page = None
        self.sent: str | None = None
        self.tapped, self.missed = 0.0, 0

    # ---------------------------------------------------------------------------------------------- the network
    def guard(self, context) -> None:
        context.route("**/readings/add/", self._reading)
        context.route("**/runs/*/", self._page)

    def _cut(self, way: str) -> None:
        self.cuts[way] += 1

    def _page(self, route) -> None:
        if self.down and not route.request.is_navigation_request():
            self.down -= 1
            self._cut("page")
            route.abort("connectionreset")
        else:
            route.continue_()

    def _reading(self, route) -> None:
        way = self.chance.choices([*WAYS], [*WAYS.values()])[0] if self.way == "any" else self.way
        self.sent = way
        with contextlib.suppress(Error):  # the tab may be gone by now
            if way.endswith("before"):
                self._cut(way)
                route.abort(self.chance.choice(["internetdisconnected", "connectionreset", "timedout"]))
            elif way.endswith("after"):
                route.fetch()
                self._cut(way)
                route.abort("connectionreset")
            else:
                route.fulfill(response=route.fetch())
                if way:
                    self._cut(way)
                    self.down = self.down or way == "answered"

    # --------------------------------------------------------------------------------------------------- the hand
    def open(self, page, query: str = "") -> None:
        self.page = page
        page.goto(f"{self.url}{reverse('jobs:run', args=[self.run.pk])}{query}")

    def look(self, since: int | None = None, seconds: float = 30) -> dict:
        """What the screen shows, once it shows something else than `since` at its form."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            with contextlib.suppress(Error):
                seen = self.page.evaluate(LOOK)
                if seen and not seen["busy"] and (seen["at"] != since or seen["mode"] != "enter"):
                    return seen
                if since and seen and not seen["busy"] and time.monotonic() > self.tapped + 2:
                    # The area came anew under the finger, so that the tap met nothing: as a hand does, once more.
                    assert not seen["said"], seen["said"]
                    self.missed += 1
                    self.page.evaluate(AGAIN, [since, self.value[since]])
                    self.tapped = time.monotonic()
            self.page.wait_for_timeout(10)
        raise AssertionError(f"the form stays at fastener {since}: {self.page.evaluate(LOOK)}")

    def type(self, fastener: int) -> None:
        assert fastener not in self.value, f"fastener {fastener} is asked for again"
        number = f"{self.chance.randrange(1040, 1360) / 10:g}"
        self.value[fastener] = number
        self.page.locator("#entry-value").fill(number)
        self.page.locator("#entry .record").tap(no_wait_after=True)
        self.tapped = time.monotonic()

    def wait_sent(self, seconds: float = 90) -> None:
        """With the network back, everything goes by itself; at first it is bad still."""
        self.way, self.down = "any", 0
        for _ in range(TRIES):
            self.page.evaluate("() => window.outbox.drain()")
        self.way, self.down = "", 0
        until = time.monotonic() + seconds
        while (
            TorqueReading.objects.filter(run=self.run).count() < len(self.value) and time.monotonic() < until
        ):
            self.page.evaluate("() => { window.outbox.drain(); }")
            self.page.wait_for_timeout(150)
        while (
            self.page.evaluate("async () => (await window.outbox.list()).length") and time.monotonic() < until
        ):
            self.page.evaluate("() => { window.outbox.drain(); }")
            self.page.wait_for_timeout(100)

    def all_is_there(self) -> None:
        waiting = self.page.evaluate(
            "async () => (await window.outbox.list()).map(each => [each.label, each.state, each.why, ...each.reasons])"
        )
        assert waiting == [], "still kept on the tablet"
        rows = list(TorqueReading.objects.filter(run=self.run).order_by("made_at", "order"))
        assert [row.fastener for row in rows] == list(self.value), "lost, doubled or out of order"
        assert [row.typed for row in rows] == [Decimal(number) for number in self.value.values()]
        assert len({row.key for row in rows}) == len(rows)
        assert Submission.objects.filter(key__in=[row.key for row in rows]).count() == len(rows)
        expect(self.page.locator("#kept-list")).to_have_count(0)


@pytest.fixture
def chance():
    print(f"\nseed {SEED}: CUTS_SEED={SEED} plays the same again")
    return random.Random(SEED)


def test_two_hundred_cuts(browser, live_server, lead, technician, car, chance):
    tool = ToolFactory(person=lead, label="TW-03")
    context = browser.new_context(
        base_url=live_server.url,
        locale="en-GB",
        service_workers="block",
        **TABLET,
    )
    context.set_default_timeout(15_000)
    page = context.new_page()
    sign_in(page, technician, live_server.url)
    cuts: Counter = Counter()
    while sum(cuts.values()) < CUTS:
        run = RunFactory(person=lead, vehicle=car, steps=[STEP])
        hands = Hands(run, tool, live_server.url, chance)
        hands.guard(context)
        hands.open(page, f"?torque_tool={tool.pk}")
        seen = hands.look()
        while seen["at"]:
            hands.way, hands.sent = "any", None
            before = seen["at"]
            hands.type(before)
            if (seen := _closed_meanwhile(hands, context)) is None:
                seen = hands.look(before)
        page = hands.page
        hands.wait_sent()
        page.reload()
        hands.all_is_there()
        assert len(hands.value) == FASTENERS
        cuts += hands.cuts
        context.unroute_all(behavior="ignoreErrors")
        print(f"{sum(cuts.values())} cuts so far: {dict(hands.cuts)}, {hands.missed} taps missed")
    context.close()


def _closed_meanwhile(hands: Hands, context) -> dict | None:
    """Where the tab is to be closed around this request: closes it, opens the run in another, looks there."""
    until = time.monotonic() + 5
    while hands.sent is None and time.monotonic() < until:
        hands.page.wait_for_timeout(5)
    if not (hands.sent or "").startswith("closed"):
        return None
    hands.page.close(run_before_unload=False)
    hands.way, hands.down = "any", 0
    hands.open(context.new_page())
    return hands.look()


def test_the_browser_is_killed(browser, live_server, lead, technician, car, chance, tmp_path, playwright_of):
    """kill -9 at random moments, and the same profile again: what was said to be kept is there."""
    tool = ToolFactory(person=lead, label="TW-03")
    run = RunFactory(person=lead, vehicle=car, steps=[{**STEP, "fasteners": 3 * KILLS + 2}])
    hands = Hands(run, tool, live_server.url, chance)
    query = f"?torque_tool={tool.pk}"
    kills = 0
    while kills < KILLS:
        context = _launched(playwright_of, tmp_path, hands, technician)
        hands.way = chance.choice(["before", "after", ""])
        hands.open(context.pages[0], query)
        seen = hands.look()
        for _ in range(chance.randrange(1, 3)):
            before = seen["at"]
            hands.type(before)
            seen = hands.look(before)
        # The last one at any moment: then the screen says afterwards whether it is here.
        doubtful = seen["at"]
        hands.type(doubtful)
        with contextlib.suppress(Error):
            hands.page.wait_for_timeout(chance.choice([0, 2, 5, 10, 20, 40, 80, 160, 320]))
        _kill(tmp_path)
        kills += 1
        with contextlib.suppress(Error):
            context.close()
        hands.cuts["killed"] += 1
        context = _launched(playwright_of, tmp_path, hands, technician)
        hands.way = ""
        hands.open(context.pages[0], query)
        seen = hands.look()
        if seen["at"] == doubtful:
            del hands.value[doubtful]  # it was never said to be kept, and is asked for again
        with contextlib.suppress(Error):
            context.close()
    context = _launched(playwright_of, tmp_path, hands, technician)
    hands.open(context.pages[0])
    hands.look()
    hands.wait_sent()
    hands.page.reload()
    hands.all_is_there()
    print(f"{kills} kills, {len(hands.value)} readings, {dict(hands.cuts)}")
    context.close()


@pytest.fixture
def playwright_of(browser):
    """The Playwright that drives the browser of these tests: a process has only one."""
    return browser.browser_type


def _launched(chromium, profile: Path, hands: Hands, person):
    path = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    context = chromium.launch_persistent_context(
        str(profile),
        executable_path=path,
        headless=True,
        args=ARGUMENTS,
        locale="en-GB",
        # Its copy of the run may be from before what was sent last: that is another test's matter.
        service_workers="block",
        **TABLET,
    )
    context.set_default_timeout(15_000)
    if not any(each["name"] == "sessionid" for each in context.cookies()):
        sign_in(context.pages[0], person, hands.url)
    hands.guard(context)
    return context


def _kill(profile: Path) -> None:
    """The browser of this profile, and no other."""
    for entry in Path("/proc").iterdir():
        with contextlib.suppress(OSError, ProcessLookupError):
            if (
                entry.name.isdigit()
                and f"--user-data-dir={profile}".encode() in (entry / "cmdline").read_bytes()
            ):
                os.kill(int(entry.name), signal.SIGKILL)
