"""Closing a surface: noise, holes, severed parts and soups, against closed forms."""

import igl
import numpy as np
import pytest
import trimesh

from padlib.errors import MeshError
from padlib.mesh import islands, repair, solid
from padlib.mesh.floor import drop_floor
from padlib.mesh.grid import wrap
from padlib.mesh.holes import bridge_pieces, fill_holes, rims, thin_plate
from padlib.mesh.noise import scanner_noise, smooth
from padlib.mesh.surface import Surface


def _ball(level=5, radius=100.0):
    mesh = trimesh.creation.icosphere(level, radius=radius)
    return np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64)


def _tube(radius=40.0, length=400.0, step=5.0):
    """A closed rod along z of even small triangles."""
    around, rows = round(2 * np.pi * radius / step), round(length / step)
    mesh = trimesh.creation.cylinder(radius, length, sections=around)
    mesh = mesh.subdivide_to_size(step * 1.5) if rows else mesh
    mesh.merge_vertices()
    return np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64)


def _volume(surface):
    return repair.signed_volume(surface.vertices, surface.faces)


@pytest.mark.parametrize("sigma", [0.35, 0.7, 1.2])
def test_noise_is_measured(sigma):
    """Noise put on a ball of 4 mm triangles is measured to 20 %; a clean ball shows none."""
    v, f = _ball()
    assert scanner_noise(Surface(v, f)) == 0.0
    noisy = v + sigma * np.random.default_rng(0).normal(size=v.shape)
    assert scanner_noise(Surface(noisy, f)) == pytest.approx(sigma, rel=0.2)


def test_smoothing_takes_noise_out_and_does_not_shrink():
    """0.7 mm of noise on a ball falls to half or less; the volume stays to one in a thousand."""
    v, f = _ball()
    noisy = v + 0.7 * np.random.default_rng(0).normal(size=v.shape)
    calm = smooth(Surface(noisy, f), 0.7, keep=30.0)
    off = np.linalg.norm(calm.vertices, axis=1) - 100.0
    assert off.std() < 0.35
    assert _volume(calm) == pytest.approx(_volume(Surface(v, f)), rel=1e-3)
    assert np.abs(calm.vertices - noisy).max() <= 3 * 0.7


def test_smoothing_spares_waves_that_are_longer_than_asked():
    """A 2 mm wave of 120 mm length on a plane keeps more than 95 % of its height."""
    grid = np.arange(0.0, 400.0, 5.0)
    x, y = np.meshgrid(grid, grid, indexing="ij")
    v = np.stack([x, y, 2.0 * np.sin(2 * np.pi * x / 120.0)], axis=-1).reshape(-1, 3)
    k = np.arange(len(grid) ** 2).reshape(len(grid), -1)
    a, b, c, d = (q.ravel() for q in (k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]))
    f = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    calm = smooth(Surface(v, f), 0.7, keep=30.0)
    inner = (np.abs(v[:, :2] - 200.0) < 120.0).all(axis=1)
    kept = calm.vertices[inner, 2] @ v[inner, 2] / (v[inner, 2] @ v[inner, 2])
    assert 0.95 < kept < 1.05


@pytest.mark.parametrize(("cap", "most"), [(20.0, 1.2), (40.0, 5.5)])
def test_a_hole_in_a_ball_is_filled_close_to_the_ball(cap, most):
    """Holes of 120 and 160 mm in a ball of 100 mm radius are filled to 1.2 and 5.5 mm."""
    v, f = _ball()
    open_ball = repair.without_unused(v, f[v[f, 2].mean(axis=1) < 100.0 - cap])
    closed, made = fill_holes(open_ball, edge=8.0)
    new = made > 0
    assert repair.is_closed_manifold(closed.faces)
    assert repair.genus(closed.faces) == 0
    assert _volume(closed) > 0
    off = np.linalg.norm(closed.vertices[new], axis=1) - 100.0
    assert np.abs(off).max() < most
    assert np.array_equal(closed.vertices[~new], open_ball.vertices)


def test_bending_that_runs_on_keeps_more_of_an_edge_through_a_hole():
    """A hole of 60 by 100 mm over the rounded edge of a beam (radius 20 mm): the closed form is the edge itself.

    A thin plate is 8.8 mm off at most, one whose bending may hardly change over 30 mm 6.5 (measured here).
    """
    along = np.arange(-100.0, 101.0, 5.0)
    out = np.arange(-80.0, 81.0, 5.0)
    bow = np.clip(
        out, -0.25 * np.pi * 20.0, 0.25 * np.pi * 20.0
    )  # of the way, the part on the round
    turn, straight = bow / 20.0, (out - bow) / np.sqrt(2.0)
    x = 20.0 * np.sin(turn) + straight
    z = 20.0 * np.cos(turn) - np.abs(straight)
    i, j = np.meshgrid(range(len(along)), range(len(out)), indexing="ij")
    truth = np.column_stack([x[j.ravel()], along[i.ravel()], z[j.ravel()]])
    k = (i * len(out) + j)[:-1, :-1].ravel()
    step = len(out)
    faces = np.concatenate([np.c_[k, k + step, k + 1], np.c_[k + 1, k + step, k + step + 1]])
    free = np.flatnonzero((np.abs(out[j.ravel()]) < 31.0) & (np.abs(along[i.ravel()]) < 51.0))
    off = []
    for even in (0.0, 30.0):
        v = truth.copy()
        for plain in (True, False, False):
            v[free] = thin_plate(v, faces, free, plain=plain, even=0.0 if plain else even)
        off.append(float(np.linalg.norm(v - truth, axis=1).max()))
    assert off[1] < 0.75 * off[0]


def test_a_hole_in_a_flat_face_is_filled_flat():
    """The filling of a hole in a plane lies in that plane."""
    mesh = trimesh.creation.box((200, 200, 50)).subdivide_to_size(9.0)
    mesh.merge_vertices()
    v, f = np.array(mesh.vertices), np.array(mesh.faces)
    middle = v[f].mean(axis=1)
    gone = (np.linalg.norm(middle[:, :2], axis=1) < 45.0) & (middle[:, 2] > 24.9)
    closed, made = fill_holes(repair.without_unused(v, f[~gone]), edge=8.0)
    assert repair.is_closed_manifold(closed.faces)
    assert np.abs(closed.vertices[made > 0, 2] - 25.0).max() < 1e-6


def test_a_severed_rod_is_joined_again():
    """A rod with 60 mm missing gets a tube of its own radius, to a tenth."""
    v, f = _tube()
    kept = repair.without_unused(v, f[np.abs(v[f, 2].mean(axis=1)) > 30.0])
    assert repair.components(kept.faces).max() == 1
    joined = bridge_pieces(kept, edge=8.0, reach=80.0)
    assert repair.is_closed_manifold(joined.faces)
    assert repair.genus(joined.faces) == 0
    middle = joined.vertices[np.abs(joined.vertices[:, 2]) < 20.0]
    assert np.linalg.norm(middle[:, :2], axis=1) == pytest.approx(40.0, rel=0.1)


def test_parts_too_far_away_are_not_joined():
    """A gap wider than the reach is left alone."""
    v, f = _tube()
    kept = repair.without_unused(v, f[np.abs(v[f, 2].mean(axis=1)) > 60.0])
    assert bridge_pieces(kept, edge=8.0, reach=50.0) is kept


def test_a_wrapped_pair_of_balls_has_the_volume_of_their_union():
    """Two overlapping balls become one closed surface of the closed-form volume, to 1 %."""
    v, f = _ball(4, 60.0)
    apart = 70.0
    soup = Surface(np.concatenate([v, v + [apart, 0, 0]]), np.concatenate([f, f + len(v)]))
    whole = wrap(soup, 5.0)
    r = 60.0
    lens = np.pi * (2 * r - apart) ** 2 * (apart**2 + 4 * apart * r) / (12 * apart)
    assert repair.is_closed_manifold(whole.faces)
    assert repair.components(whole.faces).max() == 0
    assert _volume(whole) == pytest.approx(2 * 4 / 3 * np.pi * r**3 - lens, rel=0.01)


def test_wrapping_keeps_a_narrow_gap_open():
    """Two plates 8 mm apart, joined at one end, do not grow together at a 2.5 mm grid."""
    parts = [((100, 60, 20), (0, 0, 14)), ((100, 60, 20), (0, 0, -14)), ((20, 60, 48), (50, 0, 0))]
    boxes = []
    for size, at in parts:
        box = trimesh.creation.box(size)
        box.apply_translation(at)
        boxes.append(box)
    both = trimesh.util.concatenate(boxes)
    whole = wrap(Surface(both.vertices, both.faces), 2.5)
    gap = np.array([[0.0, 0.0, 0.0], [-40.0, 20.0, 0.0], [30.0, -20.0, 2.0]])
    assert np.abs(igl.winding_number(whole.vertices, whole.faces, gap)).max() < 1e-6
    assert repair.genus(whole.faces) == 0


def test_a_closed_surface_keeps_its_triangles():
    """What is closed and free of noise comes back as it went in, and is said to."""
    v, f = _ball()
    closed, _, found = solid.make_solid(Surface(v, f), size=200.0)
    assert np.array_equal(closed.vertices, v)
    assert np.array_equal(closed.faces, f)
    assert [finding.number for finding in found] == [solid.CLOSED]


def test_fillings_stay_above_the_floor():
    """A hole at the bottom of a ball is closed flat on the floor when the floor is given."""
    v, f = _ball()
    cut = repair.without_unused(v, f[v[f, 2].mean(axis=1) > -70.0])
    floor = float(cut.vertices[:, 2].min())
    closed, _, found = solid.make_solid(cut, size=1700.0, floor=floor)
    assert closed.vertices[:, 2].min() == pytest.approx(floor)
    assert solid.FLOORED in [finding.number for finding in found]
    assert repair.is_closed_manifold(closed.faces)


def test_a_single_sheet_is_refused_in_one_sentence():
    """Two scraps that enclose nothing cannot become a body."""
    v = np.array([[0.0, 0, 0], [100, 0, 0], [0, 100, 0]])
    scraps = Surface(np.concatenate([v, v + [0, 0, 900.0]]), np.array([[0, 1, 2], [3, 4, 5]]))
    with pytest.raises(MeshError, match="inside from outside"):
        solid.make_solid(scraps, size=900.0)


def test_a_floor_grown_onto_the_soles_is_cut_away():
    """A rod that stands in one piece on a wide sheet loses the sheet and keeps the rod."""
    v, f = _tube(60.0, 1000.0, 12.0)
    sheet = trimesh.creation.annulus(60.0, 600.0, height=0.01, sections=180)
    sheet = sheet.subdivide_to_size(120.0)
    both = trimesh.util.concatenate([trimesh.Trimesh(v, f, process=False), sheet])
    both.apply_translation([0, 0, 500.0])
    moved = both.vertices.copy()
    on_floor = np.abs(moved[:, 2]) < 0.02 + 500.01 * (moved[:, 2] > 400) * (
        np.linalg.norm(moved[:, :2], axis=1) > 61
    )
    moved[on_floor & (np.linalg.norm(moved[:, :2], axis=1) > 61), 2] = 0.0
    surface = Surface(moved, both.faces)
    kept, found = drop_floor(surface)
    wide = np.linalg.norm(kept.vertices[:, :2], axis=1).max()
    assert wide < 61.0
    assert found[0].number == islands.FLOOR
    assert np.ptp(kept.vertices[:, 2]) > 970.0
    assert len(rims(kept.faces)) == 1


def test_a_figure_without_a_floor_loses_nothing():
    """A plain rod on its flat end is not taken for one with a floor."""
    v, f = _tube(60.0, 1000.0, 12.0)
    surface = Surface(v, f)
    assert drop_floor(surface) == (surface, ())
