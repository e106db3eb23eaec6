"""The forecast of stretch against closed forms and against its own direct solve."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.errors import MeshError
from padlib.flatten.disk import boundary_loop
from padlib.flatten.forecast import defects, forecast, forecaster


def disk(rings: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Radius (0 to 1) and angle of the vertices of a disk of rings, and its faces."""
    radius, angle, start = [0.0], [0.0], [0]
    for r in range(1, rings + 1):
        start.append(len(radius))
        radius += [r / rings] * (6 * r)
        angle += (2 * np.pi * np.arange(6 * r) / (6 * r)).tolist()

    def at(r: int, k: int) -> int:
        return 0 if r == 0 else start[r] + k % (6 * r)

    faces = []
    for r in range(1, rings + 1):
        for s in range(6):
            for i in range(r):
                a, b = at(r, s * r + i), at(r, s * r + i + 1)
                faces.append((at(r - 1, s * (r - 1) + i), a, b))
                if i < r - 1:
                    faces.append((at(r - 1, s * (r - 1) + i), b, at(r - 1, s * (r - 1) + i + 1)))
    return np.array(radius), np.array(angle), np.array(faces)


def cap(degrees: float, rings: int, radius: float = 100.0) -> tuple[np.ndarray, np.ndarray]:
    """A spherical cap of an angular radius, pole up."""
    r, a, faces = disk(rings)
    t = np.radians(degrees) * r
    return radius * np.stack([np.sin(t) * np.cos(a), np.sin(t) * np.sin(a), np.cos(t)], 1), faces


def saddle(rings: int) -> tuple[np.ndarray, np.ndarray]:
    """z = x y / 100 over a disk of radius 100."""
    r, a, faces = disk(rings)
    x, y = 100 * r * np.cos(a), 100 * r * np.sin(a)
    return np.stack([x, y, x * y / 100], 1), faces


def cap_error(rings: int) -> float:
    """Largest error of the forecast of a 60 degree cap."""
    vertices, faces = cap(60, rings)
    t = np.radians(60) * disk(rings)[0]
    exact = 2 * np.log(np.cos(np.radians(30)) / np.cos(t / 2))
    return float(np.abs(forecast(vertices, faces) - exact).max())


def test_cap_is_stereographic() -> None:
    """On a spherical cap exp(u) is the scale of the stereographic map with scale 1 on the rim."""
    coarse, fine = cap_error(8), cap_error(16)
    assert fine < 2e-3
    assert fine < coarse / 3  # second order in the spacing


def test_cone_is_a_power() -> None:
    """On a cone u = (1/sin(half-angle) - 1) log(r / L), the scale of the map z to z^(1/sin)."""
    r, a, faces = disk(24)
    half = np.radians(60)
    vertices = np.stack(
        [r * np.sin(half) * np.cos(a), r * np.sin(half) * np.sin(a), -r * np.cos(half)], 1
    )
    far = r > 0.3  # the logarithm's pole is not resolved at the tip itself
    exact = (1 / np.sin(half) - 1) * np.log(r[far])
    # 0.005 of a logarithmic pole at a third of the radius with 24 rings
    np.testing.assert_allclose(forecast(vertices, faces)[far], exact, atol=5e-3)


def test_developable_has_no_stretch() -> None:
    """A bent sheet has u = 0 up to what the angles of its triangles miss."""
    r, a, faces = disk(12)
    x, y = 100 * r * np.cos(a), 100 * r * np.sin(a)
    vertices = np.stack([60 * np.sin(x / 60), y, 60 * np.cos(x / 60)], 1)
    assert np.abs(forecast(vertices, faces)).max() < 2e-3
    flat = np.stack([x, y, 0 * x], 1)
    assert np.abs(forecast(flat, faces)).max() < 1e-12


def test_sign_tells_dome_from_saddle() -> None:
    """u < 0 inside a dome (the cloth must stretch), u > 0 inside a saddle (it is slack)."""
    inner = np.arange(6 * 10 * 9 // 2)
    assert forecast(*cap(50, 10))[inner].max() < 0
    assert forecast(*saddle(10))[inner].min() > 0


@pytest.mark.parametrize("mesh", [cap(70, 9), saddle(9)])
def test_gauss_bonnet(mesh: tuple[np.ndarray, np.ndarray]) -> None:
    """Defects inside and turning along the boundary add up to 2 pi on any disk."""
    vertices, faces = mesh
    d = defects(vertices, faces)
    rim = boundary_loop(faces)
    inside = np.setdiff1d(np.arange(len(vertices)), rim)
    assert d[inside].sum() + (d[rim] - np.pi).sum() == pytest.approx(2 * np.pi, abs=1e-10)


def test_slits_equal_a_direct_solve() -> None:
    """The quick answer for a slit, beside one that is there, equals a solve with both held."""
    vertices, faces = cap(60, 8)
    ahead = forecaster(vertices, faces, boundary_loop(faces))
    inside = ahead.inside
    there, new = np.array([3, 40, 41]), np.array([90, 91, 92, 93])
    held = ahead.holding(there)
    left, _ = held.with_slits(new[None])
    direct = forecast(vertices, faces, slit=inside[np.concatenate([there, new])])
    assert np.abs(direct[inside[new]]).max() == 0
    assert left[0] == pytest.approx(float(ahead.strain(direct[inside][None])[0]), rel=1e-9)


def test_slit_frees_the_curvature() -> None:
    """Along a slit from rim to pole of a dome every angle freed is positive, on a saddle negative."""
    for (vertices, faces), sign in ((cap(60, 8), 1), (saddle(8), -1)):
        ahead = forecaster(vertices, faces, boundary_loop(faces))
        start = [1 + 3 * r * (r - 1) for r in range(1, 8)]  # the vertices of angle 0
        held = np.flatnonzero(np.isin(ahead.inside, [0, *start]))
        _, free = ahead.with_slits(held[None])
        assert (sign * free > 0).all()


def test_closed_mesh_is_refused() -> None:
    """A closed mesh is no panel."""
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    with pytest.raises(MeshError, match="closed"):
        forecast(np.eye(4)[:, :3], faces)
