// The page of what this tablet keeps: refused, waiting, and the last saved. Filled from the tablet's own storage, so
// it needs no network and names nobody by itself. One's own things are shown with all that was typed; other people's
// by name and number only.
(() => {
  const { outbox } = window;
  const place = document.getElementById("kept-list");
  if (!outbox || !place) return;
  place.tabIndex = -1;
  const LEFT_ALONE = 120000;
  const LONG = 240; // signs of a text that is saved: the rest stands where it was saved
  const AT_FIRST = 50; // of the waiting ones; the others are behind a button
  const element = (tag, className, ...children) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    made.append(...children);
    return made;
  };
  const button = (text, act, look = "btn") => {
    const made = element("button", look, text);
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  };
  const when = (ms) => {
    const { clock, day, isDay } = window.shopTime;
    return isDay(ms) ? clock(ms) : `${day(ms)}, ${clock(ms)}`;
  };
  const things = (number) => (number === 1 ? "1 thing" : `${number} things`);
  // What the form carries besides what somebody typed.
  const OWN = /^(key|again|op|seen_version|seen_values|seen|step|stage|set|csrfmiddlewaretoken|device_time|.*_(FORMS|count))$/;
  const words = (name) => { const text = name.replace(/_/g, " "); return text[0].toUpperCase() + text.slice(1); };
  let locked = false;
  let all = false;
  let sure = ""; // the key of what is thrown away at the next tap

  const typed = ({ said, fields }) => (said && said.length ? said
    : (fields || []).filter(([name, value]) => value && !OWN.test(name)).map(([name, value]) => [words(name), value]));
  const facts = (rows) => {
    const drawn = element("dl", "facts");
    rows.forEach(([label, text]) => drawn.append(element("div", "", element("dt", "", label || "Chosen"), element("dd", "lines", text))));
    return rows.length ? drawn : "";
  };
  // Loaded when it comes into view: sixty photos at once are more than a tablet holds.
  const sight = new IntersectionObserver((seen) => seen.filter((one) => one.isIntersecting).forEach(async ({ target }) => {
    sight.unobserve(target);
    const file = (await outbox.files(target.dataset.key))[Number(target.dataset.at)];
    if (!file) return;
    const address = URL.createObjectURL(file.blob);
    target.addEventListener("load", () => URL.revokeObjectURL(address));
    target.src = address;
  }));
  const pictures = (item) => {
    const list = element("ul", "photos");
    item.files.filter((file) => file.size).forEach((file, at) => {
      const row = element("li", "photo");
      if ((file.type || "").startsWith("image/")) {
        const image = element("img");
        Object.assign(image, { alt: file.filename, width: 152, height: 114 });
        Object.assign(image.dataset, { key: item.key, at });
        row.append(image);
        sight.observe(image);
      }
      row.append(element("span", "caption", file.filename));
      list.append(row);
    });
    return item.files.length ? list : "";
  };
  const open = (item) => {
    if (item.draft) {
      try {
        const { name, ...draft } = item.draft;
        localStorage.setItem(name, JSON.stringify({ ...draft, at: Date.now(), refused: true }));
        sessionStorage.setItem("put back", name);
      } catch { /* shut off: what was typed stands here, to be copied */ }
    }
    location.assign(item.page);
  };
  const row = (item) => {
    const refused = item.state === "refused";
    const drawn = element("li", refused ? "kept-item refused" : "kept-item kept-here",
      element("p", "", element("strong", "", `${refused ? "Refused" : "Waiting"}: ${item.what}`), item.label ? ` · ${item.label}` : "",
        element("span", "meta", ` made ${when(item.made)}`)));
    drawn.dataset.item = item.key;
    const why = refused ? item.reasons : [item.why].filter(Boolean);
    if (refused && !why.length) why.push("The server refused it and gave no reason.");
    if (why.length) drawn.append(element("ul", "problems", ...why.map((text) => element("li", "", text))));
    drawn.append(facts(typed(item)), pictures(item));
    if (refused) {
      const actions = element("div", "actions",
        button("Open its page", () => open(item), "btn primary"),
        button("Try again", () => outbox.again(item.key).then(draw)));
      const away = button(sure === item.key ? "Really throw it away" : "Throw it away", async () => {
        if (sure !== item.key) { sure = item.key; await draw(); document.getElementById("sure").focus(); return; }
        sure = "";
        await outbox.remove(item.key);
        await draw();
        place.focus(); // the button is gone with its row
      }, "btn quiet");
      away.dataset.away = item.key;
      if (sure === item.key) {
        away.id = "sure";
        actions.append(away, button("Keep it", async () => {
          sure = "";
          await draw();
          place.querySelector(`[data-away="${item.key}"]`)?.focus();
        }));
      } else actions.append(away);
      drawn.append(actions);
    }
    return drawn;
  };
  // What the server has, as it was typed, and what it found: to be held against the paper, or against the wrench.
  const savedRow = (one) => {
    const rows = typed(one).map(([label, text]) => [label, text.length > LONG ? `${text.slice(0, LONG).trimEnd()}…` : text]);
    const beside = 1 + rows.findIndex(([label]) => label === "Reading");
    if (one.verdict) rows.splice(beside || rows.length, 0, ["Verdict", one.verdict]);
    const link = element("a", "btn small", "Look at it", element("span", "sr-only", `: ${one.what}${one.label ? `, ${one.label}` : ""}`));
    link.href = one.location || one.page;
    return element("li", "row saved-item",
      element("div", "", element("p", "", element("span", "crossed", one.what), `${one.label ? ` · ${one.label}` : ""} `,
        element("span", "meta", `made ${when(one.made)}, saved ${when(one.at)}`)), facts(rows)),
      link.href ? element("div", "actions", link) : "");
  };
  const section = (title, ...content) => element("section", "panel", element("header", "", element("h2", "", title)), ...content);

  const gather = async () => {
    const me = outbox.me.person;
    const found = { refused: [], waiting: [], more: 0, others: new Map() };
    await outbox.each((item) => {
      if (locked || !me || item.person !== me) {
        const name = item.name || "Somebody";
        found.others.set(name, (found.others.get(name) || 0) + 1);
      } else if (item.state === "refused") found.refused.push(item);
      else if (all || found.waiting.length < AT_FIRST) found.waiting.push(item);
      else found.more += 1;
    });
    const rows = await outbox.done();
    found.done = locked ? [] : rows.filter((one) => one.person === me);
    return found;
  };
  let turn = 0;
  async function draw() {
    const mine = ++turn;
    let found;
    try {
      found = await gather();
    } catch {
      place.replaceChildren(element("p", "warn", "This browser can keep nothing on the tablet: its storage is shut off or "
        + "does not work. What is typed without the network is to be written on paper, with its time."));
      return;
    }
    if (mine !== turn) return;
    const parts = [];
    if (found.refused.length) {
      parts.push(section(`Refused: ${found.refused.length}`, element("p", "meta", "The server did not take these, and says why. "
        + "Nothing of them is saved."), element("ul", "kept-list", ...found.refused.map(row))));
    }
    if (found.waiting.length) {
      const list = element("ul", "kept-list", ...found.waiting.map(row));
      const send = button("Send now", () => outbox.drain().then(draw), "btn primary");
      const more = found.more ? button(`Show ${found.more} more`, () => { all = true; draw(); }) : "";
      parts.push(section(`Waiting: ${found.waiting.length + found.more}`, element("div", "actions", send), list, more));
    }
    if (found.others.size) {
      const list = element("ul", "", ...[...found.others].map(([name, number]) => element("li", "",
        `${name}: ${things(number)}. ${name === outbox.me.name ? "Go to the floor and back to see it." : `Shown when ${name} is signed in here.`}`)));
      parts.push(section(locked ? "Left alone, this page shows no words" : "Of other people", list));
    }
    if (!parts.length) parts.push(element("p", "empty", "Nothing is kept here: the server has everything."));
    if (found.done.length) {
      parts.push(section("Saved lately", element("p", "meta", "The server has these, as they were typed here."),
        element("ul", "rows", ...found.done.map(savedRow))));
    }
    // What has the focus is drawn anew under the hand: the same button has it again, or the same item's.
    const held = place !== document.activeElement && place.contains(document.activeElement) ? document.activeElement : null;
    const item = held && held.closest("[data-item]");
    place.replaceChildren(...parts);
    if (!held) return;
    const within = item ? place.querySelector(`[data-item="${item.dataset.item}"]`) : place;
    const same = within && [...within.querySelectorAll("a, button")].find((each) => each.textContent === held.textContent);
    (same || (within && within.querySelector("[data-away]")) || place).focus({ preventScroll: true });
  }
  // Not while something is being decided here: the buttons would move from under the finger.
  let later = 0;
  const soon = () => { clearTimeout(later); later = setTimeout(() => { if (!sure) draw(); }, 300); };
  document.addEventListener("outbox:change", soon);
  // The page names nobody, so no lock covers it: left alone, it forgets who was here. Any other page says it again.
  let idle = 0;
  const awake = () => {
    clearTimeout(idle);
    idle = setTimeout(() => {
      locked = true;
      try { localStorage.removeItem("outbox here"); } catch { /* shut off */ }
      draw();
    }, LEFT_ALONE);
  };
  ["pointerdown", "keydown", "scroll"].forEach((name) => document.addEventListener(name, awake, { passive: true }));
  awake();
  draw();
})();
