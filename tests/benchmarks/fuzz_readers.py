"""Fuzzing led by coverage: readers of meshes, suit files and tables fed what reaches code not reached before.

    pip install atheris
    python tests/benchmarks/fuzz_readers.py mesh --runs 20000     (or suit, table)

libFuzzer's engine (by atheris) changes small files of every format and keeps each that runs through new lines of
padlib and trimesh. An error that is not one of padlib's own, 60 s on one file or 2 GB end the run with a status of
77 or 70, and the file stays in the folder; a run to its end prints the count and ends with 0. Seeded.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import sys
import tempfile
from pathlib import Path

import atheris

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / name) for name in ("body", "mesh", "suit")]

with atheris.instrument_imports(include=["padlib", "trimesh"]):
    from base_mesh import base_mesh, coarser
    from mutants import KINDS, originals
    from test_fuzz import _more

    from padlib.body.table import read_measurements
    from padlib.errors import PadlibError
    from padlib.mesh.read import read_mesh
    from padlib.suit.file import read_suit

TRIANGLES = 60
TABLE = b"stature,1720\nchest_girth,960 mm\nwaist_girth;80,0 cm\nhip_girth\t40 in\n"


def _begin(what: str) -> dict[str, tuple[str, bytes]]:
    """The sound files to begin with: name to ending and bytes."""
    if what == "suit":
        return {"suit": ("toml", _more().encode())}
    if what == "table":
        return {"table": ("csv", TABLE)}
    files = originals(*coarser(*base_mesh(), TRIANGLES))
    return {name: (KINDS[name], data) for name, data in files.items()}


def main() -> None:
    """Fuzz one kind of reader."""
    ask = argparse.ArgumentParser()
    ask.add_argument("what", choices=["mesh", "suit", "table"])
    ask.add_argument("--runs", type=int, default=20_000)
    ask.add_argument("--seed", type=int, default=1)
    a = ask.parse_args()
    sound = _begin(a.what)
    read = {"mesh": read_mesh, "suit": read_suit, "table": read_measurements}[a.what]
    # the first byte of what the engine gives says which format the rest is read as
    endings = [ending for ending, _ in sound.values()]
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    corpus = folder / "corpus"
    corpus.mkdir()
    for k, (name, (_, data)) in enumerate(sound.items()):
        (corpus / name.replace(" ", "-")).write_bytes(bytes([k]) + data)
    counts = {"read": 0, "refused": 0}

    def once(data: bytes) -> None:
        if not data:
            return
        file = folder / f"spoilt.{endings[data[0] % len(endings)]}"
        file.write_bytes(data[1:])
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                read(file)
            counts["read"] += 1
        except PadlibError as failure:
            words = str(failure)
            if not words.strip() or "Traceback" in words or len(words) > 1200:
                raise AssertionError(words) from failure
            counts["refused"] += 1
        if sum(counts.values()) == a.runs:
            sys.stderr.write(f"{a.what}: {a.runs} files, {counts}, none else\n")
            os._exit(0)

    os.chdir(folder)  # where the engine leaves a file that broke something
    asked = [sys.argv[0], f"-seed={a.seed}", "-timeout=60", "-rss_limit_mb=2048", "-max_len=40000"]
    atheris.Setup([*asked, str(corpus)], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
