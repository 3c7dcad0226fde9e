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
  };
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
  document.addEventListener("input", (event) => {
    if (event.target === number()) form().dataset.typing = "1";
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
    document.querySelectorAll("[data-keypad], [data-reasons]").forEach((each) => { each.hidden = false; });
    // The keys on the screen are bigger than those of a tablet's own keyboard, which would cover them.
    const input = number();
    if (input && window.matchMedia("(pointer: coarse)").matches) input.inputMode = "none";
    says();
  };
  // A page that the browser kept whole shows what was on record when it was left.
  window.addEventListener("pageshow", (event) => { if (event.persisted) window.location.reload(); });
  document.addEventListener("htmx:afterSwap", () => {
    ready();
    // Whoever works by keyboard or hears the page goes on where the entry is; the picture stays where it was.
    const wrong = document.getElementById("form-errors");
    const place = wrong || document.getElementById("place");
    if (place) place.focus({ preventScroll: true });
    // What is wrong stands between the number and the button: with the button in view, so is the rest.
    if (wrong) form().querySelector(".record").scrollIntoView({ block: "nearest" });
    const why = wrong && document.querySelector("#work .why .errors");
    const box = why && why.getBoundingClientRect();
    if (box && (box.top < 0 || box.bottom > window.innerHeight)) why.scrollIntoView({ block: "nearest" });
  });
  document.addEventListener("htmx:afterSettle", () => {
    if (document.getElementById("form-errors") && form()) form().querySelector(".record").scrollIntoView({ block: "nearest" });
  });
  ready();
})();
