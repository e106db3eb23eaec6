"""Nothing lost: results and files killed, on a full disk, and by two runs at once.

The plain tests do a fixed small part. The whole study, one command:

    pytest -m slow tests/output/test_faults.py

1,000 kills and 50 full disks; the moments and the room come from seeded random numbers.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from padlib.errors import OutputError
from padlib.output.folder import results
from padlib.output.whole import write_whole
from padlib.suit.build import write_built

pytestmark = pytest.mark.skipif(os.name == "nt", reason="kills and mounts as on POSIX")

FILES = 24  # of a run, in two folders
MOST = 60_000  # bytes of a file


def content(run: int, k: int) -> bytes:
    """What a run writes into its k-th file; the first 8 bytes name the run."""
    draw = np.random.default_rng((run, k))
    return f"{run:08d}".encode() + draw.bytes(int(draw.integers(10, MOST)))


def name(k: int) -> str:
    """The k-th file."""
    return f"maps/{k}.png" if k % 3 else f"{k}.pdf"


def make(out: Path, run: int) -> None:
    """One run's results."""
    with results(out) as work:
        (work / "maps").mkdir()
        for k in range(FILES):
            (work / name(k)).write_bytes(content(run, k))


def check_whole(out: Path) -> set[int]:
    """Every file is one run's, whole; the runs that are there. Fails otherwise."""
    runs = set()
    for k in range(FILES):
        path = out / name(k)
        if path.exists():
            data = path.read_bytes()
            run = int(data[:8])
            assert data == content(run, k), f"{path} is no whole file of run {run}"
            runs.add(run)
    return runs


def killed(act, seconds: float) -> bool:
    """Do something in a process of its own and kill it after so long; whether it was still at it."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            act()
            code = 0
        finally:
            os._exit(code)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL


def kills(out: Path, count: int, seed: int) -> int:
    """Runs killed at random moments; how many were cut off in the middle."""
    draw = np.random.default_rng(seed)
    make(out, 0)
    start = time.perf_counter()
    make(out, 1)
    long = time.perf_counter() - start
    hit = 0
    file = out / "my-suit.toml"
    write_whole(file, content(1, 99))
    for run in range(2, count + 2):

        def act(run: int = run) -> None:
            make(out, run)
            write_whole(file, content(run, 99))

        hit += killed(act, float(draw.uniform(0.0, 1.3 * long)))
        assert len(check_whole(out)) >= 1
        assert sorted(p.name for p in out.glob("*.pdf")) == sorted(
            name(k) for k in range(FILES) if not k % 3
        )
        data = file.read_bytes()
        assert data == content(int(data[:8]), 99)
    make(out, count + 2)  # the next run is not hindered and sweeps up what the killed ones left
    assert check_whole(out) == {count + 2}
    assert not list(out.glob(".padlib-*"))
    return hit


def test_kills_leave_every_file_whole(tmp_path: Path) -> None:
    """60 runs killed at random moments."""
    assert kills(tmp_path, 60, 1) >= 10


@pytest.mark.slow
def test_a_thousand_kills(tmp_path: Path) -> None:
    """The study."""
    assert kills(tmp_path, 1000, 2) >= 300


@pytest.mark.slow
def test_kills_while_a_real_suit_is_written(demo_built, demo_folder, tmp_path: Path) -> None:
    """20 real writings of the demo suit killed: each file that is there is the demo's, byte for byte."""
    draw = np.random.default_rng(3)
    start = time.perf_counter()
    write_built(demo_built, tmp_path / "first")
    long = time.perf_counter() - start
    out = tmp_path / "again"

    def act() -> None:
        write_built(demo_built, out)

    for _ in range(20):
        killed(act, float(draw.uniform(0.5 * long, 1.1 * long)))
        for path in out.rglob("*"):
            inside = path.relative_to(out)
            if path.is_file() and not inside.parts[0].startswith(".padlib-"):
                if inside.name not in (
                    "report.json",
                    "guide.html",
                    "guide.pdf",
                ):  # they tell seconds
                    assert path.read_bytes() == (demo_folder / inside).read_bytes(), inside
                else:
                    assert path.stat().st_size > 1000
        shutil.rmtree(out, ignore_errors=True)


def small_disk(at: Path, kilobytes: int) -> Iterator[Path]:
    """A file system of its own with so much room; skips where none may be mounted."""
    at.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(at)],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("no file system may be mounted here")
    try:
        yield at
    finally:
        subprocess.run(["umount", str(at)], check=True)


def fills(tmp_path: Path, count: int, seed: int) -> int:
    """Runs on disks with too little room for a second run: how many found the disk full."""
    draw = np.random.default_rng(seed)
    need = sum(len(content(0, k)) for k in range(FILES)) // 1024 + 4 * FILES
    full = 0
    for n in range(count):
        for disk in small_disk(tmp_path / f"disk-{seed}-{n}", int(need * draw.uniform(1.05, 2.2))):
            out = disk / "out"
            make(out, 0)
            words = ""
            try:
                make(out, n + 1)
            except OutputError as why:
                words = str(why).lower()
            assert "no space left" in words or not words
            assert check_whole(out) == {0 if words else n + 1}
            assert not list(out.glob(".padlib-*"))
            full += bool(words)
    return full


def test_full_disks_keep_the_earlier_results(tmp_path: Path) -> None:
    """Four disks."""
    assert fills(tmp_path, 4, 4) >= 1


@pytest.mark.slow
def test_fifty_full_disks(tmp_path: Path) -> None:
    """The study."""
    assert fills(tmp_path, 50, 5) >= 20


def test_two_runs_into_one_folder_leave_one_of_them_whole(tmp_path: Path) -> None:
    """Twenty pairs at once: what is there in the end is all of one run."""
    for pair in range(20):
        children = []
        for run in (2 * pair, 2 * pair + 1):
            child = os.fork()
            if child == 0:
                make(tmp_path, run)
                os._exit(0)
            children.append(child)
        assert [os.waitpid(c, 0)[1] for c in children] == [0, 0]
        found = check_whole(tmp_path)
        assert len(found) == 1
        assert found <= {2 * pair, 2 * pair + 1}


def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    """A file in the way of the folder, and a folder in the way of a file: one sentence, nothing touched."""
    make(tmp_path / "out", 0)
    (tmp_path / "out" / name(0)).unlink()
    (tmp_path / "out" / name(0)).mkdir()
    with pytest.raises(OutputError, match="could not be written"):
        make(tmp_path / "out", 1)
    (tmp_path / "file").write_text("mine")
    with pytest.raises(OutputError):
        make(tmp_path / "file", 1)
    assert (tmp_path / "file").read_text() == "mine"


def test_interrupt_leaves_a_clear_word(tmp_path: Path) -> None:
    """Ctrl-C in the middle of the demo: one line, no traceback, status 130, nothing in the folder."""
    out = tmp_path / "demo"
    # a run that was started in the background may have Ctrl-C ignored, which its children would inherit
    heard = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
    words = "import sys; from padlib.cli import main; print('ready', flush=True); sys.exit(main())"
    command = [sys.executable, "-c", f"{heard}; {words}"]
    child = subprocess.Popen(
        [*command, "demo", "--out", str(out)], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert child.stdout is not None
    assert child.stdout.readline().strip() == b"ready"
    time.sleep(3.0)
    child.send_signal(signal.SIGINT)
    said, wrong = (stream.decode() for stream in child.communicate(timeout=60))
    assert child.returncode == 130
    assert "Traceback" not in said + wrong
    assert "stopped" in (said + wrong).lower()
    assert not out.exists() or not list(out.iterdir())


def digest(folder: Path) -> str:
    """One number for all files of a folder."""
    total = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            total.update(str(path.relative_to(folder)).encode() + path.read_bytes())
    return total.hexdigest()


def test_a_failed_run_changes_nothing(tmp_path: Path) -> None:
    """A run that fails half way leaves the folder as it was, to the byte."""
    make(tmp_path, 0)
    before = digest(tmp_path)

    def fail() -> None:
        with results(tmp_path) as work:
            (work / "0.pdf").write_bytes(b"half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert digest(tmp_path) == before
