"""Commands about a whole suit: demo, build, anchor, suggest, batch, workshop."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

import padlib
from padlib.cli.flags import add, add_workers, scan_flags, scan_wishes
from padlib.errors import SuitError
from padlib.output.whole import write_whole
from padlib.progress import bar
from padlib.suit.anchor import anchor
from padlib.suit.batch import batch
from padlib.suit.build import build
from padlib.suit.demo import demo_suit
from padlib.suit.file import read_suit
from padlib.suit.steps import suit_body, suit_shell
from padlib.suit.suggestion import NEW, SECONDS, suggest
from padlib.suit.suggestion_told import seam_entry
from padlib.suit.suggestion_told import text as suggested_text
from padlib.suit.suggestion_told import values as suggested_values
from padlib.workshop.edit import set_value, with_seams
from padlib.workshop.serve import serve


def commands(top: argparse._SubParsersAction) -> None:
    """Add the commands of this module but the workshop."""
    _demo(top)
    _build(top)
    _anchor(top)
    _suggest(top)
    _batch(top)


def _work_flags(
    command: argparse.ArgumentParser,
    *,
    out: str = "folder of the results (default: named after the suit)",
    what: str = "panels flattened",
) -> None:
    command.add_argument("--out", metavar="DIR", help=out)
    command.add_argument(
        "--lay-seconds", type=float, metavar="S", help="time for packing each cloth"
    )
    add_workers(command, what)


def _demo(commands: argparse._SubParsersAction) -> None:
    words = "the whole job: the demo suit on the built-in body, or on a scan of yours"
    command = add(commands, "demo", words, _run_demo)
    command.add_argument("--body", metavar="FILE", help="a scan or mesh file of your wearer")
    scan_flags(command)
    _work_flags(command)
    _moves_flag(command)


def _build(commands: argparse._SubParsersAction) -> None:
    command = add(commands, "build", "the whole job on a suit file", _run_build)
    command.add_argument("suit", metavar="SUIT.toml")
    _work_flags(command)
    _moves_flag(command)


def _moves_flag(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--moves",
        action="store_true",
        help="also prove the suit with arms raised, reaching, sitting, striding, bending (a minute more)",
    )


def _batch(commands: argparse._SubParsersAction) -> None:
    words = "one suit file in many sizes: on other bodies or tables of measurements, side by side"
    command = add(commands, "batch", words, _run_batch)
    command.add_argument("suit", metavar="SUIT.toml")
    command.add_argument(
        "sizes", nargs="+", metavar="FILE", help="scans, or tables of measurements (.csv, .toml)"
    )
    _work_flags(command, out="folder of the sizes' folders", what="sizes made")
    command.add_argument(
        "--scheduler",
        default="",
        metavar="ADDRESS",
        help="of a Dask scheduler, for example tcp://HOST:8786 (extra `cluster`)",
    )


def _suggest(commands: argparse._SubParsersAction) -> None:
    command = add(
        commands,
        "suggest",
        "seek where the seams of a suit had best lie and which new ones pay, and tell what each buys",
        _run_suggest,
    )
    command.add_argument("suit", help="the suit file")
    add_workers(command, "panels flattened")
    command.add_argument(
        "--write", action="store_true", help="put what is found into the suit file"
    )
    command.add_argument(
        "--new",
        type=int,
        choices=range(7),
        default=NEW,
        metavar="N",
        help=f"most new seams, each on both sides (default {NEW}; 0: only move the plan's)",
    )
    command.add_argument(
        "--seconds",
        type=float,
        default=SECONDS,
        metavar="S",
        help=f"how long it may take, after which what was found so far is told (default {SECONDS:g})",
    )
    words = "also lay the panels flat without each of the plan's own seams, and tell what these buy"
    command.add_argument("--plan", action="store_true", help=words)
    command.add_argument("--json", action="store_true", help="print one JSON object")


def _run_suggest(args: argparse.Namespace) -> int:
    path = Path(args.suit)
    suit = read_suit(path)
    with bar() as tell:
        body = suit_body(suit)
        shell = suit_shell(suit, body)
        asked = {"new": args.new, "plan": args.plan, "workers": args.workers}
        asked["seconds"] = args.seconds
        told = suggest(suit, body, shell, tell=tell, **asked)
    print(json.dumps(suggested_values(told), indent=1) if args.json else suggested_text(told))
    if args.write and (told.moves or told.seams):
        text, seams = path.read_text(encoding="utf-8"), [seam_entry(s) for s in told.seams]
        write_whole(path, with_seams(text, told.moves, seams).encode("utf-8"))
    return 0


def _anchor(commands: argparse._SubParsersAction) -> None:
    command = add(
        commands,
        "anchor",
        "put the drawn places of a suit in coordinates of its wearer's body, before the wearer is scanned anew",
        _run_anchor,
    )
    command.add_argument("suit", help="the suit file; it is changed where it stands")


def _run_anchor(args: argparse.Namespace) -> int:
    path = Path(args.suit)
    suit = read_suit(path)
    changes, told = anchor(suit, suit_body(suit))
    text, problems = path.read_text(encoding="utf-8"), list(told)
    on_limb = beside = 0
    for change in changes:
        table, number, key = change.path
        try:
            text = set_value(text, change.path, change.value)
        except SuitError as why:
            problems.append(f"[[{table}]] number {int(number) + 1}, '{key}': {why}")
            continue
        on_limb, beside = on_limb + change.on_limb, beside + change.beside
    if on_limb or beside:
        write_whole(path, text.encode("utf-8"))
    print(
        f"{on_limb} places are now told along and around limbs and trunk, {beside} beside a landmark."
    )
    for words in problems:
        print(f"padlib: {words}", file=sys.stderr)
    return 0


def workshop(commands: argparse._SubParsersAction) -> None:
    """Add the command that opens the workshop."""
    command = add(
        commands, "workshop", "the page in the browser, on this machine only", _run_workshop
    )
    command.add_argument("suit", nargs="?", metavar="SUIT.toml")
    command.add_argument("--no-browser", action="store_true", help="do not open a browser")
    command.add_argument(
        "--port", type=int, default=0, metavar="N", help="port (default: a free one)"
    )


def _run_demo(a: argparse.Namespace) -> int:
    return _whole_job(demo_suit(a.body, **scan_wishes(a)), a)


def _run_build(a: argparse.Namespace) -> int:
    return _whole_job(read_suit(a.suit), a)


def _run_batch(a: argparse.Namespace) -> int:
    out = Path(a.out or f"{Path(a.suit).stem}-sizes")
    with bar() as tell:
        rows = batch(
            a.suit,
            a.sizes,
            out,
            lay_seconds=a.lay_seconds,
            workers=a.workers,
            scheduler=a.scheduler,
            tell=tell,
        )
    for row in rows:
        if row["error"]:
            print(f"{row['size']}: {row['error']}")
        else:
            print(
                f"{row['size']}: {row['pieces']} pieces, {row['length_m']:.2f} m of {row['cloth']}, "
                f"{row['used_percent']:.0f} % used, {row['weight_g'] / 1000:.1f} kg"
            )
    print(f"written to {out}, the table to {out / 'sizes.csv'}")
    return 2 if any(row["error"] for row in rows) else 0


def _whole_job(suit: padlib.Suit, a: argparse.Namespace) -> int:
    out = Path(a.out or suit.name)
    if a.moves:
        suit = replace(suit, proof={**suit.proof, "moves": True, "sew": True})
    with bar() as tell:
        report = build(suit, out, lay_seconds=a.lay_seconds, workers=a.workers, tell=tell)
    print(f"{suit.name}: {len(report['pieces'])} pieces, written to {out}")
    for lay in report["lay"]:
        print(
            f"  {lay['cloth']}: {lay['length_mm'] / 1000:.2f} m of cloth {lay['width_mm'] / 1000:.2f} m wide, "
            f"{lay['used_percent']:.0f} % used"
        )
    worst = max(report["panels"], key=lambda p: p["stretch"]["p95"])
    darts = sum(len(p["darts"]) for p in report["panels"])
    print(
        f"  stretch: at the 95th percentile at most {100 * worst['stretch']['p95']:.1f} % ({worst['name']}); "
        f"{darts} darts"
    )
    for move in report["proof"].get("moves", ()):
        print(
            f"  {move['pose']}: {move['over_limit_percent']:.0f} % of the cloth stretched beyond what it bears"
        )
    if far := report["proof"].get("deviation_mm"):
        print(
            f"  sewn back: {far['mean']:.1f} mm off the outline on average, 95 % within {far['p95']:.1f}, "
            f"at most {far['max']:.0f}"
        )
    for words in report["warnings"]:
        print(f"  look: {words}")
    print("  seconds: " + ", ".join(f"{k} {v:.1f}" for k, v in report["seconds"].items()))
    return 0


def _run_workshop(a: argparse.Namespace) -> int:
    serve(a.suit, port=a.port, browser=not a.no_browser)
    return 0
