"""Suit files, tables and commands spoilt at random: a suit, or one clear sentence; never a traceback.

A fixed small part runs with the plain tests; 10,000 of each kind:

    pytest -m slow tests/suit/test_fuzz.py
"""

from __future__ import annotations

import contextlib
import io
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from padlib.body.table import read_measurements
from padlib.cli import main
from padlib.errors import PadlibError
from padlib.suit.file import read_suit

WILD = (
    "nan", "inf", "-inf", "-1", "0", "1e308", "-1e-308", "99999999999999999999", "true", '""', '"\\u0000"',
    "[]", "{}", "[[1, 2], 3]", "2026-11-28", '"äöü\U0001f98a"', "0x7f", "'''a\nb'''", "[1, 2, 3]",
    "[nan, 0, 0]", '{near = "hip_left", move = [1, 2]}', '{face = -1, weights = [1, 0, 0]}', '"hip_left"',
)  # fmt: skip
BYTES = 40_000  # a spoilt file grows to no more
MODES = 8


def _demo() -> str:
    return (resources.files("padlib.suit") / "woodland-giant.toml").read_text(encoding="utf-8")


def _more() -> str:
    """The demo with every table that a suit file knows."""
    return (
        _demo()
        + """
[[seam]]
name = "belt"
through = ["waist_front", [100.0, 0.0, 1000.0], "waist_back"]
[[ease]]
seam = "side"
panel = "front-left"
percent = 3
[[dart]]
panel = "front-left"
state = "forbid"
from = "bust_left"
[[part]]
kind = "neck-strip"
name = "collar"
[[joined]]
name = "foot"
seam = "ankle"
rim = 400
[[edge]]
seam = "neck"
allowance = 12
[proof]
rounds = 2
"""
    )


def spoilt(text: str, number: int) -> bytes:
    """One spoilt file, by its number."""
    draw = np.random.default_rng(number)
    lines = text.splitlines()
    for _ in range(int(draw.integers(1, 4))):
        k = int(draw.integers(len(lines)))
        mode = int(draw.integers(MODES))
        if mode == 0:
            del lines[k]
        elif mode == 1:
            lines.insert(k, lines[int(draw.integers(len(lines)))])
        elif mode in (2, 3) and "=" in lines[k]:
            lines[k] = lines[k].partition("=")[0] + "= " + WILD[int(draw.integers(len(WILD)))]
        elif mode == 4 and lines[k]:
            at = int(draw.integers(len(lines[k])))
            lines[k] = lines[k][:at] + chr(int(draw.integers(1, 0x2FF))) + lines[k][at + 1 :]
        elif mode == 5 and "=" in lines[k]:
            key, _, rest = lines[k].partition("=")
            lines[k] = key[:-2] + "x =" + rest
        elif mode == 6:
            lines[k] = lines[k] * int(draw.integers(2, 50))
        else:
            lines[k] = "[" + "x." * int(draw.integers(1, 200)) + "y]"
        if not lines:
            lines = [""]
    data = "\n".join(lines).encode("utf-8", "surrogatepass")[:BYTES]
    if draw.random() < 0.1:
        raw = bytearray(data)
        raw[int(draw.integers(len(raw) or 1)) - 1 : 0] = draw.bytes(3)
        data = bytes(raw)
    return data


def _sentence(why: PadlibError) -> None:
    words = str(why)
    assert words.strip()
    assert "Traceback" not in words
    assert len(words) < 1200


def _suits(tmp_path: Path, count: int) -> int:
    file, refused = tmp_path / "suit.toml", 0
    text = _more()
    file.write_text(text)
    read_suit(file)  # the file that is spoilt is whole
    for number in range(count):
        file.write_bytes(spoilt(text, number))
        try:
            read_suit(file)
        except PadlibError as why:
            refused += 1
            _sentence(why)
    return refused


def _tables(tmp_path: Path, count: int) -> int:
    refused = 0
    rows = "name,value\nstature,1720\nchest_girth,960\nwaist_girth,800\nhip_girth,1010\n"
    toml = "stature = 1720\nchest_girth = 960\nwaist_girth = 800\n"
    for number in range(count):
        kind, text = (("csv", rows), ("toml", toml))[number % 2]
        file = tmp_path / f"table.{kind}"
        file.write_bytes(spoilt(text, number))
        try:
            read_measurements(file)
        except PadlibError as why:
            refused += 1
            _sentence(why)
    return refused


def _commands(count: int) -> int:
    """Words of the commands put together at random; a command that would take long gets no file."""
    words = [
        "--out",
        "--arms",
        "nan",
        "-1",
        "x.toml",
        "--json",
        "--up",
        "q",
        "--table",
        "",
        "--help",
        "=",
        "a=b",
    ]
    words += [
        "stature=nan",
        "stature=1e9",
        "--lay-seconds",
        "--workers",
        "0",
        "--moves",
        "\0",
        "--trim",
        "z >",
    ]
    names = [
        "build",
        "scan",
        "measure",
        "flatten",
        "fit",
        "pose",
        "sheet2",
        "cloths",
        "pads",
        "parts",
        "point",
    ]
    odd = 0
    for number in range(count):
        draw = np.random.default_rng(number)
        line = [names[int(draw.integers(len(names)))]]
        line += [words[int(k)] for k in draw.integers(len(words), size=int(draw.integers(0, 5)))]
        said = io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            try:
                status = main(line)
            except SystemExit as e:  # of argparse, with its own sentence
                status = int(e.code or 0)
        assert status in (0, 2), line
        assert "Traceback" not in said.getvalue(), line
        odd += status == 2
    return odd


def test_spoilt_suit_files_are_read_or_refused_in_a_sentence(tmp_path: Path) -> None:
    """300 of them, and some are refused."""
    assert 150 < _suits(tmp_path, 300) <= 300


def test_spoilt_tables(tmp_path: Path) -> None:
    """300 of them."""
    assert 50 < _tables(tmp_path, 300) < 300


def test_commands_put_together_at_random() -> None:
    """300 of them."""
    assert 100 < _commands(300) < 300


@pytest.mark.slow
def test_ten_thousand_spoilt_files_and_commands(tmp_path: Path) -> None:
    """The study."""
    assert _suits(tmp_path, 10_000) > 5_000
    assert _tables(tmp_path, 10_000) > 1_000
    assert _commands(10_000) > 3_000
