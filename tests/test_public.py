"""The public face of the library: names, version, errors."""

from __future__ import annotations

import inspect
from importlib.metadata import version
from pathlib import Path

import pytest

import padlib
from padlib import errors


def test_all_is_sorted_and_complete() -> None:
    """`padlib.__all__` is sorted and every name in it is there."""
    names = padlib.__all__

    assert sorted(names) == names
    assert all(hasattr(padlib, n) for n in names)


@pytest.mark.parametrize(
    ("room", "name"),
    [
        ("flatten", "conformal"),
        ("flatten", "isometric"),
        ("flatten", "stretch"),
        ("mesh", "cut"),
        ("body", "measure"),
    ],
)
def test_functions_of_the_design_are_there(room: str, name: str) -> None:
    """The functions that other programs call are functions, with a docstring and annotations."""
    function = getattr(getattr(padlib, room), name)

    assert inspect.isfunction(function)
    assert function.__doc__
    assert "return" in function.__annotations__


def test_version_is_the_package_version() -> None:
    """The version in the package and in its metadata are one."""
    assert version("padlib") == padlib.__version__


def test_package_is_typed() -> None:
    """The package says that it is typed."""
    assert (Path(padlib.__file__).parent / "py.typed").is_file()


def test_every_error_is_one_of_ours() -> None:
    """All errors of the module come from one base, so that a caller can catch them all."""
    kinds = [
        c for _, c in inspect.getmembers(errors, inspect.isclass) if c.__module__ == errors.__name__
    ]

    assert all(issubclass(c, errors.PadlibError) for c in kinds)
    assert len(kinds) <= 7
