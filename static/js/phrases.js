// While a cause or a correction is typed, what this shop wrote before is offered below the field: the phrases that
// continue what is being typed, or the most used where a new sentence begins. A tap adds the rest; nothing typed is
// replaced. Escape puts the list away. Fetched once a page; without a network there are none.
(() => {
  const SHOWN = 4;
  const LEAST = 2; // letters of a sentence begun
  const lists = new Map();
  const fetched = (name) => {
    if (!lists.has(name)) {
      lists.set(name, fetch(`/phrases/${name}/`, { headers: { "HX-Request": "true" }, credentials: "same-origin" })
        .then((answer) => (answer.ok ? answer.json() : { phrases: [] }))
        .then((answer) => answer.phrases)
        .catch(() => { lists.delete(name); return []; }));
    }
    return lists.get(name);
  };
  const fold = (text) => text.toLowerCase();
  // What stands before the caret since the last stop, comma or new line.
  const begun = (field) => field.value.slice(0, field.selectionEnd).split(/[.!?;:,]\s+|\n/).pop().trimStart();
  const fitting = (all, field) => {
    const typed = fold(begun(field));
    const after = field.value.slice(field.selectionEnd);
    if (after && !/^\s/.test(after)) return []; // in the middle of a word
    if (typed && typed.length < LEAST) return [];
    const there = fold(field.value);
    return all.filter((each) => fold(each).startsWith(typed) && each.length > typed.length
      && !there.includes(fold(each))).slice(0, SHOWN);
  };
  const boxOf = (field) => {
    const host = field.closest(".field") || field.parentElement;
    let box = host.querySelector(".phrases");
    if (!box) {
      box = document.createElement("div");
      box.className = "phrases";
      box.setAttribute("role", "group");
      box.setAttribute("aria-label", "Written here before");
      host.append(box);
    }
    return box;
  };
  const put = (field, phrase) => {
    const typed = begun(field);
    const at = field.selectionEnd;
    const before = field.value.slice(0, at);
    // A new sentence begins with a capital, after a space.
    const begins = !typed && /(^|[.!?\n])\s*$/.test(before);
    const rest = begins ? phrase[0].toUpperCase() + phrase.slice(1) : phrase.slice(typed.length);
    const glue = typed || !before || /\s$/.test(before) ? "" : " ";
    field.setRangeText(glue + rest, at, at, "end");
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  };
  const draw = async (field) => {
    const all = await fetched(field.dataset.phrases);
    if (!field.isConnected) return;
    const box = boxOf(field);
    const offered = fitting(all, field);
    const same = [...box.children].map((each) => each.textContent).join("\n") === offered.join("\n");
    if (same) return;
    box.replaceChildren(...offered.map((phrase) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "btn small";
      button.textContent = phrase;
      // A press must not take the focus first: the tablet's keyboard would fold away and the button move.
      button.addEventListener("pointerdown", (event) => event.preventDefault());
      button.addEventListener("click", () => { put(field, phrase); draw(field); });
      return button;
    }));
  };
  const isOurs = (target) => target instanceof Element && target.matches("[data-phrases]");
  let shut = null; // the field whose list Escape put away, until something is typed or it is left
  ["focusin", "input"].forEach((name) => document.addEventListener(name, (event) => {
    if (name === "input") shut = null;
    if (isOurs(event.target) && event.target === document.activeElement && event.target !== shut) draw(event.target);
  }));
  document.addEventListener("keydown", (event) => {
    const box = event.key === "Escape" && event.target.closest?.(".field")?.querySelector(".phrases");
    if (!box || !box.childElementCount) return;
    shut = box.closest(".field").querySelector("[data-phrases]");
    shut.focus();
    box.replaceChildren();
  });
  document.addEventListener("focusout", (event) => {
    const field = event.target.closest?.(".field");
    if (shut && !field?.contains(event.relatedTarget)) shut = null;
    const box = field?.querySelector(".phrases");
    if (box && !field.contains(event.relatedTarget)) setTimeout(() => {
      if (!field.contains(document.activeElement)) box.replaceChildren();
    }, 0);
  });
  // A form that opened with the caret in such a field already.
  if (isOurs(document.activeElement)) draw(document.activeElement);
})();
