"""Whether an order of work holds: panels are sewn up in thought, edge by edge, parts where they go in.

It knows panels, edges, partners and the sites of parts only, not how the order was made.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from padlib.pattern.parts.site import Key, Site
from padlib.seams.panels import Panel
from padlib.suit.order import BY_STAGE, Work


def faults(panels: Sequence[Panel], order: Sequence[Work]) -> list[str]:
    """What is wrong with an order of work, each in a sentence; empty if nothing is.

    Panels are sewn up edge by edge. Every sewn seam must be in the order once; nothing may be left
    without an opening to turn it through; no tube (a shape that is not a disk any more) may be closed
    before the flat and closure steps are all done; darts come before seams. A part needs the edges that it
    is sewn to still open (or, lying over a seam, sewn), in as many unbroken runs as its site says, and
    flat cloth where it lies within a panel.
    """
    out, done = [], set()
    stages = [BY_STAGE.index(work.stage) for work in order]
    out += [
        f"'{order[k].words[:40]}' comes after later work"
        for k in range(1, len(stages))
        if stages[k] < stages[k - 1]
    ]
    flat_left = [sum(w.stage in ("flat", "closure") for w in order[k:]) for k in range(len(order))]
    cloth = _Cloth(panels)
    for k, work in enumerate(order):
        if work.sites and "closure" not in work.seams:
            out += _at_sites(cloth, work)
        for seam in work.seams:
            if seam == "dart" and done:
                out.append("darts are sewn after a seam")
                continue
            if seam == "closure":
                out += _at_sites(cloth, work)
            if seam in done:
                out.append(f"seam {seam} is sewn twice")
            done.add(seam)
            shapes = cloth.sew(seam)
            if any(euler < 1 for euler, _ in shapes) and flat_left[k]:
                out.append(f"seam {seam} closes a tube before the flat work is done")
            if any(rim == 0 for _, rim in shapes):
                out.append(f"seam {seam} shuts its pieces in, with no opening left")
    kinds = {e.seam: e.kind for p in panels for e in p.edges}
    return out + [
        f"seam {s} is never sewn"
        for s, kind in sorted(kinds.items())
        if kind == "sewn" and s not in done
    ]


def _at_sites(cloth: _Cloth, work: Work) -> list[str]:
    """What stands in the way of the parts of a step as the cloth is sewn up by then."""
    out = []
    for site in work.sites:
        name = f"'{work.words[:30]}'"
        edges = [k for k in site.edges if cloth.of[k].kind != "closure"]
        if not site.sewn and any(k in cloth.joined for k in edges):
            out.append(f"{name} goes onto an edge that is sewn already")
        if site.sewn and any(k not in cloth.joined for k in edges):
            out.append(f"{name} lies over a seam that is not sewn yet")
        if any(k not in cloth.joined for k in site.across):
            out.append(f"{name} runs across a seam that is not sewn yet")
        if site.edges and not site.sewn:
            runs, ends = cloth.runs(site)
            if runs > site.runs or site.ring and ends:
                out.append(f"{name} runs across a seam that is not sewn yet")
        lots = [lot for lot in cloth.lots() if lot & set(site.panels)]
        if site.flat and not site.across and any(cloth.shape(lot)[0] < 1 for lot in lots):
            out.append(f"{name} comes when its panel lies flat no longer")
    return out


class _Cloth:
    """Panels being sewn: which edges are joined, and what shape each connected lot of them has."""

    def __init__(self, panels: Sequence[Panel]) -> None:
        self.edges = [
            (p.name, k) for p in panels for k, e in enumerate(p.edges) if e.kind != "dart"
        ]
        self.of = {(p.name, k): e for p in panels for k, e in enumerate(p.edges)}
        self.next = {}
        for p in panels:
            own = [(p.name, k) for k, e in enumerate(p.edges) if e.kind != "dart"]
            self.next |= dict(zip(own, own[1:] + own[:1], strict=True))
        self.joined: dict[tuple[str, int], tuple[str, int]] = {}

    def sew(self, seam: str) -> list[tuple[int, int]]:
        """Join all edges of a seam; Euler characteristic and open edges of each lot that it touches."""
        touched = set()
        for key in self.edges:
            edge = self.of[key]
            if edge.seam == seam and edge.partner is not None and edge.partner in self.of:
                self.joined[key] = edge.partner
                touched.add(key[0])
        return [self.shape(lot) for lot in self.lots() if touched & lot]

    def lots(self) -> list[set[str]]:
        """Panels that hang together."""
        root = {name: name for name, _ in self.edges}

        def find(name: str) -> str:
            while root[name] != name:
                name = root[name]
            return name

        for (one, _), (two, _) in self.joined.items():
            root[find(one)] = find(two)
        lots: dict[str, set[str]] = {}
        for name in root:
            lots.setdefault(find(name), set()).add(name)
        return list(lots.values())

    def shape(self, lot: set[str]) -> tuple[int, int]:
        """Vertices - edges + faces of a lot of polygons glued along their joined edges; open edges."""
        keys = [k for k in self.edges if k[0] in lot]
        corners = len(set(self.corners(keys).values()))
        shut = sum(k in self.joined for k in keys)
        return corners - (len(keys) - shut // 2) + len(lot), len(keys) - shut

    def corners(self, keys: Sequence[Key]) -> dict[Any, Any]:
        """Each end of each edge (edge, 0 or 1) to the corner that it is, as far as the cloth is sewn."""
        root = {(k, end): (k, end) for k in keys for end in (0, 1)}

        def find(at: Any) -> Any:
            while root[at] != at:
                at = root[at]
            return at

        for k in keys:
            root[find((k, 1))] = find((self.next[k], 0))
            if k in self.joined:
                root[find((k, 0))] = find((self.joined[k], 1))
                root[find((k, 1))] = find((self.joined[k], 0))
        return {at: find(at) for at in root}

    def runs(self, site: Site) -> tuple[int, int]:
        """In how many unbroken runs the edges of a site lie now, and how many open ends those have."""
        at = self.corners(self.edges)
        root = {k: k for k in site.edges}

        def find(k: Key) -> Key:
            while root[k] != k:
                k = root[k]
            return k

        ends: dict[Any, list[Key]] = {}
        for k in site.edges:
            for end in (0, 1):
                ends.setdefault(at[k, end], []).append(k)
        for keys in ends.values():
            for k in keys[1:]:
                root[find(k)] = find(keys[0])
        return len({find(k) for k in site.edges}), sum(len(keys) == 1 for keys in ends.values())
