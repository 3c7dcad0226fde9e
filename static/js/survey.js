// The walk round the car: after each answer the next place is in view; ready words are taken over with a tap; how
// sure a part is follows its evidence while one ticks. Without this script everything still works by posts.
(() => {
  const SURE = {
    confirmed: "So far: this evidence can confirm it.",
    likely: "So far: likely. A number read off the part, a build record or an invoice could confirm it.",
    open: "So far: an open question, as long as there is no evidence.",
    unknown: "As long as it is unknown where the part comes from, it is an open question.",
  };
  let zone = document.getElementById("walk")?.dataset.zone;

  const sure = (form) => {
    const place = form.querySelector("[data-sure]");
    if (!place) return;
    const seen = [...form.querySelectorAll("[data-supports]:checked")].map((each) => each.dataset.supports);
    const unknown = form.querySelector('[name="provenance"][value="unknown"]:checked');
    place.textContent = unknown ? SURE.unknown
      : SURE[seen.includes("confirmed") ? "confirmed" : seen.includes("likely") ? "likely" : "open"];
  };

  const ready = () => {
    document.querySelectorAll("[data-questions], [data-fill-in]").forEach((each) => { each.hidden = false; });
    document.querySelectorAll("form").forEach((form) => {
      if (form.querySelector("[data-sure]")) sure(form);
    });
    const rail = document.querySelector(".zone-rail ol");
    const now = rail?.querySelector(".now");
    if (rail && now && rail.scrollWidth > rail.clientWidth) {
      rail.scrollLeft = now.parentElement.offsetLeft - (rail.clientWidth - now.clientWidth) / 2;
    }
  };

  // A finger that taps on must not answer for the zone that came up under it: whatever sends waits until the finger
  // has been off the zone for a second.
  const QUIET = 1000;
  let waiting = null;
  let held = [];
  let down = false;
  const free = () => {
    if (down) { waiting = setTimeout(free, QUIET); return; }
    waiting = null;
    held.forEach((each) => { each.disabled = false; });
    held = [];
  };
  const wait = () => {
    clearTimeout(waiting);
    document.querySelectorAll(".zone-panel form button:not([type=button]):enabled").forEach((each) => {
      each.disabled = true;
      held.push(each);
    });
    waiting = setTimeout(free, QUIET);
  };
  document.addEventListener("pointerdown", (event) => {
    down = true;
    if (waiting && event.target.closest?.(".zone-panel")) wait();
  }, true);
  ["pointerup", "pointercancel"].forEach((name) => document.addEventListener(name, () => { down = false; }, true));

  // Where the hand goes on: the refusal, the open panel, the next place; at the top when the zone is another one.
  const goOn = () => {
    const walk = document.getElementById("walk");
    if (!walk) return;
    const moved = walk.dataset.zone !== zone;
    zone = walk.dataset.zone;
    if (moved) wait();
    const wrong = walk.querySelector("#form-errors");
    const open = walk.querySelector(".stop.open");
    if (moved && !open && !wrong && walk.getBoundingClientRect().top < 0) walk.scrollIntoView();
    const place = wrong || (open || walk.querySelector(".stop.here"))?.querySelector("h3") || walk.querySelector("h2");
    if (!place) return;
    place.focus({ preventScroll: true });
    const block = place.closest(".stop");
    if (wrong || open) (open || wrong).scrollIntoView({ block: "start" });
    else if (block) block.scrollIntoView({ block: "nearest" });
  };

  // Settled, not only swapped: until then an element keeps the class of the one that it replaces.
  document.addEventListener("htmx:afterSettle", (event) => {
    if (!event.target.closest?.(".walk-frame") && event.target.id !== "walk") return;
    ready();
    goOn();
  });
  document.addEventListener("change", (event) => {
    const form = event.target.form;
    if (form && form.querySelector("[data-sure]")) sure(form);
    // The words belong to the tick: the hand goes straight on to them.
    if (event.target.matches("[data-supports]:checked")) {
      event.target.closest(".piece")?.querySelector(".what input")?.focus();
    }
  });
  document.addEventListener("click", (event) => {
    const fill = event.target.closest("[data-fill]");
    if (fill) {
      const form = fill.closest("form");
      document.getElementById(fill.dataset.fill).value = fill.dataset.text;
      const fits = form.querySelector('[name="factory_fits"]');
      if (fits && !fits.value && fill.dataset.fits) fits.value = fill.dataset.fits;
    }
    const question = event.target.closest("[data-question]");
    if (question) {
      document.getElementById(question.dataset.question).value = question.textContent.trim();
      question.closest("form").requestSubmit();
    }
  });
  ready();
})();
