// The shared tablet locks itself after body[data-lock-minutes] without a touch or a key, and at once by its button.
// The page stays as it is, covered and inert, and all that was typed stays in it; the PIN of the same person opens it.
// The server locks too (workshop/idle.py): 423 from it, or the event "lock:refused", puts the cover up here.
// All tabs share one state, so they lock and open together; a tab of somebody who is no longer the one that is
// signed in is covered.
(() => {
  const { body } = document;
  if (!("shared" in body.dataset)) return;
  const root = document.documentElement;
  const { person, personName } = body.dataset;
  const LIMIT = Number(body.dataset.lockMinutes) * 60000;
  const STATE = "lock";
  const AGAIN = 15000; // between two tries to reach the server
  const TELL = 30000; // the server is told of touches this often at most
  let covered = null; // {focus, title, inert, pad}
  let touched = Date.now();
  let written = 0;
  let told = Date.now();
  let owed = ""; // "lock": the server has not heard yet; "pin": opened without the network, it will ask
  let retry = 0;

  // -------------------------------------------------------------------------------------------------- all tabs
  const read = () => { try { return JSON.parse(localStorage.getItem(STATE)) || {}; } catch { return {}; } };
  const write = (locked) => {
    written = Date.now();
    try { localStorage.setItem(STATE, JSON.stringify({ person, name: personName, locked, touched })); } catch { /* one tab */ }
  };
  window.addEventListener("storage", (event) => {
    if (event.key !== STATE) return;
    const state = read();
    if (state.person !== person) {
      if (state.person) cover(`${state.name} is signed in on this tablet now. Your PIN brings this page back to you.`);
    } else if (state.locked) cover();
    else {
      touched = Math.max(touched, state.touched || 0);
      if (covered) uncover();
    }
  });

  // ------------------------------------------------------------------------------------------------- the server
  const token = () => (document.cookie.match(/(?:^|; )csrftoken=([^;]+)/) || [])[1] || "";
  const post = (path, fields = {}) => fetch(`/tablet/${path}/`, {
    method: "POST", credentials: "same-origin", keepalive: true, body: new URLSearchParams(fields),
    headers: { "X-CSRFToken": token(), "HX-Request": "true", Accept: "application/json" },
    ...(AbortSignal.timeout ? { signal: AbortSignal.timeout(8000) } : {}),
  });
  const later = () => { clearTimeout(retry); retry = setTimeout(pay, AGAIN); };
  async function pay() {
    if (!owed) return;
    try {
      const answer = await post(owed === "lock" ? "lock" : "awake");
      if (answer.status >= 500) throw new Error(String(answer.status));
      owed = "";
      bar("");
      if ([401, 423].includes(answer.status)) cover("The network is back. Type the PIN once more, for the server.");
    } catch { later(); }
  }
  const tell = async () => {
    told = Date.now();
    try {
      const { status } = await post("awake");
      if ([401, 423].includes(status)) cover();
    } catch { /* no network: the next touch tells */ }
  };
  window.addEventListener("online", pay);
  document.addEventListener("lock:refused", () => cover());
  document.addEventListener("htmx:beforeOnLoad", (event) => {
    if (event.detail.xhr.status !== 423) return;
    event.preventDefault();
    cover();
  });

  // ---------------------------------------------------------------------------------------------------- the time
  const due = () => Date.now() - touched >= LIMIT;
  let timer = 0;
  const check = () => {
    clearTimeout(timer);
    if (covered) return;
    const state = read();
    if (state.person === person) touched = Math.max(touched, Math.min(state.touched || 0, Date.now()));
    if (due()) lock();
    else timer = setTimeout(check, LIMIT - (Date.now() - touched) + 50);
  };
  const touch = () => {
    if (covered) return;
    if (due()) { check(); if (covered) return; } // the touch that wakes it opens nothing
    touched = Date.now();
    if (touched - written > 2000) write(false);
    if (touched - told > TELL) tell();
  };
  ["pointerdown", "keydown", "wheel", "touchmove"].forEach((name) => {
    document.addEventListener(name, touch, { capture: true, passive: true });
  });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) check(); });
  window.addEventListener("focus", check);
  window.addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    const state = read();
    if (state.locked || state.person !== person) cover(); else check();
  });

  // ---------------------------------------------------------------------------------------------------- the cover
  // How much of this tablet the server has not answered yet: a number, and nothing of what it is.
  const waits = () => {
    const place = document.querySelector("#lock [data-waits]");
    if (!place || !window.outbox) return;
    const { counts: { waiting }, mine: { refused } } = window.outbox;
    const said = [];
    if (waiting) said.push(`${waiting} kept on this tablet, sent by ${waiting === 1 ? "itself" : "themselves"} when the network is back.`);
    if (refused) said.push(`${refused} refused: look at ${refused === 1 ? "it" : "them"} when you are back.`);
    if (place.textContent !== said.join(" ")) place.textContent = said.join(" ");
    place.hidden = !said.length;
  };
  document.addEventListener("outbox:change", waits);
  function lock() {
    if (covered) return;
    write(true);
    cover();
    owed = "lock";
    pay();
  }
  function cover(why) {
    if (covered) return;
    clearTimeout(timer);
    const drawn = document.getElementById("lock-cover").content.cloneNode(true).firstElementChild;
    // Left open, such a window would keep all others from being touched, the lock too.
    document.querySelectorAll("dialog:modal").forEach((each) => each.close());
    const behind = [...body.children].filter((each) => !each.inert);
    covered = { focus: document.activeElement, title: document.title, behind };
    behind.forEach((each) => { each.inert = true; each.setAttribute("aria-hidden", "true"); });
    root.classList.add("locked");
    document.title = "Locked · Witness Mark";
    body.append(drawn);
    waits();
    if (why) drawn.querySelector("[data-why]").textContent = why;
    covered.pad = window.pins.pad(drawn.querySelector("[data-pin]"), (pin) => unlock({ pin }));
    drawn.querySelector("[data-unlock]").addEventListener("submit", (event) => event.preventDefault());
    drawn.querySelector("[data-password]").addEventListener("submit", (event) => {
      event.preventDefault();
      const field = event.target.querySelector("input");
      if (field.value) unlock({ password: field.value });
      field.value = "";
    });
    drawn.querySelector("[data-other]").addEventListener("click", other);
    covered.pad.focus();
    document.dispatchEvent(new CustomEvent("lock:locked"));
  }
  function uncover() {
    const { focus, title, behind } = covered;
    document.getElementById("lock").remove();
    covered = null;
    behind.forEach((each) => { each.inert = false; each.removeAttribute("aria-hidden"); });
    root.classList.remove("locked");
    document.title = title;
    if (focus && focus.isConnected) focus.focus({ preventScroll: true });
    touched = told = Date.now();
    check();
    document.dispatchEvent(new CustomEvent("lock:unlocked"));
  }
  const opened = () => {
    touched = Date.now();
    if (covered) uncover();
    write(false);
  };
  const said = (sentence) => {
    if (!covered) return;
    covered.pad.busy(false);
    covered.pad.empty();
    covered.pad.say(sentence);
    covered.pad.focus();
  };
  async function unlock(fields) {
    covered.pad.busy(true);
    let answer = null;
    try { answer = await post("unlock", { person, ...fields }); } catch { /* no network */ }
    if (!answer || answer.status >= 500) {
      if (!fields.pin) { said("No answer from the workshop's server. A password waits for the network."); return; }
      const refusal = await window.pins.open(person, fields.pin);
      if (refusal) { said(refusal); return; }
      opened();
      owed = "pin";
      bar("Opened without the network. That guards this screen, not the records: when the network is back, the server "
        + "may ask for the PIN once more.");
      later();
      return;
    }
    let told_ = {};
    try { told_ = await answer.json(); } catch { /* a page instead of an answer */ }
    if (answer.ok) {
      owed = "";
      bar("");
      opened();
      if (fields.pin) window.pins.keep(person, fields.pin, told_.mark).catch(() => {});
      return;
    }
    if (told_.revoked) window.pins.drop();
    said(told_.error || "The server could not read that. Tap “Somebody else”, then your name.");
  }
  async function other() {
    try {
      const answer = await fetch("/tablet/", { credentials: "same-origin", cache: "no-store" });
      if (!answer.ok && answer.status !== 403) throw new Error(String(answer.status));
    } catch {
      said("No answer from the workshop's server. Others wait until the network is back.");
      return;
    }
    window.location.assign("/tablet/");
  }
  function bar(sentence) {
    let place = document.getElementById("lock-owed");
    if (!sentence) { if (place) place.remove(); return; }
    if (!place) {
      place = document.createElement("p");
      place.id = "lock-owed";
      place.className = "caution lock-owed";
      place.setAttribute("role", "status");
      document.getElementById("main").prepend(place);
    }
    place.textContent = sentence;
  }

  // ---------------------------------------------------------------------------------------------------- beginning
  const button = document.querySelector("form[data-lock]");
  if (button) {
    button.addEventListener("submit", (event) => {
      event.preventDefault();
      event.stopImmediatePropagation();
      lock();
    }, true);
  }
  if (document.querySelector('meta[name="copy-made"]')) {
    // Not from the server: a page of a locked tablet, opened without the network, is covered as it was.
    const state = read();
    touched = state.touched || 0;
    if (state.locked || state.person !== person) cover(); else check();
  } else {
    write(false);
    check();
  }
})();
