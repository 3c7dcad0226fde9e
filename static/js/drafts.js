// What is typed into the form of an act is kept on this device until the server says that it was saved, and is
// offered again on opening the page: after a reload, a power cut, an expired session, a Back by mistake.
//
// Kept per person (body[data-person]): on a shared tablet nobody is offered another's words. Signing out keeps
// them: who typed half a report and hands the tablet over finds it on coming back. They lie in the browser's own
// storage, unencrypted, so they go after a fortnight at the latest, whoever opens a page then.
// Never kept: passwords, files, tokens, and hidden fields, but for the form's key (sent again, it is one record)
// and the version that was seen (somebody else's change meanwhile is shown, not overwritten).
// Not kept either: the keypad of a tightening. A number put back would meet another fastener.
(() => {
  const person = document.body.dataset.person;
  const PREFIX = "draft ";
  const DAY = 24 * 3600 * 1000;
  const LIMITS = { days: 14, drafts: 40, perForm: 3, text: 60000 };
  const SEEN = ["seen_version", "seen_values", "seen"];
  // What does not say which form it is: it changes while the same form is filled in.
  const NEVER = ["csrfmiddlewaretoken", "key", "again", "shown", ...SEEN];
  const COUNTS = /(_count|_FORMS)$/;

  // ---------------------------------------------------------------- storage; shut off or full, there are no drafts
  const names = () => {
    try { return Object.keys(localStorage).filter((name) => name.startsWith(PREFIX)); } catch { return []; }
  };
  const read = (name) => {
    try { return JSON.parse(localStorage.getItem(name)); } catch { return null; }
  };
  // A name is "draft PERSON FORM KEY"; the form is its address and, after #, what its hidden fields say.
  const keyIn = (name) => name.slice(name.lastIndexOf(" ") + 1);
  const formIn = (name) => name.slice(0, name.lastIndexOf(" "));
  const addressIn = (name) => decodeURIComponent(name.split(" ")[2]).split("#")[0];
  const drop = (name) => { try { localStorage.removeItem(name); } catch { /* nothing is kept then */ } };
  const all = () => names().map((name) => ({ name, ...read(name) })).filter((each) => each.at);
  const keep = (name, draft) => {
    const text = JSON.stringify(draft);
    if (text.length > LIMITS.text) return;
    const write = () => { localStorage.setItem(name, text); };
    try {
      write();
    } catch {
      const oldest = all().filter((each) => each.name !== name).sort((a, b) => a.at - b.at)[0];
      if (!oldest) return;
      drop(oldest.name);
      try { write(); } catch { /* full of other things */ }
    }
  };
  const tidy = () => {
    const now = Date.now();
    const kept = all().sort((a, b) => b.at - a.at);
    kept.forEach((each, place) => {
      if (place >= LIMITS.drafts || now - each.at > LIMITS.days * DAY) drop(each.name);
    });
  };
  // Saved under this key: also the same words kept from before a reload, when the form had another key.
  const forget = (key) => {
    const kept = all();
    kept.filter((each) => keyIn(each.name) === key).forEach((saved) => {
      const words = JSON.stringify(saved.said);
      kept.filter((each) => formIn(each.name) === formIn(saved.name) && JSON.stringify(each.said) === words)
        .forEach((each) => drop(each.name));
      drop(saved.name);
    });
  };

  // ------------------------------------------------------------------------------------------------ what a form is
  const hidden = (form, name) => form.querySelector(`input[type="hidden"][name="${name}"]`);
  const keyOf = (form) => hidden(form, "key");
  const isKept = (form) => form.getAttribute("method") === "post" && keyOf(form)
    && !form.matches("[data-torque], [data-no-draft]");
  const fields = (form) => [...form.elements].filter((each) => each.name
    && each.matches("input, select, textarea") && !each.closest("[data-no-draft]")
    && !["hidden", "password", "file", "submit", "button", "image", "reset"].includes(each.type));
  const here = () => location.pathname + location.search;
  const addressOf = (form) => {
    const action = form.getAttribute("action") || form.getAttribute("hx-post") || here();
    const url = new URL(action, location.href);
    return url.pathname + url.search;
  };
  // Several forms may go to one address: what they carry hidden tells them apart, and at last their order.
  const signature = (form) => [...form.elements]
    .filter((each) => each.type === "hidden" && !NEVER.includes(each.name) && !COUNTS.test(each.name)
      && !["", "False"].includes(each.value)) // asked for only after a first answer: hidden and empty until then
    .map((each) => `${each.name}=${each.value}`).join("&");
  const identities = () => {
    const counted = new Map();
    return new Map([...document.querySelectorAll("form")].filter(isKept).map((form) => {
      const one = `${addressOf(form)}#${signature(form)}`;
      const before = counted.get(one) || 0;
      counted.set(one, before + 1);
      return [form, encodeURIComponent(before ? `${one}#${before}` : one)];
    }));
  };
  const slot = (identity, key) => `${PREFIX}${person} ${identity} ${key}`;

  const valueOf = (each) => {
    if (each.type === "checkbox" || each.type === "radio") return each.checked;
    if (each.type === "select-multiple") return [...each.selectedOptions].map((option) => option.value);
    return each.value;
  };
  const isTyped = (each) => {
    if (each.type === "checkbox" || each.type === "radio") return each.checked !== each.defaultChecked;
    if (each.localName === "select") {
      if (each.multiple) return [...each.options].some((one) => one.selected !== one.defaultSelected);
      const usual = [...each.options].findIndex((option) => option.defaultSelected);
      return each.selectedIndex !== Math.max(usual, 0);
    }
    return each.value !== each.defaultValue;
  };
  // A form that came back with errors holds what was typed as if the server had written it.
  const cameBack = (form) => Boolean(form.querySelector("[data-not-saved]"));
  // So does one that a button only made longer: it comes back with the key that it was sent with.
  const carried = new WeakSet();
  const isBack = (form) => cameBack(form) || carried.has(form);
  const isUnsent = (form) => fields(form).some(isTyped) || isBack(form);

  const labelOf = (each) => {
    const set = each.closest("fieldset");
    const legend = set && set.querySelector("legend");
    const said = (each.labels && each.labels[0] && each.labels[0].textContent) || each.getAttribute("aria-label");
    const choice = each.type === "radio" || each.type === "checkbox" || each.matches("[aria-label]");
    return ((choice && legend && !legend.closest(".group > legend") && legend.textContent) || said || "")
      .replace(/\((optional|needed|one of these (two )?is needed)\)/g, "").replace(/\s+/g, " ").trim();
  };
  const wordsOf = (each) => {
    if (each.type === "checkbox" || each.type === "radio") {
      if (!each.checked) return "";
      return (each.labels && each.labels[0] && each.labels[0].textContent.replace(/\s+/g, " ").trim()) || "yes";
    }
    if (each.localName === "select") {
      return [...each.selectedOptions].filter((one) => one.value).map((one) => one.textContent.trim()).join(", ");
    }
    const unit = each.parentElement.querySelector(":scope > .unit"); // a number is told with its unit
    const words = each.value.trim();
    return words && unit ? `${words} ${unit.textContent.trim()}` : words;
  };
  // [name, type, which box, content] of every field, in their order.
  const whole = (form) => fields(form).map((each) => {
    const box = each.type === "checkbox" || each.type === "radio";
    return [each.name, each.type, box ? each.value : "", valueOf(each)];
  });
  const take = (form) => {
    const said = [];
    const wasBack = isBack(form);
    fields(form).forEach((each) => {
      const words = wordsOf(each);
      const ofNumber = each.localName === "select" && each.previousElementSibling; // its unit, chosen beforehand
      if (!words || !(wasBack || isTyped(each) || (ofNumber && ofNumber.matches("input") && isTyped(ofNumber)))) return;
      const label = labelOf(each);
      const same = said.find(([name]) => name === label);
      if (same) same[1] += ` ${words}`; else said.push([label, words]);
    });
    return {
      at: Date.now(),
      page: here(),
      fields: whole(form),
      ...(cameBack(form) ? { refused: true } : {}),
      // After a conflict what had been seen before it: taken up again later, both texts are compared anew.
      seen: { ...Object.fromEntries(SEEN.filter((name) => hidden(form, name))
        .map((name) => [name, hidden(form, name).value])), ...seenBefore(form) },
      said,
    };
  };
  const seenBefore = (form) => {
    const compared = form.querySelector("[data-seen-before]");
    return compared ? JSON.parse(compared.dataset.seenBefore) : {};
  };
  const sameAs = (form, draft) => JSON.stringify(draft.fields) === JSON.stringify(whole(form));

  const save = (form, more = {}) => {
    const identity = identities().get(form);
    if (!identity) return;
    const name = slot(identity, keyOf(form).value);
    names().filter((each) => keyIn(each) === keyIn(name) && each !== name).forEach(drop);
    if (!isUnsent(form)) { drop(name); return; }
    keep(name, { ...take(form), ...more });
    const mine = `${PREFIX}${person} ${identity} `;
    all().filter((each) => each.name.startsWith(mine)).sort((a, b) => b.at - a.at)
      .slice(LIMITS.perForm).forEach((each) => drop(each.name));
  };

  // --------------------------------------------------------------------------------------------------- putting back
  const putBack = (form, draft, name) => {
    save(form); // what stands there now is not lost either: it is offered in its turn
    const missed = [];
    const current = fields(form);
    const turn = new Map();
    draft.fields.forEach(([fieldName, type, ownValue, value]) => {
      const box = type === "checkbox" || type === "radio";
      const alike = current.filter((each) => each.name === fieldName && (!box || each.value === ownValue));
      const place = box ? 0 : turn.get(fieldName) || 0;
      turn.set(fieldName, place + 1);
      const each = alike[place];
      if (!each) {
        if (value && value.length !== 0) missed.push(fieldName);
        return;
      }
      if (box) each.checked = value;
      else if (each.type === "select-multiple") {
        [...each.options].forEach((option) => { option.selected = value.includes(option.value); });
      } else {
        each.value = value;
        if (each.value !== value) missed.push(labelOf(each) || fieldName);
      }
    });
    keyOf(form).value = keyIn(name);
    Object.entries(draft.seen || {}).forEach(([fieldName, value]) => {
      if (hidden(form, fieldName)) hidden(form, fieldName).value = value;
    });
    for (let part = form.closest("details"); part; part = part.parentElement.closest("details")) part.open = true;
    fields(form).forEach((each) => {
      each.dispatchEvent(new Event("input", { bubbles: true }));
      each.dispatchEvent(new Event("change", { bubbles: true }));
    });
    save(form);
    return [...new Set(missed)];
  };

  // -------------------------------------------------------------------------------------------------------- the bar
  const element = (tag, className, text) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text) made.textContent = text;
    return made;
  };
  const when = (at) => {
    const { clock, day, isDay } = window.shopTime;
    return `${isDay(at) ? "" : `on ${day(at)} `}at ${clock(at)}`;
  };
  const short = (text, most) => (text.length > most ? `${text.slice(0, most).trimEnd()}…` : text);
  const list = (said, most) => {
    const drawn = element("dl", "facts");
    said.forEach(([label, words]) => {
      const one = element("div");
      one.append(element("dt", "", label || "Text"), element("dd", "lines", short(words, most)));
      drawn.append(one);
    });
    return drawn;
  };
  const bar = (draft) => {
    const drawn = element("section", "draft");
    drawn.setAttribute("aria-label", "Not sent");
    let words = `You typed this here ${when(draft.at)} and did not send it.`;
    if (draft.refused) words = `You typed this here ${when(draft.at)} and it was not saved.`;
    if (draft.sent) {
      words = `You sent this here ${when(draft.sent)}, and no word came that it was saved. `
        + "Put back and sent again, it is one record.";
    }
    drawn.append(element("p", "draft-words", words));
    return drawn;
  };
  const button = (text, act, quiet) => {
    const made = element("button", quiet ? "btn quiet" : "btn", text);
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  };
  const shownFor = new WeakMap();
  const unseen = new Set(); // offers that were drawn since the last look at what can be seen
  const say = (text) => {
    const place = document.getElementById("notice");
    if (place) { place.textContent = text; place.hidden = !text; }
  };
  const restore = (form, draft, name) => {
    const missed = putBack(form, draft, name);
    if (missed.length) {
      const left = missed.join(", ");
      say(`Put back, but for what can no longer be chosen here: ${left}. Look at it before you send.`);
    }
    look();
    const first = fields(form).find(isTyped) || fields(form)[0];
    if (first) first.focus();
  };
  const offered = (draft, act) => {
    const drawn = bar(draft);
    const few = draft.said.slice(0, 3);
    if (few.length) drawn.append(list(few, 140));
    if (draft.said.length > 3) {
      const more = draft.said.length - 3;
      drawn.append(element("p", "meta", `and ${more} more ${more === 1 ? "field" : "fields"}`));
    }
    const actions = element("div", "actions");
    actions.append(button("Put it back", act), button("Throw it away", () => { drop(draft.name); look(); }, true));
    drawn.append(actions);
    return drawn;
  };
  const offer = (form, draft, name) => {
    const drawn = offered(draft, () => restore(form, draft, name));
    const shut = [...document.querySelectorAll("details:not([open])")].find((each) => each.contains(form));
    (shut || form).before(drawn);
    shownFor.set(form, { drawn, name });
    unseen.add(drawn);
  };
  const orphans = [];
  // The form is opened by a link of this page, under a work line: the offer stands where it will open.
  let wanted = null; // the draft that goes into the form as soon as it is there
  try { // what the tablet kept and the server refused: asked for on the page that lists it
    const asked = sessionStorage.getItem("put back");
    if (asked) wanted = { name: asked, until: Date.now() + 10000 };
    sessionStorage.removeItem("put back");
  } catch { /* shut off */ }
  const linkTo = (draft) => [...document.querySelectorAll("a[data-inline]")].find((each) => {
    const url = new URL(each.getAttribute("href"), location.href);
    return url.pathname + url.search === addressIn(draft.name);
  });
  const offerToOpen = (draft, link) => {
    const drawn = offered(draft, () => { wanted = { name: draft.name, until: Date.now() + 10000 }; link().click(); });
    const box = document.getElementById(link().dataset.inline);
    (box || link()).before(drawn);
    orphans.push(drawn);
    unseen.add(drawn);
  };
  const offerWithoutForm = (draft) => {
    const drawn = bar(draft);
    drawn.append(element("p", "", "The form for it is not on this page now. Copy what you need."));
    drawn.append(list(draft.said, Infinity));
    const actions = element("div", "actions");
    actions.append(button("Throw it away", () => { drop(draft.name); look(); }, true));
    drawn.append(actions);
    document.getElementById("main").prepend(drawn);
    orphans.push(drawn);
  };

  const look = () => {
    const known = identities();
    orphans.splice(0).forEach((each) => each.remove());
    const mine = all().filter((each) => each.name.startsWith(`${PREFIX}${person} `)).sort((a, b) => b.at - a.at);
    known.forEach((identity, form) => {
      const start = `${PREFIX}${person} ${identity} `;
      const kept = mine.filter((each) => each.name.startsWith(start));
      const own = kept.find((each) => sameAs(form, each));
      // The browser put it back itself: it is the same form again, and what was sent once stays one record.
      if (own && own.sent && !cameBack(form)) keyOf(form).value = keyIn(own.name);
      const other = kept.find((each) => each !== own && each.name !== slot(identity, keyOf(form).value));
      const shown = shownFor.get(form);
      if (shown && other && shown.name === other.name && shown.drawn.isConnected) return;
      if (shown) { shown.drawn.remove(); shownFor.delete(form); }
      if (other && wanted && wanted.name === other.name && wanted.until > Date.now()) {
        wanted = null;
        restore(form, other, other.name);
      } else if (other) offer(form, other, other.name);
    });
    const here_ = new Set(known.values());
    const keys = new Set([...known.keys()].map((form) => keyOf(form).value)); // these stand in their form
    const opened = new Set();
    mine.filter((each) => each.said.length && !here_.has(each.name.split(" ")[2]) && !keys.has(keyIn(each.name)))
      .forEach((each) => {
        const found = linkTo(each);
        // One after the other: the next is offered beside the form, once it is open.
        if (found && !opened.has(addressIn(each.name))) offerToOpen(each, () => linkTo(each) || found);
        else if (!found && each.page === here()) offerWithoutForm(each);
        if (found) opened.add(addressIn(each.name));
      });
  };
  // After a reload the browser keeps its place on the page: an offer out of sight would never be seen.
  const bringIntoView = () => {
    const first = [...unseen].find((each) => each.isConnected);
    unseen.clear();
    const busy = document.activeElement;
    if (!first || document.querySelector("[data-not-saved]")) return;
    if (busy && busy.matches("input, select, textarea") && isTyped(busy)) return;
    const { top, bottom } = first.getBoundingClientRect();
    if (top < 0 || bottom > window.innerHeight) first.scrollIntoView({ block: "center" });
  };

  // --------------------------------------------------------------------------------------------------------- events
  document.querySelectorAll('meta[name="saved-key"]').forEach((each) => forget(each.content));
  tidy();
  if (!person) return;

  const waiting = new Map();
  const flush = () => {
    waiting.forEach((timer, form) => { clearTimeout(timer); if (form.isConnected) save(form); });
    waiting.clear();
  };
  const later = (event) => {
    const form = event.target.form || (event.target.closest && event.target.closest("form"));
    if (!form || !isKept(form)) return;
    clearTimeout(waiting.get(form));
    waiting.set(form, setTimeout(() => { waiting.delete(form); save(form); }, 250));
  };
  document.addEventListener("input", later);
  document.addEventListener("change", later);
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!isKept(form)) return;
    clearTimeout(waiting.get(form));
    waiting.delete(form);
    // A button named op only changes the form: nothing was sent to be saved.
    const changes = event.submitter && event.submitter.name === "op";
    if (isUnsent(form)) save(form, changes ? {} : { sent: Date.now() });
  });
  window.addEventListener("pagehide", flush);
  document.addEventListener("visibilitychange", () => { if (document.hidden) flush(); });
  // A part of the page was sent by script: its answer says what was saved, or brings the form back.
  document.addEventListener("htmx:beforeOnLoad", (event) => {
    const key = event.detail.xhr.getResponseHeader("X-Saved-Key");
    if (key) forget(key);
  });
  // What outbox.js keeps is no draft any more; what is wanted back of it becomes one again.
  window.drafts = { of: (form) => ({ name: slot(identities().get(form), keyOf(form).value), ...take(form) }) };
  ["outbox:put", "outbox:kept"].forEach((name) => document.addEventListener(name, (event) => {
    waiting.forEach((timer) => clearTimeout(timer));
    waiting.clear();
    forget(event.detail.key);
  }));
  document.addEventListener("htmx:afterSettle", look);
  document.addEventListener("htmx:load", look); // a form was opened in its place
  const before = new Set(all().map((each) => keyIn(each.name)));
  document.querySelectorAll("form").forEach((form) => {
    if (!isKept(form) || !before.has(keyOf(form).value)) return;
    carried.add(form);
    save(form);
  });
  look();
  // Some browsers fill in what was typed only now; and Back may show the page as it was left.
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) document.querySelectorAll('meta[name="saved-key"]').forEach((each) => forget(each.content));
    // It was refused, and is kept as it came back.
    document.querySelectorAll("form").forEach((form) => { if (isKept(form) && cameBack(form)) save(form); });
    look();
    setTimeout(bringIntoView, 60); // after the browser went back to its place
  });
})();
