// Fields to sign in. What is drawn is kept as lines of points in a field of 2000 by 700, whatever the size of the
// screen, and travels in the form as text; no picture is made of it. Without this script one signs on paper.
(() => {
  const WIDTH = 2000;
  const HEIGHT = 700;
  const PEN = 11;
  const APART = 5; // points closer than this add nothing to see

  const setUp = (signer, fresh) => {
    const pad = signer.querySelector("[data-pad]");
    const canvas = pad.querySelector("canvas");
    const kept = signer.querySelector("[data-ink]");
    const state = pad.querySelector("[data-pad-state]");
    const ways = [...signer.querySelectorAll(".ways input[type=radio]")];
    const glass = ways.find((way) => way.value === "glass");
    const pen = canvas.getContext("2d");
    if (!glass || !pen) return;
    signer.classList.add("can-draw");
    if (fresh) glass.checked = true;

    let lines = [];
    try { lines = JSON.parse(kept.value || "[]"); } catch { lines = []; }
    const empty = state.textContent;
    const drawing = new Map(); // pointer → its line

    const draw = () => {
      const { width, height } = canvas.getBoundingClientRect();
      if (!width) return;
      const dense = window.devicePixelRatio || 1;
      canvas.width = Math.round(width * dense);
      canvas.height = Math.round(height * dense);
      pen.setTransform(canvas.width / WIDTH, 0, 0, canvas.height / HEIGHT, 0, 0);
      pen.strokeStyle = getComputedStyle(canvas).color;
      pen.lineCap = pen.lineJoin = "round";
      pen.globalAlpha = 0.35;
      pen.lineWidth = 2;
      pen.beginPath();
      pen.moveTo(80, HEIGHT * 0.78);
      pen.lineTo(WIDTH - 80, HEIGHT * 0.78);
      pen.stroke();
      pen.globalAlpha = 1;
      pen.lineWidth = PEN;
      lines.forEach((line) => {
        pen.beginPath();
        pen.moveTo(line[0], line[1]);
        if (line.length === 2) pen.lineTo(line[0] + 1, line[1]);
        for (let i = 2; i + 3 < line.length; i += 2) {
          pen.quadraticCurveTo(line[i], line[i + 1], (line[i] + line[i + 2]) / 2, (line[i + 1] + line[i + 3]) / 2);
        }
        pen.lineTo(line[line.length - 2], line[line.length - 1]);
        pen.stroke();
      });
    };
    // What was missing is there now: the sentences that asked for it go.
    let began = false;
    const mended = () => {
      if (!began) return;
      signer.querySelectorAll("[data-ink-error]").forEach((error) => error.remove());
      signer.querySelectorAll(".errors").forEach((box) => { if (!box.children.length) box.remove(); });
      if (!signer.querySelector(".errors")) signer.classList.remove("bad");
      document.querySelectorAll("#form-errors .problems a").forEach((link) => {
        if (link.getAttribute("href") === `#${kept.id}`) link.closest("li").remove();
      });
      const problems = document.querySelector("#form-errors .problems");
      if (problems && !problems.children.length) problems.remove();
    };
    const say = () => {
      kept.value = lines.length ? JSON.stringify(lines) : "";
      pad.classList.toggle("inked", lines.length > 0);
      state.textContent = lines.length ? "signature drawn" : empty;
      if (lines.length) mended();
    };
    const show = () => {
      pad.hidden = !glass.checked;
      if (!pad.hidden) draw();
    };
    const point = (event) => {
      const box = canvas.getBoundingClientRect();
      const within = (value, most) => Math.max(0, Math.min(most, Math.round(value)));
      return [
        within(((event.clientX - box.left) / box.width) * WIDTH, WIDTH),
        within(((event.clientY - box.top) / box.height) * HEIGHT, HEIGHT),
      ];
    };
    const add = (line, [x, y]) => {
      const far = Math.hypot(x - line[line.length - 2], y - line[line.length - 1]);
      if (far >= APART) line.push(x, y);
    };

    canvas.addEventListener("pointerdown", (event) => {
      if (event.button > 0) return;
      event.preventDefault();
      canvas.setPointerCapture(event.pointerId);
      const line = point(event);
      lines.push(line);
      drawing.set(event.pointerId, line);
      began = true;
      draw();
    });
    canvas.addEventListener("pointermove", (event) => {
      const line = drawing.get(event.pointerId);
      if (!line) return;
      const between = event.getCoalescedEvents ? event.getCoalescedEvents() : [];
      (between.length ? between : [event]).forEach((each) => add(line, point(each)));
      draw();
    });
    const lift = (event) => {
      if (!drawing.delete(event.pointerId)) return;
      say();
      draw();
    };
    canvas.addEventListener("pointerup", lift);
    canvas.addEventListener("pointercancel", lift);
    pad.querySelector("[data-pad-clear]").addEventListener("click", () => {
      lines = [];
      say();
      draw();
    });
    ways.forEach((way) => way.addEventListener("change", show));
    new ResizeObserver(draw).observe(canvas);
    // Light and dark change the colour of the ink.
    new MutationObserver(draw).observe(document.documentElement, { attributeFilter: ["data-theme"] });
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
    // Back again, the browser may bring the choice back without saying so.
    window.addEventListener("pageshow", show);
    say();
    show();
  };

  document.querySelectorAll("form[data-signing]").forEach((form) => {
    // What the first step kept on this device is not overwritten by how it is signed.
    ["input", "change"].forEach((name) => form.addEventListener(name, (event) => event.stopPropagation()));
    form.querySelectorAll("[data-signer]").forEach((signer) => setUp(signer, "fresh" in form.dataset));
  });
})();
