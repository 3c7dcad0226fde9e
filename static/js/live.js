// A page that stays up to date by itself. [data-live] is the address that answers it anew, [data-mark-of-page] the
// mark of what it shows (sent as If-None-Match: mostly the answer is 304 and nothing happens), [data-every] seconds.
// Asked only while the page can be seen, and at once when it comes into view again.
//
// The page is made of named parts. [data-parts] is a list of children with [data-part]; a child with [data-mark] is
// swapped when its mark differs, one without is a list itself. So nothing moves but what changed: the focus stays,
// a fold stays open, and a part in which somebody types is left alone until they are through with it.
// [data-say] is read out when it changes ("2 things still block handover").
(() => {
  const root = () => document.querySelector("[data-live]");
  // A copy, shown without network, says so itself and is loaded anew when the server answers.
  if (!root() || document.querySelector('meta[name="copy-made"]')) return;
  const SLOW = 30; // seconds between two tries while the server does not answer
  const waiting = new Map(); // part in which somebody types → what is to stand there
  let mark = root().dataset.markOfPage;
  let said = root().dataset.say || "";
  let timer = 0;
  let asking = false;
  let lost = 0; // when the server stopped answering

  const every = () => Number(root().dataset.every || 10);
  const later = (seconds) => { clearTimeout(timer); timer = setTimeout(ask, seconds * 1000); };

  // ------------------------------------------------------------------------------------ what somebody is busy with
  const typed = (each) => {
    if (each.type === "checkbox" || each.type === "radio") return each.checked !== each.defaultChecked;
    if (each.localName === "select") return [...each.options].some((one) => one.selected !== one.defaultSelected);
    return each.type !== "hidden" && each.value !== each.defaultValue;
  };
  const busy = (part) => {
    const focus = document.activeElement;
    if (focus && focus !== part && part.contains(focus) && focus.matches("input, select, textarea")) return true;
    // A photo on its way, or one that did not get through, is not to be swept away either.
    if (part.querySelector(".sending, .failed, .photo.kept-here")) return true;
    return [...part.querySelectorAll("input, select, textarea")].some(typed);
  };

  // ---------------------------------------------------------------------------------------------------- swapping
  const nameOf = (each) => each.dataset.part;
  const parts = (list) => [...list.children].filter(nameOf);
  const sameIn = (part, focus) => {
    if (focus.id) return part.querySelector(`#${CSS.escape(focus.id)}`);
    const href = focus.getAttribute("href");
    const alike = [...part.querySelectorAll(focus.localName)];
    return alike.find((each) => (href ? each.getAttribute("href") === href : each.textContent === focus.textContent));
  };
  const swap = (old, fresh) => {
    const focus = old.contains(document.activeElement) ? document.activeElement : null;
    old.querySelectorAll("details[id][open]").forEach((fold) => {
      const again = fresh.querySelector(`#${CSS.escape(fold.id)}`);
      if (again) again.open = true;
    });
    old.replaceWith(fresh);
    if (window.htmx) window.htmx.process(fresh);
    fresh.classList.add("fresh");
    setTimeout(() => fresh.classList.remove("fresh"), 4000);
    if (!focus) return;
    const again = sameIn(fresh, focus);
    if (again) { again.focus({ preventScroll: true }); return; }
    // What was in focus is cleared and gone: its place keeps the focus, not the top of the page.
    const place = fresh.querySelector("[tabindex='-1']") || fresh;
    if (!place.hasAttribute("tabindex")) place.tabIndex = -1;
    place.focus({ preventScroll: true });
  };
  const leave = (part) => {
    const focus = part.contains(document.activeElement);
    const place = part.parentElement.closest("[data-part], main");
    part.remove();
    if (!focus || !place) return;
    if (!place.hasAttribute("tabindex")) place.tabIndex = -1;
    place.focus({ preventScroll: true });
  };
  const settle = (old, fresh) => {
    if (!("mark" in fresh.dataset)) { // a list: its own turn comes, only its looks are taken over
      if (old.className !== fresh.className) old.className = fresh.className;
      return;
    }
    if (old.dataset.mark === fresh.dataset.mark) waiting.delete(old);
    else if (busy(old)) waiting.set(old, fresh);
    else { waiting.delete(old); swap(old, fresh); }
  };
  const arrange = (list, wanted) => {
    const known = new Map(parts(list).map((each) => [nameOf(each), each]));
    let before = null; // the part that the next one stands after
    parts(wanted).forEach((fresh) => {
      const name = nameOf(fresh);
      const old = known.get(name);
      known.delete(name);
      if (old) settle(old, fresh);
      else {
        list.insertBefore(fresh, before ? before.nextSibling : parts(list)[0] || null);
        if (window.htmx) window.htmx.process(fresh);
      }
      const now = parts(list).find((each) => nameOf(each) === name);
      const place = before ? before.nextElementSibling : parts(list)[0];
      if (place !== now && !busy(now)) list.insertBefore(now, place);
      before = now;
    });
    known.forEach((gone) => { if (!busy(gone)) leave(gone); });
  };
  const take = (text) => {
    const fresh = new DOMParser().parseFromString(text, "text/html").querySelector("[data-live]");
    const here = root();
    if (!fresh || !here) return;
    // From the outside in: a list that is put in whole brings its own lists along.
    const lists = [fresh, ...fresh.querySelectorAll("[data-parts]")].filter((each) => each.dataset.parts);
    const pairs = lists.map((each) => [each.dataset.parts, each]);
    pairs.forEach(([name, wanted]) => {
      if (wanted.isConnected && here.contains(wanted)) return;
      const list = here.dataset.parts === name ? here : here.querySelector(`[data-parts="${CSS.escape(name)}"]`);
      if (list) arrange(list, wanted);
    });
    if (here.className !== fresh.className) here.className = fresh.className;
    mark = fresh.dataset.markOfPage;
    const say = fresh.dataset.say || "";
    if (say !== said) {
      said = say;
      const place = document.getElementById("live-said");
      if (place) place.textContent = say;
    }
    document.dispatchEvent(new CustomEvent("live:fresh"));
  };
  const settleWaiting = () => [...waiting].forEach(([old, fresh]) => {
    if (!old.isConnected) waiting.delete(old);
    else if (!busy(old)) { waiting.delete(old); swap(old, fresh); }
  });

  // ------------------------------------------------------------------------------------------------------- asking
  const tell = (text) => {
    let place = document.getElementById("live-trouble");
    if (!place && !text) return;
    if (!place) {
      place = document.createElement("p");
      place.id = "live-trouble";
      place.className = "warn";
      place.setAttribute("role", "status");
      root().before(place);
    }
    place.textContent = text;
    place.hidden = !text;
  };
  async function ask() {
    clearTimeout(timer);
    if (asking || document.visibilityState !== "visible") return;
    asking = true;
    let next = every();
    try {
      const answer = await fetch(root().dataset.live, {
        headers: { "HX-Request": "true", "If-None-Match": mark }, cache: "no-store", credentials: "same-origin",
      });
      if (answer.status === 200) take(await answer.text());
      else if (answer.status === 401) {
        tell("You are signed out: this page is no longer up to date. Sign in and load it again.");
        document.dispatchEvent(new Event("live:signed-out"));
        return;
      } else if (answer.status === 423) document.dispatchEvent(new Event("lock:refused")); // locked elsewhere: covered here
      else if (answer.status === 403 || answer.status === 404) return;
      else if (answer.status !== 304) throw new Error(String(answer.status));
      lost = 0;
      tell("");
    } catch {
      lost = lost || Date.now();
      tell(`Not up to date: the workshop's server has not answered since ${window.shopTime.clock(lost)}. It is asked again.`);
      next = SLOW;
    } finally {
      asking = false;
    }
    settleWaiting();
    later(next);
  }
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") ask();
    else clearTimeout(timer);
  });
  document.addEventListener("focusout", () => setTimeout(settleWaiting, 300));
  // Back from another page, the browser may show this one as it was left.
  window.addEventListener("pageshow", (event) => { if (event.persisted) ask(); });
  window.addEventListener("online", ask);
  document.addEventListener("lock:unlocked", ask);
  later(every());
})();
