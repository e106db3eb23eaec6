"use strict";
// The page: shows what the session says, and sends it what the maker does. It keeps nothing of its own
// that matters: after a reload everything is there again.

const $ = (id) => document.getElementById(id);
let state = null; // as the session last told it
let shown = null; // the newest result
let chosen = null; // name of the chosen panel
let queue = Promise.resolve(); // one request at a time, in order
let typing = 0; // number of the burst of typing
let timer = 0;
let dirty = false; // whether the text holds what was not sent yet
let polling = false;

/** An element with text and attributes; nothing is ever set as HTML. */
function make(tag, attributes = {}, ...inside) {
  const out = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) out.addEventListener(name.slice(2), value);
    else if (value === true) out.setAttribute(name, "");
    else if (value !== false && value !== null) out.setAttribute(name, value);
  }
  out.append(...inside.map((x) => (typeof x === "number" ? String(x) : x)));
  return out;
}

function tell(words, bad = false) {
  $("told").textContent = words;
  $("news").className = bad ? "bad" : "";
}

async function ask(path, body) {
  const how = body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  let answer;
  try {
    answer = await fetch(path, how);
  } catch {
    throw new Error("The workshop does not answer; is padlib still running in the terminal?");
  }
  const value = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(value.error), { status: answer.status });
  return value;
}

/** Do one thing after all earlier ones; then show how things stand. */
function act(path, body, { retake = true, words = "" } = {}) {
  queue = queue.then(async () => {
    try {
      const given = typeof body === "function" ? body() : body;
      take(await ask(path, given), retake);
      if (words) tell(words);
      return true;
    } catch (e) {
      tell(e.message, true);
      $("over").hidden = !(path === "/save" && e.message.includes("save over it"));
      if (e.status === 409) take(await ask("/state"), true);
      return false;
    }
  });
  return queue;
}

function sendText() {
  clearTimeout(timer);
  if (!dirty) return queue;
  dirty = false;
  return act("/text", () => ({ text: $("text").value, stroke: `typing-${typing}`, revision: state.revision }), { retake: false });
}

// Showing the suit -------------------------------------------------------------------------------

function take(next, retake) {
  state = next;
  const box = $("text");
  if (retake && !dirty && box.value !== state.text) {
    const at = box.selectionStart, top = box.scrollTop;
    box.value = state.text;
    box.setSelectionRange(Math.min(at, state.text.length), Math.min(at, state.text.length));
    box.scrollTop = top;
  }
  $("suit-name").textContent = state.name.replace(/\.toml$/, "");
  document.title = `${$("suit-name").textContent} - padlib workshop`;
  const place = state.path || `not a file yet; Save puts a copy into ${state.folder}`;
  $("where").textContent = `${place}${state.path && !state.saved ? " (changed, not saved)" : ""}`;
  $("where").title = place;
  $("undo").disabled = !state.can_undo;
  $("redo").disabled = !state.can_redo;
  $("save").disabled = Boolean(state.path) && state.saved;
  showProblem();
  if (!state.problem) { showScans(); showPads(); showSettings(); }
  showBuilding();
}

function showProblem() {
  const words = state.problem ? state.problem.words : "";
  if ($("problem").textContent !== words) $("problem").textContent = words;
  $("text").setAttribute("aria-invalid", state.problem ? "true" : "false");
  lineUp();
}

/** Numbers beside the text, and the mark behind the line with the mistake. */
function lineUp() {
  const box = $("text"), count = box.value.split("\n").length;
  if ($("numbers").dataset.count !== String(count)) {
    $("numbers").textContent = Array.from({ length: count }, (_, k) => k + 1).join("\n") + "\n\n";
    $("numbers").dataset.count = String(count);
  }
  $("numbers").scrollTop = box.scrollTop;
  const line = state && state.problem && state.problem.line;
  $("mark").hidden = !line;
  if (line) $("mark").style.top = `${6 + 20 * (line - 1) - box.scrollTop}px`;
}

function showScans() {
  const box = $("scan"), names = [...state.scans];
  if (state.scan && !names.includes(state.scan)) names.unshift(state.scan);
  const key = JSON.stringify(names);
  if (box.dataset.key !== key) {
    box.replaceChildren(make("option", { value: "" }, "the built-in body"), ...names.map((n) => make("option", { value: n }, n)));
    box.dataset.key = key;
  }
  box.value = state.scan;
  box.title = `Scans and meshes in ${state.folder}`;
}

const sides = { both: "both sides", left: "left side", right: "right side" };

function showPads() {
  const key = JSON.stringify(state.pads.map((p) => [p.name, p.kind, p.side, p.parameters.map((q) => q.name)]));
  if ($("pads").dataset.key !== key) {
    $("pads").dataset.key = key;
    $("pads").replaceChildren(...state.pads.map(padCard));
    if (!state.pads.length) $("pads").append("This suit has no pads. Write [[pad]] in the suit file to add one.");
  }
  state.pads.forEach((pad, k) => pad.parameters.forEach((p) => settleSlider(k, p)));
}

function padCard(pad, k) {
  const kind = pad.kind === pad.name ? "" : `${pad.kind}, `;
  return make("div", { class: "pad", role: "group", "aria-label": `Pad ${pad.name}` },
    make("h3", {}, `${pad.name} `, make("small", {}, `${kind}${sides[pad.side]}`)),
    ...pad.parameters.map((p) => slider(k, p)));
}

const sliderId = (k, p) => `pad-${k}-${p.name}`;
const shortUnit = (unit) => ({ degrees: "\u00b0", share: "" })[unit] ?? ` ${unit}`;

function slider(k, p) {
  const id = sliderId(k, p);
  let stroke = 0, ahead = false, open = 0;
  const path = ["pad", k, p.name];
  const input = make("input", { type: "range", id, min: p.low, max: p.high, step: p.high - p.low > 3 ? 1 : 0.01, title: `${p.help} (${p.low} to ${p.high} ${p.unit})` });
  const send = () => { ahead = false; return { path, value: Number(input.value), stroke: `${id}-${stroke}` }; };
  input.addEventListener("input", () => {
    input.dataset.held = "yes";
    words(input, p, Number(input.value));
    if (ahead) return; // one that waits its turn takes the newest value along
    ahead = true;
    open += 1;
    sendText();
    act("/value", send).then(() => { open -= 1; if (!open) { delete input.dataset.held; settle(); } });
  });
  input.addEventListener("change", () => { stroke += 1; });
  // While a change is on its way the slider shows the maker's value, not the session's older one.
  const settle = () => { const pad = state.pads[k], now = pad && pad.parameters.find((q) => q.name === p.name); if (now) settleSlider(k, now); };
  const drop = make("button", { type: "button", class: "drop", title: `Let padlib choose ${p.name}`, "aria-label": `Let padlib choose ${p.name}`,
    onclick: () => { sendText(); act("/value", { path, value: null }); input.focus(); } }, "\u00d7");
  return make("div", { class: "slide" }, make("label", { for: id, title: p.help }, p.name), input, make("span", { class: "value" }, make("output", { for: id }), drop));
}

function words(input, p, value) {
  const row = input.parentElement, free = value === null;
  row.classList.toggle("free", free);
  const text = free ? "to the body" : `${+value.toFixed(2)}${shortUnit(p.unit)}`;
  row.querySelector("output").textContent = text;
  row.querySelector("button").hidden = free;
  input.setAttribute("aria-valuetext", free ? "padlib chooses, to suit the body" : `${+value.toFixed(2)} ${p.unit}`);
}

function settleSlider(k, p) {
  const input = $(sliderId(k, p));
  if (input.dataset.held) return;
  input.value = p.value === null ? (p.low + p.high) / 2 : p.value;
  words(input, p, p.value);
}

const titles = { shell: "Over the body", seams: "Seams", darts: "Darts", pieces: "Allowances and notches", lay: "Laying on cloth", pillows: "Pads as cushions" };

function showSettings() {
  const key = JSON.stringify(state.settings.map((s) => [s.table, s.name]));
  if ($("settings").dataset.key !== key) {
    $("settings").dataset.key = key;
    const tables = [...new Set(state.settings.map((s) => s.table))];
    $("settings").replaceChildren(...tables.flatMap((t) => [make("h3", {}, titles[t] || t), ...state.settings.filter((s) => s.table === t).map(setting)]));
  }
  for (const s of state.settings) {
    const input = $(`set-${s.table}-${s.name}`);
    if (s.kind === "yesno") input.checked = s.value;
    else if (document.activeElement !== input) input.value = s.value;
  }
}

function setting(s) {
  const id = `set-${s.table}-${s.name}`;
  const change = (e) => {
    const value = s.kind === "yesno" ? e.target.checked : s.kind === "text" ? e.target.value : Number(e.target.value);
    sendText();
    act("/value", { path: [s.table, s.name], value });
  };
  let input;
  if (s.kind === "yesno") input = make("input", { type: "checkbox", id, onchange: change });
  else if (s.kind === "text") input = make("select", { id, onchange: change }, ...s.choices.map((c) => make("option", { value: c }, c)));
  else input = make("input", { type: "number", id, min: s.low, max: s.high, step: s.kind === "whole" ? 1 : "any", onchange: change });
  return make("div", { class: "field" }, make("label", { for: id }, s.help), input);
}

// Building ---------------------------------------------------------------------------------------

function showBuilding() {
  const b = state.building, running = b.state === "running";
  $("build").disabled = running || Boolean(state.problem);
  $("build").title = state.problem ? "Mend the marked line of the suit file first" : "";
  $("stop").hidden = !running;
  $("bar").hidden = !running;
  if (running) {
    $("bar").value = b.share;
    tell(`Building: ${b.words}`);
    poll();
  }
  $("stale").hidden = !(state.stale && shown);
  if (state.result !== null && (!shown || shown.number !== state.result)) showResult();
}

async function poll() {
  if (polling) return;
  polling = true;
  try {
    while (state.building.state === "running") {
      await new Promise((done) => setTimeout(done, 300));
      const next = await ask("/progress");
      const ended = next.building.state !== "running";
      Object.assign(state, next);
      showBuilding();
      if (ended) tell(next.building.words, next.building.state !== "done");
    }
  } catch (e) {
    tell(e.message, true);
  } finally {
    polling = false;
  }
}

// Results ----------------------------------------------------------------------------------------

async function showResult() {
  const number = state.result;
  try {
    const next = await ask("/result");
    if (!next || (shown && shown.number === next.number)) return;
    shown = next;
    showPanels(); showSeams(); showLook(); showBody(); showTake();
    const scene = await fetch(`/result/scene.bin?n=${number}`);
    if (!scene.ok) return;
    figure.show(readScene(await scene.arrayBuffer()));
    $("empty").hidden = true;
    showLegend();
    const names = shown.report.panels.map((p) => p.name);
    choose(names.includes(chosen) ? chosen : null);
    for (const p of figure.panels) {
      const box = document.querySelector(`[data-swatch="${CSS.escape(p.name)}"]`);
      if (box) box.style.background = `rgb(${p.tone.map((t) => Math.round(255 * t)).join(",")})`;
    }
    $("stale").hidden = !state.stale;
  } catch (e) {
    tell(e.message, true);
  }
}

const percent = (x) => `${(100 * x).toFixed(1)} %`;
const stretchLimit = () => (state.settings.find((s) => s.table === "darts" && s.name === "limit") || { value: 0.05 }).value;
const limitOf = () => (figure.scene ? figure.scene.limit : stretchLimit());

function table(caption, heads, rows) {
  const head = make("tr", {}, ...heads.map(([h, n]) => make("th", { class: n ? "n" : "", scope: "col" }, h)));
  return make("table", {}, make("caption", {}, caption), make("thead", {}, head), make("tbody", {}, ...rows));
}

function panelButton(name) {
  return make("button", { type: "button", "data-panel": name, "aria-pressed": "false", onclick: () => choose(name, true), onkeydown: walk },
    make("span", { class: "swatch", "data-swatch": name, "aria-hidden": "true" }), name);
}

/** Up and down go from panel to panel in the list. */
function walk(e) {
  const step = { ArrowDown: 1, ArrowUp: -1 }[e.key];
  if (!step) return;
  e.preventDefault();
  const all = [...$("panels").querySelectorAll("button")];
  const next = all[all.indexOf(e.currentTarget) + step];
  if (next) { next.focus(); choose(next.dataset.panel, true); }
}

function showPanels() {
  const rows = shown.report.panels.map((p) => make("tr", { "data-row": p.name },
    make("td", {}, panelButton(p.name)),
    make("td", { class: `n${p.stretch.p95 > stretchLimit() ? " over" : ""}` }, percent(p.stretch.p95)),
    make("td", { class: "n" }, percent(p.stretch.max)),
    make("td", { class: "n" }, p.darts.length)));
  const darts = shown.report.panels.reduce((n, p) => n + p.darts.length, 0);
  const caption = `${shown.report.panels.length} panels, ${darts} darts. 95 % of each panel's cloth stretches less than the first figure.`;
  $("panels").replaceChildren(table(caption, [["Panel"], ["95 %", 1], ["Most", 1], ["Darts", 1]], rows));
}

function showSeams() {
  const rows = shown.report.seams.map((s) => make("tr", {},
    make("td", {}, s.name), make("td", {}, s.panels.join(" to ")),
    make("td", { class: "n" }, s.length_mm.toFixed(0)), make("td", { class: "n" }, s.difference_mm.toFixed(2))));
  $("page-seams").replaceChildren(table("Lengths in mm. The last figure is how much the two sides differ on paper.",
    [["Seam"], ["Panels"], ["Length", 1], ["Differ", 1]], rows));
}

function showLook() {
  const warnings = shown ? shown.report.warnings : [];
  const names = shown ? shown.report.panels.map((p) => p.name) : [];
  const cards = warnings.map((w) => {
    const named = names.filter((n) => w.includes(`'${n}'`)).slice(0, 1);
    return make("div", { class: "warning" }, w, ...named.map((n) => make("button", { type: "button", onclick: () => { tab("panels"); choose(n, true); } }, `Show ${n}`)));
  });
  const cautions = state.cautions.map(([head, text, source]) => make("div", { class: "caution" }, make("b", {}, `${head}. `), text, make("small", {}, source)));
  const none = shown ? "Nothing needs a second look." : "Build the suit to see what needs a second look.";
  $("page-look").replaceChildren(make("h2", {}, "Before you cut"), ...(cards.length ? cards : [none]),
    make("h2", {}, "Before anyone wears it"), ...cautions,
    make("p", {}, "These are reminders, not permissions: local codes, the venue and licensed people decide."));
}

function showBody() {
  const unit = $("unit").value, [by, digits] = { mm: [1, 0], cm: [10, 1], in: [25.4, 2] }[unit];
  const said = (mm) => (mm / by).toFixed(digits);
  const measures = Object.entries(shown.report.body.measurements_mm);
  const rows = measures.map(([name, mm]) => make("tr", {}, make("td", {}, name.replaceAll("_", " ")), make("td", { class: "n" }, said(mm))));
  const pads = shown.report.pads.map((p) => make("tr", {}, make("td", {}, `${p.name}, ${p.side}`),
    make("td", { class: "n" }, said(p.depth_max_mm)), make("td", { class: "n" }, p.volume_l.toFixed(1))));
  const proof = shown.report.proof.deviation_mm;
  const sewn = proof ? `Sewn back together in 3D, the cloth lies on average ${said(proof.mean)}, at most ${said(proof.max)} ${unit} from the outline asked for.` : "";
  $("measures").replaceChildren(table(`Body: ${shown.report.body.source}, in ${unit}`, [["Measurement"], [unit, 1]], rows),
    table("Pads", [["Pad"], [`Depth, ${unit}`, 1], ["Litres", 1]], pads), make("p", {}, sewn));
}

function showTake() {
  const base = shown.report.suit || "suit";
  const items = shown.downloads.map(([name, text]) => make("li", {}, make("a",
    name === "guide.html" ? { href: `/result/${name}?n=${shown.number}`, target: "_blank", rel: "noopener" }
      : { href: `/result/${encodeURIComponent(name)}?n=${shown.number}`, download: `${base}-${name}` }, text, make("small", {}, name))));
  const lays = shown.report.lay.map((l) => make("p", {}, `${l.cloth}: ${(l.length_mm / 1000).toFixed(2)} m of cloth ${(l.width_mm / 1000).toFixed(2)} m wide, ${l.used_percent.toFixed(0)} % of it used.`));
  $("page-take").replaceChildren(make("h2", {}, "Pattern and guide"), make("ul", { class: "files" }, ...items), make("h2", {}, "Cloth to buy"), ...lays,
    make("p", {}, "Measure the 100 mm test square on the first page before you cut."));
}

function showLegend() {
  const scene = figure.scene;
  $("legend").hidden = figure.colours !== "stretch" || !scene;
  if (!scene) return;
  $("low").textContent = `-${(100 * scene.scale).toFixed(0)} %`;
  $("high").textContent = `+${(100 * scene.scale).toFixed(0)} %`;
  const pen = $("ramp").getContext("2d");
  scene.colours.forEach((c, k) => { pen.fillStyle = `rgb(${c.join(",")})`; pen.fillRect(k, 0, 1, 1); });
}

function choose(name, face = false) {
  chosen = name;
  figure.choose(name, face);
  document.querySelector(`[name=what][value=${figure.what}]`).checked = true;
  for (const row of document.querySelectorAll("[data-row]")) {
    const on = row.dataset.row === name;
    row.classList.toggle("chosen", on);
    row.querySelector("button").setAttribute("aria-pressed", String(on));
    if (on) row.scrollIntoView({ block: "nearest" });
  }
  const panel = name && shown.report.panels.find((p) => p.name === name);
  const map = `map-${name}.png`;
  $("map").hidden = !panel || !shown.maps.includes(map);
  if (!$("map").hidden) {
    $("map").src = `/result/${encodeURIComponent(map)}?n=${shown.number}`;
    $("map").alt = `${name} laid flat, coloured by stretch`;
  }
  $("larger").hidden = $("map").hidden;
  $("larger").href = $("map").hidden ? "#" : $("map").src;
  $("map-words").textContent = panel ? panelWords(panel) : "Choose a panel, in the list or on the figure, to see it laid flat.";
}

function panelWords(p) {
  const darts = p.darts.map((d) => `${d.length_mm.toFixed(0)} mm long, ${d.intake_deg.toFixed(0)}\u00b0`);
  const over = p.stretch.p95 > limitOf() ? " That is over what the cloth bears." : "";
  return `${p.name}: ${p.area_cm2.toFixed(0)} cm\u00b2, mean stretch ${percent(p.stretch.mean)}, 95 % below ${percent(p.stretch.p95)}.${over} ` +
    (darts.length ? `Darts: ${darts.join("; ")}.` : "No darts.");
}

// Tabs, buttons, keys ----------------------------------------------------------------------------

function tab(name, focus = false) {
  for (const t of document.querySelectorAll("[role=tab]")) {
    const on = t.id === `tab-${name}`;
    t.setAttribute("aria-selected", String(on));
    t.tabIndex = on ? 0 : -1;
    $(t.getAttribute("aria-controls")).hidden = !on;
    if (on && focus) t.focus();
  }
}

function tabKey(e) {
  const all = [...document.querySelectorAll("[role=tab]")], at = all.indexOf(e.currentTarget);
  const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: all.length - 1 }[e.key];
  if (to === undefined) return;
  e.preventDefault();
  tab(all[(to + all.length) % all.length].id.slice(4), true);
}

const undo = () => { sendText(); typing += 1; act("/undo", {}, { words: "One step back." }); };
const redo = () => { sendText(); act("/redo", {}, { words: "One step forward." }); };
const save = (over) => { sendText(); $("over").hidden = true; act("/save", { over }).then((ok) => { if (ok) tell(`Saved as ${state.path}.`); }); };

function keys(e) {
  if (!(e.ctrlKey || e.metaKey) || e.altKey) return;
  const key = e.key.toLowerCase();
  if (key === "z" && !e.shiftKey) undo();
  else if (key === "y" || key === "z") redo();
  else if (key === "s") save(false);
  else if (key === "enter") $("build").click();
  else return;
  e.preventDefault();
}

function listen() {
  $("undo").onclick = undo;
  $("redo").onclick = redo;
  $("save").onclick = () => save(false);
  $("over").onclick = () => save(true);
  $("build").onclick = () => { sendText(); act("/build", {}); };
  $("stop").onclick = () => act("/stop", {});
  $("undo").title = "Ctrl+Z"; $("redo").title = "Ctrl+Y"; $("save").title = "Ctrl+S"; $("build").title = "Ctrl+Enter";
  $("text").addEventListener("input", () => { dirty = true; lineUp(); clearTimeout(timer); timer = setTimeout(sendText, 250); });
  let pause = 0;
  $("text").addEventListener("input", () => { clearTimeout(pause); pause = setTimeout(() => { typing += 1; }, 1500); });
  $("text").addEventListener("blur", () => { sendText(); typing += 1; });
  $("text").addEventListener("scroll", lineUp);
  $("scan").addEventListener("change", () => { sendText(); act("/value", { path: ["body", "file"], value: $("scan").value }); });
  $("unit").addEventListener("change", () => shown && showBody());
  for (const t of document.querySelectorAll("[role=tab]")) { t.onclick = () => tab(t.id.slice(4)); t.onkeydown = tabKey; }
  for (const r of document.querySelectorAll("[name=what]")) r.onchange = () => { figure.what = r.value; figure.draw(); };
  for (const r of document.querySelectorAll("[name=colours]")) r.onchange = () => { figure.colours = r.value; figure.draw(); showLegend(); };
  for (const b of document.querySelectorAll("[data-turn]")) b.onclick = () => { figure.turn = Number(b.dataset.turn); figure.tilt = 5; figure.draw(); };
  document.addEventListener("keydown", keys);
  window.addEventListener("beforeunload", (e) => { if (dirty || (state && !state.saved && state.can_undo)) e.preventDefault(); });
}

const figure = new Figure($("figure"), (name) => { tab("panels"); if (shown) choose(name); });
if (!figure.gl) $("empty").textContent = "This browser cannot draw in 3D (no WebGL). Everything else works.";
listen();
tab("panels");
queue = queue.then(async () => {
  try { take(await ask("/state"), true); showLook(); } catch (e) { tell(e.message, true); }
});
