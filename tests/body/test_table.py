"""Tables of measurements: what people write, and what is wrong, by line."""

from __future__ import annotations

from pathlib import Path

import pytest

from padlib.body.sheet import LINES, table_text
from padlib.body.table import read_measurements
from padlib.body.usual import UNSTEERED, names
from padlib.errors import InputError


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("stature = 1785\n", {"stature": 1785.0}),
        ("name,value,unit\nstature,178.5,cm\nwaist_girth,,cm\n", {"stature": 1785.0}),
        ('[measurements]\nstature = "178.5 cm"\nwaist_girth = ""\n', {"stature": 1785.0}),
        ("name;value;unit\nHip Girth;98,5;cm\nwaist_girth;;cm\n", {"hip_girth": 985.0}),
        ("waist\tgirth\nstature\t70\tinch # tall\n", {"stature": 1778.0}),
        ("# nothing yet\nneck_girth =\nstature=1700", {"stature": 1700.0}),
    ],
)
def test_tables_as_people_write_them(text: str, values: dict, tmp_path: Path) -> None:
    """Units, headings, comments, blanks and decimal commas give mm by name."""
    path = tmp_path / "t.csv"
    path.write_text(text)

    assert read_measurements(path) == pytest.approx(values)


@pytest.mark.parametrize("unit", ["mm", "cm", "inch"])
def test_the_sheets_own_table_can_be_filled_in(unit: str, tmp_path: Path) -> None:
    """Every line of the sheet's table, filled in, is read in mm under a name that bodies know."""
    size = {"mm": 1.0, "cm": 10.0, "inch": 25.4}[unit]
    path = tmp_path / "measurements.csv"
    path.write_text(table_text(unit).replace(f",,{unit}", f",30.5,{unit}"))
    values = read_measurements(path)

    assert list(values) == [line.name for line in LINES]
    assert set(values) <= {*names(), *UNSTEERED}
    assert set(values.values()) == {30.5 * size}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("stature,wide,cm\n stature, 3 ells", "line 2"),
        ("stature = 1700\nstature = 1710", "line 2: 'stature' stands twice"),
        ("stature = 1700\nwaist_girth = wide", "line 2"),
        ("stature = 1.7.8", "not a number"),
        ("stature,,cm\n", "no measurement in it"),
        ("stature = 17 furlongs", "line 1"),
    ],
)
def test_wrong_tables_name_the_line(text: str, words: str, tmp_path: Path) -> None:
    """Each is one sentence with the file's name."""
    path = tmp_path / "t.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=words) as caught:
        read_measurements(path)

    assert "t.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("data", "words"), [(b"\xff\xfe\x00", "UTF-8"), (b"a = 1\n" * 40_000, "too long")]
)
def test_files_that_are_no_tables(data: bytes, words: str, tmp_path: Path) -> None:
    """Other files are refused whole."""
    path = tmp_path / "t.csv"
    path.write_bytes(data)
    with pytest.raises(InputError, match=words):
        read_measurements(path)


def test_a_table_that_is_not_there(tmp_path: Path) -> None:
    """A missing file is named."""
    with pytest.raises(InputError, match="cannot be read"):
        read_measurements(tmp_path / "none.csv")
