// What is typed on this tablet is kept on it first, sent, and let go of only when the server names its key as saved.
// Forms with data-queue go through it by themselves (outbox-forms.js); with data-queue-own their own script calls:
//   outbox.put({ key, url, fields: [[name, value]], files: [{ name, filename, blob }], what, label, page, said, after })
//     → Promise, kept once it lies on the disk. `what`: the kind ("Torque reading"); `label`: which one; `page`: where
//     it is put right; `said`: [[label, words]] to be shown, else the fields are; `after`: where to go on; `made` (ms)
//     where it was not just now. Key, token and device_time are added at sending. The same key again takes the place
//     of the earlier one. Rejects with a sentence: then nothing is kept, what was typed stays in the form.
//   outbox.send(key, { part }) → { state, status, html, location, why, reasons }, after what was kept before it. "saved"
//     (location may be ""; part: sent with HX-Request, html is the part, "" where the server had it already),
//     "refused" (reasons: sentences; it stays in the list until remove(key) or a new put) or "waiting" (why).
//   list() → items in order, without blobs: { n, key, person, name, what, label, url, page, fields, said, files, made,
//     state, why, reasons, tries }; each(see) one by one; files(key); remove(key); again(key) a refused one; done() the
//     last saved, with what was typed and the server's verdict; drain(); newKey(); counts { waiting, refused };
//     me { person, name, grant }.
// Events on document: outbox:put { key }, outbox:change { waiting, refused }, outbox:saved { key, item, location },
// outbox:refused { key, item, reasons }. Nothing here needs a secure context.
(() => {
  const { dataset } = document.body;
  const me = { person: dataset.person || "", name: dataset.personName || "", grant: dataset.grant || "" };
  const PATIENCE = 15000; // for an answer
  const LOST = 5000; // for an answer, when the last one did not come (each third try has PATIENCE: a server may be merely slow)
  const WITH_FILES = 90000;
  const TO_DISK = 4000;
  const SLOWEST = 60000;

  const newKey = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };
  const fire = (name, detail) => document.dispatchEvent(new CustomEvent(name, { detail }));
  const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });
  const two = (number) => String(Math.trunc(Math.abs(number))).padStart(2, "0");
  const withOffset = (ms) => {
    const minutes = -new Date(ms).getTimezoneOffset();
    const local = new Date(ms + minutes * 60000).toISOString().slice(0, -1);
    return `${local}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
  };

  // ------------------------------------------------------------------------------------------------- on the disk
  let opening = null;
  const open = () => {
    opening ||= new Promise((done, fail) => {
      const asked = indexedDB.open("outbox", 1);
      asked.onupgradeneeded = () => {
        const items = asked.result.createObjectStore("items", { keyPath: "n", autoIncrement: true });
        items.createIndex("key", "key", { unique: true });
        items.createIndex("state", "state");
        asked.result.createObjectStore("files", { keyPath: ["key", "i"] }); // apart: a list need not load them
        asked.result.createObjectStore("meta", { keyPath: "id" });
      };
      asked.onsuccess = () => {
        const forget = () => { opening = null; };
        asked.result.onversionchange = () => { asked.result.close(); forget(); };
        asked.result.onclose = forget;
        done(asked.result);
      };
      asked.onerror = () => fail(asked.error);
    });
    opening.catch(() => { opening = null; });
    return opening;
  };
  // `work(stores, on, answer)` in one transaction; answered once that is complete. `on(request, then)` follows up.
  const within = async (mode, work, durability = "default") => {
    const db = await open();
    return new Promise((done, fail) => {
      const deal = db.transaction(["items", "files", "meta"], mode, { durability });
      const stores = Object.fromEntries(["items", "files", "meta"].map((name) => [name, deal.objectStore(name)]));
      let said;
      let wrong = null;
      const guard = (act) => { try { act(); } catch (error) { wrong = error; deal.abort(); } };
      deal.oncomplete = () => done(said);
      deal.onabort = () => fail(wrong || deal.error);
      const on = (request, then) => { request.onsuccess = () => guard(() => then(request.result)); };
      guard(() => work(stores, on, (value) => { said = value; }));
    });
  };
  const reading = (work) => within("readonly", work);
  const writing = (work) => within("readwrite", work);
  const filesAt = (key) => IDBKeyRange.bound([key], [key, []]);
  const drop = ({ n, key }, { items, files }) => { items.delete(n); files.delete(filesAt(key)); };
  const walk = (items, on, see, from = 0) => on(items.openCursor(IDBKeyRange.lowerBound(from, true)), (cursor) => {
    if (cursor && see(cursor.value) !== false) cursor.continue();
  });
  const each = (see) => reading(({ items }, on) => walk(items, on, see));
  const list = async () => { const all = []; await each((item) => { all.push(item); }); return all; };
  const filesOf = (key) => reading(({ files }, on, answer) => on(files.getAll(filesAt(key)), answer));
  const done = () => reading(({ meta }, on, answer) => on(meta.get("done"), (row) => answer(row ? row.rows : [])));
  const change = (key, how) => writing((stores, on) => {
    on(stores.items.index("key").get(key), (item) => { if (item) how(item, stores); });
  });

  const counts = { waiting: 0, refused: 0 }; // everybody's
  const mine = { waiting: 0, refused: 0 };
  const chip = document.getElementById("waiting");
  const between = "BroadcastChannel" in window ? new BroadcastChannel("outbox") : null;
  const show = () => {
    const words = [];
    const others = counts.waiting + counts.refused - mine.waiting - mine.refused;
    if (mine.waiting) words.push(`${mine.waiting} kept on this tablet`);
    if (mine.refused) words.push(`${mine.refused} refused`);
    if (others) words.push(me.person ? `${others} of others` : `${others} kept on this tablet`);
    if (chip) {
      chip.textContent = words.join(", ");
      chip.hidden = !words.length;
      chip.classList.toggle("refused", Boolean(mine.refused));
    }
    fire("outbox:change", { ...counts });
  };
  const tell = async (others = true) => {
    const found = [{ waiting: 0, refused: 0 }, { waiting: 0, refused: 0 }];
    await each(({ state, person }) => {
      found[0][state] += 1;
      if (person === me.person) found[1][state] += 1;
    });
    Object.assign(counts, found[0]);
    Object.assign(mine, found[1]);
    show();
    if (others && between) between.postMessage("");
  };
  const look = () => tell(false).catch(() => {});
  if (between) between.onmessage = look;

  const sentence = (error) => (error && error.name === "QuotaExceededError"
    ? "This tablet's storage is full, so it can keep nothing. Free some space on it (photos, downloads)."
    : "This browser can keep nothing on the tablet: its storage is shut off (a private window?) or does not work. "
      + "Use an ordinary window.");
  const shape = (thing) => {
    const { key, url, what, label = "", page = location.href, said, after, draft, held = 0, made = Date.now() } = thing;
    const { person, name, grant } = thing.person ? thing : me; // put anew, it is still whoever made it
    return { key, url, what, label, page, said, after, draft, held, made, person, name, grant,
      fields: thing.fields.filter(([one]) => !["csrfmiddlewaretoken", "device_time", "key"].includes(one)),
      files: (thing.files || []).map(({ name: as, filename, blob }) => ({ name: as, filename, size: blob.size, type: blob.type })),
      state: "waiting", tries: 0, why: "", reasons: [] };
  };
  const put = async (thing) => {
    const item = shape(thing);
    const blobs = thing.files || [];
    const late = pause(blobs.length ? 4 * TO_DISK : TO_DISK).then(() => { throw new Error("late"); });
    try {
      await Promise.race([late, within("readwrite", (stores, on) => {
        on(stores.items.index("key").get(item.key), (old) => {
          if (old) drop(old, stores);
          stores.items.add(item);
          blobs.forEach(({ name, filename, blob }, i) => stores.files.add({ key: item.key, i, name, filename, blob }));
        });
      }, "strict")]);
    } catch (error) {
      throw new Error(sentence(error));
    }
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
    fire("outbox:put", { key: item.key });
    await tell().catch(() => {});
    return item.key;
  };
  const remove = async (key) => { await change(key, drop); await tell(); };

  // ------------------------------------------------------------------------------------------------- on the way
  const cookie = () => (document.cookie.match(/(?:^|; )csrftoken=([^;]+)/) || [])[1];
  let stale = false; // the server did not take the token that the cookie held
  const token = async (signal) => {
    if (stale || !cookie()) await fetch("/tablet/token/", { credentials: "same-origin", cache: "no-store", signal });
    stale = false;
    return cookie() || "";
  };
  const reasonsIn = (answer, text) => {
    const read = (json) => { try { return JSON.parse(json); } catch { return null; } };
    const type = answer.headers.get("Content-Type") || "";
    const told = read(answer.headers.get("X-Reasons")) || (type.includes("json") && (read(text) || {}).sentences);
    if (told) return told;
    if (type.startsWith("text/plain")) return [text];
    const page = new DOMParser().parseFromString(text, "text/html");
    const rows = ["#form-errors li, .problems li", ".errors p, .errors li", "main p, .bare p", "h1"]
      .map((where) => [...page.querySelectorAll(where)]).find((found) => found.length) || [];
    return [...new Set(rows.map((row) => row.textContent.replace(/\s+/g, " ").trim()))];
  };
  let lost = false;
  const transmit = async (item, blobs, { live, part } = {}) => {
    const control = new AbortController();
    const timer = setTimeout(() => control.abort(), blobs.length ? WITH_FILES : lost && item.tries % 3 ? LOST : PATIENCE);
    // `whole`: nothing else would get through either.
    const waits = (why, whole, status = 0) => ({ state: "waiting", status, html: "", location: "", why, whole, reasons: [] });
    try {
      const body = new FormData();
      item.fields.forEach(([name, value]) => body.append(name, value));
      body.append("key", item.key);
      body.append("device_time", withOffset(item.made));
      blobs.forEach(({ name, filename, blob }) => body.append(name, blob, filename));
      const grant = (me.person === item.person && me.grant) || item.grant;
      const headers = { "X-CSRFToken": await token(control.signal), "X-Person": item.person,
        "X-Outbox": `1${item.tries > 1 ? "" : " first"}${live ? "" : " later"}` };
      if (grant) headers["X-Grant"] = grant;
      if (part) headers["HX-Request"] = "true";
      if (blobs.length) headers.Accept = "application/json";
      headers["X-Sent-At"] = String(Date.now());
      const answer = await fetch(item.url, { method: "POST", body, headers, signal: control.signal,
        credentials: "same-origin", redirect: "manual", cache: "no-store" });
      const html = await answer.text();
      const says = (name) => answer.headers.get(name) || "";
      const { status } = answer;
      lost = false;
      fire("outbox:clock", Number(says("X-Server-Time")) || Date.parse(says("Date")));
      const result = { status, html, location: says("X-Location"), why: "", reasons: [],
        verdict: decodeURIComponent(says("X-Verdict")) };
      if (answer.ok && says("X-Saved-Key") === item.key) {
        return { ...result, html: says("Content-Type").startsWith("text/plain") ? "" : html, state: "saved" };
      }
      if (says("X-Refused")) return { ...result, state: "refused", reasons: reasonsIn(answer, html) };
      if (status === 413) return { ...result, state: "refused", reasons: ["The server in front refuses files of this size."] };
      if (says("X-Outbox-Wait")) return waits(html, false, status);
      if (status === 401 || answer.type === "opaqueredirect") {
        return waits(`Nobody is signed in here: it is sent when ${item.name || "its author"} signs in.`, false, status);
      }
      if (status === 423) return waits("This tablet is locked: it is sent when it is unlocked.", false, status);
      if (status === 403) {
        stale = true;
        return waits("The server did not take it from this page. It is tried again.", false, status);
      }
      // One thing over which the server stumbles again and again must not hold up the others.
      if (status >= 500) return waits(`The server answered with an error (${status}). It is tried again.`, status > 501 || item.tries < 3, status);
      return waits("Something else than the workshop's server answered. Look at the Wi-Fi.", true, status);
    } catch {
      lost = true;
      return waits(navigator.onLine === false ? "This tablet has no network." : "No answer from the workshop's server.", true);
    } finally {
      clearTimeout(timer);
    }
  };

  // One tab sends at a time, and says so again and again: the lease of one that was closed or killed runs out soon.
  const tab = newKey();
  const HELD = 5000;
  const BEAT = 1500;
  const leased = (meta, on, ms, then) => on(meta.get("lease"), (row) => {
    const now = Date.now();
    const free = !row || row.tab === tab || row.until < now || row.until > now + 10 * HELD;
    if (free) meta.put({ id: "lease", tab, until: ms ? now + ms : 0 });
    then(free);
  });
  // Where the storage is so full that nothing can be noted down, what lies here is sent all the same.
  const lease = (ms) => writing(({ meta }, on, answer) => leased(meta, on, ms, answer)).catch(() => true);
  // The next one that may go, its try counted before it is made. Those of `apart` wait for something: `held(item)`.
  const begin = (from, apart, held) => {
    const pick = ({ items }, on, answer, write) => walk(items, on, (item) => {
      if (item.state !== "waiting") return true;
      const now = Date.now();
      if (item.held > now && item.held < now + SLOWEST) apart.set(item.person, ""); // on its way already
      if (!item.grant && item.person !== me.person) apart.set(item.person, `It is sent when ${item.name} signs in here.`);
      if (apart.has(item.person)) { held(item); return true; }
      item.tries += 1;
      if (write) items.put(item);
      answer(item);
      return false;
    }, from);
    return writing((stores, on, answer) => leased(stores.meta, on, HELD, (free) => {
      if (free) pick(stores, on, answer, true);
    })).catch(() => reading(pick));
  };
  const settle = async (item, result) => {
    await writing(({ items, files, meta }, on) => on(items.get(item.n), (now) => {
      if (!now) return;
      if (result.state !== "saved") {
        items.put({ ...now, held: 0, state: result.state, why: result.why, reasons: result.reasons });
        return;
      }
      drop(now, { items, files });
      on(meta.get("done"), (row) => {
        const { key, what, label, person, made, url, page, said } = now;
        const fields = said && said.length ? [] : now.fields;
        const { location: to, verdict } = result;
        const one = { key, what, label, person, made, url, page, said, fields, verdict, at: Date.now(), location: to };
        meta.put({ id: "done", rows: [one, ...(row ? row.rows : [])].slice(0, 20) });
      });
    })).catch(() => (result.state === "saved" ? change(item.key, drop) : null)).catch(() => {});
    const { key } = item;
    if (result.state === "saved") fire("outbox:saved", { key, item, location: result.location });
    if (result.state === "refused") fire("outbox:refused", { key, item, reasons: result.reasons });
  };

  const asks = new Map(); // key → what waits for its answer
  const give = (key, result) => {
    const ask = asks.get(key);
    if (ask) { ask.result = result; ask.given(); }
  };
  let delay = 5000;
  const round = async () => {
    if (!(await lease(HELD))) return "elsewhere";
    const beat = setInterval(lease, BEAT, HELD);
    const apart = new Map(); // whose things wait for something, and for what
    let told = 0;
    try {
      for (let from = 0; ;) {
        const item = await begin(from, apart, ({ key, person }) => give(key, { state: "waiting", status: 0, html: "", location: "", why: apart.get(person), reasons: [] }));
        if (!item) return "through";
        from = item.n;
        const ask = asks.get(item.key);
        const result = await transmit(item, item.files.length ? await filesOf(item.key) : [], { live: ask, part: ask && ask.part });
        await settle(item, result);
        give(item.key, result);
        if (result.state !== "waiting") {
          delay = 5000;
          if (Date.now() > told + 500) { told = Date.now(); await tell(); }
        } else if (result.whole) {
          asks.forEach((_, key) => give(key, result));
          return "stopped";
        } else apart.set(item.person, result.why);
      }
    } finally {
      clearInterval(beat);
      await lease(0);
    }
  };
  let running = null;
  let anew = false; // the network came back in the middle of a look
  let timer = 0;
  const drain = () => {
    clearTimeout(timer);
    running ||= round().catch(() => "stopped").then(async (end) => {
      running = null;
      await tell().catch(() => {});
      clearTimeout(timer);
      // Another tab sends, or was closed while it did: its lease is soon over.
      const elsewhere = end === "elsewhere";
      if (counts.waiting) timer = setTimeout(drain, anew ? 0 : elsewhere ? BEAT : delay);
      if (counts.waiting && !elsewhere) delay = Math.min(2 * delay, SLOWEST);
      anew = false;
      return end;
    });
    return running;
  };
  const send = async (key, { part } = {}) => {
    const ask = { part, result: null };
    const answered = new Promise((given) => { ask.given = given; }); // others may be on their way behind it
    asks.set(key, ask);
    const until = Date.now() + PATIENCE + 5000;
    for (let turn = 0; !ask.result && turn < 3 && Date.now() < until;) {
      const end = await Promise.race([answered, drain(), pause(until - Date.now())]);
      if (ask.result || end === "stopped") break;
      if (end === "through") turn += 1; // it came in when the last look was over
      else await pause(250);
      const [all, rows] = await Promise.all([list(), done()]); // did another tab send it?
      const left = all.find((one) => one.key === key);
      const row = rows.find((one) => one.key === key);
      if (left && left.state === "refused") ask.result = { ...left, status: 422, html: "", location: "" };
      else if (!left && row) ask.result = { ...row, state: "saved", status: 200, html: "", why: "", reasons: [] };
    }
    asks.delete(key);
    if (ask.result) await tell().catch(() => {}); // before anybody counts what lies here
    return ask.result || { state: "waiting", status: 0, html: "", location: "", why: "", reasons: [] };
  };
  const again = async (key) => {
    await change(key, (item, { items }) => items.put({ ...item, state: "waiting" }));
    return drain();
  };
  const soon = () => { if (counts.waiting) { anew = Boolean(running); delay = 5000; drain(); } };

  // ------------------------------------------------------------------------------------------------- this tablet
  // Who is here, for a page that is a mere shell (body[data-shell]).
  const HERE = "outbox here";
  document.addEventListener("lock:locked", () => { try { localStorage.removeItem(HERE); } catch { /* shut off */ } });
  try {
    if (me.person) localStorage.setItem(HERE, JSON.stringify(me));
    else if (!("shell" in dataset)) localStorage.removeItem(HERE);
    else Object.assign(me, JSON.parse(localStorage.getItem(HERE)));
  } catch { /* shut off: nobody is known then */ }

  window.outbox = { put, send, list, each, files: filesOf, remove, again, done, drain, newKey, counts, mine, me,
    // for outbox-forms.js
    change, settle, soon, withOffset, isLost: () => lost, lose: () => { lost = true; delay = 5000; drain(); },
    direct: (thing) => transmit({ ...shape(thing), tries: 1 }, thing.files || [], { live: true }) };
  // Refused here and then put right in its form: the page that came of it names the key.
  const named = [...document.querySelectorAll('meta[name="saved-key"]')].map((each_) => each_.content);
  Promise.all(named.map((key) => change(key, drop))).catch(() => {}).then(look).then(soon);
  window.addEventListener("online", soon);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) look().then(soon); });
  document.addEventListener("live:fresh", soon);
  window.addEventListener("pagehide", () => { if (running) lease(0).catch(() => {}); });
})();
