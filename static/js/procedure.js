// The editor of a step: free places by tapping on the drawing. Without it the places are typed.
(() => {
  const form = document.querySelector("[data-editor]");
  if (!form) return;
  const points = () => form.elements.points;
  const count = () => form.elements.fasteners;
  const lines = () => points().value.split("\n").map((line) => line.trim()).filter(Boolean);
  const write = (found) => {
    points().value = found.join("\n");
    if (found.length > Number(count().value)) count().value = found.length;
    points().dispatchEvent(new Event("input", { bubbles: true }));
  };
  // The unit is one of what the kind asks for: an angle in degrees, a torque in the unit that it had before.
  const TURNS = ["deg"];
  form.addEventListener("change", (event) => {
    const kind = event.target.closest('select[name$="kind"]');
    const stage = kind && kind.closest("[data-stage]");
    if (!stage) return;
    const angle = kind.value === "angle";
    stage.querySelectorAll('select[name$="unit"]').forEach((unit) => {
      const turns = TURNS.includes(unit.value);
      if (angle && !turns) { unit.dataset.before = unit.value; unit.value = TURNS[0]; }
      if (kind.value === "torque" && turns) unit.value = unit.dataset.before || "N.m";
    });
  });
  // A stage was added: go to it, and begin to type.
  const added = /^#stage-\d+$/.test(location.hash) && document.querySelector(location.hash);
  if (added) {
    added.scrollIntoView({ block: "start" });
    const first = added.querySelector('input:not([type="hidden"]), select');
    if (first) first.focus({ preventScroll: true });
  }
  document.querySelectorAll("[data-places]").forEach((each) => { each.hidden = false; });
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-place]")) { write(lines().slice(0, -1)); return; }
    const area = event.target.closest("[data-tap]");
    const picture = area && area.querySelector("svg");
    if (!picture || !picture.contains(event.target)) return;
    const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
    const part = (value) => Math.min(Math.max(value / 100, 0), 1).toFixed(2);
    write([...lines(), `${part(spot.x)} ${part(spot.y)}`]);
  });
})();
