// Loaded by a copy of a page (the service worker puts it there) and by the page in place of one without a copy.
// Says how old the copy is, marks what needs the network, and opens the page itself as soon as the server answers.
(() => {
  const SIGN_OUT = '[action$="/sign-out/"]';
  const EVERY = 20000; // between two tries while the page is looked at
  const SOON = [1000, 2000, 4000, 8000]; // said to be back, a network often needs some seconds more
  const meta = document.querySelector('meta[name="copy-made"]');
  const main = document.getElementById("main");
  const button = document.querySelector("[data-try]"); // on the page in place of one without a copy
  const make = (tag, className, text) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text) made.textContent = text;
    return made;
  };

  // --- when, and how long ago
  const clock = (then) => {
    const { clock: at, day, isDay } = window.shopTime;
    if (isDay(then)) return `${at(then)} today`;
    return isDay(then, 1) ? `${at(then)} yesterday` : `${at(then)} on ${day(then)}`;
  };
  const age = (then) => {
    const minutes = Math.max(0, Math.floor((Date.now() - then) / 60000));
    const many = (count, what) => `${count} ${what}${count === 1 ? "" : "s"} old`;
    if (minutes < 1) return "less than a minute old";
    if (minutes < 60) return many(minutes, "minute");
    if (minutes < 48 * 60) return many(Math.floor(minutes / 60), "hour");
    return many(Math.floor(minutes / 1440), "day");
  };

  // --- is the server there again
  let back = false;
  let trying = null;
  const there = async () => {
    try {
      const answer = await fetch("/health/", { cache: "no-store", credentials: "omit" });
      return answer.ok && !answer.redirected;
    } catch { return false; }
  };
  const typed = (each) => {
    if (each.type === "checkbox" || each.type === "radio") return each.checked !== each.defaultChecked;
    if (each.localName === "select") return [...each.options].some((one) => one.selected !== one.defaultSelected);
    return each.type !== "hidden" && each.value !== each.defaultValue;
  };
  const busy = () => [...main.querySelectorAll("input, select, textarea")].some(typed)
    || (document.activeElement && document.activeElement.matches("main input, main select, main textarea"));
  const look = () => {
    trying = trying || there().then((answers) => {
      trying = null;
      back = answers;
      if (back) found();
      return answers;
    });
    return trying;
  };

  // --- the banner
  let words = null;
  let load = null;
  const open = () => (location.pathname === "/offline/" ? location.assign("/") : location.reload());
  // By itself not again and again, where the server answers but takes too long over this page. In place of one without
  // a copy there is nothing to go on with meanwhile.
  const openItself = () => {
    const last = Number(sessionStorage.getItem("copy-reloaded") || 0);
    if (busy() || Date.now() - last < (button ? 5000 : 120000)) return false;
    sessionStorage.setItem("copy-reloaded", String(Date.now()));
    open();
    return true;
  };
  const banner = () => {
    const then = new Date(meta.content);
    const drawn = make("section", "copy-said");
    drawn.setAttribute("aria-label", "Copy");
    const line = make("p");
    words = make("span", "", `No answer from the workshop's server. This is the copy of ${clock(then)}`);
    words.setAttribute("role", "status");
    const old = make("strong", "", age(then)); // beside what is read out: or it would be, every minute
    setInterval(() => { old.textContent = age(then); }, 15000);
    line.append(words, ", ", old, ".");
    drawn.append(line);
    if ("other" in meta.dataset) {
      drawn.append(make("p", "", "What you chose on this page has no copy: it is shown as it opens by itself."));
    }
    load = make("button", "btn", "Try again");
    load.type = "button";
    load.addEventListener("click", async () => {
      if (back || await look()) open();
      else words.textContent = `Still no answer, tried at ${clock(new Date())}. This is the copy of ${clock(then)}`;
    });
    drawn.append(load);
    main.prepend(drawn);
    document.body.classList.add("is-copy");
    document.title = `Copy of ${clock(then)}: ${document.title}`;
    // What was said to whoever opened the page then is no news.
    document.querySelectorAll(".messages").forEach((each) => each.remove());
  };
  const found = () => {
    if (openItself()) return;
    if (button) { back = false; return; } // tried again in a while
    words.textContent = "The workshop's server answers again: load the page as it is now. What you typed is offered there. "
      + `This is still the copy of ${clock(new Date(meta.content))}`;
    load.textContent = "Load it as it is now";
  };

  // --- forms that can't wait on this device
  const needs = (form) => form.getAttribute("method") === "post" && !("queue" in form.dataset)
    && (main.contains(form) || form.matches(SIGN_OUT));
  const mark = () => main.querySelectorAll("form").forEach((form) => {
    if (!needs(form) || form.querySelector(".needs-network")) return;
    form.append(make("p", "needs-network", "Needs the network."));
  });
  const say = (text) => {
    const place = document.getElementById("notice");
    if (place) { place.textContent = text; place.hidden = !text; }
  };
  // On the window, so before every other script: none takes the form as sent.
  window.addEventListener("submit", (event) => {
    if (back || !needs(event.target)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const out = event.target.matches(SIGN_OUT);
    say(out ? "Signing out needs the network. Lock the tablet, or put it away, until the server answers."
      : "This needs the network, and nothing was sent. What you typed stays here: send it when the server answers.");
    look();
  }, true);

  // --- the list of copies, on the page in place of one without
  const list = async () => {
    const place = document.querySelector("[data-copies]");
    const rows = [];
    if (window.caches && document.body.dataset.person) {
      const cache = await caches.open(`pages of ${document.body.dataset.person}`);
      for (const key of await cache.keys()) {
        const url = new URL(key.url);
        const kept = await cache.match(key);
        const title = decodeURIComponent(kept.headers.get("X-Title") || "").replace(/ · Witness Mark$/, "");
        const form = (kept.headers.get("X-Mark") || "").startsWith("once"); // no page to begin with
        if (url.pathname !== "/part" && !form) rows.push([url, title, new Date(kept.headers.get("X-Made"))]);
      }
    }
    // A page with its choices (a run's stages) stands once, as it opens by itself where that is kept.
    const paths = new Set();
    const once = rows.sort(([one], [other]) => one.search.length - other.search.length)
      .filter(([{ pathname }]) => !paths.has(pathname) && paths.add(pathname))
      .sort(([, , one], [, , other]) => other - one);
    once.forEach(([url, title, then]) => {
      const row = make("li", "row");
      const box = make("div");
      const link = make("a", "", new DOMParser().parseFromString(title, "text/html").body.textContent || url.pathname);
      link.href = url.pathname + url.search;
      const strong = make("strong");
      strong.append(link);
      box.append(strong, make("p", "meta", `copy of ${clock(then)}, ${age(then)}`));
      row.append(box);
      place.querySelector("ul").append(row);
    });
    place.hidden = !once.length;
    document.querySelector("[data-no-copy]").hidden = Boolean(once.length);
  };

  if (meta && !button) { banner(); mark(); document.addEventListener("htmx:load", mark); }
  if (button) {
    list();
    button.addEventListener("click", async () => {
      if (back || await look()) open();
      else document.querySelector("[data-tried]").textContent = `Still no answer, tried at ${clock(new Date())}.`;
    });
  }
  const seen = () => (document.visibilityState === "visible" && !back ? look() : null);
  const soon = async (pauses) => {
    await seen();
    if (!back && pauses.length) setTimeout(soon, pauses[0], pauses.slice(1));
  };
  setInterval(seen, EVERY);
  window.addEventListener("online", () => soon(SOON));
  document.addEventListener("visibilitychange", seen);
})();
