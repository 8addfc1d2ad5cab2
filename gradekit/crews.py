"""CREWS: who grades the chunks of a lot: this process, several, or a cluster.

It stands between a chunk and the lot. Whoever does the work, results come back in the order of the
jobs, and only a few chunks are under way at once. A crew never looks into a result.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Protocol, TypeVar

from gradekit.chunks import Job, Order
from gradekit.errors import LotError, Problem

T = TypeVar("T")
Task = Callable[[Order, Job], T]
"""A function that any process can import by its name."""

AHEAD = 2
"""Chunks under way for each worker: one in work, one waiting."""


class Crew(Protocol):
    """Somebody who does jobs."""

    def run(self, task: Task[T], order: Order, jobs: Iterable[Job]) -> Iterator[T]:
        """Do every job; the results come in the order of the jobs."""
        ...


class Alone:
    """This process does everything, one job after the other."""

    def run(self, task: Task[T], order: Order, jobs: Iterable[Job]) -> Iterator[T]:
        """Do every job, each when its result is asked for."""
        return (task(order, job) for job in jobs)


class Workers:
    """Several processes on this machine."""

    def __init__(self, size: int) -> None:
        self.size = size

    def run(self, task: Task[T], order: Order, jobs: Iterable[Job]) -> Iterator[T]:
        """Do every job; LotError if a worker dies, which a full memory brings about."""
        from multiprocessing import get_context

        pool = ProcessPoolExecutor(
            self.size, get_context("spawn"), initializer=_begin, initargs=(task, order)
        )
        try:
            yield from in_order((pool.submit(_do, job) for job in jobs), AHEAD * self.size)
        except BrokenProcessPool:
            problem = Problem("workers", "a worker process died", _GO_ON)
            raise LotError([problem]) from None
        finally:
            pool.shutdown(cancel_futures=True)


_GO_ON = "see whether memory was short; go on with --resume and fewer workers"


def in_order(futures: "Iterable[Future[T]]", ahead: int) -> Iterator[T]:
    """Results in the order of their futures, of which only ``ahead`` are begun at once."""
    waiting: deque[Future[T]] = deque()
    for future in futures:
        waiting.append(future)
        if len(waiting) > ahead:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()


# --- inside a worker ---------------------------------------------------------------------------

_AT_WORK: list[tuple[Task[Any], Order]] = []


def _begin(task: Task[Any], order: Order) -> None:
    """Take the order once; be stopped only by who gave it, and leave when that is gone."""
    import signal
    from threading import Thread

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _AT_WORK[:] = [(task, order)]
    Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    """A killed parent says no goodbye, and its workers would wait for it for ever."""
    import os
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    if (parent := parent_process()) is not None:
        wait([parent.sentinel])
        os._exit(1)


def _do(job: Job) -> Any:
    task, order = _AT_WORK[0]
    return task(order, job)
