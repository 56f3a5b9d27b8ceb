"""Which files beside a header may be annotation files of its record, judged by their names.

Annotation files share the record's name and are named nowhere by the format itself.

Source: WFDB Programmer's Guide (annotators).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["annotators_beside"]

_LONGEST: Final = 60
_OTHERS: Final = frozenset(
    {"hea", "dat", "mat", "txt", "json", "csv", "xml", "dcm", "scp", "pdf", "png", "jpg", "jpeg", "svg", "html", "md"}
    | {"zip", "gz", "edf", "log", "py", "npy", "tsv", "yml", "yaml", "tmp", "part", "bak"}
)
"""Suffixes that are no annotators."""


def annotators_beside(stem: str, names: Iterable[str]) -> list[str]:
    """Suffixes of the files that may be annotation files of the record ``stem``, sorted."""
    prefix = f"{stem}."
    suffixes = [name[len(prefix) :] for name in names if name.startswith(prefix)]
    return sorted(suffix for suffix in suffixes if _is_annotator(suffix) and not _is_other(suffix.lower()))


def _is_annotator(suffix: str) -> bool:
    """Letters, digits and underscores of ASCII, one to sixty."""
    return 0 < len(suffix) <= _LONGEST and suffix.isascii() and suffix.replace("_", "x").isalnum()


def _is_other(suffix: str) -> bool:
    """Whether it is a customary suffix of something else, or that of a signal file (``d0``, ``data1``)."""
    digits = suffix.removeprefix("data") if suffix.startswith("data") else suffix.removeprefix("d")
    return suffix in _OTHERS or (digits != suffix and digits.isdigit())
