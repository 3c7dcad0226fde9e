// The keys on which a PIN is typed, and what lets the same person open the screen of this tablet without the network.
//
// That is a convenience and guards the screen, not the records: the server hears nothing of it and asks for the PIN
// again. Kept per person, on this device alone: a salt and what 600,000 rounds of PBKDF2 make of the PIN and it
// (OWASP's number for HMAC-SHA-256, 2023). It goes by signing out, by revoking the tablet, with another PIN, and a
// week after the PIN was last typed for the server. Five wrong ones, and it waits for the network.
(() => {
  const PREFIX = "screen ";
  const DAYS = 7;
  const TRIES = 5;
  const ROUNDS = 600000;
  const secure = window.isSecureContext && window.crypto && window.crypto.subtle;

  // ------------------------------------------------------------------------------------ without the network
  const read = (person) => {
    try { return JSON.parse(localStorage.getItem(PREFIX + person)); } catch { return null; }
  };
  const write = (person, kept) => {
    try { localStorage.setItem(PREFIX + person, JSON.stringify(kept)); } catch { /* then it waits for the network */ }
  };
  const names = () => {
    try { return Object.keys(localStorage).filter((name) => name.startsWith(PREFIX)); } catch { return []; }
  };
  const drop = (person) => names().forEach((name) => {
    if (!person || name === PREFIX + person) localStorage.removeItem(name);
  });
  const old = (kept) => Date.now() - kept.at > DAYS * 24 * 3600 * 1000;
  const text = (bytes) => [...new Uint8Array(bytes)].map((each) => each.toString(16).padStart(2, "0")).join("");
  const bytes = (hex) => new Uint8Array(hex.match(/../g).map((each) => parseInt(each, 16)));
  const derive = async (pin, salt, iterations) => {
    const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveBits"]);
    return text(await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt: bytes(salt), iterations }, key, 256));
  };
  // The server took this PIN just now. `mark` changes with the PIN: while it stands, only the day is renewed.
  const keep = async (person, pin, mark) => {
    if (!secure || !mark) return;
    const kept = read(person);
    if (kept && kept.mark === mark && kept.rounds === ROUNDS) {
      write(person, { ...kept, at: Date.now(), tries: 0 });
      return;
    }
    const salt = text(crypto.getRandomValues(new Uint8Array(16)));
    write(person, { salt, rounds: ROUNDS, hash: await derive(pin, salt, ROUNDS), mark, at: Date.now(), tries: 0 });
  };
  // "" when this PIN opens the screen, else a sentence.
  const open = async (person, pin) => {
    if (!secure) {
      return "No answer from the workshop's server. The lock waits for the network: without it, a tablet can only be "
        + "opened where it reaches the server by https. What you typed stays on this tablet.";
    }
    const kept = read(person);
    if (!kept || old(kept)) {
      return "No answer from the workshop's server. Your PIN was not typed on this tablet in the last week, so the lock "
        + "waits for the network. What you typed stays on this tablet.";
    }
    if (kept.tries >= TRIES) return "Five wrong PINs without the network: the lock waits until it is back.";
    write(person, { ...kept, tries: kept.tries + 1 }); // counted before it is looked at
    if (await derive(pin, kept.salt, kept.rounds) !== kept.hash) {
      const left = TRIES - kept.tries - 1;
      return left ? `Wrong PIN. ${left} more ${left === 1 ? "try" : "tries"} without the network.`
        : "That was the fifth wrong PIN: the lock waits until the network is back.";
    }
    write(person, { ...kept, tries: 0 });
    return "";
  };

  // --------------------------------------------------------------------------------------------------- the keys
  // Makes the keys of `box` work on its field; `whole(pin)` is called once, when the sixth digit is there.
  const pad = (box, whole) => {
    const field = box.querySelector("input");
    const marks = box.querySelector("[data-marks]");
    const soFar = box.querySelector("[data-so-far]");
    const error = box.querySelector("[data-error]");
    let busy = false;
    box.classList.add("keyed");
    box.querySelector("[data-keys]").hidden = marks.hidden = false;
    field.inputMode = "none"; // the tablet's own keyboard would cover the keys
    const draw = () => {
      const count = field.value.length;
      [...marks.children].forEach((each, place) => each.classList.toggle("on", place < count));
      soFar.textContent = count ? `${count} of 6` : "";
    };
    const changed = () => {
      field.value = field.value.replace(/\D/g, "").slice(0, 6);
      if (field.value) { error.textContent = ""; marks.classList.remove("wrong"); }
      draw();
      if (field.value.length === 6 && !busy) whole(field.value);
    };
    field.addEventListener("input", changed);
    box.addEventListener("click", (event) => {
      const key = event.target.closest("[data-digit]");
      if (!key || busy) return;
      const { digit } = key.dataset;
      if (digit === "clear") field.value = "";
      else if (digit === "back") field.value = field.value.slice(0, -1);
      else field.value += digit;
      changed();
    });
    // Digits and the key that takes one back, typed while a key has the focus.
    box.addEventListener("keydown", (event) => {
      if (event.target === field || busy || !/^(\d|Backspace)$/.test(event.key)) return;
      event.preventDefault();
      field.value = event.key === "Backspace" ? field.value.slice(0, -1) : field.value + event.key;
      changed();
    });
    const say = (sentence) => {
      error.replaceChildren();
      if (!sentence) return;
      const line = document.createElement("p");
      line.textContent = sentence;
      error.append(line);
      marks.classList.add("wrong");
    };
    const empty = () => { field.value = ""; draw(); };
    draw();
    return {
      say,
      empty,
      focus: () => field.focus({ preventScroll: true }),
      busy: (is) => { busy = is; box.setAttribute("aria-busy", String(is)); field.readOnly = is; },
    };
  };

  // ------------------------------------------------------- the PIN of who signs, in a form (components/_pin.html)
  // On the shop's tablet the same keys stand under its field, once it is touched or somebody is chosen who signs: made for
  // gloves, and the tablet's own keyboard stays away. They only type: one signs by the form's button, and nothing moves
  // when the sixth digit is there, or a second tap on it would meet that button.
  const element = (tag, look, words = "") => Object.assign(document.createElement(tag), { className: look, textContent: words });
  const openKeys = (field) => {
    const keys = field.closest(".field-pin").querySelector(".pin-keys");
    if (!keys.hidden) return;
    keys.hidden = false;
    keys.scrollIntoView({ block: "nearest" });
  };
  const keysUnder = (field) => {
    const box = field.closest(".field-pin");
    if (box.querySelector(".pin-keys")) return;
    const keys = element("div", "pin-keys");
    const soFar = element("p", "sr-only");
    soFar.setAttribute("role", "status");
    keys.setAttribute("role", "group");
    keys.setAttribute("aria-label", "Digits");
    keys.hidden = true;
    [..."123456789", "Clear", "0", "Back"].forEach((word) => {
      const key = element("button", word.length > 1 ? "key word" : "key", word);
      key.type = "button";
      key.addEventListener("click", () => {
        if (word === "Clear") field.value = "";
        else if (word === "Back") field.value = field.value.slice(0, -1);
        else field.value = (field.value + word).slice(0, 6);
        soFar.textContent = `${field.value.length} of 6`;
        field.dispatchEvent(new Event("input", { bubbles: true }));
      });
      keys.append(key);
    });
    field.inputMode = "none";
    field.closest(".controls").after(keys, soFar);
    field.addEventListener("focus", () => openKeys(field));
    if (box.matches(".bad, :has(.help)")) openKeys(field); // it came back, to be typed once more
  };
  const offer = () => document.querySelectorAll(".field-pin input").forEach(keysUnder);
  if ("shared" in document.body.dataset) {
    offer();
    ["htmx:load", "run:swapped"].forEach((name) => document.addEventListener(name, offer));
    // A click too: who signs may be chosen already. And before a form that signs keeps it to itself (sign.js).
    ["change", "click"].forEach((name) => document.addEventListener(name, ({ target }) => {
      const field = target.name === "signer" && target.form && target.form.querySelector(".field-pin input");
      if (field) openKeys(field);
    }, true));
  }

  window.pins = { pad, keep, open, drop, secure: Boolean(secure) };

  names().forEach((name) => {
    const kept = read(name.slice(PREFIX.length));
    if (!kept || old(kept)) localStorage.removeItem(name);
  });
  if ("revoked" in document.body.dataset) drop();
  document.addEventListener("submit", (event) => {
    if (event.target.matches("[data-sign-out]")) drop(document.body.dataset.person);
  });
})();
