"""The suit file: what is read, and one clear sentence for each thing that is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from padlib.errors import SuitError
from padlib.flatten.cloth import COMMON, PRESETS
from padlib.suit.demo import DEMO_SUIT, demo_suit
from padlib.suit.file import AskedEase, parse_suit, read_suit
from padlib.suit.lines import key_lines

EASE = "[[ease]]\nseam = 'a'\npanel = 'b'\n"
GOOD = '''
name = "moss"
words = """many
lines = 3"""

[body]
file = "scan.ply"
unit = "cm"

[body.landmarks]
crotch = [0, 10, 800]

[[pad]]
kind = "thigh"
depth = 50

[[pad]]
name = "rump"
kind = "seat"
side = "left"

[[seam]]
name = "belt"
through = [
  "waist_front", [100.0, 0.0, 1000.0],
  "waist_back",
]
closed = true

[[ease]]
seam = "belt"
panel = "front-left"
percent = 2.5
between = ["waist_left", [100, 0, 1000]]

[cloth.fur]
width = 1400

[cloth.felt]
pieces = ["sleeve-under"]
'''


def test_demo_suit_file_reads() -> None:
    """The demo's suit file is a suit with thigh and seat pads on both sides."""
    suit = demo_suit()

    assert suit.name == "woodland-giant"
    assert {(p.kind, p.side) for p in suit.pads} == {("thigh", "both"), ("seat", "both")}


def test_everything_said_is_kept() -> None:
    """Each table and key arrives with its value, the rest with its default."""
    suit = parse_suit(GOOD)

    assert suit.body["file"] == "scan.ply"
    assert suit.body["unit"] == "cm"
    assert suit.landmarks["crotch"] == (0.0, 10.0, 800.0)
    assert [p.name for p in suit.pads] == ["thigh", "rump"]
    assert suit.pads[0].parameters["depth"] == 50
    assert suit.drawn[0].through == ("waist_front", (100.0, 0.0, 1000.0), "waist_back")
    assert suit.drawn[0].closed
    assert [(c.name, c.width, c.pieces) for c in suit.cloths] == [
        ("fur", 1400.0, ()),
        ("felt", 1500.0, ("sleeve-under",)),
    ]
    assert suit.pieces["allowance"] == 10.0
    assert suit.ease == (
        AskedEase(
            "belt", "front-left", 2.5, ("waist_left", (100.0, 0.0, 1000.0)), suit.ease[0].line
        ),
    )


def test_lines_of_keys() -> None:
    """Keys are found on their lines, also after multi-line texts and lists, and in arrays of tables."""
    lines = key_lines(GOOD)

    def at(word: str) -> int:
        return next(n for n, line in enumerate(GOOD.splitlines(), 1) if line.startswith(word))

    assert lines["name",] == at("name")
    assert lines["body", "unit"] == at("unit")
    assert lines["pad", 1, "side"] == at("side")
    assert lines["seam", 0, "closed"] == at("closed")
    assert ("lines",) not in lines


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("[shell]\neese = 4", 2, "'eese' is unknown in [shell]; did you mean 'ease'?"),
        ("[shel]\nease = 4", 1, "'shel' is unknown; did you mean 'shell'?"),
        ("nam = 'x'", 1, "'nam' is unknown; did you mean 'name'?"),
        ("[shell]\n\nease = 900", 3, "'ease' is 900; it must lie between 0 and 80."),
        ("[shell]\nease = true", 2, "'ease' must be a number, not True."),
        ("[shell]\nease = nan", 2, "'ease' must be a number, not nan."),
        ("[body]\nunit = 'ell'", 2, "'unit' cannot be 'ell';"),
        ("[body]\nfile = 3", 2, "'file' must be text in quotes, not 3."),
        ("[darts]\nmost = 1.5", 2, "'most' must be a whole number, not 1.5."),
        ("[proof]\nsew = 1", 2, "'sew' must be true or false, not 1."),
        ("shell = 3", 1, "'shell' must be a table"),
        ("pad = 3", 1, "each pad must be a table under its own [[pad]]."),
        ("[[pad]]\nkind = 'thi'", 2, "pad kind 'thi' is unknown; did you mean 'thigh'?"),
        ("[[pad]]\nkind = 'thigh'\ndept = 4", 3, "'dept'"),
        ("[[pad]]\nkind = 'thigh'\n\ndepth = 4000", 4, "'depth'"),
        ("[[pad]]\nkind='seat'\n[[pad]]\nkind='seat'", 3, "two pads are called 'seat'"),
        ("[[seam]]\nname='a'\nthrough=['crown']", 3, "seam 'a' needs at least 2 points."),
        ("[[seam]]\nthrough=[[1,2]]", 2, "'through' needs points as [x, y, z] in mm, not [1, 2]."),
        ("[body.landmarks]\ncrotch = 4", 2, "'crotch' needs points as [x, y, z]"),
        ("[cloth.a]\n[cloth.b]", 2, "cloths 'a' and 'b' both take all other pieces"),
        ("[cloth.a]\npieces = 'x'", 2, "'pieces' must be a list of names in quotes."),
        ("ease = 3", 1, "each ease must be a table under its own [[ease]]."),
        (f"{EASE}percent = -2", 4, "'percent' is -2, but ease is only ever put in"),
        (f"{EASE}percent = 11", 4, "'percent' is 11; it must lie between 0 and 10."),
        (f"{EASE}percnt = 3", 4, "did you mean 'percent'?"),
        (f"{EASE}between = ['crown']", 4, "'between' needs two places, not 1."),
        ("[[ease]]\nseam = 'a'", 1, "this ease names no panel; add panel = "),
        ("[[ease]]\npanel = 'a'", 1, "this ease names no seam; add seam = "),
        ("[cloth.a]\nkind = 'fleec'", 2, "cloth kind 'fleec' is unknown; did you mean 'fleece'?"),
        ("[cloth.a]\n\nstretch_along = 0.1", 3, "'stretch_along' of cloth 'a' needs a kind to go"),
        ("[cloth.a]\nkind = 'fleece'\nslack_across = 0.9", 3, "it must lie between 0.005 and 0.5"),
        ("[cloth.a]\nkind = 'fleece'\nstretch_bias = 0.5", 3, "it must lie between 0.005 and 0.36"),
        ("[cloth.a]\nkind = 'fleece'\nstretch_alon = 0.1", 3, "did you mean 'stretch_along'?"),
        ("[cloth.a]\nstretch_along = '6 %'", 2, "'stretch_along' must be a number, not '6 %'."),
        ("name = '../x'", 1, "'../x' cannot name a folder"),
    ],
)
def test_wrong_keys_are_named_with_line_and_hint(text: str, line: int, words: str) -> None:
    """A wrong key or value gives one sentence with file, line, value and what to do."""
    with pytest.raises(SuitError) as caught:
        parse_suit(text, name="giant.toml")

    assert str(caught.value).startswith(f"giant.toml, line {line}: ")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_text_that_is_no_toml() -> None:
    """A text that cannot be parsed names the file and the place."""
    with pytest.raises(SuitError, match=r"giant.toml: not a readable TOML text: .*line 1"):
        parse_suit("name = = 3", name="giant.toml")


def test_deep_nesting_is_one_sentence() -> None:
    """A text that nests too deep for the parser is refused like any other."""
    with pytest.raises(SuitError, match="not a readable TOML text"):
        parse_suit("a = " + "[" * 100_000)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """A missing file, a folder, other encodings and endless files are each named."""
    with pytest.raises(SuitError, match=r"no.toml: cannot be read"):
        read_suit(tmp_path / "no.toml")
    with pytest.raises(SuitError, match="cannot be read"):
        read_suit(tmp_path)
    (tmp_path / "a.toml").write_bytes(b"name = '\xff'")
    with pytest.raises(SuitError, match=r"a.toml: not a text file in UTF-8"):
        read_suit(tmp_path / "a.toml")
    (tmp_path / "b.toml").write_bytes(b"#" * 2_000_001)
    with pytest.raises(SuitError, match=r"too long for a suit file"):
        read_suit(tmp_path / "b.toml")


def test_demo_file_names_no_machine_path() -> None:
    """The suit file in the repository holds no path of anybody's machine."""
    assert "/" not in DEMO_SUIT.read_text().replace("g/m2", "")


def test_measured_cloth_goes_over_its_kind() -> None:
    """Numbers of the file stand in the place of the kind's, a bias strip as the shear that it shows."""
    text = "[cloth.moss]\nkind = 'short-pile'\nstretch_along = 0.04\nstretch_bias = 0.06"

    bears = parse_suit(text).cloths[0].bears

    kind = PRESETS["short-pile"]
    assert bears is not None
    assert (bears.name, bears.words) == ("moss", kind.words)
    assert bears.stretch_along == 0.04
    assert bears.bias == pytest.approx(0.06)
    assert bears.stretch_across == kind.stretch_across
    assert bears.source == f"stretch_along, shear_deg: the suit file; the rest: {COMMON}"


def test_a_cloth_that_says_nothing_bears_the_same_all_ways() -> None:
    """Without a kind a cloth has no limits of its own, nor has the cloth that is added for the rest."""
    suit = parse_suit("[cloth.felt]\npieces = ['front']")

    assert [(c.name, c.bears) for c in suit.cloths] == [("fur", None), ("felt", None)]


def test_a_side_of_a_pad_in_the_middle_is_told_with_its_line() -> None:
    """A belly lies across the middle: one side of it is no pad."""
    with pytest.raises(
        SuitError, match=r"line 3: pad 'paunch': a belly pad lies across the middle"
    ):
        parse_suit("[[pad]]\nname = 'paunch'\nside = 'left'\nkind = 'belly'")
