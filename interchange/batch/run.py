"""The run: what is to be done, who does it, and the books."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from interchange.batch.find import Found, find_recordings, output_names
from interchange.batch.job import Job, Outcome, Settings, make_ready, work, work_and_tidy
from interchange.batch.journal import Journal
from interchange.batch.manifest import manifest_bytes
from interchange.deidentify import Key
from interchange.errors import TargetError
from interchange.formats import by_name
from interchange.publish import publish
from interchange.records import dataclass

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

__all__ = ["BatchResult", "run_batch"]

CHUNK = 8
"""Recordings that are done before the books are kept, where there are no workers or few recordings for each."""

LARGEST_CHUNK = 32
"""Recordings that go to a worker at once in a large archive: little is spent on handing over and on the last flush."""

TRIES = 3
"""Times that a recording is tried when its worker dies."""


class Watcher(Protocol):
    """Whoever shows how far it is (see :class:`interchange.batch.progress.Progress`)."""

    def add(self, done: int, failed: int) -> None:
        """Note finished recordings."""
        ...


@dataclass(frozen=True, slots=True)
class BatchResult:
    """Counts of a run: all recordings, what this run did, what was done before, and how it ended."""

    total: int
    worked: int
    resumed: int
    done: int
    refused: int
    failed: int
    with_errors: int
    manifest: Path

    @property
    def status(self) -> int:
        """0 when everything is done and without error findings, else 1."""
        return 0 if self.done == self.total and not self.with_errors else 1


def run_batch(
    sources: Iterable[str],
    into: str | Path,
    settings: Settings,
    *,
    executor: Executor | None = None,
    jobs: int = 1,
    watch: Callable[[int], Watcher] | None = None,
) -> BatchResult:
    """Convert (or check) every recording below ``sources`` into the folder ``into``.

    ``executor``: any :class:`concurrent.futures.Executor` whose workers see the same folders (a dask.distributed
    client's, a thread pool); without one ``jobs`` processes are started, with 1 none.
    ``watch``: called with the number of recordings, gives something with ``add(done, failed)``.  Leaves
    ``journal.jsonl`` and ``manifest.csv`` in ``into``.  Called again it does what is not done yet.  TargetError when
    the books cannot be written; everything else that goes wrong is a row in the books.
    """
    folder = Path(into)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise TargetError(f"the folder cannot be made: {error.strerror}", file=str(folder)) from None
    if executor is None and jobs > 1:
        _context(settings)  # loads while the recordings are looked for
    items = _items(find_recordings(sources, skip=folder), settings)
    journal = Journal(folder)
    with ExitStack() as stack:
        stack.callback(journal.close)
        key = settings.key
        todo = [
            item.job(folder, number)
            for number, item in enumerate(items, 1)
            if not journal.finished(item.name, item.stamp, key, folder, item.output)
        ]
        watcher = watch(len(todo)) if watch else None
        for batch in _work(todo, settings, executor, jobs):
            journal.append(batch, key)
            if watcher:
                watcher.add(len(batch), sum(outcome.status != "done" for _, outcome in batch))
        entries = [journal.entries[item.name] for item in items]
    publish(folder, [("manifest.csv", manifest_bytes(entries))], overwrite=True)
    _sweep({folder, *((folder / item.output).parent for item in items if item.output)})
    statuses = Counter(entry["status"] for entry in entries)
    return BatchResult(
        total=len(items),
        worked=len(todo),
        resumed=len(items) - len(todo),
        done=statuses["done"],
        refused=statuses["refused"],
        failed=statuses["failed"],
        with_errors=sum(entry["errors"] > 0 for entry in entries),
        manifest=folder / "manifest.csv",
    )


def _sweep(folders: Iterable[Path]) -> None:
    """Remove what killed workers left unfinished under temporary names, now that nobody is at work any more."""
    for folder in folders:
        for path in folder.glob(".interchange-*.part"):
            with suppress(OSError):
                path.unlink()


@dataclass(frozen=True, slots=True)
class _Item:
    """A recording with its names in the books: its own name, or a pseudonym in a de-identified run."""

    path: str
    name: str
    output: str
    stamp: str
    format: str | None

    def job(self, folder: Path, number: int) -> Todo:
        """The stamp of the source, and the job for a worker."""
        return self.stamp, Job(self.path, self.name, str(folder / self.output), self.output, number, self.format)


def _items(found: Sequence[Found], settings: Settings) -> list[_Item]:
    suffix = "" if settings.check_only or settings.format is None else by_name(settings.format).suffix
    stamps = [f"{item.size}:{item.changed}" for item in found]
    if settings.deidentify is not None:
        key = Key(settings.secret)
        names = [f"recording-{key.pseudonym('file', item.name)}" for item in found]
        outputs = [f"{name}{suffix}" for name in names]
        stamps = [key.pseudonym("stamp", stamp) for stamp in stamps]
    else:
        names = [item.name for item in found]
        outputs = output_names(found, suffix) if suffix else ["" for _ in found]
    return [
        _Item(item.path, name, output, stamp, item.format)
        for item, name, output, stamp in zip(found, names, outputs, stamps, strict=True)
    ]


Todo = tuple[str, Job]
Done = list[tuple[str, Outcome]]


def _work(todo: Sequence[Todo], settings: Settings, executor: Executor | None, jobs: int) -> Iterator[Done]:
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

    return ProcessPoolExecutor(jobs, mp_context=_context(settings), initializer=make_ready)


def _context(settings: Settings) -> BaseContext:
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


def summary(result: BatchResult) -> dict[str, Any]:
    """The result as plain data for ``json.dumps``."""
    return {
        "document": "interchange batch",
        "version": 1,
        "total": result.total,
        "worked": result.worked,
        "resumed": result.resumed,
        "done": result.done,
        "refused": result.refused,
        "failed": result.failed,
        "with_errors": result.with_errors,
        "manifest": str(result.manifest),
    }
