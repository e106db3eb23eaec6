"""300 bodies from measurements of people who could be (ANSUR II): built, written, read again, measured.

    python tests/benchmarks/bench_bodies.py --count 300

Each body's figure, person and given measurements come from its number (tests/body/random_bodies.py). Rows go to
results/bodies.csv (not committed): stopped and started again it goes on where it was; `--table` only writes
results/bodies.md from the rows there are. Every fifth body is also measured by trimesh's sections and scipy's hulls.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh
from scipy.spatial import ConvexHull
from study import add, rows

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "body"))

from random_bodies import MEASURED, case  # noqa: E402 (found beside the tests)

from padlib.body import Body, measure, with_landmarks  # noqa: E402
from padlib.body.carried import own_places, placed, read_carried  # noqa: E402
from padlib.body.parametric import parametric_body  # noqa: E402
from padlib.body.typical import fill  # noqa: E402
from padlib.errors import PadlibError  # noqa: E402
from padlib.mesh.crossings import crossings  # noqa: E402
from padlib.mesh.read import read_mesh  # noqa: E402
from padlib.output.mesh import ply_bytes  # noqa: E402

ROWS = HERE / "results" / "bodies.csv"
TABLE = HERE / "results" / "bodies.md"
HEAD = [
    "number",
    "figure",
    "given",
    "worst_girth",
    "girth_mm",
    "worst_length",
    "length_mm",
    "crossings",
    "closed",
    "sections_mm",
    "anew_mm",
    "bsa",
    "mosteller",
    "segment",
    "segment_percent",
    "segment_any_percent",
    "shoulder_mm",
    "seconds",
    "refused",
]
# shares of stature: Drillis and Contini 1966, as reprinted in Winter 2009 (hip: ANSUR II's buttock height)
SHARES = {
    "shoulder_height": 0.818, "crotch_height": 0.485, "knee_height": 0.285, "hip_height": 0.512,
    "upper_arm_length": 0.186, "arm_length": 0.332, "hand_length": 0.108, "foot_length": 0.152,
}  # fmt: skip
LEVELS = {"waist_girth": "waist_height", "hip_girth": "hip_height"}


def main() -> None:
    """Run what is missing, then write the table."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--count", type=int, default=300)
    ask.add_argument("--edge", type=float, default=14.0, help="edge length of the triangles, mm")
    ask.add_argument("--table", action="store_true", help="only write the table")
    a = ask.parse_args()
    done = {int(row["number"]) for row in rows(ROWS)}
    if not a.table:
        for number in (k for k in range(a.count) if k not in done):
            add(ROWS, HEAD, one(number, a.edge))
    TABLE.write_text(table(rows(ROWS), a.edge, a.count), encoding="utf-8")


def one(number: int, edge: float) -> dict[str, object]:
    """Everything about one body."""
    figure, given = case(number, MEASURED)
    row: dict[str, object] = dict.fromkeys(HEAD, "") | {
        "number": number,
        "figure": figure,
        "given": len(given),
    }
    start = time.process_time()
    try:
        body = parametric_body(given, figure=figure, edge_length=edge)
    except PadlibError as failure:
        return row | {"refused": str(failure)}
    row["seconds"] = round(time.process_time() - start, 1)
    again = read_again(body)
    told = measure(again).values
    for kind, least in (
        ("girth", lambda n: n.endswith("_girth")),
        ("length", lambda n: not n.endswith("_girth")),
    ):
        miss = {n: abs(told.get(n, np.inf) - v) for n, v in given.items() if least(n)}
        if miss:
            name = max(miss, key=miss.get)
            row |= {f"worst_{kind}": name, f"{kind}_mm": round(miss[name], 2)}
    surface = again.surface
    mesh = trimesh.Trimesh(surface.vertices, surface.faces, process=False)
    row["crossings"] = len(crossings(surface.vertices, surface.faces)[1])
    row["closed"] = int(mesh.is_watertight and mesh.euler_number == 2)
    for name, formula in (("bsa", du_bois), ("mosteller", mosteller)):
        row[name] = round(mesh.area * 1e-6 / formula(told["stature"], mesh.volume), 4)
    off = {n: 100 * (told[n] / told["stature"] / share - 1) for n, share in SHARES.items()}
    free = {n: p for n, p in off.items() if n not in given}  # what is given is the person's own
    if free:
        name = max(free, key=lambda n: abs(free[n]))
        row |= {"segment": name, "segment_percent": round(free[name], 1)}
    row["segment_any_percent"] = round(max(off.values(), key=abs), 1)
    if "shoulder_width" not in given:
        row["shoulder_mm"] = round(
            told["shoulder_width"] - fill(given, figure)["shoulder_width"], 1
        )
    if number % 5 == 0:
        row["sections_mm"] = round(by_sections(mesh, again, told), 3)
    anew = measure(with_landmarks(Body(surface))).values
    row["anew_mm"] = round(max(abs(anew.get(n, np.inf) - v) for n, v in given.items()), 1)
    return row


def read_again(body: Body) -> Body:
    """The body as its own file says it is."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "body.ply"
        data = ply_bytes(body.surface.vertices, body.surface.faces, landmarks=own_places(body))
        path.write_bytes(data)
        surface = read_mesh(path)
        return with_landmarks(Body(surface, placed(surface, read_carried(path))[0]))


def du_bois(stature: float, volume: float) -> float:
    """Surface in m2 by Du Bois and Du Bois 1916, the weight being the volume (mm3) at 1.01 kg/l (from memory)."""
    return 0.007184 * (stature / 10) ** 0.725 * (volume * 1e-6 * 1.01) ** 0.425


def mosteller(stature: float, volume: float) -> float:
    """Surface in m2 by Mosteller 1987, the weight being the volume (mm3) at 1.01 kg/l (from memory)."""
    return (stature / 10 * volume * 1e-6 * 1.01 / 3600) ** 0.5


def by_sections(mesh: trimesh.Trimesh, body: Body, told: dict[str, float]) -> float:
    """The worst difference in mm between padlib's tape and the hull of trimesh's section, at waist, hip, calf, knee."""
    worst = 0.0
    for girth, height in LEVELS.items():
        worst = max(worst, abs(hull_round(mesh, told[height], np.zeros(2)) - told[girth]))
    for girth, mark in (
        ("knee_girth", "patella"),
        ("calf_girth", "calf"),
        ("ankle_girth", "ankle"),
    ):
        both = [
            hull_round(mesh, body.at(f"{mark}_{s}")[2], body.at(f"{mark}_{s}")[:2])
            for s in ("left", "right")
        ]
        worst = max(worst, abs(float(np.mean(both)) - told[girth]))
    return worst


def hull_round(mesh: trimesh.Trimesh, z: float, near: np.ndarray) -> float:
    """Girth in mm of the hull of the loop of a level section that lies nearest to a place (2,)."""
    section = mesh.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
    loops = [np.asarray(loop)[:, :2] for loop in section.discrete]
    loop = min(loops, key=lambda p: np.linalg.norm(0.5 * (p.min(axis=0) + p.max(axis=0)) - near))
    return float(ConvexHull(loop).area)  # in the plane: the perimeter


def table(done: list[dict[str, str]], edge: float, count: int) -> str:
    """The results as Markdown."""
    built = [r for r in done if not r["refused"]]

    def numbers(name: str) -> np.ndarray:
        return np.array([float(r[name]) for r in built if r[name] not in ("", "inf", "nan")])

    lines = [
        "# Bodies from measurements",
        "",
        f"`python tests/benchmarks/bench_bodies.py --count {count} --edge {edge:g}`: people drawn from ANSUR II's",
        "log-normal distribution within the 1st to 99th percentile of each measurement, women, men and either; of each",
        "a random part of 36 measurements given. Built, written, read again, measured with the landmarks of the file.",
        "",
        "| | |",
        "|---|---|",
        f"| bodies run so far | {len(done)} of {count} |",
        f"| refused with one sentence | {len(done) - len(built)} |",
    ]
    girth, length = numbers("girth_mm"), numbers("length_mm")
    some = [r for r in built if r["girth_mm"]], [r for r in built if r["length_mm"]]
    lines += [
        f"| all girths within 2 mm | {int((girth <= 2).sum())} of {len(some[0])} |",
        f"| all lengths and heights within 5 mm | {int((length <= 5).sum())} of {len(some[1])} |",
        f"| closed, one piece without a handle | {sum(r['closed'] == '1' for r in built)} of {len(built)} |",
        f"| running through themselves | {sum(int(r['crossings']) > 0 for r in built)} of {len(built)} |",
        f"| tape against trimesh's section and scipy's hull, worst | {numbers('sections_mm').max(initial=0):.2f} mm |",
        *(
            f"| surface over {who} (weight: volume at 1.01 kg/l) | {numbers(name).min():.3f} to "
            f"{numbers(name).max():.3f} |"
            for who, name in (("Du Bois 1916", "bsa"), ("Mosteller 1987", "mosteller"))
        ),
        f"| eight segments over stature, those not given, within 10 % of Drillis and Contini 1966 on | "
        f"{int((np.abs(numbers('segment_percent')) <= 10).sum())} of {len(numbers('segment_percent'))}, at most "
        f"{np.abs(numbers('segment_percent')).max(initial=0):.1f} % |",
        f"| ... given ones too (a person's own may be off) | "
        f"{int((np.abs(numbers('segment_any_percent')) <= 10).sum())} of {len(built)}, at most "
        f"{np.abs(numbers('segment_any_percent')).max(initial=0):.1f} % |",
        f"| shoulder width not given, against what is usual | {numbers('shoulder_mm').min(initial=0):.1f} to "
        f"{numbers('shoulder_mm').max(initial=0):.1f} mm on {len(numbers('shoulder_mm'))} |",
        f"| processor time each | {np.median(numbers('seconds')):.1f} s |",
        f"| within 5 mm also by landmarks found anew on the shape | {int((numbers('anew_mm') <= 5).sum())} of "
        f"{len(built)} |",
        "",
        "What was missed:",
        "",
        "| body | figure | given | girth | mm | length | mm |",
        "|---|---|---|---|---|---|---|",
    ]
    for r in built:
        off = [
            r[f"worst_{kind}"] and not float(r[f"{kind}_mm"]) <= most
            for kind, most in (("girth", 2), ("length", 5))
        ]
        if any(off):
            cells = [r[f"{kind}"] if on else "" for kind, on in (("worst_girth", off[0]), ("girth_mm", off[0]),
                     ("worst_length", off[1]), ("length_mm", off[1]))]  # fmt: skip
            lines.append(
                f"| {r['number']} | {r['figure']} | {r['given']} | " + " | ".join(cells) + " |"
            )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
