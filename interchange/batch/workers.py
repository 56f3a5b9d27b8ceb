"""Who does the work: this process, own processes, or the caller's executor.  What a dying one had is not lost."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING

from interchange.batch.items import Todo
from interchange.batch.job import Job, Outcome, Settings, make_ready, work, work_and_tidy
from interchange.errors import TargetError
from interchange.formats import by_name

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

__all__ = ["context", "work_all"]

CHUNK = 8
"""Recordings that are done before the books are kept, where there are no workers or few recordings for each."""

LARGEST_CHUNK = 32
"""Recordings that go to a worker at once in a large archive: little is spent on handing over and on the last flush."""

TRIES = 3
"""Times that a recording is tried when its worker dies."""

Done = list[tuple[str, Outcome]]


def work_all(todo: Sequence[Todo], settings: Settings, executor: Executor | None, jobs: int) -> Iterator[Done]:
    """The outcomes as they come, each with the stamp of its source; TargetError when nobody takes work any more."""
    if executor is not None:
        yield from _spread(todo, settings, _Given(executor), work, 2 * max(jobs, 4))
    elif jobs <= 1 or len(todo) <= CHUNK:
        for start in range(0, len(todo), CHUNK):
            chunk = todo[start : start + CHUNK]
            outcomes = work([job for _, job in chunk], settings)
            yield [(stamp, outcome) for (stamp, _), outcome in zip(chunk, outcomes, strict=True)]
    else:
        own = _Own(jobs, settings)
        try:
            yield from _spread(todo, settings, own, work_and_tidy, 3 * jobs)
        finally:
            own.close()


class _Given:
    """The caller's executor: used as long as it takes work."""

    def __init__(self, executor: Executor) -> None:
        self._executor: Executor | None = executor

    def __call__(self) -> Executor:
        """The executor, once; TargetError when it has stopped taking work."""
        executor, self._executor = self._executor, None
        if executor is None:
            raise TargetError("the executor stopped taking work; the same command goes on from here")
        return executor


class _Own:
    """Worker processes of our own, replaced when one of them dies."""

    def __init__(self, jobs: int, settings: Settings) -> None:
        self._jobs = jobs
        self._settings = settings
        self._pool: Executor | None = None

    def __call__(self) -> Executor:
        """A fresh pool."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = _processes(self._jobs, self._settings)
        return self._pool

    def close(self) -> None:
        """End the processes."""
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)


def _processes(jobs: int, settings: Settings) -> Executor:
    """Worker processes that start from a clean interpreter with the package loaded once."""
    from concurrent.futures import ProcessPoolExecutor

    return ProcessPoolExecutor(jobs, mp_context=context(settings), initializer=make_ready)


def context(settings: Settings) -> BaseContext:
    """How worker processes are made; where they are forked from a server that process starts to load now."""
    import multiprocessing

    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    from multiprocessing import forkserver

    context = multiprocessing.get_context("forkserver")
    names = ["interchange.batch.preload"]
    if settings.format is not None:
        module = by_name(settings.format).module
        names += [f"{module}.{part}" for part in ("reader", "writer", "checker", "checks")]  # those that there are
    context.set_forkserver_preload(names)
    forkserver.ensure_running()
    return context


Work = Callable[[Sequence[Job], Settings], list[Outcome]]


def _spread(
    todo: Sequence[Todo], settings: Settings, pool: Callable[[], Executor], do: Work, window: int
) -> Iterator[Done]:
    """Hand out chunks, at most ``window`` at a time; what a dying worker had goes out again one by one."""
    size = max(CHUNK, min(LARGEST_CHUNK, len(todo) // (8 * window)))
    waiting: deque[tuple[list[Todo], int]] = deque((list(todo[i : i + size]), 1) for i in range(0, len(todo), size))
    executor = pool()
    running: dict[Future[list[Outcome]], tuple[list[Todo], int]] = {}
    while waiting or running:
        broken = False
        while waiting and len(running) < window and not broken:
            chunk, tries = waiting.popleft()
            try:
                running[executor.submit(do, [job for _, job in chunk], settings)] = (chunk, tries)
            except (BrokenProcessPool, RuntimeError):
                waiting.appendleft((chunk, tries))
                broken = True
        finished, _ = wait(running, return_when=FIRST_COMPLETED) if running else (set(), None)
        for future in finished:
            chunk, tries = running.pop(future)
            try:
                outcomes = future.result()
            except Exception as error:
                broken = broken or isinstance(error, BrokenProcessPool)
                yield from _again(chunk, tries, waiting)
                continue
            yield [(stamp, outcome) for (stamp, _), outcome in zip(chunk, outcomes, strict=True)]
        if broken:
            for chunk, tries in running.values():
                yield from _again(chunk, tries, waiting)
            running.clear()
            executor = pool()


def _again(chunk: list[Todo], tries: int, waiting: deque[tuple[list[Todo], int]]) -> Iterator[Done]:
    if tries < TRIES:
        waiting.extend(([entry], tries + 1) for entry in chunk)
        return
    reason = f"the worker process died {TRIES} times on it"
    yield [(stamp, Outcome(job.name, "failed", reason, job.format, exit_status=5)) for stamp, job in chunk]
