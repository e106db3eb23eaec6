// The left side: what the suit is. Every change goes to the session; what it says is shown.
import { make } from "./dom.js";

const SIDES = { both: "both sides", left: "left side", right: "right side" };
const CLOTH = { kind: "Sort of cloth", width: "Width that can be cut, mm", pile: "Pile", tilt: "Pieces may be tilted by, degrees", price: "Price of a metre", colour: "Colour in the pictures" };
const TITLES = { shell: "Over the body", seams: "Seams of the plan", darts: "Darts", pieces: "Allowances and notches", lay: "Laying on cloth", pillows: "Pads as cushions" };
const shortUnit = (unit) => ({ degrees: "\u00b0", share: "" })[unit] ?? ` ${unit}`;

export class Bench {
  /** app: $, state(), act(ask, given), newState(ask, given), tell(). */
  constructor(app) {
    this.app = app;
    this.typing = 0; // number of the burst of typing
    this.dirty = false; // whether the text holds what was not sent yet
    const { $ } = app, text = $("text");
    let pause = 0;
    text.addEventListener("input", () => {
      this.dirty = true;
      this.lineUp();
      clearTimeout(this.timer); clearTimeout(pause);
      this.timer = setTimeout(() => this.sendText(), 250);
      pause = setTimeout(() => { this.typing += 1; }, 1500);
    });
    text.addEventListener("blur", () => { this.sendText(); this.typing += 1; });
    text.addEventListener("scroll", () => this.lineUp());
    $("scan").addEventListener("change", () => this.set(["body", "file"], $("scan").value));
    if (app.link.upload) $("upload").addEventListener("change", () => this.bring());
    else $("upload").parentElement.hidden = true;
  }

  async bring() {
    const { app } = this, input = app.$("upload"), file = input.files[0];
    if (!file) return;
    app.tell(`Bringing in ${file.name}: it is read by a process apart first.`);
    try {
      const name = await app.link.upload(file);
      if (await this.set(["body", "file"], name)) app.tell(`${name} lies beside the suit file now, and is the wearer.`);
    } catch (e) {
      app.tell(e.message, true);
    }
    input.value = "";
  }

  set(path, value) {
    this.sendText();
    return this.app.newState("value", { path, value });
  }

  sendText() {
    clearTimeout(this.timer);
    if (!this.dirty) return Promise.resolve(true);
    this.dirty = false;
    const { app } = this;
    return app.act("text", () => ({ text: app.$("text").value, stroke: `typing-${this.typing}`, revision: app.state().revision }), { retake: false });
  }

  show(retake) {
    const { app } = this, box = app.$("text"), state = app.state();
    if (retake && !this.dirty && box.value !== state.text) {
      const at = box.selectionStart, top = box.scrollTop;
      box.value = state.text;
      box.setSelectionRange(Math.min(at, state.text.length), Math.min(at, state.text.length));
      box.scrollTop = top;
    }
    const words = state.problem ? state.problem.words : "";
    if (app.$("problem").textContent !== words) app.$("problem").textContent = words;
    box.setAttribute("aria-invalid", state.problem ? "true" : "false");
    this.lineUp();
    if (!state.problem) { this.scans(); this.pads(); this.own(); this.marks(); this.strokes(); this.cloths(); this.settings(); }
  }

  /** Numbers beside the text, and the mark behind the line with the mistake. */
  lineUp() {
    const { $ } = this.app, box = $("text"), count = box.value.split("\n").length, state = this.app.state();
    if ($("numbers").dataset.count !== String(count)) {
      $("numbers").textContent = Array.from({ length: count }, (_, k) => k + 1).join("\n") + "\n\n";
      $("numbers").dataset.count = String(count);
    }
    $("numbers").scrollTop = box.scrollTop;
    const line = state && state.problem && state.problem.line;
    $("mark").hidden = !line;
    if (line) $("mark").style.top = `${6 + 20 * (line - 1) - box.scrollTop}px`;
  }

  /** Whether a part must be made anew: its key is not the one it was made for. */
  fresh(box, key) {
    const text = JSON.stringify(key);
    if (box.dataset.key === text) return false;
    box.dataset.key = text;
    return true;
  }

  scans() {
    const { $ } = this.app, state = this.app.state(), box = $("scan"), names = [...state.scans];
    if (state.scan && !names.includes(state.scan)) names.unshift(state.scan);
    if (this.fresh(box, names)) box.replaceChildren(make("option", { value: "" }, "the built-in body"), ...names.map((n) => make("option", { value: n }, n)));
    box.value = state.scan;
    box.title = `Scans and meshes in ${state.folder}`;
  }

  pads() {
    const state = this.app.state(), box = this.app.$("pads");
    if (this.fresh(box, state.pads.map((p) => [p.name, p.kind, p.side, p.parameters.map((q) => q.name)]))) {
      box.replaceChildren(...state.pads.map((pad, k) => this.card(pad, k)));
      if (!state.pads.length) box.append("No pads yet. Draw one on the figure.");
    }
    state.pads.forEach((pad, k) => pad.parameters.forEach((p) => this.settle(k, p)));
  }

  card(pad, k) {
    const kind = pad.kind === pad.name ? "" : `${pad.kind}, `;
    return make("div", { class: "pad", role: "group", "aria-label": `Pad ${pad.name}` },
      make("h3", {}, `${pad.name} `, make("small", {}, `${kind}${SIDES[pad.side]}`), this.remover("pad", k, `pad ${pad.name}`)),
      ...pad.parameters.map((p) => this.slider(k, p)));
  }

  remover(table, number, words) {
    return make("button", { type: "button", class: "drop", "aria-label": `Take out ${words}`, title: `Take out ${words}`,
      onclick: () => { this.sendText(); this.app.newState("drop", { table, number }); } }, "take out");
  }

  slider(k, p) {
    const id = `pad-${k}-${p.name}`, path = ["pad", k, p.name];
    let stroke = 0, ahead = false, open = 0;
    const input = make("input", { type: "range", id, min: p.low, max: p.high, step: p.high - p.low > 3 ? 1 : 0.01, title: `${p.help} (${p.low} to ${p.high} ${p.unit})` });
    const send = () => { ahead = false; return { path, value: Number(input.value), stroke: `${id}-${stroke}` }; };
    // While a change is on its way the slider shows the maker's value, not the session's older one.
    const settle = () => { const pad = this.app.state().pads[k], now = pad && pad.parameters.find((q) => q.name === p.name); if (now) this.settle(k, now); };
    input.addEventListener("input", () => {
      input.dataset.held = "yes";
      this.words(input, p, Number(input.value));
      if (ahead) return; // one that waits its turn takes the newest value along
      ahead = true;
      open += 1;
      this.sendText();
      this.app.act("value", send).then(() => { open -= 1; if (!open) { delete input.dataset.held; settle(); } });
    });
    input.addEventListener("change", () => { stroke += 1; });
    const drop = make("button", { type: "button", class: "drop", title: `Let padlib choose ${p.name}`, "aria-label": `Let padlib choose ${p.name}`,
      onclick: () => { this.set(path, null); input.focus(); } }, "\u00d7");
    return make("div", { class: "slide" }, make("label", { for: id, title: p.help }, p.name), input, make("span", { class: "value" }, make("output", { for: id })), drop);
  }

  words(input, p, value) {
    const row = input.parentElement, free = value === null;
    row.classList.toggle("free", free);
    const length = p.unit === "mm" && !free;
    row.querySelector("output").textContent = free ? "to the body" : length ? this.app.said(value) : `${+value.toFixed(2)}${shortUnit(p.unit)}`;
    row.querySelector("button").hidden = free;
    input.setAttribute("aria-valuetext", free ? "padlib chooses, to suit the body" : length ? this.app.said(value) : `${+value.toFixed(2)} ${p.unit}`);
  }

  settle(k, p) {
    const input = this.app.$(`pad-${k}-${p.name}`);
    if (!input || input.dataset.held) return;
    input.value = p.value === null ? (p.low + p.high) / 2 : p.value;
    this.words(input, p, p.value);
  }

  own() {
    const state = this.app.state(), box = this.app.$("own");
    if (!this.fresh(box, state.seams)) return;
    box.replaceChildren(...state.seams.map((s, k) => make("div", { class: "field own" },
      this.finder("seam", k, `${s.name}, ${s.points} points${s.closed ? ", closed" : ""}`), this.remover("seam", k, `seam ${s.name}`))));
    if (!state.seams.length) box.append("None yet. Draw one on the figure.");
  }

  /** The name of a drawn thing; pressed, the figure turns to it and its points can be moved. */
  finder(table, number, words) {
    return make("button", { type: "button", "data-find": `${table}-${number}`, title: "Show it on the figure", onclick: () => this.app.pen.find(table, number) }, words);
  }

  marks() {
    const state = this.app.state(), box = this.app.$("marks"), cloths = state.cloths.map((c) => c.name);
    if (!this.fresh(box, [state.marks, cloths])) return;
    box.replaceChildren(...state.marks.map((m, k) => {
      const now = m.style === "line" ? "line" : `cloth:${m.cloth}`;
      const choice = make("select", { "aria-label": `What mark ${m.name} is`, "data-mark-cloth": k,
        onchange: (e) => { this.sendText(); const to = e.target.value; this.app.newState("remark", { number: k, cloth: to.startsWith("cloth:") ? to.slice(6) : "" }); } },
        ...[...new Set([...cloths.map((c) => `cloth:${c}`), now === "line" ? "line" : now, "line"])].map((v) => make("option", { value: v, selected: v === now }, v === "line" ? "drawn line" : `${v.slice(6)}, set in`)));
      return make("div", { class: "field own" }, this.finder("mark", k, m.side === "both" ? m.name : `${m.name}, ${SIDES[m.side]}`), choice, this.remover("mark", k, `mark ${m.name}`));
    }));
    if (!state.marks.length) box.append("No marks yet: a patch, spots or stripes of another colour.");
  }

  strokes() {
    const state = this.app.state(), box = this.app.$("strokes");
    if (!this.fresh(box, state.strokes)) return;
    box.replaceChildren(...state.strokes.map((s, k) => make("div", { class: "field own" }, this.finder("pile", k, s.side === "both" ? s.name : `${s.name}, ${SIDES[s.side]}`),
      make("input", { type: "number", min: 10, max: 2000, step: 10, value: s.reach, "aria-label": `How far ${s.name} reaches, mm`, title: "How far beside it the pile follows, mm",
        onchange: (e) => this.set(["pile", k, "reach"], Number(e.target.value)) }), this.remover("pile", k, `stroke ${s.name}`))));
    if (!state.strokes.length) box.append("The pile lies toward the ground everywhere.");
  }

  cloths() {
    const state = this.app.state(), box = this.app.$("cloths");
    if (this.fresh(box, state.cloths.map((c) => [c.name, c.keys.map((k) => k.name)]))) {
      box.replaceChildren(...state.cloths.flatMap((c) => [make("h3", {}, c.name), ...c.keys.map((s) => this.setting(["cloth", c.name, s.name], s))]));
      if (!state.cloths.length) box.append("No cloth is named yet; write [cloth.NAME] in the suit file.");
    }
    for (const c of state.cloths) for (const s of c.keys) this.fill(["cloth", c.name, s.name], s);
  }

  settings() {
    const state = this.app.state(), box = this.app.$("settings");
    if (this.fresh(box, state.settings.map((s) => [s.table, s.name]))) {
      const tables = [...new Set(state.settings.map((s) => s.table))];
      box.replaceChildren(...tables.flatMap((t) => [make("h3", {}, TITLES[t] || t), ...state.settings.filter((s) => s.table === t).map((s) => this.setting([s.table, s.name], s))]));
    }
    for (const s of state.settings) this.fill([s.table, s.name], s);
  }

  setting(path, s) {
    const id = `set-${path.join("-")}`;
    const change = (e) => this.set(path, s.kind === "yesno" ? e.target.checked : s.kind === "text" ? e.target.value : Number(e.target.value));
    if (path[0] === "seams" && /_(shift|turn)$/.test(s.name)) return this.mover(id, path, s);
    let input;
    if (s.kind === "yesno") input = make("input", { type: "checkbox", id, onchange: change });
    else if (s.name === "colour") input = make("input", { type: "color", id, onchange: (e) => this.set(path, e.target.value) });
    else if (s.kind === "text") input = make("select", { id, onchange: change }, ...s.choices.map((c) => make("option", { value: c }, c || "not said")));
    else input = make("input", { type: "number", id, min: s.low, max: s.high, step: s.kind === "whole" ? 1 : "any", onchange: change });
    return make("div", { class: "field" }, make("label", { for: id, title: s.help }, path[0] === "cloth" ? CLOTH[s.name] : s.help), input);
  }

  /** Go to a setting, wherever it is folded away. */
  reach(id) {
    const input = this.app.$(id);
    input.closest("details").open = true;
    input.scrollIntoView({ block: "center" });
    input.focus();
  }

  /** Where a seam of the plan lies beside its usual place. */
  mover(id, path, s) {
    const unit = s.help.split(", ").pop(), out = make("output", { for: id, class: "n" });
    const input = make("input", { type: "range", id, min: s.low, max: s.high, step: 1, title: s.help });
    input.told = () => {
      const words = unit === "mm" ? this.app.said(Number(input.value)) : `${input.value}\u00b0`;
      out.textContent = words;
      input.setAttribute("aria-valuetext", words);
    };
    input.addEventListener("input", () => { input.dataset.held = "yes"; input.told(); });
    input.addEventListener("change", () => { delete input.dataset.held; this.set(path, Number(input.value)); });
    return make("div", { class: "slide move" }, make("label", { for: id }, s.help.split(", ")[0]), input, out);
  }

  fill(path, s) {
    const input = this.app.$(`set-${path.join("-")}`);
    if (!input) return;
    if (s.kind === "yesno") input.checked = s.value;
    else if (input.told) { if (!input.dataset.held) { input.value = s.value; input.told(); } }
    else if (this.app.root.activeElement !== input) input.value = s.name === "colour" ? s.value || "#c8c0b0" : s.value;
  }
}
