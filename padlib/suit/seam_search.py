"""Where the seams of the plan had best lie: moved along the shell until the stretch that is forecast is least.

A move is one number of the [seams] table: a seam farther back, higher, or turned about its limb. Each is tried
both ways with a step that gets smaller; what a trial costs is one cut of the shell and one linear solve a panel
(`flatten.forecast`). Seams stay smooth and symmetric, because they are still zero sets of the same functions,
and near their places, because each move has its limits; those that are pinned are not tried.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from padlib.body.body import Body
from padlib.errors import PadlibError
from padlib.flatten.forecast import forecast
from padlib.mesh.areas import face_areas, vertex_areas
from padlib.padding.even import even_shell
from padlib.padding.shell import Shell
from padlib.seams.assemble import Closure, suit_panels
from padlib.seams.panels import Panel
from padlib.seams.place import Place, mirror_map, place_on_shell
from padlib.seams.plan import Options
from padlib.suit.file import Suit
from padlib.suit.schema import MOVES
from padlib.suit.suggestion_watch import Watch
from padlib.suit.worn import opening_rises

STEPS = (1.0, 0.5)  # of the first step of a move
FIRST = MappingProxyType({"shift": 16.0, "turn": 14.0, "hollow": 12.0})  # mm, degrees, mm
GAIN = 0.002  # of the forecast: a move that gains less is not worth it


@dataclass(frozen=True)
class Found:
    """What a search found.

    moves: key of [seams] to its number, those that are not 0; before, after: root mean square of the stretch that the
    forecast asks, over all panels by area; buys: for each moved seam what it would be without its moves; tried: how
    many plans were cut.
    """

    moves: Mapping[str, float]
    before: float
    after: float
    buys: Mapping[str, float]
    tried: int


def asked_stretch(panels: Sequence[Panel]) -> float:
    """Root mean square, by area, of the stretch that conformal maps of least area distortion ask of panels."""
    total, area = 0.0, 0.0
    for panel in panels:
        surface = panel.surface
        own = vertex_areas(
            surface.faces, face_areas(surface.vertices, surface.faces), len(surface.vertices)
        )
        u = forecast(surface.vertices, surface.faces)
        off = np.exp(own @ u / own.sum() - u) - 1.0
        total += float(own @ off**2)
        area += float(own.sum())
    return float(np.sqrt(total / area))


class _Trials:
    """The plans tried on one shell, each with what it asks."""

    def __init__(self, suit: Suit, body: Body, shell: Shell) -> None:
        self.place: Place = place_on_shell(body, even_shell(shell, mirror_map(shell.surface)))
        heights, _ = opening_rises(suit, body)
        self.usual = Options(**heights)
        self.closure = Closure("none", 0.0)
        self.known: dict[tuple[float, ...], float] = {}

    def cost(self, moves: Mapping[str, float]) -> float:
        """What a plan asks; infinite where it cannot be cut."""
        key = tuple(moves[k] for k in MOVES)
        if key not in self.known:
            try:
                cut = suit_panels(self.place, replace(self.usual, **moves), self.closure)
            except PadlibError:
                self.known[key] = np.inf
            else:
                self.known[key] = asked_stretch([p for p in cut.panels if p.mirror_of is None])
        return self.known[key]


def search(suit: Suit, body: Body, shell: Shell, *, watch: Watch) -> Found:
    """The moves of a suit's seams for which its panels ask least stretch, beginning from those of the suit file.

    When the watch is out, those found so far. Raises SuitError where the suit's own plan cannot be cut.
    """
    trials = _Trials(suit, body, shell)
    moves = {key: float(suit.seams[key]) for key in MOVES}
    free = [key for key in MOVES if seam_of(key) not in suit.seams["pinned"]]
    start = dict(moves)
    cut = suit_panels(trials.place, replace(trials.usual, **moves), trials.closure)
    trials.known[tuple(moves.values())] = asked_stretch(
        [p for p in cut.panels if p.mirror_of is None]
    )
    best = before = trials.cost(moves)
    for number, share in enumerate(STEPS):
        for k, key in enumerate(free):
            watch.say(f"moving {key.replace('_', ' ')}", (number + k / len(free)) / len(STEPS))
            step = share * FIRST[key.partition("_")[2]]
            best = _along(trials, moves, key, step, best, watch)
    buys = {}
    for seam in dict.fromkeys(seam_of(key) for key in free):
        own = {key: start[key] for key in MOVES if seam_of(key) == seam}
        if any(moves[key] != value for key, value in own.items()):
            buys[seam] = trials.cost(moves | own)
    changed = {key: value for key, value in moves.items() if value != start[key]}
    return Found(changed, before, best, buys, len(trials.known))


def seam_of(key: str) -> str:
    """The seam that a move is of."""
    return key.partition("_")[0]


def _along(
    trials: _Trials, moves: dict[str, float], key: str, step: float, best: float, watch: Watch
) -> float:
    """The least cost along one move, which is set in `moves`: on in the better direction while that pays."""
    least, most = MOVES[key].least, MOVES[key].most
    for way in (step, -step):
        gained = False
        while not watch.out:
            value = float(np.clip(moves[key] + way, least, most))
            cost = trials.cost(moves | {key: value}) if value != moves[key] else np.inf
            if not cost < best * (1.0 - GAIN):
                break
            moves[key], best, gained = value, cost, True
        if gained:
            break
    return best
