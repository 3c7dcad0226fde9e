// The PIN at the tablet's door: sent when the sixth digit is there, and a wrong one is said on the same page.
// Without this script, or without an answer to it, the form is sent as any other.
(() => {
  const form = document.querySelector("form[data-enter]");
  const box = form && form.querySelector("[data-pin]");
  if (!box) return;
  const send = async (pin) => {
    pad.busy(true);
    let answer;
    try {
      answer = await fetch(form.action, {
        method: "POST", body: new URLSearchParams(new FormData(form)), headers: { Accept: "application/json" },
        credentials: "same-origin",
      });
    } catch {
      pad.busy(false);
      pad.empty();
      pad.say("No answer from the workshop's server: nobody signs in without it. Look whether the tablet is in the "
        + "shop's network, then type the PIN again.");
      return;
    }
    const said = (answer.headers.get("Content-Type") || "").startsWith("application/json") ? await answer.json() : null;
    if (answer.ok && said) {
      try { await window.pins.keep(form.dataset.enter, pin, said.mark); } catch { /* then not without the network */ }
      window.location.assign(said.next);
      return;
    }
    if (!said) { form.submit(); return; } // the server says why on a page of its own
    if (said.revoked) { window.location.reload(); return; }
    pad.busy(false);
    pad.empty();
    pad.say(said.error);
    pad.focus();
  };
  const pad = window.pins.pad(box, send);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const { value } = box.querySelector("input");
    if (value.length === 6) send(value); else pad.say("A PIN has six digits. Type all six.");
  });
  pad.focus();
  // Back on this page, nothing of the last PIN is left.
  window.addEventListener("pageshow", () => { pad.busy(false); pad.empty(); });
})();
