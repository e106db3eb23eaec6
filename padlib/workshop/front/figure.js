// The suit in the round. Millimetres, +Z up, the wearer faces -Y.
import * as THREE from "three";
import { MeshBVH, acceleratedRaycast } from "three-mesh-bvh";
import { LineSegments2 } from "three/examples/jsm/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/examples/jsm/lines/LineSegmentsGeometry.js";
import { LineMaterial } from "three/examples/jsm/lines/LineMaterial.js";
import { Part, within } from "./part.js";

THREE.ColorManagement.enabled = false; // colours on the screen are the numbers that were given
THREE.Mesh.prototype.raycast = acceleratedRaycast;

const HALF_FOV = 16; // degrees
const GROUND = 0xe9e6da, INK = 0x1f1c14, DART = 0x4d1f05, CHOSEN = 0xc01a00, PEN = 0x0b5cad, TAPE = 0x7a1f5c;
const REST = 250; // ms without a change after which the side of the body that is not in hand is painted too
const RIM = 20; // CSS pixels about what changed: dots and lines are wide
const BARE = [0.76, 0.72, 0.62]; // the shape before it is cut

/** Let a material fade into the ground, so that a chosen panel stands out in a map too. */
function fading(material) {
  const fade = { value: 0 };
  material.userData.fade = fade;
  material.onBeforeCompile = (shader) => {
    shader.uniforms.fade = fade;
    shader.fragmentShader = `uniform float fade;\n${shader.fragmentShader}`.replace("#include <dithering_fragment>",
      "#include <dithering_fragment>\ngl_FragColor.rgb = mix(gl_FragColor.rgb, vec3(0.913, 0.902, 0.855), fade);");
  };
}

/** The colour of a value from -1 to 1 on a ramp of 129. */
const shade = (ramp, value) => ramp[Math.round(64 + 64 * Math.max(-1, Math.min(1, value)))] || ramp[64];
const bvh = (geometry) => { geometry.boundsTree = new MeshBVH(geometry, { indirect: true }); };
const sum = (a, b, s) => a.map((v, k) => v + s * b[k]);

export class Figure {
  /** canvas: where it is drawn; on: { place(hit or null), press(e) -> true if taken, over(hit or null) }. */
  constructor(canvas, on) {
    this.canvas = canvas;
    this.on = on;
    this.what = "suit";
    this.colours = "panels";
    this.chosen = null;
    this.frames = 0;
    this.later = null; // what waits to be painted
    this.turn = 25; this.tilt = 8; this.away = 5000; this.target = [0, 0, 900];
    try {
      this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true });
    } catch {
      return; // no 3D in this browser; the page says so
    }
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
    this.renderer.setClearColor(GROUND);
    this.world = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(2 * HALF_FOV, 1, 50, 20000);
    this.camera.up.set(0, 0, 1);
    const key = new THREE.DirectionalLight(0xffffff, 1.75), back = new THREE.DirectionalLight(0xffffff, 0.5);
    key.position.set(-0.45, 0.5, 0.75); back.position.set(0.8, -0.2, 0.3);
    this.camera.add(key, back, key.target, back.target);
    this.world.add(this.camera, new THREE.AmbientLight(0xffffff, 1.3));
    this.groups = { suit: new THREE.Group(), pads: new THREE.Group(), sewn: new THREE.Group() };
    this.marks = new THREE.Group();
    this.thin = new THREE.LineSegments(new THREE.BufferGeometry(), new THREE.LineBasicMaterial({ color: INK }));
    this.thin.frustumCulled = false;
    this.inks = new Map();
    this.world.add(this.groups.suit, this.groups.pads, this.groups.sewn, this.marks, this.thin);
    this.ray = new THREE.Raycaster();
    this.ray.firstHitOnly = true;
    this.listen();
    this.watch = new ResizeObserver(() => this.draw());
    this.watch.observe(canvas);
  }

  close() {
    if (!this.renderer) return;
    this.watch.disconnect();
    this.renderer.dispose();
  }

  // What is shown ---------------------------------------------------------------------------------

  /** The shell: places and faces; with the same faces only the places are moved and the tree refitted. Whether they
   * are the same, so that a place on one is a place on the other. */
  showShape(places, faces, number) {
    if (!this.renderer) return false;
    const old = this.shape, same = Boolean(old) && old.faces.length === faces.length && old.faces.every((v, k) => v === faces[k]);
    this.shapeNumber = number;
    if (same) {
      const at = old.mesh.geometry.getAttribute("position");
      at.array.set(places);
      at.needsUpdate = true;
      old.mesh.geometry.computeVertexNormals();
      old.mesh.geometry.boundingSphere = null;
      old.mesh.geometry.boundingBox = null;
      old.part.view = null;
      if (old.mesh.geometry.boundsTree) old.mesh.geometry.boundsTree.refit();
    } else {
      if (old) { this.world.remove(old.mesh, old.part.mesh); old.mesh.geometry.dispose(); old.part.mesh.geometry.dispose(); }
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(places), 3));
      geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(faces), 1));
      geometry.setAttribute("color", new THREE.BufferAttribute(new Float32Array(places.length), 3));
      geometry.computeVertexNormals();
      const lit = new THREE.MeshLambertMaterial({ color: new THREE.Color(...BARE), polygonOffset: true, polygonOffsetFactor: 1.5, polygonOffsetUnits: 2 });
      const told = new THREE.MeshBasicMaterial({ vertexColors: true, polygonOffset: true, polygonOffsetFactor: 1.5, polygonOffsetUnits: 2 });
      const mesh = new THREE.Mesh(geometry, lit);
      mesh.frustumCulled = false;
      this.shape = { mesh, faces: new Uint32Array(faces), lit, told };
      this.shape.part = new Part(this.shape);
      this.world.add(mesh, this.shape.part.mesh);
      if (!old) { geometry.computeBoundingBox(); this.whole(); }
    }
    this.showBare(true);
    return same;
  }

  /** Where a place [face, a, b, c] of the shape is now. */
  placed([face, ...weights]) {
    const at = this.shape.mesh.geometry.getAttribute("position").array, { faces } = this.shape;
    return [0, 1, 2].map((k) => weights.reduce((sum, w, c) => sum + w * at[3 * faces[3 * face + c] + k], 0));
  }

  /** Show the shape without its panels (true), or the panels. forecast: coloured by it. */
  showBare(bare, forecast = false) {
    this.bare = bare;
    this.told = forecast;
    if (this.shape) this.shape.mesh.material = forecast ? this.shape.told : this.shape.lit;
    this.draw();
  }

  /** Colours of the shape from a forecast of stretch at each vertex, or at some of them. */
  paintShape(stretch, scale, ramp, vertices = null) {
    const colour = this.shape.mesh.geometry.getAttribute("color");
    const count = vertices ? vertices.length : stretch.length;
    for (let k = 0; k < count; k++) {
      const c = shade(ramp, stretch[k] / scale);
      const v = 3 * (vertices ? vertices[k] : k);
      colour.array[v] = c[0] / 255; colour.array[v + 1] = c[1] / 255; colour.array[v + 2] = c[2] / 255;
    }
    colour.needsUpdate = true;
  }

  /** Panels of a scene, into the group "suit" or "pads". */
  showPanels(scene, floats, wholes, group = "suit") {
    if (!this.renderer) return;
    const home = this.groups[group];
    for (const old of [...home.children]) { home.remove(old); old.traverse((o) => { o.geometry?.dispose(); }); }
    if (group === "suit") this.scene = scene;
    const ramp = scene.colours;
    for (const p of scene.panels.filter((q) => q.pillow === (group === "pads"))) {
      const places = floats(p.vertices), normals = floats(p.normals), faces = wholes(p.faces), stretch = floats(p.stretch);
      const count = faces.length, soup = new Float32Array(3 * count), lean = new Float32Array(3 * count), told = new Float32Array(3 * count);
      for (let i = 0; i < count; i++) {
        const v = 3 * faces[i], s = stretch[(i / 3) | 0];
        const c = shade(ramp, s / scene.scale);
        for (let k = 0; k < 3; k++) { soup[3 * i + k] = places[v + k]; lean[3 * i + k] = normals[v + k]; told[3 * i + k] = c[k] / 255; }
      }
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position", new THREE.BufferAttribute(soup, 3));
      geometry.setAttribute("normal", new THREE.BufferAttribute(lean, 3));
      geometry.setAttribute("color", new THREE.BufferAttribute(told, 3));
      const offset = { polygonOffset: true, polygonOffsetFactor: 1.5, polygonOffsetUnits: 2 };
      const lit = new THREE.MeshLambertMaterial({ color: new THREE.Color(...p.tone), ...offset });
      const plain = new THREE.MeshBasicMaterial({ vertexColors: true, ...offset }); // lights would falsify the map
      fading(plain);
      const mesh = new THREE.Mesh(geometry, lit);
      mesh.userData = { panel: p, lit, plain, faces, places, normals };
      const lines = [["seams", INK], ["darts", DART]].map(([name, colour]) => {
        const line = new THREE.LineSegments(new THREE.BufferGeometry(), new THREE.LineBasicMaterial({ color: colour }));
        line.geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(floats(p[name])), 3));
        line.userData = { colour };
        return line;
      });
      mesh.add(...lines, ...this.inlays(p, scene, geometry, offset, { wholes, places }));
      home.add(mesh);
    }
    if (group === "suit") {
      const lines = scene.panels.filter((q) => !q.pillow).flatMap((p) => [...floats(p.seams)]);
      this.thin.geometry.dispose();
      this.thin.geometry = new THREE.BufferGeometry();
      this.thin.geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(lines), 3));
      this.showBare(false);
    }
    this.draw();
  }

  /** The cloth of the pattern sewn back together, coloured by how far each place is off the outline. */
  showSewn({ text, floats, wholes }) {
    if (!this.renderer) return;
    const home = this.groups.sewn, away = floats(text.away), colours = new Float32Array(3 * away.length);
    for (const old of [...home.children]) { home.remove(old); old.geometry.dispose(); }
    away.forEach((mm, v) => colours.set(shade(text.colours, mm / text.most).map((c) => c / 255), 3 * v));
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(floats(text.vertices)), 3));
    geometry.setAttribute("color", new THREE.BufferAttribute(colours, 3));
    geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(wholes(text.faces)), 1));
    const cloth = new THREE.Mesh(geometry, new THREE.MeshBasicMaterial({ vertexColors: true, side: THREE.DoubleSide, polygonOffset: true, polygonOffsetFactor: 1.5, polygonOffsetUnits: 2 }));
    const seams = new THREE.LineSegments(new THREE.BufferGeometry(), new THREE.LineBasicMaterial({ color: INK }));
    seams.geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(floats(text.seams)), 3));
    cloth.userData = { away };
    home.add(cloth, seams);
    this.draw();
  }

  /** Whether the sewn cloth is what is shown. */
  sews() { return this.colours === "sewn" && this.what === "suit" && !this.bare && this.groups.sewn.children.length > 0; }

  /** How far off the outline the sewn cloth is under a point of the canvas, mm, or null. */
  onSewn(x, y) {
    const [cloth] = this.groups.sewn.children, { geometry, userData: { away } } = cloth;
    if (!geometry.boundsTree) bvh(geometry);
    this.aimRay(x, y);
    const hit = this.ray.intersectObject(cloth, false)[0];
    if (!hit) return null;
    const { index, attributes: { position } } = geometry, ends = [0, 1, 2].map((k) => index.getX(3 * hit.faceIndex + k)), w = new THREE.Vector3();
    new THREE.Triangle(...ends.map((v) => new THREE.Vector3().fromBufferAttribute(position, v))).getBarycoord(hit.point, w);
    return w.x * away[ends[0]] + w.y * away[ends[1]] + w.z * away[ends[2]];
  }

  /** What marks lay over a panel: their triangles in their cloth's colour, and their outlines. */
  inlays(p, scene, geometry, offset, { wholes, places }) {
    const out = [];
    for (const { mark, triangles, lines } of p.marks || []) {
      const { inset, colour } = scene.marks[mark];
      if (inset) {
        const own = new THREE.BufferGeometry(), corner = [];
        for (const name of ["position", "normal"]) own.setAttribute(name, geometry.getAttribute(name));
        for (const t of wholes(triangles)) corner.push(3 * t, 3 * t + 1, 3 * t + 2);
        own.setIndex(corner);
        const cloth = new THREE.MeshLambertMaterial({ color: new THREE.Color(...colour), ...offset, polygonOffsetFactor: 0.5, polygonOffsetUnits: 0 });
        const mesh = new THREE.Mesh(own, cloth);
        mesh.userData = { colour };
        out.push(mesh);
      }
      const pairs = lines.flatMap(([run, closed]) => {
        const at = wholes(run), ends = [];
        for (let k = 0; k + 1 < at.length + (closed ? 1 : 0); k++) for (const v of [at[k], at[(k + 1) % at.length]]) ends.push(places[3 * v], places[3 * v + 1], places[3 * v + 2]);
        return ends;
      });
      const rim = new THREE.LineSegments(new THREE.BufferGeometry(), new THREE.LineBasicMaterial({ color: INK }));
      rim.geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(pairs), 3));
      rim.userData = { colour: INK };
      out.push(rim);
    }
    return out;
  }

  /** Arrows over the figure: lines (arrays of places), each with a head at its end. */
  showArrows(name, lines, { colour = PEN, width = 3, head = 22 } = {}) {
    const pairs = [];
    for (const line of lines) {
      const n = line.length / 3;
      if (n < 2) continue;
      for (let k = 0; k + 1 < n; k++) pairs.push(...line.slice(3 * k, 3 * k + 6));
      const [a, b] = [n - 2, n - 1].map((k) => new THREE.Vector3(line[3 * k], line[3 * k + 1], line[3 * k + 2]));
      const way = b.clone().sub(a).normalize(), out = this.axes().out;
      const side = way.clone().cross(new THREE.Vector3(...out)).normalize();
      for (const s of [-0.5, 0.5]) pairs.push(...b.toArray(), ...b.clone().addScaledVector(way, -head).addScaledVector(side, s * head).toArray());
    }
    this.showLine(name, pairs, { colour, pairs: true, width });
  }

  /** How the pile lies, as short arrows spread over every panel. */
  showPile(name) {
    const lines = [], all = this.scene ? this.groups.suit.children : [];
    for (const { userData: { panel, places, normals } } of all) {
      if (!panel.pile) continue;
      const count = places.length / 3, taken = [], pile = new THREE.Vector3(...panel.pile);
      for (let v = 0; v < count; v += 1 + (count >> 9)) {
        const at = new THREE.Vector3().fromArray(places, 3 * v);
        if (taken.some((q) => q.distanceTo(at) < 110)) continue;
        taken.push(at);
        const n = new THREE.Vector3().fromArray(normals, 3 * v), way = pile.clone().addScaledVector(n, -pile.dot(n));
        if (way.length() < 0.2) continue;
        const from = at.clone().addScaledVector(n, 6);
        lines.push([...from.toArray(), ...from.addScaledVector(way.normalize(), 45).toArray()]);
      }
    }
    this.showArrows(name, lines, { colour: 0x5a5140, width: 1.5, head: 12 });
  }

  /** Let a line stand under another name. */
  renameMark(from, to) {
    this.dropMark(to);
    const old = this.marks.children.find((o) => o.name === from);
    if (old) old.name = to;
  }

  /** Fat lines over the figure, one set a name: pairs of points, colour; hidden behind the body. */
  showLine(name, places, { colour = PEN, closed = false, pairs = false, width = 3 } = {}) {
    this.dropMark(name);
    if (places.length < 6) return;
    let at = places;
    if (!pairs) {
      const n = places.length / 3, out = [];
      for (let k = 0; k + 1 < n + (closed ? 1 : 0); k++) out.push(...places.slice(3 * k, 3 * k + 3), ...places.slice(3 * ((k + 1) % n), 3 * ((k + 1) % n) + 3));
      at = out;
    }
    const geometry = new LineSegmentsGeometry();
    geometry.setPositions(at);
    const line = new LineSegments2(geometry, this.ink(`line-${colour}-${width}`, () => new LineMaterial({ color: colour, linewidth: width, polygonOffset: true, polygonOffsetFactor: -4, polygonOffsetUnits: -8 })));
    line.name = name;
    line.frustumCulled = false;
    this.marks.add(line);
    this.draw();
  }

  /** Dots of a size in pixels over the figure; `hot`: the number of one that stands out. */
  showDots(name, places, { colour = PEN, size = 11, hot = -1 } = {}) {
    this.dropMark(name);
    if (!places.length) { this.draw(); return; }
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(places.flat()), 3));
    const tint = new THREE.Color(colour), bright = new THREE.Color(CHOSEN);
    geometry.setAttribute("color", new THREE.BufferAttribute(new Float32Array(places.flatMap((_, k) => (k === hot ? bright : tint).toArray())), 3));
    const pixels = size * this.ratio();
    const dots = new THREE.Points(geometry, this.ink(`dots-${pixels}`, () => new THREE.PointsMaterial({ size: pixels, sizeAttenuation: false, vertexColors: true, depthTest: false })));
    dots.name = name;
    dots.renderOrder = 2;
    dots.frustumCulled = false;
    this.marks.add(dots);
    this.draw();
  }

  dropMark(name) {
    const old = this.marks.children.find((o) => o.name === name);
    if (old) { this.marks.remove(old); old.geometry.dispose(); this.draw(); }
  }

  /** A material kept for good: one that is thrown away takes its program along, which is slow to make again. */
  ink(key, create) {
    if (!this.inks.has(key)) this.inks.set(key, create());
    return this.inks.get(key);
  }

  showTapes(lines) { this.showLine("tapes", lines, { colour: TAPE, pairs: true, width: 2.5 }); }

  // The view --------------------------------------------------------------------------------------

  whole() {
    const box = new THREE.Box3();
    if (this.shape) box.setFromBufferAttribute(this.shape.mesh.geometry.getAttribute("position"));
    else if (this.scene) box.set(new THREE.Vector3(...this.scene.low), new THREE.Vector3(...this.scene.high));
    else return;
    const low = box.min.toArray(), high = box.max.toArray();
    this.target = low.map((v, k) => (v + high[k]) / 2);
    this.away = (0.47 * Math.hypot(...low.map((v, k) => high[k] - v))) / Math.tan((HALF_FOV * Math.PI) / 180);
    this.turn = 25; this.tilt = 8;
  }

  axes() {
    const a = (this.turn * Math.PI) / 180, b = (this.tilt * Math.PI) / 180;
    const out = [Math.sin(a) * Math.cos(b), -Math.cos(a) * Math.cos(b), Math.sin(b)], right = [Math.cos(a), Math.sin(a), 0];
    const up = [out[1] * right[2] - out[2] * right[1], out[2] * right[0] - out[0] * right[2], out[0] * right[1] - out[1] * right[0]];
    return { out, right, up };
  }

  ratio() { return Math.min(window.devicePixelRatio || 1, 2); }

  /** The camera as the view says; before every picture and before every pick. */
  aim() {
    const c = this.canvas, wide = Math.max(1, c.clientWidth), high = Math.max(1, c.clientHeight), aspect = wide / high;
    const away = this.away * Math.max(1, 0.62 / aspect); // a narrow window still shows both hands
    this.camera.aspect = aspect;
    this.camera.near = away * 0.05; this.camera.far = away * 4;
    this.camera.position.set(...sum(this.target, this.axes().out, away));
    this.camera.lookAt(...this.target);
    this.camera.updateProjectionMatrix();
    this.camera.updateMatrixWorld(true);
  }

  /** A new picture before long; one that was painted meanwhile will do. */
  draw() {
    if (this.quiet) return;
    this.latePicture(null); // all will be painted
    this.stale = true;
    if (!this.renderer || this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; if (this.stale) this.paint(); });
  }

  paint() {
    this.stale = false;
    const c = this.canvas, size = this.renderer.getSize(new THREE.Vector2());
    if (this.renderer.getPixelRatio() !== this.ratio()) this.renderer.setPixelRatio(this.ratio());
    if (size.x !== c.clientWidth || size.y !== c.clientHeight) this.renderer.setSize(Math.max(1, c.clientWidth), Math.max(1, c.clientHeight), false);
    this.aim();
    const bare = this.bare && this.what === "suit";
    if (this.shape) this.shape.mesh.visible = bare;
    this.thin.visible = bare && this.told; // where the seams were, while one is moved
    this.groups.sewn.visible = this.sews();
    this.groups.suit.visible = this.what === "suit" && !bare && !this.sews();
    this.groups.pads.visible = this.what === "pads";
    this.marks.visible = this.what === "suit";
    const shown = this.groups[this.what].children, alone = shown.some((m) => m.userData.panel.name === this.chosen);
    for (const m of shown) {
      const { panel, lit, plain } = m.userData, own = panel.name === this.chosen;
      m.material = this.colours === "stretch" ? plain : lit;
      const pale = alone && !own ? 0.7 : 0;
      lit.color.setRGB(...panel.tone.map((t) => t + pale * (0.92 - t)));
      plain.userData.fade.value = pale;
      for (const o of m.children) {
        const { colour } = o.userData;
        if (o.isMesh) { o.visible = this.colours !== "stretch"; o.material.color.setRGB(...colour.map((t) => t + pale * (0.92 - t))); }
        else o.material.color.setHex(own ? CHOSEN : colour);
      }
    }
    this.renderer.render(this.world, this.camera);
    this.frames += 1;
  }

  /** Change what stands on the bare shape about some vertices and along a line, and paint that part of the picture
   * alone, with what the last such change left; all of it where the view is another one or nothing was painted so.
   * side: -1 or 1 of the body, which alone is painted at once; the other one follows when nothing more comes. */
  paintAbout(vertices, line, change, side = 0) {
    this.latePicture(null);
    this.quiet = true;
    change();
    this.quiet = false;
    const c = this.canvas, wide = c.clientWidth, high = c.clientHeight, { part, mesh } = this.shape, old = part.view;
    this.aim();
    part.seen(this.camera, wide, high);
    const box = part.box(vertices, line, RIM, side), last = this.about;
    this.about = box;
    if (side) this.latePicture(() => { this.paintAbout(vertices, line, () => {}); this.about = box; });
    const all = !last || old !== part.view || this.stale || !this.bare || this.what !== "suit";
    const room = all ? null : within([0, 1].map((k) => Math.min(box[k], last[k])).concat([2, 3].map((k) => Math.max(box[k], last[k]))), wide, high);
    if (!room) { this.paint(); return; }
    const [left, top, w, h] = room;
    part.choose(room);
    mesh.visible = false; part.mesh.visible = true;
    this.renderer.setScissor(left, high - top - h, w, h);
    this.renderer.setScissorTest(true);
    this.renderer.render(this.world, this.camera);
    this.renderer.setScissorTest(false);
    mesh.visible = true; part.mesh.visible = false;
    this.frames += 1;
  }

  /** Paint something when nothing has changed for a while; null: nothing any more. */
  latePicture(paint) {
    clearTimeout(this.later);
    this.later = paint ? setTimeout(paint, REST) : null;
  }

  // Pointing --------------------------------------------------------------------------------------

  aimRay(x, y) {
    this.aim();
    const c = this.canvas;
    this.ray.setFromCamera(new THREE.Vector2((2 * x) / c.clientWidth - 1, 1 - (2 * y) / c.clientHeight), this.camera);
  }

  /** The place of the shape under a point of the canvas (CSS pixels): {face, weights, place}, or null. */
  onShape(x, y) {
    if (!this.shape) return null;
    const { mesh } = this.shape;
    if (!mesh.geometry.boundsTree) bvh(mesh.geometry);
    this.aimRay(x, y);
    mesh.visible = true;
    const hit = this.ray.intersectObject(mesh, false)[0];
    return hit ? this.located(hit.faceIndex, hit.point) : null;
  }

  /** The place of the shape nearest to a place in space. */
  nearestOnShape(place) {
    const { mesh } = this.shape;
    if (!mesh.geometry.boundsTree) bvh(mesh.geometry);
    const found = mesh.geometry.boundsTree.closestPointToPoint(new THREE.Vector3(...place));
    return this.located(found.faceIndex, found.point);
  }

  located(face, point) {
    const at = this.shape.mesh.geometry.getAttribute("position"), corner = [0, 1, 2].map((k) => new THREE.Vector3().fromBufferAttribute(at, this.shape.faces[3 * face + k]));
    const w = new THREE.Vector3();
    new THREE.Triangle(...corner).getBarycoord(point, w);
    return { face, weights: [face, w.x, w.y, w.z], place: point.toArray() };
  }

  /** The panel under a point of the canvas: {name, face, place, weights}, or null. */
  onPanel(x, y) {
    if (!this.renderer || (this.bare && this.what === "suit")) return null;
    const group = this.groups[this.what].children;
    for (const m of group) if (!m.geometry.boundsTree) bvh(m.geometry);
    this.aimRay(x, y);
    const hit = this.ray.intersectObjects(group, false)[0];
    if (!hit) return null;
    const { panel, faces, places } = hit.object.userData;
    const corner = [0, 1, 2].map((k) => new THREE.Vector3().fromArray(places, 3 * faces[3 * hit.faceIndex + k]));
    const w = new THREE.Vector3();
    new THREE.Triangle(...corner).getBarycoord(hit.point, w);
    return { name: panel.name, face: hit.faceIndex, weights: w.toArray(), place: hit.point.toArray() };
  }

  /** Name of the panel under a point of the canvas, or null. */
  under(x, y) { const hit = this.onPanel(x, y); return hit && hit.name; }

  /** What puts places in space on the canvas: (x, y, z) to [x, y] in CSS pixels, as the view is now. */
  projector() {
    this.aim();
    const m = new THREE.Matrix4().multiplyMatrices(this.camera.projectionMatrix, this.camera.matrixWorldInverse).elements;
    const { clientWidth: wide, clientHeight: high } = this.canvas;
    return (a, b, c) => {
      const w = m[3] * a + m[7] * b + m[11] * c + m[15];
      return [((m[0] * a + m[4] * b + m[8] * c + m[12]) / w + 1) * 0.5 * wide, (1 - (m[1] * a + m[5] * b + m[9] * c + m[13]) / w) * 0.5 * high];
    };
  }

  /** Where a place is on the canvas in CSS pixels, and whether the figure does not hide it. */
  onCanvas(place) {
    this.aim();
    const v = new THREE.Vector3(...place).project(this.camera), c = this.canvas;
    const x = ((v.x + 1) / 2) * c.clientWidth, y = ((1 - v.y) / 2) * c.clientHeight;
    const hit = this.onShape(x, y);
    const seen = !hit || Math.hypot(...hit.place.map((p, k) => p - place[k])) < 25;
    return { x, y, seen };
  }

  choose(name, face) {
    this.chosen = name;
    for (const [what, group] of Object.entries(this.groups)) {
      const m = group.children.find((q) => q.userData.panel.name === name);
      if (!m) continue;
      this.what = what;
      if (face) this.face(m.userData.panel.centre);
    }
    this.draw();
  }

  /** Turn so that a place can be seen. */
  face(place) {
    const d = place.map((v, k) => v - this.target[k]);
    if (Math.hypot(d[0], d[1]) > 20) this.turn = (Math.atan2(d[0], -d[1]) * 180) / Math.PI;
    this.draw();
  }

  orbit(dx, dy) {
    this.turn -= dx;
    this.tilt = Math.max(-85, Math.min(85, this.tilt + dy));
    this.draw();
  }

  shift(dx, dy) {
    const { right, up } = this.axes(), mm = (2 * Math.tan((HALF_FOV * Math.PI) / 180) * this.away) / this.canvas.clientHeight;
    this.target = sum(sum(this.target, up, mm * dy), right, -mm * dx);
    this.draw();
  }

  nearer(factor) {
    this.away = Math.max(150, Math.min(20000, this.away * factor));
    this.draw();
  }

  /** CSS pixels that a press may stray and still be a click; a finger rolls as it taps. */
  slack() { return this.finger ? 12 : 5; }

  listen() {
    const c = this.canvas, fingers = new Map();
    let from = null, moved = false, spread = 0, held = false, alone = true;
    const where = (e) => { const box = c.getBoundingClientRect(); return [e.clientX - box.left, e.clientY - box.top]; };
    const apart = () => { const [a, b] = [...fingers.values()]; return Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1])); };
    c.addEventListener("pointerdown", (e) => {
      const first = !fingers.size;
      if (first) { from = where(e); moved = false; alone = true; } else alone = false;
      this.finger = e.pointerType === "touch";
      fingers.set(e.pointerId, where(e));
      if (fingers.size === 2) spread = apart();
      c.setPointerCapture(e.pointerId);
      c.focus({ preventScroll: true });
      if (held) this.on.drop(...from, false); // a second finger: the figure is meant, not what lay under the first
      held = first && e.button === 0 && this.on.press(...from);
    });
    c.addEventListener("pointermove", (e) => {
      const at = where(e);
      if (!from || !fingers.has(e.pointerId)) { this.on.over(...at); return; }
      let last = fingers.get(e.pointerId);
      if (!moved && alone && (this.finger || !held)) {
        const gone = Math.hypot(at[0] - from[0], at[1] - from[1]), part = this.slack() / gone;
        if (!(part < 1)) return; // still a click
        last = last.map((v, k) => v + part * (at[k] - v)); // turning begins without a jump
        moved = true;
      }
      const dx = at[0] - last[0], dy = at[1] - last[1];
      fingers.set(e.pointerId, at);
      if (held) { this.on.drag(...at); return; }
      if (fingers.size === 2) { // two fingers: nearer and farther, and along
        const now = apart();
        this.nearer(spread / now);
        spread = now;
        this.shift(dx / 2, dy / 2);
      } else if (e.shiftKey || e.buttons === 2) this.shift(dx, dy);
      else this.orbit(dx * 0.5, dy * 0.5);
    });
    const end = (e, done) => {
      const at = where(e);
      fingers.delete(e.pointerId);
      if (fingers.size === 2) spread = apart();
      if (held) this.on.drop(...at, done);
      else if (done && from && alone && !moved && e.button === 0) this.on.click(...at);
      held = false;
      if (!fingers.size) from = null;
    };
    c.addEventListener("pointerup", (e) => end(e, true));
    c.addEventListener("pointercancel", (e) => end(e, false));
    c.addEventListener("pointerleave", () => this.on.over(null));
    c.addEventListener("contextmenu", (e) => e.preventDefault());
    c.addEventListener("wheel", (e) => { e.preventDefault(); this.nearer(Math.exp(Math.sign(e.deltaY) * 0.1)); }, { passive: false });
    c.addEventListener("keydown", (e) => this.key(e));
  }

  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const steps = { ArrowLeft: [-10, 0], ArrowRight: [10, 0], ArrowUp: [0, 10], ArrowDown: [0, -10] };
    if (steps[e.key]) {
      if (e.shiftKey) this.shift(-4 * steps[e.key][0], 4 * steps[e.key][1]); else this.orbit(...steps[e.key]);
    } else if (e.key === "+" || e.key === "=") this.nearer(0.9);
    else if (e.key === "-" || e.key === "_") this.nearer(1 / 0.9);
    else if (e.key === "Home") { this.whole(); this.draw(); }
    else if (!this.on.key(e)) return;
    e.preventDefault();
  }
}
