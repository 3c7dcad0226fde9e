// Somebody else wrote into a field meanwhile: their text, one's own, or both are put into it by a tap. Nothing is
// saved by that. Typing on afterwards is one's own again, so no button says any more that it is its text that stands.
(() => {
  const controls = (field) => [...field.querySelectorAll("input:not([type=hidden]), select, textarea")];
  const put = (all, values) => {
    const boxes = all.filter((each) => each.type === "checkbox" || each.type === "radio");
    boxes.forEach((each) => {
      each.checked = values.includes(each.value) || (each.type === "checkbox" && boxes.length === 1 && values.length > 0);
    });
    all.filter((each) => !boxes.includes(each)).forEach((each, place) => { each.value = values[place] ?? ""; });
    all.forEach((each) => {
      each.dispatchEvent(new Event("input", { bubbles: true }));
      each.dispatchEvent(new Event("change", { bubbles: true }));
    });
  };
  const press = (field, button) => field.querySelectorAll("[data-take]").forEach((each) => {
    each.setAttribute("aria-pressed", String(each === button));
  });
  document.querySelectorAll("[data-take]").forEach((each) => { each.hidden = false; });
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-take]");
    if (!button) return;
    const field = button.closest(".field");
    put(controls(field), JSON.parse(button.dataset.take));
    press(field, button);
  });
  document.addEventListener("input", (event) => {
    const field = event.isTrusted && event.target.closest(".field:has([data-meanwhile])");
    if (field) press(field, null);
  });
})();
