"""The network is cut at every moment of a reading, tabs are closed, the browser is killed: no reading is lost, none
stands twice, each has the value that was typed at its fastener, in the order in which they were made.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
from collections import Counter
from pathlib import Path

import pytest
from playwright.sync_api import Error

from tests.browser.conftest import ARGUMENTS
from tests.browser.devices import TABLET, new_page, sign_in
from tests.browser.hands import Hands, at_once, together
from tests.factories.run import RunFactory
from tests.factories.tool import ToolFactory

# At each of the three moments: before it is sent, before the answer, after the answer. CUTS=200 for a long hunt.
CUTS = int(os.environ.get("CUTS", "80"))
CLOSED = 10  # tabs
KILLS = 6
TABLETS = 3
FASTENERS = 37
# With CI set the same each time: what judges a change must not hang on luck.
SEED = int(
    os.environ.get("CUTS_SEED") or ("CI" in os.environ and 2026) or random.SystemRandom().randrange(10**6)
)
# A third of the time goes into drawing what nobody looks at here.
SMALL = {"has_touch": True, "viewport": {"width": 320, "height": 240}, "reduced_motion": "reduce"}
STEP = {
    "title": "Carrier bolts",
    "fasteners": FASTENERS,
    "pattern": "line",
    "stages": [{"name": "Final", "value": "120", "tolerance_percent": "15", "unit": "N.m"}],
}


@pytest.fixture
def chance():
    print(f"\nseed {SEED}: CUTS_SEED={SEED} plays the same again")
    return random.Random(SEED)


def by_moment(cuts: Counter) -> dict[str, int]:
    return {
        moment: sum(cuts[way] for way in cuts if way.endswith(moment))
        for moment in ("before", "after", "answered")
    }


def test_cuts_at_each_moment(browser, live_server, lead, technician, car, chance):
    tool = ToolFactory(person=lead, label="TW-03")
    cuts: Counter = Counter()
    closed = 0
    pump = new_page(browser, live_server.url)
    tablets, fasteners = TABLETS, FASTENERS
    while min(by_moment(cuts).values()) < CUTS or closed < CLOSED:
        hands = []
        for _ in range(tablets):
            run = RunFactory(person=lead, vehicle=car, steps=[{**STEP, "fasteners": fasteners}])
            hands.append(Hands(run, tool, live_server.url, random.Random(chance.random())))
            page = new_page(browser, live_server.url, **SMALL)
            sign_in(page, technician, live_server.url)
            hands[-1].guard(page.context)
            hands[-1].open(page, f"?torque_tool={tool.pk}")
        together([each.work() for each in hands], lambda: pump.wait_for_timeout(20))
        for each in hands:
            each.page.reload()
            each.all_is_there()
            assert len(each.value) == fasteners
            cuts += each.cuts
            each.page.context.close()
        closed = sum(count for way, count in cuts.items() if way.startswith("closed"))
        missed, anew = (sum(getattr(each, name) for each in hands) for name in ("missed", "anew"))
        print(
            f"{by_moment(cuts)} cuts, {closed} tabs closed, {missed} taps missed, {anew} typed anew: {dict(cuts)}"
        )
        tablets, fasteners = 3, 12  # where a few are still missing
    pump.context.close()


def test_the_browser_is_killed(browser, live_server, lead, technician, car, chance, tmp_path, playwright_of):
    """kill -9 at random moments, and the same profile again: what was said to be kept is there."""
    tool = ToolFactory(person=lead, label="TW-03")
    run = RunFactory(person=lead, vehicle=car, steps=[{**STEP, "fasteners": 3 * KILLS + 2}])
    hands = Hands(run, tool, live_server.url, chance)
    query = f"?torque_tool={tool.pk}"

    def look(since: int | None = None) -> dict:
        return at_once(hands.look(since), hands.page)

    kills = 0
    while kills < KILLS:
        context = _launched(playwright_of, tmp_path, hands, technician)
        hands.way = chance.choice(["before", "after", ""])
        hands.open(context.pages[0], query)
        seen = look()
        for _ in range(chance.randrange(1, 3)):
            before = seen["at"]
            hands.type(before)
            seen = look(before)
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
        if look()["at"] == doubtful:
            del hands.value[doubtful]  # it was never said to be kept, and is asked for again
        with contextlib.suppress(Error):
            context.close()
    context = _launched(playwright_of, tmp_path, hands, technician)
    hands.open(context.pages[0])
    look()
    at_once(hands.send(), hands.page)
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
