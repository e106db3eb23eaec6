"""A body seen from one side in parallel light, and lines drawn on it: what is in sight and what is behind."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.mesh.surface import Faces, Vertices
from padlib.output.png import shade

Array = NDArray[np.float64]

TILT_DEG = 8.0  # looked at a little from above, so that a level tape is seen as a ring
SKIN = (0.93, 0.93, 0.93)
ROOM = 1.04  # of the whole figure


@dataclass(frozen=True, eq=False)
class View:
    """Vertices turned so that the viewer looks along +y; size (2,) in mm on paper; mm of body per mm of paper.

    turn (3, 3): from the body's frame; centre (3,): what lies in the middle of the picture.
    """

    vertices: Vertices
    faces: Faces
    turn: Array
    centre: Array
    size: tuple[float, float]
    scale: float
    tree: cKDTree
    normals: Array

    @property
    def right(self) -> Array:
        """The direction (3,) of the body's frame that points to the right in the picture."""
        return self.turn[0]

    def flat(self, points: Array) -> Array:
        """Places (k, 2) in mm from the picture's lower left corner, of points (k, 3)."""
        seen = (points - self.centre) @ self.turn.T
        return seen[:, [0, 2]] / self.scale + 0.5 * np.array(self.size)

    def seen(self, points: Array) -> NDArray[np.bool_]:
        """Which segments (k - 1,) of a line (k, 3) on the skin lie on the side of the viewer."""
        middle = 0.5 * (points[1:] + points[:-1])
        return self.normals[self.tree.query(middle)[1]][:, 1] < 0.05

    def shade(self, dpi: float) -> NDArray[np.uint8]:
        """The picture (h, w, 3)."""
        corner = self.vertices[self.faces][:, :, [0, 2]] / self.scale
        half = 0.5 * np.array(self.size)
        inside = ((corner.max(axis=1) > -half) & (corner.min(axis=1) < half)).all(axis=1)
        faces = self.faces[inside]
        pixels = (int(self.size[0] / 25.4 * dpi), int(self.size[1] / 25.4 * dpi))
        return shade(
            self.vertices,
            faces,
            turn_deg=0.0,
            size=pixels,
            colours=np.tile(SKIN, (len(faces), 1)),
            centre=np.zeros(3),
            mm_per_pixel=self.scale * 25.4 / dpi,
        )


def across(ring: Array, k: int) -> Array:
    """The straight line (2, 3) through the middle of a ring (h, 3) along axis k, as wide as the ring."""
    ends = np.tile(ring.mean(axis=0), (2, 1))
    ends[:, k] = ring[:, k].min(), ring[:, k].max()
    return ends


def tape_view(
    body: Body,
    *,
    turn_deg: float,
    size: tuple[float, float],
    about: Array | None = None,
    tall_mm: float = 0.0,
    tilt_deg: float = TILT_DEG,
    scale: float | None = None,
) -> View:
    """A view of a body: turned about the vertical (0 front, 90 its left, 180 back), tilted forward.

    size: of the picture in mm; about (3,) and tall_mm: what is in its middle and how much it shows; all of the
    body where tall_mm is nought. scale: mm of body per mm of paper, where it is not to be found from those.
    """
    a, b = np.deg2rad(turn_deg), np.deg2rad(tilt_deg)
    spin = np.array([[np.cos(a), np.sin(a), 0.0], [-np.sin(a), np.cos(a), 0.0], [0.0, 0.0, 1.0]])
    nod = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(b), -np.sin(b)], [0.0, np.sin(b), np.cos(b)]])
    turn = nod @ spin
    v, f = body.surface.vertices, body.surface.faces
    low, high = v.min(axis=0), v.max(axis=0)
    if tall_mm <= 0.0 or about is None:
        about = 0.5 * (low + high)
        spread = (v - about) @ turn.T
        across = [2 * float(np.abs(spread[:, k]).max()) for k in (0, 2)]
        scale = scale or ROOM * max(across[0] / size[0], across[1] / size[1])
    else:
        scale = tall_mm / size[1]
    seen = (v - about) @ turn.T
    normals = igl.per_vertex_normals(v, f) @ turn.T
    return View(seen, f, turn, about, size, scale, cKDTree(v), normals)
