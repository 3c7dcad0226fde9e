// Photos are sent as soon as they are taken or chosen, one after the other, each with its own progress, while
// the page stays. The browser makes large ones small first (less time on the air) and turns what only it can
// read, such as the format of some telephones, into JPEG. Nothing here needs a secure context. Without script
// there is a plain form.
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
  // crypto.randomUUID is there in secure contexts only; random bytes are there everywhere.
  const newKey = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
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

  const post = (address, body, onProgress) => new Promise((done) => {
    const request = new XMLHttpRequest();
    request.open("POST", address);
    const cookie = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("HX-Request", "true"); // signed out, a script gets 401 and not a page
    if (cookie) request.setRequestHeader("X-CSRFToken", cookie[1]);
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) onProgress(event.loaded / event.total);
    });
    request.addEventListener("loadend", () => {
      let answer = null;
      try { answer = JSON.parse(request.responseText); } catch { /* a page of words, or nothing */ }
      done({ status: request.status, answer });
    });
    request.send(body);
  });
  const refusal = (status, answer) => {
    if (answer?.sentences?.length) return answer.sentences.join(" ");
    if (status === 0) return "No answer from the workshop's server. It is still here: it is sent again when "
      + "the network is back, or by the button.";
    if (status === 401) return "You are signed out. It is still here: sign in in another window, then "
      + "send it again.";
    if (status === 403) return "This is not yours to do, or you were signed out meanwhile. It is still here: "
      + "sign in in another window, then send it again.";
    if (status === 404) return "What this belongs to is no longer there. Go back to the car.";
    if (status === 413) return "The server in front refuses files of this size. Send a smaller one.";
    return `The server answered with an error (${status}). It is still here: send it again in a moment.`;
  };

  class Sending {
    constructor(file, place) {
      this.file = file;
      this.place = place;
      this.key = newKey(); // kept for every try: however often it is sent, it is one record
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
      const body = new FormData();
      this.place.fields().forEach(([name, value]) => body.set(name, value));
      body.set("key", this.key);
      body.set("files", this.ready.blob, this.ready.name);
      if (this.ready.head) body.set("head", this.ready.head, "head.jpg");
      this.say("sending…");
      const { status, answer } = await post(this.place.address, body, (share) => {
        this.bar.value = share;
        this.say(share < 1 ? `sending, ${Math.round(share * 100)} %` : "being kept…");
      });
      if (status === 200 && answer?.photos?.length) this.done(answer.photos[0]);
      else this.fail(refusal(status, answer), status !== 422, status === 0);
    }

    done(photo) {
      waiting.delete(this);
      const picture = photo.thumb
        ? element("img", { src: photo.thumb, alt: "" }) : element("span", { class: "paper" }, "PDF");
      const row = element("li", { class: "photo new" }, element("a", { href: photo.url }, picture,
        element("span", { class: "caption" }, photo.label)));
      this.row.replaceWith(row);
      this.row = row;
      this.place.settled(row, photo);
    }

    fail(sentence, again, offline = false) {
      this.offline = offline;
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
        this.row.remove();
        this.place.settled();
      });
      this.actions.append(away);
      this.row.append(this.actions);
      this.place.settled();
    }
  }
  window.addEventListener("online", () => {
    [...waiting].filter((each) => each.offline).forEach((each) => { each.offline = false; enqueue(each); });
  });

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
        const row = new Sending(file, this);
        this.rows.push(row);
        this.list.append(row.row);
        if (this.waits) row.say("waits to be sent");
        else enqueue(row);
      });
      this.settled();
    }

    sendAll() {
      this.rows.filter((row) => waiting.has(row) && !queue.includes(row)).forEach(enqueue);
    }

    settled(row, photo) {
      const kept = this.rows.filter((each) => each.row.classList.contains("new")).length;
      const failed = this.rows.filter((each) => each.row.isConnected
        && each.row.classList.contains("failed")).length;
      if (this.status && this.rows.length) {
        const not = failed ? `, ${failed} not kept` : "";
        this.status.textContent = `${kept} of ${this.rows.length} kept${not}`;
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
    if (!field) return;
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
