// The right side: panels with their flats, seams, what to check, the body, what to download.
import { make, percent, table } from "./dom.js";
import { FlatView } from "./flats.js";
import { moversOf, pinsOf, seamsOf, settingsOf } from "./lines.js";

const PINS = { armhole: "the armholes where they are", shoulder: "the shoulder seams where they are", side: "the side seams where they are", seat: "the seam above the seat where it is",
  groin: "the seam along the groin where it is", sleeve: "the sleeve seams where they are", leg: "the leg seams where they are" };
const PANELS = ["front", "back", "sleeve-upper", "sleeve-under", "leg-inner", "leg-outer"];

export class Lists {
  /** app: $, all(selector), state(), figure, live (newest look), built (newest pattern), said(mm). */
  constructor(app) {
    this.app = app;
    this.chosen = null;
    this.flat = new FlatView(app.$("sheet"), (hit) => this.fromFlat(hit));
    for (const t of app.all("[role=tab]")) { t.onclick = () => this.tab(t.id.slice(4)); t.onkeydown = (e) => this.tabKey(e); }
  }

  close() { this.flat.close(); }

  tab(name, focus = false) {
    for (const t of this.app.all("[role=tab]")) {
      const on = t.id === `tab-${name}`;
      t.setAttribute("aria-selected", String(on));
      t.tabIndex = on ? 0 : -1;
      this.app.$(t.getAttribute("aria-controls")).hidden = !on;
      if (on && focus) t.focus();
    }
    if (name !== "body") this.app.figure.dropMark("tapes");
  }

  tabKey(e) {
    const all = [...this.app.all("[role=tab]")], at = all.indexOf(e.currentTarget);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: all.length - 1 }[e.key];
    if (to === undefined) return;
    e.preventDefault();
    this.tab(all[(to + all.length) % all.length].id.slice(4), true);
  }

  // Panels ----------------------------------------------------------------------------------------

  panel(name) { const l = this.app.live; return l.scene && l.scene.panels.find((p) => p.name === name); }

  /** How the stretch of a panel is spread: mean, 95th percentile and most, by the area of its triangles. */
  spread(p) {
    if (p.spread) return p.spread;
    const { floats, wholes } = this.app.live, at = floats(p.vertices), faces = wholes(p.faces), stretch = floats(p.stretch);
    const rows = [];
    let all = 0;
    for (let t = 0; t < stretch.length; t++) {
      const [a, b, c] = [3 * faces[3 * t], 3 * faces[3 * t + 1], 3 * faces[3 * t + 2]];
      const u = [0, 1, 2].map((k) => at[b + k] - at[a + k]), v = [0, 1, 2].map((k) => at[c + k] - at[a + k]);
      const area = 0.5 * Math.hypot(u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]);
      rows.push([Math.abs(stretch[t]), area]);
      all += area;
    }
    rows.sort((x, y) => x[0] - y[0]);
    let sum = 0, p95 = 0, mean = 0;
    for (const [s, area] of rows) {
      if (sum <= 0.95 * all) p95 = s;
      sum += area;
      mean += (s * area) / all;
    }
    p.spread = { mean, p95, max: rows.length ? rows[rows.length - 1][0] : 0, area: all };
    return p.spread;
  }

  showPanels() {
    const { app } = this, scene = app.live.scene;
    if (!scene) return;
    const rows = scene.panels.map((p) => {
      const s = this.spread(p);
      return make("tr", { "data-row": p.name }, make("td", {}, this.button(p)),
        make("td", { class: `n${s.p95 > scene.limit ? " over" : ""}` }, percent(s.p95)), make("td", { class: "n" }, percent(s.max)), make("td", { class: "n" }, p.held.length));
    });
    const darts = scene.panels.reduce((n, p) => n + p.held.length, 0);
    const real = scene.panels.every((p) => p.flat);
    const words = real ? `${scene.panels.length} panels, ${darts} darts. 95 % of each panel's cloth stretches less than the first figure.`
      : `${scene.panels.length} panels, not laid flat yet: the figures are a forecast without darts.`;
    const focused = app.root.activeElement && app.root.activeElement.dataset && app.root.activeElement.dataset.panel;
    app.$("panels").replaceChildren(table(words, [["Panel"], ["95 %", 1], ["Most", 1], ["Darts", 1]], rows));
    if (focused) app.root.querySelector(`[data-panel="${CSS.escape(focused)}"]`)?.focus();
    this.choose(this.panel(this.chosen) ? this.chosen : null);
  }

  button(p) {
    const swatch = make("span", { class: "swatch", "aria-hidden": "true" });
    swatch.style.background = `rgb(${p.tone.map((t) => Math.round(255 * t)).join(",")})`;
    return make("button", { type: "button", "data-panel": p.name, "aria-pressed": "false", onclick: () => this.choose(p.name, true), onkeydown: (e) => this.walk(e) }, swatch, p.name);
  }

  /** Up and down go from panel to panel in the list. */
  walk(e) {
    const step = { ArrowDown: 1, ArrowUp: -1 }[e.key];
    if (!step) return;
    e.preventDefault();
    const all = [...this.app.$("panels").querySelectorAll("button")], next = all[all.indexOf(e.currentTarget) + step];
    if (next) { next.focus(); this.choose(next.dataset.panel, true); }
  }

  /** Scroll a row of the list of panels into sight, and never the page: that is under the maker's finger. */
  bring(row) {
    const list = this.app.$("panels"), box = list.getBoundingClientRect(), { top, bottom } = row.getBoundingClientRect();
    const head = list.querySelector("thead").getBoundingClientRect().height;
    list.scrollTop += Math.min(0, top - box.top - head) + Math.max(0, bottom - box.bottom);
  }

  choose(name, face = false) {
    const { app } = this, p = name && this.panel(name);
    this.chosen = name;
    app.figure.choose(name, face);
    app.root.querySelector(`[name=what][value=${app.figure.what}]`).checked = true;
    for (const row of app.all("[data-row]")) {
      const on = row.dataset.row === name;
      row.classList.toggle("chosen", on);
      row.querySelector("button").setAttribute("aria-pressed", String(on));
      if (on) this.bring(row);
    }
    this.flat.show(p, app.live.scene, app.live.floats, app.live.wholes);
    app.$("map-words").textContent = p ? this.words(p) : "Choose a panel, in the list or on the figure, to see it laid flat.";
    this.darts(p);
  }

  words(p) {
    const s = this.spread(p), { live } = this.app;
    const over = s.p95 > live.scene.limit ? " That is over what the cloth bears." : "";
    const how = p.flat ? "Real map" : "Forecast, not laid flat yet";
    return `${p.name}: ${(s.area / 100).toFixed(0)} cm\u00b2, mean stretch ${percent(s.mean)}, 95 % below ${percent(s.p95)}, most ${percent(s.max)}.${over} ${how}.${p.held.length || !p.flat ? "" : " No darts."}`;
  }

  /** The chosen panel's darts, each to be kept as it is or kept away. A mirror image has its original's. */
  darts(p) {
    const { app } = this, box = app.$("darts"), pinned = app.state() ? app.state().pinned : [];
    if (!p) { box.replaceChildren(); return; }
    const stem = p.name.split("-").filter((w) => !/^(\d+|left|right)$/.test(w)).join("-"), whole = app.state() ? app.state().kept.whole : [];
    const asks = PANELS.includes(stem) ? [make("label", { class: "pick" }, make("input", { type: "checkbox", "data-whole": stem, checked: whole.includes(stem), onchange: (e) => this.keep("whole", stem, e.target) }), "Suggestions draw no new seam across it")] : [];
    const name = p.mirror_of || p.name;
    box.replaceChildren(...asks, ...p.held.map((d, k) => {
      const kept = pinned.some((q) => q.panel === name && Math.hypot(...q.to.map((v, i) => v - (p.mirror_of && i === 0 ? -d.tip[0] : d.tip[i]))) < 15);
      const act = (state) => () => app.newState("dart", { panel: p.name, number: k, state });
      return make("div", { class: "dart" }, make("span", {}, `Dart ${k + 1}: ${app.said(d.length_mm)}, ${d.intake_deg.toFixed(0)}\u00b0${kept ? ", kept" : ""}`),
        ...(kept ? [] : [make("button", { type: "button", "data-dart": k, onclick: act("pin") }, "Keep this dart"), make("button", { type: "button", onclick: act("forbid") }, "None here")]));
    }));
  }

  // Pointing from one view to the other -----------------------------------------------------------

  fromFlat(hit) {
    const { app } = this, p = this.panel(this.chosen);
    if (!hit || !p) { app.figure.dropMark("spot"); this.flat.point(null); return; }
    const at = app.live.floats(p.vertices), faces = app.live.wholes(p.faces), place = [0, 0, 0];
    for (let k = 0; k < 3; k++) for (let i = 0; i < 3; i++) place[i] += hit.weights[k] * at[3 * faces[3 * hit.face + k] + i];
    this.spot = place;
    app.figure.showDots("spot", [place], { colour: 0xc01a00, size: 13 });
    this.flat.point(hit);
  }

  fromFigure(hit) {
    const { app } = this;
    app.$("spot").textContent = hit ? hit.name : "";
    if (hit && hit.name === this.chosen) this.flat.point(hit);
    else this.flat.point(null);
  }

  // The other lists -------------------------------------------------------------------------------

  showSeams() {
    const { app } = this, scene = app.live.scene, page = app.$("page-seams");
    if (!scene) { page.replaceChildren("The seams come in a moment."); return; }
    if (app.pen && app.pen.hold && app.pen.hold.numbers) return; // keys move a seam of the list; it is shown anew after that
    const seams = seamsOf(app.live), kept = (app.state() && app.state().kept.pinned) || [];
    const focus = { ...(app.root.activeElement && app.root.activeElement.dataset) };
    const rows = [...seams].sort().map(([name, s]) => make("tr", {}, make("td", {}, make("button", { type: "button", "data-seam-row": name, onclick: () => this.chooseSeam(name, s), onkeydown: (e) => this.nudge(e, name), onblur: () => app.pen.settle() }, name,
      ...(pinsOf(name).some((p) => kept.includes(p)) ? [make("small", { class: "kept" }, " stays")] : []))),
      make("td", {}, [...new Set(s.panels)].join(" to ")), make("td", { class: "n" }, app.said(s.length))));
    const parts = [make("p", { id: "seam-moves" }), table("Choose a seam to see it on the figure and on the flat, and what moves it.", [["Seam"], ["Panels"], ["Length", 1]], rows)];
    if (app.built) {
      const sewn = app.built.report.seams.map((s) => make("tr", {}, make("td", {}, s.name), make("td", { class: "n" }, s.length_mm.toFixed(0)), make("td", { class: "n" }, s.difference_mm.toFixed(2))));
      parts.push(table("In the pattern, mm. The last figure is how much the two sides differ on paper.", [["Seam"], ["Length", 1], ["Differ", 1]], sewn));
    }
    page.replaceChildren(...parts);
    if (this.seam && seams.has(this.seam)) this.moves(this.seam, focus);
    if (focus.seamRow) app.root.querySelector(`[data-seam-row="${CSS.escape(focus.seamRow)}"]`)?.focus();
  }

  /** Arrow keys on a seam in the list: left and right move it by its first number, up and down by its second. */
  nudge(e, name) {
    if (e.key === "Escape") { this.app.pen.giveUp(); return; }
    const way = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowDown: [1, -1], ArrowUp: [1, 1] }[e.key], keys = moversOf(name);
    if (!way || !keys.length || e.ctrlKey || e.metaKey || e.altKey || this.ownSeam(name) >= 0) return;
    e.preventDefault();
    if (this.seam !== name) this.chooseSeam(name, seamsOf(this.app.live).get(name));
    this.app.pen.nudge(name, keys[Math.min(way[0], keys.length - 1)], way[1] * (e.shiftKey ? 5 : 1));
  }

  ownSeam(name) { return this.app.state().seams.findIndex((s) => s.name === name || name.startsWith(`${s.name}-`)); }

  chooseSeam(name, s) {
    const { app } = this;
    this.seam = name;
    app.figure.showLine("seam", s.pairs, { colour: 0xc01a00, pairs: true, width: 4 });
    app.figure.face(s.pairs.slice(0, 3));
    if (!s.panels.includes(this.chosen)) this.choose(s.panels[0]);
    this.flat.chooseSeam(name);
    this.moves(name);
  }

  /** What moves a seam: its own points, or the settings that it follows; and whether suggestions may. */
  moves(name, focus = this.app.root.activeElement && this.app.root.activeElement.dataset) {
    const { app } = this, state = app.state(), own = this.ownSeam(name), box = app.$("seam-moves");
    if (!box) return;
    const settings = settingsOf(name).map((key) => state.settings.find((s) => s.table === "seams" && s.name === key)).filter(Boolean);
    const value = (s) => (typeof s.value !== "number" ? s.value : s.help.endsWith("degrees") ? `${s.value}\u00b0` : app.said(s.value));
    const buttons = own >= 0 ? [make("button", { type: "button", onclick: () => app.pen.find("seam", own) }, "Drag its points")]
      : settings.map((s) => make("button", { type: "button", "data-move": s.name, onclick: () => app.bench.reach(`set-seams-${s.name}`) }, `${s.help.replace(/, (mm|degrees)$/, "")}: ${value(s)}`));
    const pins = own >= 0 ? [] : pinsOf(name).map((pin) => make("label", { class: "pick" },
      make("input", { type: "checkbox", "data-pin": pin, checked: state.kept.pinned.includes(pin), onchange: (e) => this.keep("pinned", pin, e.target) }), `Suggestions leave ${PINS[pin]}`));
    const hint = own < 0 && moversOf(name).length ? [make("small", {}, moversOf(name).length > 1
      ? "Drag it on the figure with \u201cMove seams\u201d, or use the arrow keys in this list: left and right for the first, up and down for the second, Shift for larger steps. Both sides move."
      : "Drag it on the figure with \u201cMove seams\u201d, or use the arrow keys in this list, with Shift for larger steps. Both sides move.")] : [];
    const none = " lies where the body has its middle; nothing moves it.";
    box.replaceChildren(make("b", {}, name), buttons.length ? " is moved by: " : none, ...buttons, ...pins, ...hint);
    for (const kind of ["pin", "move"]) if (focus && focus[kind]) box.querySelector(`[data-${kind}="${focus[kind]}"]`)?.focus();
  }

  /** A seam that suggestions leave, or a panel that they part no more; the box shows what came of it. */
  async keep(key, name, box) {
    this.app.bench.sendText();
    await this.app.newState("pin", { key, name, on: box.checked });
    this.showSeams();
  }

  showLook() {
    const { app } = this, names = app.live.scene ? app.live.scene.panels.map((p) => p.name) : [];
    const warnings = app.built && !app.state().stale ? app.built.report.warnings : app.live.warnings;
    const cards = warnings.map((w) => {
      const named = names.filter((n) => w.includes(`'${n}'`)).slice(0, 1);
      return make("div", { class: "warning" }, w, ...named.map((n) => make("button", { type: "button", onclick: () => { this.tab("panels"); this.choose(n, true); } }, `Show ${n}`)));
    });
    const cautions = app.state().cautions.map(([head, text, source]) => make("div", { class: "caution" }, make("b", {}, `${head}. `), text, make("small", {}, source)));
    const none = app.built ? "Nothing needs a second look." : "So far nothing needs a second look; making the pattern looks at more.";
    app.$("page-look").replaceChildren(make("h2", {}, "Before you cut"), ...(cards.length ? cards : [none]), make("h2", {}, "Before anyone wears it"), ...cautions,
      make("p", {}, "These are reminders, not permissions: local codes, the venue and licensed people decide."));
  }

  showBody() {
    const { app } = this, tapes = app.live.tapes, page = app.$("page-body");
    if (!tapes) { page.replaceChildren("The measurements come in a moment."); return; }
    const rows = Object.entries(tapes.values).map(([name, mm]) => {
      const line = tapes.lines[name], words = name.replaceAll("_", " ");
      const first = line ? make("button", { type: "button", "data-tape": name, onclick: () => { app.figure.showTapes(tapes.floats(line)); app.figure.showBare(false); } }, words) : words;
      return make("tr", {}, make("td", {}, first), make("td", { class: "n" }, app.said(mm) + (name in tapes.unsure ? ` \u00b1 ${app.said(tapes.unsure[name])}` : "")));
    });
    const parts = [table(`${tapes.source}. Choose one to see where the tape runs.`, [["Measurement"], ["", 1]], rows)];
    if (app.built) {
      const pads = app.built.report.pads.map((p) => make("tr", {}, make("td", {}, `${p.name}, ${p.side}`), make("td", { class: "n" }, app.said(p.depth_max_mm)), make("td", { class: "n" }, p.volume_l.toFixed(1))));
      const proof = app.built.report.proof.deviation_mm;
      parts.push(table("Pads", [["Pad"], ["Depth", 1], ["Litres", 1]], pads));
      if (proof) {
        parts.push(make("p", {}, `Sewn back together in 3D, the cloth lies on average ${app.said(proof.mean)}, at most ${app.said(proof.max)} from the outline asked for.`));
        if (app.built.sewn) parts.push(make("button", { type: "button", id: "show-sewn", onclick: () => app.showWhat("suit", "sewn") }, "Show it on the figure"));
      }
    }
    page.replaceChildren(...parts);
  }

  showTake() {
    const { app } = this, page = app.$("page-take"), built = app.built;
    if (!built) { page.replaceChildren(make("p", {}, "Make the pattern first; then it is here to download: PDF at true scale, cutting files, and the sewing guide.")); return; }
    const base = built.report.suit || "suit";
    const items = built.downloads.map(([name, text]) => {
      const href = app.link.file(name, built.number);
      const inside = [text, make("small", {}, name)];
      if (!href) return make("li", {}, make("button", { type: "button", onclick: () => app.save(name, base) }, ...inside));
      return make("li", {}, make("a", name === "guide.html" ? { href, target: "_blank", rel: "noopener" } : { href, download: `${base}-${name}` }, ...inside));
    });
    const lays = built.report.lay.map((l) => make("p", {}, `${l.cloth}: ${(l.length_mm / 1000).toFixed(2)} m of cloth ${(l.width_mm / 1000).toFixed(2)} m wide, ${l.used_percent.toFixed(0)} % of it used.`));
    page.replaceChildren(...(app.state().stale ? [make("p", { class: "warning" }, "You have changed the suit since; make the pattern again to take the change away.")] : []),
      make("h2", {}, "Pattern and guide"), make("ul", { class: "files" }, ...items), make("h2", {}, "Cloth to buy"), ...lays, make("p", {}, "Measure the 100 mm test square on the first page before you cut."));
  }

  showAll() { this.showPanels(); this.showSeams(); this.showLook(); this.showBody(); this.showTake(); }
}
