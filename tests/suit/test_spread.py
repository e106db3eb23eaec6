"""Work over processes: every task done once, and an end at any moment that leaves nothing behind."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from functools import partial
from multiprocessing import active_children

import numpy as np
import pytest

from padlib.errors import PadlibError
from padlib.suit.spread import beside, spread_over


def squared(number: int) -> tuple[int, int]:
    """A square, and who worked it out."""
    return number * number, os.getpid()


def large(seconds: float) -> np.ndarray:
    """An answer of 40 MB, far more than a pipe holds, after some seconds."""
    time.sleep(seconds)
    return np.zeros(5_000_000)


def silent(number: int) -> int:
    """An end without a word for one task."""
    if number == 3:
        os._exit(1)
    return number


def unlucky(number: int) -> int:
    """Refuses one task."""
    if number == 3:
        raise PadlibError("task 3 cannot be done; leave it out.")
    return number


def heard_by(counts: list[int]):
    """Keeps how many tasks were done each time that it was told."""

    def tell(done: Mapping[int, object]) -> None:
        counts.append(len(done))

    return tell


def test_an_answer_can_ask_for_more() -> None:
    """Each number from 5 up asks for its half: those come before what waits, and are numbered on."""
    order: list[int] = []

    def more(number: int, answer: tuple[int, int]) -> list[int]:
        order.append(answer[0])
        root = round(answer[0] ** 0.5)
        return [root // 2] if root >= 5 else []

    done = spread_over(squared, [40, 3, 2], 1, heard_by([]), more)

    assert order == [1600, 400, 100, 25, 4, 9, 4]
    assert {k: v[0] for k, v in done.items()} == dict(enumerate([1600, 9, 4, 400, 100, 25, 4]))


def test_every_task_is_done_once_by_other_processes() -> None:
    """40 tasks over three workers: all answers, each from a worker, told as they come, no worker left."""
    counts: list[int] = []
    done = spread_over(squared, range(40), 3, heard_by(counts))

    assert {k: v[0] for k, v in done.items()} == {k: k * k for k in range(40)}
    assert os.getpid() not in {v[1] for v in done.values()}
    assert counts == sorted(counts)
    assert counts[-1] == 40
    assert active_children() == []


def test_no_task_needs_no_worker() -> None:
    """Nothing to do."""
    assert spread_over(squared, [], 3, heard_by([])) == {}


def test_what_a_task_raises_is_raised_here() -> None:
    """And no worker is left."""
    with pytest.raises(PadlibError, match="task 3 cannot be done"):
        spread_over(unlucky, range(10), 2, heard_by([]))
    assert active_children() == []


def test_a_worker_that_ends_without_a_word_is_told() -> None:
    """As one does that the system ends for want of memory."""
    with pytest.raises(PadlibError, match="ended without a word"):
        spread_over(silent, range(10), 2, heard_by([]))
    assert active_children() == []


@pytest.mark.parametrize("wait_s", np.linspace(0.0, 0.4, 9))
def test_it_can_be_ended_in_the_middle_of_an_answer(wait_s: float) -> None:
    """Workers that are killed while they send 40 MB: ended at once, and the next work is done as ever."""

    def tell(done: Mapping[int, object]) -> None:
        time.sleep(wait_s)
        raise PadlibError("not wanted any more")

    start = time.perf_counter()
    with pytest.raises(PadlibError, match="not wanted"):
        spread_over(large, [0.0, 0.1, 0.2, 0.3, 60.0], 4, tell)

    assert time.perf_counter() - start < 30.0  # the last task alone takes 60
    assert active_children() == []
    assert len(spread_over(squared, range(4), 2, heard_by([]))) == 4


def test_work_beside_goes_on_in_a_process_of_its_own() -> None:
    """Its answer is the one that it has here; what is not apart is done here."""
    with (
        beside(partial(squared, 7), apart=True) as there,
        beside(partial(squared, 7), apart=False) as here,
    ):
        assert there()[0] == here()[0] == 49
        assert here()[1] == os.getpid()
    assert active_children() == []


def test_what_work_beside_raises_is_raised_where_its_answer_is_asked_for() -> None:
    """And not before."""
    with (
        beside(partial(unlucky, 3), apart=True) as answer,
        pytest.raises(PadlibError, match="task 3 cannot be done"),
    ):
        answer()
    assert active_children() == []


def test_work_beside_is_ended_with_its_block() -> None:
    """A minute's work whose answer nobody asks for."""
    started = time.monotonic()
    with pytest.raises(KeyError), beside(partial(large, 60.0), apart=True):
        raise KeyError
    assert time.monotonic() - started < 30.0
    assert active_children() == []
