// The workshop: shows what the session says, and sends it what the maker does. It keeps nothing of its
// own that matters: after a reload everything is there again.
import skeleton from "../web/body.html";
import { Bench } from "./bench.js";
import { Figure } from "./figure.js";
import { unpacked } from "./link.js";
import { Lists } from "./lists.js";
import { Pen } from "./pen.js";

const UNITS = { mm: [1, 0, "mm"], cm: [10, 1, "cm"], in: [25.4, 2, "in"] };
const GREY = Array.from({ length: 129 }, () => [200, 190, 170]);

/** Put the workshop into a root (the page's body, or a widget's shadow root); link: the line to the session. */
export function mount(root, link) {
  root.append(...new DOMParser().parseFromString(skeleton, "text/html").body.childNodes);
  return new App(root === document.body ? document : root, link);
}

class App {
  constructor(root, link) {
    this.root = root;
    this.link = link;
    this.now = null; // the session's state as it was last told
    this.built = null; // the newest pattern
    this.live = { scene: null, warnings: [], own: [], tapes: null, stage: "" };
    this.queue = Promise.resolve(); // one change at a time, in order
    this.open = true;
    this.figure = new Figure(this.$("figure"), {
      press: (x, y) => this.pen.press(x, y), drag: (x, y) => this.pen.drag(x, y), drop: (x, y, done) => this.pen.drop(x, y, done),
      click: (x, y) => this.click(x, y), over: (x, y) => this.over(x, y), key: (e) => this.pen.key(e),
    });
    this.lists = new Lists(this);
    this.bench = new Bench(this);
    this.pen = new Pen(this, {
      bar: this.$("pen"), hint: this.$("hint"), count: this.$("pen-count"), done: this.$("pen-done"), less: this.$("pen-less"), leave: this.$("pen-leave"), cross: this.$("cross"),
      cloth: this.$("pen-cloth"), colour: this.$("pen-colour"), side: this.$("pen-side"),
      pick: (mode) => { for (const b of this.all("[data-mode]")) b.setAttribute("aria-pressed", String(b.dataset.mode === mode)); },
    });
    if (!this.figure.renderer) this.$("empty").textContent = "This browser cannot draw in 3D (no WebGL). Everything else works.";
    this.listen();
    this.lists.tab("panels");
    this.lists.showTake();
    this.begin();
  }

  $ = (id) => this.root.getElementById(id);
  all(selector) { return this.root.querySelectorAll(selector); }
  state() { return this.now; }
  own() { return this.live.own; }
  scale() { return this.live.scene ? this.live.scene.scale : 0.1; }
  ramp() { return this.live.scene ? this.live.scene.colours : GREY; }

  /** A length in the unit that the maker chose. */
  said(mm) {
    const [by, digits, words] = UNITS[this.$("unit").value];
    return `${(mm / by).toFixed(digits)} ${words}`;
  }

  tell(words, bad = false) {
    this.$("told").textContent = words;
    this.$("news").className = bad ? "bad" : "";
  }

  close() { this.open = false; this.lists.close(); this.figure.close(); }

  // Questions -------------------------------------------------------------------------------------

  /** Change one thing after all earlier changes; then show how things stand. Whether it was done. */
  act(ask, given, { retake = true } = {}) {
    this.queue = this.queue.then(async () => {
      try {
        const asked = typeof given === "function" ? given() : given;
        this.take((await this.link.ask(ask, asked)).value, retake);
        return true;
      } catch (e) {
        this.tell(e.message, true);
        if (e.kind === "changed") this.take((await this.link.ask("state")).value, true);
        return false;
      }
    });
    return this.queue;
  }

  async newState(ask, given) {
    this.bench.sendText();
    const done = await this.act(ask, given);
    if (done && !this.now.problem) this.tell("");
    return done;
  }

  async begin() {
    try {
      this.take((await this.link.ask("state")).value, true);
      this.lists.showLook();
    } catch (e) {
      this.tell(e.message, true);
    }
    this.watch();
  }

  take(next, retake) {
    this.now = next;
    const base = next.name.replace(/\.toml$/, "");
    this.$("suit-name").textContent = base;
    if (this.root === document) document.title = `${base} - padlib workshop`;
    const place = next.path || `The demo; your first change puts a copy into ${next.folder}`;
    this.$("where").textContent = next.unkept ? `not kept: ${next.unkept}` : next.path ? `kept in ${next.path}` : place;
    this.$("where").classList.toggle("bad", Boolean(next.unkept));
    this.$("where").title = place;
    this.$("undo").disabled = !next.can_undo;
    this.$("redo").disabled = !next.can_redo;
    this.$("save").hidden = !next.unkept;
    this.bench.show(retake);
    this.lists.darts(this.lists.panel(this.lists.chosen));
    if (this.lists.seam && this.live.scene) this.lists.moves(this.lists.seam);
    this.showBuilding();
    if (this.figure.sews()) this.badge("again"); // it says whether the suit has changed since
  }

  // Looks -----------------------------------------------------------------------------------------

  async watch() {
    let known = 0;
    while (this.open) {
      try {
        const { value, floats, wholes } = await this.link.ask("look", { known, wait: this.link.upload ? 15 : 0 });
        if (!value) { if (!this.link.upload) await new Promise((done) => setTimeout(done, 300)); continue; }
        known = value.number;
        this.see(value, floats, wholes);
      } catch (e) {
        this.tell(e.message, true);
        await new Promise((done) => setTimeout(done, 1500));
        if (e.kind !== "lost") continue;
        known = 0; // the server may be another one now
      }
    }
  }

  see(value, floats, wholes) {
    const { live } = this;
    if (value.stage === "shape") {
      const same = this.figure.showShape(floats(value.vertices), wholes(value.faces), value.shape);
      this.$("empty").hidden = true;
      this.badge("shape");
      if (this.pen.draws() && same) this.pen.carry();
      else if (this.pen.draws()) { this.pen.enter("turn"); this.tell("The figure has changed; begin the line again."); }
    } else if (value.stage === "panels" || value.stage === "flats") {
      Object.assign(live, { scene: value.scene, floats, wholes, own: value.own, stage: value.stage, revision: value.revision });
      if (value.warnings) live.warnings = value.warnings;
      this.figure.showPanels(value.scene, floats, wholes);
      this.figure.dropMark("kept");
      this.figure.dropMark("seam");
      this.badge(value.stage);
      this.lists.showPanels(); this.lists.showSeams(); this.lists.showLook();
      this.pen.renew();
    } else if (value.stage === "tapes") {
      live.tapes = { ...value, floats };
      this.lists.showBody();
    } else if (value.stage === "busy") {
      this.$("badge").dataset.busy = value.words;
      if (live.stage !== "flats") this.badge(live.stage, value.words);
    } else if (value.stage === "failed") {
      this.badge("failed");
      this.tell(value.words, true);
    }
  }

  /** What the figure shows just now: said in words, never left to be guessed. */
  badge(stage, words = "") {
    const told = {
      shape: "Shape only; the seams follow",
      panels: "Forecast of the stretch; the real map follows",
      flats: "Real map: every panel is laid flat",
      forecast: "Forecast while you drag; the real map follows", // one line, or the figure would jump
      failed: "This suit cannot be laid as it is; see above",
    };
    const box = this.$("badge");
    if (stage === "again") stage = this.figure.bare && this.figure.told ? "forecast" : this.live.stage; // also once it is let go
    if (this.figure.sews() && (stage === "flats" || stage === "panels")) {
      told[stage] = `The pattern sewn back together, as it was made${this.now.stale ? "; you have changed the suit since" : ""}`;
    }
    box.dataset.stage = stage;
    box.textContent = (told[stage] || "") + (words && stage !== "flats" ? ` (${words})` : "");
    this.showLegend();
  }

  // Pattern ---------------------------------------------------------------------------------------

  showBuilding() {
    const b = this.now.building, running = b.state === "running";
    this.$("build").disabled = this.$("suggest").disabled = running || Boolean(this.now.problem);
    this.$("build").title = this.now.problem ? "Mend the marked line of the suit file first" : "Ctrl+Enter";
    this.$("stop").hidden = !running;
    this.$("bar").hidden = !running;
    if (running) {
      this.$("bar").value = b.share;
      this.tell(`${b.task === "seams" ? "Seeking seams" : "Making the pattern"}: ${b.words}`);
      this.poll();
    }
    if (this.now.result !== null && (!this.built || this.built.number !== this.now.result)) this.showResult();
    else if (this.built) this.lists.showTake();
  }

  async poll() {
    if (this.polling) return;
    this.polling = true;
    try {
      for (let pause = 300; this.open && this.now.building.state === "running"; pause = Math.min(1.2 * pause, 1500)) {
        await new Promise((done) => setTimeout(done, pause)); // each answer paints the page again
        const { value } = await this.link.ask("progress");
        const ended = value.building.state !== "running";
        Object.assign(this.now, value);
        this.showBuilding();
        if (!ended) continue;
        this.take((await this.link.ask("state")).value, true); // found seams are in the text now
        this.tell(value.building.words, value.building.state !== "done");
      }
    } catch (e) {
      this.tell(e.message, true);
    } finally {
      this.polling = false;
    }
  }

  async showResult() {
    try {
      const { value } = await this.link.ask("result");
      if (!value || (this.built && this.built.number === value.number)) return;
      this.built = value;
      this.lists.showAll();
      const file = await this.link.ask("file", { name: "scene.bin" });
      if (!file.value) return;
      const scene = unpacked(file.bytes());
      this.figure.showPanels(scene.text, scene.floats, scene.wholes, "pads");
      const choice = this.root.querySelector("[name=colours][value=sewn]");
      choice.disabled = !value.sewn;
      this.$("sewn-choice").title = value.sewn ? "How far the sewn cloth lies off the outline, in mm" : "This pattern was made without sewing it back";
      this.sewn = null;
      if (this.figure.colours === "sewn") this.colour(value.sewn ? "sewn" : "panels");
    } catch (e) {
      this.tell(e.message, true);
    }
  }

  /** Show the suit or the pads, coloured so. */
  showWhat(what, by) {
    this.figure.what = what;
    this.root.querySelector(`[name=what][value=${what}]`).checked = true;
    return this.colour(by);
  }

  /** Colour the figure: by its panels, by their stretch, or by how far the sewn cloth is off the outline. */
  async colour(by) {
    const { figure } = this;
    figure.colours = by;
    this.root.querySelector(`[name=colours][value=${by}]`).checked = true;
    if (by === "sewn" && !this.sewn) {
      try {
        const file = await this.link.ask("file", { name: "sewn.bin" });
        if (!file.value) throw new Error("That pattern is no longer there; make it again.");
        this.sewn = unpacked(file.bytes());
        figure.showSewn(this.sewn);
      } catch (e) {
        this.tell(e.message, true);
        return this.colour("panels");
      }
    }
    figure.draw();
    this.badge("again");
  }

  /** Hand a file of the pattern over where there is no address to fetch it from. */
  async save(name, base) {
    const { bytes } = await this.link.ask("file", { name });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([bytes()]));
    link.download = `${base}-${name}`;
    link.click();
    URL.revokeObjectURL(link.href);
  }

  showLegend() {
    const { scene } = this.live, sewn = this.figure.sews() && this.sewn && this.sewn.text;
    this.$("legend").hidden = !sewn && ((this.figure.colours !== "stretch" && this.$("badge").dataset.stage !== "forecast") || !scene);
    if (this.$("legend").hidden) return;
    const ends = sewn ? this.said(sewn.most) : `${(100 * scene.scale).toFixed(0)} %`, { mm } = sewn || {};
    this.$("low").textContent = `-${ends}`;
    this.$("high").textContent = `+${ends}`;
    this.$("legend-words").textContent = !sewn ? "slack is blue, stretched is brown"
      : `blue lies inside the outline, brown stands off it; on average ${this.said(mm.mean)}, 95 % within ${this.said(mm.p95)}, most ${this.said(mm.max)}`;
    const pen = this.$("ramp").getContext("2d");
    (sewn || scene).colours.forEach((c, k) => { pen.fillStyle = `rgb(${c.join(",")})`; pen.fillRect(k, 0, 1, 1); });
  }

  /** Where there is little room: the flat in place of what the suit is, or both. */
  roomy(on) {
    this.root.querySelector("main").classList.toggle("roomy", on);
    this.$("roomy").setAttribute("aria-pressed", String(on));
    this.$("roomy").textContent = on ? "Smaller" : "Larger";
  }

  // The maker's hands -----------------------------------------------------------------------------

  click(x, y) {
    if (this.pen.click(x, y)) return;
    const hit = this.figure.onPanel(x, y);
    this.lists.tab("panels");
    if (this.live.scene && this.figure.what === "suit") this.lists.choose(hit && hit.name);
  }

  over(x, y) {
    if (x === null || this.pen.draws()) { this.lists.fromFigure(null); if (this.pen.mode === "move") this.pen.over(null); return; }
    if (this.looking) { this.looking = [x, y]; return; }
    this.looking = [x, y];
    requestAnimationFrame(() => { const [a, b] = this.looking; this.looking = null; if (this.pen.mode === "move") { this.pen.over(a, b); return; } this.lists.fromFigure(this.figure.onPanel(a, b)); if (this.figure.sews()) this.off(this.figure.onSewn(a, b)); });
  }

  /** How far the sewn cloth is off the outline where the maker points. */
  off(mm) { this.$("spot").textContent = mm === null ? "" : `${this.$("spot").textContent}: ${this.said(Math.abs(mm))} ${mm < 0 ? "inside" : "off"} the outline`; }

  undo() { if (this.pen.points.length) this.pen.less(); else this.newState("undo", {}); }
  redo() { this.newState("redo", {}); }

  keys(e) {
    if (!(e.ctrlKey || e.metaKey) || e.altKey) return;
    const key = e.key.toLowerCase();
    if (key === "z" && !e.shiftKey) this.undo();
    else if (key === "y" || key === "z") this.redo();
    else if (key === "s") this.newState("save", {}).then((done) => { if (done) this.tell(`Kept in ${this.now.path}.`); });
    else if (key === "enter") this.$("build").click();
    else return;
    e.preventDefault();
  }

  listen() {
    const { figure } = this, $ = (id) => this.$(id);
    $("undo").onclick = () => this.undo();
    $("redo").onclick = () => this.redo();
    $("save").onclick = () => this.newState("save", { over: true });
    $("build").onclick = () => { this.bench.sendText(); this.act("build", {}); };
    $("suggest").onclick = () => { this.bench.sendText(); this.act("suggest", {}); };
    $("stop").onclick = () => this.act("stop", {});
    $("undo").title = "Ctrl+Z"; $("redo").title = "Ctrl+Y";
    $("unit").addEventListener("change", () => { this.bench.show(true); this.lists.showAll(); this.pen.show(); });
    $("roomy").onclick = () => this.roomy($("roomy").getAttribute("aria-pressed") !== "true");
    for (const b of this.all("[data-mode]")) b.onclick = () => this.pen.enter(b.dataset.mode);
    for (const r of this.all("[name=what]")) r.onchange = () => this.showWhat(r.value, figure.colours);
    for (const r of this.all("[name=colours]")) r.onchange = () => this.colour(r.value);
    for (const b of this.all("[data-turn]")) b.onclick = () => { figure.turn = Number(b.dataset.turn); figure.tilt = 5; figure.draw(); };
    this.root.addEventListener("keydown", (e) => this.keys(e));
    if (this.root === document) window.addEventListener("beforeunload", (e) => { if (this.bench.dirty || (this.now && this.now.unkept)) e.preventDefault(); });
  }
}
