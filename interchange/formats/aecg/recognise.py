"""Whether bytes are an aECG document: XML (perhaps in gzip) whose first element is AnnotatedECG, or wraps one."""

from __future__ import annotations

import re
import zlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from interchange.sources import Source

__all__ = ["recognise"]

HEAD = 65536
_FIRST = (b"<", b" ", b"\t", b"\r", b"\n")
"""What a document in UTF-16 without a byte order mark can begin with, the zero byte taken off."""


def recognise(source: Source) -> bool:
    """Whether the content is an annotated ECG in XML, judged by its first elements; never raises."""
    data = source.data[:HEAD]
    if data[:2] == b"\x1f\x8b":
        try:
            data = zlib.decompressobj(wbits=31).decompress(data, HEAD)
        except zlib.error:
            return False
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or data[:2].strip(b"\0") in _FIRST:
        data = data.replace(b"\0", b"").removeprefix(b"\xff\xfe").removeprefix(b"\xfe\xff")
    data = data.removeprefix(b"\xef\xbb\xbf").lstrip(b" \t\r\n")
    if not data.startswith(b"<"):
        return False
    if b"<AnnotatedECG " in data:
        return True
    return re.search(rb"<(?:[A-Za-z_][\w.-]*:)?(?:PORT_MT020001UV01\.)?[Aa]nnotatedECG[\s/>]", data) is not None
