// The camera reads what would be typed: our own labels (QR), VIN labels (Code 39, Code 128, Data Matrix, QR), and the
// letters of a plate, where the browser brings a detector. Elsewhere nothing of this is shown, and one types.
//
//   <button type="button" data-scan="#field" hidden>Scan</button>   shown where a detector and a camera are to be had
//     data-scan-kind="label vin plate": what is taken; without it "label"
//     data-scan-goes: a label of this shop opens its page; data-scan-sends: the field's form is sent then
//     data-scan-site: the shop's own address, where it is not the one in use
//   <input data-scan-kind="vin">                                    gets such a button beside it
//   scan.read({ formats, kinds, accept }) → Promise of the text, null or undefined where nothing was read; accept(text)
//     answers what is taken of it, "" to read on, or throws an Error whose sentence is shown
//   scan.vin(text) → the 17 characters of a VIN in what was read, or ""
// The field gets an input and a change event; before that the button fires scan:read { text, path } (path: of a page
// of ours, or ""), which a page may prevent and take for itself.
(() => {
  const FORMATS = { label: ["qr_code"], vin: ["code_39", "code_128", "data_matrix", "qr_code"], plate: [] };
  const EVERY = 150; // ms between two looks
  const site = document.querySelector("[data-scan-site]")?.dataset.scanSite || "";
  const element = (tag, attributes = {}, ...children) => {
    const made = document.createElement(tag);
    Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
    made.append(...children);
    return made;
  };

  // ------------------------------------------------------------------------------------ what was read, understood
  // ISO 3779 has no I, O and Q. Some VIN labels in Code 39 begin with an I, or end in the check character of Code 39.
  const C39 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%";
  const vin = (text) => {
    const whole = /^[A-HJ-NPR-Z0-9]{17}$/;
    const plain = text.toUpperCase().replace(/[\s*]/g, "");
    if (whole.test(plain)) return plain;
    if (plain.length === 18 && plain[0] === "I" && whole.test(plain.slice(1))) return plain.slice(1);
    const short = plain.slice(0, 17);
    if (plain.length === 18 && whole.test(short)) {
      const sum = [...short].reduce((total, sign) => total + C39.indexOf(sign), 0);
      return C39[sum % 43] === plain[17] ? short : "";
    }
    // A Data Matrix or QR label may hold more than the number.
    const within = text.toUpperCase().split(/[^A-Z0-9]+/).filter((word) => whole.test(word));
    return within.length === 1 ? within[0] : "";
  };
  // The path of a page of ours that a label leads to; labels bear the shop's own address, whichever one is in use.
  const pathOf = (text) => {
    let url;
    try { url = new URL(text); } catch { return ""; }
    if (!/^https?:$/.test(url.protocol)) return "";
    const ours = [location.origin, ...(site ? [new URL(site).origin] : [])];
    return ours.includes(url.origin) ? url.pathname + url.hash : "";
  };
  const understood = (kinds, text) => {
    const path = pathOf(text);
    if (path && kinds.includes("label")) return { text, path };
    const number = kinds.includes("vin") ? vin(text) : "";
    if (number) return { text: number, path: "" };
    if (path) throw new Error("This is a label of the shop; a VIN is looked for here.");
    if (/^https?:/i.test(text)) throw new Error("This code leads elsewhere: it is no label of this shop.");
    if (kinds.includes("vin")) throw new Error(`Read “${text.slice(0, 40)}”: that is no VIN of 17 characters.`);
    throw new Error("This is no label of this shop.");
  };

  // ------------------------------------------------------------------------------------------------- the browser's
  const camera = () => Boolean(window.isSecureContext && navigator.mediaDevices?.getUserMedia);
  let asked = null;
  const supported = () => {
    asked ||= (camera() && window.BarcodeDetector ? window.BarcodeDetector.getSupportedFormats() : Promise.resolve([]))
      .catch(() => []);
    return asked;
  };
  const letters = () => camera() && "TextDetector" in window;
  const usable = async (kinds) => {
    const have = await supported();
    return kinds.some((kind) => FORMATS[kind]?.some((format) => have.includes(format)))
      || (kinds.includes("plate") && letters());
  };
  const REFUSED = {
    NotAllowedError: "The camera is not allowed for this page. Allow it in the browser (the sign beside the address, "
      + "then “Camera”) and try again, or type what stands there.",
    NotFoundError: "There is no camera on this device. Type what stands there.",
    NotReadableError: "Another app holds the camera. Close that and try again, or type what stands there.",
  };
  REFUSED.SecurityError = REFUSED.NotAllowedError;
  REFUSED.OverconstrainedError = REFUSED.NotFoundError;

  // ---------------------------------------------------------------------------------------------------- the dialog
  // A plate is spoken by few signs: what the detector saw, cut to what may stand on one, for a person to choose from.
  const plates = (found) => [...new Set(found.flatMap((each) => (each.rawValue || "").split("\n"))
    .map((line) => line.toUpperCase().replace(/[^\p{Lu}\p{N} -]/gu, "").trim().replace(/\s+/g, " "))
    .filter((line) => /\p{N}/u.test(line) && line.length >= 3 && line.length <= 12))];

  const read = ({ formats, kinds = ["label"], accept = (text) => text } = {}) => new Promise((answer) => {
    const before = document.activeElement;
    const video = element("video", { playsinline: "", "aria-label": "What the camera sees" });
    video.muted = true;
    const said = element("p", { role: "status", class: "scan-said" }, "Opening the camera…");
    const choices = element("div", { class: "actions", role: "group", "aria-label": "What was read" });
    const button = (text, kind, act) => {
      const made = element("button", { type: "button", class: `btn ${kind}` }, text);
      made.addEventListener("click", act);
      return made;
    };
    const shut = button("Close", "", () => box.close());
    const actions = element("div", { class: "actions" }, shut);
    const title = kinds.includes("vin") ? "Hold the VIN label before the camera"
      : kinds.includes("label") ? "Hold the label before the camera" : "Hold the plate before the camera";
    const heading = element("h2", { id: "scan-title" }, title);
    const box = element("dialog", { class: "scan", "aria-labelledby": "scan-title" }, heading, video, said, choices,
      actions);
    let stream = null;
    let timer = null;
    let result = null;
    let over = false;
    const stop = () => {
      clearTimeout(timer);
      stream?.getTracks().forEach((track) => track.stop());
      stream = null;
      video.srcObject = null;
    };
    const took = (value) => { result = value; box.close(); };
    box.addEventListener("close", () => {
      over = true;
      stop();
      removeEventListener("pagehide", stop);
      box.remove();
      before?.focus?.();
      answer(result);
    });
    addEventListener("pagehide", stop);

    const looks = (detector) => {
      const look = async () => {
        if (over || !stream) return;
        try {
          const found = video.readyState >= 2 ? await detector.detect(video) : [];
          for (const each of over ? [] : found) {
            try {
              const value = each.rawValue && accept(each.rawValue);
              if (value) { took(value); return; }
            } catch (refusal) {
              if (said.textContent !== refusal.message) said.textContent = refusal.message;
            }
          }
        } catch { /* this picture could not be looked at: the next one may */ }
        if (!over) timer = setTimeout(look, EVERY);
      };
      look();
    };
    const readsPlate = async () => {
      said.textContent = "Reading…";
      let found = [];
      try { found = plates(await new window.TextDetector().detect(video)); } catch { /* nothing was seen then */ }
      said.textContent = found.length ? "Tap what stands on the plate." : "No plate was read. Go nearer, or type it.";
      choices.replaceChildren(...found.slice(0, 6).map((each) => button(each, "plate", () => took(each))));
      choices.firstChild?.focus();
    };
    const begin = async () => {
      const have = (await supported()).filter((format) => (formats || kinds.flatMap((kind) => FORMATS[kind]))
        .includes(format));
      try {
        stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" },
          width: { ideal: 1280 } }, audio: false });
      } catch (error) {
        said.textContent = REFUSED[error.name] || "The camera does not open. Try again, or type what stands there.";
        said.setAttribute("role", "alert");
        video.hidden = true;
        const again = button("Try again", "primary", () => { actions.replaceChildren(shut); begin(); });
        actions.replaceChildren(again, button("Type it instead", "", () => took(undefined)));
        return;
      }
      if (over) { stop(); return; }
      video.hidden = false;
      video.srcObject = stream;
      await video.play().catch(() => {});
      said.textContent = have.length ? "Looking…" : "Hold it steady, then read.";
      const [track] = stream.getVideoTracks();
      if (track?.getCapabilities?.().torch) {
        const torch = button("Light", "", () => {
          const on = torch.getAttribute("aria-pressed") !== "true";
          torch.setAttribute("aria-pressed", String(on));
          track.applyConstraints({ advanced: [{ torch: on }] }).catch(() => { torch.remove(); });
        });
        torch.setAttribute("aria-pressed", "false");
        shut.before(torch);
      }
      if (kinds.includes("plate") && letters()) shut.before(button("Read the plate", "primary", readsPlate));
      if (have.length) looks(new window.BarcodeDetector({ formats: have }));
    };
    document.body.append(box);
    box.showModal();
    shut.focus();
    begin();
  });

  // --------------------------------------------------------------------------------------------- fields and buttons
  const kindsOf = (button) => (button.dataset.scanKind || "label").split(" ");
  const from = async (button) => {
    const field = document.querySelector(button.dataset.scan);
    const kinds = kindsOf(button);
    let plate = "";
    const accept = (text) => understood(kinds, text);
    const found = await read({ kinds, accept });
    if (found === undefined) field?.focus(); // it is typed instead
    if (!found) return;
    const { text, path } = typeof found === "string" ? { text: (plate = found), path: "" } : found;
    const event = new CustomEvent("scan:read", { bubbles: true, cancelable: true, detail: { text, path } });
    if (!button.dispatchEvent(event)) return;
    if (path && "scanGoes" in button.dataset) { location.assign(path); return; }
    if (!field) return;
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
    if ("scanSends" in button.dataset && !plate) field.form?.requestSubmit();
    else field.focus();
  };
  const offer = (root) => {
    root.querySelectorAll("input[data-scan-kind]:not([data-scan-ready])").forEach((field) => {
      field.dataset.scanReady = "yes";
      const name = field.labels?.[0]?.textContent.replace(/\(.*\)/s, "").trim() || "";
      const button = element("button", { type: "button", class: "btn", hidden: "", "data-scan": `#${field.id}`,
        "data-scan-kind": field.dataset.scanKind }, "Scan", element("span", { class: "sr-only" }, `: ${name}`));
      field.after(button);
    });
    root.querySelectorAll("button[data-scan][hidden]").forEach(async (button) => {
      if (await usable(kindsOf(button))) button.hidden = false;
    });
  };
  window.scan = { read, vin, from, usable };
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("button[data-scan]");
    if (button) from(button);
  });
  document.addEventListener("htmx:load", (event) => offer(event.target));
  document.addEventListener("run:swapped", () => offer(document));
  offer(document);
})();
