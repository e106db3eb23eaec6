"""Surfaces keep arrays that nobody can write into."""

import numpy as np
import pytest

from padlib.mesh.surface import Surface

FACES = np.array([[0, 1, 2], [0, 2, 3]])


def test_what_others_can_write_into_is_copied():
    """An array of the caller's, and a look through a locked one at an array that is open: later changes do not show."""
    open_ = np.arange(12.0).reshape(4, 3)
    locked = open_.view()
    locked.setflags(write=False)
    for given in (open_, locked):
        surface = Surface(given, FACES)
        open_ += 1.0
        assert np.array_equal(surface.vertices, open_ - 1.0)
        with pytest.raises(ValueError, match="read-only"):
            surface.vertices[0, 0] = 5.0


def test_a_surface_of_anothers_faces_takes_no_copy():
    """Frozen arrays are shared between surfaces; those of another kind or order are brought to the right one."""
    one = Surface(np.arange(12.0).reshape(4, 3), FACES)
    two = Surface(one.vertices + 1.0, one.faces)
    assert two.faces is one.faces
    turned = np.asfortranarray(one.vertices)
    turned.setflags(write=False)
    few = one.faces.astype(np.int32)
    few.setflags(write=False)
    other = Surface(turned, few)
    assert other.vertices.flags.c_contiguous
    assert other.faces.dtype == np.int64
