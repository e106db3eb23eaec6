// Pictures of a part of the shape: only the triangles that lie in a box of the canvas, over the picture that stands.
// While a point is dragged the camera rests, and a whole picture of a fine figure takes longer than all the rest.
import * as THREE from "three";

const MIDDLE = 20; // mm beyond the body's middle that belong to both sides
const MOST = 0.6; // of the canvas; a larger box is painted whole

export class Part {
  /** shape: { mesh, faces } of the figure. */
  constructor({ mesh, faces }) {
    const own = mesh.geometry, geometry = new THREE.BufferGeometry();
    for (const name of ["position", "normal", "color"]) geometry.setAttribute(name, own.getAttribute(name));
    this.index = new THREE.BufferAttribute(new Uint32Array(faces.length), 1);
    this.index.setUsage(THREE.DynamicDrawUsage);
    geometry.setIndex(this.index);
    this.mesh = new THREE.Mesh(geometry);
    this.mesh.frustumCulled = false;
    this.mesh.visible = false;
    this.faces = faces;
    this.whole = mesh;
    this.view = null; // what the places on the canvas were found for
  }

  /** Places on the canvas of all vertices, in CSS pixels; found once for a view. */
  seen(camera, wide, high) {
    const matrix = new THREE.Matrix4().multiplyMatrices(camera.projectionMatrix, camera.matrixWorldInverse);
    const view = [...matrix.elements, wide, high].join();
    if (view !== this.view) {
      const at = this.whole.geometry.getAttribute("position").array;
      Object.assign(this, { m: matrix.elements, wide, high, x: new Float32Array(at.length / 3), y: new Float32Array(at.length / 3) });
      for (let v = 0, k = 0; k < at.length; v++, k += 3) [this.x[v], this.y[v]] = this.onCanvas(at[k], at[k + 1], at[k + 2]);
      this.view = view;
    }
    return this;
  }

  /** The box [left, top, right, bottom] on the canvas of vertices and of a line's places, `rim` pixels wider; side: -1
   * or 1 of the body, where those on the other one do not count. */
  box(vertices, line, rim, side = 0) {
    const out = [Infinity, Infinity, -Infinity, -Infinity], at = this.whole.geometry.getAttribute("position").array;
    for (const v of vertices) if (at[3 * v] * side >= -MIDDLE) wider(out, this.x[v], this.y[v]);
    for (let k = 0; k < line.length; k += 3) if (line[k] * side >= -MIDDLE) wider(out, ...this.onCanvas(line[k], line[k + 1], line[k + 2]));
    return [out[0] - rim, out[1] - rim, out[2] + rim, out[3] + rim];
  }

  /** Where a place in space is on the canvas. */
  onCanvas(a, b, c) {
    const { m, wide, high } = this, w = m[3] * a + m[7] * b + m[11] * c + m[15];
    return [((m[0] * a + m[4] * b + m[8] * c + m[12]) / w + 1) * 0.5 * wide, (1 - (m[1] * a + m[5] * b + m[9] * c + m[13]) / w) * 0.5 * high];
  }

  /** Choose the triangles that face the camera and touch a box [left, top, wide, high]. */
  choose([left, top, wide, high]) {
    const { faces, x, y } = this, out = this.index.array, right = left + wide, bottom = top + high;
    let count = 0;
    for (let k = 0; k < faces.length; k += 3) {
      const a = faces[k], b = faces[k + 1], c = faces[k + 2], ax = x[a], bx = x[b], cx = x[c];
      if ((ax < left && bx < left && cx < left) || (ax > right && bx > right && cx > right)) continue;
      const ay = y[a], by = y[b], cy = y[c];
      if ((ay < top && by < top && cy < top) || (ay > bottom && by > bottom && cy > bottom)) continue;
      if ((bx - ax) * (cy - ay) - (cx - ax) * (by - ay) > 1e-3) continue; // seen from behind
      out[count] = a; out[count + 1] = b; out[count + 2] = c;
      count += 3;
    }
    this.index.clearUpdateRanges();
    this.index.addUpdateRange(0, count);
    this.index.needsUpdate = true;
    this.mesh.geometry.setDrawRange(0, count);
    this.mesh.material = this.whole.material;
  }
}

function wider(box, x, y) {
  box[0] = Math.min(box[0], x); box[1] = Math.min(box[1], y);
  box[2] = Math.max(box[2], x); box[3] = Math.max(box[3], y);
}

/** A box in whole pixels within the canvas, or null where it is most of it and all may as well be painted. */
export function within(box, wide, high) {
  const left = Math.max(0, Math.floor(box[0])), top = Math.max(0, Math.floor(box[1]));
  const right = Math.min(wide, Math.ceil(box[2])), bottom = Math.min(high, Math.ceil(box[3]));
  const w = Math.max(0, right - left), h = Math.max(0, bottom - top);
  return w * h > MOST * wide * high ? null : [left, top, w, h];
}
