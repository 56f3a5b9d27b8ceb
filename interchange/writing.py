"""The writing of one recording: encode, read back, compare, and then publish what came out of it.

The two halves are apart so that a batch can wait for the disk of one recording while it works on the next.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from os import PathLike, fspath, sep
from pathlib import Path
from typing import TYPE_CHECKING

from interchange import formats
from interchange.compare import PROTECTED, Comparison, compare_recordings
from interchange.errors import InterchangeError, InternalError, RefusedError, SourceError, TargetError, UsageError
from interchange.formats.contract import Encoded, Note
from interchange.model import Recording
from interchange.publish import Publication, carry_out
from interchange.receipt import Document, Receipt, build_receipt
from interchange.records import dataclass
from interchange.sources import Source, load

if TYPE_CHECKING:
    from interchange.deidentify import Removal
    from interchange.findings import Finding

__all__ = ["Prepared", "Writing", "document", "target_path"]


@dataclass(frozen=True, slots=True)
class Prepared:
    """An output that is read back and compared, and not there yet; ``files`` as in :func:`publish`."""

    receipt: Receipt
    target: Path
    files: tuple[tuple[str, bytes], ...]
    overwrite: bool
    same_ok: bool
    replaces: tuple[str, ...]
    sign: bytes

    @property
    def size(self) -> int:
        """Bytes that wait to be written."""
        return sum(len(data) for _, data in self.files)

    def publication(self) -> Publication:
        """The files on their way; TargetError where their names can be nobody's."""
        return Publication(
            self.target.parent,
            self.files,
            overwrite=self.overwrite,
            replaces=self.replaces,
            same_ok=self.same_ok,
            sign=self.sign,
        )

    def publish(self) -> Receipt:
        """Put the files in their place and give the receipt, with a note on old files that stay; as publish()."""
        publication = self.publication()
        carry_out(publication)
        if not publication.remaining:
            return self.receipt
        note = f"old files of this record could not be removed: {', '.join(publication.remaining)}"
        return replace(self.receipt, notes=(*self.receipt.notes, note))


def _read_and_check(module: formats.FormatModule, source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """The recording and the findings on conformance; from one parsing where the format offers that."""
    together = getattr(module, "read_and_check", None)
    if together is not None:
        found: tuple[Recording, tuple[Finding, ...]] = together(source)
        return found
    findings = module.check(source)
    return module.read(source), findings


def _compared(
    recording: Recording, written: Recording | None, notes: tuple[Note, ...], module: formats.FormatModule
) -> Comparison:
    """With what was read back; where nothing was, with what the writer itself says of the target."""
    if written is not None:
        return compare_recordings(recording, written)
    from interchange.receipt.noted import noted_comparison

    return noted_comparison(recording, notes, module.ACCOUNT)


def target_path(target: str | PathLike[str]) -> Path:
    """The file that is to be written; UsageError for what can only be a folder."""
    text = fspath(target)
    path = Path(text)
    if not path.name or path.name == ".." or text.endswith(("/", sep)):
        raise UsageError("the target names no file", file=text)
    return path


def document(name: str, format: str | None, data: bytes) -> Document:
    """A file as the receipt lists it."""
    return Document(name, format, len(data), hashlib.sha256(data).hexdigest())


class Writing:
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
        target_path(target)
        if receipt_name == target.name:
            raise UsageError("the receipt needs a file of its own", "receipt_name")
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
        self.beside: Sequence[str] | None = None
        """Names of the files in the target's folder, for whoever knows them; else they are looked for."""

    @property
    def stem(self) -> str:
        """The record's name: the target's name without the format's suffix."""
        assert self.entry is not None
        name = self.target.name
        return name[: -len(self.entry.suffix)] if name.lower().endswith(self.entry.suffix) else name

    def prepare(
        self,
        original: Recording,
        recording: Recording,
        documents: tuple[Document, ...],
        removals: tuple[Removal, ...] = (),
    ) -> Prepared:
        """Encode, read back, compare; RefusedError or TargetError where the result may not be published."""
        assert self.entry is not None
        _refuse_zero_steps(recording, str(self.target))
        module = formats.load(self.entry.name)
        try:
            encoded = module.encode(recording, self.stem, self.options)
        except InterchangeError as error:
            raise error.in_file(str(self.target)) from None
        except Exception as error:
            if isinstance(error, UnicodeEncodeError) and not _is_text(self.target.name):
                reason = "the name is no text in UTF-8, and files of this format hold it"
                raise TargetError(reason, file=str(self.target)) from None
            raise InternalError(
                "the writer failed on this recording; please report it", file=str(self.target)
            ) from error
        if self.overwrite:
            self._leave_further(module)
        self._refuse_joining(module, encoded)
        files = self._named(encoded)
        written = self._read_back(encoded, files) if self.verify else None
        comparison = _compared(recording, written, encoded.notes, module)
        kinds = {found.kind for found in comparison.differences if found.protected and found.path != "acquisition.time"}
        if kinds == {"added"}:  # with something lost as well it is a loss, which the policy judges
            raise TargetError("what was written holds a signal that the recording does not have", file=str(self.target))
        receipt = build_receipt(
            original,
            recording,
            written,
            comparison,
            requested=compare_recordings(original, recording) if recording is not original else None,
            notes=encoded.notes,
            account=lambda: module.ACCOUNT,
            source=documents,
            target=[document(name, self.entry.name, data) for name, data in files],
            accepted=sorted(self.accept),
            removals=removals,
        )
        self._refuse(receipt)
        if self.receipt_name is not None:
            if self.receipt_name in (name for name, _ in files):
                raise UsageError("the receipt needs a file of its own", "receipt_name")
            files.insert(0, (self.receipt_name, receipt.as_bytes()))
        return Prepared(
            receipt, self.target, tuple(files), self.overwrite, self.same_ok, tuple(encoded.replaces), encoded.sign
        )

    def _leave_further(self, module: formats.FormatModule) -> None:
        """TargetError where the target is a further file of another record, which would be incomplete without it."""
        is_further = getattr(module, "is_further", None)
        if is_further is None or not self.target.is_file():
            return
        data = load(self.target)
        if data is not None and is_further(data):
            raise TargetError(
                "is a further file of another record; give the target another name", file=str(self.target)
            )

    def _refuse_joining(self, module: formats.FormatModule, encoded: Encoded) -> None:
        """TargetError where a file lies there that a reader would take for a part of the new record."""
        joining = getattr(module, "joining", None)
        if joining is None:
            return
        names = [path.name for path in self.target.parent.iterdir()] if self.beside is None else self.beside
        own = {name for name, _ in encoded.files}
        for name in joining(self.stem, names):
            replaced = self.overwrite and any(fnmatchcase(name, pattern) for pattern in encoded.replaces)
            if name not in own and not replaced:
                reason = (
                    "lies there already and would be read as a part of the new record; give the target another name"
                )
                raise TargetError(reason, file=str(self.target.with_name(name)))

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


def _is_text(name: str) -> bool:
    """Whether a file's name came as text in UTF-8 (other bytes stand in it as lone surrogates)."""
    return not any("\ud800" <= character <= "\udfff" for character in name)


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
