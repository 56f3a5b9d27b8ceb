"""The formats: one line each, imported on first use.

A format is a package with the same names in each (:class:`FormatModule`).  Adding one touches its package, one line in
:data:`FORMATS`, and its fixtures; the contract tests run over this table by themselves.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Protocol

from interchange.errors import SourceError, UsageError
from interchange.records import dataclass

if TYPE_CHECKING:
    from interchange.findings import Finding, Rule
    from interchange.formats.contract import Account, Encoded
    from interchange.model import Recording
    from interchange.sources import Source

__all__ = ["FORMATS", "Format", "FormatModule", "Option", "by_name", "by_suffix", "load", "recognise"]


@dataclass(frozen=True, slots=True)
class Option:
    """A choice that a format's writer offers: ``--NAME VALUE`` on the command line, ``options[name]`` for the writer.

    ``values``: what may be chosen, the first is the default; an empty tuple takes any text (default: not given).
    """

    name: str
    values: tuple[str, ...]
    help: str


@dataclass(frozen=True, slots=True)
class Format:
    """One row of the table: what is known of a format without importing it."""

    name: str
    title: str
    module: str
    suffix: str
    options: tuple[Option, ...] = ()


class FormatModule(Protocol):
    """What every format package offers.  Bytes in, objects out: no files, clocks or random numbers.

    A package may also offer ``read_and_check(source)``, which gives what ``read`` and ``check`` give from one parsing.
    """

    RULES: tuple[Rule, ...]
    """Conformance rules, ids beginning with the format's name and a dot."""

    ACCOUNT: Account
    """Where each field of the model lives in this format, or why it is left behind."""

    def recognise(self, source: Source) -> bool:
        """Whether the bytes are of this format, judged by content; never raises, looks at the first bytes only."""
        ...

    def read(self, source: Source) -> Recording:
        """The recording; SourceError when nothing sound can be had from it, findings and ``unread`` for the rest."""
        ...

    def encode(self, recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
        """The files of a record named ``name`` (plain, without suffix).

        RefusedError if the format cannot hold the recording at all.  Does what can be done: the caller compares and
        decides whether the losses are acceptable.
        """
        ...

    def check(self, source: Source) -> tuple[Finding, ...]:
        """All findings on conformance, in the order of the file; no exception for bad content."""
        ...


FORMATS: tuple[Format, ...] = (
    Format(
        "aecg",
        "HL7 aECG XML",
        "interchange.formats.aecg",
        ".xml",
        (Option("edition", ("r1-2004", "2009"), "edition of the aECG message"),),
    ),
    Format(
        "dicom",
        "DICOM waveform",
        "interchange.formats.dicom",
        ".dcm",
        (Option("transfer-syntax", ("explicit", "implicit", "deflated"), "encoding of the DICOM data set"),),
    ),
    Format(
        "scp",
        "SCP-ECG",
        "interchange.formats.scp",
        ".scp",
        (Option("coding", ("plain", "huffman"), "coding of the SCP-ECG rhythm data, both lossless"),),
    ),
    Format(
        "wfdb",
        "WFDB",
        "interchange.formats.wfdb",
        ".hea",
        (Option("sample-format", ("auto", "16", "24", "32", "212", "80"), "format of the WFDB signal file"),),
    ),
)


def by_name(name: str) -> Format:
    """The format of that name; UsageError lists the names for any other."""
    for entry in FORMATS:
        if entry.name == name:
            return entry
    known = ", ".join(entry.name for entry in FORMATS)
    raise UsageError(f"there is no such format; the formats are {known}")


def by_suffix(path: str) -> Format | None:
    """The format that a target's name ends with, None where it ends with none."""
    lowered = path.lower()
    return next((entry for entry in FORMATS if lowered.endswith(entry.suffix)), None)


def load(name: str) -> FormatModule:
    """The package of that format, imported on first use."""
    module: FormatModule = _module(by_name(name).module)
    return module


def _module(name: str) -> Any:
    return sys.modules.get(name) or importlib.import_module(name)


def recognise(source: Source) -> str:
    """Name of the format that the content has; SourceError when it is none of the four.

    The recognisers look at cheap signs at fixed places.  Their order does not matter, since each refuses the others'
    files: the one that the name suggests is asked first, and mostly no other is imported.
    """
    if not source.data:
        raise SourceError("the file is empty", file=source.shown)
    likely = by_suffix(source.name)
    for entry in FORMATS if likely is None else (likely, *(other for other in FORMATS if other is not likely)):
        sniff = _module(f"{entry.module}.recognise")
        if sniff.recognise(source):
            return entry.name
    titles = ", ".join(entry.title for entry in FORMATS)
    raise SourceError(f"the content is none of the formats that can be read ({titles})", file=source.shown)
