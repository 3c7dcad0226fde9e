// The sheet within a page stands in a template that most browsers open by themselves; for the others it is opened here.
(() => {
  document.querySelectorAll("template[shadowrootmode]").forEach((template) => {
    const host = template.parentNode;
    if (host.shadowRoot) return;
    host.attachShadow({ mode: "open" }).appendChild(template.content);
    template.remove();
  });

  // Back from where something was cleared, the page is asked for anew, unless something was typed in it.
  const typed = () => [...document.querySelectorAll("form.form")].some((form) => [...form.elements].some((each) => {
    if (each.type === "checkbox" || each.type === "radio") return each.checked !== each.defaultChecked;
    if (each.localName === "select") return [...each.options].some((o) => o.selected !== o.defaultSelected && o.defaultSelected);
    return each.matches("input:not([type=hidden]), textarea") && each.value !== each.defaultValue;
  }));
  const live = document.querySelector("[data-live]");
  if (!live) return;
  let left = 0;
  const again = () => { if (!typed()) window.location.reload(); };
  window.addEventListener("pageshow", (event) => { if (event.persisted) again(); });
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) left = Date.now();
    else if (left && Date.now() - left > 3000) again();
  });
})();
