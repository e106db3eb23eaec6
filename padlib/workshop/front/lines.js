// The plan's seams on the figure: which one lies under the pointer.

/** The settings that a seam of the plan follows, by the first word of its name; keys move the first by left and right,
 * the second by up and down. */
const MOVED = { armhole: ["armhole_shift", "armhole_hollow"], shoulder: ["shoulder_shift"], side: ["side_shift"], hip: ["seat_shift", "groin_shift"], sleeve: ["sleeve_shift", "sleeve_turn"],
  leg: ["leg_shift", "leg_turn"], neck: ["neck_rise"], wrist: ["wrist_rise"], ankle: ["ankle_rise"] };
const BESIDES = { wrist: ["wrist_slit"], ankle: ["ankle_slit"], closure: ["closure", "closure_below_waist"] };

const word = (name) => name.split("-")[0];
/** The settings by which a seam is dragged, and all that there are about it. */
export const moversOf = (name) => MOVED[word(name)] || [];
export const settingsOf = (name) => [...moversOf(name), ...(BESIDES[word(name)] || [])];
/** What a seam is called where suggestions are told to leave it: a name for each of its settings' beginnings. */
export const pinsOf = (name) => [...new Set(moversOf(name).filter((s) => /_(shift|turn)$/.test(s)).map((s) => s.split("_")[0]))];

/** The seams of a scene by name: { panels, length, kind, pairs of places }, found once. */
export function seamsOf({ scene, floats, wholes }) {
  if (scene.seams) return scene.seams;
  const seams = new Map();
  for (const p of scene.panels) {
    const at = floats(p.vertices);
    for (const [kind, name, place] of p.edges) {
      if (kind === "dart") continue;
      const run = wholes(place), pairs = [];
      let length = 0;
      for (let k = 0; k + 1 < run.length; k++) {
        const a = 3 * run[k], b = 3 * run[k + 1];
        length += Math.hypot(at[a] - at[b], at[a + 1] - at[b + 1], at[a + 2] - at[b + 2]);
        pairs.push(at[a], at[a + 1], at[a + 2], at[b], at[b + 1], at[b + 2]);
      }
      const s = seams.get(name) || { panels: [], length: 0, pairs: [], kind };
      s.panels.push(p.name);
      s.length = Math.max(s.length, length);
      for (const v of pairs) s.pairs.push(v);
      seams.set(name, s);
    }
  }
  scene.seams = seams;
  return seams;
}

/** The place of a line of pairs that is nearest to a point of the canvas: [pixels away, place]. */
function nearestOf(pairs, project, x, y) {
  let least = Infinity, place = null;
  for (let k = 0; k < pairs.length; k += 6) {
    const [ax, ay] = project(pairs[k], pairs[k + 1], pairs[k + 2]), [bx, by] = project(pairs[k + 3], pairs[k + 4], pairs[k + 5]);
    const dx = bx - ax, dy = by - ay, all = dx * dx + dy * dy, t = all ? Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / all)) : 0;
    const away = Math.hypot(ax + t * dx - x, ay + t * dy - y);
    if (away < least) { least = away; place = [0, 1, 2].map((i) => pairs[k + i] + t * (pairs[k + 3 + i] - pairs[k + i])); }
  }
  return [least, place];
}

/** The seam of the plan under a point of the canvas, at most `near` pixels away and not hidden: { name, place, x, y of that
 * place on the canvas }, or null. own: names of the maker's seams, which have points of their own. */
export function lineUnder(figure, live, own, x, y, near) {
  if (!live.scene || !figure.renderer) return null;
  const project = figure.projector(), found = [];
  for (const [name, { pairs }] of seamsOf(live)) {
    if (!moversOf(name).length || own.includes(name)) continue;
    const [away, place] = nearestOf(pairs, project, x, y);
    if (away < near) found.push({ name, place, away });
  }
  found.sort((a, b) => a.away - b.away);
  for (const { name, place } of found) {
    const at = figure.onCanvas(place);
    if (at.seen) return { name, place, x: at.x, y: at.y };
  }
  return null;
}
