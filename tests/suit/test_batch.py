"""One design in many sizes: in processes, and on a real local Dask scheduler with workers."""

from __future__ import annotations

import csv
import warnings

import pytest

from padlib.errors import InputError, SuitError
from padlib.suit.batch import batch, sized, sizes_of
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.file import read_suit

SMALL = "stature = 1620\nchest_girth = 880\nwaist_girth = 720\nhip_girth = 960\n"
LARGE = "stature = 1860\nchest_girth = 1120\nwaist_girth = 1000\nhip_girth = 1120\n"


@pytest.fixture
def tables(tmp_path):
    """Two tables that cannot be made into a body, each for its own reason."""
    (tmp_path / "small.csv").write_text("stature = tall\n")
    (tmp_path / "large.csv").write_text("wingspan = 1800\n")
    return [tmp_path / "small.csv", tmp_path / "large.csv"]


def test_size_takes_the_body_of_its_file(tmp_path):
    """A table gives measurements, a scan the file; the design stays."""
    (tmp_path / "small.csv").write_text(SMALL)
    (tmp_path / "ann.ply").write_bytes(b"ply")
    suit = read_suit(DEMO_SUIT)
    small, ann = sizes_of([tmp_path / "small.csv", tmp_path / "ann.ply"])
    assert dict(sized(suit, small).measurements)["chest_girth"] == 880.0
    assert sized(suit, small).body["file"] == ""
    assert sized(suit, ann).body["file"] == str(tmp_path / "ann.ply")
    assert sized(suit, small).pads == suit.pads
    assert sized(suit, small).name == "woodland-giant-small"


def test_bad_sizes_are_told_and_the_others_go_on(tables, tmp_path):
    """Each size that fails has its sentence, in the order asked for, in the table too."""
    rows = batch(DEMO_SUIT, tables, tmp_path / "out", workers=2)
    assert [r["size"] for r in rows] == ["small", "large"]
    assert "small.csv: no measurement in it" in rows[0]["error"]
    assert "wingspan" in rows[1]["error"]
    with (tmp_path / "out" / "sizes.csv").open(newline="") as file:
        read = list(csv.DictReader(file))
    assert [r["error"] for r in read] == [r["error"] for r in rows]


def test_nothing_begins_on_bad_input(tables, tmp_path):
    """A suit file that is not there, a size given twice, a scheduler that does not answer."""
    with pytest.raises(SuitError, match="cannot be read"):
        batch(tmp_path / "no.toml", tables, tmp_path / "out")
    with pytest.raises(InputError, match="two files are named 'small'"):
        batch(DEMO_SUIT, [tables[0], tables[0]], tmp_path / "out")
    with pytest.raises(InputError, match="there is no such file; give bodies"):
        batch(DEMO_SUIT, [tmp_path / "no.csv"], tmp_path / "out")
    with pytest.raises(InputError, match="no Dask scheduler answers at 'nonsense:1'"):
        batch(DEMO_SUIT, tables, tmp_path / "out", scheduler="nonsense:1")


@pytest.fixture
def cluster():
    """A Dask scheduler with two workers, each a process of its own."""
    distributed = pytest.importorskip("distributed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as made:
            yield made


@pytest.mark.filterwarnings("ignore")
def test_a_scheduler_gives_the_same_rows(cluster, tables, tmp_path):
    """Rows from Dask's workers are those of our own processes."""
    here = batch(DEMO_SUIT, tables, tmp_path / "here", workers=1)
    there = batch(DEMO_SUIT, tables, tmp_path / "there", scheduler=cluster.scheduler_address)
    assert there == here


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_two_sizes_on_a_scheduler(cluster, tmp_path):
    """A small and a large wearer: both made, each in its folder; the large one takes more cloth."""
    (tmp_path / "small.csv").write_text(SMALL)
    (tmp_path / "large.csv").write_text(LARGE)
    rows = batch(
        DEMO_SUIT,
        [tmp_path / "small.csv", tmp_path / "large.csv"],
        tmp_path / "out",
        lay_seconds=0,
        scheduler=cluster.scheduler_address,
    )
    assert [r["error"] for r in rows] == ["", ""]
    assert rows[1]["weight_g"] > rows[0]["weight_g"]
    for size in ("small", "large"):
        assert (tmp_path / "out" / size / "pattern-a4.pdf").is_file()
