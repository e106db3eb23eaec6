"""How a maker measures what a cloth bears, and the kinds of cloth: for the guide and the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import fill

from padlib.flatten.cloth import COMMON, PRESETS, STRIP_TEST, Cloth
from padlib.output.blocks import Block, Heading, Steps, Table, Text
from padlib.output.blocks_html import html_block

WIDE = 96  # characters of a line on a terminal
HEAD = (
    "kind",
    "stretch along, %",
    "stretch across, %",
    "on the bias, %",
    "slack along, %",
    "slack across, %",
    "shear, degrees",
    "stiffness along : across : shear",
    "what it is",
)


def kinds_rows(cloths: Mapping[str, Cloth] = PRESETS) -> list[tuple[str, ...]]:
    """One row of HEAD for each cloth."""
    return [
        (
            name,
            *(
                f"{round(100 * value, 1):g}"
                for value in (
                    cloth.stretch_along,
                    cloth.stretch_across,
                    cloth.bias,
                    cloth.slack_along,
                    cloth.slack_across,
                )
            ),
            f"{cloth.shear_deg:.1f}",
            " : ".join(
                f"{value:g}"
                for value in (cloth.stiffness_along, cloth.stiffness_across, cloth.stiffness_shear)
            ),
            cloth.words,
        )
        for name, cloth in cloths.items()
    ]


def strip_test_text() -> str:
    """The kinds of cloth and the strip test as plain text for a terminal."""
    lines = [f"Kinds of cloth ({COMMON}; measure your own)", ""]
    for name, *numbers, words in kinds_rows():
        along, across, bias, slack, slack_across, shear, stiff = numbers
        lines += [
            f"{name}: {words}",
            f"    stretch {along} % along the pile, {across} % across, {bias} % on the bias",
            f"    slack {slack} % along, {slack_across} % across; shear {shear} degrees",
            f"    stiffness along : across : shear {stiff}",
        ]
    lines += ["", f"The 100 mm strip test ({COMMON})", ""]
    for k, step in enumerate(STRIP_TEST, 1):
        lines.append(fill(f"{k}. {step}", WIDE, subsequent_indent="   "))
    lines += ["", "In the suit file, your numbers go over those of the nearest kind:", "", EXAMPLE]
    return "\n".join(lines) + "\n"


EXAMPLE = """[cloth.moss]
kind = "short-pile"
stretch_along = 0.04
stretch_across = 0.09
stretch_bias = 0.06
slack_along = 0.03
slack_across = 0.03"""
"""A cloth of a suit file with measured numbers."""


def strip_test_blocks() -> tuple[Block, ...]:
    """The section of the guide: the test, step by step, how to write it down, and the kinds."""
    words = (
        "Panels are laid flat so that the cloth is not asked for more than it bears along the pile, across "
        "it and on the bias. No two bolts are alike: ten minutes with three strips tell more than any table."
    )
    last = f"All numbers and the test: {COMMON}. Pull steadily and keep your face clear of pins."
    return (
        Heading("Measure your cloth"),
        Text(words),
        Steps(tuple(STRIP_TEST)),
        Text("In the suit file, your numbers go over those of the nearest kind:"),
        Text(EXAMPLE, fixed=True),
        Table("Kinds of cloth", HEAD, tuple(kinds_rows())),
        Text(last, small=True),
    )


def strip_test_html() -> str:
    """The section as HTML."""
    return "".join(map(html_block, strip_test_blocks()))
