"""The steps of the way through, each a function from values to values.

`padlib.suit.built` runs them in order; a notebook or another program can call them one by one.
"""

from __future__ import annotations

import weakref
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.fit import fit_body
from padlib.body.landmarks import with_landmarks
from padlib.body.parametric import parametric_body
from padlib.body.parts import SIDES
from padlib.body.scan import import_scan
from padlib.errors import FlatteningError, InputError, SuitError
from padlib.findings import Finding, Grade
from padlib.flatten.agree import match_flats
from padlib.flatten.cloth import Cloth, cloth_use
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.flatten.ground import Rules
from padlib.flatten.pins import Pin
from padlib.flatten.together import with_images
from padlib.mesh.geodesic import geodesic, ground_of
from padlib.mesh.point import Curve, seeker_of
from padlib.mesh.read import read_mesh
from padlib.mesh.seen import seen
from padlib.mesh.smooth import smooth_path
from padlib.padding.dressed import Dressed, dress
from padlib.padding.even import even_shell
from padlib.padding.shell import Shell, pad_shell
from padlib.padding.spot import Spot, on_body
from padlib.pattern.carved import Carved, spread
from padlib.pattern.finish import own_letters
from padlib.pattern.make import make_pieces
from padlib.pattern.parts import Made
from padlib.pattern.piece import Inner, Piece
from padlib.progress import Tell, quiet
from padlib.proof.entry import Way, ways_in
from padlib.seams.assemble import Closure, suit_panels
from padlib.seams.panels import Panel, is_called
from padlib.seams.place import Place, carry_points, mirror_map, place_on_shell
from padlib.seams.plan import Line, Options
from padlib.suit.darting import Task, darted
from padlib.suit.demo import DEMO_BODY
from padlib.suit.file import DrawnSeam, Suit
from padlib.suit.known import Known
from padlib.suit.marks import Marks, suit_marks
from padlib.suit.matching import DART_SHARES, flat_summary, share_used, turned
from padlib.suit.pile import suit_pile
from padlib.suit.schema import MOVES
from padlib.suit.wishes import NONE, Wishes
from padlib.suit.worn import opening_rises

_drawn: weakref.WeakKeyDictionary[Place, dict[DrawnSeam, Line]] = weakref.WeakKeyDictionary()


@dataclass(frozen=True)
class Panels:
    """The panels of a suit with the shell that they come from, and what was noticed.

    marks: on that shell; tints: for each panel by name the mark (m,) that each face lies in, -1 none;
    pile: for each panel the way (3,) that its pile lies.
    """

    place: Place
    panels: tuple[Panel, ...]
    findings: tuple[Finding, ...]
    marks: Marks = field(default_factory=Marks)
    tints: Mapping[str, NDArray[np.int64]] = field(default_factory=dict)
    pile: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)


def suit_body(suit: Suit) -> Body:
    """The wearer's body of a suit: a scan (fitted to measurements, if both are given), a body from
    measurements, or the built-in one."""
    setting = suit.body
    if setting["file"]:
        scan = import_scan(
            suit.folder / setting["file"],
            unit=setting["unit"] or None,
            up=setting["up"] or None,
            facing=setting["facing"] or None,
            middle=setting["middle"] or None,
            trim=setting["trim"],
            even=setting["even"],
            edge_length=setting["triangle"] or None,
        )
        body = scan.body
        if suit.measurements:
            return _to_tape(suit, body)
    elif suit.measurements:
        body = parametric_body(suit.measurements, figure=setting["figure"])
    else:
        surface = read_mesh(DEMO_BODY)
        body = Body(surface, source="the built-in body")
    return with_landmarks(body, dict(suit.landmarks) or None)


def _to_tape(suit: Suit, body: Body) -> Body:
    """A scan moved to the suit's measurements; the suit's landmarks are places on the scan, and ride along."""
    setting = suit.body
    body = with_landmarks(body, dict(suit.landmarks) or None)
    options = {key: setting[key] for key in ("roundness", "figure")}
    return fit_body(body, suit.measurements, **options).body


def suit_shell(suit: Suit, body: Body, dressed: Dressed | None = None) -> Shell:
    """The shell over a suit's body and pads; dressed: that body under cloth and ease, where it is there already."""
    dressed = suit_dressed(suit, body) if dressed is None else dressed
    return pad_shell(dressed, suit.pads, join=suit.shell["join"])


def suit_dressed(suit: Suit, body: Body) -> Dressed:
    """A suit's body under cloth and ease, from which a shell over its pads is quick."""
    amounts = {k: v for k, v in suit.shell.items() if k != "join"}
    return dress(body, **amounts)


def make_panels(suit: Suit, body: Body, shell: Shell, place: Place | None = None) -> Panels:
    """The shell cut along the seam plan and the maker's own seams; place: of this shell, where it is known already."""
    if place is None:
        place = place_on_shell(body, even_shell(shell, mirror_map(shell.surface)))
    settings = suit.seams
    options, told = suit_options(suit, body)
    z_low = float(place.at["waist_front"][2]) - settings["closure_below_waist"]
    slits = {
        (side, end): settings[f"{end}_slit"]
        for side in SIDES
        for end in ("ankle", "wrist")
        if settings[f"{end}_slit"] > 0
    }
    closure = Closure(settings["closure"], z_low, slits)
    drawn = [_drawn_line(seam, body, shell, place) for seam in suit.drawn]
    marks = suit_marks(suit, body, shell, place)
    cut = suit_panels(place, options, closure, drawn, marks.marks)
    each, pile, turned_ = suit_pile(suit, body, shell, place, cut.panels)
    findings = (*told, *cut.findings, *_not_on(marks, cut.tints), *turned_)
    return Panels(place, each, findings, marks, dict(cut.tints), pile)


def suit_options(suit: Suit, body: Body) -> tuple[Options, tuple[Finding, ...]]:
    """The numbers of a suit's seam plan, the openings' as rims of worn parts ask for, and what is told of those."""
    heights, told = opening_rises(suit, body)
    return Options(**heights, **{key: suit.seams[key] for key in MOVES}), told


def _not_on(marks: Marks, tints: Mapping[str, NDArray[np.int64]]) -> list[Finding]:
    """A warning for each mark of which nothing lies on a panel."""
    there = {int(k) for tint in tints.values() for k in np.unique(tint)}
    words = "lies on no panel of the suit (head, hands and feet are not part of it, or another mark covers it)"
    return [
        Finding(940, words, f"mark '{mark.name}'", Grade.WARNING)
        for k, mark in enumerate(marks.marks)
        if k not in there
    ]


def _drawn_line(seam: DrawnSeam, body: Body, shell: Shell, place: Place) -> Line:
    """A seam of the maker's, as the shortest curve on the shell through its points, or a round one; drawn once."""
    known = _drawn.setdefault(place, {})
    if seam not in known:
        known[seam] = _new_line(seam, body, shell, place)
    return known[seam]


def _new_line(seam: DrawnSeam, body: Body, shell: Shell, place: Place) -> Line:
    surface = place.surface
    where = f"line {seam.line}: " if seam.line else ""
    words = f"{where}seam '{seam.name}' runs through"
    at = all_on_shell(seam.through, words, body, shell, place)
    through, ground = seeker_of(surface).points(at), ground_of(surface)
    draw = smooth_path if seam.round else geodesic
    curve = draw(surface.vertices, surface.faces, through, closed=seam.closed, ground=ground)
    return Line(seam.name, Curve(curve.points, seam.closed), seam.kind)


def on_shell(
    point: Spot, words: str, body: Body, shell: Shell, place: Place
) -> NDArray[np.float64]:
    """The place (3,) mm on the shell of a landmark, or of a place on the body; as `all_on_shell`."""
    return all_on_shell([point], words, body, shell, place)[0]


def all_on_shell(
    points: Sequence[Spot], words: str, body: Body, shell: Shell, place: Place
) -> NDArray[np.float64]:
    """The places (k, 3) mm on the shell of landmarks, or of places on the body.

    words: how a message begins. Raises SuitError for a landmark that is not there, and for a place that this body does
    not have.
    """
    told = [k for k, point in enumerate(points) if not isinstance(point, str | tuple)]
    try:
        found = on_body(body, [points[k] for k in told], f"{words} a place")
    except InputError as why:
        raise SuitError(f"{str(why).rstrip('.')}.") from None
    skin = body.surface
    to_carry = {str(k): p.on(skin.vertices, skin.faces) for k, p in zip(told, found, strict=True)}
    out = np.empty((len(points), 3))
    for k, point in enumerate(points):
        if isinstance(point, tuple):
            to_carry[str(k)] = np.array(point)
        elif isinstance(point, str) and point in place.at:
            out[k] = place.at[point]
        elif isinstance(point, str):
            raise SuitError(
                f"{words} '{point}', which is no landmark of this body; there are "
                f"{', '.join(sorted(place.at))}."
            )
    if to_carry:
        for k, at in carry_points(body, shell, to_carry).items():
            out[int(k)] = at
    return out


def flatten_panels(
    panels: Sequence[Panel],
    pile: Mapping[str, NDArray],
    *,
    limit: float,
    most: int,
    ease: Sequence[Ease] = (),
    cloths: Mapping[str, Cloth] = MappingProxyType({}),
    wishes: Mapping[str, Wishes] = MappingProxyType({}),
    percentile: float = 95.0,
    hide: float = 0.05,
    use: Mapping[str, float] = MappingProxyType({}),
    among: Sequence[Panel] = (),
    views: Mapping[str, NDArray[np.float64]] | None = None,
    known: Known | None = None,
    closer: bool = True,
    polish: bool = True,
    like: Mapping[str, tuple[Pin, ...]] = MappingProxyType({}),
    workers: int = 1,
    tell: Tell = quiet,
) -> tuple[Flat, ...]:
    """Flats of all panels: darted, matched along every seam, pile down the page.

    pile: for each panel the way (3,) that the pile lies; limit: the cloth's stretch limit, a fraction;
    most: darts in one panel; ease: on which seams one side is to be longer; cloths: what a panel is cut
    from, by its name; a panel that is not in it has a cloth that is the same in all directions and bears
    the limit; wishes: the maker's own darts, by panel; percentile: share of the area, per cent, that
    must keep the limit; hide: how much longer a dart may be to lie out of view; use: the share of the limit that darts
    may leave, by panel, 1 where nothing is said; among: all panels that hide each other, where they are more than
    those that are laid; views: how much in plain view the vertices (n,) of each panel
    are, where that is known; known: what was darted before, to which is added: a panel
    that is there with all that is asked of it is not darted again; closer: whether panels that matching brings over
    the limit are darted again for less than it; polish: whether darts are moved and traded until none gets shorter;
    like: darts with which those of a panel begin, by panel; workers:
    processes. A panel that is the mirror
    image of another takes the other's flat, turned face down.
    """
    if views is None or not (hide and most):
        views = panel_views(among or panels) if hide and most else {}
    own = []
    for p in (p for p in panels if p.mirror_of is None):
        rules = Rules(percentile=percentile, show=hide, seen=views.get(p.name), polish=polish)
        asked = rules, wishes.get(p.name, NONE), use.get(p.name, 1.0)
        begun = like.get(p.name, ())
        task = Task(p, pile[p.name], cloths.get(p.name), limit, *asked, begun)
        own.append(task)
    seek = partial(darted, known={} if known is None else known, workers=workers)
    shares = DART_SHARES if closer else DART_SHARES[:1]
    matched = _within_limit(own, limit, most, seek, tell, ease=ease, shares=shares)
    laid = [turned(f, pile[f.panel.name]) for f in matched]
    return with_images(laid, panels)


def flattening(suit: Suit, names: Collection[str], whole: Collection[str] = ()) -> dict[str, Any]:
    """What a suit asks of `flatten_panels` for panels of these names, but for eases and the maker's own darts.

    Where sewing back is to correct the flats, darts leave a part of the limit for that; whole: names of more panels,
    whose darts may leave all of it, such as cushions, which are not corrected.
    """
    asked = {key: suit.darts[key] for key in ("limit", "most", "percentile", "hide")}
    use = 1.0 - suit.darts["reserve"] if suit.proof["sew"] and suit.proof["rounds"] else 1.0
    asked |= {"use": dict.fromkeys(sorted(names), use)}
    return asked | {"cloths": dict(cloths_borne(suit, {*names, *whole}))}


def panel_views(panels: Sequence[Panel]) -> dict[str, NDArray[np.float64]]:
    """How much in plain view each vertex of each panel is, among all panels."""
    count = np.cumsum([0, *(len(p.surface.vertices) for p in panels)])
    faces = [p.surface.faces + n for p, n in zip(panels, count, strict=False)]
    views = seen(np.concatenate([p.surface.vertices for p in panels]), np.concatenate(faces))
    return {p.name: views[a:b] for p, a, b in zip(panels, count, count[1:], strict=False)}


def _within_limit(
    tasks: Sequence[Task],
    limit: float,
    most: int,
    seek: Callable[..., list[Flat]],
    tell: Tell,
    *,
    ease: Sequence[Ease],
    shares: Sequence[float],
) -> list[Flat]:
    """Flats darted for the first share of what they may use and matched; those that are over the limit then are
    darted again for the next, and leave nothing to corrections. Panels darted again that cannot be matched, or use no
    less, stay as they were."""
    at = tasks[0].rules.percentile
    used = partial(share_used, limit=limit, percentile=at)
    flats, matched = _matched(tasks, partial(seek, share=shares[0], most=most), tell, limit, ease)
    for share in shares[1:] if most else ():
        over = [k for k, flat in enumerate(matched) if used(flat) > 1.0]
        if not over:
            break
        other = list(flats)
        whole = [replace(tasks[k], use=1.0) for k in over]
        for k, flat in zip(over, seek(whole, share=share, most=most, tell=quiet), strict=True):
            other[k] = min(flats[k], flat, key=used)
        with suppress(FlatteningError):
            new = match_flats(other, limit=limit, ease=ease)
            if sum(used(new[k]) for k in over) < sum(used(matched[k]) for k in over):
                flats, matched = other, new
    return matched


def _matched(
    tasks: Sequence[Task],
    seek: Callable[..., list[Flat]],
    tell: Tell,
    limit: float,
    ease: Sequence[Ease],
) -> tuple[list[Flat], list[Flat]]:
    """The flats darted and the same matched; panels that would overlap themselves once matched give up
    what their darts were to leave, or all do where it is not known which."""
    flats = seek(tasks, tell=tell)
    while True:
        try:
            return flats, match_flats(flats, limit=limit, ease=ease)
        except FlatteningError as why:
            wish = {k for k, task in enumerate(tasks) if task.use < 1.0}
            if not wish:
                raise
            given_up = wish & set(why.panels) or wish
        tasks = [replace(t, use=1.0) if k in given_up else t for k, t in enumerate(tasks)]
        again = iter(seek([tasks[k] for k in sorted(given_up)], tell=quiet))
        flats = [next(again) if k in given_up else flat for k, flat in enumerate(flats)]


def over_limit(
    flats: Sequence[Flat], limit: float, kept: Collection[str] = ()
) -> tuple[Finding, ...]:
    """A warning for each panel that is still stretched over the limit at its 95th percentile.

    kept: names of panels whose darts were not sought for the panel as it is now.
    """
    found = []
    for flat in flats:
        if share_used(flat, limit) > 1.0 and flat.panel.mirror_of is None:
            todo = "add a seam there, allow more darts or take stretchier cloth"
            if flat.panel.name in kept:
                todo = "its darts are not sought anew while you draw; making the pattern seeks them"
            words = f"{_too_much(flat, limit)}; {todo}"
            found.append(Finding(910, words, f"panel '{flat.panel.name}'", Grade.WARNING))
    return tuple(found)


def _too_much(flat: Flat, limit: float) -> str:
    """What is asked too much of a flat's cloth, and where that is worst."""
    if flat.cloth is None:
        p95 = flat_summary(flat)["p95"]
        return (
            f"is stretched {100 * p95:.1f} % at its 95th percentile, over the cloth's "
            f"{100 * limit:.1f} %"
        )
    surface = flat.panel.surface
    told = cloth_use(flat.cloth, surface.vertices, surface.faces, flat.positions)
    worst = int(told.use.argmax())
    spot = surface.vertices[surface.faces[worst]].mean(axis=0)
    x, y, z = (round(float(c)) for c in spot)
    return (
        f"asks {100 * share_used(flat, limit):.0f} % of what '{flat.cloth.name}' bears at its 95th "
        f"percentile; the worst place is near x {x}, y {y}, z {z} mm: {100 * told.along[worst]:+.1f} % "
        f"along the pile, {100 * told.across[worst]:+.1f} % across it, "
        f"{abs(told.shear_deg[worst]):.1f} degrees of shear"
    )


def panel_cloths(suit: Suit, names: Collection[str]) -> Mapping[str, str]:
    """The name of the cloth that each panel is cut from. Raises SuitError for a panel not there."""
    rest = next(c.name for c in suit.cloths if not c.pieces and c.use == "panels")
    cloth = {n: rest for n in names}
    for c in suit.cloths:
        for name in c.pieces:
            matching = [n for n in names if is_called(n, name)]
            if not matching:
                known = ", ".join(sorted({n.rpartition("-")[0] for n in names}))
                raise SuitError(
                    f"cloth '{c.name}' names a panel '{name}' that is not there; there are {known}."
                )
            cloth |= {n: c.name for n in matching}
    pillow = {"top": suit.pillows["top"], "base": suit.pillows["base"]}
    cloth |= {n: pillow[n.rpartition("-")[2]] for n in names if n.startswith("pillow-")}
    return MappingProxyType(cloth)


def cloths_borne(suit: Suit, names: Collection[str]) -> Mapping[str, Cloth]:
    """What each panel's cloth bears, for those whose cloth says of what kind it is."""
    kinds = {c.name: c.bears for c in suit.cloths if c.bears is not None}
    of = panel_cloths(suit, names)
    return MappingProxyType({n: kinds[c] for n, c in of.items() if c in kinds})


def suit_pieces(
    suit: Suit,
    flats: Sequence[Flat],
    parts: Sequence[Made] = (),
    inner: Sequence[tuple[str, Inner]] = (),
    carved: Carved | None = None,
) -> tuple[Piece, ...]:
    """Pieces of all flats and parts by the suit's allowances and cloths; inner: lines in panels, by name.

    carved: the flats as marks part them, where there are marks.
    """
    cloth = dict(panel_cloths(suit, {f.panel.name for f in flats}))
    usual = {
        "allowance_mm": suit.pieces["allowance"],
        "opening_mm": suit.pieces["hem"],
        "notch_spacing_mm": suit.pieces["notch_spacing"],
        "rules": suit.edges,
    }
    if carved is None:
        return make_pieces(flats, cloth=cloth, parts=parts, inner=inner, **usual)
    lined: tuple[Piece, ...] = ()
    if any(made.copies for made in parts):
        lined = tuple(map(own_letters, make_pieces(flats, cloth=cloth, **usual)))
    cloth |= {name: cloth[of] for name, of in carved.whole.items()} | dict(carved.cloth)
    own, drawn = spread(flats, carved, [*inner, *carved.lines]), []
    for made in parts:
        drawn.append(replace(made, drawn=tuple(spread(flats, carved, made.drawn))))
    more = {"inner": own, "holes": carved.holes, "lined": lined}
    return make_pieces(carved.flats, cloth=cloth, parts=drawn, **more, **usual)


def suit_room(suit: Suit) -> float:
    """Room between skin and the outside of the cloth where there is no pad, mm."""
    return suit.shell["ease"] + suit.shell["cloth_thickness"]


def suit_ways(suit: Suit, body: Body, shell: Shell, panels: Panels) -> tuple[Way, ...]:
    """The ways into a suit, with all closures open and its cloth stretched as far as it bears."""
    return ways_in(
        body,
        shell.surface,
        panels.place.axes,
        panels.panels,
        stretch=suit.darts["limit"],
        room=suit_room(suit),
    )
