// The run screen: number keys, the keyboard, the unit, the usual reasons, and what to do when nothing came back.
// Without this script its controls work by themselves.
(() => {
  const form = () => document.querySelector("[data-torque]");
  const number = () => document.querySelector('[data-torque] input[name="reading_value"]');
  const open = () => { const found = form(); return found && !found.querySelector("fieldset:disabled"); };

  // --- on a telephone the button is always in view, and so is what it would record
  const says = () => {
    const place = document.querySelector("[data-says]");
    if (!place || !open()) return;
    const { fastener, reading_unit: unit } = form().elements;
    const kind = form().querySelector(".kinds :checked + span > strong, .one-kind");
    const words = kind ? kind.firstChild.textContent.trim().toLowerCase() : "";
    const typed = number() && number().value.trim();
    const value = !number() ? "" : typed ? `${typed} ${unit && unit.selectedOptions && unit.selectedOptions[0] ? unit.selectedOptions[0].textContent : ""}, ` : "no number yet, ";
    place.textContent = `Fastener ${fastener ? fastener.value : "–"}: ${value}${words}`;
    place.hidden = false;
  };
  ["input", "change"].forEach((name) => document.addEventListener(name, (event) => {
    if (event.target.form && event.target.form === form()) says();
  }));

  // --- the number. The first key replaces what the field began with, as on a calculator.
  const press = (key) => {
    const input = number();
    if (!input || !open()) return;
    const at = form().dataset;
    if (key === "back") input.value = at.typing ? input.value.slice(0, -1) : "";
    else input.value = (at.typing ? input.value : "") + key;
    at.typing = "1";
    said("");
    says();
    typed();
  };
  const typed = () => document.dispatchEvent(new CustomEvent("run:typed"));
  document.addEventListener("click", (event) => {
    const key = event.target.closest("[data-key]");
    if (key) press(key.dataset.key);
    const reason = event.target.closest("[data-fill]");
    if (reason) {
      const into = document.getElementById(reason.dataset.into);
      into.value = reason.dataset.fill;
      into.focus({ preventScroll: true });
    }
  });

  // --- done earlier: minutes off the field's time, or off now. Now is the server's, where the page came just now:
  // the clock of a tablet may be wrong.
  let came = null; // {minutes of the shop's day when the work area came, the device's clock then}
  const clockCame = () => {
    const work = document.getElementById("work");
    const at = work && work.dataset.clock && !document.querySelector('meta[name="copy-made"]')
      ? work.dataset.clock : window.shopTime.clock(Date.now());
    came = { minutes: Number(at.slice(0, 2)) * 60 + Number(at.slice(3, 5)), at: Date.now() };
  };
  document.addEventListener("click", (event) => {
    const tapped = event.target.closest("[data-minutes]");
    if (!tapped) return;
    const field = tapped.closest(".clock-row").querySelector("[data-clock]");
    const by = tapped.dataset.minutes;
    if (by) {
      const [hours, minutes] = field.value.split(":").map(Number);
      const from = field.value ? hours * 60 + minutes : came.minutes + Math.floor((Date.now() - came.at) / 60000);
      const then = Math.max(from + Number(by), 0) % 1440; // yesterday is chosen, not slipped into
      field.value = [Math.floor(then / 60), then % 60].map((part) => String(part).padStart(2, "0")).join(":");
    } else field.value = "";
    field.dispatchEvent(new Event("change", { bubbles: true }));
  });
  document.addEventListener("input", (event) => {
    if (event.target === number()) { form().dataset.typing = "1"; typed(); }
  });

  // --- the keyboard, while nothing else is being typed in
  const writes = (each) => each.matches("input, select, textarea, [contenteditable]");
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  // The fastener that lies nearest in this direction; in none, the next or the one before in the drawing.
  const towards = (from, [dx, dy]) => {
    const middle = (each) => {
      const box = each.getBoundingClientRect();
      return [box.x + box.width / 2, box.y + box.height / 2];
    };
    const all = [...from.closest("[data-pattern]").querySelectorAll("a")];
    const [x, y] = middle(from);
    let best = null;
    let least = Infinity;
    all.filter((each) => each !== from).forEach((each) => {
      const [u, v] = middle(each);
      const along = (u - x) * dx + (v - y) * dy;
      const aside = Math.abs((u - x) * dy) + Math.abs((v - y) * dx);
      if (along > 2 && along + 2 * aside < least) { least = along + 2 * aside; best = each; }
    });
    return best;
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    const target = event.target;
    if (arrows[event.key] && target.closest("[data-pattern] a")) {
      event.preventDefault();
      const found = towards(target.closest("a"), arrows[event.key]);
      if (found) found.focus();
      return;
    }
    if (!open() || writes(target)) return;
    if (/^[0-9]$/.test(event.key)) press(event.key);
    else if (event.key === "," || event.key === ".") press(event.key);
    else if (event.key === "Backspace") press("back");
    else if (event.key === "Enter" && !target.closest("a, button, summary")) {
      form().requestSubmit(form().querySelector("button.record"));
    } else return;
    event.preventDefault();
  });

  // --- the unit: the target is shown in it, and a set value that nobody has touched goes with it
  document.addEventListener("change", (event) => {
    if (!event.target.matches("[data-unit]")) return;
    const { figure, limits, set, setting } = event.target.selectedOptions[0].dataset;
    const show = (name, text) => {
      const place = document.querySelector(`[data-target-${name}]`);
      if (place && text) place.textContent = text;
    };
    show("figure", figure);
    if (figure) show("unit", event.target.selectedOptions[0].textContent);
    show("limits", limits);
    show("setting", setting);
    if (set && !form().dataset.typing && !form().querySelector("[aria-invalid]")) number().value = set;
    says();
  });

  // --- nothing came back: said beside the button that is pressed again
  const said = (text) => {
    const place = document.querySelector("[data-unsent]");
    if (place) { place.textContent = text; place.hidden = !text; }
  };
  // Said once, where the button is: the page's own notice says the same at its top, out of sight.
  const instead = (text) => {
    const notice = document.getElementById("notice");
    if (notice) { notice.textContent = ""; notice.hidden = true; }
    said(text);
  };
  const ours = (event) => event.detail.elt && event.detail.elt.closest("[data-torque]");
  // What the wrench is to be set to is asked for and answered; what was typed meanwhile is not overwritten.
  const entered = () => new URLSearchParams(new FormData(form())).toString();
  let asked = null;
  document.addEventListener("htmx:beforeRequest", (event) => {
    if (ours(event)) asked = event.detail.requestConfig.parameters.op ? entered() : null;
  });
  document.addEventListener("htmx:beforeSwap", (event) => {
    const { requestConfig, shouldSwap } = event.detail; // its elt is what is swapped, not what asked
    if (asked === null || requestConfig.elt !== form() || !shouldSwap || asked === entered()) return;
    event.detail.shouldSwap = false;
    said("You went on typing: nothing was changed. Tap the button again to work it out.");
  });
  const again = "What you typed is still here: press Record again. Sent twice, it is one reading.";
  document.addEventListener("htmx:beforeRequest", (event) => { if (ours(event)) said(""); });
  ["htmx:sendError", "htmx:timeout"].forEach((name) => document.addEventListener(name, (event) => {
    if (ours(event)) instead(`Not recorded yet: no answer from the workshop's server. ${again}`);
  }));
  document.addEventListener("htmx:responseError", (event) => {
    if (!ours(event)) return;
    const { status } = event.detail.xhr;
    const what = status === 401 ? "you are signed out. Sign in in another window first."
      : status === 403 ? "this is not yours to do, or the page is too old. Reload it if it happens again."
        : `the server answered with an error (${status}).`;
    instead(`Not recorded yet: ${what} ${again}`);
  });

  const ready = () => {
    const here = document.querySelector(".strip .stage.here");
    const strip = here && here.closest(".strip");
    if (strip) strip.scrollLeft = here.offsetLeft - strip.clientWidth / 3;
    document.querySelectorAll("[data-keypad], [data-reasons], [data-minutes]").forEach((each) => { each.hidden = false; });
    // The keys on the screen are bigger than those of a tablet's own keyboard, which would cover them.
    const input = number();
    if (input && window.matchMedia("(pointer: coarse)").matches) input.inputMode = "none";
    says();
  };
  // A page that the browser kept whole shows what was on record when it was left.
  window.addEventListener("pageshow", (event) => { if (event.persisted) window.location.reload(); });
  // The verdict is said by a part of the page that stays: what comes with its words in it is not read out. The place,
  // which takes the focus, is named for those who listen, so nothing is read twice.
  const speak = () => {
    const last = document.querySelector(".last:not([data-none])");
    const place = document.getElementById("run-said");
    if (last && place) place.textContent = [...last.querySelectorAll(":scope > p:not(.put-right)")].map((each) => each.textContent.trim().replace(/\s+/g, " ")).join(". ");
  };
  // On a telephone the bar with the button is pinned: a verdict behind it is brought out.
  const uncover = (last) => {
    const bar = document.querySelector(".record-bar");
    if (!last || !bar || getComputedStyle(bar).position !== "fixed") return;
    const { top, bottom } = last.getBoundingClientRect();
    // Above the screen it is looked for only where it says to look at the joint: else the keys stay where they are.
    const hidden = bottom > bar.getBoundingClientRect().top || (top < 0 && last.querySelector(".outside"));
    if (hidden) last.scrollIntoView({ block: "nearest" });
  };
  document.addEventListener("run:said", ({ detail: last }) => uncover(last));
  const swapped = (answered) => {
    clockCame();
    ready();
    if (answered && !document.getElementById("form-errors")) {
      speak();
      uncover(document.querySelector(".last:not([data-none])"));
    }
    // Whoever works by keyboard or hears the page goes on where the entry is; the picture stays where it was.
    const wrong = document.getElementById("form-errors");
    const place = wrong || document.getElementById("place");
    if (place) place.focus({ preventScroll: true });
    // What is wrong stands between the number and the button: with the button in view, so is the rest.
    if (wrong) form().querySelector(".record").scrollIntoView({ block: "nearest" });
    const why = wrong && document.querySelector("#work .why .errors");
    const box = why && why.getBoundingClientRect();
    if (box && (box.top < 0 || box.bottom > window.innerHeight)) why.scrollIntoView({ block: "nearest" });
  };
  const showButton = () => {
    if (document.getElementById("form-errors") && form()) form().querySelector(".record").scrollIntoView({ block: "nearest" });
  };
  document.addEventListener("htmx:afterSwap", (event) => swapped(event.detail.requestConfig.verb === "post"));
  document.addEventListener("htmx:afterSettle", showButton);
  // The same, where run-kept.js sent the reading and puts the answer in its place.
  document.addEventListener("run:swapped", ({ detail: how }) => {
    if (how === "sent") { // nobody asked for it: the focus stays where it is
      clockCame();
      ready();
      return;
    }
    swapped(true);
    showButton();
    // The second half of a double tap would meet the next form's button, in the same place.
    const fresh = [...document.querySelectorAll('form[hx-post] button:not([type="button"])')];
    fresh.forEach((each) => { each.inert = true; });
    setTimeout(() => fresh.forEach((each) => { each.inert = false; }), 400);
  });
  document.addEventListener("run:place", () => says());
  clockCame();
  ready();
})();
