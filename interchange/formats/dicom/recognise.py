"""Is it a DICOM file?  Judged by the first bytes, nothing else is loaded."""

from __future__ import annotations

from interchange.sources import Source

__all__ = ["recognise"]


def recognise(source: Source) -> bool:
    """Whether the bytes begin like a DICOM file: the prefix after the preamble, or a bare data set (PS3.10 7.1)."""
    from interchange.formats.dicom.parse import looks_like_dicom

    return looks_like_dicom(source.data)
