"use strict";
// The suit in the round: a small WebGL viewer of our own. Millimetres, +Z up, the wearer faces -Y.

const CLOTH = `
attribute vec3 place; attribute vec3 normal; attribute float stretch;
uniform mat4 view; varying vec3 n; varying float s;
void main() { n = normal; s = stretch; gl_Position = view * vec4(place, 1.0); }`;
const PAINT = `
precision mediump float;
uniform vec3 tone; uniform vec3 light; uniform vec3 back; uniform float byStretch; uniform float fade;
uniform float scale; uniform float plain; uniform sampler2D ramp; varying vec3 n; varying float s;
void main() {
  if (plain > 0.5) { gl_FragColor = vec4(tone, 1.0); return; }
  if (byStretch > 0.5) {
    vec3 c = texture2D(ramp, vec2(0.5 + 0.5 * clamp(s / scale, -1.0, 1.0) * 128.0 / 129.0, 0.5)).rgb;
    gl_FragColor = vec4(mix(c, vec3(0.913, 0.902, 0.855), fade), 1.0); return;
  }
  vec3 m = normalize(n);
  float lit = 0.42 + 0.5 * max(dot(m, light), 0.0) + 0.16 * max(dot(m, back), 0.0);
  gl_FragColor = vec4(mix(tone, vec3(0.93, 0.92, 0.88), fade) * lit, 1.0);
}`;
const HALF_FOV = Math.tan((16 * Math.PI) / 180);

const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** Header and arrays of a scene, as padlib/workshop/scene.py lays them out. */
function readScene(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const at = 4 + length;
  const floats = ([start, count]) => new Float32Array(buffer, at + start, count);
  for (const p of header.panels) {
    p.soup = soup(floats(p.vertices), floats(p.normals), new Uint32Array(buffer, at + p.faces[0], p.faces[1]), floats(p.stretch));
    p.lines = { seams: floats(p.seams), darts: floats(p.darts) };
  }
  return header;
}

/** Triangles one after the other, 7 numbers a corner, so that each can carry its own stretch. */
function soup(vertices, normals, faces, stretch) {
  const out = new Float32Array(faces.length * 7);
  for (let i = 0; i < faces.length; i++) {
    const v = 3 * faces[i];
    out.set(vertices.subarray(v, v + 3), 7 * i);
    out.set(normals.subarray(v, v + 3), 7 * i + 3);
    out[7 * i + 6] = stretch[(i / 3) | 0];
  }
  return out;
}

class Figure {
  /** canvas: where it is drawn; chosen(name or null): called when the maker points at a panel. */
  constructor(canvas, chosen) {
    this.canvas = canvas;
    this.tellChosen = chosen;
    this.panels = [];
    this.what = "suit";
    this.colours = "panels";
    this.chosen = null;
    this.frames = 0;
    this.gl = canvas.getContext("webgl", { antialias: true, preserveDrawingBuffer: true });
    if (!this.gl) return;
    this.prepare();
    this.listen();
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  prepare() {
    const gl = this.gl;
    const program = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, CLOTH], [gl.FRAGMENT_SHADER, PAINT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    gl.useProgram(program);
    this.at = Object.fromEntries(["place", "normal", "stretch"].map((n) => [n, gl.getAttribLocation(program, n)]));
    const names = ["view", "tone", "light", "back", "byStretch", "fade", "scale", "plain", "ramp"];
    this.uniform = Object.fromEntries(names.map((n) => [n, gl.getUniformLocation(program, n)]));
    gl.enable(gl.DEPTH_TEST);
    gl.enable(gl.POLYGON_OFFSET_FILL);
    gl.polygonOffset(1.5, 2);
  }

  /** Show another scene; the view stays where it was, unless it is the first. */
  show(scene) {
    const gl = this.gl;
    if (!gl) return;
    for (const p of this.panels) for (const b of [p.cloth, p.seams, p.darts]) gl.deleteBuffer(b.buffer);
    const first = !this.scene;
    this.scene = scene;
    this.panels = scene.panels.map((p) => ({
      name: p.name, pillow: p.pillow, tone: p.tone, centre: p.centre,
      cloth: this.keep(p.soup, 7), seams: this.keep(p.lines.seams, 3), darts: this.keep(p.lines.darts, 3),
    }));
    for (const p of scene.panels) { delete p.soup; delete p.lines; }
    const bytes = new Uint8Array(scene.colours.flat());
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB, scene.colours.length, 1, 0, gl.RGB, gl.UNSIGNED_BYTE, bytes);
    for (const way of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, way, gl.CLAMP_TO_EDGE);
    for (const way of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, way, gl.LINEAR);
    if (first) this.whole();
    this.draw();
  }

  keep(array, width) {
    const gl = this.gl;
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, array, gl.STATIC_DRAW);
    return { buffer, count: array.length / width };
  }

  whole() {
    const { low, high } = this.scene;
    this.target = low.map((v, k) => (v + high[k]) / 2);
    this.away = 0.48 * Math.hypot(...low.map((v, k) => high[k] - v)) / HALF_FOV;
    this.turn = 25;
    this.tilt = 8;
  }

  eye() {
    const a = (this.turn * Math.PI) / 180, b = (this.tilt * Math.PI) / 180;
    const out = [Math.sin(a) * Math.cos(b), -Math.cos(a) * Math.cos(b), Math.sin(b)];
    const right = [Math.cos(a), Math.sin(a), 0];
    return { out, right, up: cross(out, right) };
  }

  matrix() {
    const { out, right, up } = this.eye();
    const near = this.away * 0.05, far = this.away * 4;
    const f = 1 / HALF_FOV, aspect = this.canvas.width / this.canvas.height;
    const wide = Math.min(1, aspect / 0.62); // a narrow window still shows both hands
    const p = this.target;
    const rows = [right, up, out].map((axis) => [...axis, -dot(axis, p)]);
    rows[2][3] -= this.away;
    const a = (far + near) / (near - far), b = (2 * far * near) / (near - far);
    const m = [rows[0].map((v) => (v * f * wide) / aspect), rows[1].map((v) => v * f * wide),
      rows[2].map((v, k) => v * a + (k === 3 ? b : 0)), rows[2].map((v) => -v)];
    return new Float32Array([0, 1, 2, 3].flatMap((c) => m.map((row) => row[c])));
  }

  draw() {
    if (!this.scene || this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.paint(false); });
  }

  shown() { return this.panels.filter((p) => p.pillow === (this.what === "pads")); }

  paint(ids) {
    const gl = this.gl, u = this.uniform, c = this.canvas;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const size = [Math.max(1, Math.round(c.clientWidth * ratio)), Math.max(1, Math.round(c.clientHeight * ratio))];
    if (c.width !== size[0] || c.height !== size[1]) [c.width, c.height] = size;
    gl.viewport(0, 0, c.width, c.height);
    gl.clearColor(...(ids ? [0, 0, 0] : [0.913, 0.902, 0.855]), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix4fv(u.view, false, this.matrix());
    const { out, right, up } = this.eye();
    const mix = (a, b, d) => { const v = out.map((o, k) => a * right[k] + b * up[k] + d * o); const l = Math.hypot(...v); return v.map((x) => x / l); };
    gl.uniform3fv(u.light, mix(-0.45, 0.5, 0.75));
    gl.uniform3fv(u.back, mix(0.8, -0.2, 0.3));
    gl.uniform1f(u.scale, this.scene.scale);
    gl.uniform1f(u.byStretch, this.colours === "stretch" ? 1 : 0);
    const group = this.shown();
    const alone = group.some((p) => p.name === this.chosen);
    group.forEach((p, k) => {
      gl.uniform1f(u.plain, ids ? 1 : 0);
      gl.uniform3fv(u.tone, ids ? [(k + 1) / 255, 0, 0] : p.tone);
      gl.uniform1f(u.fade, alone && p.name !== this.chosen ? 0.75 : 0); // the chosen one stands out
      this.run(p.cloth, 7, gl.TRIANGLES);
      if (!ids) this.edges(p);
    });
    this.frames += 1;
  }

  edges(p) {
    const gl = this.gl, u = this.uniform;
    const chosen = p.name === this.chosen;
    gl.uniform1f(u.plain, 1);
    gl.uniform3fv(u.tone, chosen ? [0.75, 0.1, 0.0] : [0.12, 0.11, 0.08]);
    this.run(p.seams, 3, gl.LINES);
    gl.uniform3fv(u.tone, chosen ? [0.75, 0.1, 0.0] : [0.3, 0.12, 0.02]);
    this.run(p.darts, 3, gl.LINES);
  }

  run({ buffer, count }, width, kind) {
    const gl = this.gl, at = this.at;
    if (!count) return;
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.enableVertexAttribArray(at.place);
    gl.vertexAttribPointer(at.place, 3, gl.FLOAT, false, 4 * width, 0);
    for (const [name, n, from] of [["normal", 3, 12], ["stretch", 1, 24]]) {
      if (width === 7) {
        gl.enableVertexAttribArray(at[name]);
        gl.vertexAttribPointer(at[name], n, gl.FLOAT, false, 28, from);
      } else gl.disableVertexAttribArray(at[name]);
    }
    gl.drawArrays(kind, 0, count);
  }

  /** The panel under a point of the canvas (CSS pixels), or null. */
  under(x, y) {
    if (!this.scene) return null;
    const gl = this.gl, c = this.canvas, pixel = new Uint8Array(4);
    this.paint(true);
    gl.readPixels(Math.round((x * c.width) / c.clientWidth), Math.round(c.height - (y * c.height) / c.clientHeight), 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, pixel);
    this.paint(false);
    const found = this.shown()[pixel[0] - 1];
    return found ? found.name : null;
  }

  choose(name, face) {
    this.chosen = name;
    const p = this.panels.find((q) => q.name === name);
    if (p && p.pillow !== (this.what === "pads")) this.what = p.pillow ? "pads" : "suit";
    if (p && face) this.face(p.centre);
    this.draw();
  }

  /** Turn so that a place can be seen. */
  face(place) {
    const d = place.map((v, k) => v - this.target[k]);
    if (Math.hypot(d[0], d[1]) > 20) this.turn = (Math.atan2(d[0], -d[1]) * 180) / Math.PI;
  }

  orbit(dx, dy) {
    this.turn -= dx;
    this.tilt = Math.max(-85, Math.min(85, this.tilt + dy));
    this.draw();
  }

  shift(dx, dy) {
    const { right, up } = this.eye(), mm = (2 * HALF_FOV * this.away) / this.canvas.clientHeight;
    this.target = this.target.map((v, k) => v + mm * (dy * up[k] - dx * right[k]));
    this.draw();
  }

  nearer(factor) {
    if (!this.scene) return;
    this.away = Math.max(150, Math.min(20000, this.away * factor));
    this.draw();
  }

  listen() {
    const c = this.canvas;
    let from = null, moved = 0;
    c.addEventListener("pointerdown", (e) => { from = [e.offsetX, e.offsetY]; moved = 0; c.setPointerCapture(e.pointerId); c.focus(); });
    c.addEventListener("pointermove", (e) => {
      if (!from || !this.scene) return;
      const dx = e.offsetX - from[0], dy = e.offsetY - from[1];
      moved += Math.abs(dx) + Math.abs(dy);
      from = [e.offsetX, e.offsetY];
      if (e.shiftKey || e.buttons === 2) this.shift(dx, dy); else this.orbit(dx * 0.5, dy * 0.5);
    });
    c.addEventListener("pointerup", (e) => { if (from && moved < 4) this.tellChosen(this.under(e.offsetX, e.offsetY)); from = null; });
    c.addEventListener("pointercancel", () => { from = null; });
    c.addEventListener("contextmenu", (e) => e.preventDefault());
    c.addEventListener("wheel", (e) => { e.preventDefault(); this.nearer(Math.exp(Math.sign(e.deltaY) * 0.1)); }, { passive: false });
    c.addEventListener("keydown", (e) => this.key(e));
  }

  key(e) {
    if (!this.scene || e.ctrlKey || e.metaKey || e.altKey) return;
    const steps = { ArrowLeft: [-10, 0], ArrowRight: [10, 0], ArrowUp: [0, 10], ArrowDown: [0, -10] };
    if (steps[e.key]) {
      if (e.shiftKey) this.shift(-4 * steps[e.key][0], 4 * steps[e.key][1]); else this.orbit(...steps[e.key]);
    } else if (e.key === "+" || e.key === "=") this.nearer(0.9);
    else if (e.key === "-" || e.key === "_") this.nearer(1 / 0.9);
    else if (e.key === "Home") { this.whole(); this.draw(); }
    else return;
    e.preventDefault();
  }
}
