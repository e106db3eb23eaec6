"""Every mesh that is not one disk is told in one sentence."""

import numpy as np
import pytest

from padlib.errors import MeshError
from padlib.flatten import conformal, isometric
from padlib.flatten.disk import boundary_loop, check_disk

SQUARE = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
TWO = np.array([[0, 1, 2], [0, 2, 3]])


def annulus():
    """A ring of triangles: two boundary loops."""
    angle = 2 * np.pi * np.arange(8) / 8
    rim = np.column_stack([np.cos(angle), np.sin(angle), 0 * angle])
    a = np.arange(8)
    b = (a + 1) % 8
    faces = np.vstack([np.column_stack([a, a + 8, b + 8]), np.column_stack([a, b + 8, b])])
    return np.vstack([rim, 2 * rim]), faces


def punctured_torus():
    """A torus of 5 by 5 vertices less one triangle."""
    i, j = np.meshgrid(np.arange(5), np.arange(5), indexing="ij")
    at = lambda i, j: (i % 5 * 5 + j % 5).ravel()  # noqa: E731
    a, b, c, d = at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return np.random.default_rng(0).normal(size=(25, 3)), faces[1:]


CLOSED = (np.eye(4)[:, :3], np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]))
CASES = {
    "closed": (*CLOSED, "closed, so it cannot lie flat"),
    "two openings": (*annulus(), "more than one opening"),
    "handle": (*punctured_torus(), "has a handle"),
    "two parts": (np.vstack([SQUARE, SQUARE]), np.vstack([TWO, TWO + 4]), "more than one opening"),
    "part closed": (
        np.vstack([SQUARE, CLOSED[0]]),
        np.vstack([TWO, CLOSED[1] + 4]),
        "in several parts",
    ),
    "pinched": (
        np.vstack([SQUARE, SQUARE[1:]]),
        np.vstack([TWO, [[0, 4, 5]]]),
        "touches itself at a vertex",
    ),
    "facing opposite ways": (SQUARE, np.array([[0, 1, 2], [0, 3, 2]]), "face opposite ways"),
    "no faces": (SQUARE, np.zeros((0, 3), int), "has no triangles"),
    "index out of range": (SQUARE, np.array([[0, 1, 4]]), "outside 0 to 3"),
    "vertex twice": (SQUARE, np.array([[0, 1, 1]]), "triangle 0 names one vertex twice"),
    "not finite": (SQUARE * [np.nan, 1, 1], TWO, "vertex 0 of the panel is not finite"),
    "unused vertex": (SQUARE, TWO[:1], "1 vertices of the panel belong to no triangle"),
    "plane vertices": (SQUARE[:, :2], TWO, r"vertices must be an array \(n, 3\)"),
    "quads": (SQUARE, np.array([[0, 1, 2, 3]]), r"faces must be an array \(m, 3\)"),
}


@pytest.mark.parametrize("flatten", [conformal, isometric])
@pytest.mark.parametrize("case", CASES)
def test_one_sentence(case, flatten):
    """Neither map starts on a mesh that is not a disk; both say what is wrong."""
    vertices, faces, words = CASES[case]

    with pytest.raises(MeshError, match=words) as caught:
        flatten(vertices, faces)
    assert "\n" not in str(caught.value)


def test_boundary_runs_counter_clockwise():
    """The boundary of a square seen from above is 0, 1, 2, 3."""
    assert check_disk(SQUARE, TWO)[2].tolist() == [0, 1, 2, 3]
    assert boundary_loop(TWO[:, ::-1]).tolist() == [0, 3, 2, 1]
