"""A person of solids with known girths: straight limbs of one radius, a trunk of one elliptic section."""

from __future__ import annotations

import igl
import numpy as np
import trimesh

TRUNK = (150.0, 100.0)  # half axes of the trunk's section, mm
LEG, ARM, NECK = 62.0, 40.0, 56.0  # radii, mm
CROTCH, STATURE = 800.0, 1700.0
ARM_DEG = 35.0
# the trunk's end meets the legs where it is as far from the middle as their inner sides, 92 - LEG
CROTCH_SADDLE = 865 - 65 * np.sqrt(1 - ((92 - LEG) / TRUNK[0]) ** 2)


def solids(*, arms=True, legs=True, head=True, web=False):
    """The solids as functions of points (n, 3): negative inside, zero on the surface."""
    out = [_pillar(np.array([0.0, 0.0, 865.0]), np.array([0.0, 0.0, 1330.0]), *TRUNK, 65.0)]
    for side in (-1.0, 1.0):
        if legs:
            out.append(_capsule([side * 92, 0, 70], [side * 92, 0, 860], LEG))
            out.append(_capsule([side * 92, 0, 40], [side * 92, -150, 40], 40.0))
        if arms:
            out.append(_capsule([side * 120, 0, 1400], arm_end(side), ARM))
    if head:
        out.append(_capsule([0, 0, 1380], [0, 0, 1560], NECK))
        out.append(_capsule([0, -15, 1560], [0, -15, STATURE - 90], 90.0))
    if web:  # between the thighs, as thick as a hand
        out.append(lambda p: np.max(np.abs(p - [0, 0, 700]) - [60, 13, 110], axis=1))
    return out


def arm_end(side):
    """Centre of the cap at the end of an arm."""
    turn = np.radians(ARM_DEG)
    return np.array([side * (120 + 690 * np.sin(turn)), 0.0, 1400 - 690 * np.cos(turn)])


def person(step=9.0, finer=False, **parts):
    """The union of the solids: vertices on the surface to a micron, faces outward, floor at z = 0."""
    low, high = np.array([-620.0, -260.0, -20.0]), np.array([620.0, 160.0, 1730.0])
    count = np.ceil((high - low) / step).astype(int) + 1
    axes = [low[k] + step * np.arange(count[k]) for k in range(3)]
    z, y, x = np.meshgrid(*axes[::-1], indexing="ij")
    grid = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    shapes = solids(**parts)
    field = np.min([shape(grid) for shape in shapes], axis=0)
    vertices, faces = igl.marching_cubes(field, grid, *map(int, count), 0.0)[:2]
    faces = faces.astype(np.int64)
    for _ in range(4):
        vertices = _onto(vertices, shapes)
    if finer:
        fine = trimesh.Trimesh(vertices, faces, process=False).subdivide()
        vertices, faces = (
            _onto(_onto(np.array(fine.vertices), shapes), shapes),
            np.array(fine.faces),
        )
    vertices = vertices - [0.0, 0.0, vertices[:, 2].min()]
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    if np.einsum("ij,ij->", a, np.cross(b, c)) < 0:
        faces = faces[:, ::-1]
    return np.ascontiguousarray(vertices), np.ascontiguousarray(faces)


def _onto(points, shapes):
    """One Newton step of points along the gradient of the union's field."""

    def field(p):
        return np.min([shape(p) for shape in shapes], axis=0)

    value = field(points)
    h = 1e-3
    slope = np.stack(
        [(field(points + h * e) - field(points - h * e)) / (2 * h) for e in np.eye(3)], 1
    )
    square = np.maximum((slope**2).sum(axis=1), 1e-3)
    return points - np.clip(value / square, -3, 3)[:, None] * slope


def _capsule(a, b, r):
    a, b = np.array(a, float), np.array(b, float)

    def field(p):
        t = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        return np.linalg.norm(p - a - t[:, None] * (b - a), axis=1) - r

    return field


def _pillar(a, b, rx, ry, rz):
    """An upright elliptic pillar with ellipsoidal ends."""

    def field(p):
        past = p[:, 2] - np.clip(p[:, 2], a[2], b[2])
        out = np.sqrt((p[:, 0] / rx) ** 2 + (p[:, 1] / ry) ** 2 + (past / rz) ** 2)
        return (out - 1) * min(rx, ry, rz)

    return field
