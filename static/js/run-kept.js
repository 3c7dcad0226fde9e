// Readings that are kept on this tablet until the server has them. Record writes the reading to the outbox first, then
// sends it. With an answer nothing looks different. Without one the reading is kept here: drawn hollow, counted, never
// called recorded and never judged; the form goes on to the next fastener of the work area's plan (data-plan, see
// jobs/run_plan.py), and when all was sent the work area is loaded anew and says the verdicts.
(() => {
  const box = window.outbox;
  if (!box) return;
  const PATIENCE = 4000; // somebody stands there with a wrench
  const work = () => document.getElementById("work");
  const form = () => document.querySelector("form[data-torque]");
  const page = () => work().dataset.page;
  const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });
  const clock = (ms) => new Date(ms).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  const many = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;
  let lost = navigator.onLine === false;
  let awaited = ""; // the key that somebody waits for
  let editing = null; // a kept reading that is being changed
  let doings = 0; // counts whatever somebody does in the form

  const element = (tag, className, ...children) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    made.append(...children);
    return made;
  };
  const button = (text, act, className = "btn") => {
    const made = element("button", className, text);
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  };
  const speak = (text) => { document.getElementById("run-said").textContent = text; };
  const complain = (text) => {
    const place = document.querySelector("[data-unsent]");
    if (place) { place.textContent = text; place.hidden = !text; }
  };

  // ---------------------------------------------------------------------------------------------- what is kept here
  const plan = () => {
    if (!work().dataset.plan) return null;
    const found = JSON.parse(work().dataset.plan);
    // Since the area came, or the copy that it is, some may have been sent from here.
    const since = new Set([...gone, ...(isCopy() ? sentSince() : [])]);
    found.places = found.places.filter(([stage, fastener]) => !since.has(`${stage} ${fastener}`));
    return found;
  };
  const gone = new Set(); // "stage fastener" of what was sent since the work area came
  const copied = document.querySelector('meta[name="copy-made"]');
  const isCopy = () => copied && !("fresh" in work().dataset);
  const SENT = "run sent ";
  const sentRows = () => { try { return JSON.parse(localStorage.getItem(SENT + page())) || []; } catch { return []; } };
  const rememberSent = ({ fields }) => {
    const at = placeOf(fields);
    gone.add(`${at.stage} ${at.fastener}`);
    try {
      localStorage.setItem(SENT + page(), JSON.stringify([...sentRows(), [at.stage, at.fastener, Date.now()]].slice(-400)));
    } catch { /* full or shut off: the copy is taken as it is */ }
  };
  const sentSince = () => new Set(sentRows().filter((row) => row[2] > Date.parse(copied.content))
    .map(([stage, fastener]) => `${stage} ${fastener}`));

  const field = (fields, name) => (fields.find(([each]) => each === name) || ["", ""])[1];
  const placeOf = (fields) => ({ stage: Number(field(fields, "stage")), fastener: Number(field(fields, "fastener")) });
  const isOurs = (item) => work() && item.page && new URL(item.page, location.href).pathname === page();
  const words = (item) => (item.said || []).map(([, text]) => text)[0] || "";
  // Readings of this run that wait, in their order; those that put a recorded one right have no place of their own.
  const kept = async () => (await box.list().catch(() => [])).filter((item) => isOurs(item) && item.state === "waiting" && item.key !== awaited);
  const placed = (items) => new Map(items.filter(({ fields }) => field(fields, "stage"))
    .map((item) => [Object.values(placeOf(item.fields)).join(" "), item]));

  // ------------------------------------------------------------------------------------------------ going on by itself
  const HERE = () => Number(form().elements.stage.value);
  const next = (at, items) => at && at.places.find(([stage, fastener]) => !items.has(`${stage} ${fastener}`));
  const ordinal = (n) => `${n}${[11, 12, 13].includes(n % 100) ? "th" : ["th", "st", "nd", "rd"][n % 10] || "th"}`;
  const select = () => form().querySelector("[data-unit]");
  const number = () => form().elements.reading_value;
  const unitRow = (target) => target && target.units.find(([code]) => !select() || code === select().value);
  const targetOf = (at, stage, fastener) => {
    const row = at.places.find((each) => each[0] === stage && each[1] === fastener);
    return row ? row[2] : 0;
  };
  // What the server would refuse now, in words: somebody decides about it, or another pair of eyes comes first.
  const waitOf = (at, stage, fastener) => {
    const row = ((at && at.waits) || []).find(([of, fasteners]) => of === stage && fasteners.includes(fastener));
    return row ? `${row[2]}: that needs the network.` : "";
  };
  const waitsAt = (at, stage) => ((at && at.waits) || []).filter(([of]) => !stage || of === stage).map((row) => `${row[2]}: that needs the network.`);
  // The form at another place of the step, with its target; what was typed for the last one stays where that is usual.
  const goTo = (at, [stage, fastener, key, why], given = {}) => {
    doings += 1;
    const into = form();
    const before = targetOf(at, HERE(), Number(into.elements.fastener.value));
    const target = at.targets[key];
    into.hidden = false;
    document.querySelectorAll(".kept-panel").forEach((each) => each.remove());
    into.elements.stage.value = stage;
    into.elements.fastener.value = fastener;
    ["made_at_time", "made_at_day"].forEach((name) => { if (into.elements[name]) into.elements[name].value = ""; });
    if (into.elements.redo_reason) into.elements.redo_reason.value = given.redo_reason || why || "";
    const asks = work().querySelector(".place .why");
    if (asks) asks.hidden = !(given.redo_reason || why);
    if (into.elements.running_torque_value) into.elements.running_torque_value.value = "";
    if (target && select()) {
      [...select().options].forEach((option) => {
        const row = target.units.find(([code]) => code === option.value);
        if (!row) return;
        const [, figure, limits, set, setting] = row;
        Object.assign(option.dataset, { figure, limits, setting, set: at.sets ? set : "" });
      });
      if (given.reading_unit) select().value = given.reading_unit;
      const [, figure, limits, set, setting] = unitRow(target) || [];
      const show = (name, text) => {
        const place = document.querySelector(`[data-target-${name}]`);
        if (place && text) place.textContent = text;
      };
      show("figure", figure);
      show("limits", limits);
      show("setting", setting);
      if (!at.sets) number().value = "";
      else if (key !== before) number().value = set || "";
    }
    if (given.reading_value !== undefined && number()) number().value = given.reading_value;
    if (given.kind) into.querySelectorAll(`[name="kind"][value="${given.kind}"]`).forEach((each) => { each.checked = true; });
    delete into.dataset.typing;
    complain("");
    const turn = document.querySelector(".place .turn-words");
    if (turn) turn.textContent = `${ordinal(at.sequence.indexOf(fastener) + 1)} of ${at.sequence.length}`;
    const stages = Object.keys(at.stages).map(Number); // keys rise with the stages' order
    const { name } = at.stages[stage];
    const said = document.querySelector(".place .stage-words");
    if (said) said.replaceChildren(element("strong", "", `Stage ${stages.indexOf(stage) + 1} of ${stages.length}`), ` ${name}`);
    const place = document.getElementById("place");
    place.setAttribute("aria-label", `${name}, fastener ${fastener}, ${turn ? turn.textContent : ""}`);
    ring(fastener);
    work().dataset.stage = stage;
    work().querySelectorAll(".strip .stage").forEach((each) => {
      const here = Number(each.dataset.stage) === stage;
      each.classList.toggle("here", here);
      const link = each.querySelector("a");
      if (here) link.setAttribute("aria-current", "true"); else link.removeAttribute("aria-current");
    });
    document.dispatchEvent(new CustomEvent("run:place"));
  };
  // The ring of the fastener that is next goes along in the drawing.
  const ring = (fastener) => {
    const drawn = document.querySelector("#work [data-pattern]");
    const to = drawn && drawn.querySelector(`[data-fastener="${fastener}"]`);
    const from = drawn && drawn.querySelector(".fastener.next");
    if (!to || !from || from.contains(to)) return;
    const target = to.closest(".fastener");
    const size = (group) => group.getAttribute("transform").match(/scale\(([^)]*)\)/)[1];
    const [large, small] = [size(from), size(target)];
    const scale = (group, by) => group.setAttribute("transform", group.getAttribute("transform").replace(/scale\([^)]*\)/, `scale(${by})`));
    scale(from, small);
    scale(target, large);
    to.querySelector(".touch").after(from.querySelector(".ring"));
    from.classList.remove("next");
    target.classList.add("next");
    // The place in the sequence stands outside the ring, as the server draws it.
    [[from, from.classList.contains("flag") ? "8.4" : "7.6", "10"], [target, "10.6", "14"]].forEach(([each, x, y]) => {
      const turn = each.querySelector(".turn");
      if (turn) { turn.setAttribute("x", x); turn.setAttribute("y", y); }
    });
    drawn.append(target); // over the others
  };

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
    const no = button("Leave it", () => { into.replaceChildren(); offer(into, item); into.querySelector("button").focus(); });
    into.replaceChildren(element("p", "kept-ask", honest), button("Throw it away", () => takeBack(item), "btn hand"), no);
    no.focus();
  };
  const change = (item) => {
    const at = plan();
    const key = Object.values(placeOf(item.fields)).join(" ");
    const row = at && at.places.find(([stage, fastener]) => `${stage} ${fastener}` === key);
    if (!row || !form()) return;
    goTo(at, row, Object.fromEntries(item.fields));
    editing = item;
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
  // A plain comparison with the limits that stand on this page; a verdict, with the tool's deviation, is the server's.
  const outside = (fields) => {
    const at = plan();
    const { stage, fastener } = placeOf(fields);
    const text = field(fields, "reading_value").trim();
    const value = Number(text.replace(",", "."));
    const code = field(fields, "reading_unit");
    if (!at || !value || field(fields, "kind") === "not_done") return "";
    const chosen = select() && [...select().options].find((option) => option.value === code);
    const unit = chosen ? chosen.textContent : "";
    const target = at.targets[targetOf(at, stage, fastener)];
    const row = target && target.units.find(([each]) => each === code);
    const [low, high, range] = (at.range || {})[code] || [];
    const said = [];
    // Through an extension, or with a running torque added, it is not this number that the limits are for.
    if (row && !field(fields, "extension_length_value").trim() && !field(fields, "running_torque_value").trim()) {
      const [, , , , , least, most] = row;
      if (most && value > Number(most)) said.push(`${text} ${unit} is above the upper limit shown here (${most} ${unit}).`);
      if (least && value < Number(least)) said.push(`${text} ${unit} is below the lower limit shown here (${least} ${unit}).`);
    }
    if (range && (value < Number(low) || value > Number(high))) said.push(`${text} ${unit} is outside the working range of ${at.tool} (${range}).`);
    return said.length ? `${said.join(" ")} Judged when it is sent: look at this joint before you go on.` : "";
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
    if (!lost || !form() || !number()) return;
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

  // ------------------------------------------------------------------------------------------------------ recording
  const thingOf = (from, key, pressed) => {
    // What an offered button says ("It was 81 lbf·ft") stands in place of what the field says.
    const other = pressed && pressed.name ? pressed.name : "";
    const fields = [...new FormData(from)].filter(([name]) => name !== "key" && name !== other);
    if (other) fields.push([other, pressed.value]);
    const { fastener } = placeOf(fields);
    const chosen = select() && [...select().options].find((option) => option.value === field(fields, "reading_unit"));
    const unit = chosen ? chosen.textContent : "";
    const kind = from.querySelector(".kinds :checked + span > strong, .one-kind");
    const did = kind ? kind.firstChild.textContent.trim().toLowerCase() : "";
    const reading = [field(fields, "reading_value") && `${field(fields, "reading_value")} ${unit}`, did].filter(Boolean).join(" ");
    const at = plan();
    const stage = at && at.stages[field(fields, "stage")] ? at.stages[field(fields, "stage")].name : "";
    const title = document.querySelector("h1").textContent.trim();
    return {
      key, fields: [["key", key], ...fields], what: from.dataset.queue, url: from.getAttribute("hx-post"), page: page(),
      label: [title, stage, `fastener ${fastener}`].filter(Boolean).join(", "),
      said: [["Reading", reading], ["Fastener", String(fastener)], ["Stage", stage]],
    };
  };
  // Looked at only where no server answers: it would be refused later, when the hand is elsewhere.
  // `odd`: also what is far from its target. Asked only before it was sent: else the server may have taken it by now.
  const wrongWith = (thing, from, odd) => {
    const text = field(thing.fields, "reading_value").trim();
    const { fastener } = placeOf(thing.fields);
    const count = Number(from.elements.fastener.max);
    if (!(fastener >= 1 && fastener <= count)) return `This step has fasteners 1 to ${count}.`;
    const waits = waitOf(plan(), placeOf(thing.fields).stage, fastener);
    if (waits) return waits;
    if (!from.elements.reading_value || field(thing.fields, "kind") === "not_done") return "";
    if (!text) return "Give the number first.";
    if (!/^\d+([.,]\d+)?$/.test(text) || !Number(text.replace(",", "."))) return `“${text}” is not a number above 0.`;
    const set = select() && Number(select().selectedOptions[0].dataset.figure);
    const value = Number(text.replace(",", "."));
    if (odd && set && (value < set / 2 || value > set * 2) && from.dataset.asked !== text) {
      from.dataset.asked = text;
      return `${text} ${select().selectedOptions[0].textContent} is far from the target ${set}. Tap again to keep it as it is typed.`;
    }
    return "";
  };
  // submit.js shuts the button just after the tap: what is answered at once waits for that.
  const correctionKept = (from) => {
    from.hidden = true;
    const back = element("a", "btn hand record", "Back to the run");
    back.href = `${page()}#work`;
    from.after(element("section", "aside-panel kept-panel", element("h2", "", "The correction is kept on this tablet"),
      element("p", "", "What stands on record is as it was until it is sent."), back));
  };
  const settled = (from) => setTimeout(() => from.dispatchEvent(new CustomEvent("outbox:settled", { bubbles: true })), 1);
  const putting = async (thing) => {
    if (!editing) { await box.put(thing); return; }
    // It keeps its time, its key and its turn: what comes after it in the order of work is put after it again.
    const old = editing;
    const all = await box.list();
    await box.put({ ...thing, made: old.made });
    for (const item of all.filter((each) => each.n > old.n && each.state === "waiting" && isOurs(each))) await box.put(item);
    editing = null;
  };
  const record = async (from, pressed) => {
    const thing = thingOf(from, editing ? editing.key : box.newKey(), pressed);
    if (gone.has(Object.values(placeOf(thing.fields)).join(" ")) && !editing) { // the form has not moved on yet
      settled(from);
      await tellSent();
      return;
    }
    const wrong = lost ? wrongWith(thing, from, true) : "";
    if (wrong) { settled(from); complain(`Not kept: ${wrong}`); return; }
    awaited = thing.key;
    doings += 1;
    // It lies in the outbox for as long as an answer takes: said only where none comes.
    document.documentElement.classList.toggle("just-sending", !box.counts.waiting);
    forgetTyped();
    try {
      await putting(thing);
    } catch (error) {
      awaited = "";
      document.documentElement.classList.remove("just-sending");
      complain(`It is sent, but it can't be kept here: ${error.message}`);
      window.htmx.ajax("POST", from.getAttribute("hx-post"), { source: from, target: "#work", swap: "outerHTML" }).finally(() => settled(from));
      return;
    }
    const patience = pause(lost ? PATIENCE / 4 : PATIENCE);
    const result = await Promise.race([box.send(thing.key, { part: true }), patience.then(() => ({ state: "waiting" }))]);
    awaited = "";
    document.documentElement.classList.remove("just-sending");
    if (result.state === "saved") {
      lost = false;
      rememberSent(thing);
      if (result.html) {
        gone.clear();
        swapIn(result.html, "saved");
      } else if (!(await refresh(true))) { // on record, and the area did not come: the form goes on by itself
        settled(from);
        sent.add(thing.key);
        later();
        if (from.isConnected) await onwards((await paint()).map);
      }
    } else if (result.state === "refused") {
      lost = false;
      const fresh = result.html && partOf(result.html);
      settled(from);
      if (fresh) {
        await box.remove(thing.key);
        swapIn(result.html, "refused");
      } else complain(`Refused: ${(result.reasons || []).join(" ") || "the server gives no reason."} It is kept under “refused” with what you typed.`);
    } else {
      lost = true;
      settled(from);
      if (!from.isConnected) return;
      const now = wrongWith(thing, from);
      if (now) {
        await box.remove(thing.key);
        complain(`Not kept: ${now}`);
        return;
      }
      const { items, map } = await paint();
      const item = items.find((each) => each.key === thing.key) || thing;
      if (!from.isConnected) return; // it was sent meanwhile, and the area is new
      if (field(thing.fields, "stage")) {
        await onwards(map);
        notAgain(thing);
      }
      else correctionKept(from);
      tellLast(keptWords(item), item);
      delete from.dataset.asked;
      const place = document.getElementById("place");
      place.focus({ preventScroll: true });
      document.dispatchEvent(new CustomEvent("run:place"));
    }
  };
  // Before htmx sees it, after submit.js has shut the button.
  document.addEventListener("submit", (event) => {
    const from = event.target;
    if (!from.matches("form[data-torque][data-queue-own]") || !box.me.person) return;
    if (event.submitter && event.submitter.name === "op") { // it only changes the form, and works out another number
      forgetTyped();
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    if (awaited) return;
    record(from, event.submitter).catch((error) => { awaited = ""; settled(from); complain(`Not recorded yet: ${error.message}. What you typed is still here: press Record again.`); });
  }, true);

  // ---------------------------------------------------------------------------------------------- the work area anew
  const partOf = (html) => new DOMParser().parseFromString(html, "text/html").getElementById("work");
  const swapIn = (html, how) => {
    const fresh = partOf(html);
    if (!fresh) { location.reload(); return; }
    fresh.dataset.fresh = "";
    work().replaceWith(document.adoptNode(fresh));
    window.htmx.process(work());
    putBackTyped(); // at once: a tap that comes now must not meet another number
    document.dispatchEvent(new CustomEvent("run:swapped", { detail: how }));
    begun(how === "saved");
  };
  const refresh = async (asked, anew) => {
    const then = doings;
    const known = [...gone]; // what is sent from here on may come too late for this answer
    // Nobody asked for it: the form stays at the fastener where the hand is.
    let address = page();
    const at = !asked && !anew && plan();
    const here = at && form() && at.places.find(([stage, fastener]) => stage === HERE() && fastener === Number(form().elements.fastener.value)
      && !gone.has(`${stage} ${fastener}`));
    if (here) address += `?${new URLSearchParams({ step: at.step, stage: here[0], fastener: here[1], set: here[2] })}#work`;
    const answer = await fetch(address, { headers: { "HX-Request": "true", "HX-Target": "work" }, credentials: "same-origin", cache: "no-store" }).catch(() => null);
    if (!answer || !answer.ok || answer.headers.get("X-Copy-Made")) return false;
    const html = await answer.text().catch(() => "");
    if (!html || (!asked && (awaited || doings !== then))) return false; // somebody went on in the form that stands here
    known.forEach((each) => gone.delete(each));
    swapIn(html, asked ? "saved" : "sent");
    return true;
  };
  const sent = new Set();
  const refused = new Map();
  let soon = 0;
  let typedAt = 0;
  const verdicts = () => {
    const rows = [...document.querySelectorAll("#recorded tr[data-key]")].filter((row) => sent.has(row.dataset.key));
    const bad = rows.filter((row) => !["within", "recorded"].includes(row.dataset.verdict))
      .map((row) => `fastener ${row.dataset.reading} ${row.dataset.verdict}`);
    return `${many(sent.size, "reading")} ${sent.size === 1 ? "was" : "were"} sent: ${bad.length ? bad.join(", ") : "all within"}.`;
  };
  const tellSent = async () => {
    if (Date.now() - typedAt < 5000 && form() && form().dataset.typing) { soon = setTimeout(tellSent, 500); return; }
    if (awaited || (box.counts.waiting && (await kept()).length && !lost)) { soon = setTimeout(tellSent, 400); return; }
    if (!work() || !sent.size && !refused.size) return;
    const busy = !["enter", "tool", "set", "start"].includes(work().dataset.mode) || editing;
    if (sent.size && !busy && !(await refresh())) { soon = setTimeout(tellSent, 2000); return; }
    if (awaited) { soon = setTimeout(tellSent, 400); return; }
    const said = [];
    const note = element("div", refused.size ? "warn sent-note" : "note sent-note");
    if (sent.size) {
      said.push(busy ? `${many(sent.size, "reading")} that ${sent.size === 1 ? "was" : "were"} kept here ${sent.size === 1 ? "is" : "are"} on record now.` : verdicts());
    }
    refused.forEach(({ item, reasons }) => said.push(`Refused: fastener ${placeOf(item.fields).fastener}, ${words(item)}. ${reasons.join(" ")}`));
    said.forEach((text) => note.append(element("p", "", text)));
    if (refused.size) {
      const link = element("a", "btn", "See what was refused");
      link.href = "/tablet/waiting/";
      note.append(link);
    } else if (busy) {
      const link = element("a", "btn", "Show the run as it is now");
      link.href = `${page()}#work`;
      note.append(link);
    }
    sent.clear();
    refused.clear();
    work().querySelectorAll(".sent-note").forEach((each) => each.remove());
    work().querySelector(".run").before(note);
    speak(said.join(" "));
    paint();
  };
  const later = () => { clearTimeout(soon); soon = setTimeout(tellSent, 300); };
  document.addEventListener("outbox:saved", ({ detail: { key, item } }) => {
    if (key === awaited || !item || !isOurs(item)) return;
    lost = false;
    rememberSent(item);
    sent.add(key);
    later();
  });
  document.addEventListener("outbox:refused", ({ detail: { key, item, reasons } }) => {
    if (key === awaited || !item || !isOurs(item)) return;
    lost = false;
    refused.set(key, { item, reasons });
    later();
  });
  window.addEventListener("offline", () => { lost = true; });

  // Without the network a tap on the drawing is answered here: its link would lead nowhere.
  document.addEventListener("click", async (event) => {
    const link = event.target.closest("#work [data-pattern] [data-fastener]");
    if (!link || !(lost || link.closest(".kept-here"))) return;
    const at = plan();
    if (!at || !form()) return;
    event.preventDefault();
    const fastener = Number(link.dataset.fastener);
    const { map } = await paint();
    const mine = map.get(`${HERE()} ${fastener}`);
    if (mine) {
      const row = document.querySelector(`[data-kept-key="${mine.key}"]`);
      row.scrollIntoView({ block: "center" });
      row.focus({ preventScroll: true });
      return;
    }
    const to = at.places.find((each) => each[0] === HERE() && each[1] === fastener);
    const waits = waitOf(at, HERE(), fastener);
    if (to) { goTo(at, to); complain(""); } else if (waits) complain(waits); else complain(`Fastener ${fastener} is on record. Without the network only what is kept on this tablet can be changed.`);
  }, true);

  // -------------------------------------------------------- a number that was typed and not sent survives lock and reload
  const TYPED = "typed reading";
  const where = () => (form() ? [box.me.person, page(), form().elements.stage ? form().elements.stage.value : "", form().elements.fastener.value].join(" ") : "");
  const forgetTyped = () => { try { sessionStorage.removeItem(TYPED); } catch { /* shut off */ } };
  document.addEventListener("run:typed", () => {
    typedAt = Date.now();
    doings += 1;
    warnTyped();
    if (!form() || !number()) return;
    const kind = form().querySelector('[name="kind"]:checked');
    try {
      sessionStorage.setItem(TYPED, JSON.stringify({ where: where(), value: number().value, unit: select() && select().value, kind: kind && kind.value }));
    } catch { /* shut off */ }
  });
  const putBackTyped = () => {
    let typed = null;
    try { typed = JSON.parse(sessionStorage.getItem(TYPED)); } catch { return; }
    if (!typed || !number() || typed.where !== where() || document.getElementById("form-errors")) return;
    form().dataset.typing = "1"; // first: a set value that nobody has touched goes with its unit
    number().value = typed.value;
    if (select() && typed.unit) { select().value = typed.unit; select().dispatchEvent(new Event("change", { bubbles: true })); }
    if (typed.kind) form().querySelectorAll(`[name="kind"][value="${typed.kind}"]`).forEach((each) => { each.checked = true; });
    document.dispatchEvent(new CustomEvent("run:place"));
  };

  // Saved since this page was asked for: what it shows may be from before that, and no event came to this script.
  let looked = false;
  const savedMeanwhile = async () => {
    if (looked) return false;
    looked = true;
    const rows = await box.done().catch(() => []);
    return rows.some(({ url, at }) => url && url.startsWith(page()) && at > performance.timeOrigin);
  };
  async function begun(answered) {
    if (!work()) return;
    editing = null;
    const { items, map } = await paint();
    if (!answered && (await savedMeanwhile()) && (await refresh(false, true))) return;
    const at = plan();
    const last = items[items.length - 1];
    if (at && form() && work().dataset.mode === "enter" && !answered) {
      const mine = `${HERE()} ${form().elements.fastener.value}`;
      if (map.has(mine) || gone.has(mine) || !at.places.some((each) => `${each[0]} ${each[1]}` === mine) && isCopy()) await onwards(map);
      if (last && field(last.fields, "stage")) tellLast(keptWords(last), last);
    }
    putBackTyped();
    if (work()) work().dataset.looked = ""; // what lies here is drawn
  }
  document.addEventListener("htmx:afterSwap", () => { gone.clear(); begun(true); });
  // Until it is known what lies here, the form may stand at a fastener that is kept already.
  if (form() && box.me.person) {
    const shut = form();
    const open = () => { shut.inert = false; };
    shut.inert = true;
    setTimeout(open, 1500);
    begun(false).finally(open);
  } else begun(false);
})();
