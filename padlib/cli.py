"""The command line. Every error of ours is one sentence on stderr and exit status 2."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import padlib
from padlib.body.body import Body
from padlib.body.carried import own_places
from padlib.body.fit import ROUNDNESS, Fitted, fit_body
from padlib.body.landmarks import UNSURE, with_landmarks
from padlib.body.parametric import parametric_body
from padlib.body.pose import pose_body
from padlib.body.scan import Scan, import_scan
from padlib.body.sheet import table_text
from padlib.body.table import read_measurements
from padlib.body.usual import FIGURES
from padlib.errors import InputError, PadlibError, SuitError
from padlib.flatten.pins import Pin
from padlib.output.folder import check_folder, results
from padlib.output.measuring import UNITS as SHEET_UNITS
from padlib.output.measuring import write_measuring_sheet
from padlib.output.mesh import ply_bytes
from padlib.output.strip_test import strip_test_text
from padlib.output.tapes import FORMATS as PICTURES
from padlib.output.tapes import UNITS as TAPE_UNITS
from padlib.output.tapes import shown, tape_picture
from padlib.output.whole import write_whole
from padlib.padding.told import pads_text
from padlib.pattern.parts import parts_text
from padlib.progress import bar
from padlib.suit.anchor import anchor
from padlib.suit.batch import batch
from padlib.suit.build import build
from padlib.suit.demo import demo_suit
from padlib.suit.file import read_suit
from padlib.suit.open_mesh import flatten_file
from padlib.suit.steps import suit_body, suit_shell
from padlib.suit.suggest import suggest_file
from padlib.suit.suggest import table as suggest_table
from padlib.suit.suggestion import NEW, SECONDS, suggest
from padlib.suit.suggestion_told import seam_entry
from padlib.suit.suggestion_told import text as suggested_text
from padlib.suit.suggestion_told import values as suggested_values
from padlib.suit.tables import fit_told, measured
from padlib.workshop.edit import set_value, with_seams
from padlib.workshop.serve import serve

SHEET_FIGURE = {"stature": 1700.0}  # on which the measuring sheet is drawn
EPILOG = "Lengths are in mm. Nothing is sent anywhere: padlib uses no network."


def parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    top = argparse.ArgumentParser(prog="padlib", description=padlib.__doc__, epilog=EPILOG)
    top.add_argument("--version", action="version", version=f"padlib {padlib.__version__}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _demo(commands)
    _build(commands)
    _anchor(commands)
    _suggest(commands)
    _batch(commands)
    _scan(commands)
    _body(commands)
    _fit(commands)
    _sheet(commands)
    _pose(commands)
    _measure(commands)
    _flatten(commands)
    _cloths(commands)
    _pads(commands)
    _parts(commands)
    _workshop(commands)
    return top


def _add(
    commands: argparse._SubParsersAction,
    name: str,
    words: str,
    run: Callable[[argparse.Namespace], int],
) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=words, description=words, epilog=EPILOG)
    command.set_defaults(run=run)
    return command


def _scan_flags(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--unit", choices=("mm", "cm", "dm", "m", "inch"), help="unit of the file (else found)"
    )
    words = "axis of the file that points up, or a direction X,Y,Z (else found)"
    command.add_argument("--up", metavar="AXIS", help=words)
    words = "axis of the file that the wearer faces, or degrees to turn what was found (else found)"
    command.add_argument("--facing", metavar="AXIS", help=words)
    words = "plane of symmetry in the file's unit, such as 'x = 0.02' (else found)"
    command.add_argument("--middle", metavar="PLANE", help=words)
    words = "cut off what lies beyond a plane in mm of the standing body (hair, hands, feet): 'z > 1650'; repeatable"
    command.add_argument("--trim", metavar="PLANE", action="append", default=[], help=words)
    words = "make both sides the mean of the two; tells how far they differed"
    command.add_argument("--even", action="store_true", help=words)


def _import(a: argparse.Namespace, edge_length: float | None = None) -> Scan:
    """The scan that a command's flags ask for."""
    return import_scan(a.file, **_scan_wishes(a), edge_length=edge_length)


def _scan_wishes(a: argparse.Namespace) -> dict[str, Any]:
    """What the flags of `_scan_flags` say."""
    return {k: getattr(a, k) for k in ("unit", "up", "facing", "middle", "trim", "even")}


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
    _add_workers(command, what)


def _add_workers(command: argparse.ArgumentParser, what: str) -> None:
    command.add_argument(
        "--workers",
        type=int,
        default=min(4, os.cpu_count() or 1),
        metavar="N",
        help=f"{what} side by side (default: the machine's cores, at most 4)",
    )


def _demo(commands: argparse._SubParsersAction) -> None:
    words = "the whole job: the demo suit on the built-in body, or on a scan of yours"
    command = _add(commands, "demo", words, _run_demo)
    command.add_argument("--body", metavar="FILE", help="a scan or mesh file of your wearer")
    _scan_flags(command)
    _work_flags(command)
    _moves_flag(command)


def _build(commands: argparse._SubParsersAction) -> None:
    command = _add(commands, "build", "the whole job on a suit file", _run_build)
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
    command = _add(commands, "batch", words, _run_batch)
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


def _scan(commands: argparse._SubParsersAction) -> None:
    command = _add(
        commands, "scan", "import and repair a body scan; print what was done", _run_scan
    )
    command.add_argument("file", metavar="FILE")
    command.add_argument("--out", metavar="BODY.ply", help="where the repaired body is written")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.add_argument(
        "--triangle", type=float, metavar="MM", help="edge length of the triangles"
    )
    _scan_flags(command)


def _body(commands: argparse._SubParsersAction) -> None:
    command = _add(commands, "body", "a body from measurements (mm)", _run_body)
    command.add_argument(
        "values", nargs="*", metavar="NAME=VALUE", help="for example chest_girth=980"
    )
    command.add_argument(
        "--table", metavar="FILE", help="a table of measurements: name = value, or CSV"
    )
    command.add_argument("--figure", default="neutral", choices=FIGURES)
    command.add_argument("--out", required=True, metavar="BODY.ply")


def _fit(commands: argparse._SubParsersAction) -> None:
    words = "move a body or scan smoothly to given measurements (mm), its character kept"
    command = _add(commands, "fit", words, _run_fit)
    command.add_argument("file", metavar="FILE", help="a scan or mesh file")
    command.add_argument(
        "values", nargs="*", metavar="NAME=VALUE", help="for example waist_girth=820"
    )
    command.add_argument(
        "--table", metavar="FILE", help="a table of measurements: name = value, or CSV"
    )
    command.add_argument(
        "--roundness",
        choices=ROUNDNESS,
        default="told",
        help="told: say where the trunk is rounder in section than people are; usual: put it right",
    )
    command.add_argument(
        "--figure",
        default="neutral",
        choices=FIGURES,
        help="whose roundness is usual",
    )
    command.add_argument("--out", metavar="BODY.ply", help="where the moved body is written")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    _scan_flags(command)


def _sheet(commands: argparse._SubParsersAction) -> None:
    words = "a measuring sheet to print (A4 and Letter), and the table that body and fit read"
    command = _add(commands, "sheet", words, _run_sheet)
    command.add_argument("--out", required=True, metavar="DIR", help="folder of the sheet")
    command.add_argument(
        "--unit", choices=SHEET_UNITS, default="cm", help="unit printed beside the boxes"
    )
    command.add_argument(
        "--body", metavar="FILE", help="draw on this body (default: one of middling size)"
    )


def _pose(commands: argparse._SubParsersAction) -> None:
    words = "a standing body or scan in another pose: arms raised, sitting, striding"
    command = _add(commands, "pose", words, _run_pose)
    command.add_argument("file", metavar="FILE", help="a scan or mesh file, arms and legs apart")
    command.add_argument("--arms", type=float, metavar="DEG", help="arms from hanging; 90 is level")
    for flag, words in (
        ("--elbows", "elbows bent by so much more"),
        ("--sit", "thighs raised, shins upright; 90 is sitting"),
        ("--stride", "left leg forward, right leg back"),
    ):
        command.add_argument(flag, type=float, default=0.0, metavar="DEG", help=words)
    command.add_argument("--out", required=True, metavar="BODY.ply")
    _scan_flags(command)


def _suggest(commands: argparse._SubParsersAction) -> None:
    command = _add(
        commands,
        "suggest",
        "seek where the seams of a suit had best lie and which new ones pay, and tell what each buys",
        _run_suggest,
    )
    command.add_argument("suit", help="the suit file")
    _add_workers(command, "panels flattened")
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
    command = _add(
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


def _measure(commands: argparse._SubParsersAction) -> None:
    command = _add(commands, "measure", "landmarks and measurements of a body", _run_measure)
    command.add_argument("file", metavar="FILE")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.add_argument(
        "--in", dest="shown", choices=TAPE_UNITS, default="mm", help="unit of the table and picture"
    )
    command.add_argument(
        "--picture", metavar="FILE", help="draw the body with its tape lines (.png or .svg)"
    )
    _scan_flags(command)


def _flatten(commands: argparse._SubParsersAction) -> None:
    words = "flatten any open mesh: outline, stretch map, report.json"
    command = _add(commands, "flatten", words, _run_flatten)
    command.add_argument("file", metavar="FILE")
    command.add_argument("--out", metavar="DIR", help="folder of the results")
    command.add_argument(
        "--limit", type=float, default=0.05, help="stretch that the cloth bears (0.05 is 5 %%)"
    )
    command.add_argument(
        "--darts", type=int, default=0, metavar="N", help="most darts that may be cut"
    )
    command.add_argument(
        "--unit", choices=("mm", "cm", "dm", "m", "inch"), default="mm", help="unit of the file"
    )
    command.add_argument(
        "--cloth",
        default="",
        metavar="KIND",
        help="kind of cloth, see `padlib cloths` (instead of --limit)",
    )
    command.add_argument(
        "--pile",
        type=float,
        nargs=3,
        default=(0.0, 0.0, -1.0),
        metavar=("X", "Y", "Z"),
        help="which way its pile lies in the file's space (default: down)",
    )
    _dart_flags(command)


def _dart_flags(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--percentile",
        type=float,
        default=95.0,
        metavar="P",
        help="share of the area, per cent, that must keep the limit (default 95)",
    )
    command.add_argument(
        "--suggest", action="store_true", help="only print darts and seams that would help, ranked"
    )
    command.add_argument("--json", action="store_true", help="with --suggest: one JSON object")
    command.add_argument(
        "--pin",
        action="append",
        default=[],
        metavar="X,Y,Z,X,Y,Z",
        help="a dart that is cut: mouth and tip in mm, as --suggest prints them (may be repeated)",
    )


def _cloths(commands: argparse._SubParsersAction) -> None:
    words = "the kinds of cloth, what they bear, and how to measure your own"
    _add(commands, "cloths", words, _run_cloths)


def _pads(commands: argparse._SubParsersAction) -> None:
    words = "the kinds of pad, what their numbers mean, and why they have limits"
    _add(commands, "pads", words, _run_pads)


def _parts(commands: argparse._SubParsersAction) -> None:
    words = (
        "the kinds of part that no flattening gives: strips, gussets, guards, pockets and others"
    )
    _add(commands, "parts", words, _run_parts)


def _workshop(commands: argparse._SubParsersAction) -> None:
    command = _add(
        commands, "workshop", "the page in the browser, on this machine only", _run_workshop
    )
    command.add_argument("suit", nargs="?", metavar="SUIT.toml")
    command.add_argument("--no-browser", action="store_true", help="do not open a browser")
    command.add_argument(
        "--port", type=int, default=0, metavar="N", help="port (default: a free one)"
    )


def _run_demo(a: argparse.Namespace) -> int:
    return _whole_job(demo_suit(a.body, **_scan_wishes(a)), a)


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


def _run_scan(a: argparse.Namespace) -> int:
    scan = _import(a, a.triangle)
    body = with_landmarks(scan.body)
    told = measured(body) | {
        "repairs": [str(f) for f in scan.repairs],
        "distance_mm": dict(scan.distance_mm),
        "sure": {name: round(value, 3) for name, value in scan.sure.items()},
    }
    if a.out:
        write_whole(a.out, _body_file(body))
    if a.json:
        print(json.dumps(told, indent=1))
    else:
        _tell_scan(scan, told, a.out)
    return 0


def _tell_scan(scan: Scan, told: dict, out: str | None) -> None:
    sure = scan.sure
    lay = f", {scan.tilt_deg:.1f} degrees off it" if scan.tilt_deg else ""
    print(
        f"{scan.body.source}: unit {scan.unit} ({sure['unit']:.0%} sure), up {scan.up}{lay} ({sure['up']:.0%}),"
        f" turned {scan.turned_deg:.1f} degrees ({sure['facing']:.0%})"
    )
    for words in told["repairs"] + told["warnings"]:
        print(f"  {words}")
    d = told["distance_mm"]
    print(
        f"  distance from the scan's points: mean {d['mean']:.2f}, 95 % {d['p95']:.2f}, most {d['max']:.2f} mm"
    )
    print(f"  stature {told['measurements_mm'].get('stature', float('nan')):.0f} mm")
    if out:
        print(f"  written to {out}")


def _values(a: argparse.Namespace) -> dict[str, float]:
    """Measurements in mm of a table and of NAME=VALUE words, the words over the table."""
    values = dict(read_measurements(a.table)) if a.table else {}
    for item in a.values:
        name, sign, number = item.partition("=")
        try:
            values[name.strip()] = float(number)
        except ValueError:
            sign = ""
        if not sign:
            raise InputError(f"'{item}' is not NAME=VALUE; write for example chest_girth=980.")
    return values


def _body_file(body: Body) -> bytes:
    """A body as PLY, with the landmarks that its shape alone would place elsewhere."""
    return ply_bytes(body.surface.vertices, body.surface.faces, landmarks=own_places(body))


def _run_fit(a: argparse.Namespace) -> int:
    values = _values(a)
    if not values and a.roundness == "told":
        raise InputError("nothing to fit the body to; write for example waist_girth=820.")
    scan = _import(a)
    body = with_landmarks(scan.body)
    fitted = fit_body(body, values, roundness=a.roundness, figure=a.figure)
    if a.out:
        write_whole(a.out, _body_file(fitted.body))
    if a.json:
        print(json.dumps(measured(fitted.body) | fit_told(fitted), indent=1))
    else:
        _tell_fit(fitted, a.out)
    return 0


def _tell_fit(fitted: Fitted, out: str | None) -> None:
    print(f"{fitted.body.source}: mm")
    print(f"  {'measurement':24} {'before':>8} {'asked':>8} {'now':>8}")
    for row in fitted.moved:
        asked = f"{row.asked:8.1f}" if row.asked is not None else " " * 8
        print(f"  {row.name:24} {row.before:8.1f} {asked} {row.after:8.1f}")
    print(
        f"  the surface moved by {fitted.mean_mm:.1f} mm on average, {fitted.farthest_mm:.1f} mm at most"
    )
    for finding in fitted.findings:
        print(f"  {finding}")
    if out:
        print(f"  written to {out}")


def _run_sheet(a: argparse.Namespace) -> int:
    out = Path(a.out)
    check_folder(out)
    body = import_scan(a.body).body if a.body else parametric_body(SHEET_FIGURE)
    body = with_landmarks(body)
    with results(out) as work:
        for name in ("a4", "letter"):
            path = work / f"measuring-sheet-{name}.pdf"
            write_measuring_sheet(path, body, paper_name=name, unit=a.unit)
        write_whole(work / "measurements.csv", table_text(a.unit).encode())
    print(f"written to {out}: measuring-sheet-a4.pdf, measuring-sheet-letter.pdf, measurements.csv")
    print(f"  filled in: padlib body --table {out / 'measurements.csv'} --out body.ply")
    return 0


def _run_pose(a: argparse.Namespace) -> int:
    scan = _import(a)
    angles = {"elbow_deg": a.elbows, "sit_deg": a.sit, "stride_deg": a.stride}
    body = pose_body(with_landmarks(scan.body), arms_deg=a.arms, **angles)
    write_whole(a.out, _body_file(body))
    print(f"written to {a.out}: {len(body.surface.faces)} triangles")
    for finding in body.findings[len(scan.body.findings) :]:
        print(f"  {finding}")
    return 0


def _run_body(a: argparse.Namespace) -> int:
    values = _values(a)
    body = parametric_body(values, figure=a.figure)
    write_whole(a.out, _body_file(body))
    print(f"written to {a.out}: {len(body.surface.faces)} triangles")
    for finding in body.findings:
        print(f"  {finding}")
    return 0


def _run_measure(a: argparse.Namespace) -> int:
    kind = Path(a.picture).suffix.lower().removeprefix(".") if a.picture else "png"
    if kind not in PICTURES:
        raise InputError(f"'{a.picture}' is no picture file; end its name in .png or .svg.")
    scan = _import(a)
    body = with_landmarks(scan.body)
    told = measured(body)
    if a.picture:
        write_whole(a.picture, tape_picture(body, unit=a.shown, kind=kind))
    if a.json:
        print(json.dumps(told, indent=1))
        return 0
    for name, value in told["measurements_mm"].items():
        print(f"{name:24} {shown(value, a.shown):>8} {a.shown}")
    for words in told["warnings"]:
        print(f"look: {words}")
    unsure = [f"{name} {sure:.0%}" for name, sure in body.sure.items() if sure < UNSURE]
    if unsure:
        print(f"look: unsure landmarks: {', '.join(unsure)}")
    if a.picture:
        print(f"drawn in {a.picture}")
    return 0


def _run_flatten(a: argparse.Namespace) -> int:
    asked = {"limit": a.limit, "percentile": a.percentile, "unit": a.unit}
    if a.suggest:
        told = suggest_file(a.file, **asked)
        print(json.dumps(told, indent=1) if a.json else suggest_table(told))
        return 0
    if not a.out:
        raise InputError("flatten needs a folder for its results: add --out DIR.")
    own = {"cloth": a.cloth, "pile": tuple(a.pile), "pinned": [_pin(words) for words in a.pin]}
    report = flatten_file(a.file, a.out, darts=a.darts, **asked, **own)
    for panel in report["panels"]:
        s = panel["stretch"]
        print(
            f"{panel['name']}: {panel['triangles']} triangles, stretch mean {100 * s['mean']:.2f} %, "
            f"95 % {100 * s['p95']:.2f} %, most {100 * s['max']:.2f} %, {len(panel['darts'])} darts"
        )
        if use := panel.get("cloth_use"):
            print(
                f"  of the limits of {use['cloth']} 95 % of the area uses {100 * use['p95']:.0f} %"
            )
    return 0


def _pin(words: str) -> Pin:
    """A pinned dart from six numbers. Raises InputError for anything else."""
    try:
        x, y, z, u, v, w = (float(number) for number in words.split(","))
    except ValueError:
        raise InputError(
            f"--pin {words} is not six numbers; write mouth and tip as X,Y,Z,X,Y,Z in mm."
        ) from None
    return Pin((x, y, z), (u, v, w))


def _run_cloths(a: argparse.Namespace) -> int:
    print(strip_test_text(), end="")
    return 0


def _run_pads(a: argparse.Namespace) -> int:
    print(pads_text(), end="")
    return 0


def _run_parts(a: argparse.Namespace) -> int:
    print(parts_text(), end="")
    return 0


def _run_workshop(a: argparse.Namespace) -> int:
    serve(a.suit, port=a.port, browser=not a.no_browser)
    return 0


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    arguments = parser().parse_args(argv)
    try:
        return int(arguments.run(arguments))
    except PadlibError as e:
        print(f"padlib: {e}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("padlib: stopped; no output was changed.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
