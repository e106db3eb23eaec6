"""A suit's flats while it is being edited: each step is done again only where its inputs changed.

The first look does the whole way to the flats, with the search for darts. After that a changed pad
makes a new shell, a moved seam a new cut, and only the panels that differ are laid again, with the
darts that they have (`padlib.suit.again`); a changed wish for darts
seeks those of its panel anew, unless it is to keep darts that are there. The printed pattern is
never made of these flats: `build` seeks the darts anew.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial

import numpy as np

from padlib.body.body import Body
from padlib.findings import Finding
from padlib.flatten.flat import Flat
from padlib.padding.dressed import Dressed
from padlib.padding.shell import Shell, pad_shell
from padlib.progress import Tell, quiet
from padlib.suit.again import flatten_again
from padlib.suit.ease import own_eases, suit_eases
from padlib.suit.file import Suit
from padlib.suit.steps import (
    Panels,
    flatten_panels,
    flattening,
    make_panels,
    on_shell,
    over_limit,
    suit_body,
    suit_dressed,
)
from padlib.suit.wishes import NONE, Wishes, own_wishes

SAME = 1.0  # mm: ends of a dart are told to a tenth

Stamp = tuple[int, int] | None


@dataclass(frozen=True)
class Preview:
    """What a look at a suit gives, and what the next look starts from.

    laid: names of the panels that were laid for this look; findings: panels over the cloth's limit,
    for which the darts should be sought anew; stamp: when the body's file was written, and its length.
    """

    suit: Suit
    body: Body
    shell: Shell
    panels: Panels
    flats: tuple[Flat, ...]
    laid: tuple[str, ...]
    findings: tuple[Finding, ...]
    dressed: Dressed | None = None
    stamp: Stamp = None


def standing(suit: Suit, last: Preview | None) -> tuple[Body | None, Dressed | None]:
    """What a build of a suit need not make again after a look: the body, and the body dressed, where they are the
    same to the bit. Shells and flats of looks may lean on earlier ones, and a build makes them anew."""
    if last is None or not _same_body(suit, last):
        return None, None
    return last.body, last.dressed if _cloth(suit) == _cloth(last.suit) else None


def preview(
    suit: Suit,
    last: Preview | None = None,
    *,
    workers: int = 1,
    tell: Tell = quiet,
    seen: Callable[[Body, Shell, Panels | None], None] = lambda *_: None,
) -> Preview:
    """The flats of a suit, from the last look at it where there is one.

    workers: processes for the first look; seen: told of the shell when it is there, and again with the
    panels when it is cut; what it raises ends the look. Raises PadlibError in one sentence.
    """
    stamp = _stamp(suit)  # before it is read: what is written meanwhile is seen next time
    body = last.body if last is not None and _same_body(suit, last) else suit_body(suit)
    kept = last if last is not None and last.body is body else None
    dressed, shell = _shell(suit, body, kept)
    seen(body, shell, None)
    panels = _panels(suit, body, shell, kept)
    seen(body, shell, panels)
    flats, laid, sought = _flats(suit, panels, body, shell, last, workers=workers, tell=tell)
    found = over_limit(flats, suit.darts["limit"], set(laid) - set(sought))
    return Preview(suit, body, shell, panels, flats, laid, found, dressed, stamp)


def _shell(suit: Suit, body: Body, kept: Preview | None) -> tuple[Dressed | None, Shell]:
    """The dressed body and the shell, of which a changed pad makes only the second anew."""
    if kept is not None and (suit.pads, suit.shell) == (kept.suit.pads, kept.suit.shell):
        return kept.dressed, kept.shell
    join, same = suit.shell["join"], kept is not None and _cloth(suit) == _cloth(kept.suit)
    if kept is None or kept.dressed is None or not same:
        dressed = suit_dressed(suit, body)
        return dressed, pad_shell(dressed, suit.pads, join=join)
    return kept.dressed, pad_shell(kept.dressed, suit.pads, join=join, last=kept.shell)


def _cloth(suit: Suit) -> dict[str, float]:
    return {k: v for k, v in suit.shell.items() if k != "join"}


def _flats(
    suit: Suit,
    panels: Panels,
    body: Body,
    shell: Shell,
    last: Preview | None,
    *,
    workers: int,
    tell: Tell,
) -> tuple[tuple[Flat, ...], tuple[str, ...], tuple[str, ...]]:
    """The flats, the names of the panels that were laid for them, and of those whose darts were sought."""
    each = panels.panels
    pile = panels.pile
    place = partial(on_shell, body=body, shell=shell, place=panels.place)
    asked = flattening(suit, {p.name for p in each})
    asked["ease"] = suit_eases(own_eases(suit), each, place)[0]
    anew: tuple[Flat, ...] = ()
    same_ease = last is not None and own_eases(suit) == own_eases(last.suit)
    if not same_ease or suit.dart != last.suit.dart:
        asked["wishes"] = own_wishes(suit, each, panels.place.at)
        if not same_ease:
            flats = flatten_panels(each, pile, workers=workers, tell=tell, **asked)
            own = tuple(p.name for p in each if p.mirror_of is None)
            return flats, own, own
        old = last.panels
        before, now = own_wishes(last.suit, old.panels, old.place.at), asked["wishes"]
        laid = {flat.panel.name: flat for flat in last.flats}
        other = []
        for p in each:
            changed = before.get(p.name, NONE), now.get(p.name, NONE)
            if changed[0] != changed[1] and not _kept_as_is(laid.get(p.name), *changed):
                other.append(p)
        apart = asked | {"ease": ()}
        if other:
            anew = flatten_panels(other, pile, among=each, workers=workers, tell=tell, **apart)
    kept = {key: asked[key] for key in ("limit", "ease", "cloths")}
    again = flatten_again(each, pile, last.flats, last.panels.panels, anew=anew, **kept)
    return again.flats, again.laid, tuple(flat.panel.name for flat in anew)


def _kept_as_is(flat: Flat | None, before: Wishes, now: Wishes) -> bool:
    """Whether all that is wished for besides is to keep darts that the flat has."""
    if flat is None or now.bans != before.bans or not set(before.pins) <= set(now.pins):
        return False
    at = flat.panel.surface.vertices
    ends = np.array([(at[dart.left[0]], at[dart.apex]) for dart in flat.darts]).reshape(-1, 2, 3)
    more = [(p.mouth, p.tip) for p in now.pins if p not in before.pins]
    asked = np.array(more).reshape(-1, 2, 3)
    away = np.linalg.norm(asked[:, None] - ends, axis=3).max(axis=2)
    return bool((away < SAME).any(axis=1).all())


def _same_body(suit: Suit, look: Preview) -> bool:
    """Whether a suit has the body of a look, read and measured the same way."""
    last = look.suit
    return look.stamp == _stamp(suit) and (
        suit.folder,
        suit.body,
        suit.measurements,
        suit.landmarks,
    ) == (last.folder, last.body, last.measurements, last.landmarks)


def _stamp(suit: Suit) -> Stamp:
    """When the file of a suit's body was written (ns), and its length; None where there is none to read."""
    if not suit.body["file"]:
        return None
    with suppress(OSError, ValueError):
        told = os.stat(suit.folder / suit.body["file"])
        return told.st_mtime_ns, told.st_size
    return None


def _panels(suit: Suit, body: Body, shell: Shell, kept: Preview | None) -> Panels:
    """The cut shell, the last one where neither shell nor seams changed."""
    same_shell = kept is not None and kept.shell is shell
    if same_shell and all(
        getattr(suit, key) == getattr(kept.suit, key)
        for key in ("seams", "drawn", "marks", "strokes")
    ):
        return kept.panels
    return make_panels(suit, body, shell, kept.panels.place if same_shell else None)
