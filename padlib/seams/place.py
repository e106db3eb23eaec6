"""A shell with what the seam plan must know about it: landmarks, limb axes, ends of the limbs."""

from __future__ import annotations

import weakref
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.body.coordinates import body_axes
from padlib.mesh.point import Seeker
from padlib.mesh.surface import Surface
from padlib.padding.shell import Shell

ENDS = {
    "crown": "crown",
    "hand_left": "hand_tip_left",
    "hand_right": "hand_tip_right",
    "foot_left": "toe_left",
    "foot_right": "toe_right",
}
SYMMETRY_TOLERANCE = 0.02  # mm; smoothing the shell leaves a few thousandths


@dataclass(frozen=True, eq=False)
class Place:
    """A shell and where things are on it.

    at: landmark name to position (3,) on the shell, mm; axes: limb name to centre line (k, 3);
    ends: crown, hands and feet to a vertex of the shell; pad (n,): pad thickness at each vertex;
    mirror (n,): index of each vertex's mirror image in x = 0, or None if the shell is not symmetric.
    """

    surface: Surface
    at: Mapping[str, NDArray[np.float64]]
    axes: Mapping[str, NDArray[np.float64]]
    ends: Mapping[str, int]
    pad: NDArray[np.float64]
    mirror: NDArray[np.int64] | None
    stature: float


def place_on_shell(body: Body, shell: Shell) -> Place:
    """Landmarks and axes of a body, carried to its shell."""
    at = carry_points(body, shell, {k: body.at(k) for k in body.landmarks})
    vertices = shell.surface.vertices
    ends = {
        e: int(np.argmin(((vertices - at[name]) ** 2).sum(axis=1)))
        for e, name in ENDS.items()
        if name in at
    }
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    return Place(
        shell.surface,
        at,
        body_axes(body),
        ends,
        shell.thickness,
        mirror_map(shell.surface),
        stature,
    )


_under: weakref.WeakKeyDictionary[Shell, tuple[Body, Seeker]] = weakref.WeakKeyDictionary()


def carry_points(
    body: Body, shell: Shell, points: Mapping[str, NDArray[np.float64]]
) -> dict[str, NDArray[np.float64]]:
    """Points (3,) on or near the body, carried to the shell that lies over them."""
    known = _under.get(shell)
    if known is None or known[0] is not body:
        seeker = Seeker(body_positions(body, shell), shell.surface.faces)
        known = _under[shell] = body, seeker
    faces = shell.surface.faces
    found = known[1].points(np.array(list(points.values())).reshape(-1, 3))
    return {k: p.on(shell.surface.vertices, faces) for k, p in zip(points, found, strict=True)}


def body_positions(body: Body, shell: Shell) -> NDArray[np.float64]:
    """The body point (n, 3) under each vertex of the shell."""
    corners = body.surface.vertices[body.surface.faces[shell.on_body_face]]
    return np.einsum("nk,nkd->nd", shell.on_body_barycentric, corners)


def mirror_map(surface: Surface) -> NDArray[np.int64] | None:
    """Index (n,) of each vertex's mirror image in x = 0 if the mesh is its own mirror image."""
    away, to = cKDTree(surface.vertices).query(surface.vertices * [-1.0, 1.0, 1.0])
    if away.max() > SYMMETRY_TOLERANCE or len(np.unique(to)) != len(to):
        return None
    turned = np.sort(to[surface.faces], axis=1)
    own = np.sort(surface.faces, axis=1)
    same = np.array_equal(turned[np.lexsort(turned.T[::-1])], own[np.lexsort(own.T[::-1])])
    return to if same else None
