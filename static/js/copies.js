// The last copies of pages, for when there is no network: the service worker (/sw.js) keeps and serves them; here it
// is begun, told who is here, what hangs on this page, and when this person's copies go. What a copy looks like is in
// copy-page.js, which only a copy loads.
(() => {
  const OWN = 8000; // after something was written here, its page is fetched anew as a copy
  const OTHERS = 120000; // and after others wrote, at most so often
  const { person } = document.body.dataset;
  const manifest = document.querySelector('link[rel="manifest"]');
  const all = (selector) => [...document.querySelectorAll(selector)];
  const shown = (selector) => all(selector).forEach((each) => { each.hidden = false; });

  // --- a quiet button on the page of devices, where the browser can put the app on the home screen
  window.addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    shown("[data-install]");
    all("[data-install] button").forEach((each) => { each.onclick = () => event.prompt(); });
  });
  window.addEventListener("appinstalled", () => all("[data-install]").forEach((each) => { each.hidden = true; }));

  // --- what is missing, said once a day on this device; on the page of devices it stands as a fact
  const missing = () => {
    const today = new Date().toDateString();
    shown('[data-no-copies="always"]');
    if (!document.querySelector('[data-no-copies="daily"]')) return;
    try {
      if (localStorage.getItem("no-copies-said") === today) return;
      localStorage.setItem("no-copies-said", today);
    } catch { return; }
    shown('[data-no-copies="daily"]');
  };

  if (!person || !manifest) return;
  const workers = navigator.serviceWorker;
  if (!window.isSecureContext || !workers) { missing(); return; }
  const tell = (what) => workers.ready.then((found) => found.active.postMessage(what));
  const away = () => { if (workers.controller) workers.controller.postMessage({ drop: person }); };
  const here = () => location.href.split("#")[0];
  const isCopy = () => document.querySelector('meta[name="copy-made"]');
  const idle = window.requestIdleCallback || ((then) => setTimeout(then, 1000));
  // data-keep: pages wanted beside this one. "once …": forms, good for a day or until the words behind it change.
  const links = (selector) => all(selector).map((each) => [each.href.split("#")[0], each.dataset.keep || ""]);
  const also = () => links('main a[data-keep=""]');
  const once = () => links('main a[data-keep^="once"], .nav li:first-child a');

  const untold = !workers.controller; // this very page came before the worker: it is not kept yet
  tell({ person }); // once: a tab that was left open says nothing of who is here by now
  window.addEventListener("load", () => idle(() => {
    workers.register("/sw.js", { scope: "/", updateViaCache: "none" }).catch(missing);
    if (isCopy()) return;
    tell({ also: untold ? [[here(), ""], ...also()] : also(), anew: untold, once: once() });
  }));

  // --- a page that was brought up to date or written on is another one than its copy
  let timer = 0;
  let due = 0;
  const again = (wait) => {
    if (isCopy() || (timer && due <= Date.now() + wait)) return;
    clearTimeout(timer);
    due = Date.now() + wait;
    timer = setTimeout(() => { timer = 0; if (!isCopy()) tell({ also: [[here(), ""], ...also()], anew: true }); }, wait);
  };
  document.addEventListener("live:fresh", () => again(OTHERS));
  document.addEventListener("outbox:saved", () => again(OWN));
  document.addEventListener("htmx:afterSwap", (event) => {
    if (event.detail.requestConfig && event.detail.requestConfig.verb === "post") again(OWN);
  });

  // --- signed out, or shut out: this person's copies go. The lock keeps them.
  window.addEventListener("submit", (event) => {
    if (!event.defaultPrevented && event.target.matches('[action$="/sign-out/"]')) away();
  });
  document.addEventListener("live:signed-out", away);
})();
