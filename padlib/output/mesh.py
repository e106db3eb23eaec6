"""Meshes as files: binary PLY for bodies and shells, OBJ with the flat as texture coordinates."""

from __future__ import annotations

import io
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Vertices

GAP = "property float unscanned\n"


def ply_bytes(
    vertices: Vertices,
    faces: Faces,
    *,
    landmarks: Mapping[str, NDArray[np.float64]] | None = None,
    gap: NDArray[np.float64] | None = None,
) -> bytes:
    """A binary PLY of vertices (n, 3) mm and faces (m, 3); units stated in a comment.

    landmarks: positions (3,) by name that the file is to carry in comments; gap (n,): mm of each vertex from what was
    scanned, carried as a property of its own (padlib.body.carried reads both).
    """
    marks = "".join(
        f"comment landmark {name} {x:.4f} {y:.4f} {z:.4f}\n"
        for name, (x, y, z) in (landmarks or {}).items()
    )
    head = (
        "ply\nformat binary_little_endian 1.0\ncomment padlib, millimetres, +Z up, facing -Y\n"
        f"{marks}element vertex {len(vertices)}\nproperty double x\nproperty double y\nproperty double z\n"
        f"{'' if gap is None else GAP}element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.empty(len(faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    rows["count"], rows["corners"] = 3, faces
    places = np.ascontiguousarray(vertices, "<f8")
    if gap is not None:
        told = np.empty(len(places), dtype=[("place", "<f8", 3), ("gap", "<f4")])
        told["place"], told["gap"] = places, gap
        places = told
    return head.encode() + places.tobytes() + rows.tobytes()


def obj_text(vertices: Vertices, faces: Faces, flat: NDArray[np.float64], *, name: str) -> str:
    """An OBJ of a panel: 3D positions as v, the flat (n, 2) in mm as vt, one vt for each v."""
    out = io.StringIO()
    out.write(f"# padlib panel, millimetres; vt is the flat in mm\no {name}\n")
    np.savetxt(out, vertices, fmt="v %.9f %.9f %.9f")
    np.savetxt(out, flat, fmt="vt %.9f %.9f")
    corners = np.repeat(np.asarray(faces) + 1, 2, axis=1)
    np.savetxt(out, corners, fmt="f %d/%d %d/%d %d/%d")
    return out.getvalue()
