"""Curves drawn into a mesh: triangles are subdivided until every curve is a chain of edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.nodes import sort_points, sort_stretches
from padlib.mesh.point import Curve, arrays
from padlib.mesh.retriangulate import Retriangulation
from padlib.mesh.surface import Faces, Vertices
from padlib.mesh.topology import Edges, edges

Indices = NDArray[np.int64]
Weights = NDArray[np.float64]

SNAP = 1e-2  # share of an edge or a triangle's height below which places are one


@dataclass(frozen=True, eq=False)
class Inserted:
    """A mesh with curves in it as chains of edges.

    vertices (n', 3): the input's first, unchanged; faces (m', 3), in the order of their parents;
    parent_face (m',): input face of each face; point_face (n',), point_barycentric (n', 3): place
    of each vertex on the input mesh; chains: for each curve its vertices in order; closed: whether
    the last joins the first again (it is not repeated);
    edges (k, 2): edges of the curves, low vertex first, once for each curve that runs there;
    edge_curve (k,): that curve's index. findings: what was noticed.
    """

    vertices: Vertices
    faces: Faces
    parent_face: Indices
    point_face: Indices
    point_barycentric: Weights
    chains: tuple[Indices, ...]
    closed: tuple[bool, ...]
    edges: Indices
    edge_curve: Indices
    findings: tuple[Finding, ...] = ()


def insert(
    vertices: Vertices,
    faces: Faces,
    curves: Sequence[Curve],
    *,
    snap: float = SNAP,
    mesh_edges: Edges | None = None,
) -> Inserted:
    """Subdivide triangles so that every curve is a chain of mesh edges.

    vertices (n, 3) in mm, faces (m, 3). Curves may cross, touch, overlap, end on each other, start
    and end inside faces, and pass through vertices or along edges. Places nearer to each other than
    snap are made one: as a share of an edge along edges, and of a triangle's height inside. Both
    faces of an edge see the same nodes on it, so the mesh stays conforming; every new vertex lies
    on the input surface, so area and shape are kept. mesh_edges: those of the faces, where they are known.
    Raises InputError if two neighbouring points of a curve share no face or snap is not in (0, 0.1],
    MeshError if the lines of a triangle cannot be arranged.
    """
    if not 0.0 < snap <= 0.1:
        raise InputError(f"snap must be over 0 and at most 0.1, not {snap}; leave it at {SNAP}")
    v = np.asarray(vertices, dtype=np.float64)
    f = np.asarray(faces, dtype=np.int64)
    _check_points(f, curves)
    mesh_edges = edges(f) if mesh_edges is None else mesh_edges
    nodes = sort_points(len(v), f, mesh_edges, curves, snap)
    lines = sort_stretches(f, mesh_edges, nodes, curves)
    plan = Retriangulation(v, f, mesh_edges, nodes, lines, snap)
    return _put_together(plan, curves)


def _check_points(faces: Indices, curves: Sequence[Curve]) -> None:
    """Raise InputError for a point that is not on the mesh."""
    for number, curve in enumerate(curves):
        face, weights = arrays(curve.points)
        bad = (face < 0) | (face >= len(faces)) | ~np.isfinite(weights).all(axis=1)
        bad |= ~(weights.clip(0.0).sum(axis=1) > 0.0)
        if bad.any():
            raise InputError(
                f"curve {number}: point {int(np.argmax(bad))} is not on the mesh of "
                f"{len(faces)} faces; draw the curve on this mesh"
            )


def _put_together(plan: Retriangulation, curves: Sequence[Curve]) -> Inserted:
    """The new mesh; nodes that are not used are left out."""
    nodes, n = plan.nodes, plan.nodes.vertices
    faces, parents = np.concatenate(plan.faces), np.concatenate(plan.parents)
    order = np.argsort(parents, kind="stable")
    faces, parents = faces[order], parents[order]
    face = np.concatenate((nodes.face, np.array(plan.new_face, dtype=np.int64)))
    new = np.array(plan.new_weights, dtype=np.float64).reshape(-1, 3)
    weights = np.concatenate((nodes.weights, new))
    used = np.zeros(len(face), dtype=bool)
    used[:n] = True
    used[faces] = True
    number = np.cumsum(used) - 1
    extra = np.flatnonzero(used)[n:]
    added = np.einsum("kc,kcx->kx", weights[extra], plan.v[plan.f[face[extra]]])
    chains = [number[c] for c in _chains(plan, curves)]
    closed = tuple(c.closed for c in curves)
    ends, owner = chain_edges(chains, closed)
    return Inserted(
        vertices=np.concatenate((plan.v, added)),
        faces=number[faces],
        parent_face=parents,
        point_face=face[used],
        point_barycentric=weights[used],
        chains=tuple(chains),
        closed=closed,
        edges=ends,
        edge_curve=owner,
        findings=_vanished(chains),
    )


def _chains(plan: Retriangulation, curves: Sequence[Curve]) -> list[Indices]:
    """The nodes of each curve in order, none twice in a row."""
    lines, chains = plan.lines, []
    bounds = np.searchsorted(lines.curve, np.arange(len(curves) + 1)).tolist()
    ends, edge = lines.ends.tolist(), lines.edge.tolist()
    for k, curve in enumerate(curves):
        chain: list[int] = []
        for i in range(bounds[k], bounds[k + 1]):
            path = plan.path(*ends[i], edge[i])
            chain.extend(path[1:] if chain and chain[-1] == path[0] else path)
        if curve.closed and len(chain) > 1 and chain[0] == chain[-1]:
            chain.pop()
        chains.append(np.array(chain, dtype=np.int64))
    return chains


def _vanished(chains: Sequence[Indices]) -> tuple[Finding, ...]:
    """A finding for each curve of which nothing is left."""
    words = "the curve is shorter than the mesh can show and was left out"
    return tuple(
        Finding(152, words, f"curve {k}", Grade.WARNING) for k, c in enumerate(chains) if len(c) < 2
    )


def chain_edges(chains: Sequence[Indices], closed: Sequence[bool]) -> tuple[Indices, Indices]:
    """Edges (k, 2), low vertex first, of chains of vertices, and the chain (k,) of each.

    An edge that a chain runs along twice is given once.
    """
    pairs, owner = [np.zeros((0, 2), np.int64)], [np.zeros(0, np.int64)]
    for number, (chain, round_) in enumerate(zip(chains, closed, strict=True)):
        onward = np.roll(chain, -1) if round_ else chain[1:]
        both = np.sort(np.column_stack((chain[: len(onward)], onward)), axis=1)
        both = np.unique(both[both[:, 0] != both[:, 1]], axis=0)
        pairs.append(both)
        owner.append(np.full(len(both), number))
    return np.concatenate(pairs), np.concatenate(owner)
