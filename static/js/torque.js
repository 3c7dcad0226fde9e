// The number keys of the run screen. Without this script the number field works by itself.
(() => {
  const field = (form) => form.querySelector('input[name="reading_value"]');
  const shown = new WeakSet();
  const show = () => {
    document.querySelectorAll("[data-torque]").forEach((form) => {
      if (shown.has(form)) return;
      shown.add(form);
      const pad = form.querySelector("[data-keypad]");
      if (pad) pad.hidden = false;
    });
  };
  document.addEventListener("click", (event) => {
    const key = event.target.closest("[data-key]");
    if (!key) return;
    const form = key.closest("form");
    const input = field(form);
    if (!input) return;
    // The first key replaces what the field began with, as on a calculator.
    if (key.dataset.key === "wipe") input.value = "";
    else input.value = (form.dataset.typing ? input.value : "") + key.dataset.key;
    form.dataset.typing = key.dataset.key === "wipe" ? "" : "1";
  });
  document.addEventListener("input", (event) => {
    const form = event.target.closest("[data-torque]");
    if (form && event.target.name === "reading_value") form.dataset.typing = "1";
  });
  document.addEventListener("htmx:afterSwap", () => {
    show();
    // Whoever works by keyboard or hears the page goes on where the entry is; the picture stays where it was.
    const wrong = document.getElementById("form-errors");
    const place = wrong || document.getElementById("place");
    if (place) place.focus({ preventScroll: !wrong });
  });
  show();
})();
