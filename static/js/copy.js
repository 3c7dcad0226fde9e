// A button that copies the text of a field. Where the clipboard is shut (no secure address), the text is only marked.
(() => {
  document.querySelectorAll("[data-copy]").forEach((button) => {
    const field = document.getElementById(button.dataset.copy);
    if (!field) return;
    const usual = button.textContent;
    button.hidden = false;
    button.addEventListener("click", async () => {
      field.select();
      let done = false;
      try {
        if (navigator.clipboard) { await navigator.clipboard.writeText(field.value); done = true; }
      } catch { /* refused: the older way is tried */ }
      if (!done) {
        try { done = document.execCommand("copy"); } catch { done = false; }
      }
      button.textContent = done ? "Copied" : "Marked: copy it with the keyboard";
      setTimeout(() => { button.textContent = usual; }, 4000);
    });
  });
})();
