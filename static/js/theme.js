// Light or dark. Loaded in the head without defer, so that the page is never painted in the wrong theme first.
// What the person chose is remembered on this device; choosing what the device prefers anyway forgets it again.
(() => {
  const root = document.documentElement;
  const device = window.matchMedia("(prefers-color-scheme: dark)");
  const read = () => { try { return localStorage.getItem("theme"); } catch { return null; } };
  const keep = (name) => {
    try {
      if (name) localStorage.setItem("theme", name); else localStorage.removeItem("theme");
    } catch { /* storage is shut off: the choice lasts as long as the page */ }
  };
  const deviceTheme = () => (device.matches ? "dark" : "light");
  const apply = (name) => {
    if (name) root.setAttribute("data-theme", name); else root.removeAttribute("data-theme");
  };
  const stored = read();
  apply(stored === "dark" || stored === "light" ? stored : null);

  document.addEventListener("DOMContentLoaded", () => {
    const now = () => root.getAttribute("data-theme") || deviceTheme();
    const buttons = document.querySelectorAll("[data-theme-switch]");
    const label = () => buttons.forEach((button) => {
      button.hidden = false;
      button.textContent = now() === "dark" ? "Light" : "Dark";
      button.setAttribute("aria-label", now() === "dark" ? "Light theme" : "Dark theme");
    });
    buttons.forEach((button) => button.addEventListener("click", () => {
      const wanted = now() === "dark" ? "light" : "dark";
      const choice = wanted === deviceTheme() ? null : wanted;
      keep(choice);
      apply(choice);
      label();
    }));
    device.addEventListener("change", label);
    label();
  });
})();
