"""Commands about single panels, and what padlib knows: flatten, cloths, pads, parts."""

from __future__ import annotations

import argparse
import json

from padlib.cli.flags import add
from padlib.errors import InputError
from padlib.flatten.pins import Pin
from padlib.output.strip_test import strip_test_text
from padlib.padding.told import pads_text
from padlib.pattern.parts import parts_text
from padlib.suit.open_mesh import flatten_file
from padlib.suit.suggest import suggest_file
from padlib.suit.suggest import table as suggest_table


def commands(top: argparse._SubParsersAction) -> None:
    """Add the commands of this module."""
    _flatten(top)
    _cloths(top)
    _pads(top)
    _parts(top)


def _flatten(commands: argparse._SubParsersAction) -> None:
    words = "flatten any open mesh: outline, stretch map, report.json"
    command = add(commands, "flatten", words, _run_flatten)
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
    add(commands, "cloths", words, _run_cloths)


def _pads(commands: argparse._SubParsersAction) -> None:
    words = "the kinds of pad, what their numbers mean, and why they have limits"
    add(commands, "pads", words, _run_pads)


def _parts(commands: argparse._SubParsersAction) -> None:
    words = (
        "the kinds of part that no flattening gives: strips, gussets, guards, pockets and others"
    )
    add(commands, "parts", words, _run_parts)


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
