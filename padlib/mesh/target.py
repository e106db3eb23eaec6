"""The surface that a mesh is drawn back onto while its triangles are made even (padlib.mesh.remesh)."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.mesh.columns import corners_of, crosses, dots, face_normals, largest, norms, units
from padlib.mesh.edge_list import Edges
from padlib.mesh.surface import Faces, Vertices

CLOSE = 0.3  # edge lengths within which a place on a thin part's own sheet is looked for first
BATCH = 500  # points whose faces are looked at together

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


class Target:
    """The input surface, to project onto."""

    def __init__(self, v: Vertices, f: Faces, length: float) -> None:
        """v (n, 3), f (m, 3): the surface; length: mm of the edges that are aimed at."""
        self.v, self.f, self.length = v, f, length
        self.normal = units(face_normals(v, f))
        edges = Edges(f, len(v))
        self.border = edges.ends[edges.border]
        self.boxes = igl.AABB()
        self.boxes.init(v, f)
        self.middles: tuple | None = None

    def nearest(self, points: Vertices, normal: NDArray[np.float64]) -> tuple[Vertices, Mask]:
        """Nearest places of the surface whose normal agrees with `normal`; and where there is one."""
        _, face, place = self.boxes.squared_distance(self.v, self.f, points)
        agree = dots(self.normal[face], normal) > 0
        wrong = np.flatnonzero(~agree)
        if len(wrong):
            place[wrong], agree[wrong] = self._on_own_sheet(points[wrong], normal[wrong])
        return place, agree

    def nearest_border(self, points: Vertices) -> Vertices:
        """Nearest places of the boundary."""
        return igl.point_mesh_squared_distance(points, self.v, self.border)[2]

    def _on_own_sheet(self, points: Vertices, normal: NDArray[np.float64]) -> tuple[Vertices, Mask]:
        """Nearest places among nearby faces that look the same way: thin parts have two sheets.

        Most are found close by; only for the others is it looked as far as an edge's length.
        """
        place, found = points.copy(), np.zeros(len(points), dtype=bool)
        for reach in (CLOSE * self.length, self.length):
            left = np.flatnonzero(~found)
            for first in range(0, len(left), BATCH):
                some = left[first : first + BATCH]
                row, face = self._faces_near(points[some], reach)
                row = some[row]
                alike = dots(self.normal[face], normal[row]) > 0.3
                row, face = row[alike], face[alike]
                foot = _closest_on_triangles(points[row], self.v[self.f[face]])
                away = norms(foot - points[row])
                order = np.lexsort((-away, row))
                order = order[away[order] < reach]
                place[row[order]], found[row[order]] = foot[order], True  # the nearest comes last
        return place, found

    def _faces_near(self, points: Vertices, reach: float) -> tuple[Ints, Ints]:
        """Numbers (k,) of points and of faces: where the face may have a place within `reach` of the point."""
        if self.middles is None:
            corners = corners_of(self.v, self.f)
            middle = (corners[0] + corners[1] + corners[2]) / 3.0
            size = largest(np.stack([norms(x - middle) for x in corners], axis=1))
            usual = 2.0 * float(np.median(size))
            groups = [np.flatnonzero(size <= usual), np.flatnonzero(size > usual)]
            self.middles = size, [(g, _loose_tree(middle[g])) for g in groups if len(g)]
        size, groups = self.middles
        about = _loose_tree(points)
        rows, faces = [], []
        for group, tree in groups:
            most = reach + float(size[group].max())
            pairs = about.sparse_distance_matrix(tree, most, output_type="ndarray")
            face = group[pairs["j"]]
            near = pairs["v"] <= reach + size[face]
            rows.append(pairs["i"][near])
            faces.append(face[near])
        return np.concatenate(rows), np.concatenate(faces)


def _loose_tree(points: Vertices) -> cKDTree:
    """A tree that is soon made."""
    return cKDTree(points, compact_nodes=False, balanced_tree=False)


def _closest_on_triangles(p: Vertices, t: NDArray[np.float64]) -> NDArray[np.float64]:
    """Closest point of each triangle t (..., 3, 3) to p (..., 3)."""
    a, b, c = t[..., 0, :], t[..., 1, :], t[..., 2, :]
    normal = crosses(b - a, c - a)
    size = np.maximum(dots(normal, normal), 1e-300)
    foot = p - normal * (dots(p - a, normal) / size)[..., None]
    best = foot
    inside = np.ones(foot.shape[:-1], dtype=bool)
    for x, y in ((a, b), (b, c), (c, a)):
        inside &= dots(crosses(y - x, foot - x), normal) >= 0
    gap = np.where(inside, norms(foot - p), np.inf)
    for x, y in ((a, b), (b, c), (c, a)):
        d = y - x
        s = dots(p - x, d) / np.maximum(dots(d, d), 1e-300)
        q = x + np.clip(s, 0, 1)[..., None] * d
        away = norms(q - p)
        nearer = away < gap
        best = np.where(nearer[..., None], q, best)
        gap = np.where(nearer, away, gap)
    return best
