"""The kinds of pad in words: what each number means, its limits, and why they are there."""

from __future__ import annotations

import textwrap

from padlib.padding.shapes import KINDS

WIDTH = 100


def pads_text() -> str:
    """All kinds of pad with their parameters, for the command line."""
    lines = [
        "Kinds of pad, for [[pad]] in a suit file. A number that is not given comes from the body's own",
        "measurements. side: left, right or both (mirrored in kind, each with its own skin below).",
    ]
    for kind, module in KINDS.items():
        told = (module.__doc__ or "").split("\n", 1)[0]
        where = " (across the middle: no side)" if getattr(module, "MIDDLE", False) else ""
        lines += ["", f"{kind}{where}: {told}"]
        for p in module.TABLE:
            limits = f"{p.low:g} to {p.high:g} {p.unit}, because {p.reason}"
            lines += _wrapped(f"{p.name}: {p.help}; {limits}.")
        for name, words in getattr(module, "EXTRAS", {}).items():
            lines += _wrapped(f"{name}: {words}.")
    return "\n".join(lines) + "\n"


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent="  ", subsequent_indent="      ")
