"""The public functions: read, write, convert, check, compare."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from interchange import formats
from interchange.compare import Comparison, compare_recordings
from interchange.errors import InterchangeError, InternalError, SourceError, UsageError
from interchange.limits import limit
from interchange.model import Recording
from interchange.publish import check_target
from interchange.receipt import Document, Receipt
from interchange.requests import Requests
from interchange.sources import Source, load, open_path
from interchange.writing import Prepared, Writing, document, target_path

if TYPE_CHECKING:
    from interchange.checks import CheckConfig, Report
    from interchange.deidentify import Key, Policy

__all__ = ["Readable", "check", "compare", "convert", "open_source", "prepare", "read", "read_opened", "write"]

Readable: TypeAlias = str | PathLike[str] | bytes | Mapping[str, bytes]
"""A path, the bytes of one file, or {name: bytes} of a record of several files (the main file first)."""


def read(source: Readable, format: str | None = None) -> Recording:
    """Read a recording; the format is recognised by content unless ``format`` names it.

    Raises SourceError with file, place and reason when nothing sound can be read.
    """
    return read_opened(open_source(source), format)


def write(
    recording: Recording,
    target: str | PathLike[str],
    format: str | None = None,
    *,
    accept: Iterable[str] = (),
    overwrite: bool = False,
    verify: bool = True,
    **options: str,
) -> Receipt:
    """Write a recording, read it back, compare, and publish it; the receipt is that comparison.

    ``format``: from the target's suffix when left out.  ``accept``: protected classes that may change (``signal``,
    ``timing``, ``leads``, ``identity``).  ``verify=False``: do not read back; the receipt says unverified, and it and
    the policy know only what the writer itself noted.  ``options``: the format's own (``edition="2009"``,
    ``coding="huffman"``; hyphens become underscores).  Raises RefusedError (4) when something protected would be lost,
    TargetError (5) when the target cannot be written or does not read back.
    """
    writing = Writing(target_path(target), format, frozenset(accept), overwrite, verify, options)
    check_target(writing.target, overwrite=overwrite)
    return writing.prepare(recording, recording, ()).publish()


def convert(
    source: Readable,
    target: str | PathLike[str],
    format: str | None = None,
    *,
    accept: Iterable[str] = (),
    overwrite: bool = False,
    verify: bool = True,
    source_format: str | None = None,
    requests: Requests | None = None,
    deidentify: Policy | None = None,
    key: Key | None = None,
    source_number: int = 1,
    receipt_name: str | None = None,
    same_ok: bool = False,
    **options: str,
) -> Receipt:
    """Read ``source`` and write it to ``target``; see :func:`read` and :func:`write`.

    ``requests``: changes that were asked for, listed in the receipt as changed on request.  ``deidentify``: remove
    identity by this policy, with pseudonyms from ``key``; the receipt then says what was done per group, quotes nothing
    and calls the source by ``source_number``.  ``receipt_name``: plain
    name of a file beside the target that gets the receipt as JSON, published together with it.  ``same_ok``: a target
    that has the very same bytes already is no conflict.
    """
    writing = Writing(target_path(target), format, frozenset(accept), overwrite, verify, options, receipt_name, same_ok)
    return prepare(source, writing, source_format, requests, deidentify, key, source_number).publish()


def prepare(
    source: Readable,
    writing: Writing,
    source_format: str | None = None,
    requests: Requests | None = None,
    deidentify: Policy | None = None,
    key: Key | None = None,
    source_number: int = 1,
) -> Prepared:
    """What :func:`convert` does, up to putting the files in their place: ``Prepared.publish()`` does that.

    ``writing`` holds the target and how it is written; the rest as for :func:`convert`.
    """
    opened = open_source(source)
    check_target(writing.target, overwrite=writing.overwrite, source=opened.path, same_ok=writing.same_ok)
    original = read_opened(opened, source_format)
    if not any(tracing.samples.size for tracing in original.tracings):
        raise _nothing(original, opened.shown)
    recording = requests.apply(original) if requests else original
    if deidentify is not None:
        from interchange.deidentify import deidentify as without_identity

        clean, removals = without_identity(recording, key, deidentify)
        clean = clean.with_(findings=tuple(replace(finding, place="") for finding in original.findings))
        nameless = (Document(f"source {source_number}", original.format, 0, ""),)
        prepared = writing.prepare(clean, clean, nameless, removals)
    else:
        documents = (document(opened.shown, original.format, opened.data),)
        prepared = writing.prepare(original, recording, documents)
    if writing.overwrite:
        from interchange.guard import refuse_sources

        names = [name for name, _ in prepared.files]
        refuse_sources(prepared.target.parent, names, opened.paths, prepared.replaces, prepared.sign)
    return prepared


def check(
    source: Readable | Recording,
    expect: str | None = None,
    *,
    config: CheckConfig | None = None,
    format: str | None = None,
) -> Report:
    """Conformance of the file, completeness of its leads, quality and plausibility of its content, as a report.

    ``expect``: id of a lead set (``standard-12``) whose incompleteness is then an error.  A Recording is checked
    without the conformance of any file.
    """
    from interchange.checks import build_report

    if isinstance(source, Recording):
        return build_report(source, (), expect, config)
    opened = open_source(source)
    recording = read_opened(opened, format)
    try:
        findings = formats.load(recording.format or "").check(opened)
    except InterchangeError as error:
        raise error.in_file(opened.shown) from None
    return build_report(recording, findings, expect, config)


def compare(first: Readable | Recording, second: Readable | Recording) -> Comparison:
    """What differs between two recordings, whatever their formats."""
    sides = [side if isinstance(side, Recording) else read(side) for side in (first, second)]
    return compare_recordings(sides[0], sides[1])


def open_source(source: Readable) -> Source:
    """The bytes behind a path, bytes, or {name: bytes}; SourceError says why they cannot be had."""
    if isinstance(source, (bytes, bytearray, memoryview)):
        return Source(bytes(source))
    if isinstance(source, Mapping):
        return _open_files(source)
    if not fspath(source):
        raise UsageError("the name of the file to read is empty")
    opened = open_path(fspath(source))
    if opened is not None:
        return opened
    path = _record_path(Path(fspath(source)))
    data = load(path)
    if data is None:
        raise SourceError("there is no such file", file=fspath(source))
    return Source(data, path.name, fspath(source), folder=path.parent)


def _open_files(files: Mapping[str, bytes]) -> Source:
    if not files:
        raise UsageError("no file was given")
    main = next((name for name in files if name.endswith(".hea")), next(iter(files)))
    return Source(files[main], main, main, files)


def _record_path(path: Path) -> Path:
    """The path itself, or with the suffix of a WFDB header: a record may be named with or without it."""
    try:
        if path.name and not path.is_file():
            header = path.with_name(f"{path.name}.hea")
            if header.is_file():
                return header
    except (OSError, ValueError):
        raise SourceError("cannot be read: no such path", file=str(path)) from None
    return path


def _nothing(recording: Recording, shown: str) -> SourceError:
    """Why there is nothing to convert: the first error of the reading where there was one."""
    first = next((finding for finding in recording.findings if finding.severity == "error"), None)
    if first is None:
        return SourceError("holds no samples, so there is nothing to convert", file=shown)
    return SourceError(f"holds no samples that can be read: {first.reason}", first.place, shown)


def read_opened(source: Source, format: str | None = None) -> Recording:
    """As :func:`read`, from a source that is open already."""
    name = format or formats.recognise(source)
    try:
        return _within_limits(formats.load(name).read(source))
    except InterchangeError as error:
        raise error.in_file(source.shown) from None
    except Exception as error:
        raise InternalError("the reader failed on this file; please report it", file=source.shown) from error


def _within_limits(recording: Recording) -> Recording:
    for tracing in recording.tracings:
        if len(tracing.channels) > limit("channels"):
            raise SourceError(f"a tracing has more than {limit('channels')} channels")
    if sum(tracing.samples.size for tracing in recording.tracings) > limit("samples"):
        raise SourceError(f"the recording has more than {limit('samples')} samples")
    return recording
