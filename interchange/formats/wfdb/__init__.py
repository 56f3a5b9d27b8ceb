"""WFDB records: a text header, signal files and annotation files that share a name.

Sources: WFDB Applications Guide (header(5), signal(5), annot(5)), WFDB Programmer's Guide, draft "WFDB Header File
version 10".

Conventions of this project, for what the format has no field for.  Any reader may rely on them.

* **Files.**  ``NAME.hea`` is the record.  Everything beside it is named after its content, with eight hexadecimal
  digits of a SHA-256 from the first letter on: signal files ``NAME_a1f2e3d4.dat`` (one for each tracing), further
  records ``NAME_b1b2c3d4.hea``, annotation files ``NAME.atr_e5f6a7b8``.  A new header therefore never shares a file
  with the one that it replaces.
* **Info strings** behind the signal lines hold, in this order: customary keys (``Age`` in years, ``Sex``, ``Height``
  in cm, ``Weight`` in kg, ``Dx`` SNOMED CT) where they say it exactly; remarks, word for word; one line for every other
  field of the model that is set, in the words of :mod:`interchange.model.lines`; where the tracings are; which
  annotation files there are.  A line of the model: ``# patient.name: family=Moor; given=Ada``.  The text is UTF-8.
* **Long lines.**  No line has more than 255 bytes.  A longer text ends with a backslash and goes on in a comment that
  begins with ``#+`` (:mod:`~interchange.formats.wfdb.infostrings`).
* **Several tracings** are ``# Tracing 2 of 3: signals 13 to 14, samples 5000 to 19999``, missing outside that span, or
  ``# Tracing 3 of 3: record NAME_b1b2c3d4`` (:mod:`~interchange.formats.wfdb.layout`).
* **Marks** are annotations; ``# Annotations atr_e5f6a7b8: 12 marks of set atr`` names the file.  A channel above 0 is
  the signal of that number.  A mark that no annotation says exactly stands in full in a line ``# marks[3]: ...``, and
  its annotation, the nearest that WFDB has, ends with ``[marks 3]`` (:mod:`~interchange.formats.wfdb.mark_files`).
* **Scale.**  ADC resolution 0 means that it is not known, gain 0 that the signal is not calibrated.  Where gain or
  baseline cannot say step or offset exactly, a line of the model does, and the header has the nearest, within a
  millionth of a step wherever 32 bits allow it; what is farther off than a thousandth counts as another signal.
* **Names** that are longer than a description, or read as a lead's, and units with other characters than letters,
  digits and ``_^-%/?`` (``other`` stands for them) are in a line of the model; it does not override a signal line.
* **Guard.**  Lines that name tracings, signals or marks by number are followed by ``# Guard: ...`` with digests of what
  they rest on; where somebody changed that, they are left out (:mod:`~interchange.formats.wfdb.guard`).  No line sets a
  rate, step or offset that the fields say otherwise, or what a customary key tells
  (:mod:`~interchange.formats.wfdb.unfit`).
* The base time counts where an info string contradicts it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from interchange.formats.wfdb.recognise import recognise

if TYPE_CHECKING:
    from interchange.findings import Finding, Rule
    from interchange.formats.contract import Account, Encoded
    from interchange.model import Recording
    from interchange.sources import Source

    RULES: tuple[Rule, ...]
    ACCOUNT: Account

__all__ = ["ACCOUNT", "RULES", "check", "encode", "joining", "read", "recognise"]


def joining(stem: str, names: Iterable[str]) -> list[str]:
    """Those of the files in a folder that a record ``stem`` would have as annotation files without naming them."""
    from interchange.formats.wfdb.beside import annotators_beside

    return [f"{stem}.{suffix}" for suffix in annotators_beside(stem, names)]


def read(source: Source) -> Recording:
    """The recording; SourceError, naming the line, when nothing sound can be had from the record."""
    from interchange.formats.wfdb import reader

    return reader.read(source)


def encode(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The files of the record ``name``; ``sample-format`` chooses the signal format ("auto": 16, 24 or 32)."""
    from interchange.formats.wfdb import writer

    return writer.encode(recording, name, options)


def check(source: Source) -> tuple[Finding, ...]:
    """All findings on conformance, in the order of the file."""
    from interchange.formats.wfdb import checker

    return checker.check(source)


def __getattr__(name: str) -> Any:
    if name == "RULES":
        from interchange.formats.wfdb.rules import RULES as TABLE

        return TABLE
    if name == "ACCOUNT":
        from interchange.formats.wfdb.account import ACCOUNT as TABLE_OF_FIELDS

        return TABLE_OF_FIELDS
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
