// A form is sent once: its button says "Sending…" and a second tap goes nowhere until an answer, or a lost
// network, is known. The server keeps its own key against repeats; this only spares people the doubt.
// A form with data-repeat is left alone.
(() => {
  const PATIENCE = 20000; // then the button works again: a repeat is harmless, a dead button is not
  const DOUBLE_TAP = 400; // between the two halves of one
  const held = new Map();
  const pending = new WeakSet(); // between the tap and the moment the button is shut

  const hold = (form, button) => {
    const buttons = [...form.querySelectorAll("button:not([type=button]), input[type=submit]")];
    const elsewhere = `button[form="${CSS.escape(form.id)}"]`;
    const outside = form.id ? [...document.querySelectorAll(elsewhere)] : [];
    const all = [...new Set([...buttons, ...outside])].filter((each) => !each.disabled);
    const shown = button || all[0];
    const timer = setTimeout(() => release(form), PATIENCE);
    held.set(form, { all, shown, text: shown && shown.textContent, timer });
    all.forEach((each) => { each.disabled = true; });
    if (shown && shown.localName === "button") {
      shown.textContent = "Sending…";
      shown.setAttribute("aria-busy", "true");
    }
  };
  const release = (form) => {
    const kept = held.get(form);
    if (!kept) return;
    clearTimeout(kept.timer);
    held.delete(form);
    kept.all.forEach((each) => { each.disabled = false; });
    if (kept.shown && kept.shown.localName === "button") {
      kept.shown.textContent = kept.text;
      kept.shown.removeAttribute("aria-busy");
    }
  };
  const say = (text) => {
    const place = document.getElementById("notice");
    if (place) { place.textContent = text; place.hidden = !text; }
  };

  // Signing in anew, in another window or on the way back here, makes the token of an older form worthless.
  // The cookie always holds the one that counts.
  const renew = (form) => {
    const token = form.querySelector('input[name="csrfmiddlewaretoken"]');
    const cookie = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
    if (token && cookie) token.value = cookie[1];
  };

  // Loaded again by Back, a page has a fresh key while the browser fills in what was typed: sent again, it would
  // be a second record. So the history keeps the key that a form was sent with, and it comes back with the text.
  const keyOf = (form) => form.querySelector('input[type="hidden"][name="key"]');
  const nameOf = (form) => form.getAttribute("action") || "";
  const remember = (form) => {
    if (!form.matches(".form") || !keyOf(form)) return;
    const sent = { ...history.state?.sent, [nameOf(form)]: keyOf(form).value };
    history.replaceState({ ...history.state, sent }, "");
  };
  const filledIn = (each) => {
    if (each.type === "checkbox" || each.type === "radio") return each.checked !== each.defaultChecked;
    if (each.localName === "select") {
      const usual = [...each.options].findIndex((option) => option.defaultSelected);
      return each.selectedIndex !== Math.max(usual, 0);
    }
    return each.matches("input:not([type=hidden]), textarea") && each.value !== each.defaultValue;
  };
  window.addEventListener("pageshow", (event) => {
    const sent = history.state?.sent;
    if (event.persisted || !sent) return;
    document.querySelectorAll("form.form").forEach((form) => {
      const key = keyOf(form);
      if (key && nameOf(form) in sent && [...form.elements].some(filledIn)) key.value = sent[nameOf(form)];
    });
  });

  // In the capture phase, so that a second submit is stopped before any other script sees it.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.getAttribute("method") !== "post") return;
    renew(form);
    if ("repeat" in form.dataset || "passing" in form.dataset) return; // passing: outbox.js sends it on
    if (held.has(form) || pending.has(form)) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    const scripted = form.matches("[data-queue], [data-signing], [data-needs-network], [hx-post], [hx-put], [hx-patch], "
      + "[hx-delete], [data-hx-post]") || form.querySelector('[name="signer"]');
    // Afterwards: a button disabled too early is left out of what is sent.
    const button = event.submitter;
    pending.add(form);
    remember(form);
    setTimeout(() => {
      pending.delete(form);
      if (!event.defaultPrevented || scripted) hold(form, button);
    }, 0);
  }, true);

  // A double tap that the answer overtook: its second half would meet the next form's button, in the same place.
  document.addEventListener("htmx:afterSwap", (event) => {
    if (event.detail.requestConfig.verb !== "post") return;
    const fresh = [...document.querySelectorAll('form[hx-post] button:not([type="button"])')];
    fresh.forEach((each) => { each.inert = true; });
    setTimeout(() => fresh.forEach((each) => { each.inert = false; }), DOUBLE_TAP);
  });

  // The key on a tablet's keyboard that says “next” goes to the next field; the last one sends.
  document.addEventListener("keydown", (event) => {
    const field = event.target;
    if (event.key !== "Enter" || event.isComposing || !field.matches('input[enterkeyhint="next"]')) return;
    if (!field.form || !window.matchMedia("(pointer: coarse)").matches) return;
    const after = [...field.form.elements].filter((each) => each.matches("input:not([type=hidden]), select, textarea")
      && !each.disabled && each.checkVisibility());
    const next = after[after.indexOf(field) + 1];
    if (!next) return;
    event.preventDefault();
    next.focus();
  });

  document.addEventListener("outbox:settled", (event) => release(event.target));
  document.addEventListener("htmx:beforeRequest", () => say(""));
  document.addEventListener("htmx:afterRequest", (event) => {
    const form = event.detail.elt && event.detail.elt.closest("form");
    if (form) release(form);
  });
  const kept = "What you typed is still here";
  // Sent away to sign in, a form would lose what was typed: it stays and says so.
  document.addEventListener("htmx:beforeOnLoad", (event) => {
    if (event.detail.xhr.status !== 401 || !event.detail.elt.closest("form")) return;
    event.preventDefault();
    say(`You are signed out. ${kept}: sign in in another window, then send it again.`);
  });
  document.addEventListener("htmx:sendError", () => {
    say(`No answer from the workshop's server. ${kept}: try again in a moment.`);
  });
  document.addEventListener("htmx:timeout", () => {
    say(`The answer takes too long. ${kept}: try again in a moment.`);
  });
  document.addEventListener("htmx:responseError", (event) => {
    const { status } = event.detail.xhr;
    if (status === 403) say(`This is not yours to do, or the page is too old: reload it. ${kept}.`);
    else say(`The server answered with an error (${status}). ${kept}.`);
  });
  // A form that came back says why at its top: whoever works by keyboard or hears the page begins there.
  const refused = document.querySelector("#form-errors[data-not-saved]");
  if (refused && !location.hash) refused.focus();
  // Back from the next page, the browser may show this one as it was left.
  window.addEventListener("pageshow", () => { [...held.keys()].forEach(release); });
})();
