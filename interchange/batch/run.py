"""The run: what is to be done, who does it, and the books."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any, Protocol

from interchange.batch.find import find_recordings
from interchange.batch.items import Item, items_of, mark_of
from interchange.batch.job import Outcome, Settings
from interchange.batch.journal import Journal
from interchange.batch.manifest import NAME, check_manifest, manifest_bytes
from interchange.batch.usage import check_usage
from interchange.batch.workers import context, work_all
from interchange.errors import TargetError, UsageError
from interchange.publish import Publication, sync_folder
from interchange.records import dataclass

__all__ = ["BatchResult", "run_batch"]


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
    ``journal.jsonl`` and ``manifest.csv`` in ``into``.  Called again it does what is not done yet.  UsageError when the
    settings make no sense or outputs would lie among the sources; TargetError when the books cannot be written, are
    somebody else's, or another batch is at work there; everything else that goes wrong is a row in the books.
    """
    given = list(sources)
    if into == "":
        raise UsageError("the name of the target folder is empty")
    check_usage(settings)
    folder = Path(into)
    if executor is None and jobs > 1:
        context(settings)  # loads while the recordings are looked for
    items = items_of(find_recordings(given, skip=folder), settings)
    if not settings.check_only:
        _refuse_outputs_among(given, folder, items)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise TargetError(f"the folder cannot be made: {error.strerror}", file=str(folder)) from None
    check_manifest(folder, settings.overwrite)
    journal = Journal(folder)
    mark = mark_of(folder)
    with ExitStack() as stack:
        stack.callback(journal.close)
        key = settings.key
        journal.append([(item.stamp, _unread(item)) for item in items if item.reason], key)
        left = [
            (number, item)
            for number, item in enumerate(items, 1)
            if item.reason or not journal.finished(item.name, item.stamp, key, folder, item.output)
        ]
        todo = [item.job(folder, number, mark) for number, item in left if not item.reason]
        watcher = watch(len(todo)) if watch else None
        for batch in work_all(todo, settings, executor, jobs):
            journal.append(batch, key)
            if watcher:
                watcher.add(len(batch), sum(outcome.status != "done" for _, outcome in batch))
        entries = [journal.entries[item.name] for item in items]
        _put(folder, NAME, manifest_bytes(entries), mark)
        _sweep({folder, *((folder / item.output).parent for item in items if item.output)}, mark)
    statuses = Counter(entry["status"] for entry in entries)
    return BatchResult(
        total=len(items),
        worked=len(left),
        resumed=len(items) - len(left),
        done=statuses["done"],
        refused=statuses["refused"],
        failed=statuses["failed"],
        with_errors=sum(entry["errors"] > 0 for entry in entries),
        manifest=folder / NAME,
    )


def _refuse_outputs_among(sources: Iterable[str], folder: Path, items: Iterable[Item]) -> None:
    """UsageError when outputs would be sources the next time: the target is a source folder, or holds one on their way.

    A target below a source folder is not searched, so that is no harm.
    """
    target = folder.resolve()
    folders = (Path(source).resolve() for source in sources if os.path.isdir(source))  # noqa: PTH112
    inside = [real for real in folders if real.is_relative_to(target)]
    if target in inside:
        reason = "is a source itself: the outputs would be taken for recordings the next time"
        raise UsageError(reason, file=str(folder))
    for output in {item.output.rpartition("/")[0] for item in items if item.output}:
        if any((target / output).is_relative_to(real) for real in inside):
            reason = "outputs would lie in a source folder, and be taken for recordings the next time"
            raise UsageError(reason, file=str(folder / output))


def _unread(item: Item) -> Outcome:
    return Outcome(item.name, "failed", item.reason, exit_status=3)


def _put(folder: Path, name: str, data: bytes, mark: str) -> None:
    publication = Publication(folder, [(name, data)], overwrite=True)
    publication.mark = mark
    try:
        publication.write()
        publication.flush()
        publication.place()
        sync_folder(folder, publication.shown)
    finally:
        publication.drop()


def _sweep(folders: Iterable[Path], mark: str) -> None:
    """Remove what killed workers of batches into this folder left; anybody else may be at work still."""
    for folder in folders:
        for path in folder.glob(f".interchange-{mark}*"):
            if path.suffix in (".part", ".old"):
                with suppress(OSError):
                    path.unlink()


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
