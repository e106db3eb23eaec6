"""Moving in the sewn suit: tubes whose strain is known in closed form, and the demo with its arms up."""

from __future__ import annotations

import io
from dataclasses import replace

import matplotlib.image as mpimg
import numpy as np
import pytest

from padlib.body.axes import places
from padlib.body.pose import pose_body, pose_turns, turned
from padlib.output.blocks import Table
from padlib.output.guide_content import guide_blocks
from padlib.output.moves_picture import moves_picture
from padlib.proof.motion import Move, let_in, missing, motion_findings, motion_report, moving
from padlib.proof.sew import Sewn, hat_gradients
from padlib.suit.built import Built
from padlib.suit.whole_report import make_report


def _strip(stretched: float, columns: int = 40, rows: int = 8) -> tuple[Sewn, np.ndarray]:
    """A plane strip of cloth, 400 by 80 mm, and the same pulled along its length by a share."""
    x, y = np.meshgrid(
        np.linspace(0, 400, columns + 1), np.linspace(0, 80, rows + 1), indexing="ij"
    )
    flat = np.column_stack([x.ravel(), y.ravel()])
    k = np.arange(flat.shape[0]).reshape(columns + 1, rows + 1)
    a, b, c, d = k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]
    faces = np.concatenate(
        [np.stack([q.ravel() for q in each], 1) for each in ((a, b, c), (a, c, d))]
    )
    gradients, area = hat_gradients(flat[faces])
    ones = np.ones((len(faces), 3))
    sewn = Sewn(faces, (np.arange(len(flat)),), gradients, area, len(flat), ones, 0.05 * ones)
    return sewn, np.column_stack([flat * [1.0 + stretched, 1.0], np.zeros(len(flat))])


def test_missing_length_of_a_pulled_strip() -> None:
    """A strip of 400 mm pulled by 15 % that bears 5 %: brought down to 4 % it misses 400 (1.15 / 1.04 - 1)."""
    sewn, place = _strip(0.15)
    more = let_in(sewn, place)
    every = np.ones(len(sewn.faces), dtype=bool)
    length = missing(sewn, place, every, more.area - sewn.area)
    # the width of a strip told by the scatter of its triangles' middles: 80 mm less what middles do not reach
    middles = place[sewn.faces].mean(axis=1)[:, 1]
    width = float(np.sqrt(12.0) * middles.std())
    assert length * width / 80.0 == pytest.approx(400.0 * (1.15 / 1.04 - 1.0), rel=1e-3)
    assert length == pytest.approx(400.0 * (1.15 / 1.04 - 1.0), rel=0.02)


def test_cloth_that_bears_it_is_left_alone() -> None:
    """At 4.9 % nothing is let in."""
    sewn, place = _strip(0.049)
    assert np.array_equal(let_in(sewn, place).area, sewn.area)


def test_forward_reach_and_bend_turn_by_what_is_asked(demo_built) -> None:
    """Reaching turns the hand about the shoulder by the angle; bending turns the crown about the small of the back."""
    body = demo_built.body
    at = places(body.surface, body.landmarks)
    turns = pose_turns(body, reach_deg=90.0)
    joints = {t.joint[0] > 0: t.joint for t in turns}
    posed = pose_body(body, reach_deg=90.0)
    low = turned(body.surface.vertices, turns)[:, 2].min()
    for side, left in (("left", True), ("right", False)):
        before = (at[f"hand_tip_{side}"] - joints[left])[1:]
        after = (
            places(posed.surface, posed.landmarks)[f"hand_tip_{side}"] + [0, 0, low] - joints[left]
        )[1:]
        turn = np.arctan2(*after[::-1]) - np.arctan2(*before[::-1])
        assert np.degrees(turn) % 360 == pytest.approx(270.0, abs=0.5)
    turns = pose_turns(body, bend_deg=45.0)
    assert len(turns) == 1
    crown = turned(at["crown"][None], [replace(turns[0], share=np.ones(1))])[0]
    assert crown[1] < at["crown"][1] - 300.0
    assert np.linalg.norm(crown - turns[0].joint) == pytest.approx(
        np.linalg.norm(at["crown"] - turns[0].joint), abs=1e-9
    )


def test_a_whole_turn_stretches_nothing(demo_built) -> None:
    """Where everything turns alike the cloth is strained as before, but for what its weight does."""
    b = demo_built
    still = moving(
        b.flats,
        b.proof.surface.vertices,
        b.body,
        b.shell.surface,
        limit=0.05,
        poses={"standing": {}},
    )
    (move,) = still
    rest = sum(t.over * a for t, a in zip(b.proof.tight, _areas(b), strict=True)) / sum(_areas(b))
    assert move.over == pytest.approx(rest, abs=0.01)


def _areas(built) -> list[float]:
    return [
        float(np.abs(_double(f.positions, f.panel.surface.faces)).sum()) / 2 for f in built.flats
    ]


def _double(flat: np.ndarray, faces: np.ndarray) -> np.ndarray:
    a, b, c = (flat[faces[:, k]] for k in range(3))
    return (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]


def test_arms_up_tighten_the_demo_under_the_arm(demo_built) -> None:
    """The higher the arms the tighter, most of all under the arm, and letting cloth in there cures most of it."""
    b = demo_built
    poses = {"arms half up": {"arms_deg": 60.0}, "arms level": {"arms_deg": 90.0}}
    low, high = moving(
        b.flats, b.proof.surface.vertices, b.body, b.shell.surface, limit=0.05, poses=poses
    )
    assert low.over < high.over
    assert high.places[0].place == "under the arm"
    assert 10.0 < high.places[0].missing_mm < 120.0
    assert high.left < 0.25 * high.over
    assert "underarm gusset" in motion_findings([high])[0].words
    _shown([low, high], b)


def _shown(moves: list[Move], built: Built) -> None:
    """The picture is darker where the suit is tighter, and the guide's table tells what the report does."""
    picture = mpimg.imread(io.BytesIO(moves_picture(moves)))[..., :3]
    half = picture.shape[1] // 2
    body = picture[: int(0.9 * len(picture))]
    dark = [float((part.sum(axis=2) < 1.2).mean()) for part in (body[:, :half], body[:, half:])]
    assert dark[1] > 1.2 * dark[0]
    told = motion_report(moves)
    assert told[1]["places"][0]["missing_mm"] == pytest.approx(
        moves[1].places[0].missing_mm, abs=0.5
    )
    report = make_report(replace(built, moves=tuple(moves)), {})
    words = {"title": "demo", "words": "", "allowance_mm": 10.0}
    tables = [
        x
        for x in guide_blocks(report, (), (), **words)
        if isinstance(x, Table) and x.name == "Moving"
    ]
    assert [row[0] for row in tables[0].rows] == ["arms half up", "arms level"]
    assert "an underarm gusset" in tables[0].rows[1][2]
