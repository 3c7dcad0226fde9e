// The list that appears under a search box while one types: arrow keys, Enter and Escape, a finger or a mouse.
// What is found comes from the server (htmx); without this script, Enter leads to the search page.
(() => {
  const forms = document.querySelectorAll("form[data-find]");
  forms.forEach((form) => {
    const input = form.querySelector("input[type=search]");
    const list = form.querySelector(".find-list");
    const said = form.querySelector("[role=status]");
    if (!input || !list) return;
    let active = null;
    input.setAttribute("role", "combobox");
    input.setAttribute("aria-autocomplete", "list");
    input.setAttribute("aria-controls", list.id);

    const options = () => [...list.querySelectorAll("[role=option]")];
    const choose = (option) => {
      if (active) active.setAttribute("aria-selected", "false");
      active = option || null;
      if (active) {
        active.setAttribute("aria-selected", "true");
        input.setAttribute("aria-activedescendant", active.id);
        active.scrollIntoView({ block: "nearest" });
      } else input.removeAttribute("aria-activedescendant");
    };
    const show = (open) => {
      list.hidden = !open;
      input.setAttribute("aria-expanded", String(open && options().length > 0));
      if (!open) choose(null);
    };
    const filled = () => list.childElementCount > 0 && input.value.trim() !== "";
    show(false);

    list.addEventListener("htmx:afterSwap", () => {
      choose(null);
      const words = list.querySelector("[data-said]");
      said.textContent = words ? words.dataset.said : "";
      show(filled() && form.contains(document.activeElement));
    });
    input.addEventListener("input", () => { if (input.value.trim() === "") show(false); });
    input.addEventListener("focus", () => show(filled()));
    // A press on a result must not take the focus first: the list would be gone before the tap is over.
    list.addEventListener("pointerdown", (event) => { if (event.pointerType === "mouse") event.preventDefault(); });
    form.addEventListener("focusout", (event) => {
      if (!form.contains(event.relatedTarget)) setTimeout(() => {
        if (!form.contains(document.activeElement) && !list.matches(":active, :hover")) show(false);
      }, 0);
    });
    document.addEventListener("pointerdown", (event) => { if (!form.contains(event.target)) show(false); });

    input.addEventListener("keydown", (event) => {
      if (event.isComposing) return;
      const all = options();
      const at = all.indexOf(active);
      const open = !list.hidden;
      if (event.key === "ArrowDown" || event.key === "ArrowUp") {
        if (!all.length || !filled()) return;
        event.preventDefault();
        const step = event.key === "ArrowDown" ? 1 : -1;
        if (!open) show(true);
        // One step beyond either end is the text itself.
        const next = at === -1 ? (step === 1 ? 0 : all.length - 1) : at + step;
        choose(all[next]);
      } else if (event.key === "Enter" && open && active) {
        event.preventDefault();
        active.click();
      } else if (event.key === "Escape" && open) {
        event.preventDefault();
        show(false);
      } else if (event.key === "Tab") show(false);
    });
    // Back from a page that was found, the browser may show this one as it was left.
    window.addEventListener("pageshow", () => show(false));
  });

  // The button beside the box reads a label with the camera, where the browser can; its script comes with the first tap.
  const scanner = document.querySelector("button[data-scan-src]");
  if (scanner && navigator.mediaDevices?.getUserMedia && window.BarcodeDetector) {
    window.BarcodeDetector.getSupportedFormats().then((formats) => {
      scanner.hidden = !formats.includes("qr_code");
    }, () => {});
    scanner.addEventListener("click", () => {
      if (window.scan) return; // it listens by itself
      const script = document.createElement("script");
      script.src = scanner.dataset.scanSrc;
      script.addEventListener("load", () => window.scan.from(scanner));
      document.head.append(script);
    });
  }

  // A field that hides the rows of this page in which what is typed does not occur. Enter goes on with its form.
  const fold = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  document.querySelectorAll("input[data-narrows]").forEach((input) => {
    const within = document.querySelector(input.dataset.narrows);
    const counted = document.getElementById(input.dataset.counted);
    if (!within) return;
    const opened = new Set();
    const narrow = () => {
      const words = fold(input.value).split(/\s+/).filter(Boolean);
      let shown = 0;
      within.querySelectorAll(".row, tbody tr").forEach((row) => {
        const fits = words.every((word) => fold(row.textContent).includes(word));
        row.hidden = words.length > 0 && !fits;
        if (fits) shown += 1;
        const fold_ = row.closest("details");
        if (words.length && fits && fold_ && !fold_.open) { fold_.open = true; opened.add(fold_); }
      });
      if (!words.length) { opened.forEach((each) => { each.open = false; }); opened.clear(); }
      within.querySelectorAll("[data-section]").forEach((section) => {
        section.hidden = words.length > 0 && !section.querySelector(".row:not([hidden]), tbody tr:not([hidden])");
      });
      if (counted) counted.textContent = words.length ? (shown ? `${shown} here` : "nothing here") : "";
    };
    input.addEventListener("input", narrow);
    narrow();
  });
})();
