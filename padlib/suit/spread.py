"""Work spread over processes that can be ended at any moment, which pools of the standard library cannot promise."""

from __future__ import annotations

import gc
import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar

from threadpoolctl import threadpool_limits

from padlib.errors import PadlibError

Task = TypeVar("Task")
Done = TypeVar("Done")

GLANCE_S = 0.2  # how long a worker may go on that is not wanted any more


def spread_over(
    work: Callable[[Task], Done],
    tasks: Sequence[Task],
    workers: int,
    tell: Callable[[dict[int, Done]], None],
    more: Callable[[int, Done], Sequence[Task]] | None = None,
) -> dict[int, Done]:
    """What the work makes of each task, by its number, done by so many processes in the order of the tasks.

    tell: called at least every `GLANCE_S` with what is done so far; what it raises ends the workers at once. more: told
    of each answer, gives tasks that can be done now: they are numbered on and come before those that wait. What the
    work raises is raised here. Raises PadlibError for a worker that ended without a word.
    """
    done: dict[int, Done] = {}
    waiting, count = deque(enumerate(tasks)), len(tasks)
    with _crew(work, min(workers, count) if more is None else workers) as pipes:
        idle, busy = list(pipes), []
        while True:
            while idle and waiting:
                with suppress(BrokenPipeError):  # a worker that has died: waiting for it tells so
                    idle[-1].send(waiting.popleft())
                busy.append(idle.pop())
            if not busy:
                return done
            for pipe in wait(busy, timeout=GLANCE_S):
                number, result = _answer(pipe)
                done[number] = result
                busy.remove(pipe)
                idle.append(pipe)
                new = () if more is None else more(number, result)
                waiting.extendleft(reversed(list(enumerate(new, count))))
                count += len(new)
            tell(done)


@contextmanager
def beside(work: Callable[[], Done], *, apart: bool) -> Iterator[Callable[[], Done]]:
    """What tells the work's answer when it is called; where `apart`, the work goes on in a process of its own from
    now on, which is ended with the block. What the work raises is raised when its answer is asked for.

    Work that is not apart is done when its answer is asked for.
    """
    if not apart:
        yield work
        return
    with _crew(partial(_done, work), 1) as (pipe,):
        pipe.send((0, None))
        yield lambda: _answer(pipe)[1]


def _done(work: Callable[[], Done], _: None) -> Done:
    return work()


def _answer(pipe: Connection) -> tuple[int, Any]:
    try:
        number, result, raised = pipe.recv()
    except (EOFError, OSError):
        raise PadlibError(
            "a process that helps ended without a word, perhaps for want of memory; close other "
            "programs and try again."
        ) from None
    if raised is not None:
        raise raised
    return number, result


@contextmanager
def _crew(work: Callable[[Task], Done], count: int) -> Iterator[list[Connection]]:
    """Pipes to workers that are killed at the end, whatever they do.

    Each has a pipe of its own and no lock is shared, so that none can be killed while it holds what another, or this
    process, waits for: a pool of `concurrent.futures` whose workers are ended may wait for ever for the rest of an
    answer.
    """
    pipes: list[Connection] = []
    crew: list[BaseProcess] = []
    try:
        for _ in range(count):
            here, there = multiprocessing.Pipe()
            worker = multiprocessing.Process(target=_serve, args=(there, work), daemon=True)
            worker.start()
            # no other process may hold that end, or nobody would be told of this worker's death
            there.close()
            pipes.append(here)
            crew.append(worker)
        yield pipes
    finally:
        for worker in crew:
            worker.kill()
        for worker in crew:
            worker.join()
        for pipe in pipes:
            pipe.close()


def _serve(pipe: Connection, work: Callable[[Task], Done]) -> None:
    """A worker: tasks with their numbers, until it is ended."""
    threadpool_limits(1)
    gc.freeze()  # what it began with is not looked through again and again
    while True:
        try:
            number, task = pipe.recv()
        except EOFError:
            return
        try:
            answer = number, work(task), None
        except Exception as raised:  # noqa: BLE001  to be raised where it was asked for
            answer = number, None, raised
        pipe.send(answer)
