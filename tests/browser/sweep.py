"""What is looked for on every page, as the browser itself measures it. Each script answers a list of complaints.

Success criteria are those of WCAG 2.2 (W3C Recommendation, 5 October 2023).
"""

from __future__ import annotations

import json
from pathlib import Path
from urllib.parse import unquote, urlsplit

import brotli
from axe_playwright_python.base import AXE_SCRIPT
from django.contrib.staticfiles import finders

from tests.browser.devices import PHONE, TABLET
from workshop.statics import as_served

# Success criteria of WCAG 2.2, levels A and AA, as axe's rules are tagged with them.
WCAG = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
# A theme changes colours and nothing else, so the second look at a page asks for these rules alone.
COLOURS = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
# A narrow screen hides words and moves things: what depends on that is looked at once more on a telephone.
NARROW = {
    "type": "rule",
    "values": [
        "target-size",
        "button-name",
        "link-name",
        "label",
        "select-name",
        "scrollable-region-focusable",
    ],
}
# axe leaves this one out unless it is asked for: 24 by 24 CSS px or as much room around (2.5.8).
ALSO = {"target-size": {"enabled": True}}

AXE = """async ([runOnly, rules, leaveOut]) => {
  if (!("axe" in window)) return null;
  const where = { include: [document], exclude: leaveOut ? [[leaveOut]] : [] };
  // Without preloading: for a shadow tree axe writes a style element into it, which the policy stops.
  const found = await axe.run(where, { runOnly, rules, resultTypes: ["violations"], preload: false });
  return [found.passes.length, found.violations.flatMap(({ id, nodes }) =>
    nodes.slice(0, 3).map(({ html, failureSummary }) => [id, html, failureSummary]))];
}"""

# The tablet at 200 %: twice as large, half as many CSS pixels each way (1.4.4).
ZOOMED = {"width": 590, "height": 410}

# A target's least side by 2.5.8: 24 by 24 CSS pixels; a link within a sentence is excepted there. 48 px for whatever
# is tapped to do something is the house's rule: hands in gloves, a tablet on a bench.
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
  const acts = ".btn, .key, button, summary, select, textarea, nav a[href], .bar a[href], input:not([type=hidden])";
  for (const each of document.querySelectorAll(acts)) {
    // Rounded to a hundredth: the layout counts in sixty-fourths of a pixel.
    if (shown(each) && !inSentence(each) && Math.round(met(each).getBoundingClientRect().height * 100) / 100 < button)
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

# What stays in view while the page is scrolled: not more than a third of the height, wherever one is on the page.
STUCK = """() => {
  if ([...document.querySelectorAll(".lock")].some((each) => each.checkVisibility())) return []; // covers all, on purpose
  const bars = [...document.querySelectorAll("body *")].filter((each) => {
    const style = getComputedStyle(each);
    return ["sticky", "fixed"].includes(style.position) && style.pointerEvents !== "none" && each.checkVisibility();
  });
  const wrong = [];
  const was = scrollY;
  for (const part of [0.35, 0.7]) {
    scrollTo(0, part * document.documentElement.scrollHeight);
    let covered = 0;
    for (const each of bars) {
      const box = each.getBoundingClientRect();
      const held = (box.top <= 1 && box.bottom > 0) || (box.bottom >= innerHeight - 1 && box.top < innerHeight);
      if (held && box.width > innerWidth / 2)
        covered += Math.min(box.bottom, innerHeight) - Math.max(box.top, 0);
    }
    if (covered > innerHeight / 3) wrong.push(`bars cover ${Math.round(covered)} px of ${innerHeight}: `
      + bars.map((each) => `<${each.localName} class="${each.className}">`).join(" "));
  }
  scrollTo(0, was);
  return wrong.slice(0, 1);
}"""

# The words of a control or a heading that its box cuts off.
CUT_OFF = """() => [...document.querySelectorAll("h1, h2, h3, .btn, button, summary, label, legend, th, dt, nav a")]
  .filter((each) => each.checkVisibility() && !each.closest(".sr-only, .skip")
    && each.clientWidth > 4 // less is there to be heard, not seen
    && getComputedStyle(each).overflowX !== "visible" && each.scrollWidth > each.clientWidth + 1)
  .map((each) => `cut off: <${each.localName} class="${each.className}"> “${each.textContent.trim().slice(0, 40)}”`)"""

# One-handed on a telephone: the main act lies in the lower half, or the page can be moved until it does.
REACH = """() => {
  // Beside a field that is typed in, the keyboard takes the lower half, and its own Enter sends.
  const acts = [...document.querySelectorAll("main .btn:is(.primary, .hand)")].filter((each) =>
    each.checkVisibility({ checkVisibilityCSS: true }) && !(each.form && each.form.querySelector("input:not([type=hidden])")));
  if (!acts.length) return [];
  const tops = acts.map((each) => each.getBoundingClientRect().bottom + scrollY);
  const lowest = Math.max(...tops);
  return lowest < innerHeight / 2
    ? [`out of a thumb's reach, ${Math.round(lowest)} px from the top: “${acts[tops.indexOf(lowest)].textContent.trim()}”`]
    : [];
}"""

# With motion reduced nothing moves by itself or on its way.
MOVING = """() => {
  const wrong = new Set();
  for (const each of document.querySelectorAll("*")) {
    for (const of of [null, "::before", "::after"]) {
      const style = getComputedStyle(each, of);
      if (style.animationName !== "none" || style.transitionDuration.split(", ").some((one) => parseFloat(one) > 0)
        || style.scrollBehavior === "smooth")
        wrong.add(`moves: <${each.localName} class="${each.getAttribute("class") || ""}">${of || ""}`);
    }
  }
  return [...wrong].slice(0, 4);
}"""

# Contrast as WCAG 2.2 defines it (relative luminance, contrast ratio), on the grounds that lie under an element.
CONTRAST = """
  const channel = (value) => (value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4);
  const pen = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  const colours = new Map();
  const rgb = (colour) => {
    if (!colours.has(colour)) {
      pen.clearRect(0, 0, 1, 1);
      pen.fillStyle = colour;
      pen.fillRect(0, 0, 1, 1);
      colours.set(colour, [...pen.getImageData(0, 0, 1, 1).data]);
    }
    return colours.get(colour);
  };
  const over = ([r, g, b, a], ground) =>
    [...[r, g, b].map((value, at) => (value * a + ground[at] * (255 - a)) / 255), 255];
  const light = ([r, g, b]) =>
    0.2126 * channel(r / 255) + 0.7152 * channel(g / 255) + 0.0722 * channel(b / 255);
  const ratio = (one, two) => {
    const [a, b] = [light(one), light(two)].sort((x, y) => y - x);
    return (a + 0.05) / (b + 0.05);
  };
  const groundOf = (each) => {
    const found = [];
    for (let at = each; at; at = at.parentElement) {
      const colour = rgb(getComputedStyle(at).backgroundColor);
      if (colour[3]) found.push(colour);
      if (colour[3] === 255) break;
    }
    return found.reduceRight((ground, colour) => over(colour, ground), rgb(getComputedStyle(document.body).backgroundColor));
  };
"""

# Where the focus is, is seen (2.4.7, 2.4.13): an outline of 2 px or more that stands out 3:1 from what is behind it
# (1.4.11). One of each kind on a page.
FOCUS = (
    "() => {"
    + CONTRAST
    + """
  const seen = new Set();
  const wrong = [];
  const was = document.activeElement;
  const stop = (event) => event.stopImmediatePropagation();
  for (const kind of ["focusin", "focusout", "focus", "blur"]) addEventListener(kind, stop, true);
  for (const each of document.querySelectorAll("a[href], button, summary, select, textarea, [tabindex], input:not([type=hidden])")) {
    const kind = `${each.localName} ${each.type || ""} ${each.className} ${each.parentElement.className}`;
    if (seen.has(kind) || each.disabled || each.tabIndex < 0 || !each.checkVisibility({ checkVisibilityCSS: true })) continue;
    seen.add(kind);
    each.focus({ preventScroll: true, focusVisible: true });
    if (document.activeElement !== each) continue;
    const style = getComputedStyle(each);
    const inside = each.querySelector(":scope .hole"); // a fastener's own shape says it
    if (each.closest(".pattern") && inside) {
      if (parseFloat(getComputedStyle(inside).strokeWidth) < 3) wrong.push("no focus seen on a fastener");
      continue;
    }
    const width = style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth);
    const against = ratio(rgb(style.outlineColor), groundOf(each.parentElement));
    if (width < 2 || against < 3)
      wrong.push(`focus hardly seen (${width} px, ${against.toFixed(1)}:1): <${each.localName} class="${each.className}">`);
  }
  (was || document.body).focus({ preventScroll: true });
  if (was === document.body) document.activeElement.blur();
  for (const kind of ["focusin", "focusout", "focus", "blur"]) removeEventListener(kind, stop, true);
  return wrong;
}"""
)

# What the page took: bytes of itself as they came, and every file it used, from wherever (also the browser's cache).
TOOK = """() => [performance.getEntriesByType("navigation")[0].transferSize,
  performance.getEntriesByType("resource").map((each) => [each.name, each.initiatorType, each.encodedBodySize])]"""

FIRST, LATER = 150_000, 30_000
HEADERS = 650  # of an answer of ours, as `python -m tests.benchmarks.page_bytes` counts them
_weights: dict[str, int] = {}


def weight_of(path: str) -> int:
    """Bytes of a static file on the wire: the shop's server has it compressed by brotli at its best, as here."""
    if path not in _weights:
        data = as_served(path, Path(finders.find(path)).read_bytes())
        packed = data if path.endswith(".woff2") else brotli.compress(data)
        _weights[path] = min(len(data), len(packed)) + HEADERS
    return _weights[path]


def too_heavy(page, first: int = FIRST, later: int = LATER) -> list[str]:
    """Whether the page is light enough: with nothing in the browser's cache, and with the files that do not change.

    The test's server sends pages compressed as the shop's does, but static files as they lie there: of those the very
    ones that the page fetched are compressed here. Pictures count as they came, both times: they may be new.
    """
    own, resources = page.evaluate(TOOK)
    files, pictures = {}, 0
    for address, kind, size in resources:
        path = unquote(urlsplit(address).path)
        if path.startswith("/static/"):
            files[path] = weight_of(path.removeprefix("/static/"))
        # One photo at its full size is what somebody opened its page for.
        elif kind in ("img", "css") and not path.endswith("/file/"):
            pictures += size + HEADERS
    found = []
    if (total := own + pictures + sum(files.values())) > first:
        found.append(f"first load {total / 1000:.1f} KB, limit {first / 1000:.0f}")
    if (total := own + pictures) > later:
        found.append(
            f"later {total / 1000:.1f} KB ({pictures / 1000:.1f} of pictures), limit {later / 1000:.0f}"
        )
    return found


def violations(page, rules: dict, leave_out: str | None = None) -> list[str]:
    """What axe finds against these rules. `leave_out` is a selector."""
    asked = [rules, ALSO if rules is WCAG else {}, leave_out]
    answer = page.evaluate(AXE, asked)
    if answer is None:
        page.evaluate(AXE_SCRIPT)
        answer = page.evaluate(AXE, asked)
    passes, found = answer
    assert passes, "axe looked at nothing"
    return [f"{rule}: {html[:120]} {summary.splitlines()[-1].strip()[:160]}" for rule, html, summary in found]


def looked_at(page, closely: str = "axe", leave_out: str | None = None) -> list[str]:
    """What is wrong with the page as it stands: on the tablet, at twice its size, on a telephone; in both themes.

    `closely`: "" leaves axe out, "paper" looks at words and colours alone (nothing is tapped there, and paper is
    white). `leave_out` is a selector. It begins on the tablet in the light, and is left so.
    """
    said = page.evaluate(SIDEWAYS, TABLET["viewport"]["width"])
    if closely:
        said += violations(page, WCAG, leave_out)
    if closely == "paper":
        return said
    said += measured(page, {MEASURE: [LEAST, BUTTON], MOVING: None, FOCUS: None})
    everywhere = {STUCK: None, CUT_OFF: None}
    page.set_viewport_size(ZOOMED)
    zoomed = measured(page, {SIDEWAYS: ZOOMED["width"], **everywhere})
    width = PHONE["viewport"]["width"]
    page.set_viewport_size(PHONE["viewport"])
    phone = measured(page, {SIDEWAYS: width, **everywhere, MEASURE: [LEAST, BUTTON], REACH: None})
    if closely:
        phone += violations(page, NARROW, leave_out)
    page.set_viewport_size(TABLET["viewport"])
    page.emulate_media(color_scheme="dark")
    dark = measured(page, {FOCUS: None})
    if closely:
        dark += violations(page, COLOURS, leave_out)
    page.emulate_media(color_scheme="light")
    where = {"zoomed": zoomed, "phone": phone, "dark": dark}
    return said + [f"{name}: {text}" for name, texts in where.items() for text in texts]


def measured(page, scripts: dict[str, object]) -> list[str]:
    """What these scripts complain of, each given what it takes, in one call to the browser."""
    calls = ", ".join(f"...({script})({json.dumps(given)})" for script, given in scripts.items())
    return page.evaluate(f"() => [{calls}]")
