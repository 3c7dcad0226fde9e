"""The main pages with the whole demo on record, on the shop's tablet and on a telephone.

What is looked for: nothing on the console, nothing that the content security policy stops, no other host; no page
that scrolls sideways; targets that a finger meets; and what axe finds against WCAG 2.2 A and AA, in both themes.
"""

from __future__ import annotations

from axe_playwright_python.base import AXE_SCRIPT
from django.urls import reverse
from playwright.sync_api import expect

from jobs import demo
from jobs.acts import torque, work
from jobs.models import Damage, Job, Procedure, Run, SheetRevision, WorkLine
from tests.browser.devices import PHONE, TABLET, Watch, new_page, sign_in
from tests.people import PASSWORD, by
from vehicles.models import Attachment, Fault, FittedPart, Keeper, OutstandingItem, Survey, Vehicle
from workshop.models import Person, TorqueTool

# Success criteria of WCAG 2.2, levels A and AA, as axe's rules are tagged with them.
WCAG = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
# A theme changes colours and nothing else, so the second look at a page asks for these rules alone; and a telephone
# shows the colours that were looked at on the tablet.
COLOURS = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}

# A target's least side by WCAG 2.2, success criterion 2.5.8 (W3C Recommendation, 5 October 2023): 24 by 24 CSS
# pixels; a link within a sentence is excepted there. 48 px for the app's own buttons and keys is the house's rule:
# hands in gloves, a tablet on a bench.
LEAST, BUTTON = 24, 48

MEASURE = """([least, button]) => {
  const shown = (each) => each.checkVisibility({ checkVisibilityCSS: true, checkOpacity: true })
    && !each.closest(".sr-only, .skip");
  const inSentence = (each) => each.localName === "a" && getComputedStyle(each).display === "inline"
    && each.parentElement.textContent.trim().length > each.textContent.trim().length;
  const said = (each) => {
    const box = each.getBoundingClientRect();
    const name = each.textContent.trim().replace(/\\s+/g, " ").slice(0, 30) || each.name || each.id;
    return `<${each.localName} class="${each.className}"> “${name}” ${box.width.toFixed(1)} × ${box.height.toFixed(1)}`;
  };
  // A box or a dot in its label is met wherever the label is met.
  const met = (each) => (each.matches("[type=checkbox], [type=radio]") && each.closest("label")) || each;
  const wrong = [];
  const targets = "button, a[href], summary, select, textarea, input:not([type=hidden])";
  for (const each of document.querySelectorAll(`form :is(${targets}), .actions :is(${targets})`)) {
    if (!shown(each) || inSentence(each)) continue;
    const box = met(each).getBoundingClientRect();
    if (box.width < least || box.height < least) wrong.push(`target below ${least} px: ${said(each)}`);
  }
  for (const each of document.querySelectorAll(".btn, .key")) {
    // Rounded to a hundredth: the layout counts in sixty-fourths of a pixel.
    if (shown(each) && Math.round(each.getBoundingClientRect().height * 100) / 100 < button)
      wrong.push(`button below ${button} px: ${said(each)}`);
  }
  return wrong;
}"""

# A telephone's browser widens its viewport to what sticks out, so the width asked for is given.
SIDEWAYS = """(width) => {
  if (document.documentElement.scrollWidth <= width) return [];
  const out = [...document.querySelectorAll("body *")].filter((each) => {
    const right = each.getBoundingClientRect().right + scrollX;
    return right > width + 1 && !each.closest(".table-wrap, nav") ;
  });
  const names = out.slice(0, 4).map((each) => `<${each.localName} class="${each.getAttribute("class") || ""}">`);
  return [`sideways: ${document.documentElement.scrollWidth} px of ${width}: ${names.join(" ")}`];
}"""


def places() -> list[tuple[str, str, int, str]]:
    """(address, who opens it, status, how closely it is looked at) for the main pages; "axe" is all, "" without."""
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
        (reverse("jobs:run", args=[done_run.pk]), "lida", 200, ""),
        (reverse("jobs:run", args=[open_run.pk]), "lida", 200, "axe"),
        (f"{reverse('jobs:run', args=[open_run.pk])}?torque_tool={TorqueTool.objects.get(label='TW-03').pk}",
         "lida", 200, "axe"),
        (reverse("jobs:procedures"), "lida", 200, ""),
        (reverse("jobs:procedure", args=[done_run.version_used.procedure_id]), "lida", 200, ""),
        (reverse("jobs:waivers"), "lida", 200, ""),
        (reverse("jobs:procedure-version", args=[done_run.version_used_id]), "lida", 200, "axe"),
        (reverse("workshop:tools"), "lida", 200, "axe"),
        (reverse("workshop:tool", args=[TorqueTool.objects.get(label="TW-03").pk]), "lida", 200, "axe"),
        (reverse("jobs:handover", args=[open_job.pk]), "lida", 200, "axe"),
        (reverse("jobs:collect-unfinished", args=[open_job.pk]), "lida", 200, "axe"),
        (reverse("jobs:sheet", args=[sheet.pk]), "lida", 200, "axe"),
        (reverse("jobs:sheet-draft", args=[open_job.pk]), "lida", 200, "paper"),
        (reverse("jobs:confirm", args=[sheet.token]), "", 200, "axe"),
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
        (reverse("workshop:login"), "", 200, "axe"),
        ("/no-such-page/", "silvan", 404, "axe"),
        (reverse("workshop:people"), "tamsin", 403, "axe"),
    ]  # fmt: skip


def test_the_main_pages(browser, live_server, tmp_path):
    demo.play(demo.Demo.open(tmp_path), lambda text: None)
    pages, wrong = places(), []
    for device in (TABLET, PHONE):
        # Without motion: a colour that is still on its way would be measured as it is then. And with one dot to
        # a pixel: what is measured here is in CSS pixels, and painting four dots takes time.
        options = {**device, "device_scale_factor": 1, "reduced_motion": "reduce"}
        page = new_page(browser, live_server.url, **options)
        width, here = device["viewport"]["width"], None
        watch = Watch(page, live_server.url)
        for address, who, status, closely in pages:
            if who != here:
                sign_in(page, Person.objects.get(sign_in_name=who) if who else None, live_server.url)
                here = who
            watch.expected = status
            response = page.goto(address)
            said = [] if response.status == status else [f"answers {response.status}"]
            said += page.evaluate(SIDEWAYS, width)
            if closely != "paper":
                said += page.evaluate(MEASURE, [LEAST, BUTTON])
            if closely == "axe":
                said += in_both_themes(page, device)
            elif closely:
                page.emulate_media(color_scheme="light")
                # The watermark is pale on purpose, and no information: the same words stand beside the number.
                said += violations(page, WCAG, leave_out=".watermark")
            wrong += [f"{width} {address} as {who or 'nobody'}: {text}" for text in said]
        wrong += [f"{width} {text}" for text in watch.complaints]
        page.context.close()
    assert not wrong, "\n".join(["", *dict.fromkeys(wrong)])
    assert len(pages) > 35


def in_both_themes(page, device: dict, leave_out: str | None = None) -> list[str]:
    """What axe finds on this page, in light and dark; on a telephone all but the colours."""
    page.emulate_media(color_scheme="light")
    if device is PHONE:
        return violations(page, WCAG, leave_out, without=COLOURS["values"])
    said = violations(page, WCAG, leave_out)
    page.emulate_media(color_scheme="dark")
    return said + [f"dark: {text}" for text in violations(page, COLOURS)]


def violations(
    page, rules: dict, leave_out: str | None = None, without: list[str] | None = None
) -> list[str]:
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found = page.evaluate(
        "([leaveOut, runOnly, rules]) => axe.run({ include: [document], exclude: leaveOut ? [[leaveOut]] : [] },"
        # Without preloading: for a shadow tree axe writes a style element into it, which the policy stops.
        " { runOnly, rules, resultTypes: ['violations'], preload: false })",
        [leave_out, rules, {name: {"enabled": False} for name in without or []}],
    )
    assert found["passes"], "axe looked at nothing"
    return [
        f"{row['id']}: {node['html'][:120]} {node['failureSummary'].splitlines()[-1].strip()[:160]}"
        for row in found["violations"]
        for node in row["nodes"][:3]
    ]


def test_what_is_looked_for_is_seen(tablet, live_server):
    """The watch and the measures of this file on a page that has each of these faults."""
    watch = Watch(tablet, live_server.url)
    tablet.goto(reverse("workshop:login"))
    assert (
        watch.complaints == tablet.evaluate(SIDEWAYS, 1180) == tablet.evaluate(MEASURE, [LEAST, BUTTON]) == []
    )
    tablet.evaluate("""() => {
        document.querySelector("h1").setAttribute("style", "color: red");
        document.querySelector("form").insertAdjacentHTML("beforeend", "<p><a href='#x'>x</a></p>");
        document.querySelector(".btn.primary").className = "btn low";
        const sheet = new CSSStyleSheet();
        sheet.replaceSync(".low { min-height: 30px; padding: 0 } h1 { width: 1300px; color: #eee }");
        document.adoptedStyleSheets = [sheet];
        fetch("http://elsewhere.example/").catch(() => {});
        setTimeout(() => { throw new Error("a fault in a script"); }, 0);
    }""")
    found = "\n".join(tablet.evaluate(SIDEWAYS, 1180) + tablet.evaluate(MEASURE, [LEAST, BUTTON]))
    for said in ("sideways: 1", "target below 24 px: <a", "button below 48 px: <button"):
        assert said in found, (said, found)
    for rules in (WCAG, COLOURS):
        assert "color-contrast: <h1" in "\n".join(violations(tablet, rules))
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
