"""Commands about the wearer: scan, body, fit, sheet, pose, measure."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from padlib.body.doubt import TOLD, with_doubts
from padlib.body.fit import ROUNDNESS, Fitted, fit_body
from padlib.body.landmarks import UNSURE, with_landmarks
from padlib.body.measure import measure
from padlib.body.parametric import parametric_body
from padlib.body.pose import pose_body
from padlib.body.scan import Scan, import_scan
from padlib.body.sheet import table_text
from padlib.body.usual import FIGURES
from padlib.cli.flags import add, asked_scan, asked_values, body_file, scan_flags, value_flags
from padlib.errors import InputError
from padlib.output.folder import check_folder, results
from padlib.output.measuring import UNITS as SHEET_UNITS
from padlib.output.measuring import write_measuring_sheet
from padlib.output.tapes import FORMATS as PICTURES
from padlib.output.tapes import UNITS as TAPE_UNITS
from padlib.output.tapes import shown, tape_picture
from padlib.output.whole import write_whole
from padlib.suit.tables import fit_told, measured

SHEET_FIGURE = {"stature": 1700.0}  # on which the measuring sheet is drawn


def commands(top: argparse._SubParsersAction) -> None:
    """Add the commands of this module."""
    _scan(top)
    _body(top)
    _fit(top)
    _sheet(top)
    _pose(top)
    _measure(top)


def _scan(commands: argparse._SubParsersAction) -> None:
    command = add(commands, "scan", "import and repair a body scan; print what was done", _run_scan)
    command.add_argument("file", metavar="FILE")
    command.add_argument("--out", metavar="BODY.ply", help="where the repaired body is written")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.add_argument(
        "--triangle", type=float, metavar="MM", help="edge length of the triangles"
    )
    scan_flags(command)


def _body(commands: argparse._SubParsersAction) -> None:
    command = add(commands, "body", "a body from measurements (mm)", _run_body)
    value_flags(command, "chest_girth=980")
    command.add_argument("--figure", default="neutral", choices=FIGURES)
    command.add_argument("--out", required=True, metavar="BODY.ply")


def _fit(commands: argparse._SubParsersAction) -> None:
    words = "move a body or scan smoothly to given measurements (mm), its character kept"
    command = add(commands, "fit", words, _run_fit)
    command.add_argument("file", metavar="FILE", help="a scan or mesh file")
    value_flags(command, "waist_girth=820")
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
    scan_flags(command)


def _sheet(commands: argparse._SubParsersAction) -> None:
    words = "a measuring sheet to print (A4 and Letter), and the table that body and fit read"
    command = add(commands, "sheet", words, _run_sheet)
    command.add_argument("--out", required=True, metavar="DIR", help="folder of the sheet")
    command.add_argument(
        "--unit", choices=SHEET_UNITS, default="cm", help="unit printed beside the boxes"
    )
    command.add_argument(
        "--body", metavar="FILE", help="draw on this body (default: one of middling size)"
    )


def _pose(commands: argparse._SubParsersAction) -> None:
    words = "a standing body or scan in another pose: arms raised, sitting, striding"
    command = add(commands, "pose", words, _run_pose)
    command.add_argument("file", metavar="FILE", help="a scan or mesh file, arms and legs apart")
    command.add_argument("--arms", type=float, metavar="DEG", help="arms from hanging; 90 is level")
    for flag, words in (
        ("--elbows", "elbows bent by so much more"),
        ("--sit", "thighs raised, shins upright; 90 is sitting"),
        ("--stride", "left leg forward, right leg back"),
    ):
        command.add_argument(flag, type=float, default=0.0, metavar="DEG", help=words)
    command.add_argument("--out", required=True, metavar="BODY.ply")
    scan_flags(command)


def _measure(commands: argparse._SubParsersAction) -> None:
    command = add(commands, "measure", "landmarks and measurements of a body", _run_measure)
    command.add_argument("file", metavar="FILE")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.add_argument(
        "--in", dest="shown", choices=TAPE_UNITS, default="mm", help="unit of the table and picture"
    )
    command.add_argument(
        "--picture", metavar="FILE", help="draw the body with its tape lines (.png or .svg)"
    )
    scan_flags(command)


def _run_scan(a: argparse.Namespace) -> int:
    scan = asked_scan(a, a.triangle)
    body = with_landmarks(scan.body)
    told = measured(body) | {
        "repairs": [str(f) for f in scan.repairs],
        "distance_mm": dict(scan.distance_mm),
        "sure": {name: round(value, 3) for name, value in scan.sure.items()},
    }
    if a.out:
        write_whole(a.out, body_file(body))
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


def _run_fit(a: argparse.Namespace) -> int:
    values = asked_values(a)
    if not values and a.roundness == "told":
        raise InputError("nothing to fit the body to; write for example waist_girth=820.")
    scan = asked_scan(a)
    body = with_landmarks(scan.body)
    fitted = fit_body(body, values, roundness=a.roundness, figure=a.figure)
    if a.out:
        write_whole(a.out, body_file(fitted.body))
    if a.json:
        print(json.dumps(measured(fitted.body, values) | fit_told(fitted), indent=1))
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
    scan = asked_scan(a)
    angles = {"elbow_deg": a.elbows, "sit_deg": a.sit, "stride_deg": a.stride}
    body = pose_body(with_landmarks(scan.body), arms_deg=a.arms, **angles)
    write_whole(a.out, body_file(body))
    print(f"written to {a.out}: {len(body.surface.faces)} triangles")
    for finding in body.findings[len(scan.body.findings) :]:
        print(f"  {finding}")
    return 0


def _run_body(a: argparse.Namespace) -> int:
    values = asked_values(a)
    body = parametric_body(values, figure=a.figure)
    write_whole(a.out, body_file(body))
    print(f"written to {a.out}: {len(body.surface.faces)} triangles")
    for finding in body.findings:
        print(f"  {finding}")
    return 0


def _run_measure(a: argparse.Namespace) -> int:
    kind = Path(a.picture).suffix.lower().removeprefix(".") if a.picture else "png"
    if kind not in PICTURES:
        raise InputError(f"'{a.picture}' is no picture file; end its name in .png or .svg.")
    scan = asked_scan(a)
    body = with_landmarks(scan.body)
    taken = with_doubts(body, measure(body))
    told = measured(body, told=taken)
    if a.picture:
        write_whole(a.picture, tape_picture(body, told=taken, unit=a.shown, kind=kind))
    if a.json:
        print(json.dumps(told, indent=1))
        return 0
    for name, value in told["measurements_mm"].items():
        off = told["unsure_mm"].get(name, 0.0)
        unsure = f" ± {shown(off, a.shown)}" if off >= TOLD else ""
        print(f"{name:24} {shown(value, a.shown):>8} {a.shown}{unsure}")
    for words in told["warnings"]:
        print(f"look: {words}")
    unsure = [f"{name} {sure:.0%}" for name, sure in body.sure.items() if sure < UNSURE]
    if unsure:
        print(f"look: unsure landmarks: {', '.join(unsure)}")
    if a.picture:
        print(f"drawn in {a.picture}")
    return 0
