"""Ten thousand panels cut at random laid flat, next to conformal-plus-igl.slim, by one command.

    python tests/benchmarks/bench_injective.py --count 10000 --workers 2

Each panel's row is written to injective.csv beside this file's results as soon as it is known, and
rows that are there are not run again: a run can be stopped, and finished later. Then the table goes
to results/injective.md and the plot to results/injective.png. Signs of triangles are judged in exact
arithmetic and outlines by GEOS, apart from padlib (tests/flatten/judge.py). igl.slim runs in a
process of its own, which is ended when it takes longer than a minute.
"""

import argparse
import csv
import importlib.util
import multiprocessing
import multiprocessing.pool
import os
import sys
import time
from pathlib import Path

import igl
import matplotlib
import numpy as np

matplotlib.use("Agg")
from matplotlib import pyplot

from padlib.errors import PadlibError
from padlib.flatten import conformal
from padlib.flatten.isometric import solve

HERE = Path(__file__).parent
RESULTS = HERE / "results"
PANELS = HERE.parent / "flatten"
GUARD = 60.0
STEPS = 10
FIELDS = [
    *("panel", "family", "triangles", "seconds", "flips", "overlap", "refused", "barrier"),
    *("strain", "free", "slim_seconds", "slim_flips", "slim_overlap", "slim_failed"),
]


def load(name):
    """A module of the tests of flattening."""
    spec = importlib.util.spec_from_file_location(name, PANELS / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


random_panels, judging = load("random_panels"), load("judge")


def slim(vertices, faces):
    """The flat of ten steps of igl.slim from the conformal map, symmetric Dirichlet energy."""
    start = conformal(vertices, faces)
    held = np.array([0, 0])
    kind = igl.SYMMETRIC_DIRICHLET
    data = igl.slim_precompute(vertices, faces, start.copy(), kind, held, start[held], 0.0)
    return igl.slim_solve(data, STEPS)[:, :2]


def _slim_server(pipe, other):
    """Flats for the meshes that come through a pipe, each with its seconds; None where it failed.

    Ends when the other end of the pipe, of which it has a copy to close, is closed.
    """
    other.close()
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    while True:
        try:
            mesh = pipe.recv()
        except EOFError:
            return
        begun = time.process_time()
        try:
            flat = slim(*mesh)
        except (PadlibError, RuntimeError, ValueError):
            flat = None
        pipe.send((flat, time.process_time() - begun))


class Slim:
    """igl.slim in a process of its own, started anew when it hangs or dies."""

    def __init__(self):
        """Not yet started."""
        self.process = self.pipe = None

    def __call__(self, vertices, faces):
        """The flat or None, and the seconds."""
        if self.process is None:
            self.pipe, theirs = multiprocessing.Pipe()
            self.process = multiprocessing.get_context("fork").Process(
                target=_slim_server, args=(theirs, self.pipe), daemon=True
            )
            self.process.start()
            theirs.close()
        self.pipe.send((vertices, faces))
        try:
            if self.pipe.poll(GUARD):
                return self.pipe.recv()
        except EOFError:
            pass
        self.stop()
        return None, GUARD

    def stop(self):
        """End the process."""
        self.process.kill()
        self.process.join()
        self.process = None


def row_of(slimmer, k):
    """Everything about panel k."""
    family, vertices, faces = random_panels.panel(k)
    row = {"panel": k, "family": family, "triangles": len(faces)}
    begun = time.process_time()
    try:
        told = solve(vertices, faces)
    except PadlibError as refused:
        told, row["refused"] = None, str(refused)
    row["seconds"] = round(time.process_time() - begun, 4)
    if told is not None:
        verdict = judging.judge(faces, told.flat)
        row |= {"flips": verdict.flips, "overlap": int(verdict.overlap), "refused": ""}
        row |= {"barrier": int(told.barrier), "strain": told.strain, "free": told.free}
    if slimmer is not None:
        row |= _slim_row(slimmer, vertices, faces)
    return row


def _slim_row(slimmer, vertices, faces):
    """What the other solver makes of a panel."""
    flat, seconds = slimmer(vertices, faces)
    failed = flat is None or not np.isfinite(flat).all()
    row = {"slim_seconds": round(seconds, 4), "slim_failed": int(failed)}
    if not failed:
        verdict = judging.judge(faces, flat)
        row |= {"slim_flips": verdict.flips, "slim_overlap": int(verdict.overlap)}
    return row


_SLIMMER = []


def _ready(with_slim):
    """One helper process for each worker."""
    _SLIMMER[:] = [Slim() if with_slim else None]


def _work(k):
    """Panel k in a worker."""
    return row_of(_SLIMMER[0], k)


def rows_until(count, path, workers, with_slim, seconds):
    """Run what is missing of the first `count` panels, as far as the seconds reach."""
    have = {int(row["panel"]) for row in read(path)}
    todo = [k for k in range(count) if k not in have]
    ends = time.monotonic() + seconds
    fresh = not path.exists()
    with path.open("a", newline="") as file:
        table = csv.DictWriter(file, FIELDS)
        if fresh:
            table.writeheader()
        for row in _rows(todo, workers, with_slim):
            table.writerow(row)
            file.flush()
            if time.monotonic() > ends:
                return


def _rows(todo, workers, with_slim):
    """Rows as they come."""
    if workers == 1:
        _ready(with_slim)
        yield from map(_work, todo)
        return
    # not daemons, because each worker has a helper of its own
    context = multiprocessing.get_context("spawn")
    with _Pool(workers, _ready, (with_slim,), context=context) as pool:
        yield from pool.imap_unordered(_work, todo, chunksize=4)


class _Process(multiprocessing.get_context("spawn").Process):
    """A worker that may have a helper."""

    @property
    def daemon(self):
        """Never."""
        return False

    @daemon.setter
    def daemon(self, value):
        """Asked for by the pool, and not done."""


class _Context(type(multiprocessing.get_context("spawn"))):
    Process = _Process


class _Pool(multiprocessing.pool.Pool):
    """A pool of such workers."""

    def __init__(self, *args, context=None):
        """With its own context."""
        super().__init__(*args, context=_Context())


def read(path):
    """The rows of a table, or none."""
    if not path.exists():
        return []
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def number(rows, key):
    """A column as floats; what is missing is left out."""
    return np.array([float(row[key]) for row in rows if row[key] not in ("", None)])


def line(name, rows):
    """One line of the table."""
    seconds, size = number(rows, "seconds"), number(rows, "triangles")
    cells = [
        name,
        len(rows),
        f"{np.median(size):.0f} / {size.max():.0f}",
        int((number(rows, "flips") > 0).sum()),
        int(number(rows, "overlap").sum()),
        sum(bool(row["refused"]) for row in rows),
        int(number(rows, "barrier").sum()),
        " / ".join(
            f"{x:.3g}" for x in (np.median(seconds), np.quantile(seconds, 0.95), seconds.max())
        ),
    ]
    other = [row for row in rows if row["slim_seconds"] not in ("", None)]
    if other:
        took = number(other, "slim_seconds")
        cells += [
            int((number(other, "slim_flips") > 0).sum()),
            int(number(other, "slim_overlap").sum()),
            int(number(other, "slim_failed").sum()),
            unsound(other),
            " / ".join(f"{x:.3g}" for x in (np.median(took), np.quantile(took, 0.95), took.max())),
        ]
    else:
        cells += [""] * 5
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def unsound(rows):
    """How many panels the other solver left flipped, overlapping or without a flat."""
    return sum(
        row["slim_failed"] == "1" or row["slim_overlap"] == "1" or float(row["slim_flips"] or 0) > 0
        for row in rows
    )


def price(rows):
    """Two sentences: strain of the flats that would overlap, against that with overlap allowed."""
    held = [row for row in rows if row["barrier"] == "1"]
    strain, free = number(held, "strain"), number(held, "free")
    bent = free > 1e-4
    ratio = strain[bent] / free[bent]
    flat = np.sqrt(strain[~bent])
    quantiles = (
        ", ".join(f"{x:.3f}" for x in np.quantile(ratio, [0.5, 0.9, 0.99])) if bent.any() else "-"
    )
    return (
        f"{len(held)} panels would overlap themselves if they were let. Of those that are not "
        f"developable ({int(bent.sum())}) the mean square strain without overlap over that with it is "
        f"{quantiles} (median, 90 %, 99 %). Those that are developable ({int((~bent).sum())}), so that "
        f"the strain with overlap is nothing, end at a root mean square strain of "
        f"{100 * np.median(flat) if len(flat) else 0:.2f} % (median)."
    )


def slowest(rows):
    """The largest time over the median time of panels of like size (a factor of two)."""
    seconds, size = number(rows, "seconds"), number(rows, "triangles")
    group = np.floor(np.log2(np.maximum(size, 1)))
    return max(
        float(seconds[group == g].max() / np.median(seconds[group == g])) for g in set(group)
    )


def report(rows, path):
    """The table."""
    families = sorted({row["family"] for row in rows})
    head = (
        "family | panels | triangles: median / most | flipped | overlapping | refused | "
        "barrier needed | seconds: median / 95 % / most | igl.slim: flipped | overlapping | "
        "no flat | any of these | seconds: median / 95 % / most"
    )
    text = [
        "# Panels cut at random, laid flat",
        "",
        f"`python tests/benchmarks/bench_injective.py`, {len(rows)} panels of 10,000 "
        "(tests/flatten/random_panels.py). Flipped and overlapping count panels, judged in exact "
        "arithmetic and by GEOS. Beside it: the same panels by padlib's conformal map and ten steps of "
        "igl.slim (libigl, symmetric Dirichlet energy). Seconds of one processor, of a machine that "
        "others used too.",
        "",
        "| " + head + " |",
        "|" + "---|" * 13,
        *[line(name, [row for row in rows if row["family"] == name]) for name in families],
        line("**all**", rows),
        "",
        price(rows),
        "",
        f"No panel took more than {slowest(rows):.0f} times the median of those of like size "
        "(within a factor of two).",
        "",
    ]
    path.write_text("\n".join(text))


def plot(rows, path):
    """Seconds against triangles."""
    figure, axes = pyplot.subplots(figsize=(7, 5))
    barrier = np.array([row["barrier"] == "1" for row in rows])
    size, seconds = number(rows, "triangles"), number(rows, "seconds")
    other = [row for row in rows if row["slim_seconds"] not in ("", None)]
    axes.loglog(number(other, "triangles"), number(other, "slim_seconds"), ".", ms=2, c="0.7")
    axes.loglog(size[~barrier], seconds[~barrier], ".", ms=3, label="padlib")
    axes.loglog(size[barrier], seconds[barrier], ".", ms=3, label="padlib, barrier needed")
    axes.plot([], [], "o", c="0.7", label="conformal and 10 steps of igl.slim")
    axes.set(xlabel="triangles", ylabel="seconds")
    axes.legend()
    figure.tight_layout()
    figure.savefig(path, dpi=110)


def main():
    """Run, then write the table and the plot."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--count", type=int, default=10_000)
    ask.add_argument("--workers", type=int, default=1)
    ask.add_argument("--no-slim", action="store_true", help="padlib alone")
    ask.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    ask.add_argument("--rows", type=Path, default=RESULTS / "injective.csv")
    asked = ask.parse_args()
    RESULTS.mkdir(exist_ok=True)
    rows_until(asked.count, asked.rows, asked.workers, not asked.no_slim, asked.seconds)
    rows = [row for row in read(asked.rows) if int(row["panel"]) < asked.count]
    report(rows, RESULTS / "injective.md")
    plot(rows, RESULTS / "injective.png")
    bad = [r["panel"] for r in rows if r["refused"] or float(r["flips"]) > 0 or r["overlap"] == "1"]
    sys.stdout.write(f"{len(rows)} panels, not sound: {bad}\n")
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
