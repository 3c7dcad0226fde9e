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
