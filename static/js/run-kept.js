// Readings that are kept on this tablet until the server has them. Record writes the reading to the outbox first, then
// sends it. With an answer nothing looks different. Without one the reading is kept here (run-kept-shown.js) and the form
// goes on to the next fastener (run-plan.js); when all was sent the work area is loaded anew and says the verdicts.
(() => {
  const box = window.outbox;
  if (!box) return;
  const { work, form, page, many, now, element, speak, complain, plan, gone, isCopy,
    rememberSent, field, placeOf, isOurs, words, HERE, select, number, waitOf, goTo,
    wrongWith } = window.runPlan;
  const { kept, paint, notAgain, warnTyped, tellLast, keptWords, onwards } = window.runShown;
  const PATIENCE = 4000; // somebody stands there with a wrench
  const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

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
    if (!now.editing) { await box.put(thing); return; }
    // It keeps its time, its key and its turn: what comes after it in the order of work is put after it again.
    const old = now.editing;
    const all = await box.list();
    await box.put({ ...thing, made: old.made });
    for (const item of all.filter((each) => each.n > old.n && each.state === "waiting" && isOurs(each))) await box.put(item);
    now.editing = null;
  };
  let going = false;
  let heard = {}; // what came of the key that somebody waits for
  const record = async (from, pressed) => {
    const thing = thingOf(from, now.editing ? now.editing.key : box.newKey(), pressed);
    if (gone.has(Object.values(placeOf(thing.fields)).join(" ")) && !now.editing) { // the form has not moved on yet
      settled(from);
      await tellSent();
      return;
    }
    const wrong = now.lost ? wrongWith(thing, from, true) : "";
    if (wrong) { settled(from); complain(`Not kept: ${wrong}`); return; }
    now.awaited = thing.key;
    now.doings += 1;
    // It lies in the outbox for as long as an answer takes: said only where none comes.
    document.documentElement.classList.toggle("just-sending", !box.counts.waiting);
    forgetTyped();
    try {
      await putting(thing);
    } catch (error) {
      now.awaited = "";
      document.documentElement.classList.remove("just-sending");
      complain(`It is sent, but it can't be kept here: ${error.message}`);
      window.htmx.ajax("POST", from.getAttribute("hx-post"), { source: from, target: "#work", swap: "outerHTML" }).finally(() => settled(from));
      return;
    }
    const patience = pause(now.lost ? PATIENCE / 4 : PATIENCE);
    const first = await Promise.race([box.send(thing.key, { part: true }), patience.then(() => ({ state: "waiting" }))]);
    // The answer may have come at the moment when patience ended: its event was left to this.
    const result = first.state === "waiting" && heard.key === thing.key ? heard : first;
    now.awaited = "";
    document.documentElement.classList.remove("just-sending");
    if (result.state === "saved") {
      now.lost = false;
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
      now.lost = false;
      const fresh = result.html && partOf(result.html);
      settled(from);
      if (fresh) {
        await box.remove(thing.key);
        swapIn(result.html, "refused");
      } else complain(`Refused: ${(result.reasons || []).join(" ") || "the server gives no reason."} It is kept under “refused” with what you typed.`);
    } else {
      now.lost = true;
      settled(from);
      if (!from.isConnected) return;
      const other = wrongWith(thing, from);
      if (other) {
        await box.remove(thing.key);
        complain(`Not kept: ${other}`);
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
      work().querySelectorAll(".sent-note:not(.warn)").forEach((each) => each.remove()); // "sent" is of those before
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
    if (now.awaited) return;
    if (going) { settled(from); return; } // kept already: the form is about to move on, and this would be a second one
    going = true;
    record(from, event.submitter).catch((error) => { now.awaited = ""; settled(from); complain(`Not recorded yet: ${error.message}. What you typed is still here: press Record again.`); })
      .finally(() => { going = false; });
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
  const fetched = async (address) => {
    // In place of a copy no other copy will do: without its target the service worker lets it pass, and waits.
    const headers = { "HX-Request": "true", ...(isCopy() ? {} : { "HX-Target": "work" }) };
    const answer = await fetch(address, { headers, credentials: "same-origin", cache: "no-store" }).catch(() => null);
    return answer && answer.ok && !answer.headers.get("X-Copy-Made") ? answer.text().catch(() => "") : "";
  };
  const refresh = async (asked, anew) => {
    const then = now.doings;
    const known = [...gone]; // what is sent from here on may come too late for this answer
    // Nobody asked for it: the form stays at the fastener where the hand is.
    const at = !asked && !anew && plan();
    const here = at && form() && at.places.find(([stage, fastener]) => stage === HERE() && fastener === Number(form().elements.fastener.value)
      && !gone.has(`${stage} ${fastener}`));
    const there = here && `${page()}?${new URLSearchParams({ step: at.step, stage: here[0], fastener: here[1], set: here[2] })}#work`;
    let html = await fetched(there || (anew && isCopy() ? location.pathname + location.search : page()));
    // Its reading came to the server on the way: what is next there, not a look at what was recorded.
    if (there && html && partOf(html)?.dataset.mode === "look") html = await fetched(page());
    if (!html || (!asked && (now.awaited || now.doings !== then))) return false; // somebody went on in the form that stands here
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
    if (now.awaited || (box.counts.waiting && (await kept()).length && !now.lost)) { soon = setTimeout(tellSent, 400); return; }
    if (!work() || !sent.size && !refused.size) return;
    const busy = !["enter", "tool", "set", "start"].includes(work().dataset.mode) || now.editing;
    if (sent.size && !busy && !(await refresh())) { soon = setTimeout(tellSent, 2000); return; }
    if (now.awaited) { soon = setTimeout(tellSent, 400); return; }
    // An area that came on the way may show them already: nothing is to be loaded then over what somebody types.
    const unseen = busy && [...sent].some((key) => !document.querySelector(`#recorded tr[data-key="${key}"]`));
    const said = [];
    const note = element("div", refused.size ? "warn sent-note" : "note sent-note");
    if (sent.size) {
      said.push(unseen ? `${many(sent.size, "reading")} that ${sent.size === 1 ? "was" : "were"} kept here ${sent.size === 1 ? "is" : "are"} on record now.` : verdicts());
    }
    refused.forEach(({ item, reasons }) => said.push(`Refused: fastener ${placeOf(item.fields).fastener}, ${words(item)}. ${reasons.join(" ")}`));
    said.forEach((text) => note.append(element("p", "", text)));
    if (refused.size) {
      const link = element("a", "btn", "See what was refused");
      link.href = "/tablet/waiting/";
      note.append(link);
    } else if (unseen) {
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
    if (key === now.awaited) heard = { key, state: "saved" };
    if (key === now.awaited || !item || !isOurs(item)) return;
    now.lost = false;
    rememberSent(item);
    sent.add(key);
    later();
  });
  document.addEventListener("outbox:refused", ({ detail: { key, item, reasons } }) => {
    if (key === now.awaited) heard = { key, state: "refused", reasons };
    if (key === now.awaited || !item || !isOurs(item)) return;
    now.lost = false;
    refused.set(key, { item, reasons });
    later();
  });
  window.addEventListener("offline", () => { now.lost = true; });

  // Without the network a tap on the drawing is answered here: its link would lead nowhere.
  document.addEventListener("click", async (event) => {
    const link = event.target.closest("#work [data-pattern] [data-fastener]");
    if (!link || !(now.lost || link.closest(".kept-here"))) return;
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
    now.doings += 1;
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
    now.editing = null;
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
    // A copy may ask for what is on record by now (after a crash, from another tablet): the server is asked what stands.
    if (!answered && work() && isCopy() && navigator.onLine !== false) await refresh(false, true);
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