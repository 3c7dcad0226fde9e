"""What the pages weigh on the wire: `python -m tests.benchmarks.page_bytes [FOLDER]`.

The played demo, served by `manage.py demo` as a shop's server serves it (collected files, brotli, gunicorn), opened by
Chromium; what arrives is counted by the browser itself (Chrome DevTools Protocol, `Network.loadingFinished`:
`encodedDataLength`, which is headers and body as they came). With a FOLDER the demo is kept there and not played again.

first   with an empty cache: everything the page needs
next    with what the floor brought in the cache: the page, its own files and pictures
again   with all its files in the cache: the page and what is never kept
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections import defaultdict
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.benchmarks import serving

FIRST_KB, LATER_KB = 150, 30
TABLET = {"width": 1180, "height": 820}
# Pictures further down are brought when they come near: somebody reads to the end.
READ_TO_THE_END = """async () => {
  for (let at = 0; at < document.body.scrollHeight; at += innerHeight) {
    scrollTo(0, at);
    await new Promise((done) => setTimeout(done, 60));
  }
}"""


def pages() -> list[tuple[str, str, str]]:
    """(name, address, who opens it): the main screens, and the longest that the demo has."""
    from django.urls import reverse

    from jobs.models import Job, Run, SheetRevision
    from vehicles.models import Survey, Vehicle

    car, old = Vehicle.objects.get(make="Halden"), Vehicle.objects.get(make="Veldt")
    busy = Job.objects.get(vehicle__make="Ostra")
    closed = Job.objects.get(vehicle=car)
    run = Run.objects.filter(job=closed).first()
    return [
        ("sign-in", reverse("workshop:login"), ""),
        ("floor", reverse("jobs:floor"), "lida"),
        ("car", reverse("vehicles:vehicle", args=[car.pk]), "lida"),
        ("car, 20 years", reverse("vehicles:vehicle", args=[old.pk]), "lida"),
        ("job", reverse("jobs:job", args=[busy.pk]), "lida"),
        ("job, closed", reverse("jobs:job", args=[closed.pk]), "lida"),
        ("work line", reverse("jobs:line", args=[busy.lines.first().pk]), "lida"),
        ("run", reverse("jobs:run", args=[run.pk]), "lida"),
        ("handover", reverse("jobs:handover", args=[busy.pk]), "lida"),
        ("check-in", reverse("jobs:check-in", args=[busy.pk]), "lida"),
        ("survey", reverse("vehicles:survey", args=[Survey.objects.get(vehicle__make="Ostra").pk]), "lida"),
        ("history", reverse("vehicles:history", args=[old.pk]), "lida"),
        ("parts", reverse("vehicles:parts", args=[car.pk]), "lida"),
        ("photos", reverse("vehicles:photos", args=[car.pk]), "lida"),
        ("effects", reverse("vehicles:effects", args=[car.pk]), "lida"),
        ("calculators", reverse("vehicles:calculators"), "lida"),
        ("sheet", reverse("jobs:sheet", args=[SheetRevision.objects.filter(job=closed).first().pk]), "lida"),
        ("procedure", reverse("jobs:procedure-version", args=[run.version_used_id]), "lida"),
        ("vehicles", reverse("vehicles:vehicles"), "lida"),
        ("tools", reverse("workshop:tools"), "lida"),
        ("people", reverse("workshop:people"), "silvan"),
        ("log", reverse("workshop:log"), "silvan"),
        ("own car", reverse("vehicles:my-car", args=[car.pk]), "corin"),
    ]


class Counter:
    """What arrives in one page: bytes on the wire by kind, and the hosts that were asked."""

    def __init__(self, page: Any):
        self.page, self.kinds, self.hosts, self.waiting = page, {}, set(), set()
        self.arrived: dict[str, float] = defaultdict(float)
        session = page.context.new_cdp_session(page)
        session.send("Network.enable")
        session.on("Network.requestWillBeSent", self._asked)
        session.on("Network.responseReceived", self._answered)
        session.on("Network.loadingFinished", self._finished)
        session.on("Network.loadingFailed", self._failed)

    def _asked(self, event: dict) -> None:
        if (address := event["request"]["url"]).startswith("http"):
            self.hosts.add(urlsplit(address).netloc)
            self.waiting.add(event["requestId"])

    def _answered(self, event: dict) -> None:
        self.kinds[event["requestId"]] = event["type"]

    def _failed(self, event: dict) -> None:
        self.waiting.discard(event["requestId"])

    def _finished(self, event: dict) -> None:
        self.waiting.discard(event["requestId"])
        self.arrived[self.kinds.get(event["requestId"], "Other")] += event["encodedDataLength"]

    def open(self, address: str) -> dict[str, float]:
        self.arrived.clear()
        answer = self.page.goto(address, wait_until="networkidle")
        assert answer.status == 200, (address, answer.status)
        self.page.evaluate(READ_TO_THE_END)
        while self.waiting:
            self.page.wait_for_timeout(50)
        return dict(self.arrived)


def beside(context: Any) -> str:
    """What the service worker brings by itself on a device's first visit: its files, and copies of the floor's pages."""
    brought = []
    context.on("requestfinished", lambda request: brought.append(request) if request.service_worker else None)
    page = context.new_page()
    page.goto("/floor/", wait_until="networkidle")
    page.wait_for_timeout(8000)
    sizes = [request.sizes() for request in brought]
    total = sum(size["responseBodySize"] + size["responseHeadersSize"] for size in sizes)
    return f"beside the first floor the service worker asks {len(sizes)} times: {total / 1000:.1f} KB"


def main(folder: Path) -> int:
    from playwright.sync_api import sync_playwright

    with serving.demo(folder) as (url, _), sync_playwright() as playwright:
        serving.set_up_django(folder)
        from jobs.demo import PASSWORD

        chromium = playwright.chromium.launch(
            executable_path=shutil.which("chromium-headless-shell") or shutil.which("chromium"),
            args=["--no-sandbox", "--disable-gpu"],
        )
        signed_in: dict[str, list] = {"": []}

        def counter(who: str) -> Counter:
            # Without the service worker, which would answer for the network: what it takes is told apart.
            context = chromium.new_context(base_url=url, service_workers="block", viewport=TABLET)
            if who not in signed_in:
                page = context.new_page()
                page.goto("/sign-in/")
                page.fill("[name=username]", who)
                page.fill("[name=password]", PASSWORD)
                page.press("[name=password]", "Enter")
                page.wait_for_load_state("networkidle")
                signed_in[who] = context.cookies()
                context.close()
                return counter(who)
            context.add_cookies(signed_in[who])
            return Counter(context.new_page())

        kinds = ("Document", "Stylesheet", "Script", "Font", "Image")
        print(
            f"{'page':<15}{'first':>8}",
            *(f"{kind[:6].lower():>8}" for kind in kinds),
            f"{'next':>8}{'again':>8}  KB",
        )
        over, hosts = 0, set()
        for name, address, who in pages():
            cold = counter(who)
            found = cold.open(address)
            again = sum(cold.open(address).values())
            cold.page.context.close()
            warm = counter(who)
            warm.open("/floor/" if who not in ("", "corin") else "/sign-in/")
            after = sum(warm.open(address).values())
            warm.page.context.close()
            hosts |= cold.hosts | warm.hosts
            first = sum(found.values())
            bad = first > FIRST_KB * 1000 or max(after, again) > LATER_KB * 1000
            over += bad
            figures = [first, *(found.get(kind, 0) for kind in kinds), after, again]
            print(f"{name:<15}", *(f"{value / 1000:>7.1f}" for value in figures), "  OVER" if bad else "")
        context = chromium.new_context(base_url=url, viewport=TABLET)
        context.add_cookies(signed_in["lida"])
        print(beside(context))
        chromium.close()
    print(f"hosts asked: {', '.join(sorted(hosts))}")
    print(f"{over} of {len(pages())} pages above {FIRST_KB} KB at first or {LATER_KB} KB later")
    return 1 if over or len(hosts) != 1 else 0


if __name__ == "__main__":
    if sys.argv[1:]:
        raise SystemExit(main(Path(sys.argv[1]).resolve()))
    with tempfile.TemporaryDirectory(prefix="page-bytes-") as made:
        raise SystemExit(main(Path(made)))
