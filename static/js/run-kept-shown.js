// What is kept of a run on this tablet, shown: drawn hollow, counted, listed, put right before it was sent, and what is
// said when a stage is through. Never called recorded and never judged. Loaded between run-plan.js and run-kept.js.
(() => {
  const box = window.outbox;
  if (!box) return;
  const { work, form, many, now, element, speak, complain, plan, field, placeOf, isOurs,
    words, HERE, next, number, unitRow, targetOf, waitsAt, goTo, outside } = window.runPlan;
  const { clock } = window.shopTime;
  const button = (text, act, className = "btn") => {
    const made = element("button", className, text);
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  };

  // Readings of this run that wait, in their order; those that put a recorded one right have no place of their own.
  const kept = async () => (await box.list().catch(() => [])).filter((item) => isOurs(item) && item.state === "waiting" && item.key !== now.awaited);
  const placed = (items) => new Map(items.filter(({ fields }) => field(fields, "stage"))
    .map((item) => [Object.values(placeOf(item.fields)).join(" "), item]));

  // -------------------------------------------------------------------------------------------------------- drawing
  const SVG = "http://www.w3.org/2000/svg";
  const svg = (tag, attributes, text = "") => {
    const made = document.createElementNS(SVG, tag);
    Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
    made.textContent = text;
    return made;
  };
  const markIn = (drawn, fastener, item) => {
    const link = drawn.querySelector(`[data-fastener="${fastener}"]`);
    if (!link) return;
    link.closest(".fastener").classList.add("kept-here");
    link.append(svg("path", { class: "kept-mark", d: "M3.4-3.4 10.8-10.8", "stroke-dasharray": "2 1.4", stroke: "currentColor", "stroke-width": "1.6", fill: "none" }),
      svg("text", { class: "kept-word", x: "-1", y: "14", "text-anchor": "middle", "font-size": "5", "aria-hidden": "true" }, "kept"));
    link.setAttribute("aria-label", `${fastener}: ${words(item)}, kept on this tablet`);
  };
  const hollow = () => {
    const mark = svg("svg", { viewBox: "0 0 52 28", class: "kept-sign", "aria-hidden": "true", fill: "none", stroke: "currentColor" });
    mark.append(svg("path", { d: "M17 4v20M35 4v20", "stroke-width": "1.5" }),
      svg("path", { d: "M18.6 21.2 30.6 3.6l3 2-12 17.6z", "stroke-width": "1.6", "stroke-dasharray": "3 2" }));
    return mark;
  };
  const listOf = (items) => {
    const rows = items.map((item) => {
      const { fastener } = placeOf(item.fields);
      const actions = element("div", "actions");
      offer(actions, item);
      const what = element("div", "", element("strong", "", `Fastener ${fastener}`), ` ${words(item)} `,
        element("span", "meta", `${field(item.said || [], "Stage")} · ${clock(item.made)}${item.tries ? " · tried, no answer" : " · not sent yet"}`));
      const far = outside(item.fields);
      if (far) what.append(element("p", "outside", outsideMark(), far));
      const row = element("li", "row", what, actions);
      row.dataset.keptKey = item.key;
      row.tabIndex = -1;
      return row;
    });
    const title = element("h2", "", `Kept on this tablet: ${many(items.length, "reading")}`);
    title.id = "kept-title";
    const all = element("a", "", "All that waits");
    all.href = "/tablet/waiting/";
    const list = element("ul", "rows", ...rows);
    const drawn = element("section", "panel plain kept-here", element("header", "", title, all),
      element("p", "meta", "They are sent by themselves, in their order, when the server answers, and judged then."), list);
    drawn.id = "kept-list";
    drawn.setAttribute("aria-labelledby", "kept-title");
    return drawn;
  };
  // One wipe, then all anew from the outbox: whatever happened, what is drawn is what lies here.
  const paint = async () => {
    const items = await kept();
    if (!work()) return { items, map: new Map() };
    const map = placed(items);
    work().querySelectorAll("#kept-list, .kept-mark, .kept-word, .kept-count").forEach((each) => each.remove());
    work().querySelectorAll(".fastener.kept-here").forEach((each) => each.classList.remove("kept-here"));
    const stage = Number(work().dataset.stage);
    const drawn = work().querySelector("[data-pattern]");
    const counted = {};
    map.forEach((item, key) => {
      const [of, fastener] = key.split(" ");
      counted[of] = (counted[of] || 0) + 1;
      if (drawn && Number(of) === stage) markIn(drawn, fastener, item);
    });
    Object.entries(counted).forEach(([of, count]) => {
      const link = work().querySelector(`.stage[data-stage="${of}"] a`);
      if (link) link.append(element("span", "kept-count", `+${count} kept`));
    });
    const at = plan();
    if (at && drawn) {
      // At another stage than the one that was drawn, what was done there is still to do here.
      const todo = new Set(at.places.filter((each) => each[0] === stage).map((each) => String(each[1])));
      drawn.classList.toggle("other-stage", stage !== Number(drawn.dataset.drawnFor || (drawn.dataset.drawnFor = stage)));
      drawn.querySelectorAll("[data-fastener]").forEach((each) => {
        each.closest(".fastener").classList.toggle("still-to-do", todo.has(each.dataset.fastener));
      });
    }
    if (items.length) {
      const record = document.getElementById("recorded");
      if (record) record.before(listOf(items)); else work().append(listOf(items));
    }
    return { items, map };
  };

  // --------------------------------------------------------------------------------- put right before it was sent
  const takeBack = async (item) => {
    await box.remove(item.key);
    const { map } = await paint();
    const at = plan();
    const row = at && at.places.find(([stage, fastener]) => `${stage} ${fastener}` === Object.values(placeOf(item.fields)).join(" "));
    const { fastener } = placeOf(item.fields);
    tellLast(`Fastener ${fastener}: what was kept here is thrown away.`, null);
    if (form() && row) goTo(at, row); else onwards(map);
  };
  const ask = (into, item) => {
    const { fastener } = placeOf(item.fields);
    const honest = item.tries
      ? `Fastener ${fastener}, ${words(item)}: sending it was tried, and no answer came. If it arrived all the same, it stands on record there and is taken back there.`
      : `Fastener ${fastener}, ${words(item)}: it never reached the server. Thrown away, nothing of it stays.`;
    const no = button("Leave it", () => { into.replaceChildren(); offer(into, item); into.lastElementChild.focus(); }); // on "Take back", which asked
    into.replaceChildren(element("p", "kept-ask", honest), button("Throw it away", () => takeBack(item), "btn hand"), no);
    no.focus();
  };
  const change = (item) => {
    const at = plan();
    const key = Object.values(placeOf(item.fields)).join(" ");
    const row = at && at.places.find(([stage, fastener]) => `${stage} ${fastener}` === key);
    if (!row || !form()) return;
    goTo(at, row, Object.fromEntries(item.fields));
    now.editing = item;
    paint();
    complain(`You change what is kept here for fastener ${row[1]}: ${words(item)}. Record keeps the new one in its place.`);
    form().scrollIntoView({ block: "nearest" });
    if (number()) number().focus({ preventScroll: true });
  };
  const offer = (into, item) => {
    const { fastener } = placeOf(item.fields);
    const named = (made, text) => { made.setAttribute("aria-label", `${text} of fastener ${fastener}`); return made; };
    if (form() && field(item.fields, "stage")) into.append(named(button("Change", () => change(item)), "Change the kept reading"));
    into.append(named(button("Take back", () => ask(into, item)), "Take back the kept reading"));
  };
  // What was set outside the limits is not offered for the next one.
  const notAgain = (thing) => {
    const at = plan();
    if (!at || !form() || !number() || !outside(thing.fields)) return;
    const [, , , set] = unitRow(at.targets[targetOf(at, HERE(), Number(form().elements.fastener.value))]) || [];
    number().value = at.sets && set ? set : "";
    document.dispatchEvent(new CustomEvent("run:place"));
  };
  const outsideMark = () => {
    const mark = svg("svg", { viewBox: "0 0 24 24", class: "outside-mark", "aria-hidden": "true", fill: "none", stroke: "currentColor", "stroke-width": "2.2" });
    mark.append(svg("path", { d: "M12 2.5 21.5 12 12 21.5 2.5 12zM12 7v6M12 15.5v2" }));
    return mark;
  };
  // While it is typed, where no server would say it: in the place of the last verdict, once the hand rests.
  let resting = 0;
  const warnTyped = () => {
    clearTimeout(resting);
    const last = work() && work().querySelector(".last");
    if (!last) return;
    last.querySelectorAll(".outside.typed").forEach((each) => each.remove());
    if (!now.lost || !form() || !number()) return;
    resting = setTimeout(() => {
      const said = form() && number() ? outside([...new FormData(form())]) : "";
      if (!said || !last.isConnected || last.querySelector(".outside.typed")) return;
      last.prepend(element("p", "outside typed", outsideMark(), said));
      seen(last);
      speak(said);
    }, 600);
  };
  // On a telephone the bar with the button would cover it.
  const seen = (last) => document.dispatchEvent(new CustomEvent("run:said", { detail: last }));
  const tellLast = (text, item, title = "Kept on this tablet") => {
    const last = work().querySelector(".last");
    if (last) {
      last.removeAttribute("data-none");
      last.classList.toggle("kept-here", Boolean(item));
      last.replaceChildren();
      if (item) last.append(element("p", "verdict-words", hollow(), ` ${title}`));
      const far = item ? outside(item.fields) : "";
      last.append(element("p", far ? "outside" : "", ...(far ? [outsideMark()] : []), text));
      const at = plan();
      if (at && form() && item) waitsAt(at, HERE()).forEach((said) => last.append(element("p", "meta", said)));
      if (item) {
        const actions = element("p", "put-right");
        offer(actions, item);
        last.append(actions);
      }
      seen(last);
    }
    speak(text);
  };
  const keptWords = (item) => `Fastener ${placeOf(item.fields).fastener}: ${words(item)}, kept on this tablet. ${outside(item.fields) || "Judged when it is sent."}`;

  // The next place, or what there is to say when a stage is through.
  const onwards = async (map) => {
    const at = plan();
    if (!at || !form()) return;
    const to = next(at, map);
    const here = HERE();
    if (to && to[0] === here) { goTo(at, to); return; }
    form().hidden = true;
    document.querySelectorAll(".kept-panel").forEach((each) => each.remove());
    const open = at.places.some(([stage, fastener]) => stage === here && !map.has(`${stage} ${fastener}`));
    const waits = waitsAt(at, here).length > 0;
    const mine = [...map.keys()].filter((key) => Number(key.split(" ")[0]) === here).length;
    const panel = element("section", "aside-panel kept-panel");
    const name = at.stages[here].name;
    panel.append(element("h2", "", open ? `Next: ${at.stages[to[0]].name}` : waits ? `${name} waits` : `${name} is kept whole on this tablet`));
    if (!open && mine) panel.append(element("p", "", `${many(mine, "reading")} of it wait${mine === 1 ? "s" : ""} here. Judged when they are sent: nothing of it is on record yet.`));
    const open_ones = waitsAt(at, 0);
    open_ones.forEach((said) => panel.append(element("p", "waits-for", said)));
    if (!to && open_ones.length) panel.append(element("p", "", "Nothing else of this step can be kept here until then. Leave this tablet on: what is kept is sent by itself when the network is back."));
    else if (!to) panel.append(element("p", "", `That was the last of ${at.title}. Leave this tablet on: it sends them by itself when the network is back.`));
    else if (at.stages[to[0]].alike) {
      const target = unitRow(at.targets[to[2]]);
      const sets = at.sets && target && to[2] !== targetOf(at, here, Number(form().elements.fastener.value));
      if (sets) panel.append(element("p", "big", "Set the wrench to ", element("span", "nowrap", target[4])));
      panel.append(button(sets ? "It is set" : `Go on with ${at.stages[to[0]].name}`, () => {
        goTo(at, to);
        paint();
        document.getElementById("place").focus({ preventScroll: true });
      }, "btn hand record"));
    } else {
      const { url } = at.stages[to[0]];
      const there = window.caches && await Promise.resolve(caches.match(new URL(url, location.href).href)).catch(() => null);
      if (there) {
        const link = element("a", "btn hand record", `Go on with ${at.stages[to[0]].name}`);
        link.href = url;
        panel.append(link);
      } else panel.append(element("p", "", `${at.stages[to[0]].name} opens when the network is back: there is no copy of it on this tablet.`));
    }
    form().after(panel);
  };

  window.runShown = { kept, paint, notAgain, warnTyped, tellLast, keptWords, onwards };
})();
