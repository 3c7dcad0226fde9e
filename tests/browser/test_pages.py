"""The main pages with the whole demo on record, on the shop's tablet and on a telephone.

What is looked for: nothing on the console, nothing that the content security policy stops, no other host; no page
that scrolls sideways; targets that a finger meets; and what axe finds against WCAG 2.2 A and AA, in both themes.
"""

from __future__ import annotations

import re

from django.urls import reverse
from playwright.sync_api import expect

from jobs import demo
from jobs.acts import torque, work
from jobs.models import Damage, Job, Procedure, Run, SheetRevision, WorkLine
from tests.browser import states
from tests.browser.devices import PHONE, TABLET, Watch, new_page, sign_in
from tests.browser.sweep import (
    BUTTON,
    COLOURS,
    CUT_OFF,
    FOCUS,
    LEAST,
    MEASURE,
    MOVING,
    NARROW,
    REACH,
    SIDEWAYS,
    STUCK,
    WCAG,
    looked_at,
    measured,
    too_heavy,
    violations,
)
from tests.people import PASSWORD, by
from tests.tablet import enrolled, give_pin, put_in_hand
from vehicles.models import Attachment, Fault, FittedPart, Keeper, OutstandingItem, Survey, Vehicle
from workshop.models import Person, TorqueTool


def places() -> list[tuple[str, str, int, str]]:
    """(address, who opens it, status, how closely it is looked at) for the main pages.

    "@tamsin" is Tamsin on the shop's enrolled tablet. "axe" is all, "" without; "locked" is under the idle lock;
    "meanwhile" is the line's text sent after somebody else changed it.
    """
    car = Vehicle.objects.get(make="Halden")
    old = Vehicle.objects.get(make="Veldt")
    closed, open_job = Job.objects.get(vehicle=car), Job.objects.get(vehicle__make="Ostra")
    line = WorkLine.objects.get(job=closed, complaint__startswith="Free the parking")
    open_line = open_job.lines.order_by("order").first()
    sheet = SheetRevision.objects.get(job=closed)
    done_run = Run.objects.filter(line=line).first()
    lead = Person.objects.get(sign_in_name="lida")
    safe = work.add_line(by=by(lead), job=open_job, complaint="Secure the front wheels", kind="make_safe")
    open_run = torque.start_run(
        by=by(lead),
        line=safe,
        procedure=Procedure.objects.get(title__startswith="Wheel nuts"),
        where="front left",
        applies_confirmed=True,  # the procedure names another car
    )
    return [
        (reverse("jobs:floor"), "silvan", 200, "axe"),
        (reverse("vehicles:vehicles"), "silvan", 200, "axe"),
        (reverse("vehicles:vehicle", args=[car.pk]), "lida", 200, "axe"),
        (reverse("vehicles:vehicle", args=[old.pk]), "lida", 200, ""),
        (reverse("vehicles:vehicle-add"), "fern", 200, ""),
        (reverse("vehicles:parts", args=[car.pk]), "lida", 200, "axe"),
        (reverse("vehicles:part", args=[FittedPart.objects.filter(vehicle=car, removed_at=None).first().pk]),
         "lida", 200, ""),
        (reverse("vehicles:odometer", args=[car.pk]), "lida", 200, "axe"),
        (reverse("vehicles:survey", args=[Survey.objects.get(vehicle__make="Ostra").pk]), "tamsin", 200, "axe"),
        (reverse("vehicles:survey-entry", args=[Survey.objects.get(vehicle__make="Ostra").pk, "tow-bar"]),
         "tamsin", 200, ""),
        (reverse("vehicles:faults", args=[car.pk]), "tamsin", 200, ""),
        (reverse("vehicles:fault", args=[Fault.objects.filter(vehicle=car, lines=line).first().pk]),
         "tamsin", 200, "axe"),
        (reverse("vehicles:outstanding-items", args=[car.pk]), "fern", 200, "axe"),
        (reverse("vehicles:outstanding", args=[OutstandingItem.objects.open().filter(vehicle=car).first().pk]),
         "fern", 200, "axe"),
        (reverse("vehicles:keeper", args=[Keeper.objects.get(name="Corin Ashby").pk]), "fern", 200, "axe"),
        (reverse("jobs:job", args=[closed.pk]), "lida", 200, ""),
        (reverse("jobs:job", args=[open_job.pk]), "lida", 200, "axe"),
        (reverse("jobs:line", args=[line.pk]), "lida", 200, ""),
        (reverse("jobs:line", args=[open_line.pk]), "lida", 200, "axe"),
        (reverse("jobs:line-write", args=[open_line.pk]), "lida", 200, "axe"),
        (reverse("jobs:line-write", args=[open_line.pk]), "lida", 422, "meanwhile"),
        (reverse("jobs:run", args=[done_run.pk]), "lida", 200, ""),
        (reverse("jobs:run", args=[open_run.pk]), "lida", 200, "axe"),
        (f"{reverse('jobs:run', args=[open_run.pk])}?torque_tool={TorqueTool.objects.get(label='TW-03').pk}",
         "lida", 200, "axe"),
        (reverse("jobs:procedures"), "lida", 200, "axe"),
        (reverse("jobs:procedure", args=[done_run.version_used.procedure_id]), "lida", 200, ""),
        (reverse("jobs:waivers"), "lida", 200, ""),
        (reverse("jobs:procedure-version", args=[done_run.version_used_id]), "lida", 200, "axe"),
        (reverse("workshop:tools"), "lida", 200, "axe"),
        (reverse("workshop:tool", args=[TorqueTool.objects.get(label="TW-03").pk]), "lida", 200, "axe"),
        (reverse("jobs:handover", args=[open_job.pk]), "lida", 200, "axe"),
        (reverse("jobs:collect-unfinished", args=[open_job.pk]), "lida", 200, "axe"),
        (reverse("jobs:sheet", args=[sheet.pk]), "lida", 200, "axe"),
        (reverse("jobs:sheet-draft", args=[open_job.pk]), "lida", 200, "paper"),
        (reverse("vehicles:confirm", args=[sheet.token]), "", 200, "axe"),
        (reverse("workshop:shop"), "silvan", 200, "axe"),
        (reverse("workshop:people"), "silvan", 200, "axe"),
        (reverse("workshop:log"), "silvan", 200, "axe"),
        (reverse("workshop:styles"), "silvan", 200, "axe"),
        (reverse("vehicles:history", args=[car.pk]), "lida", 200, "axe"),
        (reverse("vehicles:history", args=[old.pk]) + "?kind=job&since=2016", "lida", 200, "axe"),
        (reverse("vehicles:history-report", args=[car.pk]), "lida", 200, ""),
        (reverse("jobs:vehicle-sheets", args=[old.pk]), "lida", 200, "axe"),
        (reverse("vehicles:find") + "?q=halden", "fern", 200, "axe"),
        (reverse("vehicles:photos", args=[car.pk]), "lida", 200, "axe"),
        (reverse("vehicles:photo-add", args=[car.pk]), "lida", 200, "axe"),
        (Attachment.objects.filter(line__isnull=False, moment="after").first().get_absolute_url(), "lida", 200, "axe"),
        (Attachment.objects.filter(vehicle=car, occasion="").first().get_absolute_url(), "corin", 200, ""),
        (reverse("jobs:angles", args=[open_job.pk, "check_in"]), "tamsin", 200, "axe"),
        (reverse("jobs:angles-compare", args=[closed.pk]), "lida", 200, "axe"),
        (reverse("jobs:damages"), "silvan", 200, "axe"),
        (Damage.objects.first().get_absolute_url(), "lida", 200, "axe"),
        (reverse("vehicles:my-cars"), "corin", 200, "axe"),
        (reverse("vehicles:my-car", args=[car.pk]), "corin", 200, "axe"),
        (reverse("vehicles:owner-view", args=[old.pk]), "fern", 200, ""),
        (reverse("workshop:login"), "", 200, "axe"),
        (reverse("workshop:pass-enter"), "", 200, "axe"),
        (reverse("workshop:pass", args=["x" * 22]), "", 404, "axe"),
        (reverse("vehicles:keeper-pass", args=[Keeper.objects.get(name="Corin Ashby").pk]), "fern", 200, "axe"),
        (reverse("jobs:labels") + f"?car={car.pk}", "lida", 200, "axe"),
        (reverse("workshop:devices"), "silvan", 200, "axe"),
        (reverse("workshop:enrol"), "silvan", 200, "axe"),
        (reverse("workshop:pin"), "tamsin", 200, "axe"),
        (reverse("workshop:waiting"), "tamsin", 200, "axe"),
        (reverse("workshop:offline"), "tamsin", 200, "axe"),
        (reverse("workshop:trust"), "", 200, "axe"),
        (reverse("workshop:door"), "@", 200, "axe"),
        (reverse("workshop:enter", args=[give_pin(Person.objects.get(sign_in_name="tamsin")).pk]), "@", 200, "axe"),
        (reverse("jobs:floor"), "@tamsin", 200, "axe"),
        (reverse("jobs:job", args=[open_job.pk]), "@tamsin", 200, "locked"),
        ("/no-such-page/", "silvan", 404, "axe"),
        (reverse("workshop:people"), "tamsin", 403, "axe"),
        *states.of_the_house(),
        *states.of_a_procedure(safe),
    ]  # fmt: skip


# Pages that show the photos of many visits beside their words: as much more as ten thumbnails.
MY_CAR = re.compile(r"/my-cars/[0-9a-f-]{36}/")
ALBUMS, ALBUM = ("/history/report/", "/as-owner/"), 40_000


def test_the_main_pages(browser, live_server, tmp_path):
    """Each page is loaded once, on the tablet, and then looked at in other sizes and the other theme."""
    demo.play(demo.Demo.open(tmp_path), lambda text: None)
    pages, wrong, here = places(), [], None
    bay = enrolled(Person.objects.get(sign_in_name="lida"))
    # Without motion: a colour that is still on its way would be measured as it is then. And with one dot to
    # a pixel: what is measured here is in CSS pixels, and painting four dots takes time.
    options = {**TABLET, "device_scale_factor": 1, "reduced_motion": "reduce"}
    page = new_page(browser, live_server.url, **options)
    page.context.set_default_timeout(30_000)
    watch = Watch(page, live_server.url)
    for address, who, status, closely in pages:
        if who != here:
            name, here = who.removeprefix("@"), who
            person = Person.objects.get(sign_in_name=name) if name else None
            if who.startswith("@"):
                put_in_hand(page, person, bay, live_server.url)
            else:
                sign_in(page, person, live_server.url)
        watch.expected = status
        response = changed_meanwhile(page, address) if closely == "meanwhile" else page.goto(address)
        if closely == "locked":
            page.evaluate("() => document.dispatchEvent(new Event('lock:refused'))")
            page.locator(".lock").wait_for()
        said = [] if response.status == status else [f"answers {response.status}"]
        # The watermark is pale on purpose, and no information: the same words stand beside the number.
        heavy = (
            too_heavy(page, later=ALBUM)
            if address.endswith(ALBUMS) or MY_CAR.fullmatch(address)
            else too_heavy(page)
        )
        said += [*heavy, *looked_at(page, closely, ".watermark" if closely == "paper" else None)]
        wrong += [f"{address} as {who or 'nobody'}: {text}" for text in said]
    wrong += watch.complaints
    page.context.close()
    assert not wrong, "\n".join(["", *dict.fromkeys(wrong)])
    assert len(pages) > 35


def changed_meanwhile(page, address: str):
    """Both texts, theirs taken into what was not touched here: the answer to a text sent too late."""
    page.goto(address)
    line = WorkLine.objects.get(pk=re.search(r"[0-9a-f-]{36}", address)[0])
    work.write_line(
        by=by(Person.objects.get(sign_in_name="tamsin")),
        line=line,
        seen_version=line.version,
        cause="Seat rusty. Cleaned.",
        correction="Wheel put back.",
    )
    page.get_by_label("Cause").fill("Seat rusty. Stud stretched.")
    with page.expect_navigation() as told:
        # As a browser without our scripts sends it: these have the refusal first.
        page.locator("form:has([name=cause])").evaluate("form => form.submit()")
    page.locator("[data-meanwhile] [data-take]").first.wait_for()
    return told.value


def test_what_is_looked_for_is_seen(tablet, live_server):
    """The watch and the measures of the sweep, on a page that has each of the faults that they look for."""
    watch = Watch(tablet, live_server.url)
    tablet.emulate_media(reduced_motion="reduce")
    tablet.goto(reverse("workshop:login"))
    measures = {
        MEASURE: [LEAST, BUTTON],
        SIDEWAYS: 1180,
        MOVING: None,
        FOCUS: None,
        STUCK: None,
        CUT_OFF: None,
    }

    assert watch.complaints == measured(tablet, measures) == too_heavy(tablet) == tablet.evaluate(REACH) == []
    assert [text.split()[0] for text in too_heavy(tablet, first=20_000, later=1_000)] == ["first", "later"]
    tablet.evaluate("""() => {
        document.querySelector("h1").setAttribute("style", "color: red");
        document.querySelector("form").insertAdjacentHTML("beforeend", "<p><a href='#x'>x</a></p>");
        document.querySelector(".btn.primary").className = "btn low";
        document.querySelector("main").insertAdjacentHTML("afterbegin",
          "<a class='btn primary' href='#x'>Go</a><p class='bar-over'><a href='#a'>a</a><a href='#b'>b</a></p>");
        const sheet = new CSSStyleSheet();
        sheet.replaceSync(".low { min-height: 30px; padding: 0; width: 1.5rem; overflow: hidden; transition: color 1s }"
          + " .low:focus-visible { outline: 1px solid; box-shadow: none } h1 { width: 1300px; color: #eee }"
          + " .bar-over { position: fixed; left: 0; right: 0; bottom: 0; height: 40%; max-width: none; font-size: 9px }");
        document.adoptedStyleSheets = [sheet];
        fetch("http://elsewhere.example/").catch(() => {});
        setTimeout(() => { throw new Error("a fault in a script"); }, 0);
    }""")
    found = "\n".join(measured(tablet, measures))
    for said in ("sideways: 1", "target below 24 px: <a", "button below 48 px: <button", "moves: <button",
                 "focus hardly seen (1 px", "bars cover 328 px of 820", "cut off: <button"):  # fmt: skip
        assert said in found, (said, found)
    assert "color-contrast: <h1" in "\n".join(violations(tablet, WCAG))
    tablet.emulate_media(color_scheme="dark")
    tablet.evaluate("""() => document.adoptedStyleSheets[0].insertRule("h1 { color: #111 !important }")""")
    assert "color-contrast: <h1" in "\n".join(violations(tablet, COLOURS))
    tablet.emulate_media(color_scheme="light")
    assert "target-size: <a" in "\n".join(violations(tablet, NARROW))
    tablet.set_viewport_size(PHONE["viewport"])
    assert "out of a thumb's reach" in "\n".join(tablet.evaluate(REACH))
    tablet.goto("/no-such-page/")
    complaints = "\n".join(watch.complaints)
    for said in ("policy: style-src-attr inline", "policy: connect-src http://elsewhere.example/",
                 "a fault in a script", "404: "):  # fmt: skip
        assert said in complaints, (said, complaints)


def test_signing_in_by_hand(phone, live_server, technician):
    watch = Watch(phone, live_server.url)
    watch.expected = 422
    phone.goto(reverse("jobs:floor"))
    phone.get_by_label("Name").fill(technician.sign_in_name)
    phone.get_by_label("Password").fill("not this one")
    phone.get_by_role("button", name="Sign in").tap()
    expect(phone.get_by_role("alert")).to_contain_text("Name and password don't go together")
    expect(phone.get_by_label("Name")).to_have_value(technician.sign_in_name)
    phone.get_by_label("Password").fill(PASSWORD)
    phone.get_by_role("button", name="Sign in").tap()
    phone.wait_for_url(f"**{reverse('jobs:floor')}")
    expect(phone.get_by_text(technician.name)).to_be_visible()
    assert watch.complaints == []


def test_the_theme_that_was_chosen_is_kept_on_the_device(tablet, live_server, technician):
    sign_in(tablet, technician, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    ground = "() => getComputedStyle(document.body).backgroundColor"
    light = tablet.evaluate(ground)
    tablet.get_by_role("button", name="Dark theme").tap()
    dark = tablet.evaluate(ground)
    assert dark != light
    tablet.goto(reverse("vehicles:vehicles"))
    assert tablet.evaluate(ground) == dark
    tablet.emulate_media(color_scheme="dark")
    assert tablet.evaluate(ground) == dark
    tablet.get_by_role("button", name="Light theme").tap()
    tablet.goto(reverse("jobs:floor"))
    assert tablet.evaluate(ground) == light, "also where the device prefers the dark"
