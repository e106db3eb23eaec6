// The same front end in a notebook: messages go over the widget's own line.
import css from "../web/page.css";
import { Link } from "./link.js";
import { mount } from "./app.js";

class ModelLink extends Link {
  constructor(model) {
    super();
    this.model = model;
    model.on("msg:custom", (_, buffers) => {
      for (const b of buffers) this.taken(b.buffer.slice(b.byteOffset, b.byteOffset + b.byteLength));
    });
  }

  send(bytes) { this.model.send({}, undefined, [bytes.buffer]); }

  file() { return null; } // results are handed over as bytes
}

function render({ model, el }) {
  const host = document.createElement("div");
  host.className = "padlib-workshop";
  // a notebook sees keys pressed in here as pressed on this element, and would act on them: move cells, add some
  host.dataset.lmSuppressShortcuts = "true";
  for (const kind of ["keydown", "keyup", "keypress"]) host.addEventListener(kind, (e) => e.stopPropagation());
  el.append(host);
  const root = host.attachShadow({ mode: "open" });
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(css);
  root.adoptedStyleSheets = [sheet];
  const app = mount(root, new ModelLink(model));
  const watch = new ResizeObserver(() => host.classList.toggle("narrow", host.clientWidth <= 1100));
  watch.observe(host);
  return () => { watch.disconnect(); app.close(); };
}

export default { render };
