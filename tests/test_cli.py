"""The command line: help for all, one sentence and status 2 for bad input, nothing touched."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh

from padlib.cli import main, parser
from padlib.flatten.cloth import PRESETS
from padlib.padding.shapes import KINDS

COMMANDS = (
    "demo",
    "build",
    "scan",
    "body",
    "fit",
    "sheet",
    "measure",
    "flatten",
    "cloths",
    "pads",
    "workshop",
)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Status, stdout and stderr of one command."""
    status = main(list(words))
    told = capsys.readouterr()
    return status, told.out, told.err


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    """--help works for every command and says what it does."""
    with pytest.raises(SystemExit) as done:
        main([command, "--help"])

    assert done.value.code == 0
    assert "padlib uses no network" in capsys.readouterr().out.replace("\n", " ")


def test_it_runs_as_a_module() -> None:
    """`python -m padlib` does what the command does: status 0, or 2 and a sentence for a file not there."""
    words = [sys.executable, "-m", "padlib"]
    told = subprocess.run([*words, "pads"], capture_output=True, text=True, timeout=120)
    missing = subprocess.run(
        [*words, "build", "no.toml"], capture_output=True, text=True, timeout=120
    )

    assert (told.returncode, told.stderr) == (0, "")
    assert "thigh" in told.stdout
    assert missing.returncode == 2
    assert missing.stderr.startswith("padlib: ")


def test_pads_tells_every_kind_with_its_limits(capsys: pytest.CaptureFixture[str]) -> None:
    """Each kind and each of its numbers stands there with its limits and their reason."""
    status, out, _ = run(capsys, "pads")
    assert status == 0
    words = " ".join(out.split())
    for kind, module in KINDS.items():
        assert f"{kind}: " in words or f"{kind} (across the middle: no side): " in words
        for p in module.TABLE:
            assert (
                f"{p.name}: {p.help}; {p.low:g} to {p.high:g} {p.unit}, because {p.reason}."
                in words
            )
        for name, told in getattr(module, "EXTRAS", {}).items():
            assert f"{name}: {told}." in words


def test_readme_names_every_command() -> None:
    """The README shows each command, and the demo's suit file as it is."""
    root = Path(__file__).resolve().parents[1]
    readme = (root / "README.md").read_text(encoding="utf-8")
    suit = (root / "padlib" / "suit" / "woodland-giant.toml").read_text(encoding="utf-8")

    assert all(f"padlib {c}" in readme for c in COMMANDS)
    assert suit in readme
    assert {a.dest for a in parser()._actions} >= {"command", "version"}


def files(tmp_path: Path) -> dict[str, Path]:
    """Bad meshes of many kinds."""
    sheet = trimesh.creation.icosphere(subdivisions=2)
    made = {}
    (tmp_path / "empty.ply").write_bytes(b"")
    (tmp_path / "text.ply").write_text("this is not a mesh at all\n" * 20)
    (tmp_path / "words.doc").write_text("x")
    (tmp_path / "points.ply").write_bytes(
        trimesh.PointCloud(np.random.default_rng(1).normal(size=(50, 3))).export(file_type="ply")
    )
    nan = sheet.copy()
    text = nan.export(file_type="obj").splitlines()
    text[next(k for k, x in enumerate(text) if x.startswith("v "))] = "v nan 0 0"
    (tmp_path / "nan.obj").write_text("\n".join(text))
    truncated = sheet.export(file_type="ply")
    (tmp_path / "cut.ply").write_bytes(truncated[: len(truncated) // 2])
    for name in ("empty.ply", "text.ply", "words.doc", "points.ply", "nan.obj", "cut.ply"):
        made[name] = tmp_path / name
    made["missing.ply"] = tmp_path / "missing.ply"
    return made


@pytest.mark.parametrize("command", ["scan", "measure", "flatten"])
@pytest.mark.parametrize(
    "name",
    ["empty.ply", "text.ply", "words.doc", "points.ply", "nan.obj", "cut.ply", "missing.ply"],
)
def test_bad_meshes_are_one_sentence(
    command: str, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Empty, textual, unknown, faceless, NaN, cut-off and missing files: status 2, one line, no output."""
    out = tmp_path / "out"
    more = ["--out", str(out)] if command == "flatten" else []
    status, said, err = run(capsys, command, str(files(tmp_path)[name]), *more)

    assert status == 2
    assert said == ""
    assert name in err
    assert err.count("\n") == 1
    assert not out.exists()


@pytest.mark.parametrize(("unit", "height"), [("m", "3000"), ("cm", "30")])
def test_a_unit_that_makes_no_person(
    unit: str, height: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A unit by which the figure would be 3 m or 3 cm tall is refused, with the height."""
    tall = 3.0
    figure = trimesh.creation.cylinder(radius=0.2, height=tall, sections=32)
    figure = figure.subdivide().subdivide()
    path = tmp_path / "tall.ply"
    figure.export(path)
    status, _, err = run(capsys, "scan", str(path), "--unit", unit)

    assert status == 2
    assert "tall.ply" in err or height in err.replace(" ", "") or "unit" in err
    assert err.count("\n") == 1


def test_body_with_a_wrong_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A measurement that is misspelt is named with the nearest right one; no file is written."""
    out = tmp_path / "b.ply"
    status, _, err = run(capsys, "body", "statur=1700", "--out", str(out))

    assert status == 2
    assert "statur" in err
    assert "stature" in err
    assert not out.exists()


@pytest.mark.parametrize("word", ["stature", "stature=tall", "=3"])
def test_body_words_that_are_no_measurement(
    word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is not NAME=VALUE is told with an example."""
    status, _, err = run(capsys, "body", word, "--out", str(tmp_path / "b.ply"))

    assert status == 2
    assert "chest_girth=980" in err or "measurement" in err


def test_fit_brings_a_body_to_a_tape(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`padlib fit --json`: the written body has the hip girth that was asked for, by a section of trimesh."""
    child = Path(__file__).resolve().parents[1] / "meshes" / "child.ply"
    out = tmp_path / "b.ply"
    words = ["fit", str(child), "hip_girth=690", "--out", str(out), "--json"]
    status, told, _ = run(capsys, *words)
    report = json.loads(told)
    section = trimesh.load(out).section([0, 0, 1], [0, 0, report["measurements_mm"]["hip_height"]])
    rings = [np.asarray(r)[:, :2] for r in section.discrete]
    trunk = max(rings, key=lambda r: np.ptp(r[:, 0]))

    assert status == 0
    assert report["measurements_mm"]["hip_girth"] == pytest.approx(690, abs=2)
    assert shapely.MultiPoint(trunk).convex_hull.length == pytest.approx(690, abs=2)
    row = next(r for r in report["moved"] if r["name"] == "hip_girth")
    assert (row["asked_mm"], row["after_mm"]) == (690.0, pytest.approx(690, abs=2))


def test_fit_without_a_wish(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing to fit to is told before the scan is read."""
    status, _, err = run(capsys, "fit", str(tmp_path / "none.ply"))

    assert status == 2
    assert "waist_girth=820" in err


def test_body_names_all_contradictions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two pairs that are the wrong way round are both named, in one message, and no body is written."""
    out = tmp_path / "b.ply"
    words = ["body", "wrist_girth=300", "forearm_girth=250", "knee_height=900", "crotch_height=800"]
    status, _, err = run(capsys, *words, "--out", str(out))

    assert status == 2
    assert "wrist_girth 300" in err
    assert "knee_height 900" in err
    assert not out.exists()


def test_pose_with_an_angle_out_of_range(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An angle that no arm has is named with its range, and no file is written."""
    child = Path(__file__).resolve().parents[1] / "meshes" / "child.ply"
    out = tmp_path / "b.ply"
    status, _, err = run(capsys, "pose", str(child), "--arms", "200", "--out", str(out))

    assert status == 2
    assert "5 to 170 degrees" in err
    assert not out.exists()


def test_build_with_a_wrong_key_touches_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A suit file with a wrong key: its line and the nearest right one; an earlier result stays."""
    suit = tmp_path / "s.toml"
    suit.write_text("[shell]\neese = 3\n")
    out = tmp_path / "out"
    out.mkdir()
    (out / "report.json").write_text("earlier")
    status, _, err = run(capsys, "build", str(suit), "--out", str(out))

    assert status == 2
    assert "s.toml, line 2" in err
    assert "'ease'" in err
    assert [p.name for p in out.iterdir()] == ["report.json"]


def test_demo_on_a_missing_scan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`padlib demo --body` names the file that is not there."""
    status, _, err = run(capsys, "demo", "--body", str(tmp_path / "who.ply"))

    assert status == 2
    assert "who.ply" in err


def test_flatten_a_half_cylinder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`padlib flatten` lays half a cylinder of radius 60 and height 300 out as 188.496 by 300 mm."""
    angle = np.linspace(0, np.pi, 91)
    v = np.array(
        [[60 * np.cos(a), 60 * np.sin(a), z] for z in np.linspace(0, 300, 31) for a in angle]
    )
    f = []
    for i in range(30):
        for j in range(90):
            a = i * 91 + j
            f += [[a, a + 1, a + 92], [a, a + 92, a + 91]]
    path = tmp_path / "half.ply"
    trimesh.Trimesh(v, f, process=False).export(path)
    status, said, _ = run(capsys, "flatten", str(path), "--out", str(tmp_path / "flat"))
    report = json.loads((tmp_path / "flat" / "report.json").read_text())
    flat = np.array(
        [
            [float(x) for x in line.split()[1:]]
            for line in (tmp_path / "flat" / "panels" / "half.obj").read_text().splitlines()
            if line.startswith("vt ")
        ]
    )
    hull = trimesh.path.polygons.Polygon(flat).convex_hull.minimum_rotated_rectangle
    sides = np.linalg.norm(np.diff(np.array(hull.exterior.coords)[:3], axis=0), axis=1)

    assert status == 0
    assert "half" in said
    assert report["panels"][0]["stretch"]["max"] < 1e-3
    assert sorted(sides) == pytest.approx([60 * np.pi, 300], rel=1e-3)  # VALUES 6.1, cylinder


def test_cloths_tells_kinds_and_strip_test(capsys: pytest.CaptureFixture[str]) -> None:
    """`padlib cloths` prints each kind and how to measure one's own, and that there is no source."""
    status, said, err = run(capsys, "cloths")

    assert (status, err) == (0, "")
    assert all(kind in said for kind in PRESETS)
    assert "The 100 mm strip test (common practice, no source)" in said


def test_flatten_for_a_kind_of_cloth(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`padlib flatten --cloth` lays a dome for that cloth, says how much it uses, refuses unknown kinds."""
    dome = trimesh.creation.icosphere(subdivisions=3, radius=100)
    dome.update_faces(dome.triangles_center[:, 2] > 70)
    dome.remove_unreferenced_vertices()
    path = tmp_path / "dome.ply"
    dome.export(path)
    out = str(tmp_path / "flat")
    words = ("flatten", str(path), "--out", out, "--pile", "0", "-1", "0", "--cloth")

    status, said, _ = run(capsys, *words, "fleece")

    use = json.loads((tmp_path / "flat" / "report.json").read_text())["panels"][0]["cloth_use"]
    assert status == 0
    assert 0.2 < use["p95"] < 1.1
    assert f"of the limits of fleece 95 % of the area uses {100 * use['p95']:.0f} %" in said
    status, _, err = run(capsys, *words, "flece")
    assert status == 2
    assert "cloth kind 'flece' is unknown; did you mean 'fleece'?" in err


def test_suggestions_and_a_pinned_dart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--suggest` ranks darts; the first, given back with `--pin`, is the one that is cut."""
    ball = trimesh.creation.icosphere(3, 100.0)
    top = ball.slice_plane([0, 0, 45], [0, 0, 1])
    top.merge_vertices()
    path = tmp_path / "dome.ply"
    top.export(path)
    asked = ("flatten", str(path), "--limit", "0.06")
    status, said, _ = run(capsys, *asked, "--suggest")
    assert status == 0
    assert "  1. dart " in said
    status, said, _ = run(capsys, *asked, "--suggest", "--json")
    first = json.loads(said)["panels"][0]["darts"][0]
    assert first["path_mm"][0] == first["from"]
    assert first["path_mm"][-1] == first["to"]
    assert first["p99_left"] >= first["stretch_left"]
    pin = ",".join(str(c) for c in (*first["from"], *first["to"]))
    status, said, _ = run(capsys, *asked, "--out", str(tmp_path / "flat"), f"--pin={pin}")
    assert status == 0
    assert "1 darts" in said
    report = json.loads((tmp_path / "flat" / "report.json").read_text())
    dart = report["panels"][0]["darts"][0]
    assert dart["length_mm"] == pytest.approx(first["length_mm"], rel=0.15)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ([], "add --out DIR"),
        (["--out", "DIR", "--pin=1,2,3"], "is not six numbers"),
        (["--out", "DIR", "--percentile", "30"], "percentile is 30; it must lie between 50 and"),
        (["--suggest", "--limit", "0"], "limit is 0; it must lie between"),
    ],
)
def test_slips_of_flatten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], words: str
) -> None:
    """What cannot be asked of `padlib flatten` is told in one sentence, with status 2."""
    more = [str(tmp_path / "out") if word == "DIR" else word for word in more]
    status, _, err = run(capsys, "flatten", "x.ply", *more)
    assert status == 2
    assert words in err


def test_flatten_a_closed_mesh(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A closed mesh cannot be laid flat; the sentence says to cut it open."""
    path = tmp_path / "ball.ply"
    trimesh.creation.icosphere().export(path)
    status, _, err = run(capsys, "flatten", str(path), "--out", str(tmp_path / "flat"))

    assert status == 2
    assert "cut it open along a seam first" in err
    assert not (tmp_path / "flat").exists()


@pytest.mark.parametrize("more", [["--limit", "0"], ["--limit", "nan"], ["--darts", "99"]])
def test_flatten_with_values_out_of_range(
    more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A limit or a number of darts out of range is told with the range."""
    status, _, err = run(capsys, "flatten", "x.ply", "--out", str(tmp_path / "flat"), *more)

    assert status == 2
    assert "must lie between" in err
