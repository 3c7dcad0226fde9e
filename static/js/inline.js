// Opens the form of an act in place: <a href="the act's page" data-inline="id of the box under it">. The page of the
// act is asked for and its form put into the box; sent, it leads back to where it was opened. Without this script, or
// when the server does not answer, the link is the way to the same form. A second tap closes it again, unless
// something was typed.
(() => {
  const boxOf = (link) => document.getElementById(link.dataset.inline);
  const typed = (each) => {
    if (each.type === "checkbox" || each.type === "radio") return each.checked !== each.defaultChecked;
    if (each.localName === "select") return [...each.options].some((one) => one.selected !== one.defaultSelected);
    return each.matches("input:not([type=hidden]), textarea") && each.value !== each.defaultValue;
  };
  const dirty = (box) => [...box.querySelectorAll("input, select, textarea")].some(typed);
  const links = (box) => [...document.querySelectorAll(`[data-inline="${CSS.escape(box.id)}"]`)];
  const mark = (box, url) => links(box).forEach((each) => {
    const open = each.getAttribute("href") === url;
    if (open) each.setAttribute("aria-expanded", "true");
    else each.removeAttribute("aria-expanded");
  });
  const close = (box) => { box.replaceChildren(); delete box.dataset.url; mark(box, ""); };
  const firstEmpty = (box) => {
    const fields = [...box.querySelectorAll("input:not([type=hidden]), select, textarea")];
    const free = fields.filter((each) => !each.disabled && !each.readOnly);
    const open = (each) => each.type === "radio" && ![...each.form.elements].some((one) => one.name === each.name && one.checked);
    return free.find((each) => open(each) || (!["checkbox", "radio"].includes(each.type) && !each.value)) || free[0];
  };
  const sayKept = (box) => {
    let note = box.querySelector(".note.kept");
    if (!note) {
      note = document.createElement("p");
      note.className = "note kept";
      note.setAttribute("role", "status");
      box.prepend(note);
    }
    note.textContent = "This form holds what you typed. Send it or cancel it, then open the other one.";
  };

  const open = async (link, box) => {
    const url = link.getAttribute("href");
    link.setAttribute("aria-busy", "true");
    try {
      const headers = { "HX-Request": "true", "X-Inline": "1" }; // the service worker has copies of some forms
      const answer = await fetch(url, { headers, credentials: "same-origin" });
      if (!answer.ok) throw new Error(String(answer.status));
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const form = page.querySelector("main form.form");
      if (!form || !form.getAttribute("action")) throw new Error("no form");
      const title = page.querySelector("main h1");
      const heading = document.createElement("h3");
      heading.textContent = title ? title.textContent : link.textContent;
      box.replaceChildren(heading, ...page.querySelectorAll("main .intro, main .caution"), form);
      if (answer.headers.has("X-Copy-Made")) {
        const old = document.createElement("p");
        old.className = "meta";
        const then = new Date(answer.headers.get("X-Copy-Made"));
        const { clock, day, isDay } = window.shopTime;
        old.textContent = `No answer from the workshop's server: this form is its copy of ${clock(then)}${isDay(then) ? "" : ` on ${day(then)}`}.`;
        heading.after(old);
      }
      box.dataset.url = url;
      mark(box, url);
      if (window.htmx) window.htmx.process(box);
      document.dispatchEvent(new CustomEvent("htmx:load", { detail: { elt: box } }));
      const field = firstEmpty(box);
      if (field) field.focus({ preventScroll: true });
      box.scrollIntoView({ block: "nearest" });
    } catch {
      location.assign(url);
    } finally {
      link.removeAttribute("aria-busy");
    }
  };

  document.addEventListener("click", (event) => {
    if (event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey) return;
    const link = event.target.closest("a[data-inline]");
    if (link) {
      const box = boxOf(link);
      if (!box) return;
      event.preventDefault();
      if (link.getAttribute("aria-busy") === "true") return;
      if (dirty(box)) { // typed text is not thrown away for another form
        sayKept(box);
        box.scrollIntoView({ block: "nearest" });
      } else if (box.dataset.url === link.getAttribute("href")) close(box);
      else open(link, box);
      return;
    }
    const cancel = event.target.closest(".inline form.form .actions a.btn.quiet");
    if (cancel) {
      event.preventDefault();
      const box = cancel.closest(".inline");
      const opener = links(box).find((each) => each.getAttribute("href") === box.dataset.url);
      close(box);
      if (opener) opener.focus();
    }
  });
  // A part that was swapped brings its links anew: the one whose form is open says so again.
  document.addEventListener("live:fresh", () => {
    document.querySelectorAll(".inline[data-url]").forEach((box) => mark(box, box.dataset.url));
  });
})();
