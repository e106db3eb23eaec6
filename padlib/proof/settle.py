"""Sewn cloth at rest over what holds it up from inside.

First roughly, every triangle pulled towards its own rigid image with one factor for all steps, then by Newton steps
on the energy of stretch, bending, weight and support: of stiff cloth that hands smooth on, and of the cloth let go,
until it moves no more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_matrix, diags_array, eye_array

from padlib.mesh.areas import vertex_areas
from padlib.mesh.solve import Factor, factor, nested_dissection
from padlib.mesh.surface import Surface, Vertices, per_surface
from padlib.padding.skin import Skin, skin
from padlib.proof import elastic
from padlib.proof.bend import bending
from padlib.proof.blocks import Blocks, blocks_of
from padlib.proof.sew import Sewn, pull, stiffness
from padlib.proof.sheets import Bundle

Array = NDArray[np.float64]

# Of the cloth, over a stiffness of 1 N/mm. Weight: 600 g/m2 of long pile (common practice, no source).
# Rigidity: F. Peirce 1930, weight times the cube of the bending length, of 27 mm here (common practice,
# no source: a strip of heavy pile that is pushed 54 mm over a table's edge bends down to 41.5 degrees).
WEIGHT = 6e-6  # N/mm2
RIGIDITY = 0.12  # N mm
FIRM = 0.02  # N/mm3: what padding and body push back by mm of depth

ROUGH = 60  # steps of the rough start
STIFF = 1000.0  # times the cloth's rigidity, for a first rest without folds that the wrap made
# Hands that smooth a suit on, until it lies by itself: 3 kPa where it stands off by 10 mm (common practice, no source).
# Without them cloth cut for a hollow may stand up in it instead, at the same energy to 1e-4.
HAND = 3e-4  # N/mm3, over a stiffness of 1 N/mm
NEARLY = 0.3  # mm, mean movement of a step at which that first rest is near enough
HOLD = 0.02  # weight of the support against the stiffness in it, each vertex
MEMORY = 6  # earlier rough steps that the next one learns from

STEPS = 60  # of Newton at most
STILL = 0.01  # mm, mean movement of a step at which the cloth rests
WHOLE = 0.5  # share of a step from which what it was to move tells how near rest is
FARTHEST = 20.0  # mm that a step may move any vertex
HELD = (
    1e8  # on the second derivative, of what stays in the plane x = 0: its steps are rounded to none
)
MORE, LEAST = 1e-4, 1e-7  # what is added to the second derivative, by mm2, at first and at least
SURE = 1e-6  # of that, above which a short step is no sign of rest


@dataclass(frozen=True, eq=False)
class Scene:
    """Cloth and what holds it: area (n,) mm2 of flats by vertex; bend (n, n): form of bending, to be
    taken times the rigidity; support; weight; press: what the cloth is pressed on with, by mm that it stands off."""

    sewn: Sewn
    area: Array
    bend: csc_matrix
    rigidity: float
    support: Surface
    weight: float
    press: float = 0.0


@dataclass(eq=False)
class Work:
    """What one solve leaves for the next over the same seams: the matrix's pattern and its factor, and where some
    place lay over the support."""

    blocks: Blocks | None = None
    factor: Factor | None = None
    touched: tuple[Vertices, Array, Array] | None = None


def scene(
    suit: Bundle,
    sewn: Sewn,
    support: Surface,
    *,
    weight: float = WEIGHT,
    rigidity: float = RIGIDITY,
) -> Scene:
    """The cloth of a suit over a closed surface that holds it up; weight and rigidity over stiffness."""
    area = vertex_areas(sewn.faces, sewn.area, sewn.count)
    return Scene(sewn, area, bending(suit, sewn), rigidity, support, weight)


def settle(
    here: Scene,
    start: Vertices,
    *,
    rough: int = ROUGH,
    still: float = STILL,
    level: float = 0.0,
    work: Work | None = None,
) -> tuple[Vertices, int]:
    """The sewn suit at rest over its support: positions (n, 3) mm and the Newton steps that it took.

    start (n, 3): a rough wrap, or with rough 0 a place near rest; still: mean movement of a step at
    which it rests, mm; level: mean movement along the support's normals at which it rests as well, for who
    asks only how high the cloth lies: it ends by sliding; work: of an earlier solve over cloth that is sewn alike.
    """
    work = work or Work()
    if not rough:
        return _downhill(here, start, still, LEAST, work, level)
    return smoothed(here, roughly(here, start, rough), still=still, work=work)


def smoothed(
    here: Scene, place: Vertices, *, still: float = STILL, work: Work | None = None
) -> tuple[Vertices, int]:
    """The suit at rest from a place (n, 3) that is rough: smoothed on by hands first, then let go; and the steps."""
    work = work or Work()
    smooth = replace(here, rigidity=STIFF * here.rigidity, press=HAND)
    place, begun = _downhill(smooth, place, NEARLY, MORE, work)
    place, taken = _downhill(here, place, still, LEAST, work)
    return place, begun + taken


def _downhill(
    here: Scene, place: Vertices, still: float, more: float, work: Work, level: float = 0.0
) -> tuple[Vertices, int]:
    """Newton steps until the cloth moves by less than `still` in one, or by less than `level` off or towards its
    support: positions (n, 3) and steps."""
    state = at(here, place, work)
    for step in range(STEPS):
        way = -solver(here, state, work, more).solve(state.slope.ravel()).reshape(-1, 3)
        way[here.sewn.middle, 0] = 0.0
        off = float(np.abs(np.einsum("ni,ni->n", way, state.up)).mean())
        share, state = _lower(here, state, way)
        # what is added holds back sliding, which costs next to nothing: a step that is short for other reasons
        # is no sign of rest
        moved = share * float(np.linalg.norm(way, axis=1).mean())
        if more <= SURE and (0.0 < moved < still or (share >= WHOLE and off < level)):
            return state.place, step + 1
        if share >= 0.5:
            more = max(0.3 * more, LEAST)
        elif share < 0.25:
            more *= 3.0 if share else 90.0  # no way down: a shorter, steeper step
    return state.place, STEPS


@per_surface
def _skin_of(support: Surface) -> Skin:
    return skin(support.vertices, support.faces)


def touch(support: Surface, place: Vertices, work: Work | None = None) -> tuple[Array, Array]:
    """Height (n,) of points above a closed surface, mm, below it negative, and the way up (n, 3).

    work: remembers the last place that was asked for, which cloth at rest is asked for again and again.
    """
    if work is not None and work.touched is not None and work.touched[0] is place:
        return work.touched[1], work.touched[2]
    height, close, normal = _skin_of(support).signed(place)
    away = place - close
    size = np.abs(height)
    up = np.where(
        (size > 1e-6)[:, None],
        away * np.sign(height)[:, None] / np.maximum(size, 1e-12)[:, None],
        normal,
    )
    if work is not None:
        work.touched = place, height, up
    return height, up


@dataclass(frozen=True, eq=False)
class _Tried:
    """Cloth at a place and its energy: what a line search asks for. bent (n, 3): what bending pulls with."""

    place: Vertices
    energy: float
    cloth: elastic.Strained
    height: Array
    up: Array
    bent: Array


@dataclass(frozen=True, eq=False)
class State:
    """Cloth at a place: its energy, the derivative (n, 3) by the places, and what both are made of."""

    place: Vertices
    energy: float
    slope: Array
    cloth: elastic.Strained
    referred: Array
    height: Array
    up: Array


def at(here: Scene, place: Vertices, work: Work | None = None) -> State:
    """The state of the cloth at positions (n, 3)."""
    return _sloped(here, _tried(here, place, work=work))


def _tried(
    here: Scene, place: Vertices, last: State | None = None, work: Work | None = None
) -> _Tried:
    """The cloth at positions (n, 3); last: a state near it, which spares asking for the height of what cannot have
    come below: there a lower bound above 0 stands for it, which changes nothing else."""
    cloth = elastic.strained(here.sewn, place)
    if last is None or here.press:
        height, up = touch(here.support, place, work)
    else:
        height, up = last.height - np.linalg.norm(place - last.place, axis=1), last.up.copy()
        near = np.flatnonzero(height <= 0.0)
        height[near], up[near] = touch(here.support, place[near])
    firm = np.where(height < 0.0, FIRM, here.press)
    bent = here.rigidity * (here.bend @ place)
    energy = float(elastic.energy(here.sewn, cloth) @ here.sewn.area)
    energy += 0.5 * float(here.area @ (firm * height**2)) + 0.5 * float(np.vdot(place, bent))
    energy += here.weight * float(here.area @ place[:, 2])
    return _Tried(place, energy, cloth, height, up, bent)


def _sloped(here: Scene, tried: _Tried) -> State:
    """The state of cloth that was tried."""
    cloth, height, up = tried.cloth, tried.height, tried.up
    referred = elastic.referred(cloth, elastic.stress(here.sewn, cloth))
    slope = elastic.pulled(here.sewn, cloth, referred) + tried.bent
    slope += (here.area * np.where(height < 0.0, FIRM, here.press) * height)[:, None] * up
    slope[:, 2] += here.weight * here.area
    slope[here.sewn.middle, 0] = 0.0
    return State(tried.place, tried.energy, slope, cloth, referred, height, up)


def solver(here: Scene, state: State, work: Work, more: float = LEAST) -> Factor:
    """The factored second derivative of the energy; more: added on its diagonal, by mm2 of cloth."""
    sewn = here.sewn
    if work.blocks is None:
        work.blocks = blocks_of(sewn.faces, sewn.count, here.bend)
    local = elastic.hessians(sewn, state.cloth, state.referred)
    firm = here.area * np.where(state.height < 0, FIRM, here.press)
    points = firm[:, None, None] * state.up[:, :, None] * state.up[:, None, :]
    points += more * here.area.mean() * np.eye(3)
    points[sewn.middle, 0, 0] += HELD
    matrix = work.blocks.matrix(local, points, here.rigidity)
    if work.factor is None:
        work.factor = factor(matrix, lower=True, order=_order(matrix))
    else:
        work.factor.refactor(matrix)
    return work.factor


def _order(matrix: csc_matrix) -> NDArray[np.int64] | None:
    """An elimination order (3n,) that keeps each vertex's three unknowns together."""
    entries = matrix.tocoo()
    count = matrix.shape[0] // 3
    pairs = (np.ones(entries.nnz, np.int8), (entries.row // 3, entries.col // 3))
    order = nested_dissection(coo_array(pairs, shape=(count, count)))
    return None if order is None else (3 * order[:, None] + np.arange(3)).ravel()


def _lower(here: Scene, state: State, way: Array) -> tuple[float, State]:
    """The share of a step that lowers the energy enough (L. Armijo 1966), and the state there."""
    fall = float(np.vdot(way, state.slope))
    share = min(1.0, FARTHEST / float(np.linalg.norm(way, axis=1).max()))
    while share > 1e-4:
        new = _tried(here, state.place + share * way, state)
        if new.energy <= state.energy + 1e-4 * share * fall:
            return share, _sloped(here, new)
        share *= 0.5
    return 0.0, state


def roughly(here: Scene, start: Vertices, steps: int) -> Vertices:
    """Positions (n, 3) after some steps towards rest, from anywhere.

    As rigid as it can be (O. Sorkine and M. Alexa 2007, L. Liu and others 2008).
    """
    sewn = here.sewn
    hang = np.zeros((sewn.count, 3))
    hang[:, 2] = -here.weight * here.area
    matrix = csc_matrix(stiffness(sewn) + HOLD * eye_array(sewn.count))
    solve = factor(matrix).solve
    across = solve
    if len(sewn.middle):
        held = np.zeros(sewn.count)
        held[sewn.middle] = HELD
        across = factor(csc_matrix(matrix + diags_array(held))).solve
    place, asked = start, start.copy()
    height, up = touch(here.support, start)
    history: list[tuple[Array, Array]] = []
    for _ in range(steps):
        # who has moved by less than its height cannot have come below
        near = np.flatnonzero(height - np.linalg.norm(place - asked, axis=1) < 0.0)
        height[near], up[near] = touch(here.support, place[near])
        asked[near] = place[near]
        target = place - np.minimum(height, 0.0)[:, None] * up
        right = pull(sewn, place) + HOLD * target + hang
        right[sewn.middle, 0] = 0.0
        new = np.column_stack([across(right[:, 0]), solve(right[:, 1:])])
        place = _learned(place, new, history)
    return place


def _learned(place: Array, new: Array, history: list[tuple[Array, Array]]) -> Array:
    """The next positions from the last few steps (D. Anderson 1965)."""
    history.append((place, new))
    del history[:-MEMORY]
    residual = np.array([(n - p).ravel() for p, n in history])
    if len(history) < 2:
        return new
    differences = residual[1:] - residual[:-1]
    gram = differences @ differences.T
    gram += 1e-10 * np.trace(gram) * np.eye(len(gram))
    gamma = np.linalg.solve(gram, differences @ residual[-1])
    out = new.ravel().copy()
    for k, g in enumerate(gamma):
        out -= g * (history[k + 1][1] - history[k][1]).ravel()
    return out.reshape(new.shape)
