// Elements made of text and attributes; nothing is ever set as HTML.

/** An element with attributes (on...: listeners) and what is inside it. */
export function make(tag, attributes = {}, ...inside) {
  const out = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) out.addEventListener(name.slice(2), value);
    else if (value === true) out.setAttribute(name, "");
    else if (value !== false && value !== null) out.setAttribute(name, value);
  }
  out.append(...inside.map((x) => (typeof x === "number" ? String(x) : x)));
  return out;
}

const SVG = "http://www.w3.org/2000/svg";

export function draw(tag, attributes = {}) {
  const out = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) out.setAttribute(name, value);
  return out;
}

/** A table with a caption; heads: [words, whether numbers stand under it]. */
export function table(caption, heads, rows) {
  const head = make("tr", {}, ...heads.map(([h, n]) => make("th", { class: n ? "n" : "", scope: "col" }, h)));
  return make("table", {}, make("caption", {}, caption), make("thead", {}, head), make("tbody", {}, ...rows));
}

export const percent = (x) => `${(100 * x).toFixed(1)} %`;
