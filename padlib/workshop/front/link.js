// Questions to the session and their answers, whatever carries them: messages as
// padlib/workshop/frames.py lays them out.

const encoder = new TextEncoder(), decoder = new TextDecoder();

/** A message of a JSON value. */
export function packed(value) {
  let text = JSON.stringify(value);
  let bytes = encoder.encode(text);
  const out = new Uint8Array(4 + bytes.length + ((4 - (bytes.length % 4)) % 4)).fill(32);
  new DataView(out.buffer).setUint32(0, out.length - 4, true);
  out.set(bytes, 4);
  return out;
}

/** Text of a message, and a reader of the arrays behind it. */
export function unpacked(buffer) {
  const length = new DataView(buffer).getUint32(0, true), at = 4 + length;
  const text = JSON.parse(decoder.decode(new Uint8Array(buffer, 4, length)));
  const read = (Kind) => ([start, count]) => new Kind(buffer, at + start, count);
  return { text, floats: read(Float32Array), wholes: read(Uint32Array), bytes: () => buffer.slice(at) };
}

/** A line to the session: `ask(name, given)` gives {value, floats, wholes} or throws. */
export class Link {
  constructor() {
    this.number = 0;
    this.open = new Map();
  }

  ask(name, given = {}) {
    this.number += 1;
    const id = this.number;
    return new Promise((done, failed) => {
      this.open.set(id, { done, failed });
      this.send(packed({ ...given, id, ask: name }), failed);
    });
  }

  taken(buffer) {
    const { text, ...blocks } = unpacked(buffer);
    const waiting = this.open.get(text.id);
    if (!waiting) return;
    this.open.delete(text.id);
    if (text.error) waiting.failed(Object.assign(new Error(text.error), { kind: text.kind }));
    else waiting.done({ value: text.value, ...blocks });
  }

  lost(words) {
    for (const { failed } of this.open.values()) failed(Object.assign(new Error(words), { kind: "lost" }));
    this.open.clear();
  }
}

const GONE = "The workshop does not answer; is padlib still running in the terminal?";

/** The line of the page in the browser: one websocket, opened again when it was lost. */
export class SocketLink extends Link {
  send(bytes, failed) {
    this.ready().then((socket) => socket.send(bytes), () => failed(Object.assign(new Error(GONE), { kind: "lost" })));
  }

  ready() {
    if (this.socket && this.socket.readyState <= 1) return this.opening;
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    this.socket = new WebSocket(`${scheme}:${"//"}${location.host}/socket`);
    this.socket.binaryType = "arraybuffer";
    this.socket.onmessage = (e) => this.taken(e.data);
    this.opening = new Promise((done, failed) => {
      this.socket.onopen = () => done(this.socket);
      this.socket.onclose = () => { failed(); this.lost(GONE); };
    });
    return this.opening;
  }

  file(name, number) { return `/result/${encodeURIComponent(name)}?n=${number}`; }

  async upload(file) {
    const answer = await fetch(`/scan?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.error);
    return told.name;
  }
}
