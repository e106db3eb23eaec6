// One panel laid flat: its outline as SVG over the heat map, which is drawn once to a bitmap.
import { draw } from "./dom.js";

export class FlatView {
  /** box: the element it fills; over(hit or null): told what is pointed at, {face, weights}. */
  constructor(box, over) {
    this.box = box;
    this.canvas = box.querySelector("canvas");
    this.svg = box.querySelector("svg");
    this.over = over;
    this.panel = null;
    this.drawn = 0;
    this.svg.addEventListener("pointermove", (e) => { if (this.panel) this.over(this.hit(...this.onPaper(e))); });
    this.svg.addEventListener("pointerleave", () => this.over(null));
    this.watch = new ResizeObserver(() => this.place());
    this.watch.observe(box);
  }

  close() { this.watch.disconnect(); }

  /** Show a panel of a scene, or nothing. */
  show(panel, scene, floats, wholes) {
    this.panel = panel && panel.flat ? panel : null;
    this.box.hidden = !this.panel;
    this.svg.replaceChildren();
    if (!this.panel) return;
    this.at = floats(panel.flat);
    this.faces = wholes(panel.faces);
    const stretch = floats(panel.stretch);
    let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
    for (let k = 0; k < this.at.length; k += 2) {
      x0 = Math.min(x0, this.at[k]); x1 = Math.max(x1, this.at[k]);
      y0 = Math.min(y0, this.at[k + 1]); y1 = Math.max(y1, this.at[k + 1]);
    }
    const rim = 0.03 * Math.max(x1 - x0, y1 - y0);
    this.frame = { x: x0 - rim, y: y0 - rim, wide: x1 - x0 + 2 * rim, high: y1 - y0 + 2 * rim };
    this.svg.setAttribute("viewBox", `${this.frame.x} ${-(y1 + rim)} ${this.frame.wide} ${this.frame.high}`);
    this.bitmap(stretch, scene);
    const space = floats(panel.vertices), same = (a, b) => [0, 1, 2].every((k) => Math.abs(space[3 * a + k] - space[3 * b + k]) < 1e-3);
    // the two sides of a dart's mouth are one place on the body: there the edge lies open
    const path = (run) => [...run].map((v, k) => `${k && !same(run[k - 1], v) ? "L" : "M"}${this.at[2 * v].toFixed(2)} ${(-this.at[2 * v + 1]).toFixed(2)}`).join("");
    for (const [kind, seam, place] of panel.edges) {
      const line = draw("path", { d: path(wholes(place)), class: `edge ${kind}`, "data-seam": seam });
      const title = draw("title");
      title.textContent = kind === "dart" ? "dart" : seam;
      line.append(title);
      this.svg.append(line);
    }
    for (const { mark, lines } of panel.marks || []) {
      const { name, inset, cloth, colour } = scene.marks[mark];
      for (const [run, closed] of lines) {
        const d = path(wholes(run)) + (closed ? "Z" : ""), under = draw("path", { d, class: "mark", "data-mark": name });
        under.style.stroke = `rgb(${colour.map((c) => Math.round(255 * c)).join(",")})`;
        const title = draw("title");
        title.textContent = inset ? `${name}: ${cloth}, set in` : `${name}: a drawn line`;
        under.append(title);
        this.svg.append(under, draw("path", { d, class: "mark over" }));
      }
    }
    const pile = draw("path", { class: "pile", d: `M${x0} ${-(y0 + 0.3 * (y1 - y0))}v${0.2 * (y1 - y0)}m-${rim / 3} -${rim / 2}l${rim / 3} ${rim / 2}l${rim / 3} -${rim / 2}` });
    this.dot = draw("circle", { class: "dot", r: 0.012 * Math.max(this.frame.wide, this.frame.high), visibility: "hidden" });
    this.svg.append(pile, this.dot);
    this.place();
  }

  bitmap(stretch, scene) {
    const c = this.canvas, f = this.frame, size = 900 / Math.max(f.wide, f.high);
    c.width = Math.round(f.wide * size); c.height = Math.round(f.high * size);
    const pen = c.getContext("2d");
    const x = (v) => (this.at[2 * v] - f.x) * size, y = (v) => c.height - (this.at[2 * v + 1] - f.y) * size;
    const styles = scene.colours.map((rgb) => `rgb(${rgb.join(",")})`);
    pen.lineWidth = 1;
    for (let t = 0; t < stretch.length; t++) {
      const [a, b, d] = this.faces.subarray(3 * t, 3 * t + 3);
      pen.fillStyle = pen.strokeStyle = styles[Math.round(64 + 64 * Math.max(-1, Math.min(1, stretch[t] / scene.scale)))] || styles[64];
      pen.beginPath();
      pen.moveTo(x(a), y(a)); pen.lineTo(x(b), y(b)); pen.lineTo(x(d), y(d));
      pen.closePath(); pen.fill(); pen.stroke();
    }
    this.drawn += 1;
  }

  /** Lay the bitmap exactly under the drawing, whatever room there is. */
  place() {
    if (!this.panel) return;
    const wide = this.box.clientWidth, high = this.box.clientHeight;
    const size = Math.min(wide / this.frame.wide, high / this.frame.high);
    for (const e of [this.canvas, this.svg]) {
      e.style.width = `${size * this.frame.wide}px`; e.style.height = `${size * this.frame.high}px`;
      e.style.left = `${(wide - size * this.frame.wide) / 2}px`; e.style.top = `${(high - size * this.frame.high) / 2}px`;
    }
  }

  onPaper(e) {
    const box = this.svg.getBoundingClientRect(), f = this.frame;
    return [f.x + ((e.clientX - box.left) / box.width) * f.wide, f.y + (1 - (e.clientY - box.top) / box.height) * f.high];
  }

  /** The triangle under a place on paper: {face, weights}, or null. */
  hit(x, y) {
    const { at, faces } = this;
    for (let t = 0; t < faces.length; t += 3) {
      const a = 2 * faces[t], b = 2 * faces[t + 1], c = 2 * faces[t + 2];
      const bx = at[b] - at[a], by = at[b + 1] - at[a + 1], cx = at[c] - at[a], cy = at[c + 1] - at[a + 1];
      const px = x - at[a], py = y - at[a + 1], all = bx * cy - by * cx;
      if (!all) continue;
      const v = (px * cy - py * cx) / all, w = (bx * py - by * px) / all;
      if (v >= -1e-6 && w >= -1e-6 && v + w <= 1 + 1e-6) return { face: t / 3, weights: [1 - v - w, v, w] };
    }
    return null;
  }

  /** Show where a place of the panel is; null hides the dot. */
  point(hit) {
    if (!this.panel || !this.dot) return;
    this.dot.setAttribute("visibility", hit ? "visible" : "hidden");
    if (!hit) return;
    let x = 0, y = 0;
    for (let k = 0; k < 3; k++) {
      const v = 2 * this.faces[3 * hit.face + k];
      x += hit.weights[k] * this.at[v]; y += hit.weights[k] * this.at[v + 1];
    }
    this.dot.setAttribute("cx", x); this.dot.setAttribute("cy", -y);
  }

  chooseSeam(name) { for (const p of this.svg.querySelectorAll(".edge")) p.classList.toggle("chosen", p.dataset.seam === name); }
}
