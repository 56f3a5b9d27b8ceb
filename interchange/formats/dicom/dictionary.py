"""The attributes of the ECG objects, as tables.

``tables/attributes.csv`` has one row per attribute of a module (PS3.3): path of sequences, tag, value representation
(PS3.6), multiplicity, type 1/1C/2/2C/3, the macro that fills the items of a sequence, and a condition that a program
can test.  A condition is a list of terms that must all hold for the attribute to be required: ``Keyword`` (present
with a value), ``Keyword=A|B`` (one of these values), ``!Keyword`` (absent); ``/Keyword`` looks at the top of the data
set instead of the same item.  The rows of the pseudo-module ``outside`` are attributes that ECG objects are known to
carry although their modules do not list them.

``tables/modules.csv`` has clause and usage of each module, ``tables/classes.csv`` the limits of the storage classes.
Attribute types come from the module tables of PS3.3 as packed in highdicom 0.28.2 (MIT), names and value
representations from PS3.6 as packed in pydicom 3.0.2 (MIT).
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import Final

from interchange.records import dataclass

__all__ = [
    "TAGS",
    "Attribute",
    "Module",
    "StorageClass",
    "attributes",
    "keyword_of",
    "modules",
    "storage_classes",
    "tag_name",
    "tag_of",
    "vr_of",
]

TABLES: Final = Path(__file__).parent / "tables"
ITEM: Final = 0xFFFEE000
ITEM_END: Final = 0xFFFEE00D
SEQUENCE_END: Final = 0xFFFEE0DD

FILE_META: Final = {
    0x00020000: ("UL", "FileMetaInformationGroupLength"),
    0x00020001: ("OB", "FileMetaInformationVersion"),
    0x00020002: ("UI", "MediaStorageSOPClassUID"),
    0x00020003: ("UI", "MediaStorageSOPInstanceUID"),
    0x00020010: ("UI", "TransferSyntaxUID"),
    0x00020012: ("UI", "ImplementationClassUID"),
    0x00020013: ("SH", "ImplementationVersionName"),
    0x00020016: ("AE", "SourceApplicationEntityTitle"),
}
"""File meta information, PS3.10 7.1."""


@dataclass(frozen=True, slots=True)
class Attribute:
    """One row of ``attributes.csv``; ``path`` names the sequences that lead to it, ``macro`` what fills its items."""

    module: str
    path: tuple[str, ...]
    tag: int
    vr: str
    vm: str
    keyword: str
    type: str
    macro: str
    condition: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Module:
    """One row of ``modules.csv``; ``usage`` is M, C, U or nothing for each storage class id."""

    name: str
    clause: str
    usage: dict[str, str]


@dataclass(frozen=True, slots=True)
class StorageClass:
    """One row of ``classes.csv``: the limits that PS3.3 sets for an ECG object; None = no limit known.

    ``min_rate`` and ``max_rate`` in samples per second, inclusive; ``max_samples`` per channel and group;
    ``interpretations`` are values of Waveform Sample Interpretation.
    """

    id: str
    name: str
    uid: str
    clause: str
    max_groups: int | None
    max_channels_group: int | None
    max_channels: int | None
    max_samples: int | None
    min_rate: int | None
    max_rate: int | None
    interpretations: tuple[str, ...]
    confidence: str
    remarks: str


def rows(name: str) -> list[dict[str, str]]:
    """The rows of one table beside this module."""
    with (TABLES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _number(text: str) -> int | None:
    return int(text) if text else None


@cache
def attributes() -> tuple[Attribute, ...]:
    """All rows of ``attributes.csv`` in order."""
    return tuple(
        Attribute(
            row["module"],
            tuple(row["path"].split("/")) if row["path"] else (),
            int(row["tag"].replace(",", ""), 16),
            row["vr"],
            row["vm"],
            row["keyword"],
            row["type"],
            row["macro"],
            tuple(row["condition"].split()),
        )
        for row in rows("attributes.csv")
    )


@cache
def modules() -> dict[str, Module]:
    """Modules and macros by name."""
    return {
        row["module"]: Module(
            row["module"], row["clause"], {k: v for k, v in row.items() if k not in ("module", "clause")}
        )
        for row in rows("modules.csv")
    }


@cache
def storage_classes() -> dict[str, StorageClass]:
    """The four ECG storage classes by id, the narrowest first."""
    return {
        row["id"]: StorageClass(
            row["id"],
            row["name"],
            row["uid"],
            row["clause"],
            _number(row["max_groups"]),
            _number(row["max_channels_group"]),
            _number(row["max_channels"]),
            _number(row["max_samples"]),
            _number(row["min_rate"]),
            _number(row["max_rate"]),
            tuple(row["interpretations"].split()),
            row["confidence"],
            row["remarks"],
        )
        for row in rows("classes.csv")
    }


def _known() -> tuple[dict[int, tuple[str, str]], dict[str, int]]:
    """Tag to (representation, keyword), and keyword to tag, of the first row of each attribute."""
    by_tag = {tag: (vr, keyword) for tag, (vr, keyword) in FILE_META.items()}
    with (TABLES / "attributes.csv").open(encoding="utf-8", newline="") as file:
        reader = csv.reader(file)
        next(reader)
        for _, _, tag, vr, _, keyword, *_ in reader:
            by_tag.setdefault(int(tag[:4] + tag[5:], 16), (vr, keyword))
    return by_tag, {keyword: tag for tag, (_, keyword) in by_tag.items()}


_BY_TAG, TAGS = _known()
"""Tags of all attributes of the tables by keyword."""


def tag_of(keyword: str) -> int:
    """The tag of an attribute of the tables, as one 32-bit number."""
    return TAGS[keyword]


def keyword_of(tag: int) -> str:
    """Keyword of a tag (PS3.6), empty where it is private or in no list.

    Tags outside the project's tables are looked up in pydicom's dictionary, which is loaded for that only.
    """
    if tag in _BY_TAG:
        return _BY_TAG[tag][1]
    if tag >> 16 & 1:
        return ""
    from pydicom.datadict import keyword_for_tag

    return keyword_for_tag(tag)


def vr_of(tag: int) -> str:
    """Value representation of a tag where none is written (Implicit VR), ``UN`` where it is in no list (PS3.5 7.1.3).

    Where PS3.6 leaves a choice (``OB or OW``), the word form of implicit data sets is meant.
    """
    if tag in _BY_TAG:
        vr = _BY_TAG[tag][0]
    elif tag >> 16 & 1:
        return "LO" if 0x10 <= tag & 0xFFFF <= 0xFF else "UN"
    elif tag & 0xFFFF == 0:
        return "UL"
    else:
        from pydicom.datadict import dictionary_VR

        try:
            vr = dictionary_VR(tag)
        except KeyError:
            return "UN"
    return vr.rsplit(" ", 1)[-1] if " " in vr else vr


def tag_name(tag: int) -> str:
    """``(gggg,eeee) Keyword``; the keyword is left out where there is none."""
    return f"({tag >> 16:04X},{tag & 0xFFFF:04X}) {keyword_of(tag)}".rstrip()
