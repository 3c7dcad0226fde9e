// The plan that a run goes on by where no answer comes (data-plan, see jobs/run_plan.py): which fasteners are still to
// do in the order of work, what is to be set there, and what the server would refuse or remark. Nothing is judged here.
// Loaded first of three: run-kept-shown.js draws what is kept, run-kept.js records and sends.
(() => {
  if (!window.outbox) return;
  const work = () => document.getElementById("work");
  const form = () => document.querySelector("form[data-torque]");
  const page = () => work().dataset.page;
  const many = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;
  // What changes while somebody works; the other two files read and write it.
  const now = {
    lost: navigator.onLine === false,
    awaited: "", // the key that somebody waits for
    editing: null, // a kept reading that is being changed
    doings: 0, // counts whatever somebody does in the form
  };

  const element = (tag, className, ...children) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    made.append(...children);
    return made;
  };
  const speak = (text) => { document.getElementById("run-said").textContent = text; };
  const complain = (text) => {
    const place = document.querySelector("[data-unsent]");
    if (place) { place.textContent = text; place.hidden = !text; }
  };

  // ---------------------------------------------------------------------------------------------- what is to do here
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
    now.doings += 1;
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
    const critical = said && said.querySelector(".flag");
    if (said) said.replaceChildren(element("strong", "", `Stage ${stages.indexOf(stage) + 1} of ${stages.length}`), ` ${name} `, critical || "");
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

  // --------------------------------------------------------------------------------- what the server would say of it
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

  window.runPlan = { work, form, page, many, now, element, speak, complain, plan, gone, isCopy,
    rememberSent, field, placeOf, isOurs, words, HERE, next, select, number, unitRow, targetOf, waitOf,
    waitsAt, goTo, outside, wrongWith };
})();
