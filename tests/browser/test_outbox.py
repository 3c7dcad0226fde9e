"""What is typed without the network is kept on the tablet, sent once, in order, and never called saved before it is."""

from __future__ import annotations

import base64
import json
import re
import time
from collections import Counter
from datetime import datetime, timedelta

import pytest
from django.core import signing
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from jobs.models import Measurement, WorkLine
from tests.browser.devices import TABLET, Watch, sign_in
from tests.factories.photo import picture
from tests.factories.run import OpenLineFactory
from tests.people import by
from vehicles.acts import survey as survey_acts
from vehicles.models import Attachment
from workshop.acts import devices as device_acts
from workshop.models import Device, Event, Submission

CUT = "The network is cut: {}"


@pytest.fixture
def line(lead, car):
    return OpenLineFactory(person=lead, vehicle=car)


@pytest.fixture
def device(db):
    return Device.objects.create(name="Tablet, bay two")


def sign_in_on(page, person, device, url) -> None:
    """Sign in on a browser that the server knows: only there a grant is given."""
    sign_in(page, person, url)
    value = signing.get_cookie_signer(salt="devicedevice").sign(str(device.pk))
    page.context.add_cookies([{"name": "device", "value": value, "url": url}])


def open_measure(page, line, what="Brake disc, thickness", value="21.4", unit="mm"):
    page.goto(reverse("jobs:measure", args=[line.pk]))
    fill_measure(page, what, value, unit)


def fill_measure(page, what="Brake disc, thickness", value="21.4", unit="mm"):
    page.get_by_label("What was measured").fill(what)
    page.locator("input[name=reading_value]").fill(value)
    page.locator("select[name=reading_unit]").select_option(unit)


def record(page):
    page.get_by_role("button", name="Record it").tap()


def kept(page) -> list[dict]:
    return page.evaluate("() => window.outbox.list()")


def chip(page):
    return page.locator("#waiting")


def posts_of(page) -> list[str]:
    """The addresses of every POST that leaves any page of this browser."""
    sent: list[str] = []
    page.context.on(
        "request", lambda one: one.method == "POST" and sent.append(one.headers.get("x-outbox", ""))
    )
    return sent


def test_online_nobody_notices_that_it_goes_through_the_outbox(tablet, live_server, technician, device, line):
    watch = Watch(tablet, live_server.url)
    watch.expected = 422
    sign_in_on(tablet, technician, device, live_server.url)
    sent = posts_of(tablet)
    open_measure(tablet, line, unit="")
    record(tablet)
    expect(tablet.locator("#form-errors")).to_contain_text("Choose a unit")
    expect(tablet.get_by_label("What was measured")).to_have_value("Brake disc, thickness")
    assert kept(tablet) == []
    tablet.locator("select[name=reading_unit]").select_option("mm")
    record(tablet)
    expect(tablet.get_by_text("Measurement recorded.")).to_be_visible()
    expect(tablet).to_have_url(f"{live_server.url}{line.get_absolute_url()}")
    assert kept(tablet) == []
    row = Measurement.objects.get()
    assert (row.made_by, row.device) == (technician, device)
    assert sent == ["1 first", "", "1 first"]  # the refused one went once more, as a browser sends it
    assert tablet.evaluate("() => Object.keys(localStorage).filter(name => name.startsWith('draft '))") == []
    assert [one for one in watch.complaints if "422" not in one] == []


def test_without_the_network_it_is_kept_and_sent_in_order(tablet, live_server, technician, device, line):
    """A measurement and the text of a line, each in its own tab, typed while the server is out of reach."""
    sign_in_on(tablet, technician, device, live_server.url)
    text = tablet.context.new_page()
    text.goto(reverse("jobs:line-write", args=[line.pk]))
    open_measure(tablet, line)
    tablet.context.set_offline(True)
    record(tablet)
    note = tablet.locator(".kept-note")
    expect(note).to_contain_text(re.compile(r"Kept on this tablet at \d\d:\d\d\. It is sent by itself when"))
    expect(note).to_contain_text("Brake disc, thickness")
    expect(tablet.get_by_label("What was measured")).to_have_value("")
    expect(chip(tablet)).to_have_text("1 kept on this tablet")
    text.get_by_label("Cause", exact=False).first.fill("Pads worn to the plate.")
    text.get_by_role("button", name="Save").tap()
    expect(text.locator(".kept-note")).to_contain_text("Pads worn to the plate.")
    expect(chip(text)).to_have_text("2 kept on this tablet")
    expect(chip(tablet)).to_have_text("2 kept on this tablet")  # the other tab heard of it
    for page in (tablet, text):
        assert "saved" not in page.locator("main").inner_text().lower().replace("not saved", "")
    fill_measure(tablet, "Brake disc, run-out", "0.04")
    record(tablet)
    expect(chip(tablet)).to_have_text("3 kept on this tablet")
    assert [one["what"] for one in kept(tablet)] == ["Measurement", "Text of a work line", "Measurement"]
    assert len({one["key"] for one in kept(tablet)}) == 3
    assert not Measurement.objects.exists()

    tablet.context.set_offline(False)
    expect(chip(tablet)).to_be_hidden()
    expect(chip(text)).to_be_hidden()
    assert kept(tablet) == []
    line.refresh_from_db()
    assert line.cause == "Pads worn to the plate."
    acts = Event.objects.filter(person=technician).order_by("seq").values_list("act", flat=True)
    assert [one.rpartition(".")[2] for one in acts] == ["measure", "write_line", "measure"]
    assert [row.what for row in Measurement.objects.order_by("made_at")] == [
        "Brake disc, thickness",
        "Brake disc, run-out",
    ]
    # Nobody waited for these answers: no message of theirs stands on the next page.
    tablet.goto(line.get_absolute_url())
    expect(tablet.get_by_text("Measurement recorded.")).to_have_count(0)


def test_what_was_saved_can_be_checked_and_every_clock_is_the_shops(
    browser, live_server, technician, device, line
):
    """On a device that believes itself in another part of the world: value, unit, verdict and the shop's time."""
    context = browser.new_context(
        **TABLET,
        base_url=live_server.url,
        locale="en-US",
        timezone_id="Pacific/Auckland",
        service_workers="block",
    )
    page = context.new_page()
    sign_in_on(page, technician, device, live_server.url)
    watch = Watch(page, live_server.url)
    page.goto(f"{reverse('jobs:measure', args=[line.pk])}?unit=mm")  # its unit is chosen already
    page.get_by_label("What was measured").fill("Brake disc, thickness")
    page.locator("input[name=reading_value]").fill("21.4")
    page.get_by_label("Lowest allowed").fill("22")
    page.get_by_label("Where the limit comes from").fill("plate on the disc")
    context.set_offline(True)
    record(page)
    note = page.locator(".kept-note")
    expect(note).to_contain_text("21.4 mm")
    context.set_offline(False)
    expect(chip(page)).to_be_hidden()
    row = Measurement.objects.get()
    made = timezone.localtime(row.made_at).strftime("%H:%M")
    assert re.search(r"at (\d\d:\d\d)", note.inner_text())[1] in minutes_about(row.made_at)
    page.goto(reverse("workshop:waiting"))
    saved = page.locator(".saved-item")
    for said in ("Measurement", "Brake disc, thickness", "21.4 mm", "plate on the disc", "Below the limit"):
        expect(saved).to_contain_text(said)
    times = re.search(r"made (\d\d:\d\d), saved (\d\d:\d\d)", saved.inner_text())
    assert (times[1], times[2] in minutes_about(row.received_at)) == (made, True)
    saved.get_by_role("link", name="Look at it").tap()
    expect(page).to_have_url(f"{live_server.url}{line.get_absolute_url()}")
    assert [one for one in watch.complaints if "ERR_INTERNET" not in one] == []
    # Nobody else sees what it was.
    page.goto(reverse("workshop:waiting"))
    expect(saved).to_have_count(1)
    page.evaluate("() => document.dispatchEvent(new Event('lock:locked'))")
    page.reload()
    expect(page.get_by_text("Nothing is kept here")).to_be_visible()
    expect(saved).to_have_count(0)
    context.close()


def minutes_about(moment: datetime) -> set[str]:
    """The shop's clock at this moment, and a few seconds on."""
    return {timezone.localtime(moment + timedelta(seconds=n)).strftime("%H:%M") for n in range(15)}


def test_a_server_that_is_merely_slow_is_heard_at_the_third_try(
    tablet, live_server, technician, device, line, monkeypatch
):
    """After a lost answer the next one is waited for 5 s; a server that takes six would never be heard."""
    counted = live_server.thread.httpd.application
    quick = counted.app

    def slow(environ, start_response):
        if environ["REQUEST_METHOD"] == "POST" and environ["PATH_INFO"].endswith("/measure/"):
            time.sleep(6)
        return quick(environ, start_response)

    sign_in_on(tablet, technician, device, live_server.url)
    open_measure(tablet, line)
    tablet.context.set_offline(True)
    record(tablet)
    expect(chip(tablet)).to_have_text("1 kept on this tablet")
    tablet.evaluate("async () => { while ((await outbox.list())[0].tries < 1) await outbox.drain(); }")
    monkeypatch.setattr(counted, "app", slow)
    tablet.context.set_offline(False)
    tablet.evaluate("async () => { while ((await outbox.list())[0]?.tries < 3) await outbox.drain(); }")
    assert kept(tablet) == []
    expect(chip(tablet)).to_be_hidden()
    assert Measurement.objects.count() == 1


@pytest.mark.outside("RFC 9562 (2024), 5.4, UUID version 4: the version is 4, the variant 8, 9, a or b")
def test_cut_before_and_after_sending_and_a_tab_that_was_closed(
    tablet, live_server, technician, device, line, published
):
    """Whatever is cut off: one record, under the key that was made on the tablet."""
    sign_in_on(tablet, technician, device, live_server.url)
    address = re.compile(r"/measure/")
    where = "before"

    def cut(route):
        if route.request.method != "POST":
            route.continue_()
        elif where == "before":
            route.abort("connectionreset")
        elif where == "after":
            route.fetch()  # the server carries it out, and its answer gets lost
            route.abort("connectionreset")
        else:
            route.continue_()

    tablet.route(address, cut)
    open_measure(tablet, line, "Cut before")
    record(tablet)
    expect(tablet.locator(".kept-note")).to_contain_text("No answer from the workshop's server.")
    assert not Measurement.objects.exists()
    where = "after"
    tablet.evaluate("() => window.outbox.drain()")
    assert Measurement.objects.count() == 1
    assert [one["tries"] for one in kept(tablet)] == [2]
    # By now it would be refused: the line was dropped.
    WorkLine.objects.filter(pk=line.pk).update(dropped_because="not wanted")
    where = ""
    tablet.evaluate("() => window.outbox.drain()")
    expect(chip(tablet)).to_be_hidden()
    assert kept(tablet) == []
    assert Measurement.objects.count() == 1
    WorkLine.objects.filter(pk=line.pk).update(dropped_because="")

    # Closed in the middle of sending: what lay on the disk is sent by the next page.
    where = "before"
    fill_measure(tablet, "Tab closed")
    record(tablet)
    expect(tablet.locator(".kept-note")).to_be_visible()
    (left,) = kept(tablet)
    other = tablet.context.new_page()
    tablet.close(run_before_unload=False)
    other.goto(reverse("jobs:floor"))
    expect(chip(other)).to_be_hidden()
    assert Counter(Measurement.objects.values_list("what", flat=True)) == {"Cut before": 1, "Tab closed": 1}
    key = str(Measurement.objects.get(what="Tab closed").key)
    assert key == left["key"]
    published.same(key[14], "4")
    published.same(key[19] in "89ab", True)


PUT = """async ({ items, photo }) => {
  const bytes = photo && Uint8Array.from(atob(photo), (sign) => sign.charCodeAt(0));
  for (const item of items) {
    const files = item.files ? [{ name: "files", filename: item.files, blob: new Blob([bytes, item.files], { type: "image/jpeg" }) }] : [];
    await window.outbox.put({ key: window.outbox.newKey(), page: location.href, ...item, files });
  }
}"""


def measurement(line, what, **more):
    fields = {"what": what, "phase": "before", "reading_value": "21.4", "reading_unit": "mm", **more}
    return {
        "url": reverse("jobs:measure", args=[line.pk]),
        "what": "Measurement",
        "label": what,
        "fields": [list(each) for each in fields.items()],
    }


def test_two_tabs_send_each_thing_once(tablet, live_server, technician, device, line):
    sign_in_on(tablet, technician, device, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    other = tablet.context.new_page()
    other.goto(reverse("jobs:floor"))
    tablet.context.set_offline(True)
    tablet.evaluate(PUT, {"items": [measurement(line, f"No {n}") for n in range(1, 9)]})
    expect(chip(other)).to_have_text("8 kept on this tablet")
    sent = posts_of(tablet)
    tablet.context.set_offline(False)
    for page in (tablet, other):
        page.evaluate("() => { window.outbox.drain(); }")
    expect(chip(tablet)).to_be_hidden()
    expect(chip(other)).to_be_hidden()
    assert len(sent) == 8
    made = Event.objects.filter(person=technician).order_by("seq").values_list("subject_id", flat=True)
    names = {str(row.pk): row.what for row in Measurement.objects.all()}
    assert [names[one] for one in made] == [f"No {n}" for n in range(1, 9)]
    # So full by now that nothing can be noted down: what lies here is sent all the same.
    tablet.evaluate("() => window.outbox.drain()")
    other.close()
    tablet.context.set_offline(True)
    tablet.evaluate(PUT, {"items": [measurement(line, "The last one")]})
    tablet.evaluate(FULL.replace(".add", ".put"))
    tablet.context.set_offline(False)
    expect(chip(tablet)).to_be_hidden()
    assert (kept(tablet), Measurement.objects.filter(what="The last one").count()) == ([], 1)


def test_refused_is_shown_with_what_was_typed_and_can_be_put_right(
    tablet, live_server, technician, other_technician, device, line
):
    watch = Watch(tablet, live_server.url)
    sign_in_on(tablet, technician, device, live_server.url)
    tablet.goto(reverse("jobs:measure", args=[line.pk]))
    tablet.context.set_offline(True)
    fill_measure(tablet, "Brake disc, thickness", "21.4", "")
    record(tablet)
    expect(tablet.locator(".kept-note")).to_be_visible()
    tablet.context.set_offline(False)
    expect(chip(tablet)).to_have_text("1 refused")
    # The page on which it was typed no longer says that it is sent by itself.
    expect(tablet.locator(".kept-note")).to_contain_text("Not saved: the server refused it.")
    expect(tablet.locator(".kept-note")).not_to_contain_text("Kept on this tablet")
    tablet.get_by_role("button", name="Sign out").tap()
    expect(tablet.get_by_role("dialog")).to_contain_text("the server refused it")
    tablet.get_by_role("button", name="Stay signed in").tap()
    chip(tablet).tap()
    row = tablet.locator(".kept-item")
    expect(row).to_contain_text("Refused: Measurement")
    expect(row).to_contain_text("Choose a unit: a number without one can't be kept.")
    expect(row).to_contain_text("What was measuredBrake disc, thickness", use_inner_text=False)
    expect(row).to_contain_text("21.4")
    (refused,) = kept(tablet)

    # Somebody else at the same tablet sees that there is something, and whose, and not a word of it.
    sign_in_on(tablet, other_technician, device, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    expect(chip(tablet)).to_have_text("1 of others")
    chip(tablet).tap()
    expect(tablet.get_by_text("Tamsin Orrell: 1 thing.")).to_be_visible()
    assert "Brake disc" not in tablet.locator("body").inner_text()

    sign_in_on(tablet, technician, device, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    chip(tablet).tap()
    tablet.get_by_role("button", name="Open its page").tap()
    expect(tablet.get_by_label("What was measured")).to_have_value("Brake disc, thickness")
    assert tablet.locator("input[name=key]").input_value() == refused["key"]
    # Refused once more and left lying, it is still listed: nothing says that the server has everything.
    record(tablet)
    expect(tablet.locator("#form-errors")).to_contain_text("Choose a unit")
    tablet.goto(reverse("jobs:floor"))
    expect(chip(tablet)).to_have_text("1 refused")
    chip(tablet).tap()
    tablet.get_by_role("button", name="Open its page").tap()
    expect(tablet.get_by_label("What was measured")).to_have_value("Brake disc, thickness")
    tablet.locator("select[name=reading_unit]").select_option("mm")
    record(tablet)
    expect(tablet.get_by_text("Measurement recorded.")).to_be_visible()
    assert kept(tablet) == []
    assert str(Measurement.objects.get().key) == refused["key"]

    # Thrown away only after a second tap.
    tablet.evaluate(PUT, {"items": [measurement(line, "Nothing", reading_unit="")]})
    tablet.evaluate("() => window.outbox.drain()")
    chip(tablet).tap()
    tablet.get_by_role("button", name="Throw it away").tap()
    assert len(kept(tablet)) == 1
    tablet.get_by_role("button", name="Really throw it away").tap()
    expect(tablet.get_by_text("Nothing is kept here")).to_be_visible()
    expect(tablet.get_by_text("Saved lately")).to_be_visible()
    assert kept(tablet) == []
    assert [one for one in watch.complaints if "422" not in one and "ERR_INTERNET" not in one] == []


def test_a_revoked_tablet_keeps_what_it_holds_and_sends_it_when_let_in_again(
    tablet, live_server, technician, other_technician, lead, device, line
):
    sign_in_on(tablet, technician, device, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    tablet.context.set_offline(True)
    tablet.evaluate(PUT, {"items": [measurement(line, "Before it was lost")]})
    device_acts.revoke_device(by=by(lead), device=device, reason="lost")
    tablet.context.set_offline(False)
    tablet.evaluate("() => window.outbox.drain()")
    (one,) = kept(tablet)
    assert one["state"] == "waiting"
    assert one["why"] == "This tablet was revoked: ask the lead to let it in again."
    device_acts.readmit_device(by=by(lead), device=device, reason="it lay in the van")
    # Somebody else is signed in by now: it is sent all the same, as whoever made it.
    sign_in_on(tablet, other_technician, device, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    expect(chip(tablet)).to_be_hidden()
    row = Measurement.objects.get()
    assert (row.made_by, row.device) == (technician, device)


FULL = """() => {
  IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); };
}"""
SHUT = "() => { Object.defineProperty(window, 'indexedDB', { get() { return undefined; } }); }"


@pytest.mark.parametrize(("trouble", "words"), [(FULL, "storage is full"), (SHUT, "storage is shut off")])
def test_where_nothing_can_be_kept_it_is_said_and_the_form_stays_filled(
    trouble, words, tablet, live_server, technician, device, line
):
    sign_in_on(tablet, technician, device, live_server.url)
    tablet.add_init_script(f"({trouble})()")
    open_measure(tablet, line)
    tablet.context.set_offline(True)
    record(tablet)
    notice = tablet.locator("#notice")
    expect(notice).to_contain_text("Not saved, and not kept.")
    expect(notice).to_contain_text(words)
    expect(notice).to_contain_text("on paper with the time")
    expect(tablet.get_by_label("What was measured")).to_have_value("Brake disc, thickness")
    expect(tablet.get_by_role("button", name="Record it")).to_be_enabled()
    tablet.context.set_offline(False)
    record(tablet)
    expect(tablet.get_by_text("Measurement recorded.")).to_be_visible()
    expect(tablet.locator("#notice")).to_contain_text(words)
    assert Measurement.objects.count() == 1


def test_signing_out_with_things_waiting_warns(tablet, live_server, technician, device, line):
    sign_in_on(tablet, technician, device, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    out = tablet.get_by_role("button", name="Sign out")
    tablet.route(re.compile("/measure/"), lambda route: route.abort())
    tablet.evaluate(PUT, {"items": [measurement(line, f"No {n}") for n in range(3)]})
    out.tap()
    box = tablet.get_by_role("dialog")
    expect(box).to_have_text(
        re.compile(
            "3 things are kept on this tablet and not saved. They stay here and are sent when the network is back"
        )
    )
    tablet.keyboard.press("Escape")
    expect(box).to_have_count(0)
    out.focus()
    tablet.keyboard.press("Enter")
    expect(tablet.get_by_role("button", name="Stay signed in")).to_be_focused()
    tablet.keyboard.press("Tab")
    tablet.keyboard.press("Enter")
    tablet.wait_for_url(re.compile("sign-in"))
    assert len(kept(tablet)) == 3
    expect(chip(tablet)).to_have_text("3 kept on this tablet")


def test_a_days_outbox_drains_with_nothing_lost_and_nothing_twice(
    tablet, live_server, technician, device, line, settings, tmp_path
):
    settings.STORAGES = {**settings.STORAGES, "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": tmp_path}}}  # fmt: skip
    sign_in_on(tablet, technician, device, live_server.url)
    tablet.goto(reverse("workshop:tools"))  # a page that does not ask for itself anew meanwhile
    items = [measurement(line, f"No {n:03}") for n in range(500)]
    album = f"{reverse('vehicles:photo-add', args=[line.job.vehicle_id])}?line={line.pk}"
    for n in range(60):
        photo = {"url": album, "what": "Photo", "label": f"P {n:02}", "files": f"p{n:02}.jpg",
                 "fields": [["caption", f"P {n:02}"]]}  # fmt: skip
        items.insert(n * 9, photo)
    tablet.context.set_offline(True)
    small = base64.b64encode(picture(size=(32, 24))).decode()
    tablet.evaluate(PUT, {"items": items, "photo": small})
    expect(chip(tablet)).to_have_text("560 kept on this tablet")
    tablet.context.set_offline(False)
    expect(chip(tablet)).to_be_hidden(timeout=300_000)
    assert kept(tablet) == []
    assert Measurement.objects.count() == 500
    assert Attachment.objects.count() == 60
    assert Submission.objects.filter(person=technician).count() == 560
    names = {str(row.pk): row.what for row in Measurement.objects.all()}
    names |= {str(row.pk): row.caption for row in Attachment.objects.all()}
    order = Event.objects.filter(person=technician).order_by("seq").values_list("subject_id", flat=True)
    assert [names[one] for one in order] == [item["label"] for item in items]


AN_HOUR_AHEAD = """(() => {
  const Real = Date;
  const off = 61 * 60000;
  window.Date = class extends Real {
    constructor(...given) { if (given.length) super(...given); else super(Real.now() + off); }
    static now() { return Real.now() + off; }
  };
})()"""


def test_a_tablet_whose_clock_is_wrong_is_told_and_its_times_are_put_right(
    tablet, live_server, technician, device, line
):
    sign_in_on(tablet, technician, device, live_server.url)
    tablet.add_init_script(AN_HOUR_AHEAD)
    open_measure(tablet, line)
    expect(
        tablet.get_by_text("This tablet's clock is 61 minutes ahead of the workshop's server.")
    ).to_have_count(1)
    tablet.context.set_offline(True)
    record(tablet)
    expect(tablet.locator(".kept-note")).to_be_visible()
    before = timezone.now()
    tablet.wait_for_timeout(3000)
    tablet.context.set_offline(False)
    expect(chip(tablet)).to_be_hidden()
    row = Measurement.objects.get()
    # To the time that the answer took: the server compares the tablet's clock with its own when it has read the request.
    assert abs(row.made_at - before) < timedelta(seconds=2)
    assert row.received_at - row.made_at > timedelta(seconds=1)
    assert before - row.made_at < timedelta(seconds=60)
    raw = datetime.fromisoformat(json.loads(Event.objects.get(key=row.key).body)["device_time"])
    assert abs(raw - row.made_at - timedelta(minutes=61)) < timedelta(seconds=5)


def test_a_form_of_htmx_is_kept_too_and_nobody_notices_online(tablet, live_server, technician, device, car):
    sign_in_on(tablet, technician, device, live_server.url)
    survey = survey_acts.start_survey(by=by(technician), vehicle=car)
    sent = posts_of(tablet)
    tablet.goto(survey.get_absolute_url())
    answers = tablet.locator("form.answers")
    count = answers.count()
    answers.first.get_by_role("button").first.tap()
    expect(tablet.locator("form.answers")).to_have_count(count - 1)
    expect(chip(tablet)).to_be_hidden()
    assert (survey.entries.count(), sent, kept(tablet)) == (1, ["1 first"], [])
    tablet.context.set_offline(True)
    tablet.locator("form.answers").first.get_by_role("button").first.tap()
    expect(tablet.locator(".kept-note")).to_contain_text("Kept on this tablet at")
    expect(chip(tablet)).to_have_text("1 kept on this tablet")
    expect(tablet.locator("#notice")).to_be_hidden()
    tablet.context.set_offline(False)
    expect(chip(tablet)).to_be_hidden()
    assert (survey.entries.count(), kept(tablet)) == (2, [])
