// Drawing on the figure: a loop for a pad or a mark, a seam, a stroke of the pile; and moving their points.
import { make } from "./dom.js";
import { lineUnder, seamsOf } from "./lines.js";

// CSS pixels within which a click, or a finger, means a point that is there; and how large points are drawn.
const NEAR = 14, NEAR_FINGER = 24, DOT = 14, DOT_FINGER = 20;
// Of each mode: how many points it needs, whether it is a loop, whether it is round at its points, what is asked.
const DRAWN = {
  pad: { least: 3, loop: true, round: false, done: "The pad is there; shape it with its sliders on the left.",
    hint: "Click round the place of the pad; click the first point again, or press Done, to close it." },
  seam: { least: 2, loop: false, round: false, done: "The seam is there.",
    hint: "Click along the seam; it runs straight over the body from point to point. Done ends it; clicking the first point again closes it." },
  mark: { least: 3, loop: true, round: true, done: "The mark is there; its cloth stands on the left.",
    hint: "Click round the mark; click the first point again, or press Done, to close it." },
  pile: { least: 2, loop: false, round: true, done: "The pile follows the stroke.",
    hint: "Click along the way the pile is to lie, from root to tip. Done ends the stroke." },
};
const MOVE = "Drag a seam by its line, or a point of what you drew. By keys: arrow keys move a seam in the list of seams; [ and ] choose a point, Enter puts it under the cross.";
const REST = 700; // ms after the last key until a seam that keys move is kept

export class Pen {
  /** app: figure, link, live (own lines, shape number), act(), tell(), newState(); ui: elements by name. */
  constructor(app, ui) {
    this.app = app;
    this.ui = ui;
    this.mode = "turn";
    this.points = [];
    this.chosen = -1;
    this.drags = [];
    this.sent = {};
    ui.done.onclick = () => this.finish(false);
    ui.less.onclick = () => this.less();
    ui.leave.onclick = () => this.enter("turn");
    ui.cloth.onchange = () => this.show();
  }

  /** Whether a line is being drawn. */
  draws() { return this.mode in DRAWN; }

  enter(mode) {
    this.settle();
    this.mode = mode;
    this.points = [];
    this.length = 0;
    this.chosen = -1;
    this.hold = null;
    const { figure } = this.app;
    for (const name of ["pen", "pen-dots", "pile", "strokes", "pointed"]) figure.dropMark(name);
    this.pointed = "";
    figure.canvas.classList.toggle("drawing", mode !== "turn" && mode !== "move");
    figure.canvas.classList.remove("over");
    this.ui.pick(mode);
    this.show();
    if (mode === "pile") this.showStrokes();
    if (mode !== "turn") figure.canvas.focus({ preventScroll: true });
  }

  show() {
    const { ui } = this, own = DRAWN[this.mode];
    ui.bar.hidden = this.mode === "turn";
    ui.cross.hidden = this.mode === "turn";
    ui.done.hidden = ui.less.hidden = !own;
    ui.done.disabled = !own || this.points.length < own.least;
    ui.less.disabled = !this.points.length;
    ui.cloth.hidden = this.mode !== "mark";
    ui.side.hidden = !own || this.mode === "seam";
    if (this.mode === "mark") this.offerCloths();
    ui.colour.hidden = this.mode !== "mark" || ui.cloth.value !== "new";
    // over the figure: a bar that grows with the words would move it under the pointer
    const length = this.length ? `, ${this.app.said(this.length)}` : "";
    ui.count.textContent = `${this.points.length} points${length}`;
    ui.count.hidden = !own;
    ui.hint.textContent = own ? own.hint : this.mode === "move" ? MOVE : "";
    if (this.mode === "move") this.showHandles();
    else this.app.figure.showDots("pen-dots", this.points.map((p) => p.place));
  }

  /** The figure has another shape with the same triangles: what is being drawn goes along. */
  carry() {
    for (const p of this.points) p.place = this.app.figure.placed(p.weights);
    this.preview();
  }

  /** What a mark can be: another cloth set in, one there is or a new one, or a line. */
  offerCloths() {
    const { cloth } = this.ui, state = this.app.state(), names = state ? state.cloths.map((c) => c.name) : [];
    if (cloth.dataset.names === names.join()) return;
    const before = cloth.value || "new";
    cloth.dataset.names = names.join();
    cloth.replaceChildren(make("option", { value: "new" }, "set in, a new colour"), ...names.map((n) => make("option", { value: `cloth:${n}` }, `set in, ${n}`)), make("option", { value: "line" }, "a drawn line"));
    cloth.value = before;
    if (!cloth.value) cloth.value = "new";
  }

  /** New panels have come: what stands over the old ones is drawn again. */
  renew() {
    if (this.hold && this.hold.before) { this.app.figure.showBare(true, true); this.app.badge("forecast"); } // still in hand
    if (!this.hold) this.app.$("spot").textContent = "";
    if (this.mode === "move") this.show();
    if (this.mode === "pile") this.showStrokes();
  }

  /** The strokes there are, and how the pile lies by them. */
  async showStrokes() {
    const { app } = this, { figure } = app, shape = figure.shapeNumber;
    figure.showPile("pile");
    const lines = [];
    for (const s of app.own().filter((o) => o.table === "pile")) {
      try {
        const { value, floats } = await app.link.ask("way", { shape, round: true, points: s.points.map((p) => figure.nearestOnShape(p).weights) });
        lines.push([...floats(value.line)]);
      } catch { return; } // the figure has changed; what comes next draws them
    }
    if (this.mode === "pile") figure.showArrows("strokes", lines, { width: 4 });
  }

  // Own lines -------------------------------------------------------------------------------------

  handles() {
    return this.app.own().flatMap((line) => line.points.map((place, point) => ({ line, point, place })));
  }

  showHandles() {
    const all = this.handles();
    this.app.figure.showDots("pen-dots", all.map((h) => h.place), { hot: this.chosen, size: this.app.figure.finger ? DOT_FINGER : DOT });
  }

  /** Turn to a drawn thing and take its first point as the one that keys move. */
  find(table, number) {
    const all = this.handles(), at = all.findIndex((h) => h.line.table === table && h.line.number === number);
    if (at < 0) { this.app.tell("That is not cut yet; wait until the panels are drawn."); return; }
    this.enter("move");
    this.chosen = at;
    this.app.figure.face(all[at].place);
    this.showHandles();
  }

  near() { return this.app.figure.finger ? NEAR_FINGER : NEAR; }

  nearHandle(x, y) {
    let best = -1, least = this.near();
    this.handles().forEach((h, k) => {
      const at = this.app.figure.onCanvas(h.place), away = Math.hypot(at.x - x, at.y - y);
      if (away < least && at.seen) { best = k; least = away; }
    });
    return best;
  }

  /** A press on the canvas: whether it takes a point in hand. */
  press(x, y) {
    if (this.mode !== "move") return false;
    const found = this.nearHandle(x, y);
    if (found >= 0) { this.take(found); return true; }
    const line = this.lineUnder(x, y);
    if (!line) return false;
    this.takeSeam(line, x, y);
    return true;
  }

  /** The seam of the plan under a point of the canvas, or null. */
  lineUnder(x, y) {
    const { app } = this;
    if (app.figure.bare || app.figure.what !== "suit") return null;
    return lineUnder(app.figure, app.live, app.state().seams.map((s) => s.name), x, y, this.near());
  }

  /** Point at a seam of the plan: it stands out, and says that it can be dragged. */
  over(x, y) {
    if (this.hold) return;
    const { app } = this, line = x === null || this.nearHandle(x, y) >= 0 ? null : this.lineUnder(x, y), name = line ? line.name : "";
    app.$("spot").textContent = line ? `${name}: drag it; both sides move` : "";
    app.figure.canvas.classList.toggle("over", Boolean(line));
    if (name === this.pointed) return;
    this.pointed = name;
    if (line) app.figure.showLine("pointed", seamsOf(app.live).get(name).pairs, { pairs: true, width: 4 }); else app.figure.dropMark("pointed");
  }

  /** Take a seam of the plan in hand where it was pressed. */
  takeSeam({ name, place, x, y }, px, py) {
    const { figure } = this.app, hit = figure.nearestOnShape(place);
    this.over(null);
    this.settle();
    figure.about = null;
    this.chosen = -1;
    this.hold = { line: { table: "plan", name, points: [] }, point: 0, places: [hit], shift: [x - px, y - py], shape: figure.shapeNumber, busy: false, next: null };
    this.hold.ready = this.holdSeam(this.hold);
  }

  /** A seam of the plan moved by keys: its number by so much; kept when the keys rest. */
  nudge(name, key, by) {
    const { app } = this, setting = app.state().settings.find((s) => s.table === "seams" && s.name === key);
    if (!app.live.scene || !setting) return;
    if (!this.hold || this.hold.line.name !== name || !this.hold.numbers) {
      this.settle();
      app.figure.about = null;
      this.hold = { line: { table: "plan", name, points: [] }, point: 0, places: [], numbers: {}, shape: app.figure.shapeNumber, busy: false, next: null };
      this.hold.ready = this.holdSeam(this.hold);
    }
    const { hold } = this, now = { [key]: setting.value, ...this.sent, ...hold.numbers }[key];
    hold.numbers[key] = now + by;
    hold.moved = true;
    clearTimeout(this.rest);
    const rested = () => { if (this.hold && this.hold.busy) this.rest = setTimeout(rested, REST); else this.settle(); };
    this.rest = setTimeout(rested, REST);
    this.follow();
  }

  /** Keep what keys have moved. */
  settle() {
    clearTimeout(this.rest);
    if (this.hold && this.hold.numbers) this.drop(0, 0, true);
  }

  /** Leave a seam in hand where it was. */
  giveUp() {
    clearTimeout(this.rest);
    if (this.hold) this.drop(0, 0, false);
  }

  take(number) {
    const { app } = this, handle = this.handles()[number];
    this.chosen = number;
    const places = handle.line.points.map((p) => app.figure.nearestOnShape(p));
    app.figure.about = null;
    this.hold = { ...handle, places, shape: app.figure.shapeNumber, busy: false, next: null, ready: null };
    if (handle.line.table === "seam") this.hold.ready = this.holdSeam(this.hold);
    this.showHandles();
  }

  /** Take a seam in hand: the forecast of the whole figure as it is. */
  async holdSeam(hold) {
    const { app } = this;
    try {
      const { value, floats } = await app.link.ask("hold", this.given(hold));
      if (this.hold !== hold) return;
      hold.before = floats(value.stretch);
      app.figure.paintShape(hold.before, app.scale(), app.ramp());
      app.figure.showBare(true, true);
      app.badge("forecast");
    } catch (e) {
      app.tell(e.message, true);
      if (this.hold === hold) { this.hold = null; hold.dropped = true; }
    }
  }

  /** What is asked about a seam in hand: the plan's by its name and by one place or by numbers, the maker's by its points. */
  given({ line, shape, places, numbers }) {
    if (line.table !== "plan") return { seam: line.number, shape, points: places.map((p) => p.weights) };
    return numbers && Object.keys(numbers).length ? { line: line.name, shape, numbers } : { line: line.name, shape, ...(places.length ? { points: [places[0].weights] } : {}) };
  }

  drag(x, y) {
    if (!this.hold || this.hold.numbers) return;
    const [dx, dy] = this.hold.shift || [0, 0], hit = this.app.figure.onShape(x + dx, y + dy);
    if (!hit) return;
    this.hold.places[this.hold.point] = hit;
    this.hold.moved = true;
    this.follow();
  }

  /** Ask what the newest place makes of the line; one question at a time, the last one always asked. */
  async follow() {
    const hold = this.hold, { app } = this;
    if (hold.busy) { hold.next = true; return; }
    hold.busy = true;
    await hold.ready;
    if (!hold.before && hold.ready) { hold.busy = false; return; } // it could not be taken
    do {
      hold.next = false;
      const start = performance.now();
      try {
        await (["seam", "plan"].includes(hold.line.table) ? this.forecast(hold) : this.redraw(hold));
        if (this.hold !== hold && !hold.dropped) break;
        this.drags.push(performance.now() - start);
      } catch (e) {
        app.tell(e.message, true);
        break;
      }
    } while (hold.next);
    hold.busy = false;
  }

  /** The seam and the forecast about it, as they would be. */
  async forecast(hold) {
    const { app } = this;
    app.figure.latePicture(null); // the pointer does not rest
    const { value, floats, wholes } = await app.link.ask("drag", this.given(hold));
    if (this.hold !== hold && !hold.dropped) return;
    if (value.numbers) app.$("spot").textContent = Object.entries(value.numbers).map(([key, v]) => this.said(key, v)).join("; ") + (value.ends ? "; it goes no farther" : "");
    if (hold.numbers && value.ends) Object.assign(hold.numbers, value.numbers);
    const about = wholes(value.vertices), scale = app.scale(), ramp = app.ramp();
    app.figure.paintShape(hold.before, scale, ramp); // what the last place changed goes back first
    app.figure.paintShape(floats(value.stretch), scale, ramp, about);
    this.showHeld(hold, floats(value.pairs), { about, pairs: true });
  }

  /** A number of the plan in words. */
  said(key, v) {
    const { app } = this, s = app.state().settings.find((q) => q.table === "seams" && q.name === key);
    const words = s.help.endsWith("degrees") ? `${v}\u00b0` : app.said(v);
    return `${s.help.replace(/, (mm|degrees)$/, "")}: ${words}`;
  }

  /** A mark or a stroke as it would be. */
  async redraw(hold) {
    const { app } = this, { table, closed, points } = hold.line;
    if (points.length < 2) { this.showHeld(hold, []); return; }
    const { value, floats } = await app.link.ask("way", { shape: hold.shape, points: hold.places.map((p) => p.weights), closed, round: true });
    if (this.hold !== hold && !hold.dropped) return;
    this.showHeld(hold, floats(value.line), { arrow: table === "pile" });
  }

  /** The line as it would be, its point in hand; about: the vertices whose forecast changed. */
  showHeld(hold, line, { arrow = false, about = null, pairs = false } = {}) {
    const { figure } = this.app;
    const change = () => {
      if (arrow) figure.showArrows("pen", [[...line]], { width: 4 }); else figure.showLine("pen", line, { width: 4, pairs });
      if (hold.line.table === "plan") return;
      figure.showDots("pen-dots", this.handles().map((h, k) => (k === this.chosen ? hold.places[hold.point].place : h.place)), { hot: this.chosen, size: this.app.figure.finger ? DOT_FINGER : DOT });
    };
    const { table, name } = hold.line, paired = table === "plan" && hold.places.length && /-(left|right)$/.test(name);
    if (about) { figure.paintAbout(about, line, change, paired ? Math.sign(hold.places[0].place[0]) : 0); return; }
    change();
    figure.paint();
  }

  async drop(x, y, done) {
    const hold = this.hold, { app } = this;
    if (!hold) return;
    this.hold = null;
    hold.dropped = true;
    app.$("spot").textContent = "";
    if (!done || !hold.moved) { app.figure.dropMark("pen"); app.figure.showBare(false); app.badge("again"); if (this.mode === "move") this.showHandles(); return; }
    if (hold.line.table === "plan") { await this.steer(hold); return; }
    const at = hold.places[hold.point], { table, number } = hold.line;
    await app.newState("move", { table, number, point: hold.point, shape: hold.shape, points: [at.weights] });
    app.figure.renameMark("pen", "kept");
  }

  /** Keep a seam of the plan where it was let go. */
  async steer(hold) {
    const { app } = this;
    this.sent = hold.numbers || {}; // where the next key goes on from, before the session has answered
    await hold.ready;
    const done = hold.before && await app.newState("steer", this.given(hold));
    this.sent = {};
    app.lists.showSeams();
    if (done) { app.figure.renameMark("pen", "kept"); return; }
    app.figure.dropMark("pen");
    app.figure.showBare(false);
    app.badge("again");
  }

  // Drawing ---------------------------------------------------------------------------------------

  click(x, y) {
    if (!this.draws()) return false;
    if (this.points.length > 2 && this.mode !== "pile") {
      const first = this.app.figure.onCanvas(this.points[0].place);
      if (Math.hypot(first.x - x, first.y - y) < this.near()) { this.finish(true); return true; }
    }
    const hit = this.app.figure.onShape(x, y);
    if (!hit) { this.app.tell("That is beside the figure; click on it.", true); return true; }
    this.points.push(hit);
    this.preview();
    return true;
  }

  less() {
    this.points.pop();
    this.preview();
  }

  async preview() {
    const asked = [...this.points], mode = this.mode, { loop, round } = DRAWN[mode], { figure } = this.app;
    this.length = 0;
    this.show();
    if (asked.length < 2) { figure.dropMark("pen"); return; }
    try {
      const closed = loop && asked.length > 2;
      const { value, floats } = await this.app.link.ask("way", { shape: figure.shapeNumber, points: asked.map((p) => p.weights), closed, round: round && (closed || !loop) });
      if (asked.length !== this.points.length || mode !== this.mode) return;
      const line = floats(value.line);
      if (mode === "pile") figure.showArrows("pen", [[...line]], { width: 4 }); else figure.showLine("pen", line, { width: 4 });
      this.length = value.length_mm;
      this.show();
    } catch (e) {
      this.app.tell(e.message, true);
    }
  }

  async finish(closed) {
    const { app, ui, mode } = this, need = closed ? 3 : DRAWN[mode].least;
    if (this.points.length < need) return;
    const given = { shape: app.figure.shapeNumber, points: this.points.map((p) => p.weights), closed };
    if (mode !== "seam") given.side = ui.side.value;
    if (mode === "mark") {
      const what = ui.cloth.value;
      Object.assign(given, { style: what === "line" ? "line" : "inset", cloth: what.startsWith("cloth:") ? what.slice(6) : "", colour: ui.colour.value });
    }
    if (await app.newState(mode, given)) {
      app.tell(DRAWN[mode].done);
      app.figure.renameMark("pen", "kept"); // until the panels show it
      this.enter("turn");
    }
  }

  // Keys ------------------------------------------------------------------------------------------

  /** A key pressed on the figure: whether it meant something. Enter acts at the cross in the middle. */
  key(e) {
    if (this.mode === "turn") return false;
    const c = this.app.figure.canvas, x = c.clientWidth / 2, y = c.clientHeight / 2;
    if (e.key === "Escape") this.enter("turn");
    else if (e.key === "Backspace" && this.mode !== "move") this.less();
    else if (e.key === "Enter" && e.shiftKey) { if (this.mode !== "move") this.finish(false); }
    else if ((e.key === "Enter" || e.key === " ") && this.mode !== "move") this.click(x, y);
    else if (this.mode === "move" && (e.key === "[" || e.key === "]")) {
      const all = this.handles();
      if (!all.length) return true;
      this.chosen = (this.chosen + (e.key === "]" ? 1 : all.length - 1) + all.length) % all.length;
      this.app.figure.face(all[this.chosen].place);
      this.showHandles();
    } else if (this.mode === "move" && e.key === "Enter" && this.chosen >= 0) {
      this.take(this.chosen);
      this.drag(x, y);
      this.drop(x, y, true);
    } else return false;
    return true;
  }
}
