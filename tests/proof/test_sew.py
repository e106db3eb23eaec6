"""Sewing back: closed forms first, then the demo suit, then patterns that are spoiled on purpose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface
from padlib.proof import settle as rest
from padlib.proof.settle import scene, settle
from padlib.proof.sew import frames, slackened, stiffness, weld
from padlib.proof.sheets import Bundle, Sheet, Spot, Stitch, bundle
from padlib.proof.told import off_shell
from padlib.proof.wrap import wrap
from padlib.seams.panels import Edge, Panel
from padlib.suit.built import Built


def strip(
    name: str, width: float, height: float, around: int, up: int, first: int, wrap: int
) -> Flat:
    """A flat rectangle of cloth whose two upright edges are sewn to its partner's."""
    x, y = np.meshgrid(np.linspace(0, width, around + 1), np.linspace(0, height, up + 1))
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    n = around + 1
    faces = []
    for i in range(up):
        for j in range(around):
            a = i * n + j
            faces += [[a, a + 1, a + n + 1], [a, a + n + 1, a + n]]
    column = (first + np.arange(around + 1)) % wrap
    parents = (np.arange(up + 1)[:, None] * wrap + column).ravel()
    other = "b" if name == "a" else "a"
    right, left = np.arange(up + 1) * n + around, (np.arange(up + 1) * n)[::-1]
    edges = (Edge("one", "sewn", right, (other, 1)), Edge("two", "sewn", left, (other, 0)))
    surface = Surface(np.column_stack([flat, np.zeros(len(flat))]), np.array(faces))
    panel = Panel(name, "left", surface, parents, edges)
    none = np.zeros((0, 2))
    return Flat(panel, flat, none, none, np.zeros(0))


def tube(radius: float, height: float, around: int, up: int) -> tuple[Surface, list[Flat]]:
    """A closed cylinder to hold the cloth up, and two flats that sew up to its side."""
    angle = 2 * np.pi * np.arange(around) / around
    step = height / up  # the support goes on beyond the cloth, so that its rims do not matter
    levels = np.linspace(-6 * step, height + 6 * step, up + 13)
    side = np.array([[radius * np.cos(a), radius * np.sin(a), z] for z in levels for a in angle])
    faces = []
    for i in range(up + 12):
        for j in range(around):
            a, b = i * around + j, i * around + (j + 1) % around
            faces += [[a, b, b + around], [a, b + around, a + around]]
    count = len(side)
    for j in range(around):
        k = (j + 1) % around
        last = (up + 12) * around
        faces += [[count, k, j], [count + 1, last + j, last + k]]
    vertices = np.vstack([side, [0, 0, levels[0]], [0, 0, levels[-1]]])
    half = around // 2
    chord = 2 * radius * np.sin(np.pi / around)
    flats = [
        strip("a", half * chord, height, half, up, 0, around),
        strip("b", half * chord, height, half, up, half, around),
    ]
    return Surface(vertices, np.array(faces)), flats


def test_cylinder_sews_back_to_itself() -> None:
    """Two rectangles of half the girth sew up to the cylinder within 0.1 mm, from a square wrap.

    Cloth without rigidity, as the closed form is; what rigidity does at a hem is tested by itself.
    """
    support, flats = tube(60.0, 200.0, 48, 16)
    suit = bundle(flats)
    sewn = weld(suit)
    angle = np.zeros(sewn.count)
    z = np.zeros(sewn.count)
    for w, flat in zip(sewn.welded, flats, strict=True):
        angle[w] = 2 * np.pi * (flat.panel.parents % 48) / 48
        z[w] = flat.positions[:, 1]
    # A square tube 20 mm off on average: not the answer.
    square = 70.0 / np.maximum(np.abs(np.cos(angle)), np.abs(np.sin(angle)))
    start = np.stack([square * np.cos(angle), square * np.sin(angle), z], axis=1)
    place, _ = settle(scene(suit, sewn, support, weight=0.0, rigidity=0.0), start, still=1e-6)
    away = np.abs(off_shell(place, sewn.faces, support)[0])
    radius = np.hypot(place[:, 0], place[:, 1])

    assert sewn.count == 48 * 17
    assert np.abs(np.hypot(start[:, 0], start[:, 1]) - 60).mean() > 15
    assert away.max() < 0.1
    assert radius.mean() == pytest.approx(60.0, abs=0.1)


def test_hands_that_smooth_cloth_on_leave_nothing_pressed_in(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A tube over a cylinder that is dented by 4 mm (the part beyond a plane mirrored in it): cloth cut for the round
    spans the dent, as far off after hands smoothed it on with ten times the usual pressure as without any."""
    round_one, flats = tube(60.0, 200.0, 96, 24)
    dented = round_one.vertices.copy()
    far = dented[:, 0] > 58.0
    dented[far, 0] = 2 * 58.0 - dented[far, 0]
    support = Surface(dented, round_one.faces)
    suit = bundle(flats)
    sewn = weld(suit)
    start = np.zeros((sewn.count, 3))
    for w, flat in zip(sewn.welded, flats, strict=True):
        a = 2 * np.pi * (flat.panel.parents % 96) / 96
        start[w] = np.stack([70 * np.cos(a), 70 * np.sin(a), flat.positions[:, 1]], axis=1)
    most = []
    for hand in (0.0, 3e-3):
        monkeypatch.setattr(rest, "HAND", hand)
        place, _ = settle(scene(suit, sewn, support, weight=0.0), start, still=1e-4)
        most.append(np.abs(off_shell(place, sewn.faces, support)[0]).max())

    assert min(most) > 4.0
    assert most[1] == pytest.approx(most[0], abs=0.05)


def test_what_presses_from_outside_is_the_derivative_of_its_energy() -> None:
    """The slope of pressed cloth, part of it above and part below its support, against a difference of energies."""
    support, flats = tube(60.0, 200.0, 48, 16)
    suit = bundle(flats)
    sewn = weld(suit)
    turn = np.random.default_rng(1)
    start = np.zeros((sewn.count, 3))
    for w, flat in zip(sewn.welded, flats, strict=True):
        # between the support's own edges: over those the nearest place jumps from face to face
        a, z = 2 * np.pi * (flat.panel.parents % 48 + 0.3) / 48, flat.positions[:, 1] + 2.0
        high = 60.3 + 1.5 * np.sin(5.0 * a + 0.05 * z)
        start[w] = np.stack([high * np.cos(a), high * np.sin(a), z], axis=1)
    here = replace(scene(suit, sewn, support), press=5e-3)
    way = turn.normal(size=start.shape)
    state = rest.at(here, start)
    ends = [rest.at(here, start + s * way).energy for s in (1e-4, -1e-4)]
    bare = replace(here, press=0.0)

    assert 0.2 < (state.height > 0).mean() < 0.8
    assert (ends[0] - ends[1]) / 2e-4 == pytest.approx(float(np.vdot(state.slope, way)), rel=1e-4)
    assert state.energy > rest.at(bare, start).energy


def test_cloth_cut_too_small_stands_off_or_is_stretched() -> None:
    """The same tube with one flat 10 mm too wide does not lie on the cylinder any more."""
    support, flats = tube(60.0, 200.0, 48, 16)
    wide = flats[0].positions * [1 + 10.0 / flats[0].positions[:, 0].max(), 1.0]
    suit = bundle([replace(flats[0], positions=wide), flats[1]])
    sewn = weld(suit)
    start = np.zeros((sewn.count, 3))
    for w, flat in zip(sewn.welded, flats, strict=True):
        a = 2 * np.pi * (flat.panel.parents % 48) / 48
        start[w] = np.stack([80 * np.cos(a), 80 * np.sin(a), flat.positions[:, 1]], axis=1)
    place, _ = settle(scene(suit, sewn, support, weight=0.0, rigidity=0.0), start, still=1e-6)
    away, share = off_shell(place, sewn.faces, support)

    assert (away * share).sum() / share.sum() > 0.7  # 10 mm of girth is 1.6 mm of radius


def test_stiffness_is_the_cotangent_laplacian() -> None:
    """The cloth's stiffness equals libigl's cotangent matrix of the flat, up to sign."""
    igl = pytest.importorskip("igl")
    _, flats = tube(60.0, 200.0, 12, 4)
    alone = replace(flats[0], panel=replace(flats[0].panel, edges=()))
    sewn = weld(bundle([alone]))
    flat3 = np.column_stack([alone.positions, np.zeros(len(alone.positions))])
    other = igl.cotmatrix(flat3, np.asarray(alone.panel.surface.faces))

    assert abs(stiffness(sewn) + other).max() < 1e-9


def test_frames_of_a_rigid_motion_are_that_motion() -> None:
    """For cloth that is only turned, the nearest rigid image of every triangle is the turn itself."""
    _, flats = tube(60.0, 200.0, 12, 4)
    sewn = weld(bundle([replace(flats[0], panel=replace(flats[0].panel, edges=()))]))
    rng = np.random.default_rng(4)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    place = flats[0].positions @ turn[:, :2].T
    found, strain = frames(sewn, place)

    assert np.allclose(found, turn[:, :2], atol=1e-9)
    assert np.abs(strain).max() < 1e-9


def test_strain_is_told_in_pile_axes() -> None:
    """Cloth drawn out by 4 % across, 2 % along and sheared: the strain is the symmetric root less one."""
    _, flats = tube(60.0, 200.0, 12, 4)
    sewn = weld(bundle([replace(flats[0], panel=replace(flats[0].panel, edges=()))]))
    drawn = np.array([[1.04, 0.01], [0.01, 1.02]])
    place = np.column_stack([flats[0].positions @ drawn.T, np.zeros(len(flats[0].positions))])

    assert np.allclose(frames(sewn, place)[1], drawn - np.eye(2), atol=1e-9)


def test_cloth_folds_where_it_is_pushed_together() -> None:
    """Slack takes its share of the negative principal strain, in its own direction, and no other."""
    rng = np.random.default_rng(3)
    turn = [np.linalg.qr(rng.normal(size=(2, 2)))[0] for _ in range(20)]
    sizes = rng.uniform(-0.1, 0.1, size=(20, 2))
    strain = np.array([q @ np.diag(v) @ q.T for q, v in zip(turn, sizes, strict=True)])
    kept = np.where(sizes < 0, 0.25 * sizes, sizes)
    want = np.array([q @ np.diag(v) @ q.T for q, v in zip(turn, kept, strict=True)])

    assert np.allclose(slackened(strain, 0.25), want, atol=1e-12)


def cone_sheets(low: float, high: float, height: float, around: int, up: int) -> Bundle:
    """Two halves of a cone's frustum as sheets: sectors of the closed form, sewn at both sides.

    A frustum of radii low > high unrolls to radii R = slant * low / (low - high) and R - slant, and
    half of it to the angle pi * low / R (VALUES 6.3).
    """
    slant = np.hypot(height, low - high)
    far = slant * low / (low - high)
    half = np.pi * low / far
    r, t = np.meshgrid(
        far - slant * np.arange(up + 1) / up, half * (np.arange(around + 1) / around - 0.5)
    )
    flat = np.column_stack([(r * np.sin(t)).T.ravel(), (-r * np.cos(t)).T.ravel()])
    n, faces = around + 1, []
    for i in range(up):
        for j in range(around):
            a = i * n + j
            faces += [[a, a + 1, a + n + 1], [a, a + n + 1, a + n]]
    right, left = np.arange(up + 1) * n + around, np.arange(up + 1) * n
    hems = (np.arange(n), np.arange(up * n, (up + 1) * n))
    pair = [Sheet(name, flat, np.array(faces), (1.0, 1.0, 1.0), hems) for name in ("a", "b")]
    return Bundle(tuple(pair), (Stitch("one", 0, right, 1, left), Stitch("two", 0, left, 1, right)))


@pytest.mark.parametrize("middle", [135.0, 150.0, 120.0])
def test_cone_sews_back_from_a_plain_tube(middle: float) -> None:
    """Both halves of a frustum, bent round its axis as a plain tube too low by 15 mm and less, slide up
    and come to lie on the cone: within 0.1 mm besides the sag of its own edges, 60 mm (1 - cos(pi / 96)).
    """
    suit = cone_sheets(60.0, 40.0, 200.0, 48, 20)
    sewn = weld(suit)
    axes = {"leg_left": np.array([[0.0, 0, 220 - 10 * k] for k in range(23)])}
    spots = [Spot("leg_left", middle, turn, 0.0) for turn in (0.0, 180.0)]
    start = wrap(suit.sheets, spots, sewn, axes)
    high = np.linspace(-40, 240, 29)
    angle = 2 * np.pi * np.arange(192) / 192
    rings = [
        [(60 - z / 10) * np.cos(angle), (60 - z / 10) * np.sin(angle), z + 0 * angle] for z in high
    ]
    side = np.concatenate([np.transpose(ring) for ring in rings])
    around = np.arange(192)
    faces = []
    for k in range(len(high) - 1):
        a, b = 192 * k + around, 192 * k + (around + 1) % 192
        faces += [np.column_stack([a, b, b + 192]), np.column_stack([a, b + 192, a + 192])]
    ends = len(side) + np.arange(2)
    last = 192 * (len(high) - 1)
    faces += [np.column_stack([np.full(192, ends[0]), (around + 1) % 192, around])]
    faces += [np.column_stack([np.full(192, ends[1]), last + around, last + (around + 1) % 192])]
    cone = Surface(np.vstack([side, [0, 0, -40], [0, 0, 240]]), np.concatenate(faces))
    place, _ = settle(scene(suit, sewn, cone, rigidity=0.0), start, still=1e-6)
    radius = np.hypot(place[:, 0], place[:, 1])
    away = np.abs(radius - (60.0 - place[:, 2] / 10.0)) * np.cos(np.arctan(0.1))

    assert np.abs(np.hypot(start[:, 0], start[:, 1]) - (60 - start[:, 2] / 10)).mean() > 4.0
    assert away.max() < 0.1 + 60 * (1 - np.cos(np.pi / 96))


def test_demo_suit_sewn_back(demo_built: Built) -> None:
    """The demo's flats, sewn from sheets bent round plain tubes, come back near the sculpted outline."""
    proof = demo_built.proof

    assert proof is not None
    assert proof.begun_mm["mean"] > 25.0
    assert proof.deviation_mm["mean"] < 2.2
    assert proof.deviation_mm["p95"] < 9.0
    assert abs(proof.volume_percent) < 2.0


def test_a_sheet_that_darts_turn_aside_keeps_to_its_side_of_the_limb() -> None:
    """Two halves of a leg whose lower ends lie 200 mm aside on the table, as open darts turn them, and apart: on the
    tube each row's middle stays within 15 degrees of its sheet's own side, where it had come round to the other's.
    """
    _, flats = tube(45.0, 700.0, 48, 40)
    bent = []
    for flat, way in zip(flats, (1.0, -1.0), strict=True):
        x, y = flat.positions.T
        aside = way * 200.0 * np.maximum(1.0 - y / 500.0, 0.0)
        bent.append(replace(flat, positions=np.column_stack([x + aside, y])))
    suit = bundle(bent)
    sewn = weld(suit)
    axes = {"leg_left": np.array([[0.0, 0, 700 - 20 * k] for k in range(36)])}
    spots = [Spot("leg_left", 350.0, turn, 0.0) for turn in (0.0, 180.0)]
    start = wrap(suit.sheets, spots, sewn, axes)
    inner = [w.reshape(41, 25)[:, 6:19] for w in sewn.welded]  # what is no seam, row by row
    middle = [start[rows].mean(axis=1) for rows in inner]
    turned = [np.degrees(np.arctan2(m[:, 1], m[:, 0])) for m in middle]
    own = [np.degrees(np.arctan2(m[20:, 1].mean(), m[20:, 0].mean())) for m in middle]
    off = [(t - o + 180.0) % 360.0 - 180.0 for t, o in zip(turned, own, strict=True)]

    assert abs((own[0] - own[1]) % 360.0 - 180.0) < 1.0
    assert np.abs(off).max() < 15.0
