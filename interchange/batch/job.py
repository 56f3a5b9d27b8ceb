"""One recording in a worker process: names in, a few words out."""

# Paths are plain strings where every recording passes.
# ruff: noqa: PTH103, PTH120, PTH208

from __future__ import annotations

import gc
import json
import os
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import asdict, field, fields, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, ParamSpec, TypeVar

from interchange._version import __version__
from interchange.batch.orphan import end_with_parent
from interchange.deidentify import Key, Policy
from interchange.errors import InterchangeError, RefusedError, TargetError
from interchange.model.lines import decimal
from interchange.publish import Publication, sync_folder
from interchange.records import dataclass
from interchange.requests import Requests

if TYPE_CHECKING:
    from interchange.model import Moment
    from interchange.writing import Prepared

P = ParamSpec("P")
T = TypeVar("T")

__all__ = ["Job", "Outcome", "Settings", "make_ready", "work", "work_and_tidy"]

WAITING = 4
"""Outputs that may wait for the disk while the next recording is worked on."""

PRIMING = 24 * 1024**2
"""Bytes of the array that is made once and thrown away; below the limit up to which the C library learns."""

GARBAGE = 5000
"""Objects that come into being between two searches for cyclic garbage; after a large output one is made at once."""

LARGE = 8 * 1024**2
"""Bytes of a large output."""

WAITING_BYTES = 64 * 1024**2
"""Bytes of outputs that may wait for the disk."""

Status = Literal["done", "refused", "failed"]


@dataclass(frozen=True, slots=True)
class Settings:
    """What is the same for every recording of a run; part of what makes finished work recognisable.

    ``source_format``: read as this format, whatever the content looks like.  ``expect``, ``config`` (a TOML text) and
    ``now`` (the present instant) are for ``check_only``.
    """

    format: str | None
    accept: tuple[str, ...] = ()
    overwrite: bool = False
    verify: bool = True
    options: tuple[tuple[str, str], ...] = ()
    requests: Requests = field(default_factory=Requests)
    check_only: bool = False
    expect: str | None = None
    config: str | None = None
    deidentify: Policy | None = None
    secret: bytes | None = field(default=None, repr=False)
    source_format: str | None = None
    now: Moment | None = None

    @property
    def key(self) -> str:
        """A short hash over everything that can change an output: options, version; not ``overwrite``, nor ``now``."""
        content = {**asdict(self), "overwrite": None, "secret": None, "now": None, "program": __version__}
        text = json.dumps(content, sort_keys=True, default=str)
        if self.secret is not None:
            return Key(self.secret).pseudonym("settings", text)
        return sha256(text.encode()).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class Job:
    """One recording to be done: ``target`` is the output's path; ``name`` and ``output`` are the names in the books.

    ``number``: counted from 1 in this run; a de-identified receipt knows its source by it.  ``mark``: what the names of
    temporary files bear (see :class:`interchange.publish.Publication`).
    """

    path: str
    name: str
    target: str
    output: str
    number: int = 1
    format: str | None = None
    mark: str = ""

    @property
    def folder(self) -> str:
        """The folder that the output lies in."""
        return os.path.dirname(self.target) or os.curdir


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one recording; holds nothing about the person.

    ``reason``: why not, or what stayed undone, without anything read from inside the file.  ``files``: (name beside the
    output, size).
    """

    name: str
    status: Status
    reason: str = ""
    format: str | None = None
    leads: str = ""
    tracings: int = 0
    rate: str = ""
    duration: str = ""
    digest: str = ""
    verdict: str = ""
    changed: int = 0
    left: int = 0
    added: int = 0
    unread: int = 0
    findings: int = 0
    errors: int = 0
    verified: bool = False
    output: str = ""
    files: tuple[tuple[str, int], ...] = ()
    exit_status: int = 0

    def as_dict(self) -> dict[str, Any]:
        """The outcome as plain data for the journal."""
        return {name: getattr(self, name) for name in _OUTCOME}


_OUTCOME = tuple(entry.name for entry in fields(Outcome))


def make_ready() -> None:
    """Make a worker process ready.

    Big arrays that come and go make the C library give memory back and ask for it again each time, until one of them
    was so big that it keeps what it has.  What is loaded by now stays, so no search for cyclic garbage need look at it;
    there is one every few recordings, since the items of a parsed file know their owners.  A worker ends with the
    process that it works for, however that ends.
    """
    import numpy as np

    end_with_parent()
    np.empty(PRIMING, dtype=np.uint8)
    gc.freeze()
    gc.set_threshold(GARBAGE, 10, 10)


def work(jobs: Sequence[Job], settings: Settings) -> list[Outcome]:
    """Do these recordings one after the other; a bad one never stops the rest.

    A thread waits for the disk while the next recordings are worked on: at most :data:`WAITING` outputs wait, and
    :data:`WAITING_BYTES` together.  It does nothing else: what two threads do in Python costs both of them time.
    """
    if settings.check_only:
        return [_safely(job, _check, job, settings) for job in jobs]
    waiting: deque[_Begun] = deque()
    folders: dict[str, list[str]] = {}
    outcomes: list[Outcome] = []
    with ThreadPoolExecutor(1, thread_name_prefix="flush") as thread:
        try:
            for job in jobs:
                waiting.append(_begin(job, settings, folders, thread))
                while len(waiting) > WAITING or sum(begun.size for begun in waiting) > WAITING_BYTES:
                    outcomes.append(_finish(waiting.popleft()))
            while waiting:
                outcomes.append(_finish(waiting.popleft()))
        finally:
            for begun in waiting:
                begun.drop()
    return _settled(jobs, outcomes)


def work_and_tidy(jobs: Sequence[Job], settings: Settings) -> list[Outcome]:
    """As :func:`work`, in a process that :func:`make_ready` prepared: there a search for all garbage costs nothing."""
    try:
        return work(jobs, settings)
    finally:
        gc.collect()


@dataclass(slots=True)
class _Begun:
    """A recording that is worked on: how it ended already, or its output on the way to the disk."""

    job: Job
    ended: Outcome | None = None
    ready: Prepared | None = None
    publication: Publication | None = None
    flushed: Future[Outcome | None] | None = None

    @property
    def size(self) -> int:
        """Bytes that wait."""
        return 0 if self.ready is None else self.ready.size

    def drop(self) -> None:
        """Remove what is not in its place."""
        if self.flushed is not None:
            self.flushed.exception()  # waits: the files must not be closed under the thread
        if self.publication is not None:
            self.publication.drop()


def _begin(job: Job, settings: Settings, folders: dict[str, list[str]], thread: Executor) -> _Begun:
    ready = _safely(job, _prepared, job, settings, folders)
    if isinstance(ready, Outcome):
        return _Begun(job, ready)
    publication = _safely(job, ready.publication)
    if isinstance(publication, Outcome):
        return _Begun(job, publication)
    publication.mark = job.mark
    try:
        failed = _safely(job, publication.write)
    except BaseException:  # somebody stops the program
        publication.drop()
        raise
    if failed is not None:
        publication.drop()
        return _Begun(job, failed)
    return _Begun(job, None, ready, publication, thread.submit(_safely, job, publication.flush))


def _finish(begun: _Begun) -> Outcome:
    if begun.ready is None or begun.publication is None or begun.flushed is None:
        assert begun.ended is not None
        return begun.ended
    try:
        failed = begun.flushed.result()
        if failed is None:
            placed = _safely(begun.job, begun.publication.place)
            failed = placed if isinstance(placed, Outcome) else None
        return failed or _done(begun.job, begun.ready, begun.publication.remaining)
    finally:
        begun.drop()
        if begun.size > LARGE:
            gc.collect()


def _settled(jobs: Sequence[Job], outcomes: list[Outcome]) -> list[Outcome]:
    """The outcomes once the names are on the disk too, one look at each folder."""
    lost: dict[str, Outcome | None] = {}
    for number, (job, outcome) in enumerate(zip(jobs, outcomes, strict=True)):
        folder = job.folder
        if outcome.status == "done":
            if folder not in lost:
                lost[folder] = _safely(job, sync_folder, folder, job.target)
            failed = lost[folder]
            if failed is not None:
                outcomes[number] = replace(failed, name=job.name, format=job.format)
    return outcomes


def _safely(job: Job, do: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T | Outcome:
    """What ``do`` gives, or the outcome that its error makes."""
    try:
        return do(*args, **kwargs)
    except RefusedError as error:
        return _not_done(job, "refused", _reason(error), error.status)
    except InterchangeError as error:
        return _not_done(job, "failed", _reason(error), error.status)
    except MemoryError:
        return _not_done(job, "failed", "needs more memory than there is", 3)
    except Exception as error:
        return _not_done(job, "failed", f"internal error ({type(error).__name__}); please report it", 5)


def _not_done(job: Job, status: Status, reason: str, exit_status: int) -> Outcome:
    return Outcome(job.name, status, reason, job.format, exit_status=exit_status)


def _reason(error: InterchangeError) -> str:
    """The error without the file's path, which the books have in a column of its own."""
    return ": ".join(part for part in (error.place, error.reason) if part)


def _prepared(job: Job, settings: Settings, folders: dict[str, list[str]]) -> Prepared:
    """``folders``: those that are known to be there, with what lay in them; one that is not gets made."""
    from interchange.api import prepare
    from interchange.writing import Writing

    target = Path(job.target)
    folder = job.folder
    if folder not in folders:
        try:
            os.makedirs(folder, exist_ok=True)
            folders[folder] = os.listdir(folder) if settings.format == "wfdb" else []
        except OSError as error:
            reason = f"the folder cannot be made: {error.strerror or 'input/output error'}"
            raise TargetError(reason, file=folder) from None
    writing = Writing(
        target,
        settings.format,
        frozenset(settings.accept),
        settings.overwrite,
        settings.verify,
        dict(settings.options),
        receipt_name=f"{target.name}.receipt.json",
        same_ok=True,
    )
    writing.beside = folders[folder]
    return prepare(
        job.path,
        writing,
        settings.source_format,
        requests=settings.requests or None,
        deidentify=settings.deidentify,
        key=Key(settings.secret) if settings.secret is not None else None,
        source_number=job.number,
    )


def _done(job: Job, ready: Prepared, remaining: Sequence[str]) -> Outcome:
    receipt = ready.receipt
    first = receipt.tracings[0] if receipt.tracings else None
    files = tuple((name, len(data)) for name, data in ready.files)
    return Outcome(
        job.name,
        "done",
        f"old files of this record could not be removed: {', '.join(remaining)}" if remaining else "",
        receipt.source[0].format,
        **_tracing(first, len(receipt.tracings)),
        verdict="samples identical"
        if receipt.samples_identical
        else "not verified"
        if not receipt.verified
        else "samples the same within a thousandth of a step"
        if receipt.samples_kept
        else "samples differ as accepted",
        changed=len(receipt.changed),
        left=len(receipt.left),
        added=len(receipt.added),
        unread=len(receipt.unread),
        findings=len(receipt.findings),
        errors=sum(finding.severity == "error" for finding in receipt.findings),
        verified=receipt.verified,
        output=job.output,
        files=files,
    )


def _check(job: Job, settings: Settings) -> Outcome:
    from interchange.api import open_source, read_opened
    from interchange.checks import CheckConfig, build_report, load_config
    from interchange.formats import load

    opened = open_source(job.path)
    recording = read_opened(opened, settings.source_format)
    findings = load(recording.format or "").check(opened)
    config = load_config(settings.config) if settings.config is not None else CheckConfig()
    if config.now is None:
        config = replace(config, now=settings.now)
    report = build_report(recording, findings, settings.expect, config)
    errors = sum(finding.severity == "error" for finding in report.findings)
    first = recording.tracings[0] if recording.tracings else None
    values: dict[str, Any] = _tracing(first, len(recording.tracings))
    return Outcome(
        job.name,
        "done",
        format=recording.format,
        **values,
        verdict=report.verdict,
        unread=len(recording.unread),
        findings=len(report.findings),
        errors=errors,
        exit_status=1 if errors else 0,
    )


def _tracing(tracing: Any, count: int) -> dict[str, Any]:
    """The first tracing in a few words; a Tracing of the model or of a receipt."""
    if tracing is None:
        return {"tracings": 0}
    names = tracing.leads if hasattr(tracing, "leads") else tracing.names
    samples = tracing.samples if isinstance(tracing.samples, int) else tracing.length
    return {
        "leads": " ".join(names),
        "tracings": count,
        "rate": decimal(tracing.rate),
        "duration": decimal(round(samples / tracing.rate, 3)),
        "digest": tracing.digest,
    }
