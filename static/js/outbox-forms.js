// Forms with data-queue="what it is, in words" (and data-queue-label="which one") go through the outbox: kept on the
// tablet first, then sent. With an answer nothing looks different. Without one the form says what is kept, is emptied
// and has a new key. Forms with data-queue-own have a script of their own; a button with name="op" or data-direct only
// changes its form. Where nothing can be kept, the form stays filled and says so.
// Events on the form, bubbling: outbox:kept { key, item } (it lies here, without an answer), outbox:settled (its button
// works again). [data-sign-out] asks first while things are kept; a form that signs ([data-signing], a field "signer") or
// has data-needs-network says what is missing instead of losing the page.
(() => {
  const { outbox } = window;
  const PATIENCE = 15000;
  const { me, counts, mine } = outbox;
  const fire = (name, form, detail = {}) => form.dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));
  const tidy = (text) => text.replace(/\s+/g, " ").trim();
  const { clock } = window.shopTime;
  const element = (tag, className, ...children) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    made.append(...children);
    return made;
  };
  const hidden = (form, name) => form.querySelector(`input[type="hidden"][name="${name}"]`);
  const say = (text) => {
    const place = document.getElementById("notice");
    if (place) { place.textContent = text; place.hidden = !text; }
  };

  const thingOf = (form, button) => {
    const fields = [];
    const files = [];
    new FormData(form).forEach((value, name) => {
      if (typeof value === "string") fields.push([name, value]);
      else if (value.size || value.name) files.push({ name, filename: value.name, blob: value });
    });
    const draft = window.drafts ? window.drafts.of(form) : null;
    const said = draft ? [...draft.said] : [];
    if (button && button.name) {
      fields.push([button.name, button.value]);
      said.push(["", tidy(button.textContent)]);
    }
    const url = new URL(form.getAttribute("action") || form.getAttribute("hx-post") || location.href, location.href);
    const leave = form.querySelector(".actions a.btn.quiet");
    // Which one it is: the line above the title names the record, where there is one.
    const box = form.closest(".inline");
    const names = box ? [box.querySelector("h3")] : [document.querySelector("main .kicker"), document.querySelector("h1")];
    const label = names.map((each) => each && tidy(each.textContent)).find((text) => text && text !== form.dataset.queue);
    return { key: hidden(form, "key").value, url: url.pathname + url.search, fields, files, what: form.dataset.queue,
      label: form.dataset.queueLabel || label, page: location.href, said, draft,
      after: leave ? leave.href : "" };
  };
  const empty = (form) => {
    const errors = form.querySelector("[data-not-saved]");
    form.reset();
    if (errors) { // it came back with what was typed: that is what it is reset to
      errors.remove();
      form.querySelectorAll("input:not([type=hidden], [type=checkbox], [type=radio]), textarea").forEach((each) => { each.value = ""; });
    }
    hidden(form, "key").value = outbox.newKey();
    // A second change of what was not yet changed would be refused: the record shows the first one only later.
    if (hidden(form, "seen_version")) form.hidden = true;
  };
  // What became of what a note on this page speaks of: it must not say "kept" of what is saved, or refused.
  const notes = new Map();
  const saying = (note, ...words) => note.querySelector("p").replaceChildren(...words);
  const says = (why) => [element("strong", "", `Kept on this tablet at ${clock(Date.now())}.`),
    ` It is sent by itself when the server answers.${why ? ` ${why}` : ""}`];
  document.addEventListener("outbox:saved", ({ detail: { key } }) => {
    const note = notes.get(key);
    if (!note) return;
    note.classList.remove("kept-here");
    saying(note, element("strong", "crossed", `Saved at ${clock(Date.now())}.`));
    notes.delete(key);
  });
  document.addEventListener("outbox:refused", ({ detail: { key, reasons } }) => {
    const note = notes.get(key);
    if (!note) return;
    const see = element("a", "", "What to do with it");
    see.href = "/tablet/waiting/";
    note.classList.replace("kept-here", "warn");
    saying(note, element("strong", "", "Not saved: the server refused it."), ` ${reasons.join(" ")} `, see);
    notes.delete(key);
  });
  document.addEventListener("outbox:change", () => {
    if (notes.size) outbox.each(({ key, state, why }) => {
      const note = notes.get(key);
      if (note && state === "waiting" && note.dataset.why !== why) {
        note.dataset.why = why;
        const [first] = note.querySelector("p").childNodes;
        saying(note, first, says(why)[1]);
      }
    }).catch(() => {});
  });
  const kept = (form, thing, why = "") => {
    const note = element("div", "kept-note kept-here", element("p", "", ...says(why)));
    note.dataset.why = why;
    notes.set(thing.key, note);
    const rows = thing.said.map(([label, words]) => element("div", "", element("dt", "", label || "Chosen"), element("dd", "lines", words)));
    if (rows.length) note.append(element("dl", "facts", ...rows));
    if (thing.after) {
      const on = element("a", "btn", "Go on");
      on.href = thing.after;
      note.append(on);
    }
    note.setAttribute("role", "status");
    note.tabIndex = -1;
    const before = form.previousElementSibling;
    if (before && before.matches(".kept-note")) before.remove();
    form.before(note);
    empty(form);
    say("");
    fire("outbox:kept", form, { key: thing.key, item: thing });
    note.focus();
  };
  // As a browser goes on after a form that led back to the page it came from: with the page anew.
  const go = (address) => {
    const to = new URL(address || location.href, location.href);
    if (to.pathname + to.search !== location.pathname + location.search) { location.assign(to); return; }
    history.replaceState(history.state, "", to);
    location.reload();
  };
  const natively = (form, button) => {
    if (button && button.name) {
      const also = element("input");
      Object.assign(also, { type: "hidden", name: button.name, value: button.value });
      form.append(also);
    }
    HTMLFormElement.prototype.submit.call(form);
  };

  const SAVED_BUT = "outbox can keep nothing";
  const sendPlain = async (form, button) => {
    const thing = thingOf(form, button);
    // Refused once when nobody was there: it stays in the list until it is saved or thrown away.
    const listed = await outbox.list().then((all) => all.some(({ key, state }) => key === thing.key && state === "refused"), () => false);
    const trouble = await outbox.put(thing).then(() => "", (error) => error.message);
    const result = await (trouble ? outbox.direct(thing) : outbox.send(thing.key))
      .catch(() => ({ state: "waiting", why: "" }));
    if (result.state === "saved") {
      if (trouble) {
        document.dispatchEvent(new CustomEvent("outbox:put", { detail: { key: thing.key } })); // no draft any more
        try { sessionStorage.setItem(SAVED_BUT, trouble); } catch { /* shut off as well */ }
      }
      go(result.location || thing.after);
    } else if (result.state === "refused") { // it comes back filled, with its errors, as a browser shows it
      if (!trouble && !listed) await outbox.remove(thing.key).catch(() => {});
      natively(form, button);
    } else {
      fire("outbox:settled", form);
      if (trouble) {
        say(`Not saved, and not kept. ${result.why} ${trouble} What you typed is still in the form: send it again when `
          + "the network is back, and write it on paper with the time.");
      } else kept(form, thing, result.why);
    }
  };

  // A form of htmx is sent by htmx, once it lies here: what comes back is put in its place as ever.
  const passing = new WeakMap();
  const pass = (form, button) => { form.dataset.passing = ""; form.requestSubmit(button); };
  const sendByHtmx = async (form, button) => {
    const thing = thingOf(form, button);
    const queue = counts.waiting > 0 || outbox.isLost();
    try {
      await outbox.put({ ...thing, held: queue ? 0 : Date.now() + PATIENCE + 5000 });
    } catch (error) {
      say(`It is sent, but not kept: ${error.message}`);
      thing.loose = true;
    }
    if (queue && !thing.loose) { // it waits its turn
      const result = await outbox.send(thing.key);
      fire("outbox:settled", form);
      if (result.state === "waiting") { kept(form, thing, result.why); return; }
      if (result.state === "saved") { go(); return; }
      await outbox.remove(thing.key); // refused: it comes back with its errors
    }
    passing.set(form, { thing, button });
    pass(form, button);
  };
  document.addEventListener("htmx:configRequest", ({ detail }) => {
    const found = passing.get(detail.elt);
    if (!found) return;
    detail.timeout = PATIENCE;
    Object.assign(detail.headers, { "X-Outbox": "1 first", "X-Person": me.person, "X-Sent-At": String(Date.now()) });
    if (me.grant) detail.headers["X-Grant"] = me.grant;
    detail.parameters.device_time = outbox.withOffset(Date.now());
    if (found.button && found.button.name) detail.parameters[found.button.name] = found.button.value;
  });
  document.addEventListener("htmx:afterRequest", async ({ detail: { requestConfig: { elt }, xhr, successful } }) => {
    const found = passing.get(elt);
    if (!found) { if (successful) outbox.soon(); return; }
    passing.delete(elt);
    const { thing } = found;
    if (thing.loose) return;
    if (xhr.getResponseHeader("X-Saved-Key") === thing.key) {
      const item = (await outbox.list()).find((one) => one.key === thing.key);
      if (item) await outbox.settle(item, { state: "saved", location: "" });
    }
    if (xhr.getResponseHeader("X-Saved-Key") || xhr.getResponseHeader("X-Refused")) { await outbox.remove(thing.key); return; }
    await outbox.change(thing.key, (item, { items }) => items.put({ ...item, held: 0, tries: item.tries + 1 }));
    if (elt.isConnected) kept(elt, thing);
    if (!xhr.status) outbox.lose(); else outbox.soon();
  });

  // ---------------------------------------------------------------------------------------------- asking and refusing
  const ask = (text, yes, no) => new Promise((answer) => {
    const box = element("dialog", "ask kept-here");
    const words = element("p", "", text);
    words.id = "outbox-asks";
    box.setAttribute("aria-labelledby", words.id);
    const button = (label, value, look) => {
      const made = element("button", look, label);
      made.addEventListener("click", () => box.close(value));
      return made;
    };
    box.addEventListener("close", () => { box.remove(); answer(box.returnValue === "yes"); });
    box.append(words, element("div", "actions", button(no, "", "btn"), button(yes, "yes", "btn primary")));
    document.body.append(box);
    box.showModal();
  });
  const signOut = async (form, button) => {
    const number = mine.waiting + mine.refused;
    const [are, they, sent] = number === 1 ? ["1 thing is", "It stays", "is sent"] : [`${number} things are`, "They stay", "are sent"];
    const refused = mine.refused ? ` ${mine.refused} of them ${mine.refused === 1 ? "was" : "were"} refused and ${mine.refused === 1 ? "waits" : "wait"} for you.` : "";
    const text = number === mine.refused ? `${are} kept on this tablet and not saved: the server refused ${number === 1 ? "it" : "them"}. ${they} here for you. Sign out?`
      : `${are} kept on this tablet and not saved. ${they} here and ${sent} when the network is back.${refused} Sign out?`;
    const yes = await ask(text, "Sign out", "Stay signed in");
    fire("outbox:settled", form);
    if (yes) pass(form, button); // others hear of it too
  };
  // Who signs has to be asked by the server: there is nothing that could be kept.
  const gone = new WeakSet();
  const withNetwork = async (form, button) => {
    if (gone.has(form)) return;
    const control = new AbortController();
    const timer = setTimeout(() => control.abort(), 4000);
    const there = await fetch("/tablet/token/", { cache: "no-store", signal: control.signal }).then(({ status }) => status === 204, () => false);
    clearTimeout(timer);
    fire("outbox:settled", form);
    if (there) {
      gone.add(form); // a second tap, before the next page comes
      setTimeout(() => gone.delete(form), 2000);
      pass(form, button);
      return;
    }
    say("This is signed with the network only, and the workshop's server does not answer. Nothing was signed. What you "
      + "typed is still here: try again in a moment.");
    window.scrollTo(0, 0);
  };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    const { dataset } = form;
    if ("passing" in dataset) {
      if (!("queueOwn" in dataset)) delete dataset.passing;
      return;
    }
    const button = event.submitter;
    const isOp = button && (button.name === "op" || "direct" in button.dataset);
    let way = null;
    if ("signOut" in dataset) way = (mine.waiting || mine.refused) && signOut;
    else if ("signing" in dataset || "needsNetwork" in dataset || form.querySelector('[name="signer"]')) way = !isOp && withNetwork;
    else if ("queue" in dataset && !("queueOwn" in dataset) && me.person && hidden(form, "key") && !isOp) {
      way = form.matches("[hx-post], [data-hx-post]") ? sendByHtmx : sendPlain;
    }
    if (!way) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    way(form, button);
  }, true);

  // ------------------------------------------------------------------------------------------- the tablet's clock
  let compared = false;
  const compare = (server) => {
    const off = Date.now() - server;
    const notice = document.getElementById("notice");
    if (compared || !notice || !(Math.abs(off) > 120000)) return;
    compared = true;
    const minutes = Math.round(Math.abs(off) / 60000);
    const much = minutes < 180 ? `${minutes} minutes` : minutes < 4320 ? `${Math.round(minutes / 60)} hours` : `${Math.round(minutes / 1440)} days`;
    const note = element("p", "note", `This tablet's clock is ${much} ${off > 0 ? "ahead of" : "behind"} the workshop's server. Times are corrected.`);
    note.setAttribute("role", "status");
    notice.before(note);
  };
  document.addEventListener("outbox:clock", ({ detail }) => compare(detail));
  const meta = (name) => document.querySelector(`meta[name="${name}"]`);
  const [navigation] = performance.getEntriesByType("navigation");
  // Not of a page that was kept: it says when it was made.
  if (meta("server-time") && !meta("copy-made") && !("shell" in document.body.dataset) && (!navigation || navigation.type !== "back_forward")) {
    compare(Date.parse(meta("server-time").content));
  }

  try {
    const trouble = sessionStorage.getItem(SAVED_BUT);
    if (trouble) say(`Saved. But without the network it would have been lost. ${trouble}`);
    sessionStorage.removeItem(SAVED_BUT);
  } catch { /* shut off */ }
})();
