// Photos are sent as soon as they are taken or chosen, one after the other, while the page stays. The browser makes
// large ones small first (less time on the air) and turns what only it can read, such as the format of some
// telephones, into JPEG. They go through the outbox (outbox.js): without a network they are kept on this tablet,
// shown in their place, and sent later in their order. Nothing here needs a secure context. Without script there is a
// plain form. Loaded by the pages that take photos.
(() => {
  const LONGEST = 2048; // dots; the server keeps no more
  const SMALL = 1_200_000; // bytes: below this and within LONGEST a picture goes as it is
  const MOST = 40 * 1024 * 1024; // the server's limit for one file
  const HEAD = 128 * 1024; // of a camera's JPEG: holds its own data, of which the server reads the time only
  const READ_BY_SERVER = ["image/jpeg", "image/png", "image/webp"];
  const UNREADABLE = "This tablet's browser can't read it as a picture. Save it as JPEG or PNG, or take a "
    + "photo of it, and send that.";

  const element = (name, attributes = {}, ...children) => {
    const made = document.createElement(name);
    Object.entries(attributes).forEach(([key, value]) => {
      if (value === true) made.setAttribute(key, "");
      else if (value !== false && value !== undefined) made.setAttribute(key, value);
    });
    made.append(...children);
    return made;
  };
  const isPdf = (file) => file.type === "application/pdf" || /\.pdf$/i.test(file.name);

  // ------------------------------------------------------------ making a picture small, or readable
  const decoded = async (file) => {
    try {
      return await createImageBitmap(file, { imageOrientation: "from-image" });
    } catch {
      // Some browsers show formats in a page that they do not hand out as a bitmap.
      const image = new Image();
      const address = URL.createObjectURL(file);
      try {
        image.src = address;
        await image.decode();
        return image;
      } finally {
        URL.revokeObjectURL(address);
      }
    }
  };
  const prepared = async (file) => {
    if (isPdf(file) || file.size === 0) return { blob: file, name: file.name };
    const known = READ_BY_SERVER.includes(file.type);
    let source;
    try {
      source = await decoded(file);
    } catch {
      if (known) return { blob: file, name: file.name }; // the server says what is wrong with it
      throw new Error(UNREADABLE);
    }
    const width = source.naturalWidth || source.width;
    const height = source.naturalHeight || source.height;
    if (known && file.size <= SMALL && Math.max(width, height) <= LONGEST) {
      source.close?.();
      return { blob: file, name: file.name };
    }
    const scale = Math.min(1, LONGEST / Math.max(width, height));
    const canvas = element("canvas");
    canvas.width = Math.max(1, Math.round(width * scale));
    canvas.height = Math.max(1, Math.round(height * scale));
    const context = canvas.getContext("2d");
    context.fillStyle = "#fff"; // JPEG has no transparency
    context.fillRect(0, 0, canvas.width, canvas.height);
    context.imageSmoothingQuality = "high";
    context.drawImage(source, 0, 0, canvas.width, canvas.height);
    source.close?.();
    const blob = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", 0.88); });
    if (!blob) throw new Error(UNREADABLE);
    const head = file.type === "image/jpeg" ? file.slice(0, HEAD) : null;
    return { blob, head, name: file.name.replace(/\.\w+$/, "") + ".jpg" };
  };

  // ------------------------------------------------------------ one file on its way
  const queue = [];
  let busy = false;
  const next = async () => {
    if (busy || !queue.length) return;
    busy = true;
    try { await queue.shift().send(); } finally { busy = false; next(); }
  };
  const enqueue = (item) => { queue.push(item); next(); };
  const waiting = new Set(); // rows that are not on record yet: leaving the page would lose them
  window.addEventListener("beforeunload", (event) => { if (waiting.size) event.preventDefault(); });

  const { outbox } = window;
  // Where nothing can be kept it goes from this page, and only from here.
  const direct = async (address, key, fields, files) => {
    const body = new FormData();
    [...fields, ["key", key]].forEach(([name, value]) => body.set(name, value));
    files.forEach(({ name, filename, blob }) => body.set(name, blob, filename));
    const cookie = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
    const headers = { Accept: "application/json", "HX-Request": "true", "X-CSRFToken": cookie ? cookie[1] : "" };
    try {
      const answer = await fetch(address, { method: "POST", body, headers, credentials: "same-origin" });
      if (answer.ok) return { state: "saved", html: await answer.text() };
      if (answer.status === 422) return { state: "refused", reasons: (await answer.json()).sentences };
      return { state: "waiting", why: `The server answered with an error (${answer.status}).` };
    } catch {
      return { state: "waiting", why: "No answer from the workshop's server." };
    }
  };
  const WAITS = "Kept on this tablet. It is sent by itself when the server answers.";

  class Sending {
    constructor(file, place, key = outbox.newKey()) {
      this.file = file;
      this.place = place;
      this.key = key; // kept for every try: however often it is sent, it is one record
      this.bar = element("progress", { max: "1", "aria-label": file.name });
      this.words = element("span", { class: "caption" }, file.name);
      this.picture = element("span", { class: "paper" }, isPdf(file) ? "PDF" : "…");
      this.row = element("li", { class: "photo sending" }, this.picture, this.bar, this.words);
      waiting.add(this);
      this.preview();
    }

    preview() {
      if (isPdf(this.file)) return;
      const address = URL.createObjectURL(this.file);
      const image = element("img", { alt: "", src: address });
      image.addEventListener("load", () => {
        URL.revokeObjectURL(address);
        if (this.picture.isConnected) { this.picture.replaceWith(image); this.picture = image; }
      });
      image.addEventListener("error", () => URL.revokeObjectURL(address));
    }

    say(text) { this.words.textContent = `${this.file.name}: ${text}`; }

    async send() {
      this.row.className = "photo sending";
      this.actions?.remove();
      if (!this.bar.isConnected) this.words.before(this.bar);
      this.bar.removeAttribute("value");
      this.say("making it small…");
      try {
        this.ready ||= await prepared(this.file);
      } catch (error) {
        this.fail(error.message, false);
        return;
      }
      if (this.ready.blob.size > MOST) {
        const size = Math.round(this.ready.blob.size / 1024 / 1024);
        this.fail(`The file has ${size} MB; 40 MB are the limit. Send a smaller one.`, false);
        return;
      }
      this.say("sending…");
      const fields = this.place.fields();
      const files = [{ name: "files", filename: this.ready.name, blob: this.ready.blob }];
      if (this.ready.head) files.push({ name: "head", filename: "head.jpg", blob: this.ready.head });
      const { address, label } = this.place;
      const said = [["File", this.file.name], ...fields.filter(([name, value]) => name === "caption" && value)
        .map(([, value]) => ["What it shows", value])];
      let result;
      try {
        await outbox.put({ key: this.key, url: address, fields, files, said, what: isPdf(this.file) ? "Document" : "Photo",
          label: label || document.title, page: location.href });
        waiting.delete(this); // it lies on the disk: leaving the page loses nothing
        result = await outbox.send(this.key);
      } catch (error) {
        result = await direct(address, this.key, fields, files);
        if (result.state === "waiting") {
          this.fail(`Not saved, and not kept on this tablet. ${result.why} ${error.message} It is still on this page: `
            + "send it again before you leave.", true);
          return;
        }
      }
      if (result.state === "saved") this.saved(result.html);
      else if (result.state === "refused") await this.refused(result.reasons);
      else this.kept(result.why);
    }

    saved(html) {
      let photo = null;
      try { [photo] = JSON.parse(html).photos; } catch { /* sent by another page, or answered before */ }
      this.done(photo);
    }

    async refused(reasons) {
      // Read here, by whoever chose it: it need not stand in the list as well.
      await outbox.remove(this.key).catch(() => {});
      this.fail(reasons.join(" ") || "The server refused it.", false);
    }

    kept(why = "") {
      this.bar.remove();
      this.row.className = "photo kept-here";
      this.say(why ? `${WAITS} ${why}` : WAITS);
      this.place.settled();
    }

    done(photo) {
      waiting.delete(this);
      if (!photo) { // saved, but its page is not known here
        this.bar.remove();
        this.row.className = "photo new";
        this.say("saved");
        this.place.settled();
        return;
      }
      const picture = photo.thumb
        ? element("img", { src: photo.thumb, alt: "" }) : element("span", { class: "paper" }, "PDF");
      const row = element("li", { class: "photo new" }, element("a", { href: photo.url }, picture,
        element("span", { class: "caption" }, photo.label)));
      this.row.replaceWith(row);
      this.row = row;
      this.place.settled(row, photo);
    }

    fail(sentence, again) {
      this.bar.remove();
      this.row.className = "photo failed";
      this.words.replaceChildren(element("strong", {}, this.file.name), ` ${sentence}`);
      this.actions = element("span", { class: "actions" });
      if (again) {
        const button = element("button", { type: "button", class: "btn small hand" }, "Send again");
        button.addEventListener("click", () => enqueue(this));
        this.actions.append(button);
      } else waiting.delete(this);
      const away = element("button", { type: "button", class: "btn small quiet" }, "Leave it out");
      away.addEventListener("click", () => {
        waiting.delete(this);
        outbox.remove(this.key).catch(() => {});
        this.row.remove();
        this.place.settled();
      });
      this.actions.append(away);
      this.row.append(this.actions);
      this.place.settled();
    }
  }
  // What was kept is sent later, by whichever page is open then.
  const rows = new Map(); // key → the row that stands for it
  document.addEventListener("outbox:change", async () => {
    const here = [...rows.values()].filter((each) => each.row.classList.contains("kept-here"));
    if (!here.length) return;
    const [lie, sent] = await Promise.all([outbox.list(), outbox.done()]).catch(() => [null]);
    if (lie) here.forEach((row) => {
      const item = lie.find((each) => each.key === row.key);
      if (item?.state === "refused") row.fail(item.reasons.join(" "), false);
      else if (!item && sent.some((each) => each.key === row.key)) row.done(null);
      else if (!item) row.row.remove(); // thrown away on the page of what waits
    });
  });
  let lying = null; // what was kept before this page was opened
  const before = (address) => {
    lying ||= outbox.list().catch(() => []);
    return lying.then((all) => all.filter((each) => each.url === address && each.person === outbox.me.person
      && each.state === "waiting" && each.files.length));
  };

  // ------------------------------------------------------------ the place on a page where photos are added
  const touch = matchMedia("(any-pointer: coarse)").matches;
  class Place {
    constructor({ address, label, many, hand, list, status, fields, waits, tile }) {
      Object.assign(this, { address, label, many, list, status, waits });
      this.fields = fields || (() => []);
      this.rows = [];
      this.buttons = element("span", { class: "actions photo-buttons" });
      const camera = { capture: "environment", accept: "image/*" };
      const chooser = { accept: tile ? "image/*" : "image/*,application/pdf", multiple: many };
      const inputs = [];
      if (touch) inputs.push(this.button(tile ? "Take it" : "Take a photo", camera, hand));
      inputs.push(this.button(touch || tile ? "Choose" : label, chooser, hand && !touch));
      // The drawing itself opens the camera too: the largest target is the one that an oily glove finds.
      tile?.querySelector("span[data-shot]")?.addEventListener("click", () => inputs[0].click());
      before(address).then((all) => all.forEach((item) => this.bringBack(item)));
    }

    // Kept by an earlier visit to this page: shown in its place, with its picture.
    async bringBack(item) {
      const [file] = await outbox.files(item.key).catch(() => []);
      if (!file || rows.has(item.key)) return;
      this.add(new File([file.blob], file.filename, { type: file.blob.type }), item.key).kept();
    }

    add(file, key) {
      const row = new Sending(file, this, key);
      if (key) waiting.delete(row);
      rows.set(row.key, row);
      this.rows.push(row);
      this.list.append(row.row);
      return row;
    }

    button(text, attributes, hand) {
      const input = element("input", { type: "file", hidden: true, tabindex: "-1", "aria-hidden": "true",
        "aria-label": text, ...attributes });
      const button = element("button", { type: "button", class: hand ? "btn hand" : "btn" }, text);
      if (this.label && text !== this.label) {
        button.append(element("span", { class: "sr-only" }, `: ${this.label}`));
      }
      button.addEventListener("click", () => input.click());
      input.addEventListener("change", () => {
        const files = [...input.files];
        input.value = ""; // the same file can be chosen again
        this.take(files);
      });
      this.buttons.append(button, input);
      return input;
    }

    take(files) {
      files.forEach((file) => {
        const row = this.add(file);
        if (this.waits) row.say("waits to be sent");
        else enqueue(row);
      });
      this.settled();
    }

    sendAll() {
      this.rows.filter((row) => waiting.has(row) && !queue.includes(row)).forEach(enqueue);
    }

    settled(row, photo) {
      const are = (name) => this.rows.filter((each) => each.row.classList.contains(name)).length;
      const kept = are("kept-here");
      const failed = this.rows.filter((each) => each.row.isConnected
        && each.row.classList.contains("failed")).length;
      if (this.status && this.rows.length) {
        const here = kept ? `, ${kept} kept on this tablet` : "";
        const not = failed ? `, ${failed} not saved` : "";
        this.status.textContent = `${are("new")} of ${this.rows.length} saved${here}${not}`;
      }
      if (photo) {
        row.dispatchEvent(new CustomEvent("photos:added", { bubbles: true, detail: { photo, row } }));
      }
    }
  }

  // A link with the address of the upload page becomes the camera and the chooser.
  const improve = (host) => {
    if (host.dataset.photoReady) return;
    host.dataset.photoReady = "yes";
    const link = host.querySelector("a");
    const strip = host.closest("[data-photos]");
    const own = element("ul", { class: "photos", "data-photo-list": true });
    const list = strip?.querySelector("[data-photo-list]") || own;
    const status = element("span", { class: "meta", role: "status" });
    const place = new Place({ address: host.dataset.photoInput, label: host.dataset.photoLabel,
      many: "photoMany" in host.dataset, hand: link.classList.contains("hand"), list, status,
      tile: host.closest("[data-photo-tile]") });
    host.replaceChildren(...(list === own ? [own] : []), place.buttons, status);
  };

  // The upload page: its field of files becomes the camera and the chooser; the caption goes along with each.
  const improveForm = (form) => {
    const field = form.querySelector("input[type=file]")?.closest(".field");
    if (!field || form.dataset.photoReady) return;
    form.dataset.photoReady = "yes";
    const caption = form.querySelector("[data-photo-caption]");
    const send = form.querySelector("[data-photo-send]");
    const away = form.querySelector("[data-photo-done]");
    const list = element("ul", { class: "photos", "data-photo-list": true });
    const status = element("p", { class: "meta", role: "status" });
    const fields = () => ["caption", "moment"].filter((name) => form.elements[name])
      .map((name) => [name, form.elements[name].value]);
    const label = document.querySelector("h1")?.textContent.trim() || "";
    const place = new Place({ address: form.dataset.photoForm, label, many: true, list, status, fields,
      waits: caption?.required });
    const help = field.querySelector(".help");
    const box = element("div", { class: "field photo-input" }, place.buttons, help || "", list, status);
    field.replaceWith(box);
    // What it shows is said before the camera opens: it goes along with each picture.
    box.before(...[...form.querySelectorAll(".field")].filter((each) => each !== box));
    if (place.waits) {
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        if (caption.value.trim() === "") {
          status.textContent = "Say what the document is first.";
          caption.focus();
        } else if (!place.rows.length) status.textContent = "Choose at least one photo or PDF.";
        else place.sendAll();
      });
    } else {
      send.hidden = true; // everything is sent as soon as it is chosen
      form.addEventListener("submit", (event) => event.preventDefault());
    }
    form.addEventListener("photos:added", () => {
      away.textContent = "Done";
      away.className = "btn primary";
    });
  };

  const improveAll = (root) => {
    root.querySelectorAll("[data-photo-form]").forEach(improveForm);
    root.querySelectorAll("[data-photo-input]").forEach(improve);
  };
  improveAll(document);
  document.addEventListener("htmx:load", (event) => improveAll(event.target));
})();
