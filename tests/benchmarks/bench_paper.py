"""The printed files of any suit read back, its allowances measured and its seams walked.

    python tests/benchmarks/bench_paper.py SUIT.toml [SUIT.toml ...] --out FOLDER

Each suit is built into FOLDER/NAME unless it is there already. Read back by pypdfium2, ezdxf and an XML reader:
every line of every tiled file, put together by page names and overlaps alone, beside the roll; every scale bar and
test square by its pixels; areas and perimeters of SVG and DXF beside report.json. Measured by shapely: cut
lines from sew lines; notch to notch along both sides of every seam. Writes results/paper.md.
"""

from __future__ import annotations

import argparse
import copyreg
import json
import pickle
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from types import MappingProxyType

sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
import read_back as rb
import shapely
from scipy.spatial import cKDTree
from threadpoolctl import threadpool_limits

from padlib.pattern.edge import corners
from padlib.pattern.piece import Piece
from padlib.suit.built import Built, run
from padlib.suit.file import read_suit
from padlib.suit.write import write_built

TABLE = Path(__file__).resolve().parent / "results" / "paper.md"
copyreg.pickle(MappingProxyType, lambda m: (dict, (dict(m),)))
PAIR = re.compile(r"[A-Z]+\d+$")
BARS = {
    "tiles from the roll, mm": 0.1,
    "roll without a page, mm": 0.1,
    "scale bars, mm off": 0.1,
    "test squares, mm off": 0.1,
    "SVG area, share off": 1e-5,
    "SVG perimeter, mm off": 0.01,
    "DXF area, share off": 1e-5,
    "DXF perimeter, mm off": 0.01,
    "DXF sew line from SVG's, mm off": 0.01,
    "DXF audit, errors": 0,
    "seam lengths from the report, mm off": 0.01,
    "allowance, mm off": 0.05,
    "notch to notch, mm apart": 0.2,
}


def built_suit(path: Path, folder: Path) -> Built:
    """A suit, and its files in a folder; kept there, so that a second look is quick."""
    kept = folder / "built.pickle"
    if not kept.exists():
        with threadpool_limits(1):
            built = run(read_suit(path), lay_seconds=0)
        write_built(built, folder)
        kept.write_bytes(pickle.dumps(built))
    return pickle.loads(kept.read_bytes())  # noqa: S301


def tiles(folder: Path, told: dict[str, float]) -> None:
    """Every tiled file beside the roll."""
    _, roll_page = rb.pages(folder / "pattern-roll.pdf")[0]
    lines = [s for s in rb.strokes(roll_page) if s[0] not in rb.FURNITURE]
    _, boxes = rb.svg_lines(folder / "pattern.svg")
    roll = {}
    for width, own in rb.bits(lines).items():
        legend = np.zeros(len(own), dtype=bool)
        for box in boxes:
            legend |= np.all([rb.within(own[:, k], box, -1.0) for k in (0, 1)], axis=0)
        roll[width] = own[~legend]
    spots = {w: rb.along(s) for w, s in roll.items()}
    for path in sorted(folder.glob("pattern-*.pdf")):
        if path.stem not in ("pattern-roll", "pattern-projector"):
            _one_paper(path, roll, spots, told)
    for side in (100.0, 101.6):
        _note(
            told,
            "test squares, mm off",
            [abs(v - side) for s in rb.squares(roll_page, side) for v in s],
        )


def _one_paper(
    path: Path,
    roll: dict[float, np.ndarray],
    spots: dict[float, np.ndarray],
    told: dict[str, float],
) -> None:
    """One tiled file: its pages are placed by their names, and all at once by one shift."""
    shift, seen = None, {w: np.zeros(len(p), dtype=bool) for w, p in spots.items()}
    overlap, shown = 0.0, []
    for name, page in rb.pages(path):
        at = rb.cell(name)
        if at is None:
            for side in (100.0,):
                off = [abs(v - side) for s in rb.squares(page, side) for v in s]
                _note(told, "test squares, mm off", off)
            continue
        told["pages"] = told.get("pages", 0) + 1
        width = page.get_size()[0] * rb.MM
        for low, high, length in ((9.7, 10.4, 100.0), (8.0, 8.7, 101.6)):
            got = rb.between(page, [width - 116, low], [width - 10, high], 0)
            _note(told, "scale bars, mm off", [abs(got - length)])
        lines = list(rb.strokes(page))
        box = rb.window(lines)
        joins = [p for w, p, _ in lines if w == 0.2 and len(p) == 2 and np.ptp(p[:, 0]) < 1e-3]
        overlap = max([overlap, *(box[1, 0] - p[0, 0] for p in joins)])
        shown.append((at, box, rb.bits([s for s in lines if s[0] not in rb.FURNITURE])))
    for (row, column), box, own in shown:
        step = np.ptp(box, axis=0) - overlap
        by = np.array([column * step[0], -row * step[1]]) - box[0]
        if shift is None:
            shift = _shift(own[0.7], by, roll[0.7], box)
        place = box + by + shift
        for kind, segments in own.items():
            points = rb.along(segments + by + shift)
            points = points[rb.within(points, place, 0.2)]
            _note(
                told,
                "tiles from the roll, mm",
                rb.apart(points, roll.get(kind, np.zeros((0, 2, 2)))),
            )
        for kind, points in spots.items():
            here = rb.within(points, place, 0.2)
            seen[kind] |= rb.within(points, place, -0.01)
            segments = own.get(kind, np.zeros((0, 2, 2))) + by + shift
            _note(told, "tiles from the roll, mm", rb.apart(points[here], segments))
    lost = [
        rb.along(np.stack([p, p], axis=1))
        for k, p in spots.items()
        for p in [p[~seen[k]]]
        if len(p)
    ]
    _note(told, "roll without a page, mm", [2.0 * sum(map(len, lost))])


def _shift(own: np.ndarray, by: np.ndarray, roll: np.ndarray, box: np.ndarray) -> np.ndarray:
    """Where the first page lies on the roll (2,): the one shift that puts its cut line's points onto the roll's."""
    points = own[:, 0][rb.within(own[:, 0], box, 0.5)] + by
    tree, there = cKDTree(roll[:, 0]), roll[:, 0]
    some = points[:: max(1, len(points) // 25)]
    off = np.array([tree.query(some + s)[0].max() for s in there - points[0]])
    assert off.min() < 0.05, "the first page's cut line is not found on the roll"
    return there[off.argmin()] - points[0]


def drawings(folder: Path, told: dict[str, float]) -> None:
    """SVG and DXF beside the report."""
    report = json.loads((folder / "report.json").read_text())
    lines, _ = rb.svg_lines(folder / "pattern.svg")
    errors, dxf = rb.dxf_lines(folder / "pattern.dxf")
    _note(told, "DXF audit, errors", [errors])
    assert len(dxf) == len(report["pieces"]), "a piece is missing in the DXF"
    for number, piece in enumerate(report["pieces"], 1):
        name = f"{number} {piece['name']}"
        told["pieces"] = told.get("pieces", 0) + 1
        for file, ring in (("SVG", lines["cut", name][0]), ("DXF", dxf[name]["1"])):
            area = shapely.Polygon(ring).area / 100
            _note(told, f"{file} area, share off", [abs(area / piece["area_cm2"] - 1)])
            long = shapely.LinearRing(ring).length
            _note(told, f"{file} perimeter, mm off", [abs(long - piece["perimeter_mm"])])
        if ("dart", name) not in lines:
            sew = shapely.LinearRing(lines["sew", name][0]).length
            off = abs(sew - shapely.LinearRing(dxf[name]["14"]).length)
            _note(told, "DXF sew line from SVG's, mm off", [off])


def lengths(built: Built, folder: Path, told: dict[str, float]) -> None:
    """Runs of a seam on the pieces beside the lengths that the report gives."""
    report = json.loads((folder / "report.json").read_text())
    for seam in report["seams"]:
        own = {p.name: sum(_long(r) for s, r in p.edges if s == seam["name"]) for p in built.pieces}
        there = [v for v in own.values() if v > 0]
        for flat in seam["flat_mm"]:
            if there and len(seam["flat_mm"]) == len(there):
                _note(
                    told,
                    "seam lengths from the report, mm off",
                    [min(abs(v - flat) for v in there)],
                )


def allowances(built: Built, told: dict[str, float]) -> None:
    """Cut lines from sew lines, away from corners, darts and where one allowance hands over to the next."""
    suit = built.suit
    kinds = {e.seam: e.kind for f in (*built.flats, *built.pillow_flats) for e in f.panel.edges}
    joined = {seam for made in built.parts for seam in made.joins}
    for piece in (p for p in built.pieces if p.kind == "panel" and p.edges):
        mm = [_asked(suit, s, kinds.get(s, "sewn"), joined, piece) for s, _ in piece.edges]
        runs = [line for _, line in piece.edges] + list(piece.darts)  # wide darts are cut out
        mm += [float(suit.pieces["allowance"])] * len(piece.darts)
        ends = [r[k] for r in runs for k in (0, -1)] + [
            p for d in piece.darts for p in (d[0], d[len(d) // 2], d[-1])
        ]
        sew = piece.sew_line
        ends += list(sew[corners(sew, limit_deg=20.0)[1]])
        reach = np.hypot(2.0, 1.0) * max(mm) + 0.1
        ring = np.concatenate([piece.cut_line, piece.cut_line[:1]])
        points = rb.along(np.stack([ring[:-1], ring[1:]], axis=1), 3.0)
        told["cut line, points"] = told.get("cut line, points", 0) + len(points)
        points = points[cKDTree(np.array(ends)).query(points)[0] > reach]
        told["of these measured"] = told.get("of these measured", 0) + len(points)
        off = [
            rb.apart(points, np.stack([r[:-1], r[1:]], axis=1)) - w
            for r, w in zip(runs, mm, strict=True)
        ]
        _note(told, "allowance, mm off", np.abs(np.min(off, axis=0)))


def _asked(suit, seam: str, kind: str, joined: set[str], piece: Piece) -> float:  # noqa: ANN001
    """The allowance that the suit file asks for on a seam's edge of a piece, by the words of its reference."""
    mm = (
        suit.pieces["hem"] if kind == "opening" and seam not in joined else suit.pieces["allowance"]
    )
    for rule in suit.edges:
        if rule.seam == seam and (not rule.panel or rule.panel in piece.panels):
            mm = {"hem": suit.pieces["hem"], "fold": 0.0, "raw": 0.0}.get(rule.purpose, mm)
            mm = mm if rule.allowance_mm is None else rule.allowance_mm
    return float(mm)


def walk(built: Built, told: dict[str, float]) -> None:
    """From notch to notch along all sides of every seam; where ease was asked for, sides differ on purpose."""
    eased = {s["name"] for s in built.seams if s.get("ease")}
    sides: dict[str, list[dict[str, float]]] = {}
    for piece in built.pieces:
        at = _arcs(piece)
        for seam in {s for s, _ in piece.edges} - eased:
            own: dict[str, list[float]] = {}
            for notch in (n for n in piece.notches if PAIR.match(n.pair)):
                arc = at(seam, notch.at)
                if arc is not None:
                    own.setdefault(notch.pair, []).append(arc)
            for letter in {re.sub(r"\d+", "", n) for n in own}:
                got = {n: v for n, v in own.items() if re.sub(r"\d+", "", n) == letter}
                if any(np.ptp(v) > 1e-6 for v in got.values()):
                    told["sides not walked"] = told.get("sides not walked", 0) + 1
                    continue
                sides.setdefault(letter, []).append({n: v[0] for n, v in got.items()})
    for own in sides.values():
        names = sorted(own[0], key=lambda n: int(re.sub(r"\D", "", n)))
        assert all(set(o) == set(names) for o in own), f"notches {names} are not on all sides"
        told["seam sides walked"] = told.get("seam sides walked", 0) + len(own)
        for a, b in zip(names, names[1:], strict=False):
            steps = [abs(o[b] - o[a]) for o in own]
            _note(told, "notch to notch, mm apart", [max(steps) - min(steps)])


def _arcs(piece: Piece):  # noqa: ANN202
    """Of a place on a seam of a piece, the length from the piece's first run to it, darts closed; else None."""
    starts = np.concatenate([[0.0], np.cumsum([_long(r) for _, r in piece.edges])])

    def at(seam: str, place: np.ndarray) -> float | None:
        for k, (name, line) in enumerate(piece.edges):
            string = shapely.LineString(line)
            if name == seam and string.distance(shapely.Point(place)) < 1e-6:
                return float(starts[k] + string.project(shapely.Point(place)))
        return None

    return at


def _long(line: np.ndarray) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _note(told: dict[str, float], what: str, values: Sequence[float]) -> None:
    """Keep the worst of a measure."""
    if len(values):
        told[what] = max(told.get(what, 0.0), float(np.max(values)))


def main() -> None:
    """All suits, then the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("suits", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    asked = parser.parse_args()
    columns = {}
    for path in asked.suits:
        folder = asked.out / path.stem
        built = built_suit(path, folder)
        told: dict[str, float] = {}
        tiles(folder, told)
        drawings(folder, told)
        lengths(built, folder, told)
        allowances(built, told)
        walk(built, told)
        columns[path.stem] = told
        print(path.stem, json.dumps(told, indent=1), flush=True)  # noqa: T201
    _write(columns)


def _write(columns: dict[str, dict[str, float]]) -> None:
    names = list(dict.fromkeys([*BARS, *(k for told in columns.values() for k in told)]))
    lines = [
        "# Printed files of suits from outside, read back",
        "",
        "`python tests/benchmarks/bench_paper.py SUIT.toml ... --out FOLDER`; the worst of every suit.",
        "",
        f"| measure | bar | {' | '.join(columns)} |",
        "|---|---|" + "---|" * len(columns),
    ]
    short = []
    for name in names:
        got = [told.get(name, 0.0) for told in columns.values()]
        lines.append(f"| {name} | {BARS.get(name, '')} | {' | '.join(f'{v:.3g}' for v in got)} |")
        short += [
            f"{s}: {name} {v:.3g}"
            for s, v in zip(columns, got, strict=True)
            if v > BARS.get(name, np.inf)
        ]
    lines += ["", "Short: " + ("; ".join(short) if short else "nothing") + "."]
    TABLE.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
