// The service worker: the last copies of pages, for when there is no network. It only ever answers GETs.
//
// Kept is what the server marks so (X-Keep-Copy: whose page it is), in a cache of that person; who is here is told by
// the pages and by those answers, and written down, as a worker is ended and begun anew many times a day.
"use strict";
const { files, statics, shells, look, part: PART, patience, pause } = {{ facts|safe }};
const PAGES = 120; // copies of one person; the oldest go first
const THUMBS = 80;
const DAYS = 14;
const YOUNG = 5 * 60 * 1000; // a copy of this age is not fetched again beside another page
const DAY = 24 * 3600 * 1000;
const AT_ONCE = 30; // pages fetched beside one page
const FILES = "files";
const HASHED = /\.[0-9a-f]{12}\.\w+$/;
const NOBODY_THERE = [502, 503, 504]; // said by a proxy whose server is gone

const pagesOf = (person) => `pages of ${person}`;
const thumbsOf = (person) => `thumbs of ${person}`;
const isOld = (made) => Date.now() - Date.parse(made) > DAYS * DAY;
const madeOf = (answer) => answer.headers.get("X-Made");

// --------------------------------------------------------------------------------------------------- who is here
let person = null;
const who = async () => {
  if (person !== null) return person;
  const told = await (await caches.open("who")).match("/who");
  person = told ? await told.text() : "";
  return person;
};
const here = async (one) => {
  if (one === person) return;
  person = one; // before anything is waited for: the next message asks who is here
  await (await caches.open("who")).put("/who", new Response(one));
};
const gone = new Map(); // person → when the copies were deleted: an answer on its way then is not kept
const drop = async (one) => {
  const whose = one || (await who());
  if (!whose) return;
  gone.set(whose, Date.now());
  if (whose === (await who())) await here("");
  await Promise.all([caches.delete(pagesOf(whose)), caches.delete(thumbsOf(whose))]);
};
const dropAll = async () => {
  const names = (await caches.keys()).map((name) => name.match(/^pages of (.+)$/)).filter(Boolean);
  for (const [, whose] of names) await drop(whose);
  await drop();
};

// How many erasures the server carried out. With another number, what was kept before may show what is erased by now:
// everybody's copies go, and are made anew by visiting. False: this answer is of before, and is not kept.
let erasures = null;
let erasedAt = 0;
const isOfNow = async (told, begun) => {
  const cache = await caches.open("who");
  if (erasures === null) {
    const last = await cache.match("/erasures");
    const number = last ? await last.text() : "";
    if (erasures === null) erasures = number;
  }
  if (told === erasures) return true;
  if (begun < erasedAt) return false; // it was on its way when the other number came
  erasures = told;
  erasedAt = Date.now();
  const names = (await caches.keys()).filter((name) => /^(pages|thumbs) of /.test(name));
  await Promise.all(names.map((name) => caches.delete(name)));
  await fetch(shells[0], { headers: { "X-Forget": "1" }, cache: "no-store" }).catch(() => {});
  await cache.put("/erasures", new Response(told)); // last: a worker that is ended before begins this anew
  return true;
};

// ------------------------------------------------------------------------------------------------------- keeping
const tidy = async (cache, most) => {
  const rows = await Promise.all((await cache.keys()).map(async (key) => {
    const kept = await cache.match(key);
    return [key, (kept && madeOf(kept)) || ""];
  }));
  rows.sort(([, one], [, other]) => (one < other ? 1 : -1));
  await Promise.all(rows.filter(([, made], at) => at >= most || isOld(made)).map(([key]) => cache.delete(key)));
};
const named = (text) => [...text.matchAll(/\b(?:href|src)="([^"]+)"/g)].map(([, url]) => url)
  .filter((url) => url.startsWith(statics));
const keepFiles = async (text) => {
  const cache = await caches.open(FILES);
  await Promise.all([...new Set(named(text))].map(async (url) => {
    if (!(await cache.match(url))) await cache.add(url).catch(() => {});
  }));
};
// A part of a page stands beside the page, under an address of its own.
const keyOf = (url, part) => {
  const at = new URL(url);
  at.hash = "";
  return part ? `/part?of=${encodeURIComponent(at.href)}` : at.href;
};
const asKept = (body, answer, more) => {
  const headers = { "X-Made": new Date().toISOString(), ...more };
  ["Content-Type", "Content-Security-Policy"].forEach((name) => {
    if (answer.headers.get(name)) headers[name] = answer.headers.get(name);
  });
  return new Response(body, { headers });
};
const keep = async (answer, url, part, begun, mark = "") => {
  const whose = answer.headers.get("X-Keep-Copy");
  if (answer.headers.get("X-Drop-Copies") === "all") await dropAll();
  else if (answer.status === 401 || answer.headers.has("X-Drop-Copies")) await drop();
  const told = answer.headers.get("X-Erasures");
  if (told && !(await isOfNow(told, begun))) return "";
  if (answer.status !== 200 || !whose) return "";
  const text = await answer.text();
  if ((gone.get(whose) || 0) > begun) return "";
  await here(whose);
  const title = (text.match(/<title>([^<]*)/) || ["", ""])[1];
  const cache = await caches.open(pagesOf(whose));
  const more = { "X-Title": encodeURIComponent(title), "X-Mark": mark };
  // Where the device is full, copies give way: what was typed needs the room more.
  await cache.put(keyOf(url, part), asKept(text, answer, more)).catch(() => tidy(cache, PAGES / 4));
  if (told && told !== erasures) await cache.delete(keyOf(url, part)); // another came meanwhile
  await keepFiles(text);
  await tidy(cache, PAGES);
  return text;
};
// Pages that hang on others (links marked data-keep, and theirs), one after the other.
const keepAlso = async (links, young) => {
  const begun = Date.now();
  const whose = await who();
  const wanted = whose ? links.slice(0, AT_ONCE) : [];
  for (let at = 0; at < wanted.length; at += 1) {
    const [url, mark] = wanted[at];
    const last = await (await caches.open(pagesOf(whose))).match(keyOf(url));
    if (last && last.headers.get("X-Mark") === mark
      && Date.now() - Date.parse(madeOf(last)) < young) continue;
    const answer = await fetch(url, { headers: { "X-For-Copy": "1" }, cache: "no-store" });
    if (answer.redirected) continue;
    const text = await keep(answer, url, false, begun, mark);
    (text.match(/<a\b[^>]*\bdata-keep\b[^>]*>/g) || []).forEach((link) => {
      const to = new URL(link.match(/\bhref="([^"]*)"/)[1].replaceAll("&amp;", "&"), url);
      to.hash = "";
      if (link.includes('"once') || wanted.length === AT_ONCE) return;
      if (!wanted.some(([one]) => one === to.href)) wanted.push([to.href, ""]);
    });
    await new Promise((done) => { setTimeout(done, pause); });
  }
};

// ------------------------------------------------------------------------------------------------------- serving
// The forms of a copy may have been sent since: another reading under the same key would be taken for a repeat.
const freshKeys = (text) => {
  const fresh = new Map();
  return text.replace(/(name="key" value=")([0-9a-f-]{36})"/g, (all, before, key) => {
    if (!fresh.has(key)) fresh.set(key, crypto.randomUUID());
    return `${before}${fresh.get(key)}"`;
  });
};
const copyOf = async (url, part) => {
  const whose = await who();
  if (!whose) return null;
  const cache = await caches.open(pagesOf(whose));
  const found = (part && await cache.match(keyOf(url, true))) || await cache.match(keyOf(url));
  // Without a copy of what was chosen on a page, the page as it opens by itself.
  const other = found || await cache.match(keyOf(url.split(/[?#]/)[0]));
  if (!other || isOld(madeOf(other))) return null;
  const made = madeOf(other);
  const text = freshKeys(await other.text()).replace(/<meta name="server-time"[^>]*>/, "");
  const whole = text.includes("</head>");
  const meta = `<meta name="copy-made" content="${made}"${found ? "" : " data-other"}>`;
  const headers = { "Content-Type": other.headers.get("Content-Type"), "X-Copy-Made": made };
  const policy = other.headers.get("Content-Security-Policy");
  if (policy) headers["Content-Security-Policy"] = policy;
  if (part && whole) headers["HX-Reselect"] = `#${part}`; // htmx takes its part out of the page
  return new Response(whole ? text.replace("</head>", () => `${meta}${look}</head>`) : text, { headers });
};
// The page in place of one without a copy. What the newest copy says of the person and the tablet is put into it: the
// bar, whose device this is, the lock and its cover.
const BAR = /<header class="bar">[\s\S]*?<\/header>/;
const COVER = /<template id="lock-cover">[\s\S]*?<\/template>/;
const LOCK = /<(?:link rel="stylesheet" href|script src)="[^"]*\/(?:tablet|pin|lock)\.[^>]*>(?:<\/script>)?/g;
const FACTS = / data-[\w-]+(?:="[^"]*")?/g;
const withoutCopy = async (url) => {
  const cached = await caches.open(FILES);
  const { pathname } = new URL(url);
  if (shells.includes(pathname)) return (await cached.match(pathname)) || Response.error();
  const shell = await cached.match(shells[0]);
  if (!shell) return Response.error();
  const cache = await caches.open(pagesOf(await who()));
  const newest = (await cache.keys()).pop();
  const last = newest ? await (await cache.match(newest)).text() : "";
  const taken = (pattern, from = last) => (from.match(pattern) || []).join("");
  const text = (await shell.text())
    // No page of the server's either: the lock stays as it was.
    .replace("</head>", () => `<meta name="copy-made" content="${new Date().toISOString()}">${taken(LOCK)}</head>`)
    .replace("<body", () => `<body${taken(FACTS, taken(/<body[^>]*>/))}`)
    .replace(BAR, (own) => taken(BAR).replace(' aria-current="page"', "") || own)
    .replace("</body>", () => `${taken(COVER)}</body>`);
  return asKept(text, shell);
};
const page = async (event, part) => {
  const { url } = event.request;
  const begun = Date.now();
  let broken = null;
  let answered = false;
  const fresh = fetch(event.request).then((answer) => {
    const ours = answer.clone();
    answered = true;
    event.waitUntil(keep(ours, url, part, begun).catch(() => {}));
    if (NOBODY_THERE.includes(answer.status)) {
      broken = answer;
      throw new Error("nobody there");
    }
    return answer;
  });
  // Then the copy is shown, and the answer, when it comes, still becomes the new copy.
  const late = new Promise((done) => { setTimeout(done, patience); })
    .then(() => (answered ? null : copyOf(url, part)));
  event.waitUntil(fresh.catch(() => {}));
  try {
    return await Promise.race([fresh, late.then((copy) => copy || fresh)]);
  } catch {
    return (await copyOf(url, part)) || broken
      || (event.request.mode === "navigate" ? withoutCopy(url) : Response.error());
  }
};
const file = async (event) => {
  const cache = await caches.open(FILES);
  const { url } = event.request;
  const kept = await cache.match(url);
  if (kept && HASHED.test(url)) return kept;
  try {
    const answer = await fetch(event.request);
    if (answer.status === 200) event.waitUntil(cache.put(url, answer.clone()).catch(() => {}));
    return answer;
  } catch (error) {
    if (kept) return kept;
    throw error;
  }
};
const thumb = async (event) => {
  const { url } = event.request;
  const whose = await who();
  const begun = Date.now();
  const cache = whose ? await caches.open(thumbsOf(whose)) : null;
  try {
    const answer = await fetch(event.request);
    if (cache && answer.status === 200) {
      const ours = answer.clone();
      event.waitUntil((async () => {
        const body = await ours.blob();
        if (Math.max(gone.get(whose) || 0, erasedAt) > begun) return;
        await cache.put(url, asKept(body, ours));
        await tidy(cache, THUMBS);
      })().catch(() => {}));
    }
    return answer;
  } catch (error) {
    const kept = cache && await cache.match(url);
    if (kept) return kept;
    throw error;
  }
};

// -------------------------------------------------------------------------------------------------------- events
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname.startsWith(statics)) event.respondWith(file(event));
  else if (request.mode === "navigate") event.respondWith(page(event, ""));
  else if (request.headers.has("X-Inline")) event.respondWith(page(event, ""));
  else if (request.headers.get("HX-Target") === PART) event.respondWith(page(event, PART));
  else if (/\/photos\/[^/]+\/thumb\/$/.test(pathname)) event.respondWith(thumb(event));
});
self.addEventListener("message", (event) => {
  const { person: one, drop: other, also, anew, once } = event.data;
  const work = async () => {
    if (other) await drop(other);
    if (one) await here(one);
    if (also) await keepAlso(also, anew ? 0 : YOUNG).catch(() => {});
    if (once) await keepAlso(once, DAY).catch(() => {});
  };
  event.waitUntil(work());
});
self.addEventListener("install", (event) => {
  self.skipWaiting();
  const whole = shells.map((url) => new Request(url, { credentials: "omit", cache: "no-cache" }));
  event.waitUntil(caches.open(FILES).then((cache) => cache.addAll([...files, ...whole])));
});
// A new release: of the files before it only those go that no copy needs any more.
self.addEventListener("activate", (event) => {
  const work = async () => {
    await self.clients.claim();
    const needed = new Set([...files, ...shells].map((url) => new URL(url, self.location).href));
    for (const name of await caches.keys()) {
      const cache = await caches.open(name);
      if (name.startsWith("thumbs of ")) await tidy(cache, THUMBS);
      if (!name.startsWith("pages of ")) continue;
      await tidy(cache, PAGES);
      for (const key of await cache.keys()) {
        named(await (await cache.match(key)).text()).forEach((url) => needed.add(new URL(url, self.location).href));
      }
    }
    const cache = await caches.open(FILES);
    const rest = (await cache.keys()).filter((key) => !needed.has(key.url));
    await Promise.all(rest.map((key) => cache.delete(key)));
  };
  event.waitUntil(work());
});
