"""Without network: what was opened opens again with its age, for its person alone, and nothing of it is sent unseen."""

from __future__ import annotations

import re
import time

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.http import HttpResponse
from django.urls import reverse
from playwright.sync_api import expect

from jobs.views import floor as floor_views
from jobs.views import torque as run_views
from tests.browser.devices import PHONE, TABLET, Watch, new_page, sign_in
from tests.browser.test_run_tablet import next_is
from tests.browser.test_tablet_door import PIN, cover, enrol, enter, tap_pin
from tests.factories.photo import PhotoFactory
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory
from tests.people import by
from vehicles.acts import photo as photo_acts
from vehicles.views import find as find_views
from workshop.acts import devices, pins
from workshop.models import Device, TorqueTool
from workshop.views import copies

pytestmark = pytest.mark.django_db(transaction=True)

# Success criteria of WCAG 2.2, levels A and AA, as axe's rules are tagged with them.
WCAG = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
WHEEL = {
    "title": "Wheel nuts",
    "fasteners": 5,
    "stages": [
        {"name": "Seat", "value": "60", "tolerance_percent": "15", "unit": "N.m"},
        {"name": "Final", "value": "120", "tolerance_percent": "15", "unit": "N.m"},
    ],
}
KEPT = """async () => {
  const found = [];
  for (const name of await caches.keys()) {
    if (!name.startsWith("pages of")) continue;
    for (const key of await (await caches.open(name)).keys()) found.push(decodeURIComponent(key.url));
  }
  return found;
}"""


@pytest.fixture
def run(lead, car):
    ToolFactory(person=lead, label="TW-03")
    return RunFactory(person=lead, vehicle=car, steps=[WHEEL])


class Server:
    """The live server, which can be made to close every connection without an answer.

    `set_offline` alone would do but for a worker that the browser ends and begins anew meanwhile: it is let through.
    """

    def __init__(self, live_server):
        self.http = live_server.thread.httpd
        self.app = self.http.get_app
        self.http.get_app = self.get_app
        self.gone = False

    def get_app(self):
        if self.gone:
            raise BrokenPipeError
        return self.app()


@pytest.fixture
def server(live_server):
    server = Server(live_server)
    yield server
    del server.http.get_app


@pytest.fixture
def device(browser, live_server, server, monkeypatch):
    """A page in a browser whose service worker may run."""
    monkeypatch.setattr(copies, "PAUSE", 20)
    made = []

    def page(options=TABLET):
        made.append(new_page(browser, live_server.url, service_workers="allow", **options))
        return made[-1]

    yield page
    for each in made:
        each.context.close()


def until_kept(page, *wanted: str) -> None:
    """Copies are fetched in idle time, one after the other."""
    end = time.monotonic() + 20
    missing = set(wanted)
    while missing := {url for url in missing if not any(each.endswith(url) for each in page.evaluate(KEPT))}:
        assert time.monotonic() < end, (missing, page.evaluate(KEPT))
        page.wait_for_timeout(100)


def until_gone(page, url: str) -> None:
    end = time.monotonic() + 10
    while any(each.endswith(url) for each in page.evaluate(KEPT)):
        assert time.monotonic() < end, page.evaluate(KEPT)
        page.wait_for_timeout(50)


def banner(page):
    return page.locator(".copy-said")


def no_answer(page, server) -> None:
    server.gone = True
    page.context.set_offline(True)


def answers_again(page, server) -> None:
    server.gone = False
    page.context.set_offline(False)


def axe(page) -> list[str]:
    page.evaluate(AXE_SCRIPT)
    found = page.evaluate("runOnly => axe.run({ runOnly })", WCAG)
    return [f"{each['id']}: {[node['html'] for node in each['nodes']]}" for each in found["violations"]]


def keys_of(page) -> set[str]:
    return {each.get_attribute("value") for each in page.locator('main input[name="key"]').all()}


def test_what_hangs_on_a_job_opens_under_the_lift(device, live_server, server, run, car, technician):
    page = device()
    watch = Watch(page, live_server.url)
    job, run_url = run.job.get_absolute_url(), run.get_absolute_url()
    stages = list(run.version_used.steps.get().stages.order_by("order"))
    sign_in(page, technician, live_server.url)
    page.goto(reverse("jobs:floor"))
    until_kept(page, reverse("jobs:floor"))  # the very first page came before the worker
    page.goto(car.get_absolute_url())
    page.goto(job)
    keys = keys_of(page)
    write = f"{reverse('jobs:line-write', args=[run.line.pk])}?from=job"
    last_stage = next(
        url for url in _stage_urls(page, run_url) if f"stage={stages[-1].pk}" in url
    )  # as the run's own page links to it
    with_tool = f"torque_tool={TorqueTool.objects.get().pk}"
    until_kept(page, car.get_absolute_url(), job, run_url, last_stage, with_tool, write)
    assert watch.complaints == []

    no_answer(page, server)
    for url, heading in (
        (reverse("jobs:floor"), "Floor"),
        (car.get_absolute_url(), car.name),
        (run_url, str(run)),
        (last_stage, str(run)),
        (job, run.job.title),
    ):
        page.goto(url)
        expect(page.get_by_role("heading", level=1)).to_contain_text(heading)
        expect(banner(page)).to_contain_text(
            re.compile(
                r"No answer from the workshop's server\. This is the copy of \d\d:\d\d today, less than a minute old\."
            )
        )
        assert banner(page).locator("[role=status]").count() == 1
        assert page.title().startswith("Copy of ")
        expect(page.locator("#live-trouble")).to_have_count(0)  # one notice, not two
    # The run was never opened: the tool is chosen all the same.
    page.goto(run_url)
    page.get_by_role("link", name="TW-03").tap()
    expect(page.get_by_role("button", name="Record", exact=True)).to_be_visible()
    expect(banner(page)).to_be_visible()
    expect(page.get_by_text("What you chose on this page has no copy")).to_have_count(0)
    # The age goes on counting.
    page.clock.install()
    page.goto(job)
    page.clock.fast_forward("25:00")
    expect(banner(page)).to_contain_text("25 minutes old")
    # Its forms were perhaps sent since: under their old keys another record would be taken for a repeat.
    assert keys
    assert not keys & keys_of(page)
    assert axe(page) == []

    # The text of a line is written on the form's own copy, in its place on the job page.
    row = page.locator(f"#line-{run.line.pk}")
    row.get_by_role("link", name="Write", exact=True).tap()
    expect(row.get_by_text("this form is its copy of")).to_be_visible()
    expect(row.get_by_label("Cause")).to_be_visible()
    row.get_by_label("Cause").fill("Nuts were loose")
    row.get_by_role("button", name="Save").tap()
    expect(page.locator("#waiting")).to_contain_text("1")  # kept on the tablet, and said so
    # Nothing is sent that can't wait on the device, signing out least of all.
    page.get_by_role("button", name="Sign out").tap()
    expect(page.locator("#notice")).to_contain_text("Signing out needs the network")

    # A page without a copy: what is going on, and what there is.
    page.goto(reverse("vehicles:vehicles"))
    expect(page.get_by_role("heading", level=1)).to_have_text("No answer from the workshop's server")
    names = page.get_by_role("region", name="Pages with a copy on this device").get_by_role("link")
    expect(names.filter(has_text=str(run))).to_have_count(1)  # once, for all its stages
    expect(page.locator(".who .name")).to_contain_text(technician.name)
    assert axe(page) == []
    page.get_by_role("button", name="Try again").tap()
    expect(page.locator("[data-tried]")).to_contain_text("Still no answer, tried at")
    page.get_by_role("link", name="What waits").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Kept on this tablet")
    page.go_back()

    # On a copy that somebody types on, the server's answer sweeps nothing away; what was kept is saved.
    page.goto(write)
    page.get_by_label("Correction").fill("Set anew")
    answers_again(page, server)
    expect(banner(page)).to_contain_text("The workshop's server answers again")
    expect(page.get_by_label("Correction")).to_have_value("Set anew")
    # A page that was left while it tried to send holds the turn for some seconds more.
    expect(page.locator("#waiting")).to_be_hidden(timeout=45_000)
    run.line.refresh_from_db()
    assert run.line.cause == "Nuts were loose"
    no_answer(page, server)
    page.goto(reverse("vehicles:vehicles"))
    expect(page.get_by_role("heading", level=1)).to_have_text("No answer from the workshop's server")

    # The server answers: the page that was asked for comes by itself.
    answers_again(page, server)
    expect(page.get_by_role("heading", level=1)).to_have_text("Vehicles", timeout=60_000)
    expect(banner(page)).to_have_count(0)
    assert not [each for each in watch.complaints if "policy:" in each or "script:" in each]


def test_a_network_that_is_said_to_be_back_too_early_is_tried_again_soon(
    device, live_server, server, technician
):
    """Also where the page without a copy was just loaded anew for nothing: it would ask next after 20 seconds."""
    page = device()
    sign_in(page, technician, live_server.url)
    page.goto(reverse("jobs:floor"))
    until_kept(page, reverse("jobs:floor"))
    no_answer(page, server)
    page.goto(reverse("vehicles:vehicles"))
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_have_text("No answer from the workshop's server")
    page.evaluate("sessionStorage.setItem('copy-reloaded', String(Date.now()))")
    page.context.set_offline(False)
    page.wait_for_timeout(500)
    expect(heading).to_have_text("No answer from the workshop's server")
    server.gone = False
    expect(heading).to_have_text("Vehicles", timeout=15_000)


def _stage_urls(page, run_url: str) -> list[str]:
    text = page.evaluate("url => fetch(url).then((answer) => answer.text())", run_url)
    found = re.findall(r'<li class="stage[^>]*><a href="([^"#]+)', text)
    return [each.replace("&amp;", "&") for each in found]


def test_copies_are_one_persons_and_go_with_the_sign_out(
    device, live_server, server, run, technician, other_technician
):
    page = device(PHONE)
    job = run.job.get_absolute_url()
    sign_in(page, technician, live_server.url)
    page.goto(job)
    until_kept(page, job)
    page.goto("about:blank")  # between two sessions its poll would be told that nobody is signed in
    sign_in(page, other_technician, live_server.url)
    page.goto(reverse("workshop:tools"))
    until_kept(page, reverse("workshop:tools"))
    no_answer(page, server)
    page.goto(job)
    expect(page.get_by_role("heading", level=1)).to_have_text("No answer from the workshop's server")
    expect(page.locator("main")).not_to_contain_text(run.job.title)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]

    # The first is here again: their copies are. Signed out, they are gone, and another's are not.
    page.goto("about:blank")  # the page would open itself as soon as the server answers
    answers_again(page, server)
    sign_in(page, technician, live_server.url)
    page.goto(reverse("jobs:floor"))
    no_answer(page, server)
    page.goto(job)
    expect(banner(page)).to_be_visible()
    page.goto("about:blank")
    answers_again(page, server)
    page.goto(reverse("jobs:floor"))
    page.get_by_role("button", name="Sign out").tap()
    expect(page.get_by_label("Password")).to_be_visible()
    until_gone(page, job)
    assert any(each.endswith(reverse("workshop:tools")) for each in page.evaluate(KEPT))
    no_answer(page, server)
    page.goto(job)
    expect(page.locator("[data-no-copy]")).to_be_visible()


def test_a_slow_server_and_a_dead_one_behind_its_proxy(
    device, live_server, server, run, technician, monkeypatch
):
    monkeypatch.setattr(copies, "PATIENCE", 300)
    page = device()
    floor = reverse("jobs:floor")
    sign_in(page, technician, live_server.url)
    page.goto(floor)
    until_kept(page, floor)
    rows, slow = floor_views._rows, {"seconds": 1.5}

    def late(*arguments):
        time.sleep(slow["seconds"])
        return rows(*arguments)

    monkeypatch.setattr(floor_views, "_rows", late)
    before = page.evaluate(MADE, floor)
    page.goto(floor)
    expect(banner(page)).to_be_visible()  # long before the server is through
    # The answer that came late is the new copy.
    end = time.monotonic() + 8
    while page.evaluate(MADE, floor) == before:
        assert time.monotonic() < end
        page.wait_for_timeout(100)
    # A proxy whose server is gone answers, too.
    slow["seconds"] = 0
    monkeypatch.setattr(floor_views, "render", lambda *rest: HttpResponse("nobody there", status=502))
    page.goto(floor)
    expect(banner(page)).to_be_visible()


MADE = """async (path) => {
  for (const name of await caches.keys()) {
    const kept = name.startsWith("pages of") && await (await caches.open(name)).match(path);
    if (kept) return kept.headers.get("X-Made");
  }
  return "";
}"""


FROM_CACHES = """async (path) => {
  const held = [];
  for (const name of await caches.keys()) if (await (await caches.open(name)).match(path)) held.push(name);
  // Without the worker's answer: what the browser itself still holds.
  const own = await fetch(path, { cache: "only-if-cached", mode: "same-origin" }).then((answer) => answer.ok, () => false);
  return [held, own];
}"""


@pytest.mark.outside(
    "W3C, Clear Site Data, Working Draft, 3.1: “cache” has the browser forget what it keeps of this origin's answers; "
    "from memory"
)
def test_what_was_erased_goes_from_every_copy_with_the_next_page(
    device, live_server, server, run, car, technician, other_technician, shop_owner, settings, tmp_path,
    monkeypatch, published,
):  # fmt: skip
    settings.STORAGES = {**settings.STORAGES, "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": tmp_path}}}  # fmt: skip
    photo = PhotoFactory(person=technician, vehicle=car, line=run.line, caption="A visitor's face")
    page = device()
    line, job, floor = run.line.get_absolute_url(), run.job.get_absolute_url(), reverse("jobs:floor")
    search = reverse("vehicles:find")
    sign_in(page, other_technician, live_server.url)
    page.goto(job)
    until_kept(page, job)
    page.goto("about:blank")
    sign_in(page, technician, live_server.url)
    page.goto(line)
    thumb = page.locator("img[src*='/thumb/']").first
    thumb.scroll_into_view_if_needed()
    path = thumb.get_attribute("src")
    until_kept(page, line)
    expect(thumb).to_have_js_property("complete", True)
    assert page.evaluate(FROM_CACHES, path) == [[f"thumbs of {technician.pk}"], True]
    assert f"pages of {other_technician.pk}" in page.evaluate(FROM_CACHES, job)[0]
    # Begun before the erasure, through after it: such an answer is not kept either.
    find, slow = find_views.finding.find, {"seconds": 1.5}

    def late(*arguments):
        time.sleep(slow["seconds"])
        return find(*arguments)

    monkeypatch.setattr(find_views.finding, "find", late)
    page.evaluate(
        "(path) => { window.late = fetch(path, { headers: { 'X-Inline': '1' } }).then(each => each.text()); }",
        search,
    )
    page.wait_for_timeout(500)
    photo_acts.erase(by=by(shop_owner), attachment=photo, because="the visitor asked for it")
    slow["seconds"] = 0
    page.evaluate("(path) => fetch(path, { headers: { 'X-Inline': '1' } }).then(each => each.text())", job)
    until_kept(page, job)
    page.evaluate("() => window.late")
    page.wait_for_timeout(500)
    # Others may have been fetched since, beside those.
    assert [url for url in page.evaluate(KEPT) if url.endswith((line, search))] == []
    held, own = page.evaluate(FROM_CACHES, path)
    assert held == []
    published.same(own, False, "held by the browser itself")
    assert page.evaluate(FROM_CACHES, job)[0] == [f"pages of {technician.pk}"]  # the other person's went too

    # Made anew by visiting, and kept from then on.
    page.goto(line)
    until_kept(page, line)
    page.goto(floor)
    until_kept(page, floor)
    no_answer(page, server)
    page.goto(line)
    expect(banner(page)).to_be_visible()
    expect(page.locator("main")).not_to_contain_text("A visitor's face")
    expect(page.locator(f"img[src='{path}']")).to_have_count(0)


def test_a_copy_of_a_run_asks_what_stands_before_the_hand_goes_on(
    device, live_server, server, run, lead, technician, monkeypatch
):
    """The server takes its time: the copy is shown, and asks for a fastener that is on record by now."""
    monkeypatch.setattr(copies, "PATIENCE", 300)
    tool = TorqueTool.objects.get()
    page = device()
    address = f"{run.get_absolute_url()}?torque_tool={tool.pk}"
    sign_in(page, technician, live_server.url)
    page.goto(address)
    until_kept(page, address)
    next_is(page, 1)
    page.goto("about:blank")
    click(lead, run, 1, 1, 60, tool)  # on another tablet
    state_of = run_views.state_of

    def late(*arguments):
        time.sleep(0.9)
        return state_of(*arguments)

    monkeypatch.setattr(run_views, "state_of", late)
    page.goto(address, wait_until="commit")
    expect(banner(page)).to_be_visible()
    next_is(page, 3)  # by itself, before anything was tapped
    expect(page.locator("#recorded")).to_contain_text("60")
    page.get_by_role("button", name="Record", exact=True).tap()
    next_is(page, 5)
    assert list(run.readings.order_by("order").values_list("fastener", flat=True)) == [1, 3]


def test_the_lock_of_a_shared_tablet_covers_copies_too(device, live_server, server, run, lead, technician):
    pins.set_pin(by=by(technician), pin=PIN)
    page = device()
    enrol(page, lead)
    page.goto(reverse("jobs:floor"))
    page.get_by_role("button", name="Sign out").tap()
    enter(page, technician)
    expect(page.locator(".who .name")).to_contain_text(technician.name)
    job = run.job.get_absolute_url()
    page.goto(job)
    until_kept(page, job, run.get_absolute_url())
    no_answer(page, server)
    page.goto(job)
    expect(banner(page)).to_be_visible()
    page.get_by_role("button", name="Lock", exact=True).tap()
    expect(cover(page)).to_be_visible()
    for url in (run.get_absolute_url(), reverse("vehicles:vehicles")):  # a copy, and a page without one
        page.goto(url)
        expect(cover(page)).to_be_visible()
        assert page.locator("main").evaluate("each => each.inert")
    # Locked is not signed out: the same person goes on.
    tap_pin(page, PIN)
    expect(cover(page)).to_have_count(0)
    page.goto(job)
    expect(banner(page)).to_be_visible()
    # The tablet is lost: whoever holds it next sees the door, and everybody's copies are gone from it.
    page.goto("about:blank")
    answers_again(page, server)
    lost = Device.objects.get(name="Tablet, bay one")
    devices.revoke_device(by=by(lead), device=lost, reason="Lost")
    page.goto(job)
    expect(banner(page)).to_have_count(0)
    until_gone(page, job)


def test_what_is_missing_is_said_once_a_day_and_the_app_is_offered_quietly(device, live_server, server, lead):
    page = device(PHONE)
    sign_in(page, lead, live_server.url)
    page.goto(reverse("workshop:devices"))
    offer = page.get_by_role("button", name="Put it on the home screen")
    expect(offer).to_have_count(0)
    page.evaluate("window.dispatchEvent(new Event('beforeinstallprompt', { cancelable: true }))")
    expect(offer).to_be_visible()
    assert page.locator("[data-no-copies]").is_hidden()

    # As a browser says it on an address without TLS that is not the device's own.
    page.context.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
    missing = page.get_by_text("This address is not encrypted")
    page.goto(reverse("jobs:floor"))
    expect(missing).to_be_visible()
    expect(page.get_by_role("link", name="How to set it up")).to_have_attribute(
        "href", reverse("workshop:trust")
    )
    page.goto(reverse("jobs:floor"))
    expect(page.get_by_role("heading", name="Floor")).to_be_visible()
    assert missing.is_hidden()
    page.goto(reverse("workshop:devices"))
    expect(missing).to_be_visible()  # there it is a fact of the device
