// The page that confirms a paper: compares a PDF in hand with what was issued, byte for byte, on this device. Browsers
// count a hash only over a safe connection; without one the field stays hidden and the figures are compared by eye.
(() => {
  const box = document.querySelector("[data-compare]");
  if (!box || !window.crypto?.subtle) return;
  const said = box.querySelector("[data-compared]");
  const say = (strong, text) => {
    const first = document.createElement("strong");
    first.textContent = strong;
    said.replaceChildren(first, ` ${text}`);
  };
  box.hidden = false;
  box.querySelector("input").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return said.replaceChildren();
    try {
      const digest = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
      const hex = [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
      if (hex === box.dataset.compare) say("The same bytes.", `“${file.name}” is the file that was issued.`);
      else say("Other bytes.", `“${file.name}” is not the file that was issued: it is another revision, another paper, or was altered.`);
    } catch {
      say("Not read.", "This file could not be read. Choose it again.");
    }
  });
})();
