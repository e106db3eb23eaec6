"""Lays: pieces of each cloth placed on its width, by our own quick lay and by the packer."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence

import numpy as np
import shapely

from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.lay.compact import compact
from padlib.lay.lay import Lay, Placement, laid
from padlib.lay.skyline import Outline, skyline
from padlib.pattern.piece import Piece
from padlib.progress import Tell, quiet

try:
    import spyrrow
except ImportError:  # the packer is compiled; where it is missing, the quick lay does
    spyrrow = None

SIMPLIFY_MM = 0.3
LOOK_S = 0.5  # how often the packer is asked how far it is
TURNS = {"one-way": (0.0,), "two-way": (0.0, 180.0), "none": (0.0, 90.0, 180.0, 270.0)}
MOST_TILT = 5.0  # degrees: more shows in the pile
PRESS_S = 1  # of a budget of ten times that or more, kept for pushing the packed lay together
SHIFTS = 400  # starts tried when a packed lay has to dodge spoiled places
Box = tuple[float, float, float, float]  # x, y, width, height, mm
Spot = tuple[float, float, float]  # x, y, mm, and turn, degrees


def copies(pieces: Sequence[Piece]) -> list[tuple[Piece, bool]]:
    """Every piece as often as it is cut, with whether that copy lies face down on the back of the cloth.

    Of pairs half lie so; of others all, since a piece shows the pile side, but where it says face up.
    """
    out = []
    for piece in pieces:
        single = piece.count if piece.face == "down" else 0
        down = piece.count // 2 if piece.mirrored else single
        out += [(piece, k >= piece.count - down) for k in range(piece.count)]
    return out


def outline(piece: Piece, face_down: bool) -> Outline:
    """The cut line of a piece (k, 2) in mm, mirrored (x to -x) when it is laid face down."""
    return laid(piece.cut_line, face_down, 0.0)


def lay_pieces(
    pieces: Sequence[Piece],
    *,
    cloth: str,
    width_mm: float,
    gap_mm: float = 10.0,
    seconds: float = 10.0,
    seed: int = 1,
    pile: str = "one-way",
    tilt_deg: float = 0.0,
    avoid: Sequence[Box] = (),
    price: float = 0.0,
    workers: int = 1,
    tell: Tell = quiet,
) -> Lay:
    """Place all pieces of one cloth; the shorter of our own quick lay and the packer's, pushed together.

    seconds: the time budget of both; below 1 only the quick lay is made, which is the same on every
    machine. pile: one-way (nothing turned), two-way (half turns) or none (quarter turns); tilt_deg: by
    how much a piece may be tilted; avoid: spoiled places; workers: threads of the packer; tell: told
    the length so far. Raises InputError naming a piece that is wider than the cloth.
    """
    if pile not in TURNS:
        raise InputError(f"pile is '{pile}'; it must be one of {', '.join(TURNS)}.")
    if not 0.0 <= tilt_deg <= MOST_TILT:
        raise InputError(f"tilt is {tilt_deg:g}; it must lie between 0 and {MOST_TILT:g} degrees.")
    every = copies(pieces)
    lines = [outline(p, down) for p, down in every]
    for (piece, _), line in zip(every, lines, strict=True):
        if np.ptp(line[:, 0]) > width_mm:
            raise InputError(
                f"cloth '{cloth}' is {width_mm:g} mm wide but piece '{piece.name}' needs "
                f"{np.ptp(line[:, 0]):.0f} mm; take wider cloth or add a seam to that panel."
            )
    if not lines:
        return Lay(cloth, width_mm, 0.0, 0.0, (), pile, tuple(avoid), price)
    offsets, length = skyline(lines, width_mm, gap_mm, avoid=avoid)
    spots: list[Spot] = [(x, y, 0.0) for x, y in offsets]
    found: tuple[Finding, ...] = ()
    if seconds >= 1 and spyrrow is None:
        words = (
            "the packer (spyrrow) is not installed, so this is the quick lay; it takes more cloth"
        )
        found = (Finding(801, words, f"cloth '{cloth}'", Grade.NOTE),)
    elif seconds >= 1:
        turns = _turns(pile, tilt_deg)
        kept = PRESS_S if seconds >= 10 * PRESS_S else 0
        packer = _Packer(int(seconds) - kept, seed, workers, tell, cloth)
        packed = packer.spots(every, width_mm, gap_mm, turns)
        packed = _pressed(lines, packed, width_mm, gap_mm)
        packed = _dodged(lines, packed, avoid, gap_mm)
        if _length(lines, packed) < length:
            spots, length = packed, _length(lines, packed)
    used = sum(float(shapely.Polygon(line).area) for line in lines)
    placements = tuple(
        Placement(p.number, down, (float(x), float(y)), turn)
        for (p, down), (x, y, turn) in zip(every, spots, strict=True)
    )
    share = 100.0 * used / (width_mm * length)
    return Lay(cloth, width_mm, length, share, placements, pile, tuple(avoid), price, found)


def _turns(pile: str, tilt: float) -> list[float]:
    """The turns that a piece may be given, degrees."""
    steps = (0.0,) if tilt == 0 else (0.0, tilt / 2, -tilt / 2, tilt, -tilt)
    return [(base + step) % 360.0 for base in TURNS[pile] for step in steps]


def _length(lines: Sequence[Outline], spots: Sequence[Spot]) -> float:
    """How far the placed lines reach along the cloth, mm."""
    return max(
        float((laid(line, False, turn)[:, 1] + y).max())
        for line, (_, y, turn) in zip(lines, spots, strict=True)
    )


def _pressed(
    lines: Sequence[Outline], spots: Sequence[Spot], width: float, gap: float
) -> list[Spot]:
    """A packed lay pushed together, with the outlines and the room that the packer had."""
    slack = _slack(gap)
    turned = [
        _simpler(laid(line, False, turn), slack)
        for line, (_, _, turn) in zip(lines, spots, strict=True)
    ]
    low = min(float(line[:, 1].min()) + y for line, (_, y, _) in zip(turned, spots, strict=True))
    at = np.array([(x + slack, y - low) for x, y, _ in spots])
    moved = compact(turned, at, width + 2 * slack, gap - 2 * slack)
    return _begun(
        lines, [(float(x) - slack, float(y), s[2]) for (x, y), s in zip(moved, spots, strict=True)]
    )


def _begun(lines: Sequence[Outline], spots: Sequence[Spot]) -> list[Spot]:
    """A lay moved along the cloth until it begins at 0."""
    least = min(
        float((laid(line, False, turn)[:, 1] + y).min())
        for line, (_, y, turn) in zip(lines, spots, strict=True)
    )
    return [(x, y - least, turn) for x, y, turn in spots]


def _slack(gap: float) -> float:
    """By how much outlines may be drawn simpler, mm: only where the gap takes it up."""
    return SIMPLIFY_MM if gap > 2 * SIMPLIFY_MM else 0.0


def _dodged(
    lines: Sequence[Outline], spots: Sequence[Spot], avoid: Sequence[Box], gap: float
) -> list[Spot]:
    """A packed lay moved along the cloth until no piece lies on a spoiled place."""
    if not avoid:
        return list(spots)
    shapes = [
        shapely.Polygon(laid(line, False, turn) + [x, y])
        for line, (x, y, turn) in zip(lines, spots, strict=True)
    ]
    whole = shapely.union_all(shapes).buffer(gap)
    shapely.prepare(whole)
    boxes = [shapely.box(x, y, x + w, y + h) for x, y, w, h in avoid]
    far = max(y + h for _, y, _, h in avoid) + gap
    for shift in np.linspace(0.0, far, SHIFTS):
        moved = [shapely.transform(b, lambda c, s=shift: c - [0.0, s]) for b in boxes]
        if not any(whole.intersects(b) for b in moved):
            break
    return [(x, y + float(shift), turn) for x, y, turn in spots]


class _Packer:
    """The irregular strip packer, run beside a look at how far it is.

    Its strip runs along x, ours along y, so x and y change places on the way in and out, and turns
    change their sign.
    """

    def __init__(self, seconds: int, seed: int, workers: int, tell: Tell, cloth: str) -> None:
        self.seconds, self.tell, self.cloth = seconds, tell, cloth
        self.seed, self.workers = seed, workers

    def spots(
        self,
        every: Sequence[tuple[Piece, bool]],
        width: float,
        gap: float,
        turns: Sequence[float],
    ) -> list[Spot]:
        """Where each copy goes; copies of one piece on one face are alike to the packer."""
        slack = _slack(gap)
        alike: dict[tuple[int, bool], list[int]] = {}
        for k, (piece, down) in enumerate(every):
            alike.setdefault((piece.number, down), []).append(k)
        items, members = [], list(alike.values())
        back = sorted((-t) % 360.0 for t in turns)
        for name, own in enumerate(members):
            line = _simpler(outline(*every[own[0]]), slack)
            items.append(spyrrow.Item(str(name), [(y, x) for x, y in line], len(own), back))
        instance = spyrrow.StripPackingInstance("", width + 2 * slack, items)
        config = spyrrow.StripPackingConfig(
            early_termination=True,
            min_items_separation=gap - 2 * slack if gap > 2 * slack else None,
            total_computation_time=self.seconds,
            num_workers=self.workers,
            seed=self.seed,
        )
        spots: list[Spot] = [(0.0, 0.0, 0.0)] * len(every)
        queue = [list(own) for own in members]
        for item in self._solved(instance, config).placed_items:
            along, across = item.translation
            # single precision comes back: the turn that was meant is the nearest of those allowed
            turn = min(turns, key=lambda t: abs((t + item.rotation + 180.0) % 360.0 - 180.0))
            spots[queue[int(item.id)].pop(0)] = (across - slack, along, turn)
        return _begun([outline(*copy) for copy in every], spots)

    def _solved(self, instance, config):  # noqa: ANN001, ANN202
        """The packer's solution; meanwhile the shortest length so far is told."""
        queue, done = spyrrow.ProgressQueue(), []

        def work() -> None:
            done.append(instance.solve(config, queue))

        thread = threading.Thread(target=work, daemon=True)
        start = time.monotonic()
        thread.start()
        best = float("inf")
        while thread.is_alive():
            thread.join(LOOK_S)
            for kind, solution in queue.drain():
                if kind != spyrrow.ReportType.ExplInfeas:
                    best = min(best, float(solution.width))
            share = min((time.monotonic() - start) / max(self.seconds, 1), 1.0)
            if np.isfinite(best):
                self.tell(f"laying {self.cloth}: {best / 1000:.2f} m so far", share)
        return done[0]


def _simpler(line: Outline, slack: float) -> Outline:
    """An outline of fewer points that holds the given one."""
    if not slack:
        return line
    shape = shapely.Polygon(line).buffer(slack, join_style="mitre").simplify(slack)
    return np.asarray(shape.exterior.coords)[:-1]
