"""The public functions: read, write, convert, check, compare."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from interchange import formats
from interchange.compare import PROTECTED, Comparison, compare_recordings
from interchange.errors import InterchangeError, InternalError, RefusedError, SourceError, TargetError, UsageError
from interchange.formats.contract import Encoded
from interchange.limits import limit
from interchange.model import Recording
from interchange.publish import check_target, publish
from interchange.receipt import Document, Receipt, build_receipt
from interchange.requests import Requests
from interchange.sources import Source, load

if TYPE_CHECKING:
    from interchange.checks import CheckConfig, Report
    from interchange.deidentify import Key, Policy, Removal
    from interchange.findings import Finding

__all__ = ["Readable", "check", "compare", "convert", "open_source", "read", "read_opened", "write"]

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
    ``timing``, ``leads``, ``identity``).  ``verify=False``: do not read back; the receipt says unverified.
    ``options``: the format's own (``edition="2009"``, ``coding="huffman"``; hyphens become underscores).  Raises
    RefusedError (4) when something protected would be lost, TargetError (5) when the target cannot be written or does
    not read back.
    """
    job = _Job(Path(target), format, frozenset(accept), overwrite, verify, options)
    return job.run(recording, recording, ())


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
    job = _Job(Path(target), format, frozenset(accept), overwrite, verify, options, receipt_name, same_ok)
    opened = open_source(source)
    path = _record_path(Path(fspath(source))) if isinstance(source, (str, PathLike)) else None
    check_target(job.target, overwrite=overwrite, source=path, same_ok=same_ok)
    original = read_opened(opened, source_format)
    if not any(tracing.samples.size for tracing in original.tracings):
        raise _nothing(original, opened.shown)
    recording = requests.apply(original) if requests else original
    if deidentify is not None:
        from interchange.deidentify import deidentify as without_identity

        clean, removals = without_identity(recording, key, deidentify)
        clean = clean.with_(findings=tuple(replace(finding, place="") for finding in original.findings))
        return job.run(clean, clean, (Document(f"source {source_number}", original.format, 0, ""),), removals)
    documents = (_document(opened.shown, original.format, opened.data),)
    return job.run(original, recording, documents)


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


def _read_and_check(module: formats.FormatModule, source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """The recording and the findings on conformance; from one parsing where the format offers that."""
    together = getattr(module, "read_and_check", None)
    if together is not None:
        found: tuple[Recording, tuple[Finding, ...]] = together(source)
        return found
    findings = module.check(source)
    return module.read(source), findings


def _document(name: str, format: str | None, data: bytes) -> Document:
    return Document(name, format, len(data), hashlib.sha256(data).hexdigest())


class _Job:
    """One writing: settings in, receipt out."""

    def __init__(
        self,
        target: Path,
        format: str | None,
        accept: frozenset[str],
        overwrite: bool,
        verify: bool,
        options: Mapping[str, str],
        receipt_name: str | None = None,
        same_ok: bool = False,
    ) -> None:
        unknown = accept.difference(PROTECTED)
        if unknown:
            raise UsageError(f"the classes that can be accepted are {', '.join(PROTECTED)}", "accept")
        self.entry = formats.by_name(format) if format else formats.by_suffix(target.name)
        if self.entry is None:
            suffixes = ", ".join(entry.suffix for entry in formats.FORMATS)
            raise UsageError(
                f"the name ends with no suffix of a format ({suffixes}); name the format (--to)", str(target)
            )
        self.target = target
        if not target.name.lower().endswith(self.entry.suffix):
            self.target = target.with_name(target.name + self.entry.suffix) if self.entry.name == "wfdb" else target
        self.accept = accept
        self.overwrite = overwrite
        self.verify = verify
        self.options = _options(self.entry, options)
        self.receipt_name = receipt_name
        self.same_ok = same_ok

    @property
    def stem(self) -> str:
        """The record's name: the target's name without the format's suffix."""
        assert self.entry is not None
        name = self.target.name
        return name[: -len(self.entry.suffix)] if name.lower().endswith(self.entry.suffix) else name

    def run(
        self,
        original: Recording,
        recording: Recording,
        documents: tuple[Document, ...],
        removals: tuple[Removal, ...] = (),
    ) -> Receipt:
        """Encode, read back, compare, publish."""
        assert self.entry is not None
        check_target(self.target, overwrite=self.overwrite, same_ok=self.same_ok)
        _refuse_zero_steps(recording, str(self.target))
        module = formats.load(self.entry.name)
        try:
            encoded = module.encode(recording, self.stem, self.options)
        except InterchangeError as error:
            raise error.in_file(str(self.target)) from None
        except Exception as error:
            raise InternalError(
                "the writer failed on this recording; please report it", file=str(self.target)
            ) from error
        files = self._named(encoded)
        written = self._read_back(encoded, files) if self.verify else None
        comparison = compare_recordings(recording, written) if written is not None else Comparison(())
        kinds = {found.kind for found in comparison.differences if found.protected}
        if kinds == {"added"}:  # with something lost as well it is a loss, which the policy judges
            raise TargetError("what was written holds a signal that the recording does not have", file=str(self.target))
        receipt = build_receipt(
            original,
            recording,
            written,
            comparison,
            requested=compare_recordings(original, recording) if recording is not original else None,
            notes=encoded.notes,
            account=module.ACCOUNT,
            source=documents,
            target=[_document(name, self.entry.name, data) for name, data in files],
            accepted=sorted(self.accept),
            removals=removals,
        )
        self._refuse(receipt)
        if self.receipt_name is not None:
            files.insert(0, (self.receipt_name, receipt.as_bytes()))
        publish(
            self.target.parent,
            files,
            overwrite=self.overwrite,
            replaces=encoded.replaces,
            same_ok=self.same_ok,
            sign=encoded.sign,
        )
        return receipt

    def _named(self, encoded: Encoded) -> list[tuple[str, bytes]]:
        """The files, the main one under the name that the target was given."""
        return [*encoded.files[:-1], (self.target.name, encoded.main[1])]

    def _read_back(self, encoded: Encoded, files: list[tuple[str, bytes]]) -> Recording:
        assert self.entry is not None
        name, data = encoded.main
        source = Source(data, name, str(self.target), dict(encoded.files))
        module = formats.load(self.entry.name)
        try:
            if not module.recognise(source):
                raise TargetError("what was written is not recognised as its own format", file=str(self.target))
            recording, findings = _read_and_check(module, source)
            broken = [f for f in findings if f.severity == "error"]
            if broken:
                first = broken[0]
                raise TargetError(
                    f"what was written breaks the rule {first.rule}: {first.reason}", first.place, str(self.target)
                )
            return recording
        except SourceError as error:
            raise TargetError(
                f"what was written does not read back: {error.reason}", error.place, str(self.target)
            ) from None
        except InterchangeError:
            raise
        except Exception as error:
            raise InternalError("reading back failed; please report it", file=str(self.target)) from error

    def _refuse(self, receipt: Receipt) -> None:
        losses = tuple(entry for entry in receipt.losses if entry.protected not in self.accept)
        if losses:
            classes = sorted({entry.protected for entry in losses if entry.protected})
            first = losses[0]
            more = f", and {len(losses) - 1} more" if len(losses) > 1 else ""
            raise RefusedError(
                f"refused, nothing was written: {first.field} would {'change' if first.after else 'be lost'}{more} "
                f"({first.reason}); --accept {','.join(classes)} allows it and lists it in the receipt",
                file=str(self.target),
                losses=losses,
            )


def _refuse_zero_steps(recording: Recording, file: str) -> None:
    """A step of zero makes one value of all samples: no format says that, and no reader makes it."""
    for index, tracing in enumerate(recording.tracings):
        for row, channel in enumerate(tracing.channels):
            if channel.step == 0:
                place = f"tracings[{index}].channels[{row}].step"
                raise RefusedError("the step of a channel is zero, so its samples have no values", place, file)


def _options(entry: formats.Format, options: Mapping[str, str]) -> dict[str, str]:
    known = {option.name: option for option in entry.options}
    chosen: dict[str, str] = {}
    for key, value in options.items():
        name = key.replace("_", "-")
        option = known.get(name)
        if option is None:
            raise UsageError(f"{entry.title} has no option of that name", f"--{name}")
        if option.values and value not in option.values:
            raise UsageError(f"can be {', '.join(option.values)}", f"--{name}")
        chosen[name] = value
    for option in entry.options:
        if option.values:
            chosen.setdefault(option.name, option.values[0])
    return chosen
