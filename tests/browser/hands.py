"""Hands that type readings into a run while the network is cut around them, several tablets at the same time.

A hand is a generator that yields where it waits, so that the others go on meanwhile (`together`). What each screen
shows is told by the page itself, when it changes.
"""

from __future__ import annotations

import contextlib
import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from decimal import Decimal

from django.urls import reverse
from playwright.sync_api import Error, expect

from jobs.models import TorqueReading
from workshop.models import Submission

TRIES = 60  # to send what was kept through a bad network, before it is good again
# Where the network is cut, by how often. "answered": the answer comes, and whatever is asked next gets none.
WAYS = {
    "before": 11,
    "after": 11,
    "answered": 9.5,
    "closed before": 0.5,
    "closed after": 0.5,
    "closed answered": 0.5,
    "": 0.3,
}

# The page says what it shows, when that changes: asked again and again, twenty screens would be too slow.
TELL = """(() => {
  let last = "";
  const look = () => {
    const form = document.querySelector("form[data-torque]");
    const work = document.getElementById("work");
    if (!work || !("looked" in work.dataset)) return;
    const button = form && form.querySelector(".record");
    const said = document.querySelector("[data-unsent]");
    const seen = { mode: work.dataset.mode, said: said ? said.textContent : "",
      at: form && !form.hidden ? Number(form.elements.fastener.value) : 0, busy: Boolean(button && button.disabled) };
    if (JSON.stringify(seen) === last) return;
    last = JSON.stringify(seen);
    window.told(seen);
  };
  setInterval(look, 50);
})()"""

# Looked at and tapped in one go, or the tap would meet the next fastener.
TAP = """([fastener, number, again]) => {
  const form = document.querySelector("form[data-torque]");
  const button = form.querySelector(".record");
  const input = form.elements.reading_value;
  if (Number(form.elements.fastener.value) !== fastener || button.disabled || button.closest("[inert]")) return false;
  if (again && input.value !== number) return true;
  input.value = number;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  button.click();
  return true;
}"""
# Sends what lies here, and says when it is through with it.
SEND = """(tries) => {
  const send = async () => {
    for (let n = 0; n < tries && (await window.outbox.list()).length; n += 1) {
      // The lease of a tab that was closed runs out soon.
      if (await window.outbox.drain() === "elsewhere") await new Promise((done) => { setTimeout(done, 250); });
    }
    const left = await window.outbox.list();
    window.told({ left: left.length, refused: left.filter(each => each.state === "refused").map(each => [each.label, ...each.reasons]) });
  };
  send();
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
        self.closes = False
        self.seen: dict | None = None
        self.left: int | None = None
        self.refused: list[list[str]] = []
        self.hit, self.tapped, self.missed, self.anew = False, 0.0, 0, 0

    # ---------------------------------------------------------------------------------------------- the network
    def guard(self, context) -> None:
        context.expose_binding("told", self._told)
        context.add_init_script(TELL)
        context.route("**/readings/add/", self._reading)
        context.route("**/runs/*/", self._page)

    def _told(self, source, seen: dict) -> None:
        if source["page"] != self.page:
            return
        if "left" in seen:
            self.left = seen["left"]
            self.refused = seen["refused"]
        else:
            self.seen = seen

    def _page(self, route) -> None:
        if self.down and not route.request.is_navigation_request():
            self.down -= 1
            self.cuts["page"] += 1
            route.abort("connectionreset")
        else:
            route.continue_()

    def _reading(self, route) -> None:
        way = self.chance.choices([*WAYS], [*WAYS.values()])[0] if self.way == "any" else self.way
        with contextlib.suppress(Error):  # the tab may be gone by now
            if way.endswith("before"):
                route.abort(self.chance.choice(["internetdisconnected", "connectionreset", "timedout"]))
            elif way.endswith("after"):
                route.fetch()
                route.abort("connectionreset")
            elif way.startswith("closed"):
                route.fulfill(response=route.fetch())
            else:
                self.down = self.down or way == "answered"
                route.continue_()
            if way:
                self.cuts[way] += 1
            self.closes = self.closes or way.startswith("closed")

    # --------------------------------------------------------------------------------------------------- the hand
    def open(self, page, query: str = "") -> None:
        self.page, self.seen, self.closes = page, None, False
        page.goto(f"{self.url}{reverse('jobs:run', args=[self.run.pk])}{query}", wait_until="commit")

    def look(self, since: int | None = None, seconds: float = 60) -> Iterator[None]:
        """Waits until the screen shows something else than `since` at its form; answers what."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and not self.closes:
            seen = self.seen
            if seen and not seen["busy"] and (seen["at"] != since or seen["mode"] != "enter"):
                return seen
            if since and not self.hit and time.monotonic() > self.tapped + 0.05:
                self._tap(since)  # the button could not be tapped just then
            elif since and seen and not seen["busy"] and time.monotonic() > self.tapped + 2:
                # The area came anew under the finger, so that the tap met nothing: as a hand does, once more.
                assert not seen["said"], seen["said"]
                self.missed += 1
                self._tap(since, again=True)
            yield
        assert self.closes, f"the form stays at fastener {since}: {self.seen}"
        return None

    def type(self, fastener: int) -> None:
        assert fastener not in self.value, f"fastener {fastener} is asked for again"
        self.value[fastener] = f"{self.chance.randrange(1040, 1360) / 10:g}"
        self.hit = False
        self._tap(fastener)

    def _tap(self, fastener: int, *, again: bool = False) -> None:
        with contextlib.suppress(Error):
            self.hit = self.page.evaluate(TAP, [fastener, self.value[fastener], again])
        self.tapped = time.monotonic()

    def open_again(self) -> None:
        """In another tab, once this one is closed. It may be in the middle of sending."""
        context = self.page.context
        self.page.close(run_before_unload=False)
        self.down = 0
        self.open(context.new_page())

    def work(self) -> Iterator[None]:
        """The whole run, and everything sent."""
        self.way = "any"
        seen, before = (yield from self.look()), None
        while seen is None or seen["at"]:
            if seen is not None:
                before = seen["at"]
                self.type(before)
                seen = yield from self.look(before)
            if seen is None:
                self.open_again()
                seen = yield from self.look()
                if seen and seen["at"] and seen["at"] == before:
                    del self.value[
                        before
                    ]  # the tab went before it was said to be kept, and it is asked for again
                    self.anew += 1
        yield from self.send()

    def send(self, seconds: float = 300) -> Iterator[None]:
        """Everything goes by itself, at first through a network that is bad still."""
        until = time.monotonic() + seconds
        self.way, self.left = "any", None
        self.page.evaluate(SEND, TRIES)
        while self.left is None or self.left:
            assert not self.refused, (self.refused, self.anew)
            assert time.monotonic() < until, f"it is not sent: {self.left}"
            if self.closes:
                self.open_again()
                yield from self.look()
            elif self.left is None:
                yield
                continue
            else:
                self.way, self.down = "", 0
            self.left = None
            self.page.evaluate(SEND, TRIES)

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


def together(works: list[Iterator[None]], pump: Callable[[], None]) -> None:
    """Each as far as it comes, in turn, until all are through."""
    while works:
        for each in list(works):
            try:
                next(each)
            except StopIteration:
                works.remove(each)
        pump()


def at_once(work: Iterator, page) -> dict | None:
    """One alone, to its end."""
    while True:
        try:
            next(work)
        except StopIteration as end:
            return end.value
        with contextlib.suppress(Error):
            page.wait_for_timeout(5)
