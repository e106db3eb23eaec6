// Drawing on the figure: a loop for a pad, a seam, and moving the points of one's own seams.

const NEAR = 14; // CSS pixels within which a click means a point that is there
const HINTS = {
  turn: "",
  pad: "Click round the place of the pad; click the first point again, or press Done, to close it.",
  seam: "Click along the seam; it runs straight over the body from point to point. Done ends it; clicking the first point again closes it.",
  move: "Drag a point of one of your own seams. Or: [ and ] choose a point, turn the figure under the cross, Enter puts it there.",
};

export class Pen {
  /** app: figure, link, live (own seams, shape number), act(), tell(), newState(); ui: elements by name. */
  constructor(app, ui) {
    this.app = app;
    this.ui = ui;
    this.mode = "turn";
    this.points = [];
    this.chosen = -1;
    this.drags = [];
    ui.done.onclick = () => this.finish(false);
    ui.less.onclick = () => this.less();
    ui.leave.onclick = () => this.enter("turn");
  }

  enter(mode) {
    this.mode = mode;
    this.points = [];
    this.chosen = -1;
    this.hold = null;
    this.app.figure.dropMark("pen");
    this.app.figure.dropMark("pen-dots");
    this.app.figure.canvas.classList.toggle("drawing", mode !== "turn");
    this.ui.pick(mode);
    this.show();
    if (mode !== "turn") this.app.figure.canvas.focus({ preventScroll: true });
  }

  show() {
    const { ui } = this, open = this.mode === "pad" || this.mode === "seam";
    ui.bar.hidden = this.mode === "turn";
    ui.cross.hidden = this.mode === "turn";
    ui.done.hidden = ui.less.hidden = !open;
    ui.done.disabled = this.points.length < (this.mode === "pad" ? 3 : 2);
    ui.less.disabled = !this.points.length;
    const length = this.length ? ` ${this.app.said(this.length)}` : "";
    ui.hint.textContent = HINTS[this.mode] + (open && this.points.length ? ` ${this.points.length} points.${length}` : "");
    if (this.mode === "move") this.showHandles();
    else this.app.figure.showDots("pen-dots", this.points.map((p) => p.place));
  }

  // Own seams -------------------------------------------------------------------------------------

  handles() {
    return this.app.own().flatMap((s) => s.points.map((place, point) => ({ seam: s, point, place })));
  }

  showHandles() {
    const all = this.handles();
    if (!all.length) this.ui.hint.textContent = "There is no seam of your own yet; draw one first. Seams of the plan follow the settings on the left.";
    this.app.figure.showDots("pen-dots", all.map((h) => h.place), { hot: this.chosen, size: 14 });
  }

  nearHandle(x, y) {
    let best = -1, least = NEAR;
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
    if (found < 0) return false;
    this.take(found);
    return true;
  }

  take(number) {
    const { app } = this, handle = this.handles()[number];
    this.chosen = number;
    const places = handle.seam.points.map((p) => app.figure.nearestOnShape(p));
    this.hold = { ...handle, places, shape: app.figure.shapeNumber, busy: false, next: null, told: false };
    const hold = this.hold;
    hold.ready = app.link.ask("hold", { seam: handle.seam.number, shape: hold.shape, points: [places[0].weights] }).then(({ value, floats }) => {
      if (this.hold !== hold) return;
      app.figure.paintShape(floats(value.stretch), app.scale(), app.ramp());
      app.figure.showBare(true, true);
      app.badge("forecast");
    }).catch((e) => app.tell(e.message, true));
    this.showHandles();
  }

  drag(x, y) {
    const hit = this.app.figure.onShape(x, y);
    if (!hit || !this.hold) return;
    this.hold.places[this.hold.point] = hit;
    this.hold.moved = true;
    this.forecast();
  }

  /** Ask for the forecast of the newest place; one question at a time, the last one always asked. */
  async forecast() {
    const hold = this.hold, { app } = this;
    if (hold.busy) { hold.next = true; return; }
    hold.busy = true;
    await hold.ready;
    do {
      hold.next = false;
      const start = performance.now();
      try {
        const { value, floats, wholes } = await app.link.ask("drag", { seam: hold.seam.number, shape: hold.shape, points: hold.places.map((p) => p.weights) });
        if (this.hold !== hold && !hold.dropped) break;
        const vertices = wholes(value.vertices);
        // what the last place changed goes back before this one is painted
        app.figure.paintShape(floats(value.stretch), app.scale(), app.ramp(), vertices);
        app.figure.showLine("pen", floats(value.line), { width: 4 });
        app.figure.showDots("pen-dots", this.handles().map((h, k) => (k === this.chosen ? hold.places[hold.point].place : h.place)), { hot: this.chosen, size: 14 });
        app.figure.paint();
        this.drags.push(performance.now() - start);
      } catch (e) {
        app.tell(e.message, true);
        break;
      }
    } while (hold.next);
    hold.busy = false;
  }

  drop(x, y, done) {
    const hold = this.hold;
    if (!hold) return;
    this.hold = null;
    hold.dropped = true;
    if (!done || !hold.moved) { this.app.figure.showBare(false); this.app.badge("again"); this.showHandles(); return; }
    const at = hold.places[hold.point];
    this.app.newState("move", { seam: hold.seam.number, point: hold.point, shape: hold.shape, points: [at.weights] });
  }

  // Drawing ---------------------------------------------------------------------------------------

  click(x, y) {
    if (this.mode !== "pad" && this.mode !== "seam") return false;
    if (this.points.length > 2) {
      const first = this.app.figure.onCanvas(this.points[0].place);
      if (Math.hypot(first.x - x, first.y - y) < NEAR) { this.finish(true); return true; }
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
    const asked = [...this.points], mode = this.mode;
    this.length = 0;
    this.show();
    if (asked.length < 2) { this.app.figure.dropMark("pen"); return; }
    try {
      const { value, floats } = await this.app.link.ask("way", { shape: this.app.figure.shapeNumber, points: asked.map((p) => p.weights), closed: mode === "pad" && asked.length > 2 });
      if (asked.length !== this.points.length || mode !== this.mode) return;
      this.app.figure.showLine("pen", floats(value.line), { width: 4 });
      this.length = value.length_mm;
      this.show();
    } catch (e) {
      this.app.tell(e.message, true);
    }
  }

  async finish(closed) {
    const mode = this.mode, need = mode === "pad" || closed ? 3 : 2;
    if (this.points.length < need) return;
    const given = { shape: this.app.figure.shapeNumber, points: this.points.map((p) => p.weights), closed };
    if (await this.app.newState(mode, given)) {
      this.app.tell(mode === "pad" ? "The pad is there; shape it with its sliders on the left." : "The seam is there.");
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
    else if (e.key === "Enter" && e.shiftKey) this.finish(false);
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
